package reduce

import (
	"math"
	"slices"

	"fairpull/drum"
	"fairpull/signal"
)

// node is one engine speed of the grid, fitted.
type node struct {
	rpm        float64 // asked for, 1/min
	engine     float64 // the same, rad/s
	engineRate float64 // its rate, rad/s²
	time       float64 // when it was passed, s
	half       float64 // half-width of the window, s
	from, to   int     // samples in the window

	omega, alpha, jerk float64 // drum, rad/s, rad/s², rad/s³
	torque             float64 // at the drum, N·m
	torqueRate         float64 // N·m/s
	standardError      float64 // of the torque referred to the engine, N·m
	slopeError         float64 // its part from the drum torque
	speedError         float64 // its part from the moment at which the node was passed

	drum, engineFit      signal.Fit
	brake                *signal.Fit // nil: no brake
	engineFrom, engineTo int         // engine samples in its window; none: from the ratio
}

// reach is how far, in half-widths, a node may turn out to lie from the middle of
// the window it was fitted in before the window is moved.
const reach = 0.1

// fitNodes fits every node whose window lies within the pull.
func (w *worker) fitNodes() {
	w.nodes = w.nodes[:0]
	k := 0
	for _, rpm := range w.s.NodesRPM {
		w.nodes = append(w.nodes, node{rpm: rpm, engine: rpm * math.Pi / 30})
		n := &w.nodes[len(w.nodes)-1]
		var guess, rate float64
		k, guess, rate = w.bins.passing(n.engine, k)
		if !w.fitNode(n, guess, rate) {
			w.nodes = w.nodes[:len(w.nodes)-1]
		}
	}
}

// fitNode fits one node, starting from a guess of when it is passed and of the
// engine's rate in rad/s². It reports false where the window does not lie within
// the pull or the samples do not carry the fit.
func (w *worker) fitNode(n *node, guess, rate float64) bool {
	if !(rate > 0) {
		return false
	}
	n.time = guess
	n.half = math.Max(w.s.HalfWidthRPM*math.Pi/30/rate, w.r.drum.interval)
	for range 6 {
		if !w.takeWindow(n) {
			return false
		}
		if n.drum.Over(w.time[n.from:n.to], w.value[n.from:n.to], n.time, n.half, w.r.degree) != nil {
			return false
		}
		centre := n.time
		speed, slope := w.engineAt(n)
		if !(slope > 0) {
			return false
		}
		n.engineRate = slope
		n.time += (n.engine - speed) / slope
		if math.Abs(n.time-centre) > reach*n.half {
			continue
		}
		if n.time-n.half < w.ph.Start || n.time+n.half > w.ph.End {
			return false
		}
		return w.balance(n)
	}
	return false
}

// takeWindow sets the samples of the node's window, widened where it holds fewer
// than degree + 5. It reports false where the window leaves the pull by more than
// the node can still move.
func (w *worker) takeWindow(n *node) bool {
	for {
		slack := reach * n.half
		if !(n.time-n.half >= w.ph.Start-slack && n.time+n.half <= w.ph.End+slack) {
			return false
		}
		n.from, n.to = within(w.time, n.time-n.half, n.time+n.half)
		if n.to-n.from >= w.r.degree+5 {
			return true
		}
		n.half *= 1.1
	}
}

// engineAt returns the engine's speed in rad/s and its rate at the middle of the
// window, from the engine's own samples there, or from the drum and the median
// ratio where they do not reach across the window. Where they are sparser than
// the drum's, their window is widened to degree + 5 samples.
func (w *worker) engineAt(n *node) (speed, slope float64) {
	order := w.r.order - 1 // of the derivative that is a speed
	from, to := n.from, n.to
	if !w.shared {
		from, to = w.engineWindow(n)
	}
	n.engineFrom, n.engineTo = from, to
	if to > from {
		var err error
		t, y := w.engineTime[from:to], w.engineValue[from:to]
		if w.shared {
			err = n.engineFit.Again(&n.drum, t, y)
		} else {
			err = n.engineFit.Over(t, y, n.time, n.half, w.r.degree)
		}
		if err == nil {
			return n.engineFit.At(order, n.time), n.engineFit.At(order+1, n.time)
		}
	}
	n.engineFrom, n.engineTo = 0, 0
	return w.ratio * n.drum.At(order, n.time), w.ratio * n.drum.At(order+1, n.time)
}

// engineWindow returns the engine samples of a node's window, or none where they
// do not reach to both sides of its middle.
func (w *worker) engineWindow(n *node) (from, to int) {
	t := w.engineTime
	for half := n.half; half <= 3*n.half; half *= 1.2 {
		from, to = within(t, n.time-half, n.time+half)
		if to-from < w.r.degree+5 {
			continue
		}
		if t[from] > n.time-half/2 || t[to-1] < n.time+half/2 {
			return 0, 0
		}
		return from, to
	}
	return 0, 0
}

