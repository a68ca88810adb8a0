package reduce

import (
	"fmt"
	"math"
	"slices"

	"fairpull/signal"
)

// Rules by which held speeds are looked for.
const (
	cellTime    = 0.1  // s: means over so long are what is looked at
	cellRows    = 3    // samples that a cell holds at least, on average
	smoothCells = 5    // cells that are averaged for the speed's course
	underBrake  = 0.05 // of the 95th percentile of brake torque: below it, nothing is braked
	narrowest   = 0.25 // of the tolerance: no narrower band is tried
	leastCells  = 4    // of a stretch
	maxCells    = 400_000
	longestLog  = 40_000 // s
	maxHolds    = 5_000  // stretches that are looked for in one log
)

// steadyFinder looks for steady points on cells of even length.
type steadyFinder struct {
	r    *record
	s    *Settings
	rule SteadyRule
	out  *Steady

	first, length float64   // s: start of the first cell, length of each
	speed         []float64 // of the drum, rad/s, cell by cell; NaN: no sample
	smooth        []float64 // the same, averaged over smoothCells
	brake         []float64 // N·m
	loaded        []bool    // under the brake
	throttle      []float64 // widest opening seen is open; nil: no channel
	open          float64   // opening from which the throttle counts as full
	ratio         float64   // engine turns a drum turn

	holds []stretch
}

// stretch is a row of cells, from ≤ k < to, that keeps a speed.
type stretch struct {
	from, to int
}

// lay lays the cells over the log.
func (f *steadyFinder) lay() error {
	d := &f.r.drum
	f.length = math.Max(cellTime, cellRows*d.interval)
	f.first = d.time[0]
	span := d.time[len(d.time)-1] - f.first
	if !(span/f.length <= maxCells) || span > longestLog {
		return &LogError{Problem: fmt.Sprintf("the log goes over %.0f h", span/3600), Cure: "Cut it to one session."}
	}
	n := int(span/f.length) + 1
	f.speed, f.brake = make([]float64, n), make([]float64, n)
	count := make([]float64, n)
	for i, t := range d.time {
		k := int((t - f.first) / f.length)
		f.speed[k] += d.value[i]
		f.brake[k] += f.r.brake[i]
		count[k]++
	}
	for k, c := range count {
		f.speed[k] /= c // without a sample: NaN
		f.brake[k] /= c
	}
	f.smooth = smoothed(f.speed)
	if err := f.findLoad(); err != nil {
		return err
	}
	f.layThrottle()
	return f.findRatio()
}

// smoothed returns the means over smoothCells about each value; next to a NaN, NaN.
func smoothed(v []float64) []float64 {
	out := make([]float64, len(v))
	for k := range v {
		lo, hi := max(0, k-smoothCells/2), min(len(v), k+smoothCells/2+1)
		sum := 0.0
		for _, x := range v[lo:hi] {
			sum += x
		}
		out[k] = sum / float64(hi-lo)
	}
	return out
}

// findLoad marks the cells under the brake.
func (f *steadyFinder) findLoad() error {
	values := make([]float64, 0, len(f.brake))
	for _, b := range f.brake {
		if b-b == 0 {
			values = append(values, b)
		}
	}
	top, bottom := signal.Quantile(values, 0.95), signal.Quantile(values, 0.05)
	if bottom < 0 && -bottom > top {
		return &LogError{Line: lineOf(f.r.log, 0), Problem: fmt.Sprintf("brake torque goes down to %.0f N·m: its sign is the other way round", bottom),
			Cure: "Give brake torque as positive where the brake slows the drum."}
	}
	f.loaded = make([]bool, len(f.brake))
	if !(top > 0) {
		return nil // the brake never took anything
	}
	smooth := smoothed(f.brake)
	for k, b := range smooth {
		f.loaded[k] = b > underBrake*top && f.smooth[k] > 0
	}
	return nil
}

// layThrottle brings the throttle to the cells. A channel that says nothing is left
// out.
func (f *steadyFinder) layThrottle() {
	v := f.r.log.Channel(signal.Throttle)
	d := &f.r.drum
	if len(v) != len(f.r.log.Time) || v == nil {
		return
	}
	sum, count := make([]float64, len(f.speed)), make([]float64, len(f.speed))
	seen := make([]float64, 0, len(d.time))
	for i, t := range d.time {
		if x := v[d.row(i)]; x-x == 0 {
			k := int((t - f.first) / f.length)
			sum[k] += x
			count[k]++
			seen = append(seen, x)
		}
	}
	if len(seen) < minimumSamples {
		return
	}
	f.open = fullThrottle * signal.Quantile(seen, 1-math.Min(0.1, 10/float64(len(seen))))
	for k := range sum {
		sum[k] /= count[k]
	}
	f.throttle, f.out.HasThrottle = sum, true
}

