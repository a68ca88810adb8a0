package lab

import (
	"math"
	"slices"
)

// thinned returns at most points of the values between two places, in their order.
// Where there are more, the stretch is cut into pieces of as many values each, and
// of each piece the least and the greatest are kept, where one is missing also that:
// a spike is never lost, and neither is a gap. One value before and one after the
// places are taken along, so that a line leaves the picture.
func thinned(x, y []float64, from, to float64, points int) (outX, outY []float64) {
	a, b := 0, len(x)
	if slices.IsSorted(x) {
		a, _ = slices.BinarySearch(x, from)
		b, _ = slices.BinarySearch(x, math.Nextafter(to, math.Inf(1)))
		a, b = max(a-1, 0), min(b+1, len(x))
	}
	if b-a <= points {
		return x[a:b], y[a:b]
	}
	pieces := max(points/3, 1)
	outX, outY = make([]float64, 0, 3*pieces), make([]float64, 0, 3*pieces)
	for k := range pieces {
		lo, hi := a+k*(b-a)/pieces, a+(k+1)*(b-a)/pieces
		for _, i := range extremesOf(y[lo:hi]) {
			if i >= 0 {
				outX, outY = append(outX, x[lo+i]), append(outY, y[lo+i])
			}
		}
	}
	return outX, outY
}

// extremesOf returns the places of the least and the greatest of values and of the
// first that is none, in increasing order; −1 for what is not there, or is there
// twice.
func extremesOf(values []float64) [3]int {
	least, greatest, none := -1, -1, -1
	for i, v := range values {
		switch {
		case math.IsNaN(v):
			if none < 0 {
				none = i
			}
		case least < 0:
			least, greatest = i, i
		case v < values[least]:
			least = i
		case v > values[greatest]:
			greatest = i
		}
	}
	if greatest == least {
		greatest = -1
	}
	places := [3]int{least, greatest, none}
	slices.Sort(places[:])
	return places
}
