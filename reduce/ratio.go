package reduce

import (
	"math"
	"slices"

	"fairpull/drum"
	"fairpull/signal"
)

// Rules of the slip check's smoothing.
const (
	ratioNoise    = 0.0005 // of the ratio: smoothed until its noise is below
	shortestRatio = 0.2    // s over which the ratio is averaged at least
	longestRatio  = 0.6    // s over which it is averaged at most, or
	longestPart   = 0.06   // of the pull, where that is longer
)

// bins are means over short even stretches of the pull.
type bins struct {
	count        int       // how many cover the pull; empty ones are left out below
	width        float64   // s
	time, drum   []float64 // mean moment, mean drum speed
	engine       []float64 // mean engine speed brought to that moment, or ratio times drum
	rate         []float64 // rate of engine speed, rad/s²
	ratioTime    []float64 // bins that hold engine speeds
	ratio        []float64
	measuredSome bool
}

// takeRatio fills the bins, and with them the ratio of engine to drum speed and
// the slip.
func (w *worker) takeRatio() error {
	d, e := &w.r.drum, &w.r.engine
	span := w.ph.End - w.ph.Start
	interval := d.interval
	if len(w.engineTime) > 0 {
		interval = math.Max(interval, e.interval)
	}
	width := math.Max(math.Max(0.05, 3*interval), span/400)
	b := &w.bins
	b.count = max(3, int(span/width))
	b.width = span / float64(b.count)
	b.time, b.drum = means(d.speedTime, d.speed, w.ph.Start, b.width, b.count, nil)
	if len(b.time) < 6 {
		return &LogError{Problem: "the pull holds too few drum speeds", Cure: "Log at ten samples a second or more."}
	}
	if len(w.engineTime) > 0 {
		w.measureRatio()
	}
	if !b.measuredSome {
		w.ratio = w.s.RevsPerDrumRev
		if !(w.ratio > 0) {
			return &LogError{Problem: "the log has no engine speed within the pull, and the engine turns a drum turn are not stated",
				Cure: "Log the engine speed, or state engine_revs_per_drum_rev for the gear."}
		}
		w.out.SlipMax, w.out.SlipAt = math.NaN(), math.NaN()
	}
	w.out.Ratio = w.ratio
	b.fillCourse(w.ratio)
	return nil
}

// measureRatio takes the ratio bin by bin, its median over the pull, and the slip.
// Engine speeds more than a third off the median ratio are left out first: an
// ignition pickup that lost or doubled a pulse shows that.
func (w *worker) measureRatio() {
	e, b := &w.r.engine, &w.bins
	median := func() float64 { return signal.Quantile(slices.Clone(b.ratio), 0.5) }
	take := func(skip func(float64, float64) bool) {
		t, v := means(e.speedTime, e.speed, w.ph.Start, b.width, b.count, skip)
		b.ratioTime, b.ratio = b.ratioTime[:0], b.ratio[:0]
		for i, ti := range t {
			if omega := interpolate(b.time, b.drum, ti); omega > 0 {
				b.ratioTime, b.ratio = append(b.ratioTime, ti), append(b.ratio, v[i]/omega)
			}
		}
	}
	take(nil)
	if len(b.ratio) < 4 {
		return
	}
	w.ratio = median()
	if !(w.ratio > 0) {
		return
	}
	off := w.offRatio()
	if w.dropOffEngine(off) {
		take(w.offRatio())
		if len(b.ratio) < 4 {
			return
		}
		w.ratio = median()
	}
	b.measuredSome = true
	t, smooth := b.smoothRatio(w.ratio)
	w.out.SlipMax, w.out.SlipAt = drum.Slip(t, smooth)
}

// offRatio returns a function that tells engine speeds more than a third off the
// drum's times the ratio. It must be asked in order of time.
func (w *worker) offRatio() func(t, v float64) bool {
	b, k := &w.bins, 0
	return func(t, v float64) bool {
		for k+1 < len(b.time) && b.time[k+1] <= t {
			k++
		}
		want := w.ratio * b.drum[k]
		return v < want*2/3 || v > want*4/3
	}
}

// dropOffEngine leaves engine samples of the pull out whose ratio is off, and
// reports whether there were any. Pulse trains were seen to when counted.
func (w *worker) dropOffEngine(off func(t, v float64) bool) bool {
	if w.r.log.Kind != signal.Sampled {
		return false
	}
	base := searchFrom(w.r.engine.time, w.ph.Start)
	var keep []int
	for i, t := range w.engineTime {
		if !off(t, w.engineValue[i]) {
			if keep != nil {
				keep = append(keep, i)
			}
			continue
		}
		if keep == nil {
			keep = make([]int, i, len(w.engineTime))
			for k := range keep {
				keep[k] = k
			}
		}
		w.r.events = append(w.r.events, event{signal.EngineSpeed, signal.Defect{Kind: signal.Spike, Row: w.r.engine.row(base + i), Count: 1,
			Start: t, End: t, Measured: w.engineValue[i] / (w.ratio * interpolate(w.bins.time, w.bins.drum, t)), Limit: 4.0 / 3, Unit: "1", Repaired: true}})
	}
	if keep == nil {
		return false
	}
	w.engineTime, w.engineValue, w.shared = pick(w.engineTime, keep), pick(w.engineValue, keep), false
	return true
}

