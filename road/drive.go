package road

import (
	"fmt"
	"math"
	"slices"

	"fairpull/curve"
)

// drive is a vehicle with a torque curve, ready to be asked. One drive serves many
// draws: its slices are filled anew and never grow.
type drive struct {
	inertia    float64 // kg, turning parts included
	resistance Resistance
	perMetre   []float64 // rad/m by gear
	grip       float64   // N; +Inf: no limit
	omega      []float64 // rad/s
	torque     []float64 // N·m at omega, straight in between
	limit      float64   // rad/s: where the limiter holds, or the curve ends
	limiter    bool      // the former
	shiftAt    float64   // rad/s; 0: where the next gear pulls harder
	shiftTime  float64   // s
	pieces     []piece
}

// newDrive returns the drive of a vehicle with a curve. Both were validated.
func newDrive(v Vehicle, c curve.Curve) *drive {
	d := &drive{
		perMetre: slices.Clone(v.EnginePerMetre), omega: make([]float64, c.Len()),
		torque: make([]float64, c.Len()), pieces: make([]piece, 0, 2*c.Len()+8),
	}
	for i, n := range c.SpeedRPM {
		d.omega[i] = n * curve.RadPerSecondPerRPM
	}
	copy(d.torque, c.Torque)
	d.take(v)
	return d
}

// take puts another vehicle of the same gears into the drive.
func (d *drive) take(v Vehicle) {
	d.inertia = float64(v.Mass) * (1 + v.RotatingShare)
	d.resistance = v.Resistance
	copy(d.perMetre, v.EnginePerMetre)
	d.grip = math.Inf(1)
	if v.Grip != nil {
		d.grip = v.Grip.Limit(v.Mass)
	}
	limiter, last := v.LimitRPM*curve.RadPerSecondPerRPM, d.omega[len(d.omega)-1]
	d.limit, d.limiter = min(limiter, last), limiter <= last*(1+slack)
	d.shiftAt = v.ShiftRPM * curve.RadPerSecondPerRPM
	d.shiftTime = v.ShiftTime
}

// fill puts the pieces of a gear from one speed to a higher one into d.pieces.
// Between two nodes the torque is straight, so the drive force is straight in v; where
// it crosses the grip, a piece ends. Speeds below the first node, as while the clutch
// slips, have the torque of that node; the caller sees to it that no others are asked.
func (d *drive) fill(gear int, from, to float64) []piece {
	d.pieces = d.pieces[:0]
	k := d.perMetre[gear]
	at := from
	if first := d.omega[0] / k; at < first {
		end := min(first, to)
		d.add(at, end, k*d.torque[0], 0)
		at = end
	}
	i := max(0, min(d.segment(k*at), len(d.omega)-2))
	for ; at < to; i++ {
		end := to
		if i < len(d.omega)-2 {
			end = min(to, d.omega[i+1]/k)
		}
		if end <= at {
			continue
		}
		slope := (d.torque[i+1] - d.torque[i]) / (d.omega[i+1] - d.omega[i])
		d.add(at, end, k*(d.torque[i]-slope*d.omega[i]), k*k*slope)
		at = end
	}
	return d.pieces
}

// segment returns the index of the node at or below omega, -1 below the first.
func (d *drive) segment(omega float64) int {
	i, exact := slices.BinarySearch(d.omega, omega)
	if exact {
		return i
	}
	return i - 1
}

// add appends the pieces of a stretch on which the engine gives a + b·v.
func (d *drive) add(from, to, a, b float64) {
	for from < to {
		end, held := to, a+b*((from+to)/2) > d.grip
		if b != 0 && !math.IsInf(d.grip, 1) {
			if cross := (d.grip - a) / b; cross > from && cross < to {
				end = cross
				held = a+b*((from+end)/2) > d.grip
			}
		}
		p := piece{from: from, to: end, p: a, q: b}
		if held {
			p.p, p.q = d.grip, 0
		}
		p.p -= d.resistance.Constant
		p.q -= d.resistance.Linear
		p.r -= d.resistance.Square
		d.pieces = append(d.pieces, p)
		from = end
	}
}

