package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"fairpull/internal/lab"
)

// stateChoice is a state that a campaign can be given.
type stateChoice struct{ State, Words string }

var stateChoices = []stateChoice{
	{string(lab.StateClosed), "closed: measured to its end, it takes no pulls"},
	{string(lab.StateWithdrawn), "withdrawn: it is kept, and is no history any more"},
	{string(lab.StateOpen), "open again: it takes pulls and changes"},
}

// otherStates are the states that a campaign is not in.
func otherStates(state lab.CampaignState) []stateChoice {
	return slices.DeleteFunc(slices.Clone(stateChoices), func(c stateChoice) bool { return c.State == string(state) })
}

// setState closes, withdraws or opens a campaign again, for the reason that the form
// gives.
func (s *Server) setState(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	id, state := r.PathValue("id"), lab.CampaignState(r.PostFormValue("state"))
	if !slices.Contains(lab.CampaignStates, state) {
		return &requestError{http.StatusUnprocessableEntity, "No state is chosen. A campaign is open, closed or withdrawn."}
	}
	why := strings.Join(strings.Fields(r.PostFormValue("why")), " ")
	if why == "" {
		return &requestError{http.StatusUnprocessableEntity, "No reason is given. It stays in the audit trail, so that a later reader knows why."}
	}
	changed, err := s.desk.SetState(r.Context(), id, state, lab.Author{Who: s.by(r), Why: why})
	if err != nil {
		return err
	}
	done := "state-same"
	if changed {
		done = "state-" + string(state)
	}
	http.Redirect(w, r, "/campaigns/"+url.PathEscape(id)+"?done="+done+"#take", http.StatusSeeOther)
	return nil
}
