package simulate

import (
	"fmt"
	"math"
)

// knot is one moment of a pull, exact to the integration.
type knot struct {
	t           float64
	theta       float64 // drum angle, rad
	omega       float64 // rad/s
	alpha       float64 // rad/s²
	engine      float64 // crankshaft angle, rad
	engineSpeed float64 // rad/s
	engineAccel float64 // rad/s²
	slip        float64
	slipRate    float64
}

// segment is a part of a pull with one throttle movement; its motion is smooth.
type segment struct {
	knots    []knot
	throttle opening
	engaged  bool
}

// course is the motion of one pull from start to end.
type course struct {
	segments []segment
	full     float64 // s, the throttle opens
	closed   float64 // s, the throttle closes
	end      float64 // s
}

// Limits of one simulated pull.
const (
	integrationStep = 0.005 // s
	longestPull     = 180.0 // s
	slowestCoast    = 1.0   // rad/s: a coast-down ends before the drum stands
	engineFall      = 0.5   // s, time constant of engine speed with the clutch lever pulled
	minimumTail     = 0.25  // s of log after the throttle closes without a coast-down
)

// begin returns a knot at t in state y, with the drive engaged.
func (m *machine) begin(o opening, t float64, y state) (knot, motion) {
	r := m.engaged(o.at(t), y)
	return knot{t, y.theta, y.omega, r.alpha, y.engine, r.engineSpeed, r.engineAccel, y.slip, r.slipRate}, r
}

// drive integrates one segment with the drive engaged from state y at time t,
// until the given moment or until the engine reaches engine speed upTo (rad/s),
// whichever is first.
func (m *machine) drive(o opening, t float64, y state, until, upTo float64) (segment, state, bool) {
	s := segment{throttle: o, engaged: true}
	k, r := m.begin(o, t, y)
	s.knots = append(s.knots, k)
	for t < until {
		h := math.Min(integrationStep, until-t)
		next := m.step(o, t, h, y, r)
		reached := m.ratio*(1+next.slip)*next.omega >= upTo
		if reached {
			h, next = m.reach(o, t, h, y, r, upTo)
		}
		t, y = t+h, next
		if h < integrationStep && !reached {
			t = until
		}
		k, r = m.begin(o, t, y)
		s.knots = append(s.knots, k)
		if reached {
			return s, y, true
		}
		if !(y.omega > 0) {
			break
		}
	}
	return s, y, false
}

// reach returns the part of a step that ends with engine speed upTo.
func (m *machine) reach(o opening, t, h float64, y state, r motion, upTo float64) (float64, state) {
	low, high := 0.0, h
	for range 50 {
		middle := (low + high) / 2
		next := m.step(o, t, middle, y, r)
		if m.ratio*(1+next.slip)*next.omega >= upTo {
			high = middle
		} else {
			low = middle
		}
	}
	return high, m.step(o, t, high, y, r)
}

// coast integrates a coast-down of the given length; the engine falls to idle.
func (m *machine) coast(o opening, t float64, y state, length, engineSpeed float64) segment {
	s := segment{throttle: o}
	start := t
	for elapsed := 0.0; ; {
		fall := math.Exp(-elapsed / engineFall)
		speed := m.idle + (engineSpeed-m.idle)*fall
		s.knots = append(s.knots, knot{
			t: start + elapsed, theta: y.theta, omega: y.omega, alpha: m.coasting(y.omega),
			engine:      y.engine + m.idle*elapsed + (engineSpeed-m.idle)*engineFall*(1-fall),
			engineSpeed: speed, engineAccel: (m.idle - speed) / engineFall,
		})
		if elapsed >= length || y.omega < slowestCoast {
			return s
		}
		h := math.Min(integrationStep, length-elapsed)
		engine := y.engine
		y = m.coastStep(h, y)
		y.engine = engine // the crankshaft's angle is in closed form above
		if elapsed += h; length-elapsed < 1e-9 {
			elapsed = length
		}
	}
}

// pull runs one pull: steady speed at start, full throttle to engine speed stop
// (both 1/min), closed throttle, coast-down.
func (m *machine) pull(d Drive, start, stop, theta float64, coast bool) (*course, error) {
	y, held, err := m.steady(start)
	if err != nil {
		return nil, err
	}
	y.theta = theta
	never := math.Inf(1)
	c := &course{full: d.Lead}

	lead, y, _ := m.drive(opening{from: held, to: held, constant: 1}, 0, y, d.Lead, never)
	open, y, reached := m.drive(opening{d.Lead, held, 1, d.OpenTime}, d.Lead, y, d.Lead+longestPull, stop/rpmPerRadian)
	if !reached {
		return nil, fmt.Errorf("%w: the engine does not reach %.0f 1/min within %.0f s", errNoPull, stop, longestPull)
	}
	c.closed = open.knots[len(open.knots)-1].t
	tail := d.ClutchDelay
	if !coast || d.Coast == 0 {
		tail = math.Max(tail, minimumTail)
	}
	closing := opening{c.closed, open.throttle.at(c.closed), 0, d.CloseTime}
	shut, y, _ := m.drive(closing, c.closed, y, c.closed+tail, never)
	c.segments = []segment{lead, open, shut}
	last := shut.knots[len(shut.knots)-1]
	if coast && d.Coast > 0 {
		down := m.coast(closing, last.t, y, d.Coast, last.engineSpeed)
		c.segments = append(c.segments, down)
		last = down.knots[len(down.knots)-1]
	}
	c.end = last.t
	if !finite(last.omega) || !finite(last.engineSpeed) {
		return nil, fmt.Errorf("%w: the motion is not finite", errNoPull)
	}
	return c, nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// cursor walks a course in increasing time without searching.
type cursor struct {
	course  *course
	segment int
	knot    int
}

// moment returns the motion at time t by Hermite interpolation between knots,
// the angles by the cubic's own rule. Times must not decrease from call to call.
func (c *cursor) moment(t float64) (knot, *segment) {
	s := &c.course.segments[c.segment]
	for t > s.knots[len(s.knots)-1].t && c.segment < len(c.course.segments)-1 {
		c.segment++
		c.knot = 0
		s = &c.course.segments[c.segment]
	}
	for c.knot < len(s.knots)-2 && t > s.knots[c.knot+1].t {
		c.knot++
	}
	if len(s.knots) == 1 {
		return s.knots[0], s
	}
	return between(&s.knots[c.knot], &s.knots[c.knot+1], t), s
}

// between returns the motion at t between knots a and b. Speeds and slip follow
// the cubic of both ends' values and slopes; angles follow that of angle and
// speed. The accelerations are left to the caller.
func between(a, b *knot, t float64) knot {
	h := b.t - a.t
	if h <= 0 {
		return *a
	}
	x := (t - a.t) / h
	return knot{
		t:           t,
		theta:       hermite(x, a.theta, b.theta, a.omega*h, b.omega*h),
		omega:       hermite(x, a.omega, b.omega, a.alpha*h, b.alpha*h),
		engine:      hermite(x, a.engine, b.engine, a.engineSpeed*h, b.engineSpeed*h),
		engineSpeed: hermite(x, a.engineSpeed, b.engineSpeed, a.engineAccel*h, b.engineAccel*h),
		slip:        hermite(x, a.slip, b.slip, a.slipRate*h, b.slipRate*h),
	}
}
