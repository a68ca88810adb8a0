package simulate

import (
	"math"
	"math/rand/v2"
)

// pulseLog returns the text of a pull's log: two columns of unequal length with
// the moment of every drum pulse and every ignition pulse.
func (s *Scenario) pulseLog(p *plannedPull, c *course) []byte {
	r := chance(s.Seed, logStream, p.index)
	r.Float64() // the drum's first angle: see drivePull
	drum := s.drumPulses(c, r)
	if f, has := p.faults[missingPulses]; has {
		drum = losePulses(drum, c, int(f.Size))
	}
	engine := s.enginePulses(c, r)
	if hole := p.gapAt(c); hole[1] > hole[0] {
		drum, engine = outside(drum, hole), outside(engine, hole)
	}
	return s.formatPulses(drum, engine)
}

// toothTable returns where each tooth of the drum encoder really is, as a
// departure in rad. It belongs to the dyno.
func (s *Scenario) toothTable() []float64 {
	l := &s.Logger.Pulses
	r := chance(s.Seed, toothStream, 0)
	table := make([]float64, l.PerRev)
	pitch := 2 * math.Pi / float64(l.PerRev)
	for i := range table {
		table[i] = pitch*l.ToothError*clamp(r.NormFloat64(), -3, 3) -
			s.Logger.EncoderError*math.Sin(float64(i)*pitch+s.Logger.EncoderPhase)
	}
	return table
}

// drumPulses returns the moments of the drum encoder's pulses in s.
func (s *Scenario) drumPulses(c *course, r *rand.Rand) []float64 {
	l := &s.Logger.Pulses
	table := s.toothTable()
	pitch := 2 * math.Pi / float64(l.PerRev)
	first := int(math.Floor(c.start().theta / pitch))
	angle := func(i int) float64 { return float64(first+i)*pitch + table[(first+i)%l.PerRev] }
	for angle(0) <= c.start().theta { // passed before the log began
		first++
	}
	pulses := crossings(c, angle, (*knot).drumAngle)
	return timed(pulses, r, func(int) float64 { return l.DrumJitter }, l.DrumMissed)
}

// enginePulses returns the moments of the ignition pulses in s; none without a
// pickup.
func (s *Scenario) enginePulses(c *course, r *rand.Rand) []float64 {
	l := &s.Logger.Pulses
	if l.EnginePerRev == 0 {
		return nil
	}
	pitch := 2 * math.Pi / l.EnginePerRev
	pulses := crossings(c, func(i int) float64 { return (float64(i) + 0.5) * pitch }, (*knot).engineAngle)
	interval := func(i int) float64 {
		if i == 0 {
			return 0
		}
		return l.EngineJitter * (pulses[i] - pulses[i-1])
	}
	return timed(pulses, r, interval, l.EngineMissed)
}

// start is the first moment of a course.
func (c *course) start() *knot { return &c.segments[0].knots[0] }

// drumAngle and engineAngle return an angle of a knot and its rates: rad, rad/s,
// rad/s².
func (k *knot) drumAngle() (angle, speed, acceleration float64) { return k.theta, k.omega, k.alpha }

func (k *knot) engineAngle() (angle, speed, acceleration float64) {
	return k.engine, k.engineSpeed, k.engineAccel
}

// crossings returns when the angle read by of passes angle(0), angle(1), …,
// which must increase. Between knots the angle follows the quintic of both ends'
// angle, speed and acceleration.
func crossings(c *course, angle func(i int) float64, of func(*knot) (float64, float64, float64)) []float64 {
	var moments []float64
	next := angle(0)
	for i := range c.segments {
		knots := c.segments[i].knots
		for j := 1; j < len(knots); j++ {
			arc := newArc(&knots[j-1], &knots[j], of)
			for next <= arc.end {
				moments = append(moments, arc.when(next))
				next = angle(len(moments))
			}
		}
	}
	return moments
}

// arc is an angle over one knot interval: a quintic in x = (t − t0)/h.
type arc struct {
	t, h float64
	c    [6]float64
	end  float64 // rad
}

func newArc(a, b *knot, of func(*knot) (float64, float64, float64)) arc {
	h := b.t - a.t
	p0, v0, a0 := of(a)
	p1, v1, a1 := of(b)
	v0, v1, a0, a1 = v0*h, v1*h, a0*h*h, a1*h*h
	d := p1 - p0
	return arc{a.t, h, [6]float64{
		p0, v0, a0 / 2,
		10*d - 6*v0 - 4*v1 - 1.5*a0 + 0.5*a1,
		-15*d + 8*v0 + 7*v1 + 1.5*a0 - a1,
		6*d - 3*(v0+v1) - 0.5*(a0-a1),
	}, p1}
}

// when returns the moment at which the angle is theta, by Newton's rule.
func (q *arc) when(theta float64) float64 {
	x := (theta - q.c[0]) / (q.end - q.c[0])
	for range 4 {
		value := q.c[0] + x*(q.c[1]+x*(q.c[2]+x*(q.c[3]+x*(q.c[4]+x*q.c[5]))))
		slope := q.c[1] + x*(2*q.c[2]+x*(3*q.c[3]+x*(4*q.c[4]+x*5*q.c[5])))
		move := (theta - value) / slope
		x += move
		if math.Abs(move) < 1e-12 {
			break
		}
	}
	return q.t + q.h*x
}

// timed returns the moments as a timer sees them: with jitter of the given SD,
// never backwards, some missed.
func timed(moments []float64, r *rand.Rand, sd func(i int) float64, missed float64) []float64 {
	seen := make([]float64, 0, len(moments))
	last := 0.0
	for i, t := range moments {
		t = math.Max(t+sd(i)*r.NormFloat64(), last)
		if r.Float64() < missed {
			continue
		}
		last = t
		seen = append(seen, t)
	}
	return seen
}

// losePulses takes n pulses in a row out at three places of the pull.
func losePulses(pulses []float64, c *course, n int) []float64 {
	for place := range missingParts {
		at := c.full + (c.closed-c.full)*float64(place+1)/(missingParts+1)
		first := 0
		for first < len(pulses) && pulses[first] < at {
			first++
		}
		pulses = append(pulses[:first], pulses[min(first+n, len(pulses)):]...)
	}
	return pulses
}

// outside returns the moments that do not lie within hole.
func outside(moments []float64, hole [2]float64) []float64 {
	kept := moments[:0]
	for _, t := range moments {
		if t <= hole[0] || t >= hole[1] {
			kept = append(kept, t)
		}
	}
	return kept
}

// formatPulses writes both columns; the shorter one ends in empty cells.
func (s *Scenario) formatPulses(drum, engine []float64) []byte {
	places, _ := decimals(s.Logger.Pulses.TimerStep)
	pickup := s.Logger.Pulses.EnginePerRev != 0
	rows := max(len(drum), len(engine))
	text := make([]byte, 0, rows*2*(places+5)+64)
	text = append(text, "drum_pulse [s]"...)
	if pickup {
		text = append(text, ",engine_pulse [s]"...)
	}
	text = append(text, '\n')
	for row := range rows {
		if row < len(drum) {
			text = appendFixed(text, drum[row], places)
		}
		if pickup {
			text = append(text, ',')
			if row < len(engine) {
				text = appendFixed(text, engine[row], places)
			}
		}
		text = append(text, '\n')
	}
	return text
}
