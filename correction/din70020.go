package correction

import "fairpull/quantity"

func din70020() Standard {
	return Standard{
		Name:    "DIN 70020",
		Title:   "DIN 70020, on total barometric pressure (the German original)",
		Formula: "K = (1013/p)·((t + 273)/293)^0.5, p in hPa total, t in °C",
		Basis:   Total,
		Source:  "DIN 70020",
		Note: "English write-ups take the dry pressure; at 30 °C and 60 % relative humidity that gives a factor 2.6 % higher. " +
			"The total pressure is used here.",
		Pressure: 101_300, Temperature: quantity.Celsius(20),
		PressureExponent: 1, TemperatureExponent: 0.5, Slope: 1, Zero: 273,
		FactorLimit: defaultFactor, TemperatureLimit: defaultTemperature,
	}
}
