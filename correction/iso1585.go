package correction

import "fairpull/quantity"

func iso1585() Standard {
	limit := func(low, high float64) Limit {
		return Limit{Min: low, Max: high, Obtained: FromMemory, Source: "ISO 1585 and UN R85, annex 5, paragraph 5 (from memory)"}
	}
	return Standard{
		Name:    "ISO 1585",
		Title:   "ISO 1585 (spark ignition, naturally aspirated)",
		Formula: "αa = (99/ps)^1.2·((t + 273)/298)^0.6, ps in kPa dry, t in °C",
		Basis:   Dry,
		Source:  "ISO 1585; the same form in UN R85, 80/1269/EEC and Regulation (EU) 134/2014, annex X, appendix 2.2",
		Note: "Regulation (EU) 134/2014 uses the same form for motorcycles and accepts 283.2 to 318.2 K; " +
			"the limits here are those of ISO 1585.",
		Pressure: 99_000, Temperature: quantity.Celsius(25),
		PressureExponent: 1.2, TemperatureExponent: 0.6, Slope: 1, Zero: 273,
		FactorLimit:      limit(0.93, 1.07),
		TemperatureLimit: limit(288.15, 308.15),
		PressureLimit:    limit(80_000, 110_000),
	}
}
