package signal

import "math"

// Usable looks for rows that a fit can use: a finite time later than that of the
// last usable row, and a finite value. It returns their row numbers, or nil where
// every row is usable, and the defects of the rows that were left out.
//
// A stamp that jumps ahead of the two that follow it is taken as the wrong one,
// not they. A row of which only the value is missing does not move the time on.
func Usable(t, y []float64) (rows []int, defects []Defect) {
	n := min(len(t), len(y))
	last := math.Inf(-1)
	keep := func(i int) bool { return rows == nil || len(rows) > 0 && rows[len(rows)-1] == i }
	leave := func(i int, kind string, measured float64, unit string) {
		when := t[i]
		if !finite(when) || kind == BackwardTime {
			when = math.Max(last, t[0]) // the row's own stamp says nothing
		}
		if rows == nil {
			rows = make([]int, i, n)
			for k := range rows {
				rows[k] = k
			}
		}
		defects = addRow(defects, kind, i, when, measured, unit)
	}
	for i := range n {
		ti := t[i]
		switch {
		case !finite(ti):
			leave(i, MissingCell, 1, "")
		case ti == last:
			leave(i, RepeatedTime, 0, "s")
		case ti < last:
			leave(i, BackwardTime, ti-last, "s")
		case i+1 < n && t[i+1] < ti && t[i+1] > last && keep(i-1):
			leave(i, BackwardTime, t[i+1]-ti, "s")
		case !finite(y[i]):
			leave(i, MissingCell, 1, "")
			last = ti
		default:
			last = ti
			if rows != nil {
				rows = append(rows, i)
			}
		}
	}
	return rows, defects
}

// addRow appends a defect of row i at a moment in s, or lengthens the last one where it is of the
// same kind and ends in the row before.
func addRow(defects []Defect, kind string, i int, when, measured float64, unit string) []Defect {
	if k := len(defects) - 1; k >= 0 && defects[k].Kind == kind && defects[k].Row+defects[k].Count == i {
		d := &defects[k]
		d.Count++
		d.Start, d.End = math.Min(d.Start, when), math.Max(d.End, when)
		if unit == "" {
			d.Measured = float64(d.Count)
		} else if math.Abs(measured) > math.Abs(d.Measured) {
			d.Measured = measured
		}
		return defects
	}
	return append(defects, Defect{Kind: kind, Row: i, Count: 1, Start: when, End: when, Measured: measured, Unit: unit})
}

// finite reports whether v is a number: what is not has no difference to itself.
func finite(v float64) bool { return v-v == 0 }

// MedianInterval returns the median distance of neighbouring values of t, NaN
// with fewer than two. It looks at up to 2,000 of them, evenly spread.
func MedianInterval(t []float64) float64 {
	stride := max(1, len(t)/2000)
	d := make([]float64, 0, 2001)
	for i := 1; i < len(t) && len(d) < cap(d); i += stride {
		d = append(d, t[i]-t[i-1])
	}
	return Quantile(d, 0.5)
}

// Gaps returns the places where the increasing times t leave more than limit
// median intervals between two samples. rows gives the row number of each
// sample, nil: its index.
func Gaps(t []float64, rows []int, interval, limit float64) []Defect {
	var defects []Defect
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; d > limit*interval {
			defects = append(defects, Defect{Kind: Gap, Row: rowOf(rows, i), Count: 1,
				Start: t[i-1], End: t[i], Measured: d, Limit: limit * interval, Unit: "s"})
		}
	}
	return defects
}

// EqualRuns returns the stretches in which limit or more values of a speed in a
// row are equal and not zero, t being their increasing times.
//
// Rounding alone makes such stretches where the speed changes by less than a
// quantum over them. So the change that the slopes before and after let expect
// is held against the quantum: up to 2 quanta the stretch is low resolution,
// which the fit's standard error covers; beyond it the channel was stuck, or
// saturated where the value is the largest of all. Measured is the number of
// equal values.
func EqualRuns(t, y []float64, rows []int, quantum float64, limit int) []Defect {
	var defects []Defect
	first := 0
	largest := math.Inf(-1)
	for i := 1; i <= len(y); i++ {
		if i < len(y) && y[i] == y[first] {
			continue
		}
		if n := i - first; n >= limit && y[first] != 0 {
			if math.IsInf(largest, -1) {
				largest = maximum(y)
			}
			d := Defect{Kind: Stuck, Row: rowOf(rows, first), Count: n, Start: t[first], End: t[i-1],
				Measured: float64(n), Limit: float64(limit), Unit: "1"}
			switch {
			case expectedChange(t, y, first, i) <= 2*quantum:
				d.Kind, d.Repaired = LowResolution, true
			case y[first] == largest:
				d.Kind = Saturated
			}
			defects = append(defects, d)
		}
		first = i
	}
	return defects
}

