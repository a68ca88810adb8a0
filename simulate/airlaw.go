package simulate

import (
	"math"

	"fairpull/quantity"
)

// atmosphere is the air that the engine breathes.
type atmosphere struct {
	pressure    quantity.Pascal // station
	temperature quantity.Kelvin
	humidity    float64 // relative, fraction
}

// saturation returns the pressure of saturated water vapour in Pa over water at
// t, for 273 K to 313 K within 0.1 %.
//
// Source: CIPM-2007 air density equation (Picard, Davis, Gläser, Fujii,
// Metrologia 45 (2008) 149), equation A1.1, after Davis, Metrologia 29 (1992) 67.
func saturation(t quantity.Kelvin) quantity.Pascal {
	x := float64(t)
	return quantity.Pascal(math.Exp(1.2378847e-5*x*x - 1.9121316e-2*x + 33.93711047 - 6.3431645e3/x))
}

// dry returns the pressure of the air without its water vapour.
func (a atmosphere) dry() quantity.Pascal {
	return a.pressure - quantity.Pascal(a.humidity)*saturation(a.temperature)
}

// airLaw is one correction standard as the engine may follow it.
type airLaw struct {
	name string
	// reference is the state at which the factor is 1.
	reference atmosphere
	factor    func(a atmosphere) float64
}

// airLaws are the standards by the names that campaign.toml uses. "none" means
// an engine that does not feel the air, or figures that are not corrected.
var airLaws = []airLaw{
	{
		// SAE J1349 (June 1990), spark ignition: 1.180·(990/pd)·√(T/298) − 0.180,
		// pd dry in mbar.
		name:      "SAE J1349",
		reference: atmosphere{pressure: 99_000, temperature: 298},
		factor: func(a atmosphere) float64 {
			return 1.18*(99_000/float64(a.dry()))*math.Sqrt(float64(a.temperature)/298) - 0.18
		},
	},
	{
		// ISO 1585, as UN R85 prints it: (99/pd)^1.2·(T/298)^0.6, pd dry in kPa.
		name:      "ISO 1585",
		reference: atmosphere{pressure: 99_000, temperature: 298},
		factor: func(a atmosphere) float64 {
			return math.Pow(99_000/float64(a.dry()), 1.2) * math.Pow(float64(a.temperature)/298, 0.6)
		},
	},
	{
		// DIN 70020: (1013/p)·√(T/293), p the total pressure in mbar.
		name:      "DIN 70020",
		reference: atmosphere{pressure: 101_300, temperature: 293},
		factor: func(a atmosphere) float64 {
			return 101_300 / float64(a.pressure) * math.Sqrt(float64(a.temperature)/293)
		},
	},
	{
		// SAE J607: (29.92/pd)·√((459.7 + F)/519.7), pd dry in inHg, F in °F, as
		// commonly printed. 1 inHg = 3386.389 Pa (NIST SP 811).
		name:      "SAE J607",
		reference: atmosphere{pressure: 29.92 * 3386.389, temperature: (60 + 459.67) / 1.8},
		factor: func(a atmosphere) float64 {
			fahrenheit := float64(a.temperature)*1.8 - 459.67
			return 29.92 * 3386.389 / float64(a.dry()) * math.Sqrt((459.7+fahrenheit)/519.7)
		},
	},
	{
		name:      "none",
		reference: atmosphere{pressure: 101_325, temperature: 288.15},
		factor:    func(atmosphere) float64 { return 1 },
	},
}

// lawNamed returns the law of that name.
func lawNamed(name string) (airLaw, bool) {
	for _, law := range airLaws {
		if law.name == name {
			return law, true
		}
	}
	return airLaw{}, false
}

// seaLevel returns what a barometer at elevation h reads once it is set to show
// sea-level pressure, after the standard atmosphere's pressure ratio
// (1 − L·h/T0)^(g·M/(R·L)).
//
// Source: U.S. Standard Atmosphere 1976, table 4 and equation 33a: L =
// 0.0065 K/m, T0 = 288.15 K, exponent 5.25588.
func seaLevel(station quantity.Pascal, h quantity.Metre) quantity.Pascal {
	return station / quantity.Pascal(math.Pow(1-0.0065*float64(h)/288.15, 5.25588))
}
