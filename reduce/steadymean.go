package reduce

import (
	"fmt"
	"math"
	"strings"

	"fairpull/drum"
	"fairpull/signal"
)

// Temperatures that decide whether a point is steady; others are only reported.
var settlingTemperatures = []string{signal.OilTemperature, "coolant_temp", "engine_temp", "tyre_temp"}

const (
	warmingChange = 1.5 // K that a temperature must have changed by over a point to count as running away
	largestTorque = 1e6 // N·m at the drum
	largestSpeed  = 1e4 // rad/s of an engine
	warmingStep   = 1.0 // s, at least, by which the beginning of a point is moved on while it does
)

// measure turns the holds into points.
func (f *steadyFinder) measure() {
	var turns signal.TurnScratch
	for _, h := range f.holds {
		found, end := f.timeOf(h.from), math.Min(f.timeOf(h.to), f.r.drum.time[len(f.r.drum.time)-1])
		p := SteadyPoint{Found: found, Start: found + f.rule.Settle, End: end}
		rpm := f.meanSpeed(h) * f.ratio * 30 / math.Pi
		leave := func(format string, arguments ...any) {
			f.out.LeftOut = append(f.out.LeftOut, LeftOut{From: found, To: end, RPM: rpm, Why: fmt.Sprintf(format, arguments...)})
		}
		if end-p.Start < f.rule.Least {
			leave("held for %.1f s; %g s are left out and %g s must remain", end-found, f.rule.Settle, f.rule.Least)
			continue
		}
		if hot := f.waitForTemperatures(&p); hot != "" {
			leave("%s went on changing: %s", strings.ReplaceAll(hot, "_", " "), rates(p.Warming))
			continue
		}
		if why := f.balance(&p, &turns); why != "" {
			leave("%s", why)
			continue
		}
		f.out.Points = append(f.out.Points, p)
	}
}

// rates words what the temperatures did.
func rates(all []Warming) string {
	words := make([]string, len(all))
	for i, w := range all {
		words[i] = fmt.Sprintf("%s %+.2f K/s", strings.ReplaceAll(w.Channel, "_", " "), w.Rate)
	}
	return strings.Join(words, ", ")
}

func (f *steadyFinder) meanSpeed(h stretch) float64 { return mean(f.speed[h.from:h.to]) }

// waitForTemperatures moves the beginning of the point on until no temperature runs
// away, over the whole of it or its first half, and returns the channel that still does when less than the least time would
// remain; empty: none does.
func (f *steadyFinder) waitForTemperatures(p *SteadyPoint) (running string) {
	step := math.Max(warmingStep, (p.End-p.Start)/50)
	for {
		running, p.Warming = "", p.Warming[:0]
		for _, name := range settlingTemperatures {
			rate, known := f.rate(name, p.Start, p.End)
			if !known {
				continue
			}
			p.Warming = append(p.Warming, Warming{name, rate})
			half := (p.End - p.Start) / 2
			first, _ := f.rate(name, p.Start, p.Start+half)
			if f.runs(rate, 2*half) || f.runs(first, half) {
				running = name
			}
		}
		if running == "" || p.End-p.Start-step < f.rule.Least {
			return running
		}
		p.Start += step
	}
}

// runs says whether a temperature that goes at a rate in K/s for so long runs away.
// A change that a coarse thermometer makes in one step is none.
func (f *steadyFinder) runs(rate, seconds float64) bool {
	return math.Abs(rate) > f.rule.Warming && math.Abs(rate)*seconds > warmingChange
}

