package compare

import "math"

// tippingDF is the degrees of freedom at which an unknown scatter is tried.
const tippingDF = 5

// tipping returns the SD of the unknown scatter, at tippingDF degrees of freedom,
// above which the primary gain (or loss) would no longer be shown; NaN where
// scatter is known, or nothing would be shown even without any: its one-sided bound
// would not clear zero, or drift forbids it.
func (a *analysis) tipping(e *estimate, c *Comparison) float64 {
	f := c.Figure(c.Primary)
	if c.Scatter.SetupKnown && c.Scatter.BlockKnown || !e.intervals || f.Missing != "" ||
		!c.DriftBounded || c.Drift.Gate {
		return math.NaN()
	}
	n, k := a.noise, a.primaryColumn()
	setup, block := n.setup, n.block
	most := a.design.multipliers(e.w)
	multiplier := most.block
	if !c.Scatter.SetupKnown {
		setup, multiplier = level{}, most.setup
	} else {
		block = level{}
	}
	base := n.varianceAt(k, n.met(e.w, setup, block), setup, block)
	bound := func(sd float64) float64 {
		v, df := base.with(append([]term{{"", multiplier * sd * sd, tippingDF}}, e.terms[k]...))
		return math.Abs(f.Gain) - a.limits.oneSided(df)*math.Sqrt(v)
	}
	if !(bound(0) > 0) {
		return math.NaN()
	}
	low, high := 0.0, 1e-4
	for bound(high) > 0 {
		low, high = high, 2*high
	}
	for range 50 {
		if middle := (low + high) / 2; bound(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// plan is a campaign that has not been made: evenly spaced blocks, each in its own
// setup (or, with between the block variance, all in one), with the scatter and
// the history to be expected.
type plan struct {
	order   []int // configuration of each block, 0 the baseline
	spacing float64
	pulls   float64 // in each block

	between, pull           float64 // variances
	historyDF, historyShare float64 // of between: degrees of freedom, share of pull variance
	pullHistoryDF           float64
	rateSquare              float64 // of the drift to be expected, 1/h²; it is allowed for unless linear
	linear                  bool
	fixed                   []term // weather and loss placement: no number of blocks makes them smaller
}

// design returns the linear model of the plan.
func (p plan) design() *design {
	d := &design{count: make([]int, 2), centre: make([]float64, 2), setups: len(p.order)}
	for b, c := range p.order {
		d.configuration = append(d.configuration, c)
		d.setup = append(d.setup, b)
		d.hours = append(d.hours, float64(b)*p.spacing)
		d.invPulls = append(d.invPulls, 1/p.pulls)
	}
	d.fitTimes()
	return d
}

// scatter returns the variance to be expected of the contrast w of the plan and its
// degrees of freedom, from expected mean squares; both are 0 where nothing would
// be known of between.
func (p plan) scatter(d *design, w []float64) (v, df float64) {
	a := d.multipliers(w)
	own := float64(d.df)
	n := p.historyDF + own
	if n == 0 {
		return 0, 0
	}
	history, campaign := p.between+p.historyShare*p.pull, p.between+p.pull/p.pulls
	share := (p.historyDF*p.historyShare + own/p.pulls) / n
	c1, c2, c3 := a.setup*p.historyDF/n, a.setup*own/n, a.pull-a.setup*share
	v = c1*history + c2*campaign + c3*p.pull
	var below float64
	if c3 != 0 {
		below = square(c3*p.pull) / (float64(len(p.order))*(p.pulls-1) + p.pullHistoryDF)
	}
	if p.historyDF > 0 {
		below += square(c1*history) / p.historyDF
	}
	if own > 0 {
		below += square(c2*campaign) / own
	}
	if below == 0 {
		return v, n
	}
	return v, v * v / below
}

// power returns the chance that the plan shows a gain (ln) at a one-sided
// confidence: 1 − F(t(df); df, gain/SE) of the noncentral t distribution.
//
// The variance has every term that a campaign's has: scatter, drift, weather and
// loss placement. It comes out a few points high when degrees of freedom are few
// (docs/method.md). It is 0 where scatter would not be known well enough for a
// verdict, or on less than one degree of freedom, or where the expected drift
// would close the gate.
func (p plan) power(gain, confidence float64) float64 {
	d := p.design()
	w := d.contrast(1)
	v, df := p.scatter(d, w)
	if p.historyDF == 0 && float64(d.df) < sufficientDF {
		return 0
	}
	added := p.fixed[:len(p.fixed):len(p.fixed)]
	if !p.linear && d.timed {
		share := maxWeightSum(w)
		slope, slopeDF := p.scatter(d, d.slope)
		if moved := d.session() * math.Sqrt(p.rateSquare); moved*share > gateShare*gain &&
			moved > tQuantile(1-shownP/2, slopeDF)*d.session()*math.Sqrt(slope) {
			return 0
		}
		allowed := square(d.session()*share) * (p.rateSquare + slope) / 3
		added = append(added, term{PartDrift, allowed, judgedDF})
	}
	v, df = variance{v: v, df: df}.with(added)
	switch {
	case v == 0:
		return 1
	case df < 1:
		return 0
	}
	return 1 - noncentralT(tQuantile(confidence, df), df, gain/math.Sqrt(v))
}

// chance is the power less what the check of campaign against history costs: it
// fires by chance in one campaign in twenty (poolingP), and hardly anything is shown
// on the campaign's own few degrees of freedom.
func (p plan) chance(gain, confidence float64) float64 {
	power := p.power(gain, confidence)
	if p.historyDF > 0 && p.design().df > 0 {
		power *= 1 - poolingP
	}
	return power
}

// settlePower is the chance that a campaign should have of showing what it is for.
const settlePower = 0.8

// setupsToSettle returns the number of blocks, alternating from the baseline on,
// that would show a gain of the smallest gain of interest with settlePower, given
// the scatter, drift, weather and loss placement of this campaign; 0 where that
// cannot be said, or MaxSettle blocks would not do.
func (a *analysis) setupsToSettle(e *estimate, c *Comparison) int {
	if a.in.SmallestGain == 0 || !e.intervals || !c.Scatter.SetupKnown || !c.Scatter.BlockKnown {
		return 0
	}
	n, k := a.noise, a.primaryColumn()
	p := plan{
		spacing: a.design.session() / float64(len(a.blocks)-1), pulls: a.usualPulls(),
		pull: n.pull.q[k], historyDF: n.historyDF, historyShare: n.historyShare, linear: a.in.DriftLinear,
		fixed: append(a.weatherTerm(e.w), a.placementTerm(e.candidate)...),
	}
	for _, rows := range a.rows {
		p.pullHistoryDF -= float64(len(rows) - 1)
	}
	p.pullHistoryDF += n.pull.df
	block, _ := n.component(k, n.block, n.ownBlock, 0)
	setup, _ := n.component(k, n.setup, n.ownSetup, square(orZero(block)))
	p.between = square(orZero(block)) + square(orZero(setup))
	if a.design.timed {
		v := n.variances(a.design.slope)[k]
		p.rateSquare = max(0, square(weighted(a.design.slope, a.means)[k])-v.v)
	}
	for blocks := 3; blocks <= MaxSettle; blocks++ {
		p.order = alternating(blocks)
		if p.chance(math.Log1p(a.in.SmallestGain), a.in.Confidence) >= settlePower {
			return blocks
		}
	}
	return 0
}

// usualPulls returns the median number of pulls in a block, rounded down.
func (a *analysis) usualPulls() float64 {
	var counts []float64
	for _, rows := range a.rows {
		counts = append(counts, float64(len(rows)))
	}
	return math.Floor(median(counts))
}

// alternating returns an order of blocks that begins with the baseline.
func alternating(blocks int) []int {
	order := make([]int, blocks)
	for b := range order {
		order[b] = b % 2
	}
	return order
}
