package reduce

import (
	"fmt"
	"math"

	"fairpull/signal"
)

// Rules by which the pull is found.
const (
	settleTime     = 0.5  // s after full throttle in which engine and tyre still settle
	accelerating   = 0.12 // of the 95th percentile of slope: below it, no pull
	fullThrottle   = 0.95 // of the largest opening: above it, full throttle
	dipTime        = 0.15 // s that the slope or the throttle may dip without ending the pull
	halfWidth      = 0.10 // s, half-width of the straight lines that give the slope
	widestHalf     = 0.80 // s, the same for the noisiest log
	slopeNoise     = 0.04 // of the 95th percentile: above it, wider lines are taken
	smallestGrowth = 0.10 // of the largest drum speed: a pull gains at least that
)

// Find returns where in the log the pull and the coast-down are.
//
// Only Inertia may be missing from s; a log without an engine channel needs
// RevsPerDrumRev. With a throttle channel the pull is the full-throttle stretch
// in which the drum gains most, cut short where the acceleration ends sooner (rev
// limiter); else it is the stretch of sustained acceleration. A curve that was
// reduced elsewhere has no times, only its range of engine speed.
//
// A log that holds no pull, or one too short to leave anything after settling,
// is a *LogError.
func Find(log *signal.Log, s Settings) (Phases, error) {
	if log.Kind == signal.Reduced {
		return curvePhases(log)
	}
	r, err := openAnew(log, &s)
	if err != nil {
		return Phases{}, err
	}
	if len(r.engine.time) == 0 && !(s.RevsPerDrumRev > 0) {
		return Phases{}, &LogError{Problem: "the log has no engine speed, and the engine turns a drum turn are not stated",
			Cure: "Log the engine speed, or state engine_revs_per_drum_rev for the gear."}
	}
	f, err := newFinder(r)
	if err != nil {
		return Phases{}, err
	}
	ph, err := f.pull()
	if err != nil {
		return Phases{}, err
	}
	ratio := s.RevsPerDrumRev
	if measured := f.ratio(ph.Start, ph.End); !math.IsNaN(measured) {
		ratio = measured
	}
	if !(ratio > 0) {
		return Phases{}, &LogError{Line: f.line(ph.Start), Problem: "the engine speed channel holds nothing within the pull, and the engine turns a drum turn are not stated",
			Cure: "Check the channel, or state engine_revs_per_drum_rev for the gear."}
	}
	ph.LowRPM = f.engineSpeed(ph.Start, 1, ratio) * 30 / math.Pi
	ph.HighRPM = f.engineSpeed(ph.End, -1, ratio) * 30 / math.Pi
	if !(ph.HighRPM > ph.LowRPM) {
		return Phases{}, &LogError{Line: f.line(ph.Start), Problem: fmt.Sprintf("engine speed goes from %.0f to %.0f 1/min over the pull", ph.LowRPM, ph.HighRPM),
			Cure: "Check the engine speed channel and its unit."}
	}
	f.coast(&ph, ratio)
	ph.kept = &kept{settings: s}
	ph.kept.record.Store(r)
	return ph, nil
}

// finder looks for the phases on an even grid of speed and slope.
type finder struct {
	r     *record
	lines signal.Lines
	top   float64 // 95th percentile of slope, rad/s²
	fast  float64 // largest speed on the grid, rad/s

	lever  []float64 // throttle on the grid; nil: no usable channel
	widest float64   // its largest opening
	note   string    // why a throttle channel was not used
}

// newFinder lays the grid, with lines as wide as the noise of the slope asks for.
func newFinder(r *record) (*finder, error) {
	f := &finder{r: r}
	var scratch []float64
	for half := math.Max(halfWidth, 3*r.drum.interval); ; half *= 2 {
		f.lines = signal.LinesOf(r.drum.speedTime, r.drum.speed, half/4, half)
		if len(f.lines.Time) < 40 {
			return nil, &LogError{Problem: "the log is too short, or too sparse, to hold a pull", Cure: "Log the whole pull at ten samples a second or more."}
		}
		scratch = append(scratch[:0], f.lines.Slope...)
		f.top = signal.Quantile(scratch, 0.95)
		if half*2 > widestHalf || f.slopeNoise(scratch[:0]) < slopeNoise*f.top {
			break
		}
	}
	for _, v := range f.lines.Value {
		f.fast = math.Max(f.fast, v)
	}
	if !(f.top > 0) || !(f.fast > 0) {
		return nil, &LogError{Line: lineOf(r.log, 0), Problem: "the drum does not gain speed anywhere in the log", Cure: "Check the drum speed channel, its sign and its unit."}
	}
	f.readThrottle()
	return f, nil
}

// slopeNoise estimates the standard deviation of the slope's noise from second
// differences over lines that share no sample, by their median.
func (f *finder) slopeNoise(scratch []float64) float64 {
	const apart = 8 // grid points: a whole width
	s := f.lines.Slope
	for k := apart; k+apart < len(s); k++ {
		scratch = append(scratch, math.Abs(s[k-apart]-2*s[k]+s[k+apart]))
	}
	return signal.Quantile(scratch, 0.5) / (0.6745 * math.Sqrt(6))
}

