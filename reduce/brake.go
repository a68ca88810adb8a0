package reduce

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"fairpull/signal"
)

// Control is how the brake kept, and changed, the speed.
type Control struct {
	Moves       []Move
	Saturations []Saturation
	// HasCommand says that the log has the brake's command, without which a brake
	// that fades shows only where it saturates.
	HasCommand bool
	// Fades compares holds of the same speed, each with the first of them.
	Fades []Fade
}

// The kinds of Move.
const (
	MoveStep  = "step"    // from one held speed to another within MoveStepTime
	MoveSweep = "sweep"   // at a set rate
	MoveAway  = "runaway" // the brake had no more torque for more than half of the way
	MoveOther = "other"   // none of these
)

// MoveStepTime is how long a change of speed may take, in s, to be a step.
const MoveStepTime = 2.0

// Move is a change of speed under the brake.
type Move struct {
	Kind           string
	From, To       float64 // s
	FromRPM, ToRPM float64 // of the engine
	Rate           float64 // 1/min per s: slope of the straight line through it
	Departure      float64 // largest departure of the speed from that line, as a part of the change
}

// Saturation is a stretch in which the brake gave all that it had and the speed went
// up all the same.
type Saturation struct {
	From, To       float64 // s
	FromRPM, ToRPM float64
	Brake          float64 // mean torque, N·m
	BrakeChange    float64 // from its first to its last second, fraction: what heat takes away
	ByCommand      bool    // the command was full; else told from the torque alone
}

// Arrival is how the brake came to a held speed.
type Arrival struct {
	Known      bool    // the speed came from elsewhere, under the brake
	StepRPM    float64 // of the engine, 1/min: level less where it came from
	Overshoot  float64 // beyond the level, as a part of the step; 0: none
	SettleTime float64 // s from first reaching the tolerance to keeping it
}

// Hunting is an oscillation of a held speed.
type Hunting struct {
	Found     bool
	Amplitude float64 // of the engine, 1/min
	Period    float64 // s
	P         float64 // chance of so high a peak in the periodogram without one
}

// Fade is how much less torque the brake gave for its command.
type Fade struct {
	Known    bool
	Change   float64 // fraction, negative: less
	SE       float64
	From, To float64 // s: the middle of what is compared
	RPM      float64
}

// Limits of the quality of control, as parts of the speed unless said otherwise.
const (
	huntingLimit    = 0.002 // smallest amplitude that is called hunting
	huntingP        = 0.001
	saturatedPart   = 0.97  // of the largest torque or of the full command
	saturatedRise   = 0.004 // per s
	saturatedTime   = 0.5   // s
	arrivalLook     = 10.0  // s before a hold in which the way to it is looked for
	sweepTime       = 2.0   // s that a sweep takes at least
	sweepStraight   = 0.05  // of the change of speed: departure from a straight line
	leastMove       = 3.0   // tolerances
	fadeParts       = 3     // the first of so many parts of a hold against the last
	overshootLook   = 5.0   // s after reaching the level in which it is exceeded
	overshootLeast  = 0.01  // of the step: less is noise
	commandFraction = 1e-6
)

// judgeBrake fills what is said of the brake's control.
func (f *steadyFinder) judgeBrake() {
	if len(f.out.Points) == 0 && len(f.speed) < smoothCells {
		return
	}
	for i := range f.out.Points {
		p := &f.out.Points[i]
		p.Arrival = f.arrival(p)
		p.Hunting = f.hunting(p)
		p.Fade = f.fade(p)
	}
	f.fades()
	f.saturations()
	f.moves()
}

// perRPM returns the engine's 1/min a rad/s of the drum.
func (f *steadyFinder) perRPM() float64 { return f.ratio * 30 / math.Pi }

// arrival looks at how the speed came to a point's level.
func (f *steadyFinder) arrival(p *SteadyPoint) Arrival {
	level, tolerance := p.DrumSpeed, f.tolerance(p.DrumSpeed)
	found := f.cellAt(p.Found)
	away := f.origin(found, level)
	from := f.smooth[away]
	if !(math.Abs(from-level) > leastMove*tolerance) {
		return Arrival{}
	}
	side := 1.0
	if from > level {
		side = -1
	}
	reached := away
	for reached < len(f.smooth)-1 && side*(f.smooth[reached]-level) < -tolerance {
		reached++
	}
	a := Arrival{Known: true, StepRPM: (level - from) * f.perRPM()}
	end := min(reached+f.cells(overshootLook), f.cellAt(p.End))
	highest := 0.0
	settled := reached
	for k := reached; k < end; k++ {
		highest = math.Max(highest, side*(f.smooth[k]-level))
		if math.Abs(f.smooth[k]-level) > tolerance {
			settled = k + 1
		}
	}
	a.SettleTime = float64(settled-reached) * f.length
	if over := highest / math.Abs(level-from); over > overshootLeast && highest > 3*f.noiseOf(p) {
		a.Overshoot = over
	}
	return a
}

// noiseOf is how much the smoothed speed of a point scatters, rad/s.
func (f *steadyFinder) noiseOf(p *SteadyPoint) float64 {
	return spread(f.smooth[f.cellAt(p.Start):f.cellAt(p.End)])
}

