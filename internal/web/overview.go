package web

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/report"
)

// overviewView is the first page: what is going on, and what was found.
type overviewView struct {
	frame
	Search   searchView
	Searched bool
	Groups   []overviewGroup
	Rigs     []lab.RigHealth
	Next     string // address of the next page; empty: none
}

// searchView is what was asked for, as it stands in the form.
type searchView struct {
	Words, Vehicle, Dyno, Verdict, Claim, From, To string
	Verdicts, Claims                               []string
}

// overviewGroup is the campaigns of one stage.
type overviewGroup struct {
	Stage, Title, Empty string
	Cards               []overviewCard
}

// overviewCard is one campaign.
type overviewCard struct {
	ID, Title, About string
	Stale            bool // the verdict rests on data that were changed since
	Answers          []report.Answer
	Checks           []string
	Claims           []lab.ClaimStanding
}

// stageTitles are the headings of the stages, in the order of the page.
var stageTitles = []overviewGroup{
	{Stage: string(lab.StageMeasuring), Title: "Measuring, or waiting for a verdict"},
	{Stage: string(lab.StagePlanned), Title: "Planned"},
	{Stage: string(lab.StageJudged), Title: "Judged"},
	{Stage: string(lab.StageSigned), Title: "Signed"},
	{Stage: string(lab.StageWithdrawn), Title: "Withdrawn"},
}

// verdicts can be searched for.
var verdicts = []string{"gain shown", "loss shown", "no difference of interest", "not enough evidence"}

// overviewRows are the campaigns of one page.
const overviewRows = 30

func (s *Server) overview(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	query, search, err := searchOf(q)
	if err != nil {
		return err
	}
	found, err := s.desk.Overview(r.Context(), query)
	if err != nil {
		return err
	}
	view := overviewView{frame: s.frame(r, "Overview"), Search: search, Searched: len(lookFor(q)) > 0}
	view.Section, view.Wide, view.Live, view.Changed = "overview", true, "*", found.Changed
	if view.Rigs, err = s.desk.Rigs(r.Context(), time.Now()); err != nil {
		return err
	}
	for _, group := range stageTitles {
		for i := range found.Rows {
			if row := &found.Rows[i]; string(row.Stage) == group.Stage {
				group.Cards = append(group.Cards, cardOf(row))
			}
		}
		if len(group.Cards) > 0 {
			view.Groups = append(view.Groups, group)
		}
	}
	if found.Next != "" {
		next := lookFor(q)
		next.Set("after", found.Next)
		view.Next = "/?" + next.Encode()
	}
	return s.page(w, r, http.StatusOK, "overview", view)
}

// searchParameters are those of the search form.
var searchParameters = []string{"words", "vehicle", "dyno", "verdict", "claim", "from", "to"}

// lookFor returns the parameters of a search that say something.
func lookFor(q url.Values) url.Values {
	out := url.Values{}
	for _, name := range searchParameters {
		if v := strings.TrimSpace(q.Get(name)); v != "" {
			out.Set(name, v)
		}
	}
	return out
}

func searchOf(q url.Values) (lab.CampaignQuery, searchView, error) {
	asked := lookFor(q)
	search := searchView{Words: asked.Get("words"), Vehicle: asked.Get("vehicle"), Dyno: asked.Get("dyno"),
		Verdict: asked.Get("verdict"), Claim: asked.Get("claim"), From: asked.Get("from"), To: asked.Get("to"), Verdicts: verdicts, Claims: claimStates}
	query := lab.CampaignQuery{Text: search.Words, Vehicle: search.Vehicle, Dyno: search.Dyno, Verdict: search.Verdict,
		Claim: campaign.ClaimState(search.Claim), After: q.Get("after"), Limit: overviewRows}
	for _, day := range []struct {
		text string
		into *time.Time
		more int
	}{{search.From, &query.From, 0}, {search.To, &query.To, 1}} {
		if day.text == "" {
			continue
		}
		at, err := time.Parse(time.DateOnly, day.text)
		if err != nil {
			return query, search, &requestError{http.StatusBadRequest, "A day is written as in 2026-03-02."}
		}
		*day.into = at.AddDate(0, 0, day.more)
	}
	return query, search, nil
}

func cardOf(row *lab.OverviewRow) overviewCard {
	card := overviewCard{ID: row.ID, Claims: row.Claims, Title: strings.Join(strings.Fields(row.Title), " ")}
	if card.Title == "" {
		card.Title = row.ID
	}
	about := []string{row.ID}
	if row.Vehicle != "" {
		about = append(about, row.Vehicle)
	}
	if row.Dyno != "" {
		about = append(about, "dyno "+row.Dyno)
	}
	if !row.Started.IsZero() {
		about = append(about, row.Started.Format(time.DateOnly), pulls(row.Pulls))
	}
	card.About = strings.Join(about, " · ")
	if row.Card != nil {
		card.Answers, card.Checks, card.Stale = row.Card.Answers, row.Card.NotPass, !row.Current
	}
	return card
}
