package mixture

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// TestFindDelayClosedForm: the answer of dead time and first-order lag to a step is
// 1 − exp(−(t − t0 − dead)/lag), and to a sine of angular frequency w it is a sine less
// by 1/√(1+(w·lag)²) and late by atan(w·lag)/w + dead: both written down here and found
// again, without noise.
func TestFindDelayClosedForm(t *testing.T) {
	const dead, lag, h = 0.21, 0.13, 0.01
	n := 600
	ts, step, stepped := make([]float64, n), make([]float64, n), make([]float64, n)
	sine, followed := make([]float64, n), make([]float64, n)
	const w = 4.0
	for i := range ts {
		x := float64(i) * h
		ts[i] = x
		if x >= 2 {
			step[i] = 1
		}
		// The record runs straight from row to row: the step lasts one interval.
		stepped[i] = 0.88 + 0.12*math.Exp(-math.Max(0, x-2+h/2-dead)/lag)
		sine[i] = math.Sin(w * x)
		followed[i] = 1 + 0.05*math.Sin(w*(x-dead)-math.Atan(w*lag))/math.Sqrt(1+w*w*lag*lag)
	}
	d, err := FindDelay(ts, step, stepped, DelayBounds{1, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dead time of a step", d.Dead, dead, 2e-3)
	near(t, "lag of a step", d.Lag, lag, 2e-3)
	near(t, "total of a step", d.Total, dead+lag, 1e-3)
	if d, err = FindDelay(ts, sine, followed, DelayBounds{0.7, 1}); err != nil {
		t.Fatal(err)
	}
	// A sine fixes the one phase only, which to first order is the total.
	near(t, "phase of a sine", d.Dead+math.Atan(w*d.Lag)/w, dead+math.Atan(w*lag)/w, 2e-3)
}

// randomSteps is an input that jumps at random, and its late reading with noise.
func randomSteps(rng *rand.Rand, dead, lag, noise float64) (ts, u, y []float64) {
	const h, n = 0.02, 1500
	level, next, z := 0.0, 0.0, 0.0
	fine := 10
	var late []float64
	for i := range n {
		for range fine { // Euler's rule on a tenth of the interval
			late = append(late, level)
			k := len(late) - 1 - int(math.Round(dead/(h/float64(fine))))
			if k >= 0 {
				z += (late[k] - z) * -math.Expm1(-h/float64(fine)/lag)
			}
		}
		ts, u, y = append(ts, float64(i)*h), append(u, level), append(y, 1+0.1*z+noise*rng.NormFloat64())
		if next -= h; next <= 0 {
			level, next = rng.Float64(), 0.5+2*rng.Float64()
		}
	}
	return ts, u, y
}

// TestFindDelayCoverage: over many noisy records the stated uncertainty of the total
// covers the truth as often as it says.
func TestFindDelayCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const records, dead, lag = 40, 0.30, 0.15
	within, off := 0, 0.0
	for range records {
		ts, u, y := randomSteps(rng, dead, lag, 0.01)
		d, err := FindDelay(ts, u, y, DelayBounds{1, 1})
		if err != nil {
			t.Fatal(err)
		}
		// The record's level changes within the interval after a row, which is read as
		// a ramp from that row to the next: the reading is late by half an interval less.
		e := d.Total - (dead + lag)
		off += e / records
		if math.Abs(e) <= 2*d.UTotal+0.01 {
			within++
		}
		if math.Abs(e) > 0.05 || d.UTotal > 0.02 || d.UTotal <= 0 {
			t.Errorf("total %.4f ± %.4f, truth %.4f", d.Total, d.UTotal, dead+lag)
		}
	}
	if within < records*9/10 || math.Abs(off) > 0.012 {
		t.Errorf("%d of %d records within two standard uncertainties and half an interval; mean error %.4f s", within, records, off)
	}
}

func TestFindDelayRefusals(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	ts, u, y := randomSteps(rng, 0.3, 0.15, 0)
	for i := range y {
		y[i] = 1 + 0.01*rng.NormFloat64()
	}
	if _, err := FindDelay(ts, u, y, DelayBounds{1, 1}); !errors.Is(err, ErrNoResponse) {
		t.Errorf("noise follows nothing: %v", err)
	}
	for i := range y {
		y[i] = math.NaN()
	}
	if _, err := FindDelay(ts, u, y, DelayBounds{1, 1}); !errors.Is(err, ErrNoResponse) {
		t.Errorf("nothing was read: %v", err)
	}
	ts, u, y = randomSteps(rng, 0.8, 0.15, 0)
	if _, err := FindDelay(ts, u, y, DelayBounds{0.5, 0.05}); !errors.Is(err, ErrNoResponse) {
		t.Errorf("a delay beyond the search: %v", err)
	}
	if _, err := FindDelay(ts, u, y, DelayBounds{}); err == nil {
		t.Error("bounds of zero were taken")
	}
	if _, err := CombineDelays(nil); !errors.Is(err, ErrNoResponse) {
		t.Errorf("no delay at all: %v", err)
	}
	if _, err := Stated(math.NaN(), 0, 0); err == nil {
		t.Error("a stated delay of NaN was taken")
	}
}

// TestCombineDelays: the scatter of three totals rules where it is greater than the fits'
// own.
func TestCombineDelays(t *testing.T) {
	d, err := CombineDelays([]Delay{{Dead: 0.1, Lag: 0.1, Total: 0.20, UTotal: 0.001, Steps: 1}, {Dead: 0.1, Lag: 0.13, Total: 0.23, UTotal: 0.001, Steps: 1}, {Dead: 0.12, Lag: 0.14, Total: 0.26, UTotal: 0.001, Steps: 1}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", d.Total, 0.23, 1e-12)
	near(t, "uncertainty", d.UTotal, 0.03/math.Sqrt(3), 1e-12)
	if d.Steps != 3 {
		t.Errorf("%d steps", d.Steps)
	}
}

// TestSooner: a reading shifted back stands where it belongs, and nowhere else.
func TestSooner(t *testing.T) {
	ts := []float64{0, 1, 2, 3, 10, 11}
	y := []float64{0, 10, 20, 30, 100, 110}
	got := Sooner(ts, y, 0.5, 3)
	for i, want := range []float64{5, 15, 25, math.NaN(), 105, math.NaN()} {
		if math.IsNaN(want) != math.IsNaN(got[i]) || math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("row %d: got %g, want %g", i, got[i], want)
		}
	}
	for i, v := range Sooner(ts, y, 0, 3) {
		if v != y[i] {
			t.Errorf("no delay: row %d is %g", i, v)
		}
	}
}