// Clipped returns the stretches of limit or more equal values in a row at the
// largest or smallest value of a channel that nowhere else stands still for half
// as long: a sensor at the end of its range. NaN values end a stretch.
func Clipped(t, y []float64, limit int) []Defect {
	largest, least := math.Inf(-1), math.Inf(1)
	for _, v := range y {
		if finite(v) {
			largest, least = math.Max(largest, v), math.Min(least, v)
		}
	}
	var defects []Defect
	first := 0
	for i := 1; i <= len(y); i++ {
		if i < len(y) && y[i] == y[first] {
			continue
		}
		v, n := y[first], i-first
		atEnd := v == largest || v == least
		if !atEnd && n >= limit/2 {
			return nil
		}
		if atEnd && n >= limit {
			defects = append(defects, Defect{Kind: Saturated, Row: first, Count: n, Start: t[first], End: t[i-1],
				Measured: float64(n), Limit: float64(limit), Unit: "1"})
		}
		first = i
	}
	if largest == least {
		return nil
	}
	return defects
}

// expectedChange returns how far the values would have moved over the run
// [first, end) by the slope before and after it, each over three times as many
// samples as the run has: the larger of the two on a course that goes on, the
// smaller where it turns round, since a course that turns stands for a while.
func expectedChange(t, y []float64, first, end int) float64 {
	n := 3 * (end - first)
	span := t[min(end, len(t)-1)] - t[first]
	before, after := math.NaN(), math.NaN()
	if k := max(0, first-n); k < first {
		before = (y[first] - y[k]) / (t[first] - t[k])
	}
	if k := min(len(y)-1, end-1+n); k > end-1 {
		after = (y[k] - y[end-1]) / (t[k] - t[end-1])
	}
	switch {
	case math.IsNaN(before):
		return math.Abs(after) * span
	case math.IsNaN(after):
		return math.Abs(before) * span
	case before*after < 0:
		return math.Min(math.Abs(before), math.Abs(after)) * span
	}
	return math.Max(math.Abs(before), math.Abs(after)) * span
}

// Spiked is a single value far off its neighbours.
type Spiked struct {
	Index int // in the series that was looked at
	Defect
}

// Spikes returns the single values of a speed that stand off both neighbours, to
// the same side, by more than fraction of the largest speed, while the
// neighbours differ by less than a third of that.
func Spikes(t, y []float64, rows []int, fraction float64) []Spiked {
	limit := fraction * maximum(y)
	var spikes []Spiked
	for i := 1; i+1 < len(y); i++ {
		a, b := y[i]-y[i-1], y[i]-y[i+1]
		if a*b <= limit*limit {
			continue // to different sides, or one of them too close
		}
		if math.Abs(a) > limit && math.Abs(b) > limit && math.Abs(y[i+1]-y[i-1]) < math.Min(math.Abs(a), math.Abs(b))/3 {
			spikes = append(spikes, Spiked{i, Defect{Kind: Spike, Row: rowOf(rows, i), Count: 1, Start: t[i-1], End: t[i+1],
				Measured: a, Limit: limit, Unit: "rad/s", Repaired: true}})
		}
	}
	return spikes
}

// maximum returns the largest value of y.
func maximum(y []float64) float64 {
	m := math.Inf(-1)
	for _, v := range y {
		if v > m {
			m = v
		}
	}
	return m
}

// rowOf returns rows[i], or i where rows is nil.
func rowOf(rows []int, i int) int {
	if rows == nil {
		return i
	}
	return rows[i]
}
