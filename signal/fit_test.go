package signal

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// near fails unless got is within tolerance of want; NaN fails.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

// TestSavitzkyGolay: on even sampling a local fit has the weights of Savitzky and
// Golay, Analytical Chemistry 36 (1964) 1627–1639, as corrected by Steinier,
// Termonia and Deltour (1972); rows from memory.
func TestSavitzkyGolay(t *testing.T) {
	for _, row := range []struct {
		name          string
		degree, order int
		want          []float64
		norm          float64
	}{
		{"value, cubic, 7 points", 3, 0, []float64{-2, 3, 6, 7, 6, 3, -2}, 21},
		{"slope, cubic, 5 points", 3, 1, []float64{1, -8, 0, 8, -1}, 12},
		{"slope, cubic, 7 points", 3, 1, []float64{22, -67, -58, 0, 58, 67, -22}, 252},
		{"curvature, cubic, 7 points", 3, 2, []float64{5, 0, -3, -4, -3, 0, 5}, 42},
		{"curvature, quartic, 7 points", 4, 2, []float64{-13, 67, -19, -70, -19, 67, -13}, 132},
	} {
		n := len(row.want)
		ts, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range ts {
			ts[i] = 1000 + float64(i)
			y[i] = math.Sin(float64(i))
		}
		centre := ts[n/2]
		var f Fit
		if err := f.Over(ts, y, centre, float64(n/2), row.degree); err != nil {
			t.Fatal(err)
		}
		f.Weights(row.order, centre, ts, w)
		sum, squares := 0.0, 0.0
		for i, want := range row.want {
			near(t, row.name, w[i], want/row.norm, 1e-9)
			sum += w[i] * y[i]
			squares += w[i] * w[i]
		}
		near(t, row.name+": At against its weights", f.At(row.order, centre), sum, 1e-12)
		near(t, row.name+": variance against its weights", f.UnitVariance(row.order, centre), squares, 1e-9)
	}
}

// TestExactOnUnevenSampling: a polynomial of the fit's degree comes back exactly,
// with all its derivatives, wherever the samples lie, late in a long log too.
func TestExactOnUnevenSampling(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, degree := range []int{1, 2, 3, 4} {
		for _, start := range []float64{0, 5e4} {
			ts, y := make([]float64, 40), make([]float64, 40)
			c := [5]float64{100, -11, 3, 0.7, -2}
			value := func(x float64) (v, d1, d2 float64) {
				for k := degree; k >= 0; k-- {
					v = v*x + c[k]
				}
				for k := degree; k >= 1; k-- {
					d1 = d1*x + float64(k)*c[k]
				}
				for k := degree; k >= 2; k-- {
					d2 = d2*x + float64(k*(k-1))*c[k]
				}
				return v, d1, d2
			}
			at := 0.0
			for i := range ts {
				at += random.ExpFloat64() * 0.02
				ts[i] = start + at
				y[i], _, _ = value(ts[i] - start - 0.4)
			}
			var f Fit
			if err := f.Over(ts, y, start+0.35, 0.5, degree); err != nil {
				t.Fatal(err)
			}
			for _, x := range []float64{-0.3, 0, 0.21} {
				v, d1, d2 := value(x)
				near(t, "value", f.At(0, start+0.4+x), v, 1e-8)
				near(t, "slope", f.At(1, start+0.4+x), d1, 1e-7)
				near(t, "curvature", f.At(2, start+0.4+x), d2, 1e-5)
			}
			near(t, "residual", f.ResidualSS, 0, 1e-15)
			var again Fit
			if err := again.Again(&f, ts, y); err != nil {
				t.Fatal(err)
			}
			for k, c := range f.Coefficients {
				near(t, "the same samples again", again.Coefficients[k], c, 1e-10)
			}
		}
	}
}

// TestVarianceOfEvenWindow: for many even samples in a window of half-width h, the
// slope of a cubic has the variance (75/4)·σ²/(N·h²) and the curvature of a quartic
// (2205/4)·σ²/(N·h⁴): sums of (2k+1)·[P_k⁽ᵈ⁾(0)]² over the Legendre polynomials.
func TestVarianceOfEvenWindow(t *testing.T) {
	const n, h = 20001, 0.7
	ts, y := make([]float64, n), make([]float64, n)
	for i := range ts {
		ts[i] = 3 + h*(2*float64(i)/(n-1)-1)
	}
	var f Fit
	if err := f.Over(ts, y, 3, h, 3); err != nil {
		t.Fatal(err)
	}
	near(t, "slope of a cubic", f.UnitVariance(1, 3)*n*h*h, 75./4, 0.01)
	if err := f.Over(ts, y, 3, h, 4); err != nil {
		t.Fatal(err)
	}
	near(t, "curvature of a quartic", f.UnitVariance(2, 3)*n*h*h*h*h, 2205./4, 0.5)
}

// TestResolution measures the width at half height of the answer to a brief burst
// of acceleration at every place of the window, and holds the stated one to it.
func TestResolution(t *testing.T) {
	const n = 4001
	ts, w, y := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range ts {
		ts[i] = 2*float64(i)/(n-1) - 1
	}
	for degree := 3; degree <= 4; degree++ {
		var f Fit
		if err := f.Over(ts, y, 0, 1, degree); err != nil {
			t.Fatal(err)
		}
		f.Weights(degree-2, 0, ts, w)
		// A burst at t raises the speed after it by a step, the angle by a ramp.
		answer := make([]float64, n)
		step, ramp := 0.0, 0.0
		for i := n - 1; i > 0; i-- {
			ramp += step * (ts[i] - ts[i-1])
			step += w[i]
			answer[i] = step
			if degree == 4 {
				answer[i] = ramp
			}
		}
		peak, width := answer[n/2], 0.0
		for i := 1; i < n; i++ {
			if answer[i] > peak/2 && math.Abs(ts[i]) < 0.7 {
				width += ts[i] - ts[i-1]
			}
		}
		near(t, "width at half height", Resolution(degree), width, 0.002)
	}
}

// TestUnfitWindows: too few samples, samples at one moment, and a width of nothing
// are refused.
func TestUnfitWindows(t *testing.T) {
	var f Fit
	ts := []float64{1, 2, 3, 4, 5, 6}
	if err := f.Over(ts[:3], ts[:3], 2, 1, 3); !errors.Is(err, ErrTooFew) {
		t.Errorf("three samples: %v", err)
	}
	if err := f.Over(ts, ts, 2, 0, 3); !errors.Is(err, ErrTooFew) {
		t.Errorf("no width: %v", err)
	}
	if err := f.Over([]float64{2, 2, 2, 2, 2, 3}, ts, 2, 1, 3); !errors.Is(err, ErrSingular) {
		t.Errorf("two moments: %v", err)
	}
	if err := f.Over(ts, []float64{1, 2, math.NaN(), 4, 5, 6}, 3, 3, 3); err == nil && !math.IsNaN(f.ResidualSS) {
		t.Errorf("a missing value gives residuals of %g", f.ResidualSS)
	}
	if err := f.Over(ts, ts, 2, 1, 5); err == nil {
		t.Error("degree 5 is accepted")
	}
	if err := f.Over(ts, ts, 3, 3, 3); err != nil {
		t.Fatal(err)
	}
	var again Fit
	if err := again.Again(&f, ts[:4], ts[:4]); !errors.Is(err, ErrTooFew) {
		t.Errorf("another length: %v", err)
	}
}