// smoothRatio averages the ratio over as many bins as bring its noise, taken from
// second differences, below ratioNoise, within shortestRatio to longestRatio.
func (b *bins) smoothRatio(median float64) (t, smooth []float64) {
	n := len(b.ratio)
	second := make([]float64, 0, n)
	for k := 1; k+1 < n; k++ {
		second = append(second, math.Abs(b.ratio[k-1]-2*b.ratio[k]+b.ratio[k+1]))
	}
	// The 95th percentile, 1.96 standard deviations, is that of the noisiest part,
	// the slow one, and does not feel a jump or two.
	sd := signal.Quantile(second, 0.95) / (1.96 * math.Sqrt(6) * median)
	longest := math.Max(longestRatio, longestPart*(b.time[len(b.time)-1]-b.time[0]))
	span := math.Min(math.Max(shortestRatio, b.width*sd*sd/(ratioNoise*ratioNoise)), longest)
	side := max(0, int(math.Round((span/b.width-1)/2)))
	for k := side; k+side < n; k++ {
		t = append(t, meanOf(b.ratioTime[k-side:k+side+1]))
		smooth = append(smooth, meanOf(b.ratio[k-side:k+side+1]))
	}
	return t, smooth
}

// fillCourse fills the course of engine speed over the pull, smoothed over five
// bins, and its rate over seven.
func (b *bins) fillCourse(ratio float64) {
	n := len(b.time)
	b.engine, b.rate = make([]float64, n), make([]float64, n)
	raw := make([]float64, n)
	j := 0
	for k, t := range b.time {
		raw[k] = ratio * b.drum[k]
		for j+2 < len(b.ratio) && b.ratioTime[j+1] < t {
			j++
		}
		if j+1 < len(b.ratio) && t >= b.ratioTime[0]-b.width && t <= b.ratioTime[len(b.ratioTime)-1]+b.width {
			raw[k] = interpolate(b.ratioTime[j:j+2], b.ratio[j:j+2], t) * b.drum[k]
		}
	}
	for k := range n {
		side := min(2, k, n-1-k)
		b.engine[k] = meanOf(raw[k-side : k+side+1])
		lo, hi := max(0, k-3), min(n-1, k+3)
		b.rate[k] = ratio * (b.drum[hi] - b.drum[lo]) / (b.time[hi] - b.time[lo])
	}
}

// passing returns when the engine first passes the speed, from bin k on, with its
// rate there; and the bin to go on from. Before the first bin and beyond the last
// it goes on at the rate there.
func (b *bins) passing(speed float64, k int) (next int, t, rate float64) {
	for k+2 < len(b.engine) && b.engine[k+1] < speed {
		k++
	}
	dt := b.time[k+1] - b.time[k]
	rate = (b.rate[k] + b.rate[k+1]) / 2
	if d := b.engine[k+1] - b.engine[k]; d > 0 && speed >= b.engine[k] && speed <= b.engine[k+1] {
		return k, b.time[k] + dt*(speed-b.engine[k])/d, rate
	}
	return k, b.time[k] + (speed-b.engine[k])/rate, rate
}

// means returns the mean moment and value of the samples of each of count
// stretches of the given width from the moment start on; empty ones are left out,
// and samples for which skip holds.
func means(t, v []float64, start, width float64, count int, skip func(t, v float64) bool) (meanTime, mean []float64) {
	meanTime, mean = make([]float64, 0, count), make([]float64, 0, count)
	i := searchFrom(t, start)
	for k := range count {
		end := start + width*float64(k+1)
		sumT, sumV, n := 0.0, 0.0, 0.0
		for ; i < len(t) && t[i] < end; i++ {
			if skip != nil && skip(t[i], v[i]) {
				continue
			}
			sumT += t[i] - start
			sumV += v[i]
			n++
		}
		if n > 0 {
			meanTime, mean = append(meanTime, start+sumT/n), append(mean, sumV/n)
		}
	}
	return meanTime, mean
}

// interpolate returns y at time t by straight lines between the points, going on
// at the ends. x holds at least two values.
func interpolate(x, y []float64, t float64) float64 {
	k := min(max(searchAfter(x, t)-1, 0), len(x)-2)
	return y[k] + (y[k+1]-y[k])*(t-x[k])/(x[k+1]-x[k])
}

// meanOf returns the arithmetic mean.
func meanOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
