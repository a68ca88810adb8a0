package air

import (
	"math"

	"fairpull/quantity"
)

// The troposphere of the US Standard Atmosphere 1976 (NOAA-S/T 76-1562), table 2
// and table 4; equal to ISO 2533 there.
const (
	standardPressure    = 101325.0          // Pa at sea level
	standardTemperature = 288.15            // K at sea level
	lapseRate           = 0.0065            // K/m of geopotential height
	standardGravity     = 9.80665           // m/s²
	specificGas         = 8314.32 / 28.9644 // J/(kg·K)
	lowestHeight        = quantity.Metre(-5000)
	tropopause          = quantity.Metre(11000)

	pressureExponent = standardGravity / (specificGas * lapseRate) // 5.2559
)

// StandardPressure returns the pressure of the standard atmosphere at the
// geopotential height h, from −5000 m to 11 000 m; outside, a *RangeError.
// Elevation above sea level may stand for h: at 3000 m that costs 0.02 %.
//
// Source: US Standard Atmosphere 1976, equation 33a.
func StandardPressure(h quantity.Metre) (quantity.Pascal, error) {
	if !(h >= lowestHeight && h <= tropopause) {
		return 0, &RangeError{
			Quantity: "height", Value: float64(h), Min: float64(lowestHeight), Max: float64(tropopause), Unit: "m",
			Cure: "check its unit",
		}
	}
	return quantity.Pascal(pressureAt(float64(h))), nil
}

// pressureAt returns the standard pressure in Pa at height h in m.
func pressureAt(h float64) float64 {
	return standardPressure * math.Pow(1-lapseRate*h/standardTemperature, pressureExponent)
}

// StandardHeight returns the geopotential height at which the standard
// atmosphere has the pressure p: the inverse of StandardPressure, over the same
// range; outside, a *RangeError.
func StandardHeight(p quantity.Pascal) (quantity.Metre, error) {
	low, high := pressureAt(float64(tropopause)), pressureAt(float64(lowestHeight))
	if !(float64(p) >= low && float64(p) <= high) {
		return 0, &RangeError{
			Quantity: "pressure", Value: float64(p) / 1000, Min: low / 1000, Max: high / 1000, Unit: "kPa",
			Cure: "check its unit",
		}
	}
	ratio := math.Pow(float64(p)/standardPressure, 1/pressureExponent)
	return quantity.Metre(standardTemperature / lapseRate * (1 - ratio)), nil
}

// StationPressure returns the pressure at a station of the given elevation above
// sea level, from the altimeter setting that is reported for it (QNH):
//
//	p = (Aⁿ − p0ⁿ·0.0065·H/288)^(1/n),  n = 0.190284, p0 = 1013.25 hPa
//
// The altimeter setting is between 85 and 110 kPa, the elevation between −500
// and 5500 m; outside, a *RangeError.
//
// Source: Smithsonian Meteorological Tables, 6th edition (1951), pressure
// altimetry; without the 0.3 hPa that those tables add for an aneroid some 3 m
// above the ground (from memory).
func StationPressure(altimeter quantity.Pascal, elevation quantity.Metre) (quantity.Pascal, error) {
	if !(altimeter >= 85_000 && altimeter <= 110_000) {
		return 0, &RangeError{
			Quantity: "altimeter setting", Value: float64(altimeter) / 1000, Min: 85, Max: 110, Unit: "kPa",
			Cure: "check its unit, and that it is reduced to sea level",
		}
	}
	if !(elevation >= -500 && elevation <= 5500) {
		return 0, &RangeError{
			Quantity: "elevation", Value: float64(elevation), Min: -500, Max: 5500, Unit: "m", Cure: "check its unit",
		}
	}
	const (
		n    = 0.190284
		zero = 288.0 // K
	)
	a := math.Pow(float64(altimeter), n) - math.Pow(standardPressure, n)*lapseRate*float64(elevation)/zero
	return quantity.Pascal(math.Pow(a, 1/n)), nil
}