// readThrottle brings the throttle to the grid, at the last row before each point.
// A channel that hardly moves says nothing and is not used.
func (f *finder) readThrottle() {
	v := f.r.log.Channel(signal.Throttle)
	if f.r.log.Kind != signal.Sampled || len(v) != len(f.r.log.Time) {
		return
	}
	stride := max(1, len(v)/1000)
	sample := make([]float64, 0, 2000)
	for i := 0; i < len(v); i += stride {
		if x := v[i]; x-x == 0 { // a number
			sample = append(sample, x)
		}
	}
	if len(sample) < minimumSamples {
		f.note = "The throttle channel is empty and was not used."
		return
	}
	many := 1 - math.Min(0.1, 10/float64(len(sample)))
	largest, least := signal.Quantile(sample, many), signal.Quantile(sample, 1-many)
	if largest-least < 0.2 {
		f.note = "The throttle channel hardly moves and was not used."
		return
	}
	f.lever, f.widest = make([]float64, len(f.lines.Time)), largest
	d := &f.r.drum
	i, opening := 0, math.Inf(-1)
	for k, at := range f.lines.Time {
		for ; i < len(d.time) && d.time[i] <= at; i++ {
			if x := v[d.row(i)]; x-x == 0 {
				opening = x
			}
		}
		f.lever[k] = opening
	}
}

// pull finds the pull.
func (f *finder) pull() (Phases, error) {
	ph := Phases{}
	slope := f.lines.Slope
	gains := func(k int) bool { return slope[k] > accelerating*f.top }
	first, last := f.bestStretch(gains)
	if f.lever != nil {
		open := func(k int) bool { return f.lever[k] >= fullThrottle*f.widest }
		first, last = f.bestStretch(open)
		ph.ByThrottle = true
	}
	if first < 0 || f.lines.Value[last]-f.lines.Value[first] < smallestGrowth*f.fast {
		return Phases{}, &LogError{Line: lineOf(f.r.log, 0), Problem: "the log holds no stretch in which the drum gains speed for long enough",
			Cure: "A pull is full throttle from low to high engine speed in one gear: check that the log holds one, and the unit of drum speed."}
	}
	if ph.ByThrottle {
		f.edgesByThrottle(&ph, first, last)
	} else {
		ph.FullThrottle, ph.End = f.upEdge(first), f.downEdge(last)
		ph.Rule = "Pull: the stretch of sustained acceleration, above 12 % of the log's 95th percentile of slope (no throttle channel); "
		if f.note != "" {
			ph.Rule = f.note + " " + ph.Rule
		}
	}
	ph.Start = ph.FullThrottle + settleTime
	ph.Rule += "the first 0.5 s is left out, and every fitting window ends before the throttle closes."
	if ph.End-ph.Start < settleTime {
		return Phases{}, &LogError{Line: f.line(ph.FullThrottle), Problem: fmt.Sprintf("the pull lasts %.2f s, of which the first %.1f s is settling", ph.End-ph.FullThrottle, settleTime),
			Cure: "Make the pull longer: start at a lower engine speed or in a higher gear."}
	}
	return ph, nil
}

// edgesByThrottle sets the edges of a pull between grid points first and last of
// full throttle. Where the drum begins to gain later (held by a brake) or stops
// gaining sooner (rev limiter), that counts.
func (f *finder) edgesByThrottle(ph *Phases, first, last int) {
	ph.Rule = "Pull: full throttle, above 95 % of the largest opening; "
	ph.FullThrottle, ph.End = f.throttleEdges(first, last)
	from, to := -1, -1
	for k := first; k <= last; k++ {
		if f.lines.Slope[k] > accelerating*f.top {
			if from < 0 {
				from = k
			}
			to = k
		}
	}
	if from < 0 {
		return
	}
	if begin := f.lines.Time[from]; begin > ph.FullThrottle+0.3 {
		ph.FullThrottle = begin
		ph.Rule = "Pull: full throttle and, as the drum was held at first, sustained acceleration; "
	}
	if to+1 < len(f.lines.Time) && f.lines.Time[to] < ph.End-0.3 {
		ph.End = math.Min(ph.End, f.downEdge(to))
		ph.Rule = "Pull: full throttle, above 95 % of the largest opening, up to where the drum stops gaining speed; "
	}
}

// throttleEdges returns the first moment of full throttle around the stretch from
// grid point first to last, and the last before the throttle begins to close,
// both from the rows themselves. A closing throttle is already on its way when it
// passes 95 %: the straight line from there to 50 % is followed back to the top.
func (f *finder) throttleEdges(first, last int) (from, to float64) {
	t, v := f.r.log.Time, f.r.log.Channel(signal.Throttle)
	lo, hi := f.lines.Time[first]-f.lines.Spacing, f.lines.Time[last]+f.lines.Spacing
	from, to = math.Inf(1), math.Inf(-1)
	half := math.NaN()
	for i, ti := range t {
		switch {
		case ti >= lo && ti <= hi && v[i] >= fullThrottle*f.widest:
			if ti < from {
				from = ti
			}
			if ti > to {
				to, half = ti, math.NaN()
			}
		case ti > to && v[i] <= f.widest/2 && !(ti >= half):
			half = ti
		}
	}
	if !math.IsNaN(half) {
		to -= (half - to) * (1 - fullThrottle) / (fullThrottle - 0.5)
	}
	return from, to
}
