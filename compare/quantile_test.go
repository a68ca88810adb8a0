package compare

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Rows [df, p, t] of Student's t by R 4.2.2, qt().
func TestTQuantiles(t *testing.T) {
	var c struct{ Expected [][3]float64 }
	reference(t, "t_quantiles", &c)
	for _, r := range c.Expected {
		near(t, fmt.Sprint("t quantile ", r[0], " ", r[1]), tQuantile(r[1], r[0]), r[2], 1e-9)
		within(t, fmt.Sprint("t tail ", r[0], " ", r[1]), tTail(r[2], r[0]), 2*(1-r[1]), 1e-10)
	}
	if len(c.Expected) < 20 {
		t.Fatalf("only %d rows", len(c.Expected))
	}
}

// Rows of the chi-square and F distributions by R 4.2.2, qchisq() and qf().
func TestChiSquareAndF(t *testing.T) {
	var chi struct{ Expected [][3]float64 }
	reference(t, "chi2_quantiles", &chi)
	for _, r := range chi.Expected {
		near(t, fmt.Sprint("chi-square at ", r), distuv.ChiSquared{K: r[0]}.CDF(r[2]), r[1], 1e-10)
	}
	var f struct{ Expected [][4]float64 }
	reference(t, "F_quantiles", &f)
	for _, r := range f.Expected {
		near(t, fmt.Sprint("F at ", r), upperF(r[3], 1, r[0], r[1]), 1-r[2], 1e-9)
	}
	if len(chi.Expected) < 5 || len(f.Expected) < 5 {
		t.Fatal("rows are missing")
	}
}

// The noncentral t distribution by R 4.2.2, pt(), which agrees with scipy 1.10.1,
// nct.cdf(), to 1e-11.
func TestNoncentralT(t *testing.T) {
	var c struct {
		Expected []struct{ T, DF, NCP, CDF float64 }
	}
	reference(t, "noncentral_t_cdf", &c)
	for _, r := range c.Expected {
		within(t, fmt.Sprintf("noncentral t %+v", r), noncentralT(r.T, r.DF, r.NCP), r.CDF, 1e-8)
	}
	if len(c.Expected) < 7 {
		t.Fatalf("only %d rows", len(c.Expected))
	}
}

// Selection agrees with sorting, for every order statistic and with ties.
func TestQuantileOfAgainstSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for n := 1; n <= 40; n++ {
		values := make([]float64, n)
		for i := range values {
			values[i] = float64(rng.IntN(12))
		}
		sorted := slices.Clone(values)
		slices.Sort(sorted)
		for k := range n {
			if got := smallest(slices.Clone(values), k); got != sorted[k] {
				t.Fatalf("order statistic %d of %v: got %v", k, sorted, got)
			}
		}
		if got := quantileOf(slices.Clone(values), 1); got != sorted[n-1] {
			t.Errorf("quantile 1 of %v: got %v", sorted, got)
		}
	}
	// Closed form: the 0.95 quantile of 0 … 100 by this rule is 95, and of 0 … 10 it is 9.5.
	for _, n := range []int{11, 101} {
		values := make([]float64, n)
		for i := range values {
			values[i] = float64((i * 7) % n)
		}
		near(t, fmt.Sprint("0.95 quantile of ", n), quantileOf(values, 0.95), 0.95*float64(n-1), 1e-12)
	}
}
