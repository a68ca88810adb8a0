package budget

import "math"

// Tolerance returns half a unit of the last of the given significant digits of
// the uncertainty u, to which a figure with that uncertainty is stated: 0.05 for
// 2.04 with two digits. Of 0 it returns 0. Source: [JCGM-101], 7.9.2.
func Tolerance(u float64, digits int) float64 {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0
	}
	power := math.Floor(math.Log10(u)) - float64(digits-1)
	if math.Round(u/math.Pow(10, power)) >= math.Pow(10, float64(digits)) { // 0.0997 is 0.10
		power++
	}
	return math.Pow(10, power) / 2
}

// Agreement says whether a first-order budget can stand for the drawn one.
type Agreement struct {
	// LowOff and HighOff are how far the ends of the intervals are apart.
	LowOff, HighOff float64
	Tolerance       float64 // how far they may be
	// Agrees: neither is further off than the tolerance.
	Agrees bool
}

// Agreement compares the first-order interval at confidence p with a drawn one of
// the same confidence, its symmetric or its shortest: they agree where both ends
// are apart by no more than half a unit in the last of the given significant
// digits, 1 or 2, of the first-order uncertainty. Source: [JCGM-101], 8.1.
func (l *Linear) Agreement(drawn Interval, p float64, digits int) Agreement {
	own := l.Interval(p)
	a := Agreement{LowOff: math.Abs(own.Lo - drawn.Lo), HighOff: math.Abs(own.Hi - drawn.Hi), Tolerance: Tolerance(l.U, digits)}
	a.Agrees = a.LowOff <= a.Tolerance && a.HighOff <= a.Tolerance
	return a
}