// rate returns the slope of a channel between two moments, in its unit per s.
func (f *steadyFinder) rate(name string, from, to float64) (slope float64, known bool) {
	t, v := f.r.log.Time, f.r.log.Channel(name)
	if len(v) != len(t) || v == nil {
		return 0, false
	}
	lo, hi := f.rows(from, to)
	var n, st, sv, stt, stv float64
	for i := lo; i < hi; i++ {
		x, y := t[i]-from, v[i]
		if x-x != 0 || y-y != 0 || x < 0 || t[i] > to {
			continue
		}
		n, st, sv, stt, stv = n+1, st+x, sv+y, stt+x*x, stv+x*y
	}
	if slope = (n*stv - st*sv) / (n*stt - st*st); slope-slope != 0 {
		return 0, false
	}
	return slope, true
}

// rows returns the rows of the log between two moments, from ≤ row < to.
func (f *steadyFinder) rows(from, to float64) (lo, hi int) {
	d := &f.r.drum
	a, b := within(d.time, from, to)
	if a >= b {
		return 0, 0
	}
	return d.row(a), d.row(b-1) + 1
}

// balance works out the mean torque of a point, and why there is none.
//
// The balance I·dω/dt + brake + parasitic is averaged with triangular weights two
// cells wide: the mean of dω/dt under such a weight is exactly the difference of the
// two cells' mean speeds over the distance of their middles, so nothing is
// differentiated, and brake and parasitic torque are averaged with the same weight.
// The means of overlapping triangles add up to that of the whole point, in which
// all but the first and last cell's speed cancel.
func (f *steadyFinder) balance(p *SteadyPoint, turns *signal.TurnScratch) (why string) {
	d := &f.r.drum
	lo, hi := within(d.time, p.Start, p.End)
	if hi-lo < minimumSamples {
		return fmt.Sprintf("only %d rows are usable", hi-lo)
	}
	t, omega := d.time[lo:hi], withoutTurnError(d.time[lo:hi], d.value[lo:hi], turns)
	b := balanceOf(t, omega, f.r.brake[lo:hi], f.s, p.Start, f.length)
	if len(b.torque) < signal.MinimumForMean {
		return fmt.Sprintf("%d means over %.2f s without a gap, and %d are needed: log faster, or hold longer", len(b.torque), f.length, signal.MinimumForMean)
	}
	p.Rows, p.DrumSpeed = hi-lo, mean(omega)
	p.Brake, p.Parasitic, p.Inertia = mean(b.brake), mean(b.parasitic), f.s.Inertia*mean(b.alpha)
	p.DrumTorque = p.Brake + p.Parasitic + p.Inertia
	engine := f.engineSpeed(p)
	if !(p.DrumTorque > 0) || !(engine > 0) || !(p.DrumSpeed > 0) {
		return fmt.Sprintf("the torque at the drum comes to %.1f N·m, which is no load", p.DrumTorque)
	}
	if p.DrumTorque > largestTorque || engine > largestSpeed {
		return "torque or speed is beyond any rig: check the units of the columns"
	}
	perDrum := p.DrumSpeed / engine
	m := signal.MeanOf(b.torque)
	p.EngineRPM, p.Torque = engine*30/math.Pi, p.DrumTorque*perDrum
	p.StandardError, p.DF, p.Effective = m.StandardError*perDrum, m.DF, m.Effective
	p.Short = p.Effective < fewValues
	length := p.End - p.Start
	p.Trend = cellSlope(b.torque) / f.length * perDrum
	p.TrendSE = p.StandardError * math.Sqrt(12) / length
	p.SpeedDrift = mean(b.alpha) * p.EngineRPM / p.DrumSpeed
	p.SpeedSD = spread(b.speed) * p.EngineRPM / p.DrumSpeed
	first, last := f.rows(p.Start, p.End)
	p.Means = channelMeans(f.r.log, first, last-1)
	f.throttleOf(p)
	return ""
}

// spread returns the standard deviation of v.
func spread(v []float64) float64 {
	m, ss := mean(v), 0.0
	for _, x := range v {
		ss += (x - m) * (x - m)
	}
	return math.Sqrt(ss / float64(len(v)-1))
}

// turnBlock is how long, in s, the speed of a hold is one cubic while the encoder's
// error is looked for.
const turnBlock = 2

