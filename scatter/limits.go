package scatter

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// SDLimits returns the two-sided limits of a standard deviation that was found with
// df degrees of freedom, at a confidence in (0, 1), by the distribution of
// chi-square: s·√(df/χ²). They hold for scatter that is normal. What is no standard
// deviation, or has no degrees of freedom, is an error.
func SDLimits(sd, df, confidence float64) (lo, hi float64, err error) {
	if !(sd >= 0) || math.IsInf(sd, 0) || !(df > 0) || math.IsInf(df, 0) || !(confidence > 0 && confidence < 1) {
		return 0, 0, fmt.Errorf("a standard deviation of %g with %g degrees of freedom has no limits at a confidence of %g", sd, df, confidence)
	}
	chi := distuv.ChiSquared{K: df}
	return sd * math.Sqrt(df/chi.Quantile((1+confidence)/2)), sd * math.Sqrt(df/chi.Quantile((1-confidence)/2)), nil
}
