package drum

import (
	"fmt"
	"math"
)

// Load is one reading of a brake's force under a dead weight.
type Load struct {
	Mass    float64 // on the lever, kg
	Force   float64 // as the rig shows it, N; positive in both directions
	Falling bool    // weights were being taken off
	Reverse bool    // the lever pulls the other way
}

// BrakeReadings are what was read while weights hung from a lever on a brake.
type BrakeReadings struct {
	Loads []Load
	Lever Sized // from axis to weights, level, m
	// MassU is the relative standard uncertainty of the weights, one set.
	MassU      float64
	Gravity    Calibrated // m/s²
	ZeroBefore float64    // force shown without weights, before and after, N
	ZeroAfter  float64
	HasZeros   bool
	ArmInUse   float64 // m, as the rig has it now; 0: not known
}

// Buoyancy of steel weights in air: densities 1.2 and 7850 kg/m³ (handbook values).
const buoyancy = 1 - 1.2/7850

// Brake is a brake arm that was calibrated.
type Brake struct {
	Calibrated // effective arm: torque in N·m over shown force in N, m
	// Zero is what the rig shows at no torque, N, with its standard error: to be
	// taken off before pulls.
	Zero, ZeroU float64
	// Linearity, Hysteresis and ZeroDrift are parts of the largest torque: the
	// largest departure from the line, the largest difference between loading and
	// unloading at one weight, and the change of zero. HasHysteresis is false
	// where no weight was read both ways.
	Linearity, Hysteresis, ZeroDrift float64
	HasHysteresis                    bool
	Directions                       []Direction // one or two
	Most                             float64     // largest reference torque, N·m

	accept []Acceptance
}

// Direction is the arm found with the lever pulling one way.
type Direction struct {
	Reverse bool
	Arm, U  float64 // m; U of the scatter alone
	Zero    float64 // N
	Line    Line    // shown force over reference torque
}

// CalibrateBrake finds the effective arm of a brake from dead weights: shown force
// over the torque m·g·L that the weights make, less their buoyancy, is a line with
// slope 1/arm. Each way is fitted by itself; the arm is the mean, and half their
// difference is a limit of a rectangular part. So are half the hysteresis and the
// drift of zero; the weights, the lever and gravity bear in proportion.
//
// Source: 40 CFR 1065.310(c)(1), which asks for six weights a range at least.
func CalibrateBrake(r BrakeReadings) (*Brake, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	b := &Brake{}
	var torque, force []float64 // of all loads
	for _, reverse := range []bool{false, true} {
		var x, y []float64
		for _, l := range r.Loads {
			if l.Reverse == reverse {
				x, y = append(x, r.torque(l.Mass)), append(y, l.Force)
			}
		}
		if len(x) == 0 {
			continue
		}
		line, err := FitLine(x, y)
		if err != nil {
			return nil, err
		}
		if !(line.Slope > 0) {
			return nil, fmt.Errorf("%w: the shown force falls as weights are put on", ErrCalibration)
		}
		b.Directions = append(b.Directions, Direction{Reverse: reverse, Arm: 1 / line.Slope, U: line.SlopeU / (line.Slope * line.Slope), Zero: line.Intercept, Line: line})
		for i := range x {
			at, _ := line.At(x[i])
			b.Linearity = max(b.Linearity, math.Abs(y[i]-at)/line.Slope)
			b.Most = max(b.Most, x[i])
		}
		torque, force = append(torque, x...), append(force, y...)
	}
	b.Linearity /= b.Most
	b.hysteresis(r)
	b.combine(r)
	return b, b.acceptance(r, torque, force)
}

// torque is the reference torque of a mass.
func (r *BrakeReadings) torque(mass float64) float64 {
	return mass * r.Gravity.Value * r.Lever.Value * buoyancy
}

// check refuses readings from which no arm follows.
func (r *BrakeReadings) check() error {
	if !(r.Lever.Value > 0) || !(r.Lever.U >= 0) || !(r.MassU >= 0 && r.MassU < 1) || !(r.Gravity.Value > 9.7 && r.Gravity.Value < 9.9) || !(r.ArmInUse >= 0) ||
		!finite(r.Lever.U) || !finite(r.ZeroBefore) || !finite(r.ZeroAfter) {
		return fmt.Errorf("%w: lever %g ± %g m, weights to %g, gravity %g m/s²", ErrCalibration, r.Lever.Value, r.Lever.U, r.MassU, r.Gravity.Value)
	}
	for i, l := range r.Loads {
		if !(l.Mass >= 0) || !finite(l.Mass) || !finite(l.Force) {
			return fmt.Errorf("%w: reading %d is %g kg and %g N", ErrCalibration, i+1, l.Mass, l.Force)
		}
	}
	return nil
}

