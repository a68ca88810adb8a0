package compare

import (
	"crypto/sha256"
	"fmt"
	"math"
	"slices"

	"fairpull/curve"
)

// estimate is one candidate's gain at every column with its variance.
type estimate struct {
	candidate  int
	w          []float64 // contrast of block means
	gain, base []float64 // ln; base is the baseline's level at the mean time

	intervals bool
	scatter   []variance // of w: what the pulls show
	terms     [][]term   // what is added
	v, df     []float64  // both together
}

// estimate works out the contrast of one candidate.
func (a *analysis) estimate(candidate int) *estimate {
	e := &estimate{candidate: candidate, w: a.design.contrast(candidate), intervals: a.noise.intervals()}
	e.gain = weighted(e.w, a.means)
	e.base = weighted(a.design.level(0), a.means)
	for i, m := range []Metric{PeakTorque, PeakPower} {
		if !a.peaks[0][i].edge {
			e.base[a.column(m)] -= a.bias[0][i]
			e.gain[a.column(m)] += a.bias[0][i]
		}
		if !a.peaks[candidate][i].edge {
			e.gain[a.column(m)] -= a.bias[candidate][i]
		}
	}
	if !e.intervals {
		return e
	}
	e.scatter = a.noise.variances(e.w)
	e.terms = a.terms(candidate, e.w)
	e.v, e.df = make([]float64, len(e.gain)), make([]float64, len(e.gain))
	for k, v := range e.scatter {
		e.v[k], e.df[k] = v.with(e.terms[k], a.limits)
	}
	return e
}

// parts returns the variance of a column by origin; nil without intervals.
func (e *estimate) parts(column int) map[string]float64 {
	if !e.intervals {
		return nil
	}
	v := e.scatter[column]
	out := map[string]float64{
		PartSetup: v.setup, PartBlock: v.block, PartPull: v.pull,
		PartDrift: 0, PartWeather: 0, PartLoss: 0,
	}
	for _, t := range e.terms[column] {
		out[t.part] += t.square
	}
	return out
}

// figure returns one scalar figure of the estimate.
func (a *analysis) figure(e *estimate, m Metric) Figure {
	nan := math.NaN()
	f := Figure{BaselineLevel: nan, CandidateLevel: nan, Gain: nan, SE: nan, DF: nan, Lo: nan, Hi: nan, AtLeast: nan, AtMost: nan}
	if m == Band && !a.grid.hasBand {
		f.Missing = "a used pull does not cover the whole riding band"
		return f
	}
	if m != Band && a.in.NoPeaks != "" {
		f.Missing = a.in.NoPeaks
		return f
	}
	k := a.column(m)
	f.BaselineLevel, f.CandidateLevel = math.Exp(e.base[k]), math.Exp(e.base[k]+e.gain[k])
	if m != Band {
		i := int(m - PeakTorque)
		base, cand := a.peaks[0][i], a.peaks[e.candidate][i]
		f.BaselineRPM, f.CandidateRPM = a.grid.rpm[base.node], a.grid.rpm[cand.node]
		if m == PeakPower {
			f.BaselineLevel *= curve.RadPerSecondPerRPM
			f.CandidateLevel *= curve.RadPerSecondPerRPM
		}
		if f.Missing = a.unbracketedPeak(base.edge, cand.edge, e.candidate); f.Missing != "" {
			return f
		}
	}
	a.bound(&f, e, k)
	if f.Interval {
		f.BaselineScatter, f.CandidateScatter = a.levelScatter(0, k), a.levelScatter(e.candidate, k)
	}
	return f
}

// bound fills in the gain of a column with its interval, where there is one.
func (a *analysis) bound(f *Figure, e *estimate, k int) {
	f.Gain = e.gain[k]
	if !e.intervals {
		return
	}
	f.Interval, f.Origins = true, originsOf(e.parts(k))
	f.SE, f.DF = math.Sqrt(e.v[k]), e.df[k]
	b := a.limits.bounds(f.Gain, e.v[k], e.df[k])
	f.Lo, f.Hi, f.AtLeast, f.AtMost = b.lo, b.hi, b.atLeast, b.atMost
}

// unbracketedPeak says which sides are highest at the edge of the shared range;
// empty: neither.
func (a *analysis) unbracketedPeak(base, cand bool, candidate int) string {
	name := a.in.Candidates[candidate-1]
	switch {
	case base && cand:
		return fmt.Sprintf("peak not bracketed: %s and %s are highest at the edge of the shared range", a.in.Baseline, name)
	case base:
		return fmt.Sprintf("peak not bracketed: %s is highest at the edge of the shared range", a.in.Baseline)
	case cand:
		return fmt.Sprintf("peak not bracketed: %s is highest at the edge of the shared range", name)
	}
	return ""
}

