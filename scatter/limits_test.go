package scatter

import (
	"math"
	"testing"
)

// With two degrees of freedom chi-square is exponential, and its quantile is
// −2·ln(1−p); with ten the quantiles at 0.025 and 0.975 are 3.247 and 20.483
// (NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.4).
func TestSDLimits(t *testing.T) {
	for _, c := range []struct{ df, low, high, tolerance float64 }{
		{2, -2 * math.Log(0.975), -2 * math.Log(0.025), 1e-9},
		{10, 3.247, 20.483, 2e-4},
	} {
		lo, hi, err := SDLimits(0.4, c.df, 0.95)
		wantLo, wantHi := 0.4*math.Sqrt(c.df/c.high), 0.4*math.Sqrt(c.df/c.low)
		if err != nil || !(math.Abs(lo/wantLo-1) <= c.tolerance) || !(math.Abs(hi/wantHi-1) <= c.tolerance) {
			t.Errorf("%g degrees of freedom: %g to %g, %v; want %g to %g", c.df, lo, hi, err, wantLo, wantHi)
		}
	}
}

func TestSDLimitsRefuse(t *testing.T) {
	for _, c := range [][3]float64{{-1, 2, 0.95}, {math.NaN(), 2, 0.95}, {1, 0, 0.95}, {1, math.NaN(), 0.95}, {1, 2, 1}, {1, 2, 0}, {math.Inf(1), 2, 0.9}} {
		if _, _, err := SDLimits(c[0], c[1], c[2]); err == nil {
			t.Errorf("%v is taken", c)
		}
	}
}