// Journey is what it took to get from one speed to another.
type Journey struct {
	Time   float64 // s
	Way    float64 // m
	Speed  float64 // m/s at the end
	Gear   int     // at the end, from 1
	Shifts int
}

// NotReachedError says that a speed cannot be reached: the drive force falls to the
// resistance before.
type NotReachedError struct {
	Speed float64 // m/s at which nothing is left
	Gear  int     // from 1
}

func (e *NotReachedError) Error() string {
	return fmt.Sprintf("in gear %d no force is left at %s: what was asked for is not reached", e.Gear, speedText(e.Speed))
}

// speedText returns a speed for a message.
func speedText(v float64) string { return fmt.Sprintf("%.4g m/s (%.4g km/h)", v, v*3.6) }

// OutsideError says that a question leads to engine speeds that were not measured.
// Nothing is ever made up beyond the curve.
type OutsideError struct {
	Gear     int     // from 1
	RPM      float64 // asked for, 1/min
	From, To float64 // measured, or up to the limiter, 1/min
}

func (e *OutsideError) Error() string {
	return fmt.Sprintf("gear %d would turn the engine at %.0f 1/min, and the curve holds from %.0f to %.0f: choose other speeds or another gear", e.Gear, e.RPM, e.From, e.To)
}

// outside returns the error of a gear at a speed v.
func (d *drive) outside(gear int, v float64) error {
	return &OutsideError{
		Gear: gear + 1, RPM: d.perMetre[gear] * v / curve.RadPerSecondPerRPM,
		From: d.omega[0] / curve.RadPerSecondPerRPM, To: d.limit / curve.RadPerSecondPerRPM,
	}
}

// longest is the time in s after which a speed counts as not reached: what creeps up
// to it for an hour never gets there on a road.
const longest = 3600

// slack lets a speed that was computed from an engine speed come back to it.
const slack = 1e-9

// reaches reports whether the curve covers a gear at a speed.
func (d *drive) reaches(gear int, v float64) bool {
	omega := d.perMetre[gear] * v
	return omega >= d.omega[0]*(1-slack) && omega <= d.limit*(1+slack)
}

// rollOn returns time and way in one gear, throttle open all the way.
func (d *drive) rollOn(gear int, from, to float64) (span, error) {
	for _, v := range [2]float64{from, to} {
		if !d.reaches(gear, v) {
			return span{}, d.outside(gear, v)
		}
	}
	return d.pull(gear, from, to)
}

// pull is rollOn without the question whether the curve covers it.
func (d *drive) pull(gear int, from, to float64) (span, error) {
	var s span
	for _, p := range d.fill(gear, from, to) {
		if v, stalls := p.stalls(); stalls {
			return span{}, &NotReachedError{Speed: v, Gear: gear + 1}
		}
		s = s.plus(integrate(p))
		if !(s.time*d.inertia <= longest) {
			return span{}, &NotReachedError{Speed: p.to, Gear: gear + 1}
		}
	}
	return span{s.time * d.inertia, s.way * d.inertia}, nil
}

// RollOn returns what it takes from one speed to a higher one, in m/s, in one gear,
// counted from 1, with the throttle open from the first moment.
//
// Engine speeds outside the curve are an *[OutsideError]; a speed that the vehicle
// does not reach is a *[NotReachedError].
func RollOn(v Vehicle, c curve.Curve, gear int, from, to float64) (Journey, error) {
	q := Question{Kind: InGear, Gear: gear, From: from, To: to}
	d, err := ready(v, c, q)
	if err != nil {
		return Journey{}, err
	}
	s, err := d.rollOn(gear-1, from, to)
	if err != nil {
		return Journey{}, err
	}
	return Journey{Time: s.time, Way: s.way, Speed: to, Gear: gear}, nil
}

// ready validates everything and returns the drive.
func ready(v Vehicle, c curve.Curve, q Question) (*drive, error) {
	if err := v.Validate(); err != nil {
		return nil, err
	}
	if err := checkCurve(c); err != nil {
		return nil, err
	}
	if err := q.validate(v); err != nil {
		return nil, err
	}
	if v.LimitRPM <= c.SpeedRPM[0] {
		return nil, fmt.Errorf("the limiter stands at %g 1/min, where the curve has not begun", v.LimitRPM)
	}
	return newDrive(v, c), nil
}
