package reduce

import (
	"fmt"
	"math"
	"sync"

	"fairpull/curve"
	"fairpull/drum"
	"fairpull/signal"
)

// Reduce turns the pull of a log into wheel torque over engine speed at the nodes
// of s that the log covers, with its standard errors, and the coast-down into the
// loss.
//
// s needs Inertia, NodesRPM and HalfWidthRPM; Radius too where a wheel inertia is
// stated. ph is what Find returned for the same log. A node is kept when its
// whole fitting window lies between ph.Start and ph.End. Neither log nor s is
// changed. A log reduced elsewhere goes through FromCurve.
//
// A log or settings that cannot carry a result are a *LogError; defects that
// leave one are in Findings.
func Reduce(log *signal.Log, s Settings, ph Phases) (*Result, error) {
	if log.Kind == signal.Reduced {
		return FromCurve(log, s)
	}
	if err := checkSettings(&s); err != nil {
		return nil, err
	}
	r, err := open(log, &s, ph.kept)
	if err != nil {
		return nil, err
	}
	if !(ph.End > ph.Start) || !(ph.HighRPM > ph.LowRPM) {
		return nil, &LogError{Problem: "no pull was found in the log", Cure: "Find the phases first."}
	}
	m := memories.Get().(*memory)
	w := &worker{r: r, s: &s, ph: &ph, out: &Result{Phases: ph.without()}, memory: m}
	defer memories.Put(m)
	w.takePull()
	if err := w.takeRatio(); err != nil {
		return nil, err
	}
	w.removeTurnError()
	w.fitNodes()
	w.stateErrors()
	if len(w.nodes) == 0 {
		return nil, &LogError{Line: lineOf(log, r.drum.row(min(w.first, len(r.drum.time)-1))),
			Problem: fmt.Sprintf("no node from %.0f to %.0f 1/min has its fitting window within the pull, which goes from %.0f to %.0f 1/min",
				s.NodesRPM[0], s.NodesRPM[len(s.NodesRPM)-1], ph.LowRPM, ph.HighRPM),
			Cure: "Make longer pulls, or take a narrower window."}
	}
	w.fillCurve()
	w.takeCoast()
	w.summarise()
	w.out.Findings = findings(r, ph.touches)
	return w.out, nil
}

// without returns the phases alone, so that a result holds no log.
func (p Phases) without() Phases {
	p.kept = nil
	return p
}

// checkSettings refuses settings that give no torque.
func checkSettings(s *Settings) error {
	if !(s.Inertia > 0) || math.IsInf(s.Inertia, 0) {
		return &LogError{Problem: fmt.Sprintf("the drum inertia is %g kg·m²", s.Inertia), Cure: "State drum_inertia_kgm2 of the dyno."}
	}
	if s.WheelInertia > 0 && s.WheelRadius > 0 && !(s.Radius > 0) {
		return &LogError{Problem: "a wheel inertia is stated, and the drum radius is not", Cure: "State drum_radius_m of the dyno."}
	}
	if !(s.HalfWidthRPM > 0) || math.IsInf(s.HalfWidthRPM, 0) {
		return &LogError{Problem: fmt.Sprintf("the half-width of the fitting window is %g 1/min", s.HalfWidthRPM), Cure: "Give a positive half-width."}
	}
	return checkNodes(s.NodesRPM)
}

// checkNodes refuses engine speeds that do not increase.
func checkNodes(nodes []float64) error {
	for i, n := range nodes {
		if !(n > 0) || math.IsInf(n, 0) || (i > 0 && !(n > nodes[i-1])) {
			return &LogError{Problem: fmt.Sprintf("node %d at %g 1/min does not follow those before it", i, n), Cure: "Give positive engine speeds that increase."}
		}
	}
	if len(nodes) == 0 {
		return &LogError{Problem: "no engine speeds are asked for", Cure: "Give the nodes of the grid."}
	}
	return nil
}

// worker carries one reduction.
type worker struct {
	r   *record
	s   *Settings
	ph  *Phases
	out *Result

	first, end  int       // range of drum samples in the pull
	time, value []float64 // drum samples of the pull, encoder error removed
	brake       []float64 // as long as time; nil: none

	engineTime, engineValue []float64 // engine samples of the pull; empty: none
	shared                  bool      // engine samples are at the same moments

	bins  bins
	ratio float64

	noise, engineNoise signal.Noise

	*memory
}

// memory is what is used again from one pull to the next.
type memory struct {
	scratch signal.TurnScratch
	nodes   []node
}

var memories = sync.Pool{New: func() any { return new(memory) }}

// takePull cuts the pull out of the record.
func (w *worker) takePull() {
	d, e := &w.r.drum, &w.r.engine
	w.first, w.end = within(d.time, w.ph.Start, w.ph.End)
	w.time, w.value = d.time[w.first:w.end], d.value[w.first:w.end]
	if w.r.brake != nil {
		w.brake = w.r.brake[w.first:w.end]
	}
	lo, hi := within(e.time, w.ph.Start, w.ph.End)
	if hi-lo >= w.r.degree+5 {
		w.engineTime, w.engineValue = e.time[lo:hi], e.value[lo:hi]
		w.shared = len(w.time) == len(w.engineTime) && len(w.time) > 0 && &w.time[0] == &w.engineTime[0]
	}
}

// windowTime returns the mean duration of a whole fitting window, s.
func (w *worker) windowTime() float64 {
	return (w.ph.End - w.ph.Start) * 2 * w.s.HalfWidthRPM / (w.ph.HighRPM - w.ph.LowRPM)
}

// largeTurnError is the relative amplitude from which a once-per-turn error is
// looked for again, over the angle straightened by it: it bends the angle
// that it was found over, and its square is no longer small.
const largeTurnError = 0.004