// withoutTurnError returns the speeds with the encoder's once-per-turn error taken
// off, where one is found.
func withoutTurnError(t, omega []float64, scratch *signal.TurnScratch) []float64 {
	e, _ := signal.OncePerTurn(t, omega, signal.TurnError{}, turnBlock, scratch)
	if !e.Found() {
		return omega
	}
	corrected := make([]float64, len(omega))
	e.Correct(omega, corrected, scratch)
	return corrected
}

// balanced is the torque balance of one stretch under triangular weights, each
// element between two neighbouring cells.
type balanced struct {
	torque                  []float64 // N·m at the drum
	brake, parasitic, alpha []float64 // N·m, N·m, rad/s²
	speed                   []float64 // mean drum speed of each cell, rad/s
}

// cellSums are what a cell adds up: u is the place in the cell, 0 to 1.
type cellSums struct {
	n, t, omega                   float64
	u, brake, brakeU, drag, dragU float64
}

// balanceOf averages the balance over cells of the given length in s, the first of
// which begins at the moment first. A cell without two rows ends the series that
// goes on the longest.
func balanceOf(t, omega, brake []float64, s *Settings, first, length float64) balanced {
	cells := make([]cellSums, int((t[len(t)-1]-first)/length)+1)
	for i, ti := range t {
		place := (ti - first) / length
		k := int(place)
		if k < 0 || k >= len(cells) {
			continue
		}
		c, u := &cells[k], place-float64(k)
		drag := drum.Polynomial(s.Parasitic, omega[i])
		c.n++
		c.t += ti
		c.omega += omega[i]
		c.u += u
		c.brake += brake[i]
		c.brakeU += brake[i] * u
		c.drag += drag
		c.dragU += drag * u
	}
	if last := len(cells) - 1; last > 0 && cells[last].n < cells[last-1].n/2 {
		cells = cells[:last] // the rest of the stretch does not fill it
	}
	from, to := longestFilled(cells)
	var b balanced
	for k := from; k < to; k++ {
		c := &cells[k]
		b.speed = append(b.speed, c.omega/c.n)
		if k == from {
			continue
		}
		a := &cells[k-1]
		weight := a.u + c.n - c.u
		b.brake = append(b.brake, (a.brakeU+c.brake-c.brakeU)/weight)
		b.parasitic = append(b.parasitic, (a.dragU+c.drag-c.dragU)/weight)
		b.alpha = append(b.alpha, (c.omega/c.n-a.omega/a.n)/(c.t/c.n-a.t/a.n))
		j := len(b.alpha) - 1
		b.torque = append(b.torque, b.brake[j]+b.parasitic[j]+s.Inertia*b.alpha[j])
	}
	return b
}

// longestFilled returns the longest row of cells that each hold two rows or more.
func longestFilled(cells []cellSums) (from, to int) {
	start := 0
	for k := range cells {
		if cells[k].n < 2 {
			start = k + 1
		}
		if k+1-start > to-from {
			from, to = start, k+1
		}
	}
	return from, to
}

// engineSpeed returns the mean engine speed of a point, rad/s: the channel's own,
// else the drum's times the ratio.
func (f *steadyFinder) engineSpeed(p *SteadyPoint) float64 {
	e := &f.r.engine
	lo, hi := within(e.time, p.Start, p.End)
	if hi-lo >= 5 {
		return mean(e.value[lo:hi])
	}
	return f.ratio * p.DrumSpeed
}

// throttleOf fills the throttle of a point, and whether it is fully open.
func (f *steadyFinder) throttleOf(p *SteadyPoint) {
	p.Throttle, p.FullThrottle = math.NaN(), true
	if f.throttle == nil {
		return
	}
	a, b := int((p.Start-f.first)/f.length), int((p.End-f.first)/f.length)
	p.Throttle = mean(f.throttle[a:min(b+1, len(f.throttle))])
	p.FullThrottle = p.Throttle >= f.open
}
