package lab

import (
	"math"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/signal"
)

// inheritSensors fills in what a calibration did not measure of speeds and sensors.
func inheritSensors(c, before *Calibration) {
	if c.DrumSpeed.Value == 0 {
		c.DrumSpeed = before.DrumSpeed
	}
	if c.EngineSpeed.Value == 0 {
		c.EngineSpeed = before.EngineSpeed
	}
	if c.Pressure.Slope == 0 {
		c.Pressure = before.Pressure
	}
	if c.Temperature.Slope == 0 {
		c.Temperature = before.Temperature
	}
	if c.Humidity.Slope == 0 {
		c.Humidity = before.Humidity
	}
}

// measuresSensors reports whether a calibration measures a speed or a sensor.
func measuresSensors(c *Calibration) bool {
	return c.DrumSpeed.Value > 0 || c.EngineSpeed.Value > 0 || c.Pressure.Slope > 0 || c.Temperature.Slope > 0 || c.Humidity.Slope > 0
}

// scalesSpeed reports whether the calibration changes a speed that a log shows.
func (c calibrated) scalesSpeed() bool {
	return c.Calibration != nil && (c.DrumSpeed.Value > 0 && c.DrumSpeed.Value != 1 || c.EngineSpeed.Value > 0 && c.EngineSpeed.Value != 1)
}

// onLog brings the speeds of a log to their true scale. A log of pulses has no scale
// of speed but that of its clock: its times are divided by the scale of drum speed.
func (c calibrated) onLog(log *signal.Log) {
	if !c.scalesSpeed() || log.Kind == signal.Reduced {
		return
	}
	if k := c.DrumSpeed.Value; log.Kind == signal.Pulses && k > 0 {
		for _, times := range [][]float64{log.DrumPulse, log.EnginePulse, log.Time} {
			for i := range times {
				times[i] /= k
			}
		}
		return
	}
	for name, k := range map[string]float64{signal.DrumSpeed: c.DrumSpeed.Value, signal.EngineSpeed: c.EngineSpeed.Value} {
		if k > 0 {
			for i, values := 0, log.Channel(name); i < len(values); i++ {
				values[i] *= k
			}
		}
	}
}

// onWeather takes off what the sensors of the air are known to be wrong by. A wet bulb,
// and a vapour pressure that was entered, stay as they are.
func (c calibrated) onWeather(w *campaign.Weather) {
	if c.Calibration == nil {
		return
	}
	if s := c.Pressure; s.Slope > 0 && w.Pressure != nil {
		p := quantity.Pascal(s.Offset + s.Slope*float64(*w.Pressure))
		w.Pressure = &p
	}
	if s := c.Temperature; s.Slope > 0 && w.Temperature != nil {
		t := quantity.Kelvin(s.Offset + s.Slope*float64(*w.Temperature))
		w.Temperature = &t
	}
	if s := c.Humidity; s.Slope > 0 && w.RelativeHumidity != nil {
		h := math.Max(0, math.Min(1, s.Offset+s.Slope**w.RelativeHumidity))
		w.RelativeHumidity = &h
	}
}

// sensorNotes are the speeds and sensors of a calibration as a report words them.
func sensorNotes(c *Calibration) []report.SensorNote {
	var out []report.SensorNote
	for _, s := range []struct {
		name  string
		scale store.Scale
	}{{"drum speed", c.DrumSpeed}, {"engine speed", c.EngineSpeed}} {
		if s.scale.Value > 0 {
			out = append(out, report.SensorNote{Name: s.name, Slope: s.scale.Value, U: s.scale.U, Scale: true})
		}
	}
	for _, s := range []struct {
		name, unit string
		sensor     store.Sensor
		by         float64
	}{{"barometer", "Pa", c.Pressure, 1}, {"thermometer", "K", c.Temperature, 1}, {"hygrometer", "% relative humidity", c.Humidity, 100}} {
		if s.sensor.Slope > 0 {
			out = append(out, report.SensorNote{Name: s.name, Unit: s.unit, Offset: s.by * s.sensor.Offset, Slope: s.sensor.Slope, U: s.by * s.sensor.U})
		}
	}
	return out
}
