package lab

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/internal/demo"
	"fairpull/report"
	"fairpull/scatter"
)

// demoSource is the demo's campaign without its pulls, under another id.
func demoSource(t testing.TB) PlanSource {
	t.Helper()
	folder, err := ingest.Open(demo.Campaign())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	c := folder.Campaign
	c.Pulls, c.ExtraColumns, c.ID = nil, nil, "next-kit"
	return PlanSource{Campaign: c}
}

// designs plans the demo's question, changed as a case wants it, without a workspace.
func designs(t testing.TB, change func(*PlanSource, *PlanOptions)) (*Planning, error) {
	t.Helper()
	source, o := demoSource(t), PlanOptions{Judged: NotJudged()}
	change(&source, &o)
	return (*Workspace)(nil).Designs(t.Context(), source, o)
}

func mustDesign(t testing.TB, change func(*PlanSource, *PlanOptions)) *Planning {
	t.Helper()
	p, err := designs(t, change)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The surface speed of the drum is rpm/60·2π/ratio·radius. A tyre of symbol H may run
// 210 km/h (ISO 4223-1), which at 3.5 engine turns a drum turn of 0.25 m radius is
// 210/3.6/0.25·3.5·60/2π = 7798.6 rpm.
func TestPlanKeepsTheTyreWithinItsRating(t *testing.T) {
	const most = 7798.6
	for _, row := range []struct {
		name    string
		change  func(*PlanSource, *PlanOptions)
		refused bool
		says    string // of what could not be checked
	}{
		{"within", func(_ *PlanSource, o *PlanOptions) { o.TopRPM = most - 1 }, false, ""},
		{"past it", func(_ *PlanSource, o *PlanOptions) { o.TopRPM = most + 1 }, true, ""},
		{"the band past it", func(s *PlanSource, _ *PlanOptions) { s.Campaign.Objective.BandRPM[1] = most + 1 }, true, ""},
		{"a candidate geared higher", func(s *PlanSource, o *PlanOptions) {
			o.TopRPM, s.Campaign.Configurations[1].EngineRevsPerDrumRev = most-1, 3.4
		}, true, ""},
		{"no symbol", func(s *PlanSource, o *PlanOptions) { s.Campaign.Vehicle.TyreSpeedSymbol, o.TopRPM = "", 20000 }, false, "tyre_speed_symbol is not stated"},
		{"a symbol that names no speed", func(s *PlanSource, _ *PlanOptions) { s.Campaign.Vehicle.TyreSpeedSymbol = "ZR" }, false, "names no speed"},
		{"no gearing", func(s *PlanSource, _ *PlanOptions) { s.Campaign.Vehicle.EngineRevsPerDrumRev = 0 }, false, "engine_revs_per_drum_rev"},
		{"no band", func(s *PlanSource, _ *PlanOptions) { s.Campaign.Objective.BandRPM = [2]float64{} }, false, "neither the riding band"},
	} {
		p, err := designs(t, func(s *PlanSource, o *PlanOptions) {
			s.Campaign.Vehicle.EngineRevsPerDrumRev, s.Campaign.Dyno.DrumRadius = 3.5, 0.25
			row.change(s, o)
		})
		switch {
		case row.refused:
			if err == nil || !strings.Contains(err.Error(), "may run 210 km/h") {
				t.Errorf("%s: %v; want a refusal that names 210 km/h", row.name, err)
			}
		case err != nil:
			t.Errorf("%s: %v", row.name, err)
		case !strings.Contains(p.View.Tyre.Unchecked, row.says) || (row.says == "") != (p.View.Tyre.Unchecked == ""):
			t.Errorf("%s: not checked because %q; want %q", row.name, p.View.Tyre.Unchecked, row.says)
		case row.says == "" && math.Abs(p.View.Tyre.MostRPM-most) > 0.1:
			t.Errorf("%s: the limit is met at %g rpm; geometry gives %g", row.name, p.View.Tyre.MostRPM, most)
		}
	}
}

// Scatter comes from one place, and what is entered by judgement is named.
func TestPlanScatterSources(t *testing.T) {
	own := mustDesign(t, func(*PlanSource, *PlanOptions) {}).View.Scatter
	near := func(got report.Spread, sd, df float64) bool { return math.Abs(got.SD/sd-1) < 1e-12 && got.DF == df }
	if own.Own == nil || !near(own.Setup, 0.007, 12) || !near(own.Block, 0.002, 8) || !near(own.Pull, 0.004, 60) || len(own.Judged) > 0 {
		t.Errorf("the campaign's own [history] gives %+v", own)
	}
	judged := mustDesign(t, func(_ *PlanSource, o *PlanOptions) {
		o.Judged.SetupSD, o.Judged.DriftPerHour, o.Judged.DriftStated = 0.01, 0.005, true
	}).View.Scatter
	if judged.Setup != (report.Spread{SD: 0.01}) || judged.Pull.DF != 60 || judged.DriftPerHour != 0.005 || !slices.Equal(judged.Judged, []string{"setup to setup", "drift"}) {
		t.Errorf("with a setup scatter and a drift by judgement: %+v", judged)
	}
	if _, err := designs(t, func(s *PlanSource, _ *PlanOptions) { s.Campaign.History = nil }); !errors.Is(err, ErrNoScatter) {
		t.Errorf("nothing known: %v", err)
	}
	if _, err := designs(t, func(_ *PlanSource, o *PlanOptions) { o.Judged.Nothing = true }); !errors.Is(err, ErrNoScatter) {
		t.Errorf("what is known left aside: %v", err)
	}
	// Without the scatter of change-overs no design in one setup can be promised.
	for _, d := range mustDesign(t, func(s *PlanSource, _ *PlanOptions) {
		h := *s.Campaign.History
		h.BlockSD, h.BlockDF = 0, 0
		s.Campaign.History = &h
	}).View.Designs {
		if d.OneSetup {
			t.Errorf("%s in one setup is offered, and the scatter of change-overs is not known", d.Order)
		}
	}
	if _, err := designs(t, func(s *PlanSource, _ *PlanOptions) { s.Campaign.Objective.SmallestGain = 0 }); err == nil || !strings.Contains(err.Error(), "smallest_gain_of_interest_pct") {
		t.Errorf("without a gain of interest: %v", err)
	}
}

// A level that a history does not know for a figure is not known, whatever it says of
// another; setups keep the pulls that are behind their means.
func TestAssumedFromHistory(t *testing.T) {
	nan := math.NaN()
	got := assumedFrom(scatter.Pooled{
		Setup:       scatter.PooledLevel{QuotedDF: 9, Pulls: 3, SD: [3]float64{0.007, 0.008, 0.009}},
		Block:       scatter.PooledLevel{QuotedDF: 5, Pulls: 2, SD: [3]float64{0.002, nan, 0.001}},
		Pull:        scatter.PooledLevel{QuotedDF: 40, SD: [3]float64{0.004, 0.005, 0.006}},
		DriftRateSD: 0.003, DriftRateDF: 4,
	}, scalarOf(campaign.PrimaryPeakTorque))
	want := compare.Assumed{
		Setup: compare.Spread{SD: 0.008, DF: 9}, SetupPulls: 3, Pull: compare.Spread{SD: 0.005, DF: 40},
		DriftRate: compare.Spread{SD: 0.003, DF: 4}, DriftPerHour: 0.003,
	}
	if got != want {
		t.Errorf("%+v; want %+v", got, want)
	}
}

// A workspace that has judged campaigns of the dyno plans with their scatter.
func TestPlanFromTheWorkspace(t *testing.T) {
	w := newWorkspace(t)
	for n := range 3 {
		s := labScenario(n)
		s.Plan.Order = "ABABA"
		putScenario(t, w, s)
		mustJudge(t, w, s.ID, true)
	}
	record, err := w.store.Get(t.Context(), "lab-00")
	if err != nil {
		t.Fatal(err)
	}
	c := record.Campaign
	c.ID, c.Pulls, c.ExtraColumns, c.History = "next", nil, nil, nil
	p, err := w.Designs(t.Context(), PlanSource{Campaign: c}, PlanOptions{Judged: NotJudged()})
	if err != nil {
		t.Fatal(err)
	}
	past, err := w.history(t.Context(), PastQuery{Dyno: c.Dyno.ID, Vehicle: c.Vehicle.ID})
	if err != nil {
		t.Fatal(err)
	}
	pooled, err := past.pool(nil)
	if err != nil {
		t.Fatal(err)
	}
	got := p.View.Scatter
	if got.History == nil || got.History.Campaigns != 3 || got.Setup != (report.Spread{SD: pooled.Setup.SD[0], DF: pooled.Setup.QuotedDF}) || got.Setup.DF == 0 || got.Pull.DF != pooled.Pull.QuotedDF {
		t.Errorf("%+v; the workspace has %+v", got, pooled.Setup)
	}
	knows := campaign.History{SetupSD: 0.007, SetupDF: 500, PullSD: 0.004, PullDF: 60}
	c.History = &knows
	if p, err = w.Designs(t.Context(), PlanSource{Campaign: c}, PlanOptions{Judged: NotJudged()}); err != nil || p.View.Scatter.History != nil || p.View.Scatter.Setup.DF != 500 {
		t.Errorf("a campaign that knows more is not asked: %+v, %v", p.View.Scatter, err)
	}
}

// order spells a plan with the ids of its configurations.
func orderOf(p *campaign.Plan) string {
	s := ""
	for _, b := range p.Blocks {
		s += b.Configuration
	}
	return s
}

func TestChooseADesign(t *testing.T) {
	p := mustDesign(t, func(_ *PlanSource, o *PlanOptions) { o.Setups = AnewSetup })
	for i, d := range p.View.Designs {
		if err := p.Choose(PlanChoice{Design: fmt.Sprint(i + 1)}); err != nil {
			t.Fatal(err)
		}
		plan := p.Campaign.Plan
		if orderOf(plan) != strings.ReplaceAll(d.Order, "-", "") || plan.Blocks[0].Pulls != d.Pulls || plan.MinutesOnRig != math.Round(d.Minutes) {
			t.Errorf("design %d, %s of %d pulls, is planned as %+v", i+1, d.Order, d.Pulls, plan)
		}
		if plan.Power > d.Chance(0.02) || plan.Power < d.Chance(0.02)-0.001 {
			t.Errorf("%s: the plan says %g, the design %g", d.Order, plan.Power, d.Chance(0.02))
		}
	}
	if err := p.Choose(PlanChoice{}); err != nil || orderOf(p.Campaign.Plan) != strings.ReplaceAll(p.View.Designs[p.View.Recommended].Order, "-", "") {
		t.Errorf("the recommended design: %v, %+v", err, p.Campaign.Plan)
	}
	if err := p.Choose(PlanChoice{Design: "abba", Pulls: 4, OneSetup: false}); err != nil || orderOf(p.Campaign.Plan) != "ABBA" || p.Campaign.Plan.TotalPulls() != 16 || p.Campaign.Plan.SameSetup(1) {
		t.Errorf("an order: %v, %+v", err, p.Campaign.Plan)
	}
	if err := p.Choose(PlanChoice{Design: "ABA", Pulls: 2, OneSetup: true}); err != nil || !p.Campaign.Plan.SameSetup(1) || !p.Campaign.Plan.SameSetup(2) {
		t.Errorf("in one setup: %v, %+v", err, p.Campaign.Plan)
	}
	for _, wrong := range []PlanChoice{{Design: "99"}, {Design: "AXA"}, {Design: "AAA"}, {Design: "ABA", Pulls: 1000}, {Design: "ABBA", OneSetup: true}, {Design: "ABA", Seed: 1 << 60}} {
		if err := p.Choose(wrong); err == nil {
			t.Errorf("%+v was planned", wrong)
		}
	}
	p.Measured = true
	if err := p.Choose(PlanChoice{}); err == nil || !strings.Contains(err.Error(), "--id next-kit-2") {
		t.Errorf("a campaign with candidate pulls: %v", err)
	}
}

// bracketedByTheBook is docs/method.md, section 2: every candidate block between two
// baseline blocks, or the mean places of the sides apart by 1.25 blocks at most.
func bracketedByTheBook(order string) bool {
	if order[0] == 'A' && order[len(order)-1] == 'A' {
		return true
	}
	var sum, n [2]float64
	for i, r := range order {
		sum[r-'A'] += float64(i)
		n[r-'A']++
	}
	return math.Abs(sum[0]/n[0]-sum[1]/n[1]) <= 1.25
}

// Drawn orders have the same blocks and bracket the candidate; the seed alone decides,
// and other seeds draw others.
func TestDrawnOrders(t *testing.T) {
	p := mustDesign(t, func(*PlanSource, *PlanOptions) {})
	seen := map[string]bool{}
	for seed := uint64(1); seed <= 12; seed++ {
		choice := PlanChoice{Design: "ABABABA", Pulls: 3, Random: true, Seed: seed}
		if err := p.Choose(choice); err != nil {
			t.Fatal(err)
		}
		order := orderOf(p.Campaign.Plan)
		if strings.Count(order, "A") != 4 || strings.Count(order, "B") != 3 {
			t.Fatalf("%s has other blocks than A-B-A-B-A-B-A", order)
		}
		if !bracketedByTheBook(order) {
			t.Errorf("%s does not bracket the candidate", order)
		}
		if p.Campaign.Plan.Power < 0.8 {
			t.Errorf("%s has a chance of %g; A-B-A-B-A-B-A has the wanted 0.8", order, p.Campaign.Plan.Power)
		}
		if p.Campaign.Plan.Seed != seed {
			t.Errorf("drawn with %d, and the plan keeps %d", seed, p.Campaign.Plan.Seed)
		}
		if err := p.Choose(choice); err != nil || orderOf(p.Campaign.Plan) != order {
			t.Errorf("seed %d draws %s and then %s", seed, order, orderOf(p.Campaign.Plan))
		}
		seen[order] = true
	}
	if len(seen) < 3 {
		t.Errorf("twelve seeds drew %d orders", len(seen))
	}
	if err := p.Choose(PlanChoice{Design: "ABA", Pulls: 3, Random: true}); err != nil || orderOf(p.Campaign.Plan) != "ABA" || !strings.Contains(p.View.Notes[0], "one order only") {
		t.Errorf("A-B-A leaves nothing to draw: %v, %v", err, p.View.Notes)
	}
	if err := p.Choose(PlanChoice{Design: "ABA", Pulls: 3}); err != nil || p.Campaign.Plan.Seed != 0 {
		t.Errorf("an order that was chosen has the seed %d", p.Campaign.Plan.Seed)
	}
}

// A planned folder is filled in with the demo's pulls, which follow the plan, and
// analysed: the plan holds and the demo's gain is shown.
func TestPlannedFolderIsMeasuredAndJudged(t *testing.T) {
	p := mustDesign(t, func(*PlanSource, *PlanOptions) {})
	if err := p.Choose(PlanChoice{Design: "ABABA", Pulls: 3}); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "planned")
	if err := WritePlanned(dir, p.Campaign, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := Gain(t.Context(), dir, nil); err == nil {
		t.Error("a folder without pulls was analysed")
	}
	logs := filepath.Join(dir, "logs")
	if err := os.Remove(logs); err != nil { // empty, as it must be
		t.Fatal(err)
	}
	whole := filepath.Join(t.TempDir(), "demo")
	if err := WriteDemo(whole); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"pulls.csv", "logs"} {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(filepath.Join(whole, name), filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	a, err := Gain(t.Context(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got, found := status(a, planCheck); !found || got != campaign.Pass || a.Comparisons[0].Verdict != compare.GainShown {
		t.Errorf("the check is %q (there: %v), the verdict %q %v", got, found, a.Comparisons[0].Verdict, a.Comparisons[0].Reasons)
	}
}

func TestKeepPlanned(t *testing.T) {
	w := newWorkspace(t)
	p := mustDesign(t, func(*PlanSource, *PlanOptions) {})
	choose := func(design string) campaign.Campaign {
		t.Helper()
		if err := p.Choose(PlanChoice{Design: design, Pulls: 3}); err != nil {
			t.Fatal(err)
		}
		return p.Campaign
	}
	for i, design := range []string{"ABA", "ABA", "ABBA"} {
		if err := w.KeepPlanned(t.Context(), choose(design), anna); err != nil {
			t.Fatal(err)
		}
		entry, err := w.store.Entry(t.Context(), "next-kit", 0)
		if want := []int64{1, 1, 2}[i]; err != nil || entry.Version != want {
			t.Errorf("kept %d times: version %d, %v; want %d", i+1, entry.Version, err, want)
		}
	}
	source, err := w.PlanSource(t.Context(), "next-kit")
	if err != nil || orderOf(source.Campaign.Plan) != "ABBA" || source.Measured {
		t.Errorf("%+v, %v", source.Campaign.Plan, err)
	}
	dir := filepath.Join(t.TempDir(), "out")
	if _, err := w.Export(t.Context(), "next-kit", 0, dir); err != nil {
		t.Fatal(err)
	}
	if draft, err := ingest.OpenDraft(dir); err != nil || orderOf(draft.Campaign.Plan) != "ABBA" || draft.Pulls {
		t.Errorf("exported: %+v, %v", draft.Campaign.Plan, err)
	}
	measured := filepath.Join(t.TempDir(), "demo")
	if err := WriteDemo(measured); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(t.Context(), measured, anna, false); err != nil {
		t.Fatal(err)
	}
	late := choose("ABA")
	late.ID = "twin650-intake-cam"
	if err := w.KeepPlanned(t.Context(), late, anna); err == nil || !strings.Contains(err.Error(), "its plan stands") {
		t.Errorf("a campaign with candidate pulls was planned: %v", err)
	}
	if source, err := w.PlanSource(t.Context(), "twin650-intake-cam"); err != nil || !source.Measured {
		t.Errorf("measured: %v, %v", source.Measured, err)
	}
	if source, err := w.PlanSource(t.Context(), measured); err != nil || !source.Measured {
		t.Errorf("a folder with pulls: %v, %v", source.Measured, err)
	}
	if _, err := w.PlanSource(t.Context(), "nothing-like-it"); err == nil || !strings.Contains(err.Error(), "fairpull campaigns") {
		t.Errorf("%v", err)
	}
	if r, err := w.Doctor(t.Context()); err != nil || len(r.Problems) > 0 {
		t.Errorf("the doctor: %+v, %v", r.Problems, err)
	}
}

func TestWritePullSheets(t *testing.T) {
	dir := t.TempDir()
	c := demoSource(t).Campaign
	sheet, key := filepath.Join(dir, "s.pdf"), filepath.Join(dir, "k.html")
	if err := WritePullSheets(c, PullSheets{Sheet: []string{sheet}}); err == nil || !strings.Contains(err.Error(), "--design") {
		t.Errorf("without a plan: %v", err)
	}
	c.Plan = demoPlan()
	if err := WritePullSheets(c, PullSheets{Key: []string{key}}); err == nil || !strings.Contains(err.Error(), "--blind") {
		t.Errorf("a key of a plan that is not blind: %v", err)
	}
	c.Plan.Blind = true
	if err := WritePullSheets(c, PullSheets{Sheet: []string{sheet}, Key: []string{key}}); err != nil {
		t.Fatal(err)
	}
	pdf, err := os.ReadFile(sheet)
	if err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("%.8q, %v", pdf, err)
	}
	if err := WritePullSheets(c, PullSheets{Sheet: []string{sheet}}); err == nil {
		t.Error("a sheet was replaced unasked")
	}
	if err := CheckSheets([]string{filepath.Join(dir, "s.png")}, false); err == nil {
		t.Error("a picture was taken for a sheet")
	}
}

// BenchmarkDesigns is the whole list for one candidate.
func BenchmarkDesigns(b *testing.B) {
	source := demoSource(b)
	for b.Loop() {
		if _, err := (*Workspace)(nil).Designs(b.Context(), source, PlanOptions{Judged: NotJudged()}); err != nil {
			b.Fatal(err)
		}
	}
}
