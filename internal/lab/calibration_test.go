package lab

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"

	"fairpull/quantity"
	"fairpull/report"

	"fairpull/simulate"
)

// A drum without bearing loss gives torque in proportion to its inertia, so that a
// calibration raises every level by the ratio of the inertias, exactly, and leaves
// every gain as it is.
func TestCalibratedInertiaScalesLevelsAndNoGain(t *testing.T) {
	s := simulate.Default()
	s.Dyno.Parasitic = [3]float64{}
	s.Plan.Order = "ABABA"
	s.Logger.Sampled.Rate = 60
	w := newWorkspace(t)
	putScenario(t, w, s)
	before := mustJudge(t, w, s.ID, true)
	own := float64(before.Campaign.Dyno.DrumInertia)
	inertia := 1.02 * own
	if _, err := w.Calibrate(t.Context(), Calibration{Dyno: s.Dyno.ID, ValidFrom: s.Plan.Start.AddDate(0, -1, 0), DrumInertia: 15.3, DrumInertiaU: 0.1, Note: "rim weights"}, anna); err != nil {
		t.Fatal(err)
	}
	if math.Abs(inertia-15.3) > 1e-9 {
		t.Fatalf("the scenario's drum has %g kg·m²", own)
	}
	after := mustJudge(t, w, s.ID, true)
	if !after.Changed || len(after.calibrated) != 1 || len(after.calibrated[0].Pulls) != 15 {
		t.Fatalf("applied: %+v", after.calibrated)
	}
	if effect := after.calibrated[0].Effect; math.Abs(effect-0.02) > 1e-9 {
		t.Errorf("levels moved by %g, want 0.02", effect)
	}
	if after.Campaign.Dyno.DrumInertia != 15.3 || after.Campaign.Dyno.DrumInertiaU != 0.1 {
		t.Errorf("the report shows %v", after.Campaign.Dyno)
	}
	for i := range before.Comparisons {
		a, b := &before.Comparisons[i].Band, &after.Comparisons[i].Band
		if math.Abs(b.BaselineLevel/a.BaselineLevel-1.02) > 1e-9 || math.Abs(b.Gain-a.Gain) > 1e-9 || math.Abs(b.Lo-a.Lo) > 1e-9 {
			t.Errorf("level %g to %g, gain %g to %g, from %g to %g", a.BaselineLevel, b.BaselineLevel, a.Gain, b.Gain, a.Lo, b.Lo)
		}
	}
	k := checkOf(t, after.Analysis, "calibration")
	if k.Status != campaign.Pass {
		t.Errorf("%+v", k)
	}
	view := after.View("1", quantity.SI)
	if lines := view.Basis(); len(lines) != 1 || !strings.Contains(lines[0], "drum inertia 15.00 → 15.30 ± 0.1 (standard uncertainty) kg·m²: levels +2.00 % against the campaign's own values; rim weights.") {
		t.Errorf("the report says %q", lines)
	}
}

func checkOf(t *testing.T, a *Analysis, id string) campaign.Check {
	t.Helper()
	for _, k := range a.Checks {
		if k.ID == id {
			return k
		}
	}
	t.Fatalf("no check %s was asked", id)
	return campaign.Check{}
}

// The rig calibrated anew between two blocks: what that does to the gain is stated,
// and the check warns.
func TestCalibrationWithinACampaignWarns(t *testing.T) {
	s := labScenario(0)
	s.Dyno.Parasitic = [3]float64{}
	w := newWorkspace(t)
	putScenario(t, w, s)
	change := s.Plan.Start.Add(30 * time.Minute) // between the first block and the second
	for _, c := range []Calibration{
		{Dyno: s.Dyno.ID, ValidFrom: s.Plan.Start.AddDate(0, -1, 0), DrumInertia: 15, DrumInertiaU: 0.06, BrakeArm: 0.3},
		{Dyno: s.Dyno.ID, ValidFrom: change, DrumInertia: 15.15, DrumInertiaU: 0.0808},
	} {
		if _, err := w.Calibrate(t.Context(), c, anna); err != nil {
			t.Fatal(err)
		}
	}
	j := mustJudge(t, w, s.ID, false)
	k := checkOf(t, j.Analysis, "calibration")
	// √(0.06²/15² + 0.0808²/15.15²) = 0.667 %
	if k.Status != campaign.Warn || k.Measured == nil || math.Abs(*k.Measured-1) > 1e-9 || len(k.Pulls) != 6 || !strings.Contains(k.Message, "0.67 % of torque") {
		t.Errorf("%+v", k)
	}
	if arm := j.Pulls[8].calibration.BrakeArm; arm != 0.3 {
		t.Errorf("the brake arm that was not measured again is %v", arm)
	}
	if got := []int{len(j.calibrated[0].Pulls), len(j.calibrated[1].Pulls)}; !slices.Equal(got, []int{3, 6}) {
		t.Errorf("the calibrations have %v pulls", got)
	}
}

