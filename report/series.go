package report

import (
	"math"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/curve"
	"fairpull/quantity"
)

// gainSeries is what the gain chart shows, in per cent over engine speed.
// Numbers that there are none of are NaN.
type gainSeries struct {
	RPM, Gain      []float64
	Lo, Hi         []float64 // limits at each engine speed on its own
	BandLo, BandHi []float64 // limits for the whole riding band at once
	Range          scale     // of the vertical axis
	Clipped        bool      // limits reach beyond the axis
	Intervals      bool
}

// newGainSeries gathers the chart of c. The axis shows zero, the gain and its
// limits; whole-band limits of few degrees of freedom may reach beyond it.
func newGainSeries(c *compare.Comparison) gainSeries {
	nan := math.NaN()
	var s gainSeries
	inner, outer := newExtent(), newExtent()
	inner.add(0)
	for i := range c.Curve {
		n := &c.Curve[i]
		lo, hi, bandLo, bandHi := nan, nan, nan, nan
		if n.Interval {
			lo, hi, bandLo, bandHi = percent(n.Lo), percent(n.Hi), percent(n.BandLo), percent(n.BandHi)
			s.Intervals = true
		}
		s.RPM = append(s.RPM, n.RPM)
		s.Gain = append(s.Gain, percent(n.Gain))
		s.Lo, s.Hi = append(s.Lo, lo), append(s.Hi, hi)
		s.BandLo, s.BandHi = append(s.BandLo, bandLo), append(s.BandHi, bandHi)
		inner.add(percent(n.Gain), lo, hi)
		outer.add(bandLo, bandHi)
	}
	room := math.Max(inner.hi-inner.lo, 1)
	lo, hi := inner.lo, inner.hi
	if !outer.empty() {
		lo = math.Min(lo, math.Max(outer.lo, inner.lo-room))
		hi = math.Max(hi, math.Min(outer.hi, inner.hi+room))
		s.Clipped = outer.lo < lo || outer.hi > hi
	}
	if hi-lo < 1 {
		lo, hi = lo-0.5, hi+0.5
	}
	lo, hi = padded(lo, hi, 0.06)
	s.Range = newScale(lo, hi, 6)
	return s
}

// levelSeries is torque or power of both sides in the person's unit.
type levelSeries struct {
	Name, Unit          string
	RPM                 []float64
	Baseline, Candidate []float64
	// Half-widths of the ribbons about either side; NaN without an interval.
	BaselineHalf, CandidateHalf []float64
	Peaks                       [2]peakMark // baseline, candidate
	Range                       scale
}

// peakMark is where a peak stands; RPM is 0 where there is none.
type peakMark struct{ RPM, Level float64 }

// newLevelSeries gathers torque or power (dimension d) of c.
func newLevelSeries(c *compare.Comparison, d quantity.Dimension, units quantity.System) levelSeries {
	unit := units.Unit(d)
	s := levelSeries{Name: "Torque", Unit: unit.Name}
	figure := &c.PeakTorque
	if d == quantity.Power {
		s.Name, figure = "Power", &c.PeakPower
	}
	seen := newExtent()
	for i := range c.Curve {
		n := &c.Curve[i]
		per := 1.0
		if d == quantity.Power {
			per = n.RPM * curve.RadPerSecondPerRPM
		}
		a, b := unit.From(n.Baseline*per), unit.From(n.Candidate*per)
		halfA, halfB := math.NaN(), math.NaN()
		if n.Interval {
			halfA, halfB = a*math.Expm1(n.BaselineHalf), b*math.Expm1(n.CandidateHalf)
		}
		s.RPM = append(s.RPM, n.RPM)
		s.Baseline, s.Candidate = append(s.Baseline, a), append(s.Candidate, b)
		s.BaselineHalf, s.CandidateHalf = append(s.BaselineHalf, halfA), append(s.CandidateHalf, halfB)
		seen.add(a, b, a-halfA, a+halfA, b-halfB, b+halfB)
	}
	if figure.BaselineLevel > 0 && figure.Missing == "" {
		s.Peaks[0] = peakMark{figure.BaselineRPM, unit.From(figure.BaselineLevel)}
		s.Peaks[1] = peakMark{figure.CandidateRPM, unit.From(figure.CandidateLevel)}
	}
	if seen.empty() {
		seen.add(0, 1)
	}
	lo, hi := padded(seen.lo, seen.hi, 0.07)
	s.Range = newScale(math.Max(lo, 0), hi, 5)
	return s
}

// ridingBand returns the band of c, and false where the campaign compares over
// the whole shared range.
func (g *Gain) ridingBand(c *compare.Comparison) ([2]float64, bool) {
	if band := g.Campaign.Objective.BandRPM; band != [2]float64{} {
		return band, true
	}
	return c.BandRPM, false
}

// halfOfLevel returns the half-width, relative to the level, of the interval of
// a level of c: for a peak that at the nearest node, for the band mean the mean
// over the band, which is on the safe side. NaN without intervals.
func halfOfLevel(c *compare.Comparison, m compare.Metric, side campaign.Role) float64 {
	half := func(n *compare.Node) float64 {
		if side == campaign.Baseline {
			return n.BaselineHalf
		}
		return n.CandidateHalf
	}
	f := c.Figure(m)
	rpm := f.CandidateRPM
	if side == campaign.Baseline {
		rpm = f.BaselineRPM
	}
	best, distance, sum, count := math.NaN(), math.Inf(1), 0.0, 0
	for i := range c.Curve {
		n := &c.Curve[i]
		if !n.Interval {
			return math.NaN()
		}
		if d := math.Abs(n.RPM - rpm); d < distance {
			best, distance = half(n), d
		}
		if n.RPM >= c.BandRPM[0] && n.RPM <= c.BandRPM[1] {
			sum += half(n)
			count++
		}
	}
	if m == compare.Band {
		if count == 0 {
			return math.NaN()
		}
		best = sum / float64(count)
	}
	return math.Expm1(best)
}
