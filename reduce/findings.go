package reduce

import (
	"math"

	"fairpull/signal"
)

// findings inspects the log for defects and gathers them by kind and channel: the
// worst of those that touch what the result rests on, else the worst of all.
func findings(r *record, touches func(*event) bool) []Finding {
	inspect(r)
	var found []Finding
	for _, e := range r.events {
		f := Finding{Kind: e.Kind, Channel: e.channel, Row: e.Row, Time: e.Start, Measured: e.Measured, Limit: e.Limit,
			Unit: e.Unit, Count: e.Count, InPull: touches(&e), Repaired: e.Repaired}
		k := 0
		for k < len(found) && (found[k].Kind != f.Kind || found[k].Channel != f.Channel) {
			k++
		}
		if k == len(found) {
			found = append(found, f)
			continue
		}
		f.Count += found[k].Count
		if worse(&f, &found[k]) {
			found[k] = f
		} else {
			found[k].Count = f.Count
		}
	}
	return found
}

// worse reports whether finding a describes its kind better than b: one in the
// pull, one not repaired, the larger.
func worse(a, b *Finding) bool {
	if a.InPull != b.InPull {
		return a.InPull
	}
	if a.Repaired != b.Repaired {
		return b.Repaired
	}
	return math.Abs(a.Measured) > math.Abs(b.Measured)
}

// touches reports whether a defect lies in what the result rests on: the pull
// and, for the drum and the brake, the coast-down.
func (ph *Phases) touches(e *event) bool {
	end := ph.End
	if e.Kind == signal.Stuck || e.Kind == signal.Saturated {
		end += settleTime // a channel that stops moving ends the pull where it does
	}
	if e.End >= ph.FullThrottle && e.Start <= end {
		return true
	}
	engine := e.channel == signal.EngineSpeed || e.channel == signal.EnginePulseChannel
	return ph.HasCoast && !engine && e.End >= ph.CoastStart && e.Start <= ph.CoastEnd
}

// inspect adds the defects that only a look over the whole record shows: gaps,
// and equal speeds in a row.
func inspect(r *record) {
	if r.log.Kind != signal.Sampled {
		return
	}
	look := func(name string, s *series) {
		if len(s.time) == 0 {
			return
		}
		r.note(name, signal.Gaps(s.time, s.rows, s.interval, gapLimit))
		runs := signal.EqualRuns(s.time, s.value, s.rows, signal.Quantum(s.value), equalLimit)
		r.note(name, runs)
	}
	look(signal.DrumSpeed, &r.drum)
	look(signal.EngineSpeed, &r.engine)
	for _, name := range []string{signal.BrakeTorque, signal.BrakeForce, signal.Lambda, signal.AirFuelRatio, signal.ManifoldPressure} {
		if v := r.log.Channel(name); len(v) == len(r.log.Time) && v != nil {
			r.note(name, signal.Clipped(r.log.Time, v, equalLimit))
		}
	}
}