func TestCalibrationsInherit(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 1, n, 0, 0, 0, 0, time.UTC) }
	list := inherited([]Calibration{
		{ValidFrom: day(1), DrumInertia: 40, DrumInertiaU: 1},
		{ValidFrom: day(2), Parasitic: [3]float64{1, 2, 3}},
		{ValidFrom: day(3), BrakeArm: 0.3, ParasiticU: [3]float64{0.1}},
	})
	last := list[2]
	if last.DrumInertia != 40 || last.DrumInertiaU != 1 || last.BrakeArm != 0.3 || last.Parasitic != [3]float64{} {
		t.Errorf("the third is %+v; a bare drum torque of nought with an uncertainty was measured", last)
	}
	for at, want := range map[int]int{0: -1, 1: 0, 2: 1, 9: 2} {
		c := calibrationAt(list, day(1).AddDate(0, 0, at-1))
		if want < 0 && c.Calibration != nil || want >= 0 && c.Calibration != &list[want] {
			t.Errorf("on day %d %+v holds", at, c.Calibration)
		}
	}
	own := campaign.Dyno{ID: "d", DrumInertia: 41, BrakeArm: 0.25}
	if got := calibrationAt(list, day(1)).rig(own); got.DrumInertia != 40 || got.BrakeArm != 0.25 || got.ID != "d" {
		t.Errorf("the rig is %+v", got)
	}
	if (calibrated{}).rig(own) != own {
		t.Error("without a calibration the rig changes")
	}
}

// Results that rest on other values are named, and stand as they are.
func TestCalibrateNamesWhatIsAffected(t *testing.T) {
	w, ctx := newWorkspace(t), t.Context()
	for n := range 3 {
		putScenario(t, w, labScenario(n))
	}
	if err := w.JudgeAll(ctx, JudgeOptions{By: anna, Program: "1", Keep: true}, func(report.JudgedRow) {}); err != nil {
		t.Fatal(err)
	}
	kept, err := w.store.LatestResult(ctx, "lab-01")
	if err != nil {
		t.Fatal(err)
	}
	c := Calibration{Dyno: "cell-1", ValidFrom: labScenario(1).Plan.Start.AddDate(0, 0, -1), DrumInertia: 15.2}
	done, err := w.Calibrate(ctx, c, Author{Who: "Anna Test"})
	if err != nil || !done.Changed || done.NewDyno || !slices.Equal(done.Affected, []string{"lab-01", "lab-02"}) {
		t.Fatalf("%+v, %v", done, err)
	}
	if again, err := w.store.LatestResult(ctx, "lab-01"); err != nil || again.Seq != kept.Seq {
		t.Errorf("the kept result became %+v, %v", again, err)
	}
	mustJudge(t, w, "lab-02", true)
	view, err := w.Calibrations(ctx, "cell-1")
	if err != nil || len(view.Rows) != 1 || view.Rows[0].Pulls != 18 || !slices.Equal(view.Rows[0].Affected, []string{"lab-01"}) {
		t.Errorf("%+v, %v", view, err)
	}
	if done, err := w.Calibrate(ctx, c, anna); err != nil || done.Changed {
		t.Errorf("the same again: %+v, %v", done, err)
	}
	c.DrumInertia = 15.3
	if _, err := w.Calibrate(ctx, c, Author{Who: "Anna Test"}); err == nil || !strings.Contains(err.Error(), "--why") {
		t.Errorf("superseded without a reason: %v", err)
	}
	if done, err := w.Calibrate(ctx, c, anna); err != nil || !done.Superseded || !slices.Equal(done.Affected, []string{"lab-01", "lab-02"}) {
		t.Errorf("superseded: %+v, %v", done, err)
	}
	if done, err := w.Calibrate(ctx, Calibration{Dyno: "cell-9", ValidFrom: c.ValidFrom, BrakeArm: 0.3}, anna); err != nil || !done.NewDyno {
		t.Errorf("a dyno that no campaign names: %+v, %v", done, err)
	}
}

func TestCalibrationsThatNoRigHas(t *testing.T) {
	good := Calibration{Dyno: "cell-1", ValidFrom: time.Now(), DrumInertia: 41.8, DrumInertiaU: 0.4}
	if err := CheckCalibration(good); err != nil {
		t.Fatal(err)
	}
	for says, change := range map[string]func(c *Calibration){
		"slug":                func(c *Calibration) { c.Dyno = "cell 1" },
		"none is given":       func(c *Calibration) { c.ValidFrom = time.Time{} },
		"and none":            func(c *Calibration) { c.DrumInertia, c.DrumInertiaU = 0, 0 },
		"not possible":        func(c *Calibration) { c.DrumInertia = -1 },
		"is not possible":     func(c *Calibration) { c.BrakeArm = 11 },
		"not below":           func(c *Calibration) { c.DrumInertiaU = 42 },
		"uncertainty of NaN":  func(c *Calibration) { c.DrumInertiaU = 0; c.BrakeArm = 1; c.BrakeArmU = quantity.Metre(math.NaN()) },
		"and no value":        func(c *Calibration) { c.BrakeArmU = 0.1 },
		"inertia of NaN kg·m": func(c *Calibration) { c.DrumInertia = quantity.KilogramSquareMetre(math.NaN()) },
	} {
		c := good
		change(&c)
		if err := CheckCalibration(c); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v, want %q", c, err, says)
		}
	}
}