// origin returns the cell at which a change to level began: the farthest from the
// level since the point before, or within the time that is looked at. A brake that lets
// go for a step upwards is still at it.
func (f *steadyFinder) origin(found int, level float64) int {
	first := max(found-f.cells(arrivalLook), 0) // a NaN there is never the farthest
	for i := range f.out.Points {
		if end := f.cellAt(f.out.Points[i].End); end < found {
			first = max(first, end-1)
		}
	}
	farthest := found
	for k := found; k >= first; k-- {
		if math.Abs(f.smooth[k]-level) > math.Abs(f.smooth[farthest]-level) {
			farthest = k
		}
	}
	return farthest
}

// cellAt returns the cell that holds a moment.
func (f *steadyFinder) cellAt(t float64) int {
	return min(max(int((t-f.first)/f.length+1e-9), 0), len(f.speed)-1)
}

// hunting looks for an oscillation of the speed: the highest peak of the
// periodogram of the cells' means, a straight line taken off. Its chance without an
// oscillation is Fisher's, m·(1 − g)^(m−1) with g the peak's part of the sum of m
// ordinates; since a controlled speed is not white, an amplitude is asked for too.
//
// Source: R. A. Fisher, Tests of significance in harmonic analysis, Proceedings of
// the Royal Society A 125 (1929) 54–59; the first term of its series, from memory.
func (f *steadyFinder) hunting(p *SteadyPoint) Hunting {
	v := append([]float64(nil), f.speed[f.cellAt(p.Start):f.cellAt(p.End)]...)
	n := len(v)
	if n < 24 {
		return Hunting{P: 1}
	}
	middle, slope, level := float64(n-1)/2, cellSlope(v), mean(v)
	for k := range v {
		v[k] -= level + slope*(float64(k)-middle)
	}
	spectrum := fourier.NewFFT(n).Coefficients(nil, v)
	sum, highest, at := 0.0, 0.0, 0
	first, last := 2, (n-1)/2 // one period over the whole point is a trend
	for k := first; k <= last; k++ {
		power := real(spectrum[k])*real(spectrum[k]) + imag(spectrum[k])*imag(spectrum[k])
		sum += power
		if power > highest {
			highest, at = power, k
		}
	}
	count := float64(last - first + 1)
	if !(sum > 0) {
		return Hunting{P: 1}
	}
	g := highest / sum
	h := Hunting{P: math.Min(1, count*math.Pow(1-g, count-1)), Period: float64(n) * f.length / float64(at)}
	h.Amplitude = 2 * math.Sqrt(highest) / float64(n) * f.perRPM()
	h.Found = h.P < huntingP && h.Amplitude > huntingLimit*p.EngineRPM
	return h
}

// command returns the brake's command, or nil.
func (f *steadyFinder) command() []float64 {
	v := f.r.log.Channel(signal.BrakeCommand)
	if len(v) != len(f.r.log.Time) {
		return nil
	}
	return v
}

// fade compares what the brake gave for its command in the last third of a point
// with the first.
func (f *steadyFinder) fade(p *SteadyPoint) Fade {
	third := (p.End - p.Start) / fadeParts
	a, aSE, ok := f.perCommand(p.Start, p.Start+third)
	b, bSE, ok2 := f.perCommand(p.End-third, p.End)
	if !ok || !ok2 {
		return Fade{}
	}
	return Fade{Known: true, Change: b/a - 1, SE: b / a * math.Hypot(aSE/a, bSE/b), From: p.Start + third/2, To: p.End - third/2, RPM: p.EngineRPM}
}

// fades compares every point with the first of the same speed.
func (f *steadyFinder) fades() {
	f.out.Control.HasCommand = f.command() != nil
	points := f.out.Points
	for i := range points {
		for j := range i {
			if math.Abs(points[i].DrumSpeed-points[j].DrumSpeed) > f.tolerance(points[j].DrumSpeed) {
				continue
			}
			a, aSE, ok := f.perCommand(points[j].Start, points[j].End)
			b, bSE, ok2 := f.perCommand(points[i].Start, points[i].End)
			if ok && ok2 {
				f.out.Control.Fades = append(f.out.Control.Fades, Fade{Known: true, Change: b/a - 1, SE: b / a * math.Hypot(aSE/a, bSE/b),
					From: (points[j].Start + points[j].End) / 2, To: (points[i].Start + points[i].End) / 2, RPM: points[i].EngineRPM})
			}
			break
		}
	}
}

// perCommand returns the brake torque a command between two moments, with its
// standard error: the mean over cells of the ratio of both.
func (f *steadyFinder) perCommand(from, to float64) (ratio, se float64, ok bool) {
	command := f.command()
	if command == nil {
		return 0, 0, false
	}
	d := &f.r.drum
	lo, hi := within(d.time, from, to)
	n := f.cellAt(to) - f.cellAt(from)
	if n < 2 {
		return 0, 0, false
	}
	torque, asked := make([]float64, n), make([]float64, n)
	for i := lo; i < hi; i++ {
		if k := int((d.time[i] - from) / f.length); k >= 0 && k < n && command[d.row(i)]-command[d.row(i)] == 0 {
			torque[k] += f.r.brake[i]
			asked[k] += command[d.row(i)]
		}
	}
	ratios := make([]float64, 0, n)
	for k := range torque {
		if asked[k] > commandFraction {
			ratios = append(ratios, torque[k]/asked[k])
		}
	}
	m := signal.MeanOf(ratios)
	return m.Value, m.StandardError, m.Value > 0 && m.StandardError-m.StandardError == 0
}
