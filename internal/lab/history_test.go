package lab

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/scatter"
	"fairpull/simulate"
)

// keepStudy puts a small campaign with a kept study of that many degrees of freedom
// of setups and of blocks.
func keepStudy(t *testing.T, w *Workspace, id, vehicle string, day int, setup, block float64) {
	t.Helper()
	keepStudyOf(t, w, id, vehicle, day, setup, block, id)
}

// keepStudyOf is keepStudy for a campaign with that log.
func keepStudyOf(t *testing.T, w *Workspace, id, vehicle string, day int, setup, block float64, log string) {
	t.Helper()
	r := store.Record{Logs: map[string][]byte{"log.csv": []byte(log)}}
	r.Campaign.ID, r.Campaign.Dyno.ID, r.Campaign.Vehicle.ID = id, "cell-1", vehicle
	r.Campaign.Configurations = []campaign.Configuration{{ID: "A", Role: campaign.Baseline}}
	r.Campaign.Pulls = []campaign.Pull{{Name: "1", Started: inventedDay(day), Configuration: "A", Setup: "s1", Log: "log.csv"}}
	if _, err := w.store.Put(t.Context(), r, anna); err != nil {
		t.Fatal(err)
	}
	entry, err := w.store.Entry(t.Context(), id, 0)
	if err != nil {
		t.Fatal(err)
	}
	s := studyOf(float64(day))
	s.Curves = false
	s.Setup.DF = setup
	if s.Block = (scatter.Level{}); block > 0 {
		s.Block = scatter.Level{Residuals: s.Setup.Residuals, DF: block, Pulls: 3}
	}
	data, err := encodeStudy(s)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.store.SaveResult(t.Context(), store.Result{Campaign: id, Version: 1, Data: entry.Digest, Program: "1",
		Settings: []byte(`{"format":"fairpull.settings/1"}`), Body: []byte(`{}`), Scatter: data}, anna); err != nil {
		t.Fatal(err)
	}
}

// A vehicle's own campaigns are its history from 8 degrees of freedom on of what the
// design meets; before that, those of every vehicle on the dyno are.
func TestWhoseHistory(t *testing.T) {
	w := newWorkspace(t)
	keepStudy(t, w, "more", "four", 0, 0, 4)
	keepStudy(t, w, "other", "four", 1, 5, 4)
	keepStudy(t, w, "one", "twin", 2, 5, 0)
	keepStudy(t, w, "two", "twin", 3, 2, 3)
	keepStudy(t, w, "three", "twin", 4, 1, 4)
	anew, one, both := levelsMet{setups: true}, levelsMet{blocks: true}, levelsMet{setups: true, blocks: true}
	all := []string{"three", "two", "one", "other", "more"}
	for _, c := range []struct {
		q       PastQuery
		vehicle string
		want    []string
	}{
		{PastQuery{Dyno: "cell-1", Vehicle: "twin", Meets: anew}, "twin", []string{"three", "two", "one"}},
		{PastQuery{Dyno: "cell-1", Vehicle: "twin", Meets: one}, "", all},
		{PastQuery{Dyno: "cell-1", Vehicle: "twin", Meets: both}, "", all},
		{PastQuery{Dyno: "cell-1", Vehicle: "four", Meets: one}, "four", []string{"other", "more"}},
		{PastQuery{Dyno: "cell-1", Vehicle: "four", Meets: anew}, "", all},
		{PastQuery{Dyno: "cell-1", Vehicle: "twin", Before: inventedDay(4), Meets: anew}, "", []string{"two", "one", "other", "more"}},
		{PastQuery{Dyno: "cell-1", Vehicle: "twin", Without: "one", Meets: anew}, "", []string{"three", "two", "other", "more"}},
		{PastQuery{Dyno: "cell-1", Vehicle: "nobody", Meets: anew}, "", all},
		{PastQuery{Dyno: "cell-1", Vehicle: "nobody"}, "", all},
		{PastQuery{Dyno: "cell-1", Vehicle: "twin"}, "twin", []string{"three", "two", "one"}},
		{PastQuery{Dyno: "cell-1"}, "", all},
		{PastQuery{Dyno: "cell-2", Vehicle: "twin", Meets: anew}, "", nil},
		{PastQuery{Vehicle: "twin", Meets: anew}, "twin", nil},
	} {
		past, err := w.history(t.Context(), c.q)
		if err != nil {
			t.Fatal(err)
		}
		if got := pastIDs(past); !slices.Equal(got, c.want) || past.Vehicle != c.vehicle {
			t.Errorf("%+v gives %v of vehicle %q; want %v of %q", c.q, got, past.Vehicle, c.want, c.vehicle)
		}
	}
}

