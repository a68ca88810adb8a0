package correction

import "fairpull/quantity"

func saeJ1349() Standard {
	return Standard{
		Name:    "SAE J1349",
		Title:   "SAE J1349, form of June 1990 (spark ignition, naturally aspirated)",
		Formula: "CF = 1.180·[(990/pd)·((t + 273)/298)^0.5] − 0.180, pd in hPa dry, t in °C",
		Basis:   Dry,
		Source:  "SAE J1349 JUN1990",
		Note: "Later revisions state the mechanical efficiency of 85 % as 1/0.85 = 1.17647 in the place of 1.180 " +
			"(from memory); name the form beside the figure.",
		Pressure: 99_000, Temperature: quantity.Celsius(25),
		PressureExponent: 1, TemperatureExponent: 0.5, Slope: 1.180, Zero: 273,
		FactorLimit: defaultFactor, TemperatureLimit: defaultTemperature,
	}
}
