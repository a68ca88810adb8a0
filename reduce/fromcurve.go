package reduce

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"fairpull/curve"
	"fairpull/signal"
)

// leastPoints is the fewest points of a curve that a cubic spline goes through.
const leastPoints = 5

// FromCurve puts a curve that was reduced elsewhere on the nodes of s, of which
// only NodesRPM is needed. Nodes outside its range are left out.
//
// Between the points a cubic spline goes on (not-a-knot ends): it follows a
// smooth curve to fourth order in the spacing and adds no smoothing of its own.
// Such a curve has no times, no coast-down and no standard errors: those are NaN
// or nil. Where torque and power are both given, torque counts. Whether they are
// wheel or crank figures is as the log says.
func FromCurve(log *signal.Log, s Settings) (*Result, error) {
	if err := checkNodes(s.NodesRPM); err != nil {
		return nil, err
	}
	ph, err := curvePhases(log)
	if err != nil {
		return nil, err
	}
	p, err := curvePoints(log)
	if err != nil {
		return nil, err
	}
	var spline interp.NotAKnotCubic
	if err := spline.Fit(p.rpm, p.torque); err != nil {
		return nil, &LogError{Line: lineOf(log, 0), Problem: "no smooth course goes through the points: " + err.Error(), Cure: "Check that engine speeds differ and torque is finite."}
	}
	out := &Result{Phases: ph, Ratio: math.NaN(), SlipMax: math.NaN(), SlipAt: math.NaN(), RatioRise: math.NaN(),
		MaxSurfaceSpeed: math.NaN(), Lambda: math.NaN(), Means: map[string]float64{}, Findings: p.findings}
	for _, rpm := range s.NodesRPM {
		if rpm < ph.LowRPM || rpm > ph.HighRPM {
			continue
		}
		torque := spline.Predict(rpm)
		if math.IsNaN(torque) || math.IsInf(torque, 0) {
			return nil, &LogError{Line: lineOf(log, 0), Problem: fmt.Sprintf("the curve gives no torque at %g 1/min", rpm), Cure: "Check the unit of torque or power."}
		}
		out.Curve.SpeedRPM = append(out.Curve.SpeedRPM, rpm)
		out.Curve.Torque = append(out.Curve.Torque, torque)
		out.Curve.StandardError = append(out.Curve.StandardError, math.NaN())
	}
	n := out.Curve.Len()
	if n == 0 {
		return nil, &LogError{Line: lineOf(log, 0), Problem: fmt.Sprintf("the curve goes from %.0f to %.0f 1/min, which holds none of the wanted engine speeds", ph.LowRPM, ph.HighRPM),
			Cure: "Check the unit of engine speed."}
	}
	nothing := slices.Repeat([]float64{math.NaN()}, n)
	out.Time, out.DrumSpeed, out.DrumTorque = nothing, slices.Clone(nothing), slices.Clone(nothing)
	out.Resolution = slices.Clone(nothing)
	if lambda := mean(log.Channel(signal.Lambda)); !math.IsNaN(lambda) {
		out.Lambda, out.Means[signal.Lambda] = lambda, lambda
	}
	return out, nil
}

// curvePhases returns the range of engine speed of a curve reduced elsewhere.
func curvePhases(log *signal.Log) (Phases, error) {
	p, err := curvePoints(log)
	if err != nil {
		return Phases{}, err
	}
	nan := math.NaN()
	return Phases{FullThrottle: nan, Start: nan, End: nan, LowRPM: p.rpm[0], HighRPM: p.rpm[len(p.rpm)-1],
		Rule: "The curve was reduced elsewhere; the log holds no raw speeds."}, nil
}

// curvePoint is one point of a given curve.
type curvePoint struct{ rpm, torque float64 }

// pointSeries is a given curve in order of engine speed.
type pointSeries struct {
	rpm, torque []float64
	findings    []Finding
}

// curvePoints reads the usable points of a curve, in order of engine speed.
// Points without a value and repeated engine speeds are left out and reported,
// and so is a gap of more than 2.5 median spacings.
func curvePoints(log *signal.Log) (*pointSeries, error) {
	speed, torque, power := log.Channel(signal.EngineSpeed), log.Channel(signal.Torque), log.Channel(signal.Power)
	values := torque
	if values == nil {
		values = power
	}
	if speed == nil || len(values) != len(speed) {
		return nil, &LogError{Problem: "the curve lacks engine speed, or both torque and power", Cure: "Give engine_speed with torque or power, one value of each a row."}
	}
	out := &pointSeries{}
	points := make([]curvePoint, 0, len(speed))
	missing := Finding{Kind: signal.MissingCell, Channel: signal.Torque, InPull: true}
	for i, omega := range speed {
		tau := values[i]
		if torque == nil {
			tau /= omega
		}
		if !(omega > 0) || math.IsInf(omega, 0) || math.IsNaN(tau) || math.IsInf(tau, 0) {
			if missing.Count++; missing.Count == 1 {
				missing.Row = i
			}
			continue
		}
		// To a millionth of 1/min: what was 8000 1/min in the file is 8000 again.
		points = append(points, curvePoint{math.Round(omega/curve.RadPerSecondPerRPM*1e6) / 1e6, tau})
	}
	if missing.Count > 0 {
		missing.Measured = float64(missing.Count)
		out.findings = append(out.findings, missing)
	}
	slices.SortStableFunc(points, func(a, b curvePoint) int {
		if a.rpm < b.rpm {
			return -1
		} else if a.rpm > b.rpm {
			return 1
		}
		return 0
	})
	out.take(points)
	if len(out.rpm) < leastPoints {
		return nil, &LogError{Line: lineOf(log, 0), Problem: fmt.Sprintf("the curve has %d usable points, and at least %d are needed", len(out.rpm), leastPoints),
			Cure: "Give the curve at more engine speeds."}
	}
	return out, nil
}

// take takes over the sorted points, one at each engine speed.
func (p *pointSeries) take(points []curvePoint) {
	repeated := Finding{Kind: signal.RepeatedTime, Channel: signal.EngineSpeed, InPull: true, Unit: "1/min"}
	for _, q := range points {
		if n := len(p.rpm); n > 0 && q.rpm == p.rpm[n-1] {
			repeated.Count++
			repeated.Measured = q.rpm
			continue
		}
		p.rpm, p.torque = append(p.rpm, q.rpm), append(p.torque, q.torque)
	}
	if repeated.Count > 0 {
		p.findings = append(p.findings, repeated)
	}
	spacing := signal.MedianInterval(p.rpm)
	gap := Finding{Kind: signal.Gap, Channel: signal.EngineSpeed, InPull: true, Unit: "1/min", Limit: gapLimit * spacing}
	for i := 1; i < len(p.rpm); i++ {
		if d := p.rpm[i] - p.rpm[i-1]; d > gap.Limit {
			gap.Count++
			gap.Measured = math.Max(gap.Measured, d)
		}
	}
	if gap.Count > 0 {
		p.findings = append(p.findings, gap)
	}
}