func pastIDs(p *Past) (ids []string) {
	for _, c := range p.Campaigns {
		ids = append(ids, c.Campaign)
	}
	return ids
}

// Pulls that were taken in under two ids count once, in the history and in what
// scatter shows, and a campaign does not borrow from one that has its own pulls.
func TestNoPullCountsTwice(t *testing.T) {
	w := newWorkspace(t)
	keepStudyOf(t, w, "first", "twin", 1, 3, 0, "log of the first")
	keepStudyOf(t, w, "again", "twin", 2, 3, 0, "log of the first")
	keepStudyOf(t, w, "third", "twin", 3, 3, 0, "log of the third")
	keepStudyOf(t, w, "part", "twin", 4, 3, 0, "log of the third")
	for _, c := range []struct {
		without string
		want    []string
	}{
		{"", []string{"part", "again"}},
		{"part", []string{"again"}},
		{"first", []string{"part"}},
	} {
		past, err := w.history(t.Context(), PastQuery{Dyno: "cell-1", Vehicle: "twin", Without: c.without, Meets: levelsMet{setups: true}})
		if err != nil {
			t.Fatal(err)
		}
		if got := pastIDs(past); !slices.Equal(got, c.want) {
			t.Errorf("without %q: %v, want %v", c.without, got, c.want)
		}
	}
	view, err := w.Scatter(t.Context(), ScatterQuery{})
	if err != nil {
		t.Fatal(err)
	}
	if want := []report.ScatterRepeated{{Campaign: "third", With: "part"}, {Campaign: "first", With: "again"}}; !slices.Equal(view.Repeated, want) || view.Levels[0].DF != 6 {
		t.Errorf("%+v, %v degrees of freedom of setups", view.Repeated, view.Levels[0].DF)
	}
}

