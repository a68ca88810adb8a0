package web

import (
	"context"
	"net/http"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/report"
)

// claimPage is the page of one claim.
type claimPage struct {
	frame
	Number, State, Standing string
	Campaign, Amends, By    string
	Problem                 []string // why the analysis behind it cannot be had; empty: it can
	Lead                    report.Lead
	Sections                []report.Section
	Ended, Sealed           bool
	MayReview, MayWithdraw  bool
	Command                 string // that takes it on in a terminal; empty: none
	What                    string // what the command does
	AskWho                  bool
	Who                     string
	Languages               []languageView
	Missing                 []string // of what a test report has to say
	Fixed                   bool     // what the test report says is fixed
	Wrong                   string
}

type languageView struct{ Code, Name string }

func (s *Server) claim(w http.ResponseWriter, r *http.Request) error {
	return s.showClaim(w, r, http.StatusOK, "")
}

func (s *Server) showClaim(w http.ResponseWriter, r *http.Request, status int, wrong string) error {
	changed, err := s.desk.LastChange(r.Context())
	if err != nil {
		return err
	}
	number := r.PathValue("claim")
	c, problem, err := s.desk.ClaimPage(r.Context(), number, s.o.Version)
	if err != nil {
		return err
	}
	state := c.State()
	view := claimPage{
		frame: s.frame(r, "Claim "+number), Number: number, State: string(state), Standing: c.Standing(), Campaign: c.Campaign, Amends: c.Amends, By: c.By,
		Ended: state == campaign.ClaimAmended || state == campaign.ClaimWithdrawn, Sealed: len(c.Signed) > 0,
		MayReview: state == campaign.ClaimDraft, MayWithdraw: state.May(campaign.ClaimWithdrawn), AskWho: !s.o.Accounts, Who: s.by(r), Wrong: wrong,
	}
	view.Section, view.Live, view.Changed = "claims", "claim "+number, changed
	if view.Lead, view.Sections, err = c.Parts(view.Units, chartsAt(claimPath(number), r.URL.Query())); err != nil {
		return err
	}
	view.Title = view.Lead.Title
	if problem != nil {
		view.Problem = strings.Split(problem.Error(), "\n")
	}
	view.next(state)
	for _, code := range report.LanguageCodes() {
		l, err := report.ParseLanguage(code)
		if err != nil {
			return err
		}
		view.Languages = append(view.Languages, languageView{code, l.Name})
	}
	d, fixed, err := s.desk.ReportDetails(r.Context(), number)
	if err != nil {
		return err
	}
	view.Missing, view.Fixed = d.Missing(), fixed
	if status != http.StatusOK {
		view.Here = claimPath(number)
	}
	return s.page(w, r, status, "claim", view)
}

// next says which command takes the claim on where a private key is needed: the server
// never has one.
func (v *claimPage) next(state campaign.ClaimState) {
	at := ""
	if v.Place != "" {
		at = " --workspace " + quotedPlace(v.Place)
	}
	switch state {
	case campaign.ClaimReviewed:
		v.What, v.Command = "Sign it, with the key of somebody who did not draft it", "fairpull claim "+v.Number+" --sign --key approver.key"+at
	case campaign.ClaimSigned:
		v.What, v.Command = "Publish it, with the key of the record", "fairpull claim "+v.Number+" --publish --key record.key"+at
	}
}

// quotedPlace writes a path as a shell takes it.
func quotedPlace(place string) string {
	if !strings.ContainsAny(place, " \t\n'\"$&|;<>()*?[]#~=%!{}`\\") {
		return place
	}
	return "'" + strings.ReplaceAll(place, "'", `'\''`) + "'"
}

// claimCharts are those of a claim's page.
func (s *Server) claimCharts(r *http.Request) (*report.Charts, string, error) {
	number := r.PathValue("claim")
	c, problem, err := s.desk.ClaimPage(r.Context(), number, s.o.Version)
	if err != nil {
		return nil, "", err
	}
	if problem != nil {
		return nil, "", &requestError{http.StatusConflict, problem.Error()}
	}
	return c.Charts(unitsOf(r)), "claim-" + number, nil
}

// reviewClaim notes that somebody looked a draft through.
func (s *Server) reviewClaim(w http.ResponseWriter, r *http.Request) error {
	return s.moveClaim(w, r, "reviewed", s.desk.ReviewClaim)
}

// withdrawClaim ends a claim for the reason that the form gives.
func (s *Server) withdrawClaim(w http.ResponseWriter, r *http.Request) error {
	return s.moveClaim(w, r, "withdrawn", s.desk.WithdrawClaim)
}

func (s *Server) moveClaim(w http.ResponseWriter, r *http.Request, done string, move func(context.Context, string, lab.Author) (*report.Claim, error)) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	number := r.PathValue("claim")
	_, err := move(r.Context(), number, lab.Author{Who: s.who(r, f), Why: f.text("why")})
	if err == nil {
		http.Redirect(w, r, claimPath(number)+"?done="+done, http.StatusSeeOther)
		return nil
	}
	if f.take(err, func(string) string { return "" }) {
		return s.showClaim(w, r, http.StatusUnprocessableEntity, f.wrong[""])
	}
	return err
}