// findRatio takes the engine turns a drum turn from the log, under the brake, or
// from the settings.
func (f *steadyFinder) findRatio() error {
	e, d := &f.r.engine, &f.r.drum
	var ratios []float64
	if len(e.time) > 0 {
		stride := max(1, len(e.time)/20_000)
		for i := 0; i < len(e.time); i += stride {
			k := int((e.time[i] - f.first) / f.length)
			if k < 0 || k >= len(f.loaded) || !f.loaded[k] {
				continue
			}
			if at := searchFrom(d.time, e.time[i]); at < len(d.time) && d.value[at] > 0 {
				ratios = append(ratios, e.value[i]/d.value[at])
			}
		}
	}
	f.ratio = f.s.RevsPerDrumRev
	if len(ratios) >= minimumSamples {
		f.ratio = signal.Quantile(ratios, 0.5)
	}
	if !(f.ratio > 0) {
		if len(e.time) > 0 && !slices.Contains(f.loaded, true) {
			f.ratio = math.NaN() // nothing is braked, so nothing is referred to the engine
			return nil
		}
		return &LogError{Line: lineOf(f.r.log, 0), Problem: "the log has no usable engine speed under the brake, and the engine turns a drum turn are not stated",
			Cure: "Log the engine speed, or state engine_revs_per_drum_rev for the gear."}
	}
	return nil
}

// tolerance returns how far a drum speed in rad/s may be off, rad/s.
func (f *steadyFinder) tolerance(speed float64) float64 {
	return math.Max(f.rule.Tolerance*speed, f.rule.ToleranceRPM*math.Pi/30/f.ratio)
}

// find finds the stretches that keep a speed.
func (f *steadyFinder) find() {
	for k := 0; k < len(f.loaded); {
		if !f.loaded[k] {
			k++
			continue
		}
		from := k
		for k < len(f.loaded) && f.loaded[k] {
			k++
		}
		f.search(from, k)
	}
	slices.SortFunc(f.holds, func(a, b stretch) int { return a.from - b.from })
}

// search finds the holds between two cells: the longest stretch within the band,
// then what is left on either side. A stretch whose drift uses up half of its band
// may be a slow sweep or two speeds close to one another: it is searched again with
// half the band.
func (f *steadyFinder) search(from, to int) {
	type task struct {
		from, to int
		scale    float64
	}
	least := max(leastCells, int(f.rule.Least/2/f.length))
	tasks := []task{{from, to, 1}}
	for len(tasks) > 0 && len(f.holds) < maxHolds {
		t := tasks[len(tasks)-1]
		tasks = tasks[:len(tasks)-1]
		if t.to-t.from < least {
			continue
		}
		a, b := f.longest(t.from, t.to, t.scale)
		if b-a < least {
			continue
		}
		tasks = append(tasks, task{t.from, a, t.scale}, task{b, t.to, t.scale})
		if !f.isHeld(a, b, t.scale) {
			if t.scale/2 >= narrowest {
				tasks = append(tasks, task{a, b, t.scale / 2})
			}
			continue
		}
		if a, b = f.trimmed(a, b); b > a {
			f.holds = append(f.holds, stretch{a, b})
		}
	}
}

// longest returns the longest stretch within from..to in which the smoothed speed
// stays within scale times the band: two queues keep its largest and least value.
func (f *steadyFinder) longest(from, to int, scale float64) (first, end int) {
	v := f.smooth
	var high, low []int
	start := from
	for k := from; k < to; k++ {
		for len(high) > 0 && v[high[len(high)-1]] <= v[k] {
			high = high[:len(high)-1]
		}
		for len(low) > 0 && v[low[len(low)-1]] >= v[k] {
			low = low[:len(low)-1]
		}
		high, low = append(high, k), append(low, k)
		for v[high[0]]-v[low[0]] > 2*scale*f.tolerance(v[high[0]]) {
			if high[0] == start {
				high = high[1:]
			}
			if low[0] == start {
				low = low[1:]
			}
			start++
		}
		if k+1-start > end-first {
			first, end = start, k+1
		}
	}
	return first, end
}

// isHeld says whether the drift over a stretch leaves half of its band.
func (f *steadyFinder) isHeld(from, to int, scale float64) bool {
	slope := cellSlope(f.speed[from:to])
	return math.Abs(slope)*float64(to-from) <= scale*f.tolerance(f.smooth[(from+to)/2])
}

// cellSlope returns the slope of the least-squares line through v, per cell.
func cellSlope(v []float64) float64 {
	n := float64(len(v))
	middle := (n - 1) / 2
	sum, squares := 0.0, n*(n*n-1)/12
	for k, x := range v {
		sum += (float64(k) - middle) * x
	}
	return sum / squares
}

// trimmed takes off the ends of a stretch at which the speed is already on its way:
// farther from the median than it ever swings in the middle half, and than a sixth
// of the tolerance.
func (f *steadyFinder) trimmed(from, to int) (a, b int) {
	level := signal.Quantile(slices.Clone(f.speed[from:to]), 0.5)
	limit := f.tolerance(level) / 6
	quarter := (to - from) / 4
	for _, v := range f.smooth[from+quarter : to-quarter] {
		limit = math.Max(limit, math.Abs(v-level))
	}
	for a, b = from, to; a < b && math.Abs(f.smooth[a]-level) > limit; {
		a++
	}
	for b > a && math.Abs(f.smooth[b-1]-level) > limit {
		b--
	}
	return a, b
}

// cells returns how many cells make up so many seconds, one at least.
func (f *steadyFinder) cells(seconds float64) int {
	return max(1, int(math.Round(seconds/f.length)))
}

// timeOf returns when cell k begins, s.
func (f *steadyFinder) timeOf(k int) float64 { return f.first + float64(k)*f.length }
