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
		v, df := base.with(append([]term{{"", multiplier * sd * sd, tippingDF}}, e.terms[k]...), a.limits)
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
	assumed, spacing := a.assumed(e), a.design.session()/float64(len(a.blocks)-1)
	if a.noise.layout == oneSetup { // change-overs are all that is known: the blocks to come count as such
		assumed.Setup, assumed.SetupPulls = assumed.Block, assumed.BlockPulls
	}
	for blocks := 3; blocks <= MaxSettle; blocks++ {
		p := Planned{Blocks: alternating(blocks, a.usualPulls(), spacing), Assumed: assumed, Confidence: a.in.Confidence, DriftLinear: a.in.DriftLinear}
		x, err := p.Expect(1)
		if err != nil {
			return 0
		}
		if x.Chance(a.in.SmallestGain) >= settlePower {
			return blocks
		}
	}
	return 0
}

// usualPulls returns the median number of pulls in a block, rounded down.
func (a *analysis) usualPulls() int {
	var counts []float64
	for _, rows := range a.rows {
		counts = append(counts, float64(len(rows)))
	}
	return int(median(counts))
}

// alternating returns blocks in turn from the baseline on, each its own setup, with
// hours from one to the next.
func alternating(blocks, pulls int, hours float64) []PlannedBlock {
	out := make([]PlannedBlock, blocks)
	for b := range out {
		out[b] = PlannedBlock{Configuration: b % 2, Setup: b, Pulls: pulls, Hours: float64(b) * hours}
	}
	return out
}
