package scatter

import "math"

// Mean returns the mean of x, corrected once for the rounding of the first sum;
// NaN for no values.
func Mean(x []float64) float64 {
	n := float64(len(x))
	var sum float64
	for _, v := range x {
		sum += v
	}
	mean := sum / n
	var rest float64
	for _, v := range x {
		rest += v - mean
	}
	return mean + rest/n
}

// MeanVariance returns the mean of x and the sum of squares about it over n−1,
// in two passes over centred data; the variance of fewer than two values is NaN.
func MeanVariance(x []float64) (mean, variance float64) {
	mean = Mean(x)
	if len(x) < 2 {
		return mean, math.NaN()
	}
	return mean, SquaresAbout(x, mean) / float64(len(x)-1)
}

// SquaresAbout returns the sum of squares of x about mean, less what the
// rounding of mean itself adds.
func SquaresAbout(x []float64, mean float64) float64 {
	var squares, rest float64
	for _, v := range x {
		d := v - mean
		squares += d * d
		rest += d
	}
	if len(x) == 0 {
		return 0
	}
	return squares - rest*rest/float64(len(x))
}
