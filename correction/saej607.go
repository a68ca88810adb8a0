package correction

import "fairpull/quantity"

func saeJ607() Standard {
	const (
		inchMercury = 3386.389 // Pa, conventional, NIST SP 811 (2008), B.8
		fahrenheit  = 9.0 / 5  // °F per K
	)
	return Standard{
		Name:     "SAE J607",
		Title:    "SAE J607, as commonly printed: dry pressure, no share for friction",
		Formula:  "CF = (29.92/pd)·((459.7 + t)/519.7)^0.5, pd in inHg dry, t in °F",
		Basis:    Dry,
		Source:   "SAE J607, as commonly printed",
		Note:     "The reference state is cooler and denser than that of SAE J1349, so figures read about 4 % higher than by it.",
		Pressure: 29.92 * inchMercury, Temperature: quantity.Celsius((60 - 32) / fahrenheit),
		PressureExponent: 1, TemperatureExponent: 0.5, Slope: 1, Zero: (459.7 + 32) / fahrenheit,
		FactorLimit: defaultFactor, TemperatureLimit: defaultTemperature,
	}
}