// removeTurnError finds the once-per-turn encoder error of a sampled pull and
// takes it off, and sees how the errors that remain hang together. Pulse logs had
// their tooth errors taken off when the pulses were counted.
func (w *worker) removeTurnError() {
	if w.r.log.Kind == signal.Pulses {
		w.noise = blockNoise(w.time, w.value, w.r.degree, w.windowTime(), 0)
		if w.r.teeth.Found() {
			w.out.EncoderError = w.r.teeth.Amplitude()
		}
		w.engineNoise = blockNoise(w.engineTime, w.engineValue, w.r.degree, w.windowTime(), 0)
		return
	}
	quantum := signal.Quantum(w.value)
	shown := w.value
	var bounds []int
	var e signal.TurnError
	for range 2 {
		e, bounds = signal.OncePerTurn(w.time, shown, e, w.windowTime(), &w.scratch)
		if !e.Found() {
			break
		}
		corrected := make([]float64, len(shown))
		e.Correct(shown, corrected, &w.scratch)
		w.value, w.out.EncoderError = corrected, e.Amplitude()
		if e.Amplitude() < largeTurnError {
			break
		}
	}
	var c signal.Correlogram
	first := 0
	for _, end := range bounds {
		c.Add(w.scratch.Residuals[first:end], w.r.degree+1)
		first = end
	}
	w.noise = c.Noise(quantum)
	w.engineNoise = blockNoise(w.engineTime, w.engineValue, w.r.degree, w.windowTime(), signal.Quantum(w.engineValue))
}

// blockNoise returns how the errors of a series hang together, from the residuals
// of polynomials over blocks of about the given length in s.
func blockNoise(t, y []float64, degree int, length, quantum float64) signal.Noise {
	n := len(t)
	if n < 3*(degree+5) {
		return signal.Noise{Quantum: quantum}
	}
	var c signal.Correlogram
	var f signal.Fit
	residuals := make([]float64, n)
	count := int(math.Max(1, math.Min((t[n-1]-t[0])/length, float64(n/(degree+5)))))
	first := 0
	for k := range count {
		end := searchAfter(t, t[0]+(t[n-1]-t[0])*float64(k+1)/float64(count))
		if k == count-1 {
			end = n
		}
		if end-first < degree+5 {
			continue
		}
		ts := t[first:end]
		half := (ts[len(ts)-1] - ts[0]) / 2
		if f.Over(ts, y[first:end], ts[0]+half, half, degree) == nil {
			f.Residuals(ts, y[first:end], residuals[first:end])
			c.Add(residuals[first:end], degree+1)
		}
		first = end
	}
	return c.Noise(quantum)
}

// fillCurve turns the node fits into the curve and its companions.
func (w *worker) fillCurve() {
	n := len(w.nodes)
	all := make([]float64, 10*n)
	next := func() []float64 {
		part := all[:n:n]
		all = all[n:]
		return part
	}
	out := w.out
	out.Curve = curve.Curve{SpeedRPM: next(), Torque: next(), StandardError: next()}
	out.Time, out.DrumSpeed, out.DrumTorque, out.Resolution = next(), next(), next(), next()
	out.Acceleration, out.SlopeError, out.SpeedError = next(), next(), next()
	for i := range w.nodes {
		d := &w.nodes[i]
		out.Curve.SpeedRPM[i] = d.rpm
		out.Curve.Torque[i] = d.torque * d.omega / d.engine
		out.Curve.StandardError[i] = d.standardError
		out.Time[i], out.DrumSpeed[i], out.DrumTorque[i] = d.time, d.omega, d.torque
		out.Acceleration[i], out.SlopeError[i], out.SpeedError[i] = d.alpha, d.slopeError, d.speedError
		out.Resolution[i] = signal.Resolution(w.r.degree) * d.half * d.engineRate * 30 / math.Pi
	}
}

// takeCoast fits the coast-down and the loss-compensated curve. A stretch that
// turns out to hold no coast-down leaves both nil, and the rule says so.
func (w *worker) takeCoast() {
	if !w.ph.HasCoast {
		return
	}
	d := &w.r.drum
	lo, hi := within(d.time, w.ph.CoastStart, w.ph.CoastEnd)
	c := drum.Coast{Time: d.time[lo:hi]}
	if w.r.log.Kind == signal.Sampled {
		c.Speed = d.value[lo:hi]
		c.Quantum = signal.Quantum(c.Speed)
		length := w.ph.CoastEnd - w.ph.CoastStart
		if e, _ := signal.OncePerTurn(c.Time, c.Speed, signal.TurnError{}, math.Min(length, math.Max(2, length/8)), &w.scratch); e.Found() {
			corrected := make([]float64, len(c.Speed))
			e.Correct(c.Speed, corrected, &w.scratch)
			c.Speed = corrected
		}
	} else {
		c.Angle = d.value[lo:hi]
	}
	if w.r.brake != nil {
		c.Brake = w.r.brake[lo:hi]
	}
	losses, err := c.Losses(drum.Rig{Inertia: w.s.Inertia, Parasitic: w.s.Parasitic,
		WheelInertia: drum.ReferWheelInertia(w.s.WheelInertia, w.s.WheelRadius, w.s.Radius)})
	if err != nil {
		w.out.Phases.HasCoast = false
		w.out.Phases.Rule += " It could not be used: " + err.Error() + "."
		return
	}
	w.out.Coast = losses
	w.out.Compensated = make([]float64, len(w.nodes))
	for i := range w.nodes {
		n := &w.nodes[i]
		w.out.Compensated[i] = math.NaN()
		if losses.Covers(n.omega) {
			loss, _ := losses.At(n.omega)
			w.out.Compensated[i] = (n.torque + loss) * n.omega / n.engine
		}
	}
}
