package reduce

import (
	"math"

	"fairpull/signal"
)

// summarise fills what the result says of the pull as a whole.
func (w *worker) summarise() {
	w.ratioRise()
	w.out.MaxSurfaceSpeed = math.NaN()
	if w.s.Radius > 0 {
		w.out.MaxSurfaceSpeed = w.s.Radius * largestMean(w.r.drum.speed)
	}
	w.out.Means = channelMeans(w.r.log, w.ph.Start, w.ph.End)
	w.out.Lambda = math.NaN()
	if v, ok := w.out.Means[signal.Lambda]; ok {
		w.out.Lambda = v
	}
}

// ratioRise fills the relative change of the ratio from the least to the largest
// drum torque, by a straight line through the nodes that had an engine speed.
func (w *worker) ratioRise() {
	w.out.RatioRise = math.NaN()
	var n, sx, sy float64
	lo, hi := math.Inf(1), math.Inf(-1)
	each := func(do func(torque, ratio float64)) {
		for i := range w.nodes {
			if d := &w.nodes[i]; d.engineTo > d.engineFrom {
				do(d.torque, d.engine/d.omega)
			}
		}
	}
	each(func(x, y float64) {
		n++
		sx += x
		sy += y
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	})
	if n < 3 || !(hi > lo) {
		return
	}
	var sxx, sxy float64
	each(func(x, y float64) {
		sxx += (x - sx/n) * (x - sx/n)
		sxy += (x - sx/n) * (y - sy/n)
	})
	w.out.RatioRise = sxy / sxx * (hi - lo) / (sy / n)
}

// largestMean returns the largest mean of five values in a row: a single high
// value is noise, a drum keeps its speed.
func largestMean(v []float64) float64 {
	const row = 5
	if len(v) < row {
		return math.NaN()
	}
	largest := math.Inf(-1)
	for i := row; i <= len(v); i++ {
		largest = math.Max(largest, meanOf(v[i-row:i]))
	}
	return largest
}

// channelMeans returns the mean of every channel of a sampled log over the rows
// between two moments, missing cells left out; a channel without a value there is
// left out.
func channelMeans(log *signal.Log, from, to float64) map[string]float64 {
	means := make(map[string]float64, len(log.Channels))
	for i := range log.Channels {
		c := &log.Channels[i]
		if len(c.Values) != len(log.Time) {
			continue
		}
		sum, n := 0.0, 0
		for k, v := range c.Values {
			if t := log.Time[k]; t >= from && t <= to && !math.IsNaN(v) && !math.IsInf(v, 0) {
				sum += v
				n++
			}
		}
		if n > 0 {
			means[c.Name] = sum / float64(n)
		}
	}
	return means
}
