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
// It may be called again with other doubts.
func (c *Comparison) Judge(d Doubts) {
	c.Verdict, c.SmallerThanInterest = NotEnoughEvidence, false
	c.Reasons = c.reasons(d)
	f := c.Figure(c.Primary)
	if len(c.Reasons) > 0 {
		return
	}
	lower, upper := math.Expm1(f.AtLeast), math.Expm1(f.AtMost)
	within := c.SmallestGain > 0 && -c.SmallestGain < lower && upper < c.SmallestGain
	switch {
	case lower > 0:
		c.Verdict, c.SmallerThanInterest = GainShown, within
	case upper < 0:
		c.Verdict, c.SmallerThanInterest = LossShown, within
	case within:
		c.Verdict = NoDifference
	}
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
	if figure && f.Interval {
		lower := math.Expm1(f.AtLeast)
		when(d.CoastFlagged && lower > 0 && !(lower > d.CoastShareHi), CoastDown)
	}
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
