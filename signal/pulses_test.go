package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// spinning returns the moments of n pulses, step rad apart, of a shaft that starts
// at omega and gains alpha: θ = ω·t + α·t²/2 solved for t.
func spinning(n int, step, omega, alpha float64) []float64 {
	t := make([]float64, n)
	for k := range t {
		theta := float64(k) * step
		t[k] = 2 * theta / (omega + math.Sqrt(omega*omega+2*alpha*theta))
	}
	return t
}

// TestCountPulses: whatever pulses are missing or too many, every one that is kept
// carries its own number.
func TestCountPulses(t *testing.T) {
	whole := spinning(2000, 2*math.Pi/12, 30, 8)
	random := rand.New(rand.NewPCG(6, 6))
	for range 50 {
		var times []float64
		number := map[float64]int{}
		missing, extra := 0, 0
		for k, ti := range whole {
			number[ti] = k
			if k > 5 && k < 1990 && random.Float64() < 0.01 {
				missing++
				continue
			}
			times = append(times, ti)
			if k > 5 && k < 1990 && random.Float64() < 0.005 {
				times = append(times, ti+(whole[k+1]-ti)*(0.1+0.3*random.Float64()))
				extra++
			}
		}
		tr := CountPulses(times)
		wrong := 0
		for i, ti := range tr.Time {
			if k, ok := number[ti]; !ok || k != tr.Count[i] {
				wrong++
			}
		}
		got := map[string]int{}
		for _, d := range tr.Defects {
			got[d.Kind] += d.Count
			if !d.Repaired {
				t.Errorf("not repaired: %+v", d)
			}
		}
		// A pulse too many next to a missing one cannot be told from an early pulse.
		if wrong > 2 || math.Abs(float64(got[MissingPulse]-missing)) > 2 || math.Abs(float64(got[ExtraPulse]-extra)) > 2 {
			t.Errorf("%d missing and %d extra: found %v, and %d kept pulses carry a wrong number", missing, extra, got, wrong)
		}
	}
}

// TestCleanTrains: from rest, through jitter, and running out, nothing is missing.
func TestCleanTrains(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 1))
	rest := spinning(500, 2*math.Pi, 0.5, 3)
	out := spinning(400, 2*math.Pi, 100, -1.9)
	slices.Sort(out)
	jitter := spinning(3000, 2*math.Pi/60, 100, 5)
	for i := range jitter {
		jitter[i] += 0.08 * (2 * math.Pi / 60 / 100) * random.NormFloat64()
	}
	for name, times := range map[string][]float64{"from rest": rest, "running out": out, "jitter of 8 %": jitter, "one": {1}, "two": {1, 2}, "none": nil} {
		tr := CountPulses(times)
		if len(tr.Defects) > 0 || len(tr.Time) != len(times) {
			t.Errorf("%s: kept %d of %d, %+v", name, len(tr.Time), len(times), tr.Defects)
		}
		for i, c := range tr.Count {
			if c != i {
				t.Errorf("%s: pulse %d is counted as %d", name, i, c)
				break
			}
		}
	}
}

// TestStopIsAGap: a shaft that stood still for a while has no certain count.
func TestStopIsAGap(t *testing.T) {
	times := spinning(100, 0.5, 20, 0)
	for _, ti := range spinning(100, 0.5, 13, 0) {
		times = append(times, 30.123+ti)
	}
	tr := CountPulses(times)
	if len(tr.Defects) != 1 || tr.Defects[0].Kind != Gap || tr.Defects[0].Repaired {
		t.Errorf("a stop of 27 s: %+v", tr.Defects)
	}
}

// TestMeasureTeeth: a wheel with known tooth errors, in a pull and out of it.
func TestMeasureTeeth(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 1))
	const teeth, omega, alpha = 36, 60.0, 9.0
	errors := make([]float64, teeth)
	centre := 0.0
	for j := range errors {
		errors[j] = 0.003 * random.NormFloat64()
		centre += errors[j] / teeth
	}
	var tr Train
	for k := range 36 * 150 {
		theta := 2*math.Pi*float64(k)/teeth + errors[k%teeth] - centre
		tr.Time = append(tr.Time, 2*theta/(omega+math.Sqrt(omega*omega+2*alpha*theta))+2e-6*random.NormFloat64())
		tr.Count = append(tr.Count, k)
	}
	e := MeasureTeeth(&tr, teeth)
	if !e.Found() || e.Turns < 140 {
		t.Fatalf("not found: F %g from %d turns", e.F, e.Turns)
	}
	for j := range errors {
		near(t, "tooth error", e.Error[j], errors[j]-centre, 6e-5) // four times 2e-6 s·90 rad/s/√148
	}
	for j := range errors {
		errors[j] = 0.002 * math.Cos(2*math.Pi*float64(j)/teeth+0.4)
	}
	near(t, "once-per-turn amplitude", (&Teeth{Error: errors}).Amplitude(), 0.002, 1e-12)
	if e := MeasureTeeth(&tr, 1); e.Found() || e.Error != nil {
		t.Errorf("one tooth a turn: %+v", e)
	}
	if e := MeasureTeeth(&Train{Time: tr.Time[:70], Count: tr.Count[:70]}, teeth); e.Found() {
		t.Errorf("two turns: %+v", e)
	}
}

// TestGroupedAngle: averaging pulses in groups moves nothing: the angle lies on the
// shaft's own course θ = ω·t + α·t²/2.
func TestGroupedAngle(t *testing.T) {
	const omega, alpha = 25.0, 12.0
	tr := CountPulses(spinning(6000, 2*math.Pi/60, omega, alpha))
	for _, group := range []int{1, 7, 30} {
		a := AngleOf(&tr, 60, nil, group)
		worst := 0.0
		for i, ti := range a.Time {
			if i >= levelReach && i+levelReach < len(a.Time) {
				worst = math.Max(worst, math.Abs(a.Value[i]-omega*ti-alpha*ti*ti/2))
			}
		}
		if worst > 2e-4 || len(a.Time) != 6000/group {
			t.Errorf("groups of %d: off the course by up to %.2g rad", group, worst)
		}
		ts, speed := a.Speeds()
		for i, ti := range ts {
			if i >= levelReach && i+levelReach < len(ts)-1 && math.Abs(speed[i]-omega-alpha*ti) > 0.05 {
				t.Errorf("groups of %d: %.3f rad/s at %.3f s, want %.3f", group, speed[i], ti, omega+alpha*ti)
				break
			}
		}
	}
}
