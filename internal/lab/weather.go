package lab

import (
	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/signal"
)

// fillWeather takes from the log's channels what pulls.csv does not give: the
// means over the pull, SI. What pulls.csv gives stands.
func fillWeather(w *campaign.Weather, means map[string]float64) {
	if v, ok := means[signal.Pressure]; ok && w.Pressure == nil {
		p := quantity.Pascal(v)
		w.Pressure = &p
	}
	if v, ok := means[signal.Temperature]; ok && w.Temperature == nil {
		t := quantity.Kelvin(v)
		w.Temperature = &t
	}
	if w.RelativeHumidity != nil || w.VapourPressure != nil || w.WetBulb != nil {
		return
	}
	if v, ok := means[signal.RelativeHumidity]; ok {
		w.RelativeHumidity = &v
	} else if v, ok := means[signal.VapourPressure]; ok {
		p := quantity.Pascal(v)
		w.VapourPressure = &p
	} else if v, ok := means[signal.WetBulb]; ok {
		t := quantity.Kelvin(v)
		w.WetBulb = &t
	}
}
