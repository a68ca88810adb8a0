package signal

import "math"

// Train is a pulse train whose pulses have been counted.
type Train struct {
	Time    []float64 // s, increasing: the pulses that are kept
	Count   []int     // the number of each, from 0; pulses that did not come are counted too
	Defects []Defect
}

// CountPulses counts the pulses that came at the given moments in s, and those
// that did not come.
//
// An interval is held against the mean of the speeds before and after it, from the
// mean of eight intervals before and the median of seven after. About a whole number m ≥ 2 of normal
// intervals means m − 1 missing pulses, which are counted: nothing is lost,
// since every other pulse keeps its own angle. A pulse that comes early or late
// while the next is in its place is taken as it is. Where the number is not clear,
// the count goes on with the nearest, and the place is a gap that is not repaired.
// Less than 0.6 of a normal interval (0.4 where the next pulse is in its place)
// means a pulse too many: of the two, the one that fits the interval before it
// worse is left out. Stamps that repeat or run backward are left out first.
func CountPulses(times []float64) Train {
	rows, defects := Usable(times, times)
	tr := Train{Defects: defects}
	if rows != nil {
		usable := make([]float64, len(rows))
		for i, r := range rows {
			usable[i] = times[r]
		}
		times = usable
	}
	tr.Time = make([]float64, 0, len(times))
	tr.Count = make([]int, 0, len(times))
	normal := 0.0 // the last interval over the pulses that it spans
	for i, ti := range times {
		last := len(tr.Time) - 1
		if last < 0 {
			tr.keep(ti, 0)
			continue
		}
		d := ti - tr.Time[last]
		if d > 0.7*normal && d < 1.4*normal {
			tr.keep(ti, 1)
			normal = d
			continue
		}
		if steps := tr.judge(times, i, rows); steps > 0 {
			normal = d / float64(steps)
			tr.keep(ti, steps)
		}
	}
	return tr
}

// keep appends a pulse that comes steps pulses after the last.
func (tr *Train) keep(t float64, steps int) {
	count := 0
	if n := len(tr.Count); n > 0 {
		count = tr.Count[n-1] + steps
	}
	tr.Time = append(tr.Time, t)
	tr.Count = append(tr.Count, count)
}

// judge returns by how many pulses times[i] lies after the last one kept, or 0
// where one of the two was left out.
func (tr *Train) judge(times []float64, i int, rows []int) int {
	last := len(tr.Time) - 1
	before, after := tr.intervalBefore(), intervalAfter(times, i)
	if math.IsNaN(before) || math.IsNaN(after) {
		return 1 // at the ends there is nothing to hold it against
	}
	perSecond := (1/before + 1/after) / 2
	ratio := (times[i] - tr.Time[last]) * perSecond
	next := (times[i+1] - tr.Time[last]) * perSecond // there is a next, since after is known
	switch two := next > 1.5 && next < 2.5; {
	case ratio < 0.4, ratio < 0.6 && !two:
		tr.dropExtra(times[i], rowOf(rows, i), ratio, before)
		return 0
	case ratio < 1.5, ratio < 1.75 && two:
		return 1 // early or late perhaps, but the one after it is in its place
	}
	steps := int(math.Round(math.Min(ratio, 1e6)))
	change := (before - after) / (before + after)
	clear := math.Abs(ratio-float64(steps)) < 0.3 || math.Abs(next-float64(steps+1)) < 0.3
	clear = clear && float64(steps)*change*change < 1
	defect := Defect{Kind: MissingPulse, Row: rowOf(rows, i), Count: steps - 1, Start: tr.Time[last], End: times[i],
		Measured: ratio, Limit: 1.5, Unit: "1", Repaired: clear}
	if !clear {
		defect.Kind = Gap
	}
	tr.Defects = append(tr.Defects, defect)
	return steps
}

// dropExtra leaves out either the last kept pulse or the one at ti, and notes it.
func (tr *Train) dropExtra(ti float64, row int, ratio, before float64) {
	last := len(tr.Time) - 1
	when := ti
	if last > 0 {
		steps := float64(tr.Count[last] - tr.Count[last-1])
		misfit := func(t float64) float64 { return math.Abs((t-tr.Time[last-1])/steps - before) }
		if misfit(ti) < misfit(tr.Time[last]) {
			when, tr.Time[last] = tr.Time[last], ti
			row--
		}
	}
	tr.Defects = append(tr.Defects, Defect{Kind: ExtraPulse, Row: row, Count: 1, Start: when, End: when,
		Measured: ratio, Limit: 0.6, Unit: "1", Repaired: true})
}

// intervalBefore returns the mean interval of the last up to eight pulses kept, NaN
// where there is no interval yet.
func (tr *Train) intervalBefore() float64 {
	last := len(tr.Time) - 1
	first := max(0, last-8)
	if last < 1 {
		return math.NaN()
	}
	return (tr.Time[last] - tr.Time[first]) / float64(tr.Count[last]-tr.Count[first])
}

// intervalAfter returns the median of the up to seven intervals after pulse i;
// NaN where there is none.
func intervalAfter(times []float64, i int) float64 {
	var d [7]float64
	n := 0
	for k := i + 1; k < len(times) && n < 7; k++ {
		d[n] = times[k] - times[k-1]
		n++
	}
	return Quantile(d[:n], 0.5)
}