// What a design meets is told by its plan, else by the blocks that were measured.
func TestWhatADesignMeets(t *testing.T) {
	pulls := func(blocks ...string) (list []campaign.Pull) { // "As1" is A in setup s1
		for i, b := range blocks {
			list = append(list, campaign.Pull{Configuration: b[:1], Setup: b[1:], Started: inventedDay(1).Add(time.Duration(i) * time.Minute)})
		}
		return list
	}
	planned := &campaign.Plan{Blocks: []campaign.PlannedBlock{{Configuration: "A", Setup: "s1"}, {Configuration: "B", Setup: "s2"}}}
	left := pulls("As1", "Bs1", "As2")
	left[2].Excluded = "spun"
	for _, c := range []struct {
		name string
		c    campaign.Campaign
		want levelsMet
	}{
		{"every block in its own setup", campaign.Campaign{Pulls: pulls("As1", "As1", "Bs2", "As3")}, levelsMet{setups: true}},
		{"one setup", campaign.Campaign{Pulls: pulls("As1", "Bs1", "As1")}, levelsMet{blocks: true}},
		{"two in each", campaign.Campaign{Pulls: pulls("As1", "Bs1", "As2", "Bs2")}, levelsMet{setups: true, blocks: true}},
		{"one block", campaign.Campaign{Pulls: pulls("As1", "As1")}, levelsMet{setups: true}},
		{"no pull", campaign.Campaign{}, levelsMet{setups: true}},
		{"as planned", campaign.Campaign{Plan: planned, Pulls: pulls("As1")}, levelsMet{setups: true}},
		{"an excluded pull", campaign.Campaign{Pulls: left}, levelsMet{blocks: true}},
	} {
		if got := met(&c.c); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// The folder's own [history] and the workspace's are never mixed: the one that knows
// the scatter which the design rests on with more degrees of freedom is used whole,
// and the report says which.
func TestOneHistoryOrTheOther(t *testing.T) {
	w := newWorkspace(t)
	for n := range 4 {
		s := labScenario(n)
		s.Plan.Order = "ABABA"
		putScenario(t, w, s)
	}
	if err := w.JudgeAll(t.Context(), JudgeOptions{By: anna, Program: "1", Keep: true}, func(report.JudgedRow) {}); err != nil {
		t.Fatal(err)
	}
	for i, c := range []struct {
		df   float64 // of the folder's own setups; 4 campaigns lend at most 8
		own  bool
		says string
	}{
		{100, true, "It is not used: the campaign's own [history] has as many degrees of freedom or more"},
		{2, false, "It stands in the place of the campaign's own [history] (setup to setup 0.7 % (2 degrees of freedom)"},
	} {
		s := labScenario(10 + i)
		s.History = &simulate.History{SetupSD: 0.007, SetupDF: c.df}
		putScenario(t, w, s)
		j := mustJudge(t, w, s.ID, false)
		got := &j.Comparisons[0].Scatter
		if own := got.SetupDF == c.df && math.Abs(got.SetupSD-0.007) < 1e-12; own != c.own || (j.past == nil) != c.own {
			t.Errorf("own history of %g df: judged on %g df, SD %g", c.df, got.SetupDF, got.SetupSD)
		}
		view := j.View("1", quantity.SI)
		if lines := view.Basis(); len(lines) != 1 || !strings.Contains(lines[0], c.says) {
			t.Errorf("own history of %g df: the report says %q", c.df, lines)
		}
		if (view.Campaign.History != nil) != c.own {
			t.Errorf("own history of %g df: the report shows %+v as the one that is used", c.df, view.Campaign.History)
		}
		var body struct {
			History struct {
				Used      bool
				Campaigns []string
				SetupDF   float64 `json:"setup_df"`
			}
		}
		if err := json.Unmarshal(j.Result.Body, &body); err != nil || body.History.Used == c.own || len(body.History.Campaigns) != 4 || !(body.History.SetupDF > 2 && body.History.SetupDF <= 8) {
			t.Errorf("own history of %g df: the result says %+v, %v", c.df, body.History, err)
		}
	}
}

// What is left out is no history from then on, and is shown with its reason; what is
// withdrawn or not judged on its data is none either.
func TestScatterShowsWhatIsNotInIt(t *testing.T) {
	w, ctx := newWorkspace(t), t.Context()
	if _, err := w.Scatter(ctx, ScatterQuery{}); err == nil || !strings.Contains(err.Error(), "fairpull import") {
		t.Errorf("an empty workspace: %v", err)
	}
	for n := range 5 {
		s := labScenario(n)
		s.Plan.Order = "ABABA"
		putScenario(t, w, s)
	}
	for n := range 4 {
		mustJudge(t, w, labScenario(n).ID, true)
	}
	if changed, err := w.LeaveOut(ctx, "lab-01", Author{Who: "Anna Test", Why: "a strap was loose"}); err != nil || !changed {
		t.Fatal(changed, err)
	}
	if _, err := w.store.SetState(ctx, "lab-02", store.StateWithdrawn, anna); err != nil {
		t.Fatal(err)
	}
	view, err := w.Scatter(ctx, ScatterQuery{Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	var in []string
	for _, c := range view.Campaigns {
		in = append(in, c.Campaign)
	}
	if !slices.Equal(in, []string{"lab-00", "lab-03"}) || !slices.Equal(view.Waiting, []string{"lab-04"}) ||
		len(view.LeftOut) != 1 || view.LeftOut[0].Campaign != "lab-01" || view.LeftOut[0].Why != "a strap was loose" {
		t.Errorf("in it %v, waiting %v, left out %+v", in, view.Waiting, view.LeftOut)
	}
	// Two campaigns of five blocks in five setups with drift taken out: 2 df each, and
	// 10 of pulls each.
	if setup, pull := view.Levels[0], view.Levels[2]; setup.DF != 4 || pull.DF != 20 || setup.Campaigns != 2 || len(setup.Points) != 2 {
		t.Errorf("setups %+v, pulls %+v", setup, pull)
	}
	if s := view.Levels[0]; math.Abs(view.Reproducibility[0]-math.Hypot(s.SD[0], view.Levels[2].SD[0])) > 1e-15 {
		t.Errorf("one pull from setup to setup scatters by %g", view.Reproducibility[0])
	}
	j := mustJudge(t, w, "lab-04", false)
	if len(j.past.Campaigns) != 2 {
		t.Errorf("judged with %d campaigns", len(j.past.Campaigns))
	}
	if changed, err := w.TakeBack(ctx, "lab-01", anna); err != nil || !changed {
		t.Fatal(changed, err)
	}
	if j := mustJudge(t, w, "lab-04", false); len(j.past.Campaigns) != 3 {
		t.Errorf("taken back, it is judged with %d campaigns", len(j.past.Campaigns))
	}
	if _, err := w.LeaveOut(ctx, "nobody", anna); err == nil || !strings.Contains(err.Error(), "fairpull campaigns") {
		t.Errorf("a campaign that is not there: %v", err)
	}
	for _, q := range []ScatterQuery{{Dyno: "cell-9"}} {
		if _, err := w.Scatter(ctx, q); err == nil || !strings.Contains(err.Error(), "cell-1") {
			t.Errorf("%+v: %v", q, err)
		}
	}
}

// A settings text that another program of ours wrote keeps the limits that it does
// not know at their defaults, and what it says comes back to the last byte.
func TestSettingsComeBack(t *testing.T) {
	limit := 2.0
	want := settingsJSON{
		Format: settingsFormat, Method: Method, Correction: "SAE J1349", Limits: limitsJSON(DefaultLimits()),
		History:      &historySettings{Dyno: "cell-1", Used: true, Campaigns: []pastSettings{{"a", "1"}, {"b", "2"}}},
		Calibrations: []calibrationSettings{{ValidFrom: time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC), DrumInertia: 41.95, Parasitic: [3]float64{1, 0.01, 0}}},
		Checks:       []checkSettings{{ID: "check-standard", Status: campaign.Warn, Limit: &limit, Message: "m <1>", Touches: []string{"curve"}}},
	}
	want.Limits.Slip = 0.004
	data, err := encodeSettings(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := decodeSettings(data)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := encodeSettings(got); err != nil || !bytes.Equal(data, again) {
		t.Errorf("%v\n%s\n%s", err, data, again)
	}
	sparse, err := decodeSettings([]byte(`{"format":"fairpull.settings/1","limits":{"slip":0.004}}`))
	if limits := Limits(sparse.Limits); err != nil || limits.Slip != 0.004 || limits.GearRatio != DefaultLimits().GearRatio {
		t.Errorf("%+v, %v", limits, err)
	}
}

// A pull in another gear would pass for the rig's scatter: the campaign is no history
// until the pull is dealt with, and scatter says why.
func TestFaultyMeasurementIsNoHistory(t *testing.T) {
	w := newWorkspace(t)
	bad, err := simulate.Named("wrong-gear")
	if err != nil {
		t.Fatal(err)
	}
	bad.Plan.Start = labScenario(0).Plan.Start
	for i, s := range []simulate.Scenario{bad, labScenario(1), labScenario(2)} {
		if i > 0 {
			s.Plan.Order = "ABABA"
		}
		putScenario(t, w, s)
		mustJudge(t, w, s.ID, true)
	}
	j := mustJudge(t, w, "lab-02", false)
	if len(j.past.Campaigns) != 1 || j.past.Campaigns[0].Campaign != "lab-01" {
		t.Errorf("judged with %+v", j.past.Campaigns)
	}
	view, err := w.Scatter(t.Context(), ScatterQuery{})
	if err != nil || len(view.Campaigns) != 2 || len(view.Unusable) != 1 || view.Unusable[0] != (report.ScatterUnusable{Campaign: bad.ID, Why: "the check gear failed (pull 5)"}) {
		t.Errorf("%+v, %v", view, err)
	}
}
