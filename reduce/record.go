package reduce

import (
	"fmt"
	"math"
	"sort"
	"sync/atomic"

	"fairpull/signal"
)

// limits of the log integrity checks: docs/formats.md, section 2.
const (
	gapLimit   = 2.5 // median sample intervals
	equalLimit = 8   // equal speeds in a row
)

// minimumSamples is the least a log must hold to be looked at: fewer cannot hold
// a few fitting windows.
const minimumSamples = 30

// event is a defect of one channel.
type event struct {
	channel string
	signal.Defect
}

// series is one shaft: what a fit goes over, and its speed.
type series struct {
	time, value      []float64 // s; rad/s (sampled) or rad (pulses)
	speedTime, speed []float64 // s, rad/s
	rows             []int     // row or pulse of each value; nil: the same
	interval         float64   // median distance of speed values, s
}

// record is a log made ready: unusable rows left out, pulses counted.
type record struct {
	log    *signal.Log
	drum   series
	engine series    // empty without an engine channel
	brake  []float64 // N·m at the drum axis, as long as drum.time; nil: none
	degree int       // of the local fit of drum.value
	order  int       // of the derivative of drum.value that is the acceleration
	teeth  signal.Teeth
	events []event
}

// openAnew makes the log ready for s.
func openAnew(log *signal.Log, s *Settings) (*record, error) {
	r := &record{log: log}
	var err error
	switch log.Kind {
	case signal.Sampled:
		r.degree, r.order = 3, 1
		err = r.openSampled(s)
	case signal.Pulses:
		r.degree, r.order = 4, 2
		err = r.openPulses(s)
	default:
		err = &LogError{Problem: "the log holds no drum channel", Cure: "A pull is reduced from drum speed over time or from drum pulses."}
	}
	if err != nil {
		return nil, err
	}
	return r, nil
}

// openSampled fills the record from the channels of a sampled log.
func (r *record) openSampled(s *Settings) error {
	t, omega := r.log.Time, r.log.Channel(signal.DrumSpeed)
	if len(omega) != len(t) || len(t) < minimumSamples {
		return &LogError{Problem: fmt.Sprintf("%d times and %d drum speeds, where at least %d of each are needed", len(t), len(omega), minimumSamples),
			Cure: "Give a log with a time and a drum speed in every row, over the whole pull."}
	}
	var err error
	if r.drum, err = r.sampledSeries(signal.DrumSpeed, t, omega, 0.03); err != nil {
		return err
	}
	if engine := r.log.Channel(signal.EngineSpeed); engine != nil {
		if len(engine) != len(t) {
			return &LogError{Problem: fmt.Sprintf("%d engine speeds for %d times", len(engine), len(t)), Cure: "Give one engine speed a row; leave a missing one empty."}
		}
		// An engine channel that holds next to nothing is as good as none.
		if r.engine, err = r.sampledSeries(signal.EngineSpeed, t, engine, 0.10); err != nil {
			r.engine = series{}
		}
	}
	return r.openBrake(s)
}

// sampledSeries picks the usable rows of one speed channel. A single value that
// stands off both neighbours by more than the fraction spike of the largest
// speed is left out: neither a drum nor a crankshaft can do that.
func (r *record) sampledSeries(name string, t, v []float64, spike float64) (series, error) {
	all := len(t)
	rows, defects := signal.Usable(t, v)
	backward := 0
	for _, d := range defects {
		if d.Kind == signal.BackwardTime {
			backward += d.Count
		}
	}
	if backward*20 > len(t) {
		return series{}, &LogError{Line: lineOf(r.log, defects[0].Row), Problem: fmt.Sprintf("time runs backward in %d of %d rows", backward, len(t)),
			Cure: "The log seems to hold more than one recording: keep one."}
	}
	if rows != nil {
		t, v = pick(t, rows), pick(v, rows)
		r.noteLeftOut(name, t, rows, defects, all)
	}
	if len(t) < minimumSamples {
		return series{}, &LogError{Line: lineOf(r.log, 0), Problem: fmt.Sprintf("only %d rows have a usable time and %s", len(t), name),
			Cure: "Check the time and speed columns and their units."}
	}
	if off := signal.Spikes(t, v, rows, spike); off != nil {
		keep := make([]int, 0, len(t))
		for i, k := 0, 0; i < len(t); i++ {
			if k < len(off) && off[k].Index == i {
				r.events = append(r.events, event{name, off[k].Defect})
				k++
				continue
			}
			keep = append(keep, i)
		}
		t, v = pick(t, keep), pick(v, keep)
		for i, k := range keep {
			if rows != nil {
				keep[i] = rows[k]
			}
		}
		rows = keep
	}
	return series{time: t, value: v, speedTime: t, speed: v, rows: rows, interval: signal.MedianInterval(t)}, nil
}

