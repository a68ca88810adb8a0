//go:build slow

package lab

import (
	"math"
	"testing"
)

// TestSteadyCoverage counts, over many simulated logs, how often the limits of a
// steady point from its log alone hold the truth, with noise that hangs together for
// longer and shorter, and with a loop that hunts.
func TestSteadyCoverage(t *testing.T) {
	for _, row := range []struct {
		name                     string
		noiseTime, flutter, hold float64
		integral                 float64
		least                    float64
	}{
		{"usual", 0.25, 0.006, 9, 130, 0.93},
		{"quick noise", 0.02, 0.003, 9, 130, 0.93},
		{"slow noise", 0.8, 0.006, 9, 130, 0.88},
		{"slow noise, held for long", 0.8, 0.006, 25, 130, 0.92},
		{"hunting", 0.25, 0.006, 9, 520, 0.93},
		{"no noise but the engine's", 0, 0.01, 9, 130, 0.92},
	} {
		var c heldCoverage
		for seed := range uint64(40) {
			s := heldScenario(t, "AB")
			s.Seed = seed + 1000
			s.Brake.NoiseTime, s.Brake.Flutter, s.Brake.Hold, s.Brake.Integral = row.noiseTime, row.flutter, row.hold, row.integral
			if row.noiseTime == 0 {
				s.Brake.Noise = 0
			}
			if row.hold > 10 {
				s.Brake.SpeedsRPM = s.Brake.SpeedsRPM[2:5]
			}
			c.take(t, s)
		}
		found, held, bias := float64(c.points)/float64(c.expected), float64(c.held)/float64(c.points), c.bias/float64(c.points)
		t.Logf("%-26s %d points (%.1f %% of those held), limits hold in %.1f %%, mean departure %+.2f standard errors", row.name, c.points, 100*found, 100*held, bias)
		if !(held >= row.least) || !(math.Abs(bias) < 0.25) || !(found > 0.85) {
			t.Errorf("%s: limits hold in %.3f (at least %v), mean departure %.2f, found %.3f", row.name, held, row.least, bias, found)
		}
	}
}

// TestSteadyGainCoverage counts how often the interval of the band gain of a campaign
// of steady points holds the truth, and how often a gain is shown where there is none.
func TestSteadyGainCoverage(t *testing.T) {
	const campaigns = 150
	held, shown := 0, 0
	for seed := range uint64(campaigns) {
		s := heldScenario(t, "ABABA")
		s.Seed = seed + 5000
		s.Drift.PerHour = 0
		s.Configurations[1].Gain = s.Configurations[0].Gain // no gain at all
		s.Brake.Hold = 9
		folder, truth, _ := simulated(t, s)
		a, err := Analyse(t.Context(), folder, Options{})
		folder.Close()
		if err != nil {
			t.Fatal(err)
		}
		band, want := a.Comparisons[0].Band, math.Log1p(*truth.Steady.Comparisons[0].BandPct/100)
		if band.Lo <= want && want <= band.Hi {
			held++
		}
		if a.Comparisons[0].Verdict == "gain shown" {
			shown++
		}
	}
	t.Logf("interval of the band gain holds in %d of %d, a gain is shown where there is none in %d", held, campaigns, shown)
	if held < campaigns*90/100 || shown > campaigns*8/100 {
		t.Errorf("interval holds in %d of %d, a gain is shown in %d", held, campaigns, shown)
	}
}