// nodes returns the comparison node by node, without whole-band limits.
func (a *analysis) nodes(e *estimate) []Node {
	nan := math.NaN()
	nodes := make([]Node, len(a.grid.rpm))
	var base, cand []variance
	if e.intervals {
		base, cand = a.noise.variances(a.design.level(0)), a.noise.variances(a.design.level(e.candidate))
	}
	for i := range nodes {
		n := &nodes[i]
		*n = Node{
			RPM: a.grid.rpm[i], Gain: e.gain[i],
			Baseline: math.Exp(e.base[i]), Candidate: math.Exp(e.base[i] + e.gain[i]),
			SE: nan, DF: nan, Lo: nan, Hi: nan, AtLeast: nan, BandLo: nan, BandHi: nan, BandAtLeast: nan,
			BaselineHalf: nan, CandidateHalf: nan,
		}
		if !e.intervals {
			continue
		}
		n.Interval = true
		n.SE, n.DF = math.Sqrt(e.v[i]), e.df[i]
		b := a.limits.bounds(n.Gain, e.v[i], e.df[i])
		n.Lo, n.Hi, n.AtLeast = b.lo, b.hi, b.atLeast
		n.BaselineHalf = a.limits.twoSided(base[i].df) * math.Sqrt(base[i].v)
		n.CandidateHalf = a.limits.twoSided(cand[i].df) * math.Sqrt(cand[i].v)
	}
	return nodes
}

// wholeBand fills in the limits that hold for the whole riding band at once, and
// the bound that holds at every speed of it.
func (a *analysis) wholeBand(e *estimate, c *Comparison) {
	c.WholeBandFactor, c.WholeBandDF = math.NaN(), math.NaN()
	if !e.intervals || !a.grid.hasBand {
		return
	}
	nodes := c.Curve[a.grid.lo:a.grid.hi]
	df := median(e.df[a.grid.lo:a.grid.hi])
	digest := sha256.Sum256(append(a.digest[:], c.Candidate...))
	f := a.noise.curve(e.w, a.grid).restricted(a.grid.lo, a.grid.hi)
	both, lower := f.wholeBand(digest, df, a.grid.scale, a.in.Confidence, a.drawn)
	c.WholeBandFactor, c.WholeBandDF = both, df
	c.AtLeastEverywhere = math.Inf(1)
	for i := range nodes {
		n := &nodes[i]
		// The factors are those of the median degrees of freedom; a node with fewer or
		// more has them stretched as its own t stretches.
		unit := a.limits.twoSided(n.DF) / a.limits.twoSided(df) * n.SE
		n.BandLo, n.BandHi = n.Gain-both*unit, n.Gain+both*unit
		n.BandAtLeast = n.Gain - lower*unit
		c.AtLeastEverywhere = min(c.AtLeastEverywhere, n.AtLeast)
	}
}

// median returns the middle value, or the mean of the two.
func median(values []float64) float64 {
	v := slices.Clone(values)
	return quantileOf(v, 0.5)
}

// blocksOf lists the blocks with their weights in the contrast.
func (a *analysis) blocksOf(e *estimate) []Block {
	names := append([]string{a.in.Baseline}, a.in.Candidates...)
	out := make([]Block, len(a.blocks))
	for i, b := range a.blocks {
		out[i] = Block{
			Configuration: names[b.configuration], Setup: b.pulls[0].Setup,
			Hours: b.mean(func(p *Pull) float64 { return p.Hours }), Weight: e.w[i],
			BandMean: math.NaN(), PullSD: math.NaN(),
		}
		for _, p := range b.pulls {
			out[i].Pulls = append(out[i].Pulls, p.Name)
		}
		if a.grid.hasBand {
			out[i].BandMean = a.means[i][a.column(Band)]
			out[i].PullSD = blockSpread(a.rows[i], a.column(Band))
		}
	}
	return out
}

// scatterOf tells the noise that the interval rests on, at the reference column.
func (a *analysis) scatterOf(e *estimate) Scatter {
	n, k := a.noise, a.referenceColumn()
	nan := math.NaN()
	s := Scatter{
		PullSD: nan, SetupSD: nan, BlockSD: nan, Source: n.source,
		SetupKnown: n.setupKnown, BlockKnown: n.blockKnown,
		HistoryP: n.historyP, CampaignAlone: n.standing,
	}
	if n.layout == mixed && !n.setupNeeded(e.w) && !n.setup.known() {
		s.Source, s.SetupKnown = Cancelled, true
	}
	if n.intervals() {
		s.PullSD, s.PullDF = math.Sqrt(n.pull.q[k]), n.pull.df
	}
	s.BlockSD, s.BlockDF = n.component(k, n.block, n.ownBlock, 0)
	s.SetupSD, s.SetupDF = n.component(k, n.setup, n.ownSetup, square(orZero(s.BlockSD)))
	return s
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// component returns the SD of one level at a column, free of pull scatter and of
// the variance less, and its degrees of freedom; NaN and 0 where it is not known.
// own is the campaign's own part where that was found larger than history: then
// the larger of the two is returned.
func (n *noise) component(column int, l, own level, less float64) (sd, df float64) {
	if !l.known() || !n.intervals() && l.pullShare() > 0 {
		return math.NaN(), 0
	}
	of := func(l level) float64 {
		return max(0, l.at(column)-l.pullShare()*n.pull.q[column]-less)
	}
	v, df := of(l), l.df()
	if own.known() && of(own) > v {
		v, df = of(own), own.df()
	}
	return math.Sqrt(v), df
}
