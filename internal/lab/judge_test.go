package lab

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"testing/fstest"
	"time"

	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/simulate"
)

// labScenario is campaign n of an invented lab: the same rig and vehicle, another
// week and another part, A-B-A with nothing known in the folder of earlier work.
func labScenario(n int) simulate.Scenario {
	s := simulate.Default()
	s.ID = fmt.Sprintf("lab-%02d", n)
	s.Seed = 1000 + uint64(n)
	s.Plan.Order = "ABA"
	s.Plan.Start = s.Plan.Start.AddDate(0, 0, 7*n)
	s.History = nil
	s.Logger.Sampled.Rate = 60
	return s
}

// putScenario takes the campaign of a scenario into the workspace.
func putScenario(t testing.TB, w *Workspace, s simulate.Scenario) {
	t.Helper()
	files, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	tree := fstest.MapFS{}
	for name, data := range files {
		tree[name] = &fstest.MapFile{Data: data}
	}
	folder, err := ingest.Open(tree)
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	r := store.Record{Campaign: folder.Campaign, Logs: map[string][]byte{}, CampaignFile: files[ingest.CampaignFile], PullsFile: files[ingest.PullsFile]}
	for _, p := range folder.Campaign.Pulls {
		r.Logs[p.Log] = files[p.Log]
	}
	if _, err := w.store.Put(context.Background(), r, anna); err != nil {
		t.Fatal(err)
	}
}

