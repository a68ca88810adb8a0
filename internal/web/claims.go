package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/report"
)

// claimsView is the list of claims.
type claimsView struct {
	frame
	State  string // that is asked for; empty: any
	States []string
	Rows   []claimRow
	Policy string // as its file
	Own    bool   // it is the workspace's, and not the built-in one
}

// claimRow is one claim of the list.
type claimRow struct {
	Number, State, Since, Title, Sentence, Campaign, Amends, By string
}

// claimStates are the states in which claims can be looked for.
var claimStates = []string{
	string(campaign.ClaimDraft), string(campaign.ClaimReviewed), string(campaign.ClaimSigned), string(campaign.ClaimPublished),
	string(campaign.ClaimAmended), string(campaign.ClaimWithdrawn),
}

func (s *Server) claims(w http.ResponseWriter, r *http.Request) error {
	changed, err := s.desk.LastChange(r.Context())
	if err != nil {
		return err
	}
	list, err := s.desk.Claims(r.Context())
	if err != nil {
		return err
	}
	view := claimsView{frame: s.frame(r, "Claims"), State: r.URL.Query().Get("state"), States: claimStates}
	view.Section, view.Live, view.Changed = "claims", "*", changed
	for _, c := range list.Rows {
		if view.State == "" || string(c.State) == view.State {
			view.Rows = append(view.Rows, claimRow{c.Number, string(c.State), report.Day(c.Since), c.Title, c.Sentence, c.Campaign, c.Amends, c.By})
		}
	}
	policy, own, err := s.desk.ClaimPolicy(r.Context())
	if err != nil {
		return err
	}
	text, err := lab.PolicyTOML(policy)
	if err != nil {
		return err
	}
	view.Policy, view.Own = string(text), own
	return s.page(w, r, http.StatusOK, "claims", view)
}

// draftView is the form that drafts a claim, or the one that takes a claim's place.
type draftView struct {
	frame
	ID         string // of the campaign
	About      string // its title
	Amends     string // the claim whose place it takes; empty: none
	Candidates []candidateView
	F          url.Values
	Wrong      map[string]string
	Items      []string // what the policy has against it
	AskWho     bool     // nobody signs in here, so the form asks for a name
}

type candidateView struct{ ID, Words string }

// draftPage shows the form.
func (s *Server) draftPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	return s.showDraft(w, r, http.StatusOK, strings.TrimSpace(q.Get("campaign")), strings.TrimSpace(q.Get("amends")), nil, nil)
}

func (s *Server) showDraft(w http.ResponseWriter, r *http.Request, status int, id, amends string, f *fields, items []string) error {
	view := draftView{frame: s.frame(r, "Draft a claim"), Amends: amends, F: url.Values{}, Wrong: map[string]string{}, Items: items, AskWho: !s.o.Accounts}
	view.Section = "claims"
	if amends != "" {
		c, err := s.desk.Claim(r.Context(), amends)
		if err != nil {
			return err
		}
		id, view.Title = c.Campaign, "Draft the claim that takes the place of "+amends
		view.F = url.Values{"title": {c.Title}, "candidate": {c.Candidate}, "deviations": {strings.Join(c.StatedDeviations, "\n")}, "not_covered": {strings.Join(c.StatedLimits, "\n")}}
	}
	if id == "" {
		return &requestError{http.StatusBadRequest, "A claim is of a campaign: open it from the page of one that is judged."}
	}
	c, err := s.desk.CampaignWords(r.Context(), id)
	if err != nil {
		return err
	}
	view.ID, view.About = id, c.Title
	for _, one := range c.Candidates {
		view.Candidates = append(view.Candidates, candidateView{one.ID, one.Name})
	}
	if f != nil {
		view.F, view.Wrong, view.Here = f.v, f.wrong, "/claims"
	} else {
		view.F.Set("by", s.by(r))
	}
	return s.page(w, r, status, "draft", view)
}

// draftClaim drafts a claim from the form.
func (s *Server) draftClaim(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	o := lab.ClaimOptions{
		Candidate: f.text("candidate"), Title: f.text("title"), Deviations: f.lines("deviations"), NotCovered: f.lines("not_covered"),
		Program: s.o.Version, By: lab.Author{Who: s.who(r, f), Why: f.text("why")},
	}
	id, amends := f.text("campaign"), f.text("amends")
	var c *report.Claim
	var err error
	if amends != "" {
		c, err = s.desk.AmendClaim(r.Context(), amends, o)
	} else {
		c, err = s.desk.DraftClaim(r.Context(), id, o)
	}
	var not *lab.NotAllowedError
	switch {
	case err == nil:
		http.Redirect(w, r, claimPath(c.Number)+"?done=drafted", http.StatusSeeOther)
		return nil
	case errors.As(err, &not):
		return s.showDraft(w, r, http.StatusUnprocessableEntity, id, amends, f, not.Items)
	case f.take(err, func(string) string { return "" }):
		return s.showDraft(w, r, http.StatusUnprocessableEntity, id, amends, f, nil)
	}
	return err
}

// who is the person that a form is from: who signed in, or where nobody does, who they
// say they are.
func (s *Server) who(r *http.Request, f *fields) string {
	if s.o.Accounts {
		return s.by(r)
	}
	if name := f.text("by"); name != "" {
		return name
	}
	return s.by(r)
}

// lines returns the lines of a field that say something.
func (f *fields) lines(name string) []string {
	var out []string
	for line := range strings.SplitSeq(f.v.Get(name), "\n") {
		if line = strings.Join(strings.Fields(line), " "); line != "" {
			out = append(out, line)
		}
	}
	return out
}

func claimPath(number string) string { return "/claims/" + url.PathEscape(number) }
