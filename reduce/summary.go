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
	w.out.Means = map[string]float64{}
	if w.r.log.Kind == signal.Sampled {
		w.out.Means = channelMeans(w.r.log, w.r.drum.row(w.first), w.r.drum.row(w.end-1))
	}
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
	sum := 0.0
	largest := math.Inf(-1)
	for i, x := range v {
		sum += x
		if i >= row {
			sum -= v[i-row]
		}
		if i >= row-1 && sum > largest {
			largest = sum
		}
	}
	return largest / row
}

// channelMeans returns the mean of every channel of a sampled log over its rows
// from first to last, missing cells left out; a channel without a value there is
// left out.
func channelMeans(log *signal.Log, first, last int) map[string]float64 {
	means := make(map[string]float64, len(log.Channels))
	for i := range log.Channels {
		c := &log.Channels[i]
		if len(c.Values) <= last {
			continue
		}
		if m := mean(c.Values[first : last+1]); !math.IsNaN(m) {
			means[c.Name] = m
		}
	}
	return means
}

// mean returns the mean of the finite values, NaN without any.
func mean(v []float64) float64 {
	sum, n := 0.0, 0
	for _, x := range v {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			sum += x
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}
