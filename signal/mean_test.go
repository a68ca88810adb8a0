package signal

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// firstOrder returns n values of a first-order autoregression of variance 1.
func firstOrder(r *rand.Rand, n int, phi float64) []float64 {
	x := make([]float64, n)
	v := r.NormFloat64()
	for i := range x {
		x[i] = v
		v = phi*v + math.Sqrt(1-phi*phi)*r.NormFloat64()
	}
	return x
}

// varianceOfMean is the closed form for a first-order autoregression of variance 1:
// the sum of its autocovariances phi^|i−j| over all pairs of n values, over n².
func varianceOfMean(n int, phi float64) float64 {
	count := float64(n)
	return ((1+phi)/(1-phi) - 2*phi*(1-math.Pow(phi, count))/(count*(1-phi)*(1-phi))) / count
}

// TestMeanClosedForm holds the standard error of the mean of a first-order
// autoregression against its closed form, and counts how often the limits hold.
func TestMeanClosedForm(t *testing.T) {
	const repeats = 1500
	for _, row := range []struct {
		n                  int
		phi, least, widest float64 // coverage at least; median error against the closed form at most
	}{{120, 0, 0.945, 1.25}, {120, 0.5, 0.935, 1.3}, {240, 0.8, 0.935, 1.3}, {300, 0.9, 0.935, 1.4}, {300, -0.5, 0.945, 1.5}} {
		r := rand.New(rand.NewPCG(7, uint64(row.n)))
		held, ratios := 0, make([]float64, 0, repeats)
		want := math.Sqrt(varianceOfMean(row.n, row.phi))
		for range repeats {
			m := MeanOf(firstOrder(r, row.n, row.phi))
			half := distuv.StudentsT{Sigma: 1, Nu: m.DF}.Quantile(0.975) * m.StandardError
			if math.Abs(m.Value) <= half {
				held++
			}
			ratios = append(ratios, m.StandardError/want)
		}
		middle, coverage := Quantile(ratios, 0.5), float64(held)/repeats
		t.Logf("n %d, phi %v: coverage %.3f, median standard error over closed form %.3f", row.n, row.phi, coverage, middle)
		if !(coverage >= row.least) || !(middle > 0.9 && middle < row.widest) {
			t.Errorf("n %d, phi %v: coverage %.3f (at least %v), standard error %.3f of the closed form (0.9 to %v)", row.n, row.phi, coverage, row.least, middle, row.widest)
		}
	}
}

// TestMeanOscillation: a loop that hunts makes correlations that change sign; its
// limits must hold too. The series is a second-order autoregression with poles of
// radius 0.9 and a period of 20 values.
func TestMeanOscillation(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	const repeats, n = 800, 150
	a, b := 2*0.9*math.Cos(2*math.Pi/20), -0.81
	held := 0
	for range repeats {
		x := make([]float64, n+200)
		for i := 2; i < len(x); i++ {
			x[i] = a*x[i-1] + b*x[i-2] + r.NormFloat64()
		}
		m := MeanOf(x[200:])
		half := distuv.StudentsT{Sigma: 1, Nu: m.DF}.Quantile(0.975) * m.StandardError
		if math.Abs(m.Value) <= half {
			held++
		}
	}
	if coverage := float64(held) / repeats; !(coverage >= 0.94) {
		t.Errorf("limits held in %.3f of %d series", coverage, repeats)
	}
}

// TestBatchError by hand: six batches of two with means 1 to 6 have a variance of
// 3.5, so their mean is uncertain by √(3.5/6) on 5 degrees of freedom.
func TestBatchError(t *testing.T) {
	x := []float64{9, 0, 2, 1, 3, 2, 4, 3, 5, 4, 6, 5, 7} // the 9 does not fill a batch
	se, df := batchError(x, 6)
	near(t, "standard error", se, math.Sqrt(3.5/6), 1e-12)
	near(t, "degrees of freedom", df, 5, 0)
}

func TestMeanEnds(t *testing.T) {
	if m := MeanOf(make([]float64, MinimumForMean-1)); !math.IsNaN(m.StandardError) {
		t.Errorf("eleven values: standard error %v; none can be had", m.StandardError)
	}
	still := make([]float64, 40)
	for i := range still {
		still[i] = 5
	}
	if m := MeanOf(still); m.Value != 5 || m.StandardError != 0 {
		t.Errorf("forty times 5: %+v", m)
	}
	if m := MeanOf(nil); !math.IsNaN(m.Value) {
		t.Errorf("no values: mean %v", m.Value)
	}
}

func TestStudentFactor(t *testing.T) {
	for _, df := range []float64{1, 1.5, 2, 2.7, 3, 4, 4.9, 5, 7, 12, 40, 500} {
		want := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975)
		if got := studentFactor(df); !(math.Abs(got/want-1) < 0.04) {
			t.Errorf("%v degrees of freedom: %.4f, want %.4f to 4 %%", df, got, want)
		}
	}
}

func BenchmarkMeanOf(b *testing.B) {
	x := firstOrder(rand.New(rand.NewPCG(1, 1)), 200, 0.8)
	for b.Loop() {
		MeanOf(x)
	}
}
