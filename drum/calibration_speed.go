package drum

import (
	"fmt"
	"math"
)

// SpeedPoint is one speed held: what the rig shows and what a reference says, both
// in rad/s.
type SpeedPoint struct{ Shown, Reference float64 }

// Speed is a speed channel that was calibrated.
type Speed struct {
	Calibrated         // scale: true speed over shown speed
	Residual   float64 // standard deviation of a point about the scale, rad/s
	Errors     []float64
	accept     []Acceptance
}

// CalibrateSpeed finds the scale of a speed channel from held speeds against a
// reference frequency: the slope through zero of reference over shown speed, for a
// counter of pulses has no offset. Parts of the uncertainty are the scatter of the
// points, the reference's relative standard uncertainty, and its resolution in
// rad/s, a full step of the last digit, at the highest speed.
//
// For a drum, radius in m is that of its surface, for 40 CFR 1066.235(d): no set
// point may be off by more than 0.02 m/s. 0: an engine's speed, which that rule does
// not speak of. Linearity is held against 40 CFR 1065.307.
func CalibrateSpeed(points []SpeedPoint, referenceU, resolution, radius float64) (*Speed, error) {
	n := len(points)
	if n < 3 {
		return nil, fmt.Errorf("%w: %d speeds, and three are needed", ErrCalibration, n)
	}
	if !(referenceU >= 0 && referenceU < 1) || !(resolution >= 0) || !(radius >= 0) || !finite(resolution) || !finite(radius) {
		return nil, fmt.Errorf("%w: reference known to %g, resolution %g rad/s, radius %g m", ErrCalibration, referenceU, resolution, radius)
	}
	shown, reference := make([]float64, n), make([]float64, n)
	var sxy, sxx, most float64
	for i, p := range points {
		if !(p.Shown > 0) || !(p.Reference > 0) || !finite(p.Shown) || !finite(p.Reference) {
			return nil, fmt.Errorf("%w: point %d shows %g rad/s against %g rad/s", ErrCalibration, i+1, p.Shown, p.Reference)
		}
		shown[i], reference[i] = p.Shown, p.Reference
		sxy += p.Shown * p.Reference
		sxx += p.Shown * p.Shown
		most = max(most, p.Reference)
	}
	s := &Speed{}
	scale, ss, worst := sxy/sxx, 0.0, 0.0
	for _, p := range points {
		r := p.Reference - scale*p.Shown
		ss += r * r
		off := p.Shown - p.Reference
		s.Errors = append(s.Errors, off)
		if math.Abs(off) > math.Abs(worst) {
			worst = off
		}
	}
	s.Residual = math.Sqrt(ss / float64(n-1))
	s.Calibrated = combined(scale,
		Part{Name: fmt.Sprintf("scatter of %d speeds", n), U: s.Residual / math.Sqrt(sxx), DF: float64(n - 1), Scatter: true},
		Part{Name: "reference", U: scale * referenceU, DF: math.Inf(1)},
		Part{Name: "resolution of the reference", U: scale * resolution / 2 / math.Sqrt(3) / most, DF: math.Inf(1)})
	line, err := FitLine(reference, shown)
	if err != nil {
		return nil, err
	}
	if radius > 0 {
		s.accept = append(s.accept, atMost("40 CFR 1066.235(d)", "largest error of a set point at the drum's surface", worst*radius, 0.02, "m/s"))
	}
	s.accept = append(s.accept, linearSpeed.check(reference, line)...)
	return s, s.check("the scale")
}

// AcceptSpeed returns the limits that the readings were held against.
func (s *Speed) AcceptSpeed() []Acceptance { return s.accept }

// PulsesLikely returns the whole number of pulses a turn that the scale speaks for,
// where pulses are set in the rig, and whether it is another than those set: a
// scale further than half a pulse from 1 is a wrong count, not an error of
// measurement.
func PulsesLikely(scale float64, pulses int) (likely int, other bool) {
	likely = int(math.Round(float64(pulses) / scale))
	return likely, likely != pulses && likely > 0
}
