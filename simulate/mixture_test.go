package simulate

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
)

// TestBurn: every atom of the fuel and of the air is found again in the gas, whatever is
// rich or lean, and rich gas is in water-gas equilibrium.
func TestBurn(t *testing.T) {
	for _, f := range []fuelAtoms{{1.93, 0.033}, {2.25, 0}, {3, 0.5}} {
		for _, lambda := range []float64{0.7, 0.85, 0.999, 1.0, 1.2} {
			for _, hc := range []float64{0, 500e-6} {
				g := f.burn(lambda, hc)
				demand := 1 + f.hydrogen/4 - f.oxygen/2
				total := 1 / (g.co + g.co2 + 6*g.hc) // dry gas for one atom of carbon
				burnt := total * (g.co + g.co2)
				atoms := 2*lambda*demand + f.oxygen*burnt // of oxygen, that which burns and the air's
				water := atoms - total*(g.co+2*g.co2+2*g.o2)
				hydrogen := f.hydrogen/2*burnt - water
				nitrogen := total * (1 - g.co - g.co2 - g.hc - g.o2 - hydrogen/total)
				near := func(what string, got, want float64) {
					if !(math.Abs(got-want) <= 1e-6) {
						t.Errorf("%+v at lambda %g, HC %g: %s is %.9g, want %.9g", f, lambda, hc, what, got, want)
					}
				}
				near("nitrogen", nitrogen, airNitrogen*lambda*demand)
				near("HC", g.hc, hc)
				if lambda < 1 && g.o2 == 0 {
					near("water-gas constant", g.co*water, waterGas*g.co2*hydrogen)
				} else {
					near("CO", g.co, 0)
					near("hydrogen", hydrogen, 0)
				}
			}
		}
	}
}

// TestTuningFiles: a session comes out the same twice, has sixteen columns, and says what
// it wants; nonsense is refused.
func TestTuningFiles(t *testing.T) {
	u := DefaultTuning()
	u.Seconds, u.Rate = 60, 20
	a, err := u.Files()
	if err != nil {
		t.Fatal(err)
	}
	b, err := u.Files()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"before.csv", "after.csv", "loop.csv", "mixture.toml", "truth.json"} {
		if len(a[name]) == 0 || !bytes.Equal(a[name], b[name]) {
			t.Errorf("%s has %d bytes, and differs from itself: %v", name, len(a[name]), !bytes.Equal(a[name], b[name]))
		}
	}
	header, _, _ := strings.Cut(string(a["before.csv"]), "\n")
	if n := strings.Count(header, ",") + 1; n != 16 {
		t.Errorf("%d columns: %s", n, header)
	}
	if u.Seed++; bytes.Equal(u.Map(nil, 1), a["before.csv"]) {
		t.Error("another seed gave the same log")
	}
	for _, change := range []func(*Tuning){
		func(u *Tuning) { u.Rate = 0 }, func(u *Tuning) { u.Seconds = math.NaN() }, func(u *Tuning) { u.Seconds, u.Rate = 36_000, 1000 },
		func(u *Tuning) { u.SpeedsRPM = nil }, func(u *Tuning) { u.Openings = []float64{2} }, func(u *Tuning) { u.Leanest = 0.5 }, func(u *Tuning) { u.LoopRPM = []float64{-1} },
	} {
		bad := DefaultTuning()
		change(&bad)
		if _, err := bad.Files(); !errors.Is(err, ErrTuning) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// TestLambdaCourse: a mixture that changes over engine speed reaches the truth, the torque
// and, late by the dead time, the log.
func TestLambdaCourse(t *testing.T) {
	s := Default()
	s.Configurations[1].LambdaCourse = Shape{Bumps: []Bump{{AtRPM: 5000, WidthRPM: 600, Size: 0.08}}}
	s.Configurations[1].Gain = Shape{}
	s.Logger.Sampled.LambdaDead, s.Logger.Sampled.LambdaTime, s.Logger.Sampled.LambdaNoise = 0.2, 0, 0
	files, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	truth := string(files[truthFile])
	if strings.Count(truth, `"lambda_curve"`) != 1 {
		t.Errorf("the truth has %d curves of lambda, want one", strings.Count(truth, `"lambda_curve"`))
	}
	whole, part := s.torqueFactor(&s.Configurations[1], s.nominal(1), 8000), s.torqueFactor(&s.Configurations[1], s.nominal(1), 5000)
	if want := 1 - s.Engine.MixtureCurvature*0.08*0.08; math.Abs(part/whole-want) > 1e-6 {
		t.Errorf("torque at the bump is %.6f of that off it, want %.6f", part/whole, want)
	}
	// At each row the log shows the mixture that belongs to the engine speed of 0.2 s before.
	rows := strings.Split(strings.TrimSpace(string(files["logs/pull-004.csv"])), "\n")
	worst, seen := 0.0, 0
	for i := range rows[1:] {
		then := fields(t, rows[1+i])
		if then["t"] < 1.2 || then["throttle"] < 99.9 {
			continue
		}
		ago := int(math.Round(0.2 * s.Logger.Sampled.Rate))
		before := fields(t, rows[1+i-ago])
		z := (before["rpm"] - 5000) / 600
		worst = math.Max(worst, math.Abs(then["lambda"]-0.88-0.08*math.Exp(-z*z/2)))
		seen++
	}
	if seen < 100 || worst > 0.006 {
		t.Errorf("over %d rows the log departs by up to %.4f", seen, worst)
	}
}

// fields reads a row of the default logger.
func fields(t *testing.T, row string) map[string]float64 {
	t.Helper()
	cells := strings.Split(row, ",")
	out := map[string]float64{}
	for i, name := range []string{"t", "drum", "rpm", "throttle", "oil", "lambda"} {
		v, err := strconv.ParseFloat(cells[i], 64)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = v
	}
	return out
}
