package compare

import (
	"math"
	"slices"
)

// Judge sets Verdict, Reasons and SmallerThanInterest from the primary figure's
// one-sided bounds L and U at the confidence, and from the doubts.
//
// A reason withholds the verdict, whatever the bounds. Without one: L > 0 is a
// gain shown, U < 0 a loss shown, −X < L and U < X no difference of interest
// (X, the smallest gain of interest; never without X), else not enough evidence.
//
// Where the coast-downs are flagged, each of these has to hold for the figure less
// the coast-down share as well, at either end of the share: else the verdict is
// withheld. SmallerThanInterest is then set only where it holds for both.
// It may be called again with other doubts.
func (c *Comparison) Judge(d Doubts) {
	c.Verdict, c.SmallerThanInterest = NotEnoughEvidence, false
	c.Reasons = c.reasons(d)
	if len(c.Reasons) > 0 {
		return
	}
	c.Verdict = c.shown(0, 0)
	if c.Verdict == GainShown || c.Verdict == LossShown {
		lo, hi := d.share()
		c.SmallerThanInterest = c.within(0, 0) && c.within(lo, hi)
	}
}

// share returns the ends of the share that a verdict has to stand beyond.
func (d Doubts) share() (lo, hi float64) {
	if !d.CoastFlagged {
		return 0, 0
	}
	return d.CoastShareLo, d.CoastShareHi
}

// shown returns the verdict of the primary figure's bounds less a share of lo to hi,
// a fraction.
func (c *Comparison) shown(lo, hi float64) Verdict {
	lower, upper := c.less(lo, hi)
	switch {
	case lower > 0:
		return GainShown
	case upper < 0:
		return LossShown
	case c.within(lo, hi):
		return NoDifference
	}
	return NotEnoughEvidence
}

// within reports whether the primary figure's bounds less a share of lo to hi are
// inside the smallest gain of interest, either way.
func (c *Comparison) within(lo, hi float64) bool {
	lower, upper := c.less(lo, hi)
	return c.SmallestGain > 0 && -c.SmallestGain < lower && upper < c.SmallestGain
}

// less returns the primary figure's one-sided bounds less a share of lo to hi, as
// fractions: the lower bound less all of it, the upper less the least of it.
func (c *Comparison) less(lo, hi float64) (lower, upper float64) {
	f := c.Figure(c.Primary)
	return math.Expm1(f.AtLeast) - hi, math.Expm1(f.AtMost) - lo
}

// withinShare reports whether what the bounds alone would show does not hold beyond
// the coast-down share; a share that is no number holds nothing.
func (c *Comparison) withinShare(d Doubts) bool {
	bare := c.shown(0, 0)
	if !d.CoastFlagged || bare == NotEnoughEvidence {
		return false
	}
	lo, hi := d.share()
	if bare == NoDifference {
		return !c.within(lo, hi)
	}
	return c.shown(lo, hi) != bare
}

// reasons lists why a verdict is withheld, none when it is not.
func (c *Comparison) reasons(d Doubts) []Reason {
	f := c.Figure(c.Primary)
	var out []Reason
	when := func(yes bool, r Reason) {
		if yes {
			out = append(out, r)
		}
	}
	figure := f.Missing == ""
	when(!figure, NoPrimary)
	when(figure && !f.Interval, PullScatterUnknown)
	when(!c.Scatter.SetupKnown, SetupScatterUnknown)
	when(!c.Scatter.BlockKnown, BlockScatterUnknown)
	when(!c.DriftBounded, DriftNotBounded)
	when(c.Drift.Gate, DriftGate)
	when(c.unusualOpen(d.Answered), UnusualOpen)
	when(d.OpenFail, OpenCheck)
	when(d.PlanChanged, PlanChanged)
	when(d.PlanUnfinished, PlanUnfinished)
	when(figure && f.Interval && c.withinShare(d), CoastDown)
	return out
}

// unusualOpen reports whether a flagged pull, or a pull of a flagged block, has not
// been answered in writing.
func (c *Comparison) unusualOpen(answered []string) bool {
	for _, u := range c.Unusual {
		pulls := []string{u.Pull}
		if u.Pull == "" {
			pulls = c.Blocks[u.Block].Pulls
		}
		for _, p := range pulls {
			if !slices.Contains(answered, p) {
				return true
			}
		}
	}
	return false
}