func mustJudge(t testing.TB, w *Workspace, id string, keep bool) *Judgement {
	t.Helper()
	j, err := w.Judge(context.Background(), id, JudgeOptions{By: anna, Program: "1", Keep: keep})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// In a workspace that knows nothing else, a verdict is that of the folder to the
// last byte, whether the folder brings a history of its own or not.
func TestJudgeWithoutHistoryIsTheFoldersGain(t *testing.T) {
	for name, scenario := range map[string]simulate.Scenario{"no history": labScenario(0), "own history": simulate.Default()} {
		w, dir := newWorkspace(t), filepath.Join(t.TempDir(), "folder")
		if err := scenario.WriteContext(t.Context(), dir); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Import(t.Context(), dir, anna, false); err != nil {
			t.Fatal(err)
		}
		a, err := Gain(t.Context(), dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		want, err := a.View("", quantity.SI).JSON()
		if err != nil {
			t.Fatal(err)
		}
		if j := mustJudge(t, w, scenario.ID, false); !bytes.Equal(j.Result.Body, want) || j.Result.ID != "" {
			t.Errorf("%s: the workspace's result differs from the folder's", name)
		}
		if _, err := w.store.LatestResult(t.Context(), scenario.ID); err == nil {
			t.Errorf("%s: a result was kept that was not to be", name)
		}
		var text, folder bytes.Buffer
		j := mustJudge(t, w, scenario.ID, true)
		if !j.Changed || j.Result.ID == "" || j.Result.Seq == 0 {
			t.Errorf("%s: kept as %+v", name, j.Result)
		}
		for _, out := range []struct {
			b *bytes.Buffer
			a *Analysis
		}{{&text, j.Analysis}, {&folder, a}} {
			if err := out.a.View("1", quantity.SI).HTML(out.b, quantity.SI); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(text.Bytes(), folder.Bytes()) {
			t.Errorf("%s: the page differs from the folder's", name)
		}
		if again := mustJudge(t, w, scenario.ID, true); again.Changed || again.Result.ID != j.Result.ID {
			t.Errorf("%s: judged again it is another result", name)
		}
	}
}

// Nine campaigns on one rig, judged in order. The first seven have two degrees of
// freedom of setups each; the eighth, A-B-A, has none of its own and is judged by
// theirs; the ninth pools its own with them. What is borrowed is what the rig was
// made with, intervals hold the true gain, and they are narrower than alone.
func TestCampaignsLendTheirScatter(t *testing.T) {
	w := newWorkspace(t)
	scenarios := make([]simulate.Scenario, 9)
	for n := range scenarios {
		scenarios[n] = labScenario(n)
		if n != 7 {
			scenarios[n].Plan.Order = "ABABA"
		}
		putScenario(t, w, scenarios[n])
	}
	var order []string
	err := w.JudgeAll(t.Context(), JudgeOptions{By: anna, Program: "1", Keep: true}, func(l report.JudgedRow) {
		if l.Problem != "" || !l.Changed || l.Result == "" {
			t.Errorf("%+v", l)
		}
		order = append(order, l.Campaign)
	})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.IsSorted(order) || len(order) != 9 {
		t.Errorf("judged in the order %v", order)
	}
	for _, c := range []struct {
		n                   int
		source, alone       compare.Source
		campaigns           int
		lent, own           float64 // degrees of freedom of setups
		verdict, aloneKnows bool
	}{
		{7, compare.FromHistory, compare.FromNone, 7, 14, 0, true, false},
		{8, compare.FromBoth, compare.FromCampaign, 8, 14, 2, true, true},
	} {
		s := scenarios[c.n]
		j := mustJudge(t, w, s.ID, true)
		if j.Changed {
			t.Errorf("%s: judged again after all were judged, the result changed", s.ID)
		}
		alone, err := w.Judge(t.Context(), s.ID, JudgeOptions{AsOf: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)})
		if err != nil {
			t.Fatal(err)
		}
		with, without := &j.Comparisons[0], &alone.Comparisons[0]
		if with.Scatter.Source != c.source || without.Scatter.Source != c.alone {
			t.Errorf("%s: setup scatter from %q, alone from %q", s.ID, with.Scatter.Source, without.Scatter.Source)
		}
		pooled, err := j.past.pool(j.SpeedRPM)
		if err != nil {
			t.Fatal(err)
		}
		// Seven or eight campaigns: the prior may say that they are not all alike, and
		// then fewer degrees of freedom are quoted, never more (docs/method.md, section 3).
		quoted := pooled.Setup.QuotedDF
		if len(j.past.Campaigns) != c.campaigns || pooled.Setup.DF != c.lent || !(quoted > 0 && quoted <= max(c.lent, pooled.Setup.PriorDF)) {
			t.Errorf("%s: %d campaigns lend %g degrees of freedom, %g quoted; want %d and %g", s.ID, len(j.past.Campaigns), pooled.Setup.DF, quoted, c.campaigns, c.lent)
		}
		if with.Scatter.SetupDF != quoted+c.own {
			t.Errorf("%s: judged on %g degrees of freedom of setups, want %g lent and %g own", s.ID, with.Scatter.SetupDF, quoted, c.own)
		}
		// The rig was made with 0.60 % common to all speeds, 0.15 % of blocks, and some
		// tilt and strap loss above that; limits at 0.1 % by chi-square on 14 df.
		if sd := with.Scatter.SetupSD; !(sd > 0.0062*0.48 && sd < 0.0075*1.63) {
			t.Errorf("%s: setup SD %.3g %%", s.ID, 100*sd)
		}
		truth, err := s.Truth()
		if err != nil {
			t.Fatal(err)
		}
		gain := math.Log1p(*truth.Comparisons[0].Gain.BandPct / 100)
		if !(with.Band.Lo <= gain && gain <= with.Band.Hi) || with.Verdict != compare.GainShown {
			t.Errorf("%s: %s, %g to %g; the truth is %g", s.ID, with.Verdict, with.Band.Lo, with.Band.Hi, gain)
		}
		if c.aloneKnows && !(with.Band.Hi-with.Band.Lo < without.Band.Hi-without.Band.Lo) {
			t.Errorf("%s: the interval is %g to %g, alone %g to %g", s.ID, with.Band.Lo, with.Band.Hi, without.Band.Lo, without.Band.Hi)
		}
		if !c.aloneKnows && without.Verdict != compare.NotEnoughEvidence {
			t.Errorf("%s: alone it says %q", s.ID, without.Verdict)
		}
	}
}

// What was judged is found again to the last byte from the data and the settings
// that the result names, whatever the workspace learned since.
func TestRederiveFindsTheSame(t *testing.T) {
	w := newWorkspace(t)
	for n := range 4 {
		s := labScenario(n)
		s.Plan.Order = "ABABA"
		putScenario(t, w, s)
	}
	keep := JudgeOptions{By: anna, Program: "1", Keep: true}
	if _, err := w.store.Calibrate(t.Context(), Calibration{Dyno: "cell-1", ValidFrom: labScenario(2).Plan.Start.AddDate(0, 0, -1), DrumInertia: 41.95, DrumInertiaU: 0.2}, anna); err != nil {
		t.Fatal(err)
	}
	if err := w.JudgeAll(t.Context(), keep, func(report.JudgedRow) {}); err != nil {
		t.Fatal(err)
	}
	kept, err := w.store.LatestResult(t.Context(), "lab-03")
	if err != nil {
		t.Fatal(err)
	}
	// Afterwards: a campaign is left out, the calibration is corrected, another is
	// judged again with other limits.
	limits := DefaultLimits()
	limits.Slip = 0.004
	if _, err := w.store.LeaveOut(t.Context(), "lab-00", anna); err != nil {
		t.Fatal(err)
	}
	if _, err := w.store.Calibrate(t.Context(), Calibration{Dyno: "cell-1", ValidFrom: labScenario(2).Plan.Start.AddDate(0, 0, -1), DrumInertia: 43}, anna); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Judge(t.Context(), "lab-01", JudgeOptions{By: anna, Program: "2", Keep: true, Limits: &limits}); err != nil {
		t.Fatal(err)
	}
	again, err := w.Rederive(t.Context(), kept)
	if err != nil {
		t.Fatal(err)
	}
	for name, pair := range map[string][2][]byte{"body": {again.Body, kept.Body}, "settings": {again.Settings, kept.Settings}, "scatter": {again.Scatter, kept.Scatter}} {
		if !bytes.Equal(pair[0], pair[1]) {
			t.Errorf("the %s is not what was kept:\n%.600s\n%.600s", name, pair[0], pair[1])
		}
	}
	if again.Verdict != kept.Verdict || !reflect.DeepEqual(again.Checks, kept.Checks) {
		t.Errorf("verdict %q and checks %+v, kept %q and %+v", again.Verdict, again.Checks, kept.Verdict, kept.Checks)
	}
	now := mustJudge(t, w, "lab-03", false)
	if bytes.Equal(now.Result.Body, kept.Body) || len(now.past.Campaigns) != 2 {
		t.Error("judged anew, what the workspace learned since changes nothing: the test shows nothing")
	}
	foreign := kept
	foreign.Settings = []byte(`{"format":"fairpull.settings/9"}`)
	if _, err := w.Rederive(t.Context(), foreign); err == nil {
		t.Error("settings of another format were read")
	}
	foreign = kept
	foreign.Data[0] ^= 1
	if _, err := w.Rederive(t.Context(), foreign); err == nil {
		t.Error("a result of other data was derived")
	}
}
