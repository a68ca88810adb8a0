package simulate

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// heldOnly is a small scenario of steady logs.
func heldOnly() Scenario {
	s := Default()
	s.Plan.Order = "AB"
	s.Brake = DefaultBrake()
	s.Brake.Alone, s.Brake.Logs = true, 1
	s.Brake.SpeedsRPM, s.Brake.Hold = []float64{3500, 5000}, 8
	return s
}

// TestSteadyTorqueClosedForm: with nothing that scatters, the brake of a held speed
// must take what the balance leaves: torque at the wheel less the drum's own loss,
// both written down here anew from the scenario's numbers.
func TestSteadyTorqueClosedForm(t *testing.T) {
	s := heldOnly()
	s.Vehicle.Slip = 0
	s.Scatter, s.Drift, s.Correction, s.Engine.AirLaw = Scatter{}, Drift{}, "none", "none"
	s.Brake.Noise, s.Brake.Flutter, s.Brake.Fade = 0, 0, 0
	pulls := s.session()
	var at []braked
	_, c, err := s.driveSteady(&pulls[0], func(a, _ *braked) { at = append(at, *a) })
	if err != nil || c.runaway {
		t.Fatal(err, c)
	}
	for _, h := range s.Brake.program() {
		moment := at[int((c.begin+h.to-0.2)/integrationStep)]
		omega := h.rpm * 2 * math.Pi / 60 / s.Vehicle.RevsPerDrumRev
		off := 0.88 - s.Engine.MixtureBest
		crank := s.Engine.Torque.At(h.rpm) * (1 - s.Engine.MixtureCurvature*off*off)
		loss, own := s.Vehicle.Loss, s.Dyno.Parasitic
		want := crank*s.Vehicle.RevsPerDrumRev - (loss[0] + loss[1]*omega + loss[2]*omega*omega) - (own[0] + own[1]*omega + own[2]*omega*omega)
		if math.Abs(moment.brake/want-1) > 2e-3 || math.Abs(moment.omega/omega-1) > 1e-3 {
			t.Errorf("%v 1/min: brake %.3f N·m at %.4f rad/s; the balance asks for %.3f at %.4f", h.rpm, moment.brake, moment.omega, want, omega)
		}
	}
}

// TestSteadySession: steady logs follow the pulls of each block or stand in their
// place, have their truth, and the same scenario gives the same bytes.
func TestSteadySession(t *testing.T) {
	s := heldOnly()
	s.Brake.Alone = false
	s.Plan.PullsPerBlock = 2
	files, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	again, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	var truth Truth
	if err := json.Unmarshal(files[truthFile], &truth); err != nil {
		t.Fatal(err)
	}
	if len(truth.Pulls) != 6 || s.Rows() != 6 {
		t.Fatalf("%d rows, want 6", len(truth.Pulls))
	}
	for i, p := range truth.Pulls {
		log := files["logs/pull-00"+p.Pull+".csv"]
		header, _, _ := strings.Cut(string(log), "\n")
		if steady := i%3 == 2; steady != (p.Steady != nil) || steady != strings.Contains(header, "brake_torque [N·m]") {
			t.Errorf("row %s: steady %v, truth %v, header %q", p.Pull, steady, p.Steady != nil, header)
		}
		if !bytes.Equal(log, again["logs/pull-00"+p.Pull+".csv"]) {
			t.Errorf("row %s: other bytes the second time", p.Pull)
		}
	}
	if truth.Steady == nil || len(truth.Steady.Comparisons) != 1 || truth.Comparisons[0].Gain.BandPct == nil {
		t.Errorf("truth of both ways: %+v", truth.Steady)
	}
	whole, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	if a, b := whole.Pulls[2].Steady.Held[0], truth.Pulls[2].Steady.Held[0]; a != b {
		t.Errorf("Truth says %+v and the folder %+v", a, b)
	}
}

// TestSteadyAgainstPull: held, no rotating part takes power. The wheel figure of a
// pull is smaller by the wheel's and the engine's inertia times the acceleration:
// τ_steady/τ_pull = (I + I_w + I_e·n²)/I but for the drum's own loss, which takes
// part in both.
func TestSteadyAgainstPull(t *testing.T) {
	s := heldOnly()
	s.Vehicle.Slip = 0
	s.Dyno.Parasitic = [3]float64{}
	m, accelerating, err := s.ideal(s.nominal(0), s.Brake.SpeedsRPM)
	if err != nil {
		t.Fatal(err)
	}
	want := (m.drum + m.wheel + m.engine*m.ratio*m.ratio) / m.drum
	for i, held := range s.steadyTruth().Configurations[0].WheelNm {
		if got := held / accelerating[i]; math.Abs(got/want-1) > 1e-6 {
			t.Errorf("%v 1/min: held over pulled %.7f, the inertias say %.7f", s.Brake.SpeedsRPM[i], got, want)
		}
	}
}

// TestWeakBrake: a brake that is too small lets go, and the truth says so.
func TestWeakBrake(t *testing.T) {
	s := heldOnly()
	s.Brake.Max = 150
	truth, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	if p := truth.Pulls[0].Steady; !p.Runaway || !(p.Saturated > 0.5) {
		t.Errorf("a brake of half the torque: %+v", p)
	}
}

func TestBrakeRefused(t *testing.T) {
	for _, row := range []struct {
		spoil func(*Scenario)
		words string
	}{
		{func(s *Scenario) { s.Brake.SpeedsRPM = nil }, "speeds_rpm"},
		{func(s *Scenario) { s.Brake.SpeedsRPM[0] = 100 }, "speeds_rpm[0]"},
		{func(s *Scenario) { s.Brake.Max = math.NaN() }, "max_torque_nm"},
		{func(s *Scenario) { s.Brake.Hold = 600; s.Brake.Ramp = 1 }, "would take"},
		{func(s *Scenario) { s.Brake.Step = 0.3 }, "step_nm"},
		{func(s *Scenario) { s.Logger.Kind = PulseLog }, "sampled logs"},
		{func(s *Scenario) { s.Faults = []Fault{{Name: gap, Pulls: []string{"1"}}} }, "steady log"},
	} {
		s := heldOnly()
		row.spoil(&s)
		if err := s.Validate(); err == nil || !strings.Contains(err.Error(), row.words) {
			t.Errorf("%v; want an error with %q", err, row.words)
		}
	}
	if err := heldOnly().Validate(); err != nil {
		t.Error(err)
	}
}

// TestBrakeTOML: a scenario with a brake comes back from its file as it was.
func TestBrakeTOML(t *testing.T) {
	text, err := heldOnly().TOML()
	if err != nil {
		t.Fatal(err)
	}
	back, err := FromTOML(text)
	if err != nil {
		t.Fatal(err)
	}
	if back.Brake == nil || back.Brake.Max != 520 || len(back.Brake.SpeedsRPM) != 2 {
		t.Errorf("came back as %+v", back.Brake)
	}
}
