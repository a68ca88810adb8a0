package scatter

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// FreezeAt is the number of good checks that centre and spread are learned from; what
// comes after is held against them.
const FreezeAt = 25

// maxChecks bounds a chart: a check every day for half a century.
const maxChecks = 20_000

// KnownSD is a standard deviation known beforehand, with its degrees of freedom; a
// zero DF means that nothing is known.
type KnownSD struct{ SD, DF float64 }

// Signal is what a rule found.
type Signal string

// The signals.
const (
	SignalEWMA   Signal = "EWMA"
	SignalCUSUM  Signal = "CUSUM"
	SignalSingle Signal = "single"
)

// ChartPoint is one check on the chart.
type ChartPoint struct {
	Value float64
	// Judged is false while the chart has too little to judge by; the figures below
	// are then NaN, and no signal can be given.
	Judged bool
	// Centre and SD are what the value was held against, from the checks before.
	Centre, SD float64
	// Q is the check in standard normal terms; EWMA and the two sums follow from it.
	Q, EWMA, Up, Down float64
	Signals           []Signal
}

// Good reports whether the check was judged and found nothing.
func (p ChartPoint) Good() bool { return p.Judged && len(p.Signals) == 0 }

// Chart is a control chart with its constants and what they mean.
type Chart struct {
	Rules  Rules
	Points []ChartPoint
	// Centre and SD are those that the next check will be held against, and DF the
	// degrees of freedom behind SD; NaN while there is too little.
	Centre, SD, DF float64
	Learned        int  // good checks behind them
	Frozen         bool // enough: they move no more
}

// Control puts checks, in order of time, on a control chart that starts itself.
//
// Each check is turned into a number that is standard normal while nothing changes,
// whatever centre and spread are, by the checks before it:
//
//	Q = Φ⁻¹( F_t(ν)( (x − mean)/(s·√(1 + 1/n)) ) )
//
// with the mean of the n good checks before, s their SD pooled with the one known beforehand,
// on ν = n − 1 + its degrees of freedom. Such numbers are independent, so the rules
// have the run lengths that they have for known centre and spread. A real shift is
// found later than with both known, all the later the fewer checks there are: with
// plug-in limits from few checks it would be found sooner and false alarms would be
// many times what they are meant to be (docs/method.md, section 12).
//
// A check that signals is not learned from, and from FreezeAt good ones on nothing
// is: the centre would follow the rig. After a signal EWMA and sums go on from their
// limits, so that the signal ends with the shift. To start anew after a known change,
// hand over the checks from there on.
//
// Source: [Quesenberry1991], from memory; the SD known beforehand is a plain extension:
// an independent mean square with its own degrees of freedom.
func Control(values []float64, prior KnownSD, rules Rules) (*Chart, error) {
	return control(values, prior, rules, FreezeAt)
}

// control is Control that learns from the given number of good checks.
func control(values []float64, prior KnownSD, rules Rules, freezeAt int) (*Chart, error) {
	if err := rules.Validate(); err != nil {
		return nil, err
	}
	if len(values) > maxChecks {
		return nil, fmt.Errorf("control chart: %d checks, at most %d", len(values), maxChecks)
	}
	if !(prior.SD >= 0 && prior.DF >= 0) || math.IsInf(prior.SD, 0) || math.IsInf(prior.DF, 0) {
		return nil, fmt.Errorf("control chart: the SD known beforehand is %v on %v degrees of freedom", prior.SD, prior.DF)
	}
	c := &Chart{Rules: rules}
	var learned []float64
	var ewma, up, down float64
	for i, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("control chart: check %d is %v", i+1, x)
		}
		c.learn(learned, prior)
		p := ChartPoint{Value: x, Centre: c.Centre, SD: c.SD, Q: math.NaN(), EWMA: math.NaN(), Up: math.NaN(), Down: math.NaN()}
		if p.Q = c.standardNormal(x); !math.IsNaN(p.Q) {
			p.Judged = true
			ewma = (1-rules.Weight)*ewma + rules.Weight*p.Q
			up, down = max(0, up+p.Q-rules.Reference), max(0, down-p.Q-rules.Reference)
			p.EWMA, p.Up, p.Down = ewma, up, down
			p.Signals = rules.signals(p)
			ewma = max(-rules.Band(), min(rules.Band(), ewma))
			up, down = min(up, rules.Decision), min(down, rules.Decision)
		}
		c.Points = append(c.Points, p)
		if len(p.Signals) == 0 && len(learned) < freezeAt {
			learned = append(learned, x)
		}
	}
	c.learn(learned, prior)
	c.Frozen = c.Learned >= freezeAt
	return c, nil
}

// learn sets centre and spread from the good checks and what is known beforehand.
func (c *Chart) learn(good []float64, prior KnownSD) {
	n := len(good)
	c.Centre, c.SD, c.DF = math.NaN(), math.NaN(), 0
	c.Learned = n
	if n == 0 {
		return
	}
	c.Centre = Mean(good)
	c.DF = float64(n-1) + prior.DF
	if c.DF > 0 {
		c.SD = math.Sqrt((prior.DF*prior.SD*prior.SD + SquaresAbout(good, c.Centre)) / c.DF)
	}
}

// farthest bounds a Q: beyond it the tail of the normal distribution has no digits.
const farthest = 8.0

// standardNormal returns x in standard normal terms; NaN where there is too little to
// hold it against. Checks that do not scatter at all are held against nothing.
func (c *Chart) standardNormal(x float64) float64 {
	if !(c.SD > 0) {
		return math.NaN()
	}
	t := (x - c.Centre) / (c.SD * math.Sqrt(1+1/float64(c.Learned)))
	tail := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: c.DF}.CDF(-math.Abs(t))
	q := farthest
	if tail > 0 {
		q = min(farthest, -distuv.UnitNormal.Quantile(tail))
	}
	return math.Copysign(q, t)
}

func (r Rules) signals(p ChartPoint) []Signal {
	var out []Signal
	if math.Abs(p.EWMA) > r.Band() {
		out = append(out, SignalEWMA)
	}
	if p.Up > r.Decision || p.Down > r.Decision {
		out = append(out, SignalCUSUM)
	}
	if math.Abs(p.Q) > r.Single {
		out = append(out, SignalSingle)
	}
	return out
}

// Doubt is a stretch of checks that signal, and the good ones on either side: what
// was measured between them rests on a rig that may have changed.
type Doubt struct {
	First, Last int // the checks that signal, by their place on the chart
	After       int // the last good check before them; −1: there is none
	Before      int // the first good check after them; −1: not yet
}

// Doubts returns the stretches of checks that signal, in order of time.
func (c *Chart) Doubts() []Doubt {
	var out []Doubt
	good := -1
	open := false
	for i, p := range c.Points {
		switch {
		case len(p.Signals) > 0 && !open:
			out = append(out, Doubt{First: i, Last: i, After: good, Before: -1})
			open = true
		case len(p.Signals) > 0:
			out[len(out)-1].Last = i
		default:
			if open {
				out[len(out)-1].Before = i
			}
			open = false
			if p.Judged {
				good = i
			}
		}
	}
	return out
}
