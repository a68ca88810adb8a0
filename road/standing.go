package road

import (
	"math"

	"fairpull/curve"
)

// What is asked of a start from standstill: a speed, or a way. The other is +Inf.
type goal struct{ speed, way float64 }

// start drives from standstill in first gear, shifting up, until the goal. Below the
// first measured engine speed the clutch slips and the engine gives its torque there.
func (d *drive) start(g goal) (Journey, error) {
	j := Journey{Gear: 1}
	for gear := 0; ; gear++ {
		j.Gear = gear + 1
		end := min(d.shiftSpeed(gear), g.speed)
		done, err := d.leg(&j, gear, end, g)
		if err != nil || done {
			return j, err
		}
		if gear+1 == len(d.perMetre) {
			return j, d.last(&j, gear, g)
		}
		if done := d.shift(&j, g); done {
			return j, nil
		}
		j.Shifts++
		if d.perMetre[gear+1]*j.Speed < d.omega[0]*(1-slack) {
			return j, d.outside(gear+1, j.Speed)
		}
	}
}

// leg drives in one gear to a speed, or to the way of the goal, and reports whether
// the goal is reached.
func (d *drive) leg(j *Journey, gear int, end float64, g goal) (bool, error) {
	for _, p := range d.fill(gear, j.Speed, end) {
		at, stalls := p.stalls()
		whole := p
		if stalls {
			// As far as the way to the goal is concerned the vehicle creeps up to that
			// speed for ever; stop a hair before.
			whole.to = p.from + (at-p.from)*(1-1e-9)
		}
		if whole.to > whole.from {
			s := integrate(whole)
			if j.Way+s.way*d.inertia >= g.way {
				d.stop(j, whole, g.way)
				return true, nil
			}
			j.Time += s.time * d.inertia
			j.Way += s.way * d.inertia
			j.Speed = whole.to
			if !(j.Time <= longest) {
				return false, &NotReachedError{Speed: j.Speed, Gear: gear + 1}
			}
		}
		if stalls {
			return d.cruise(j, at, gear, g)
		}
	}
	return j.Speed >= g.speed, nil
}

// last ends a journey at the highest engine speed of the last gear: on the limiter
// the vehicle covers the rest of the way at that speed. Where only the curve ends,
// nobody knows how it goes on.
func (d *drive) last(j *Journey, gear int, g goal) error {
	if !d.limiter || math.IsInf(g.way, 1) {
		return d.outside(gear, min(g.speed, j.Speed*1.01))
	}
	_, err := d.cruise(j, j.Speed, gear, g)
	return err
}

// cruise goes on at a speed that cannot be raised: a way is still covered, a higher
// speed is not reached.
func (d *drive) cruise(j *Journey, at float64, gear int, g goal) (bool, error) {
	if math.IsInf(g.way, 1) || j.Speed <= 0 {
		return false, &NotReachedError{Speed: at, Gear: gear + 1}
	}
	j.Time += (g.way - j.Way) / j.Speed
	j.Way = g.way
	if !(j.Time <= longest) {
		return false, &NotReachedError{Speed: at, Gear: gear + 1}
	}
	return true, nil
}

// stop ends the journey within a piece, where the way is covered. The speed there is
// found by halving, to one part in 10¹⁴ of it.
func (d *drive) stop(j *Journey, p piece, way float64) {
	low, high := p.from, p.to
	part := p
	var s span
	for range 60 {
		part.to = (low + high) / 2
		if part.to <= low || part.to >= high {
			break
		}
		if s = integrate(part); j.Way+s.way*d.inertia < way {
			low = part.to
		} else {
			high = part.to
		}
	}
	s = integrate(part)
	j.Time += s.time * d.inertia
	j.Way, j.Speed = way, part.to
}

// shift lets the vehicle roll without drive for the time of a shift, and reports
// whether the goal's way ends in it.
func (d *drive) shift(j *Journey, g goal) bool {
	if d.shiftTime == 0 {
		return false
	}
	slow := func(v float64) float64 { return -d.resistance.At(v) / d.inertia }
	// At least four steps in the time in which the speed would fade by 1/e.
	fades := (d.resistance.Linear + 2*d.resistance.Square*j.Speed) / d.inertia
	steps := 16 + int(4*d.shiftTime*fades)
	h := d.shiftTime / float64(steps)
	for range steps {
		// Runge and Kutta's classical step for v; the way by Simpson's rule with the
		// speed in the middle of the step.
		v := j.Speed
		k1 := slow(v)
		k2 := slow(v + h/2*k1)
		k3 := slow(v + h/2*k2)
		k4 := slow(v + h*k3)
		next := max(0, v+h/6*(k1+2*k2+2*k3+k4))
		middle := v + h/24*(5*k1+4*k2+4*k3-k4)
		way := h / 6 * (v + 4*middle + next)
		if j.Way+way >= g.way {
			j.Time += h * (g.way - j.Way) / way
			j.Way, j.Speed = g.way, next
			return true
		}
		j.Time += h
		j.Way += way
		j.Speed = next
	}
	return false
}

// shiftSpeed returns the speed at which a gear is left.
func (d *drive) shiftSpeed(gear int) float64 {
	k := d.perMetre[gear]
	latest := d.limit / k
	switch {
	case gear+1 == len(d.perMetre):
		return latest
	case d.shiftAt > 0:
		return min(latest, d.shiftAt/k)
	}
	// From where both gears are measured on: the first speed at which the next gear
	// pulls as hard. Both forces are straight between the nodes of either gear.
	next := d.perMetre[gear+1]
	better := func(v float64) float64 { return next*d.torqueAt(next*v) - k*d.torqueAt(k*v) }
	low := d.omega[0] / next
	if low >= latest {
		return latest
	}
	at, gain := low, better(low)
	for at < latest && gain < 0 {
		end := min(latest, d.nextNode(k, at), d.nextNode(next, at))
		after := better(end)
		if after >= 0 {
			return at + (end-at)*gain/(gain-after)
		}
		at, gain = end, after
	}
	return at
}

// nextNode returns the lowest speed above v at which a gear passes a node; +Inf
// beyond the last.
func (d *drive) nextNode(k, v float64) float64 {
	for i := max(0, d.segment(k*v)); i < len(d.omega); i++ {
		if at := d.omega[i] / k; at > v*(1+1e-12) {
			return at
		}
	}
	return math.Inf(1)
}

// torqueAt returns the torque at an engine speed within the curve.
func (d *drive) torqueAt(omega float64) float64 {
	i := max(0, min(d.segment(omega), len(d.omega)-2))
	x := (omega - d.omega[i]) / (d.omega[i+1] - d.omega[i])
	x = max(0, min(1, x))
	return d.torque[i] + x*(d.torque[i+1]-d.torque[i])
}

// FromStandstill returns what it takes from standstill to a speed in m/s, shifting
// up as the vehicle's rule says. Below the first measured engine speed the clutch
// slips and the engine gives its torque there; grip limits the force.
func FromStandstill(v Vehicle, c curve.Curve, to float64) (Journey, error) {
	d, err := ready(v, c, Question{Kind: ToSpeed, To: to})
	if err != nil {
		return Journey{}, err
	}
	return d.start(goal{speed: to, way: math.Inf(1)})
}

// OverDistance returns what it takes from standstill over a way in m.
func OverDistance(v Vehicle, c curve.Curve, way float64) (Journey, error) {
	d, err := ready(v, c, Question{Kind: Distance, Way: way})
	if err != nil {
		return Journey{}, err
	}
	return d.start(goal{speed: math.Inf(1), way: way})
}
