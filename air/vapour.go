package air

import (
	"math"

	"fairpull/quantity"
)

// Coefficients of SaturationPressure.
const (
	svpA = 1.2378847e-5  // 1/K²
	svpB = -1.9121316e-2 // 1/K
	svpC = 33.93711047
	svpD = -6.3431645e3 // K
)

// SaturationFormula names the formula of SaturationPressure, to be shown beside
// a figure that rests on it.
const SaturationFormula = "CIPM (Davis 1992)"

// SaturationPressure returns the pressure of pure water vapour in equilibrium
// with liquid water at temperature t:
//
//	es = exp(A·T² + B·T + C + D/T)
//
// It holds from −50 °C to 70 °C: within 0.012 % of IAPWS-IF97 from 0 to 50 °C
// and 0.11 % at 70 °C; below freezing, over supercooled water, within 0.06 % of
// Murphy and Koop (2005) at −20 °C and 1.8 % at −50 °C. Outside the range it
// returns a *RangeError, never an extrapolated number.
//
// Source: R. S. Davis, Metrologia 29 (1992) 67, equation 22; retained by A.
// Picard et al., Metrologia 45 (2008) 149, appendix A1.1 (CIPM-2007).
func SaturationPressure(t quantity.Kelvin) (quantity.Pascal, error) {
	return saturation("air temperature", t)
}

// saturation is SaturationPressure for a temperature that errors call what.
func saturation(what string, t quantity.Kelvin) (quantity.Pascal, error) {
	const rounding = 1e-9 // K: −50 °C, brought to kelvin, may fall short of 223.15
	if !(t >= LowestTemperature-rounding && t <= HighestTemperature+rounding) {
		return 0, &RangeError{
			Quantity: what, Value: t.Celsius(),
			Min: LowestTemperature.Celsius(), Max: HighestTemperature.Celsius(), Unit: "°C",
			Cure: "check its unit",
		}
	}
	return quantity.Pascal(math.Exp(lnSaturation(float64(t)))), nil
}

// lnSaturation returns ln(es/Pa) at t kelvin.
func lnSaturation(t float64) float64 { return (svpA*t+svpB)*t + svpC + svpD/t }

// saturationTemperature returns the temperature whose saturation pressure is e:
// the inverse of SaturationPressure, by Newton's method on ln es, which is
// concave and rising over the range. A result out of range is a *RangeError.
func saturationTemperature(e quantity.Pascal) (quantity.Kelvin, error) {
	low := math.Exp(lnSaturation(float64(LowestTemperature)))
	high := math.Exp(lnSaturation(float64(HighestTemperature)))
	if !(float64(e) >= low && float64(e) <= high) {
		return 0, &RangeError{
			Quantity: "vapour pressure", Value: float64(e), Min: low, Max: high, Unit: "Pa",
			Cure: "outside this range no dew point is given",
		}
	}
	want := math.Log(float64(e))
	t := float64(LowestTemperature)
	for range 50 { // quadratic convergence: at most 8 steps over the range
		step := (want - lnSaturation(t)) / (2*svpA*t + svpB - svpD/(t*t))
		t += step
		if math.Abs(step) < 1e-9 {
			break
		}
	}
	return quantity.Kelvin(t), nil
}