// hysteresis compares readings at one weight, loading and unloading, and the zeros.
func (b *Brake) hysteresis(r BrakeReadings) {
	type place struct {
		mass    float64
		reverse bool
	}
	var sum, count [2]map[place]float64
	for k := range sum {
		sum[k], count[k] = map[place]float64{}, map[place]float64{}
	}
	for _, l := range r.Loads {
		k, at := 0, place{l.Mass, l.Reverse}
		if l.Falling {
			k = 1
		}
		sum[k][at] += l.Force
		count[k][at]++
	}
	for at, up := range count[0] {
		if down := count[1][at]; down > 0 {
			b.HasHysteresis = true
			b.Hysteresis = max(b.Hysteresis, math.Abs(sum[0][at]/up-sum[1][at]/down)*b.Directions[0].Arm/b.Most)
		}
	}
	if r.HasZeros {
		b.ZeroDrift = math.Abs(r.ZeroAfter-r.ZeroBefore) * b.Directions[0].Arm / b.Most
	}
}

// combine works out the arm and its uncertainty.
func (b *Brake) combine(r BrakeReadings) {
	n := float64(len(b.Directions))
	arm, variance, spread := 0.0, 0.0, 0.0
	for _, d := range b.Directions {
		u := d.U / n
		arm += d.Arm / n
		b.Zero += d.Zero / n
		b.ZeroU = math.Hypot(b.ZeroU, d.Line.InterceptU/n)
		variance += u * u
		spread += u * u * u * u / d.Line.DF
	}
	df := math.Inf(1)
	if spread > 0 {
		df = variance * variance / spread
	}
	known, flat := math.Inf(1), math.Sqrt(3)
	parts := []Part{
		{Name: "scatter about the line", U: math.Sqrt(variance), DF: df, Scatter: true},
		{Name: "mass of the weights", U: arm * r.MassU, DF: known},
		{Name: "length of the lever", U: arm * r.Lever.U / r.Lever.Value, DF: known},
		{Name: "local gravity", U: arm * r.Gravity.U / r.Gravity.Value, DF: known},
		{Name: "hysteresis", U: arm * b.Hysteresis / 2 / flat, DF: known},
		{Name: "drift of zero", U: arm * b.ZeroDrift / flat, DF: known},
	}
	if n == 2 {
		parts = append(parts, Part{Name: "one direction against the other", U: math.Abs(b.Directions[0].Arm-b.Directions[1].Arm) / 2 / flat, DF: known})
	}
	b.Calibrated = combined(arm, parts...)
}

// acceptance holds the readings against 40 CFR 1065.307 and 1065.310, as torque by
// the arm in use, or by the new one where none is known.
func (b *Brake) acceptance(r BrakeReadings, torque, force []float64) error {
	arm, what := r.ArmInUse, "torque by the arm in use"
	if arm == 0 {
		arm, what = b.Value, "torque by the new arm"
	}
	shown := make([]float64, len(force))
	for i, f := range force {
		shown[i] = f * arm
	}
	line, err := FitLine(torque, shown)
	if err != nil {
		return err
	}
	rule := linearTorque
	rule.what = what
	b.accept = rule.check(torque, line)
	least := math.Inf(1)
	for _, d := range b.Directions {
		weights := map[float64]bool{}
		for _, l := range r.Loads {
			if l.Reverse == d.Reverse && l.Mass > 0 {
				weights[l.Mass] = true
			}
		}
		least = min(least, float64(len(weights)))
	}
	b.accept = append(b.accept, Acceptance{Rule: "40 CFR 1065.310(c)(1)", What: "different weights in a direction", Measured: least, Low: 6, High: math.Inf(1)})
	return nil
}

// AcceptBrake returns the limits that the readings were held against.
func (b *Brake) AcceptBrake() []Acceptance { return b.accept }
