package compare

import "math"

// shownP is the p value below which a drift counts as detected: generous, because
// it costs a claim and not a campaign.
const shownP = 0.10

// gateShare is the share of the gain that a detected drift may have made before
// no claim is allowed.
const gateShare = 0.5

// drift returns the change of level over the session with its interval and what
// can be said of it, at the primary column.
func (a *analysis) drift(e *estimate) Drift {
	nan := math.NaN()
	d := Drift{
		PerHour: nan, Lo: nan, Hi: nan, Change: nan, ChangeLo: nan, ChangeHi: nan, P: nan, NoLargerThan: nan,
		MaxWeightSum: maxWeightSum(e.w), Answer: DriftUnclear,
	}
	if !a.design.timed || !e.intervals {
		return d
	}
	k := a.primaryColumn()
	v := a.noise.variances(a.design.slope)[k]
	slope, session := weighted(a.design.slope, a.means)[k], a.design.session()
	b := a.limits.bounds(slope, v.v, v.df)
	d.Known = true
	d.PerHour, d.Lo, d.Hi = slope, b.lo, b.hi
	d.Change, d.ChangeLo, d.ChangeHi = slope*session, b.lo*session, b.hi*session
	d.P = twoSidedP(slope, v.v, v.df)
	d.Detected = d.P < shownP
	d.NoLargerThan = session * max(-b.atLeast, b.atMost)
	moved := math.Abs(d.Change) * d.MaxWeightSum
	d.Gate = d.Detected && !a.in.DriftLinear && moved > gateShare*math.Abs(e.gain[k])
	switch {
	case d.Detected:
		d.Answer = DriftShown
	case a.in.SmallestGain > 0 && d.NoLargerThan*d.MaxWeightSum <= math.Log1p(a.in.SmallestGain)/2:
		d.Answer = DriftSmall
	}
	return d
}

// twoSidedP is the p value of an estimate that should be zero. Without any scatter
// whatever is not zero is certain.
func twoSidedP(estimate, variance, df float64) float64 {
	switch {
	case estimate == 0:
		return 1
	case variance == 0:
		return 0
	}
	return tTail(estimate/math.Sqrt(variance), df)
}
