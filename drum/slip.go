package drum

import (
	"math"

	"fairpull/signal"
)

// Slip returns the largest departure of the ratio of engine speed to drum speed
// from a quadratic course in time, as a fraction of the mean ratio, and when it
// is, in s. Tyre creep makes the ratio follow the torque smoothly; what departs
// from a smooth course is clutch or tyre slip.
//
// ratio is already smoothed, one value for each of the increasing moments t.
// Fewer than six values give NaN.
func Slip(t, ratio []float64) (largest, at float64) {
	n := len(t)
	if n < 6 {
		return math.NaN(), math.NaN()
	}
	var f signal.Fit
	middle, half := (t[0]+t[n-1])/2, (t[n-1]-t[0])/2
	if f.Over(t, ratio, middle, half, 2) != nil {
		return math.NaN(), math.NaN()
	}
	course := make([]float64, n)
	f.Values(t, course)
	at = t[0]
	for i, ti := range t {
		if d := math.Abs(ratio[i]/course[i] - 1); d > largest {
			largest, at = d, ti
		}
	}
	return largest, at
}
