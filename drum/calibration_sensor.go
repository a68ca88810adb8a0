package drum

import (
	"fmt"
	"math"
)

// Quantity is what a sensor measures.
type Quantity int

// The quantities, in SI: Pa, K, fraction.
const (
	AirPressure Quantity = iota + 1
	AirTemperature
	AirHumidity
)

// SensorPoint is one reading against a reference, both in SI.
type SensorPoint struct{ Shown, Reference float64 }

// Sensor is a barometer, thermometer or hygrometer that was calibrated: the true
// value is Offset + Slope·shown.
type Sensor struct {
	Offset, Slope float64
	Calibrated    // correction at the mean of the readings: true less shown
	Residual      float64
	Low, High     float64 // readings between which it was calibrated
	accept        []Acceptance
}

// True returns the true value at a reading.
func (s *Sensor) True(shown float64) float64 { return s.Offset + s.Slope*shown }

// CalibrateSensor compares a sensor with a reference. With withSlope, which takes
// five readings, true over shown is a line; else one offset is taken off, and two
// readings will do. Parts of the uncertainty of a corrected reading are the scatter
// about that (of one reading, not of the mean: a later reading is off by as much),
// the reference, and the resolution of what is shown, a full step of its last digit.
//
// With a slope pressure and temperature are held against 40 CFR 1065.307; temperatures
// count in kelvin there. For relative humidity it has no row.
func CalibrateSensor(what Quantity, points []SensorPoint, withSlope bool, referenceU, resolution float64) (*Sensor, error) {
	n := len(points)
	least := 2
	if withSlope {
		least = 5
	}
	if n < least {
		return nil, fmt.Errorf("%w: %d readings, and %d are needed", ErrCalibration, n, least)
	}
	if !(referenceU >= 0) || !(resolution >= 0) || !finite(referenceU) || !finite(resolution) {
		return nil, fmt.Errorf("%w: reference known to %g, resolution %g", ErrCalibration, referenceU, resolution)
	}
	s := &Sensor{Slope: 1, Low: math.Inf(1), High: math.Inf(-1)}
	shown, reference := make([]float64, n), make([]float64, n)
	for i, p := range points {
		if !finite(p.Shown) || !finite(p.Reference) {
			return nil, fmt.Errorf("%w: reading %d is %g against %g", ErrCalibration, i+1, p.Shown, p.Reference)
		}
		shown[i], reference[i] = p.Shown, p.Reference
		s.Low, s.High = min(s.Low, p.Shown), max(s.High, p.Shown)
	}
	df := float64(n - 1)
	mean := meanOf(shown)
	if withSlope {
		line, err := FitLine(shown, reference)
		if err != nil {
			return nil, err
		}
		s.Offset, s.Slope, df = line.Intercept, line.Slope, line.DF
	} else {
		s.Offset = meanOf(reference) - mean
	}
	ss := 0.0
	for i := range shown {
		r := reference[i] - s.True(shown[i])
		ss += r * r
	}
	s.Residual = math.Sqrt(ss / df)
	s.Calibrated = combined(s.True(mean)-mean,
		Part{Name: fmt.Sprintf("scatter of %d readings", n), U: s.Residual * math.Sqrt(1+1/float64(n)), DF: df, Scatter: true},
		Part{Name: "reference", U: referenceU, DF: math.Inf(1)},
		Part{Name: "resolution of what is shown", U: resolution / 2 / math.Sqrt(3), DF: math.Inf(1)})
	if !(s.Slope > 0) {
		return nil, fmt.Errorf("%w: what is shown falls as the reference rises", ErrCalibration)
	}
	if !withSlope {
		return s, nil // readings of one day's range say nothing of the slope
	}
	return s, s.acceptance(what, reference, shown)
}

// acceptance holds what was shown, uncorrected, against 40 CFR 1065.307.
func (s *Sensor) acceptance(what Quantity, reference, shown []float64) error {
	rule := linearPressure
	if what == AirTemperature {
		rule = linearTemperature
	}
	if what == AirHumidity {
		return nil
	}
	line, err := FitLine(reference, shown)
	if err != nil {
		return err
	}
	s.accept = rule.check(reference, line)
	return nil
}

// AcceptSensor returns the limits that the readings were held against; none for
// humidity, or without a slope.
func (s *Sensor) AcceptSensor() []Acceptance { return s.accept }