// noteLeftOut notes the rows that were left out of a channel: t and rows are those
// that are left, of all. Where the samples around close up to within the gap limit,
// the fit loses nothing; unless rows are left out all the time, as with stamps too
// coarse for the rate. An engine channel with values in some rows only, evenly, is
// a slower channel and not a defect.
func (r *record) noteLeftOut(name string, t []float64, rows []int, defects []signal.Defect, all int) {
	limit := gapLimit * signal.MedianInterval(t)
	rare := (all-len(rows))*20 <= all
	slower := name != signal.DrumSpeed && (all-len(rows))*3 > all
	for _, d := range defects {
		// A stamp is wrong for all channels: it is reported once.
		if name != signal.DrumSpeed && d.Kind != signal.MissingCell {
			continue
		}
		next := sort.SearchInts(rows, d.Row)
		before, after := d.Start, d.End
		if next > 0 {
			before = t[next-1]
		}
		if next < len(t) {
			after = t[next]
		}
		closes := after-before <= limit
		if closes && slower {
			continue
		}
		d.Repaired = closes && rare
		r.events = append(r.events, event{name, d})
	}
}

// openBrake fills the brake torque from its own channel, or from force and arm.
func (r *record) openBrake(s *Settings) error {
	brake, name, factor := r.log.Channel(signal.BrakeTorque), signal.BrakeTorque, 1.0
	if brake == nil {
		brake, name, factor = r.log.Channel(signal.BrakeForce), signal.BrakeForce, s.BrakeArm
		if brake == nil {
			return nil
		}
		if !(s.BrakeArm > 0) {
			return &LogError{Problem: "the log gives a brake force, and the brake arm is not stated", Cure: "State brake_arm_m of the dyno."}
		}
	}
	if len(brake) != len(r.log.Time) {
		return &LogError{Problem: fmt.Sprintf("%d values of %s for %d times", len(brake), name, len(r.log.Time)), Cure: "Give one value a row; leave a missing one empty."}
	}
	r.brake = make([]float64, len(r.drum.time))
	missing := 0
	last := -1
	for i := range r.brake {
		v := brake[r.drum.row(i)] * factor
		r.brake[i] = v
		if math.IsNaN(v) || math.IsInf(v, 0) {
			missing++
			r.events = append(r.events, event{name, signal.Defect{Kind: signal.MissingCell, Row: r.drum.row(i), Count: 1,
				Start: r.drum.time[i], End: r.drum.time[i], Measured: 1}})
			continue
		}
		r.bridgeBrake(last, i)
		last = i
	}
	if missing*10 > len(r.brake) {
		return &LogError{Line: lineOf(r.log, 0), Problem: fmt.Sprintf("%d of %d values of %s are missing", missing, len(r.brake), name),
			Cure: "Brake torque is part of the balance: give it in every row, or leave the column out where the brake was off."}
	}
	for i := last + 1; i < len(r.brake); i++ {
		r.brake[i] = r.brake[last]
	}
	return nil
}

// bridgeBrake fills missing brake values between the known ones at last and i, or
// before the first known.
func (r *record) bridgeBrake(last, i int) {
	t := r.drum.time
	for k := last + 1; k < i; k++ {
		if last < 0 {
			r.brake[k] = r.brake[i]
			continue
		}
		r.brake[k] = r.brake[last] + (r.brake[i]-r.brake[last])*(t[k]-t[last])/(t[i]-t[last])
	}
}

