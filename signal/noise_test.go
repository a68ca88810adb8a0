package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestRoundingVariance: over 4,000 rounded ramps with the rounding steps shifted at
// random, the slope of a local cubic scatters as Variance says, whatever the ramp
// gains from one sample to the next; white noise of the same size does not.
func TestRoundingVariance(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	const n, q, repeats = 230, 0.3, 4000
	ts, y, w, fitted := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range ts {
		ts[i] = float64(i) / 200
	}
	white := 0
	for _, gain := range []float64{0.05, 0.21, 0.5, 0.97, 1.0, 2.3} { // quanta a sample
		for _, noise := range []float64{0, 0.15, 0.6} { // quanta
			for i := range ts {
				y[i] = 100 + gain*q*float64(i) + 0.3*ts[i]*ts[i]
			}
			var f Fit
			if err := f.Over(ts, y, ts[n/2], ts[n/2], 3); err != nil {
				t.Fatal(err)
			}
			f.Weights(1, ts[n/2], ts, w)
			f.Values(ts, fitted)
			squares := 0.0
			for range repeats {
				shift, e := random.Float64()*q, 0.0
				for i, v := range y {
					e += w[i] * (q*math.Round((v+shift+noise*q*random.NormFloat64())/q) - shift - v)
				}
				squares += e * e
			}
			s2 := q*q/12 + noise*noise*q*q
			said := Noise{Quantum: q}.Variance(w, fitted, s2)
			if r := math.Sqrt(squares / repeats / said); math.Abs(r-1) > 0.1 {
				t.Errorf("gain of %g quanta a sample, noise of %g: scatter is %.3f times what is said", gain, noise, r)
			}
			if r := math.Sqrt(squares / repeats / (s2 * f.UnitVariance(1, ts[n/2]))); math.Abs(r-1) > 0.1 {
				white++
			}
			if got, want := (Noise{Quantum: q}).White(s2), noise >= 0.3; got != want {
				t.Errorf("noise of %g quanta: taken as white %v, want %v", noise, got, want)
			}
		}
	}
	if white < 5 {
		t.Errorf("white noise would have done in all but %d of 18 cases: the test would see nothing", white)
	}
}

// TestCorrelatedVariance: for an autoregression of order 1 the variance of a mean is
// known in closed form: s²/n·(1 + 2·Σ(1 − k/n)·φᵏ).
func TestCorrelatedVariance(t *testing.T) {
	const n, phi = 50, 0.6
	var noise Noise
	w := make([]float64, n)
	want := 1.0
	for k := 1; k < n; k++ {
		noise.Correlation = append(noise.Correlation, math.Pow(phi, float64(k)))
		want += 2 * (1 - float64(k)/n) * math.Pow(phi, float64(k))
	}
	for i := range w {
		w[i] = 1. / n
	}
	near(t, "variance of the mean", noise.Variance(w, w, 4), 4*want/n, 1e-12)
	near(t, "inflation", noise.Inflation(), (1+phi)/(1-phi), 1e-9)
	near(t, "white", Noise{}.Variance(w, w, 4), 4./n, 1e-12)
}

// TestCorrelationFound: residuals of cubics over stretches of an autoregression give
// its correlation back; those of white noise give none.
func TestCorrelationFound(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 1))
	residuals := func(phi float64) *Correlogram {
		var c Correlogram
		const n = 150
		ts := make([]float64, n)
		for i := range ts {
			ts[i] = float64(i)
		}
		for range 20 {
			y := make([]float64, n)
			held := random.NormFloat64()
			for i := range y {
				held = phi*held + math.Sqrt(1-phi*phi)*random.NormFloat64()
				y[i] = held
			}
			var f Fit
			if err := f.Over(ts, y, 75, 75, 3); err != nil {
				t.Fatal(err)
			}
			f.Residuals(ts, y, y)
			c.Add(y, 4)
		}
		return &c
	}
	for _, phi := range []float64{0.3, 0.7, -0.5} {
		rho := residuals(phi).Correlation()
		if len(rho) < 3 {
			t.Errorf("φ = %g: correlation %v", phi, rho)
			continue
		}
		for k := range 3 {
			near(t, "correlation", rho[k], math.Pow(phi, float64(k+1)), 0.08)
		}
	}
	found := 0
	for range 200 {
		if residuals(0).Correlation() != nil {
			found++
		}
	}
	if found > 2 {
		t.Errorf("white noise: a correlation was found in %d of 200", found)
	}
}

// TestQuantum: the step of values printed to a number of decimals, in whatever unit.
func TestQuantum(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for _, c := range []struct{ step, factor float64 }{{0.1, 1}, {0.01, 1 / 3.6 / 0.2286}, {1, math.Pi / 30}, {25, math.Pi / 30}} {
		y := make([]float64, 500)
		for i := range y {
			y[i] = math.Round((100+0.9*float64(i)+3*c.step*random.NormFloat64())/c.step) * c.step * c.factor
		}
		near(t, "step", Quantum(y), c.step*c.factor, 1e-6*c.step)
	}
	y := make([]float64, 500)
	for i := range y {
		y[i] = 100 + random.NormFloat64()
	}
	if q := Quantum(y); q > 1e-4 {
		t.Errorf("values that were not rounded have a step of %g", q)
	}
	if q := Quantum([]float64{5, 5, 5, math.NaN(), 5}); q != 0 {
		t.Errorf("one value has a step of %g", q)
	}
	for _, y := range [][]float64{nil, {1}, {1, math.Inf(1), 2}, {1e300, -1e300, 1e-300}, {math.NaN(), math.NaN()}} {
		if q := Quantum(y); math.IsNaN(q) || q < 0 {
			t.Errorf("%v: step %g", y, q)
		}
	}
}

// TestQuantile: the same as sorting.
func TestQuantile(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	for range 300 {
		v := make([]float64, 1+random.IntN(40))
		for i := range v {
			v[i] = math.Round(10 * random.NormFloat64()) // ties too
		}
		sorted := slices.Sorted(slices.Values(v))
		for _, p := range []float64{0, 0.05, 0.5, 0.95, 1} {
			if got, want := Quantile(slices.Clone(v), p), sorted[int(math.Round(p*float64(len(v)-1)))]; got != want {
				t.Fatalf("quantile %g of %v: %g, want %g", p, sorted, got, want)
			}
		}
	}
	if !math.IsNaN(Quantile(nil, 0.5)) {
		t.Error("the median of nothing is a number")
	}
}
