package reduce

import (
	"math"

	"fairpull/signal"
)

// Rules by which the coast-down is found.
const (
	coastSettle  = 0.3  // s after the drive lets go in which it still swings
	coastLeast   = 1.5  // s that a coast-down lasts at least
	coastFall    = 0.01 // of its first speed that the drum loses at least
	disengaged   = 0.08 // departure of the speed ratio that shows the drive disengaged
	slowestCoast = 0.08 // of the log's largest drum speed: no coast-down below
)

// coast finds the coast-down after the pull: the longest stretch of deceleration
// without a step in it. A step in the deceleration is the clutch lever, a brake,
// or the drive engaging again. Where the engine speed is known, it must have left
// the drum's; where it is not, nothing shows that the lever was pulled, and the
// rule says so.
func (f *finder) coast(ph *Phases, ratio float64) {
	from := f.lines.Index(ph.End) + 1
	to := from
	for to < len(f.lines.Time) && f.lines.Value[to] > slowestCoast*f.fast {
		to++
	}
	steps := f.steps(from, to)
	engine := len(f.r.engine.time) > 0
	engagedOnly := false
	for from < to {
		first, last := longestSmooth(steps, f.lines.Slope, from, to)
		if float64(last-first)*f.lines.Spacing < coastLeast {
			break
		}
		if engine && !f.isDisengaged(first, last, ratio) {
			engagedOnly = true
			for k := first; k <= last; k++ {
				steps[k-from] = true
			}
			continue
		}
		f.setCoast(ph, first, last, to, ratio)
		break
	}
	switch {
	case ph.HasCoast && engine:
		ph.Rule += " Coast-down: the longest steady deceleration after it in which the engine has left the drum's speed."
	case ph.HasCoast:
		ph.Rule += " Coast-down: the longest steady deceleration after it; with no engine speed logged, nothing in the log shows that the drive was disengaged."
	case engagedOnly:
		ph.Rule += " No coast-down: the engine stayed with the drum, so the clutch lever was not pulled."
	default:
		ph.Rule += " No coast-down of 1.5 s or more was found after it."
	}
}

// steps marks the grid points from..to at which the slope changes, over one
// line's width, by more than five times its noise and 12 % of its median.
func (f *finder) steps(from, to int) []bool {
	const apart = 4
	s := f.lines.Slope
	change := make([]float64, 0, max(0, to-from))
	for k := from; k < to; k++ {
		a, b := max(k-apart, 0), min(k+apart, len(s)-1)
		change = append(change, math.Abs(s[b]-s[a]))
	}
	scratch := append([]float64(nil), change...)
	noise := signal.Quantile(scratch, 0.5) / 0.6745
	limit := math.Max(5*noise, 0.12*math.Abs(f.medianSlope(from, to)))
	marks := make([]bool, len(change))
	for i, c := range change {
		marks[i] = c > limit
	}
	return marks
}

// longestSmooth returns the first and last point of the longest stretch within
// from..to in which the slope is negative and no step is marked.
func longestSmooth(steps []bool, slope []float64, from, to int) (first, last int) {
	start := -1
	first, last = from, from-1
	for k := from; k <= to; k++ {
		if k < to && !steps[k-from] && slope[k] < 0 {
			if start < 0 {
				start = k
			}
			continue
		}
		if start >= 0 && k-1-start > last-first {
			first, last = start, k-1
		}
		start = -1
	}
	return first, last
}

// isDisengaged reports whether the engine leaves the drum's speed between two grid
// points: the median departure of the ratio exceeds the limit. An engine channel
// without values there says nothing against it.
func (f *finder) isDisengaged(first, last int, ratio float64) bool {
	e := &f.r.engine
	lo, hi := within(e.speedTime, f.lines.Time[first], f.lines.Time[last])
	stride := max(1, (hi-lo)/200)
	departures := make([]float64, 0, 400)
	for i := lo; i < hi; i += stride {
		departures = append(departures, math.Abs(e.speed[i]/(ratio*f.speedAt(e.speedTime[i]))-1))
	}
	return len(departures) < 4 || signal.Quantile(departures, 0.5) > disengaged
}

// setCoast sets the coast-down from grid point first to last, where long enough
// without its ends, and not before the engine has left the drum. to is the point
// after the last that was looked at.
func (f *finder) setCoast(ph *Phases, first, last, to int, ratio float64) {
	start := f.lines.Time[first] + f.lines.HalfWidth/2
	if left := f.lastEngaged(first, last, ratio); left > start {
		start = left
	}
	start += coastSettle
	end := f.lines.Time[last]
	if last < to-1 {
		end -= f.lines.HalfWidth
	}
	lo, hi := within(f.r.drum.time, start, end)
	if hi-lo < minimumSamples || end-start < coastLeast-coastSettle || f.speedAt(end) > (1-coastFall)*f.speedAt(start) {
		return
	}
	ph.HasCoast, ph.CoastStart, ph.CoastEnd = true, start, end
}

// lastEngaged returns the last moment, within the first half of the stretch from
// grid point first to last, at which the engine still had the drum's speed; minus
// infinity where it never had. Later on the falling drum may meet an idling engine.
func (f *finder) lastEngaged(first, last int, ratio float64) float64 {
	e := &f.r.engine
	lo, hi := within(e.speedTime, f.lines.Time[first], f.lines.Time[(first+last)/2])
	for i := hi - 1; i >= lo; i-- {
		if t := e.speedTime[i]; math.Abs(e.speed[i]/(ratio*f.speedAt(t))-1) <= disengaged {
			return t
		}
	}
	return math.Inf(-1)
}