// openPulses fills the record from the pulse trains.
func (r *record) openPulses(s *Settings) error {
	if s.PulsesPerRev < 1 {
		return &LogError{Problem: "the log holds drum pulses, and the pulses a turn are not stated", Cure: "State pulses_per_rev of the dyno."}
	}
	if len(r.log.DrumPulse) < minimumSamples {
		return &LogError{Problem: fmt.Sprintf("%d drum pulses, where at least %d are needed", len(r.log.DrumPulse), minimumSamples),
			Cure: "Give a log over the whole pull."}
	}
	if len(r.log.EnginePulse) > 0 && !(s.EnginePulsesPerRev > 0) {
		return &LogError{Problem: "the log holds ignition pulses, and the pulses a crankshaft turn are not stated", Cure: "State engine_pulses_per_rev of the dyno."}
	}
	train := signal.CountPulses(r.log.DrumPulse)
	if len(train.Time) < minimumSamples {
		return &LogError{Line: lineOf(r.log, 0), Problem: fmt.Sprintf("only %d drum pulses are usable", len(train.Time)), Cure: "Check that the pulse times increase."}
	}
	r.note(signal.DrumPulseChannel, train.Defects)
	r.teeth = signal.MeasureTeeth(&train, s.PulsesPerRev)
	var teeth *signal.Teeth
	if r.teeth.Found() {
		teeth = &r.teeth
	}
	r.drum = pulseSeries(&train, float64(s.PulsesPerRev), teeth)
	if len(r.log.EnginePulse) >= minimumSamples {
		engine := signal.CountPulses(r.log.EnginePulse)
		if len(engine.Time) >= minimumSamples {
			r.note(signal.EnginePulseChannel, engine.Defects)
			r.engine = pulseSeries(&engine, s.EnginePulsesPerRev, nil)
		}
	}
	return nil
}

// groupTime is how long the pulses may take that are averaged to one value: a
// twentieth of the shortest fitting window that is of use.
const groupTime = 0.01 // s

// pulseSeries turns a counted train into a series of angle and speed.
func pulseSeries(train *signal.Train, perTurn float64, teeth *signal.Teeth) series {
	group := int(math.Min(groupTime/signal.MedianInterval(train.Time), perTurn))
	a := signal.AngleOf(train, perTurn, teeth, max(1, group))
	out := series{time: a.Time, value: a.Value}
	out.speedTime, out.speed = a.Speeds()
	out.interval = signal.MedianInterval(out.speedTime)
	return out
}

// note adds the defects of a channel.
func (r *record) note(channel string, defects []signal.Defect) {
	for _, d := range defects {
		r.events = append(r.events, event{channel, d})
	}
}

// row returns the row or pulse number of value i.
func (s *series) row(i int) int {
	if s.rows == nil {
		return i
	}
	return s.rows[i]
}

// intervalAt returns the mean interval of the eight speeds around time t, in s:
// with few pulses a turn it is long where the drum is slow.
func (s *series) intervalAt(t float64) float64 {
	n := len(s.speedTime)
	k := searchFrom(s.speedTime, t)
	lo, hi := max(0, k-4), min(n-1, k+4)
	return (s.speedTime[hi] - s.speedTime[lo]) / float64(hi-lo)
}

// pick returns the values at the given indices.
func pick(v []float64, at []int) []float64 {
	out := make([]float64, len(at))
	for i, k := range at {
		out[i] = v[k]
	}
	return out
}

// within returns the range of indices of the increasing times t that lie in
// [from, to].
func within(t []float64, from, to float64) (lo, hi int) {
	return searchFrom(t, from), searchAfter(t, to)
}

// searchFrom returns the first index with t[i] ≥ x.
func searchFrom(t []float64, x float64) int {
	lo, hi := 0, len(t)
	for lo < hi {
		if m := (lo + hi) / 2; t[m] < x {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// searchAfter returns the first index with t[i] > x.
func searchAfter(t []float64, x float64) int {
	lo, hi := 0, len(t)
	for lo < hi {
		if m := (lo + hi) / 2; t[m] <= x {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// kept is a record that Find made, to be taken over once by Reduce: Reduce may
// change it.
type kept struct {
	record   atomic.Pointer[record]
	settings Settings
}

// open returns the record of log, the one that Find kept where it was made from
// the same log and settings.
func open(log *signal.Log, s *Settings, k *kept) (*record, error) {
	if k != nil && k.settings.sameRig(s) {
		if r := k.record.Swap(nil); r != nil && r.log == log {
			return r, nil
		}
	}
	return openAnew(log, s)
}

// sameRig says whether two settings open a log in the same way.
func (s *Settings) sameRig(o *Settings) bool {
	return s.Inertia == o.Inertia && s.Radius == o.Radius && s.Parasitic == o.Parasitic && s.BrakeArm == o.BrakeArm &&
		s.PulsesPerRev == o.PulsesPerRev && s.EnginePulsesPerRev == o.EnginePulsesPerRev &&
		s.RevsPerDrumRev == o.RevsPerDrumRev && s.WheelInertia == o.WheelInertia && s.WheelRadius == o.WheelRadius
}