// balance works out the drum torque at the node and its rate.
func (w *worker) balance(n *node) bool {
	order := w.r.order
	n.omega = n.drum.At(order-1, n.time)
	n.alpha = n.drum.At(order, n.time)
	n.jerk = n.drum.At(order+1, n.time)
	brake, brakeRate := 0.0, 0.0
	if w.brake != nil {
		n.brake = new(signal.Fit)
		if n.brake.Over(w.time[n.from:n.to], w.brake[n.from:n.to], n.drum.Centre, n.half, 3) != nil {
			return false
		}
		brake, brakeRate = n.brake.At(0, n.time), n.brake.At(1, n.time)
	}
	p := &w.s.Parasitic
	n.torque = drum.Torque(w.s.Inertia, n.alpha, brake, *p, n.omega)
	n.torqueRate = w.s.Inertia*n.jerk + brakeRate + (p[1]+2*p[2]*n.omega)*n.alpha
	return n.omega > 0 && !math.IsNaN(n.torque) && !math.IsInf(n.torque, 0)
}

// stateErrors works out every node's standard error, and drops the nodes of a log
// so wild that there is none.
func (w *worker) stateErrors() {
	for i := range w.nodes {
		w.nodes[i].standardError = w.standardError(i)
	}
	w.nodes = slices.DeleteFunc(w.nodes, func(n node) bool { return math.IsNaN(n.standardError) || math.IsInf(n.standardError, 0) })
}

// standardError returns the standard uncertainty in N·m of node i's torque
// referred to the engine, from the log alone: that of the drum torque, and that
// of the moment at which the node was passed.
//
//	u(τ)/τ = hypot(u(M)/M, d ln P/dω_e · u(ω_e)),  u(M) = hypot(I·u(α), u(brake))
//
// M is the drum torque. Where the engine's speed is the drum's times a ratio, the
// drum speed of the node is given and M takes the place of the power P.
func (w *worker) standardError(i int) float64 {
	n := &w.nodes[i]
	order := w.r.order
	s2 := w.pooledVariance(i, func(n *node) (*signal.Fit, float64) { return &n.drum, n.omega }, w.noise)
	uTorque := w.s.Inertia * math.Sqrt(w.variance(&n.drum, order, n.time, w.time[n.from:n.to], s2, w.noise))
	if w.brake != nil {
		b2 := n.brake.ResidualSS / float64(n.brake.Freedom())
		uTorque = math.Hypot(uTorque, math.Sqrt(b2*n.brake.UnitVariance(0, n.time)))
	}
	perDrum := n.omega / n.engine
	rate := n.torqueRate * perDrum
	uTime := 0.0
	if n.engineTo > n.engineFrom {
		e2 := w.pooledVariance(i, func(n *node) (*signal.Fit, float64) { return &n.engineFit, n.engine }, w.engineNoise)
		v := w.variance(&n.engineFit, order-1, n.time, w.engineTime[n.engineFrom:n.engineTo], e2, w.engineNoise)
		uTime = math.Sqrt(v) / n.engineRate
		rate += n.torque * n.alpha / n.engine
	} else {
		v := w.variance(&n.drum, order-1, n.time, w.time[n.from:n.to], s2, w.noise)
		uTime = math.Sqrt(v) * w.ratio / n.engineRate
	}
	n.slopeError, n.speedError = perDrum*uTorque, math.Abs(rate*uTime)
	return math.Hypot(n.slopeError, n.speedError)
}

// variance returns the variance of a fit's derivative of the given order at time
// t, the samples at times having errors of variance s2 that hang together as
// noise says.
func (w *worker) variance(f *signal.Fit, order int, t float64, times []float64, s2 float64, noise signal.Noise) float64 {
	if noise.White(s2) {
		return s2 * f.UnitVariance(order, t)
	}
	weights, fitted := make([]float64, len(times)), make([]float64, len(times))
	f.Weights(order, t, times, weights)
	f.Values(times, fitted)
	return noise.Variance(weights, fitted, s2)
}

// pooledSamples is how many samples the estimate of a variance rests on at least,
// where the pull has them.
const pooledSamples = 40

// pooledVariance returns the variance of one sample around node i, from the
// residuals of its fit and of as many on both sides as make up pooledSamples. of
// returns a node's fit and its shaft's speed: the angle of a pulse is as uncertain
// as its moment times that speed, so pulses are pooled in time.
func (w *worker) pooledVariance(i int, of func(*node) (*signal.Fit, float64), noise signal.Noise) float64 {
	inflation := noise.Inflation()
	scale := func(speed float64) float64 {
		if w.r.log.Kind == signal.Pulses {
			return speed * speed
		}
		return 1
	}
	ss, freedom := 0.0, 0.0
	add := func(n *node) {
		f, speed := of(n)
		if parameters := f.Degree + 1; f.Count > parameters {
			ss += f.ResidualSS / scale(speed)
			freedom += math.Max(1, float64(f.Count)-float64(parameters)*inflation)
		}
	}
	lo, hi := i, i
	add(&w.nodes[i])
	for w.nodes[hi].to-w.nodes[lo].from < pooledSamples && (lo > 0 || hi < len(w.nodes)-1) {
		if lo > 0 {
			lo--
			add(&w.nodes[lo])
		}
		if hi < len(w.nodes)-1 {
			hi++
			add(&w.nodes[hi])
		}
	}
	if freedom == 0 {
		return 0
	}
	_, speed := of(&w.nodes[i])
	return ss / freedom * scale(speed)
}
