package web

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"fairpull/internal/lab"
	"fairpull/report"
)

// trailRows is how many changes a page of the trail has.
const trailRows = 100

// trailView is the page of the audit trail.
type trailView struct {
	frame
	Campaign, Since string // as they were asked for
	Trail           *report.Trail
	Next            string // address of the next page; empty: there is none
}

// trail shows who changed what, when, from what and why.
func (s *Server) trail(w http.ResponseWriter, r *http.Request) error {
	asked := kept(r.URL.Query(), "campaign", "since")
	view := trailView{frame: s.frame(r, "Audit trail"), Campaign: strings.TrimSpace(asked.Get("campaign")), Since: asked.Get("since")}
	view.Section = "trail"
	q := lab.TrailQuery{Campaign: view.Campaign, Limit: trailRows}
	var err error
	if view.Since != "" {
		if q.Since, err = time.Parse(time.DateOnly, view.Since); err != nil {
			return &requestError{http.StatusBadRequest, "A day is written as in 2026-03-02."}
		}
	}
	if after := r.URL.Query().Get("after"); after != "" {
		if q.Before, err = strconv.ParseInt(after, 10, 64); err != nil || q.Before < 1 {
			return &requestError{http.StatusBadRequest, "The address does not say where to go on. Begin with the latest changes: /trail."}
		}
	}
	if view.Trail, err = s.desk.Trail(r.Context(), q); err != nil {
		return err
	}
	view.Title = view.Trail.Title()
	if view.Trail.Next > 0 {
		asked.Set("after", strconv.FormatInt(view.Trail.Next, 10))
		view.Next = "/trail?" + asked.Encode()
	}
	return s.page(w, r, http.StatusOK, "trail", view)
}
