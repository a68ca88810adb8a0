package reduce

import (
	"math"
)

// saturations finds the stretches in which the brake gave all it had and the speed
// rose all the same. With a command channel "all" is the full command. Without one it
// is nearly the largest torque of the log, no less than in the second before, in which
// the speed did not rise: a brake that lets the speed go up at a set rate gives less
// than it did.
func (f *steadyFinder) saturations() {
	command := f.cellsOf(f.command())
	smooth := smoothed(f.brake)
	top := math.Inf(-1)
	for k, b := range smooth {
		if f.loaded[k] {
			top = math.Max(top, b)
		}
	}
	atLimit := func(k int) bool {
		if !f.loaded[k] {
			return false
		}
		if command != nil {
			return command[k] >= saturatedPart
		}
		return smooth[k] >= saturatedPart*top
	}
	half := f.cells(saturatedTime)
	rises := func(k int) bool {
		a, b := max(k-half, 0), min(k+half, len(f.smooth)-1)
		rise := (f.smooth[b] - f.smooth[a]) / (float64(b-a) * f.length)
		return rise > saturatedRise*f.smooth[k]
	}
	for k := 0; k < len(f.loaded); k++ {
		if !atLimit(k) || !rises(k) {
			continue
		}
		from := k
		for k < len(f.loaded) && atLimit(k) && rises(k) {
			k++
		}
		if float64(k-from)*f.length < saturatedTime {
			continue
		}
		if before := max(0, from-2*f.cells(1)); command == nil && (rises(before) || !(mean(f.brake[from:k]) >= mean(f.brake[before:max(before+1, from-f.cells(1))]))) {
			continue
		}
		second := min(f.cells(1), k-from)
		first, last := mean(f.brake[from:from+second]), mean(f.brake[k-second:k])
		f.out.Control.Saturations = append(f.out.Control.Saturations, Saturation{
			From: f.timeOf(from), To: f.timeOf(k), FromRPM: f.smooth[from] * f.perRPM(), ToRPM: f.smooth[k-1] * f.perRPM(),
			Brake: mean(f.brake[from:k]), BrakeChange: last/first - 1, ByCommand: command != nil,
		})
	}
}

// cellsOf returns the means of a channel over the cells; nil for none.
func (f *steadyFinder) cellsOf(v []float64) []float64 {
	if v == nil {
		return nil
	}
	d := &f.r.drum
	sum, count := make([]float64, len(f.speed)), make([]float64, len(f.speed))
	for i, t := range d.time {
		if x := v[d.row(i)]; x-x == 0 {
			k := int((t - f.first) / f.length)
			sum[k] += x
			count[k]++
		}
	}
	for k := range sum {
		sum[k] /= count[k]
	}
	return sum
}

// moves finds the changes of speed under the brake between the points.
func (f *steadyFinder) moves() {
	from := 0
	for i := 0; i <= len(f.holds); i++ {
		to := len(f.speed)
		if i < len(f.holds) {
			to = f.holds[i].from
		}
		f.movesWithin(from, to)
		if i < len(f.holds) {
			from = f.holds[i].to
		}
	}
}

// movesWithin looks at the way between two holds, or at each stretch under the brake
// where the holds are far apart or only on one side.
func (f *steadyFinder) movesWithin(from, to int) {
	if from > 0 && to < len(f.speed) && to-from < f.cells(arrivalLook) {
		f.moveOf(from, to, true, true)
		return
	}
	for k := from; k < to; k++ {
		if !f.loaded[k] {
			continue
		}
		a := k
		for k < to && f.loaded[k] {
			k++
		}
		f.moveOf(a, k, a == from && a > 0, k == to && k < len(f.speed))
	}
}

// moveOf says what a change of speed between two cells is. A stretch that begins or
// ends at a hold takes its last or first half second in.
func (f *steadyFinder) moveOf(from, to int, afterHold, beforeHold bool) {
	if afterHold {
		from = max(from-f.cells(0.5), 0)
	}
	if beforeHold {
		to = min(to+f.cells(0.5), len(f.speed))
	}
	if to-from < 3 {
		return
	}
	a, b := f.smooth[from], f.smooth[to-1]
	change := b - a
	if !(math.Abs(change) >= leastMove*f.tolerance(math.Max(a, b))) {
		return
	}
	// The part of the way from a tenth to nine tenths is what has a rate.
	side := math.Copysign(1, change)
	first, last := from, to-1
	for first < last && side*(f.smooth[first]-a) < 0.1*math.Abs(change) {
		first++
	}
	for last > first && side*(f.smooth[last]-a) > 0.9*math.Abs(change) {
		last--
	}
	m := Move{Kind: MoveOther, From: f.timeOf(from), To: f.timeOf(to), FromRPM: a * f.perRPM(), ToRPM: b * f.perRPM()}
	if last-first < 2 {
		m.Kind, m.Rate, m.Departure = MoveStep, change*f.perRPM()/(float64(to-from)*f.length), math.NaN()
	} else {
		way := f.smooth[first : last+1]
		slope := cellSlope(way)
		m.Rate = slope / f.length * f.perRPM()
		m.Departure = departureFromLine(way, slope) / math.Abs(change)
		switch took := float64(last-first+1) * f.length / 0.8; {
		case f.saturated(m.From, m.To) > (m.To-m.From)/2:
			m.Kind = MoveAway
		case took <= MoveStepTime && (afterHold || beforeHold):
			m.Kind = MoveStep
		case took >= sweepTime && m.Departure <= sweepStraight:
			m.Kind = MoveSweep
		}
	}
	f.out.Control.Moves = append(f.out.Control.Moves, m)
}

// saturated returns for how long the brake had no more torque between two moments, s.
func (f *steadyFinder) saturated(from, to float64) (seconds float64) {
	for _, x := range f.out.Control.Saturations {
		seconds += math.Max(0, math.Min(to, x.To)-math.Max(from, x.From))
	}
	return seconds
}

// departureFromLine returns the largest distance of v from its least-squares line.
func departureFromLine(v []float64, slope float64) float64 {
	middle, level, most := float64(len(v)-1)/2, mean(v), 0.0
	for k, x := range v {
		most = math.Max(most, math.Abs(x-level-slope*(float64(k)-middle)))
	}
	return most
}
