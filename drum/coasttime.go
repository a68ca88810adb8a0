package drum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// CoastTime returns the time in s that a mass in kg takes to slow from the speed
// v1 to v2 ≤ v1, in m/s, under the road load a + c·v² in N:
//
//	t = m/√(a·c) · [atan(v1·√(c/a)) − atan(v2·√(c/a))]
//
// and its limits for a or c = 0. It is the exact integral of m·dv/F; the shortcut
// m·Δv/F(mean speed) falls short by 0.25 to 0.7 % between 70 and 60 km/h. An
// impossible argument, such as no load at all, is an error.
func CoastTime(mass, a, c, v1, v2 float64) (float64, error) {
	if !(mass > 0) || !(a >= 0) || !(c >= 0) || a+c == 0 || !(v2 >= 0) || !(v1 >= v2) || (a == 0 && v2 == 0) {
		return math.NaN(), fmt.Errorf("coast time of %g kg from %g to %g m/s under %g N + %g N/(m/s)²: no such coast-down", mass, v1, v2, a, c)
	}
	switch {
	case c == 0:
		return mass * (v1 - v2) / a, nil
	case a == 0:
		return mass / c * (1/v2 - 1/v1), nil
	}
	k := math.Sqrt(c / a)
	return mass / math.Sqrt(a*c) * (math.Atan(v1*k) - math.Atan(v2*k)), nil
}

// Time returns the time in s in which drum and wheel, of the given inertia in
// kg·m², slow from drum speed from to drum speed to, in rad/s, under the fitted
// course of the loss plus the bare drum's own loss. It is an error where the loss
// is not positive all the way.
//
// The integral of inertia·dω/torque by Gauss–Legendre quadrature of 40 points:
// for a loss that does not come near 0 the rule is exact to double precision.
func (l *Losses) Time(inertia float64, parasitic [3]float64, from, to float64) (float64, error) {
	torque := func(omega float64) float64 { return Polynomial(l.Coefficients, omega) + Polynomial(parasitic, omega) }
	for k := range 41 {
		omega := to + (from-to)*float64(k)/40
		if !(torque(omega) > 0) {
			return math.NaN(), fmt.Errorf("the loss at %g rad/s is %g N·m: a drum does not slow under that", omega, torque(omega))
		}
	}
	return quad.Fixed(func(omega float64) float64 { return inertia / torque(omega) }, to, from, 40, nil, 0), nil
}
