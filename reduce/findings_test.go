package reduce

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairpull/signal"
)

// look returns the finding of a kind on a channel.
func look(r *Result, kind, channel string) (Finding, bool) {
	for _, f := range r.Findings {
		if f.Kind == kind && f.Channel == channel {
			return f, true
		}
	}
	return Finding{}, false
}

// noisyLog returns a realistic sampled log of the world.
func noisyLog(w *world, seed uint64) *signal.Log {
	return w.sampled(flaws{rate: 200, noise: 0.04, engineNoise: 1.5, random: rand.New(rand.NewPCG(21, seed))})
}

// TestCleanLogHasNoFindings: nothing is found where nothing is wrong.
func TestCleanLogHasNoFindings(t *testing.T) {
	w := twin().run()
	for seed := range uint64(20) {
		if r := reduced(t, noisyLog(w, seed), w.settings()); len(r.Findings) > 0 {
			t.Errorf("log %d: %+v", seed, r.Findings)
		}
	}
}

// TestDefectsFound: each defect of a sampled log is found, placed, and does no more
// to the curve than it must.
func TestDefectsFound(t *testing.T) {
	w := twin().run()
	row := 2000 // at 10 s, in the pull
	for _, c := range []struct {
		name          string
		break_        func(log *signal.Log)
		kind, channel string
		count, at     int
		repaired      bool
		harm          float64 // relative, on top of the noise
	}{
		{"gap", func(log *signal.Log) { cut(log, row, row+30) }, signal.Gap, signal.DrumSpeed, 1, row, false, 0.003},
		{"repeated stamp", func(log *signal.Log) { log.Time[row] = log.Time[row-1] }, signal.RepeatedTime, signal.DrumSpeed, 1, row, true, 0.001},
		{"stamp behind", func(log *signal.Log) { log.Time[row] = log.Time[row-3] }, signal.BackwardTime, signal.DrumSpeed, 1, row, true, 0.001},
		{"stamp ahead", func(log *signal.Log) { log.Time[row] += 5 }, signal.BackwardTime, signal.DrumSpeed, 1, row, true, 0.001},
		{"stuck", func(log *signal.Log) { hold(log.Channel(signal.DrumSpeed), row, row+12) }, signal.Stuck, signal.DrumSpeed, 12, row, false, 0.1},
		{"missing cells", func(log *signal.Log) {
			for i := row; i < row+5; i++ {
				log.Channel(signal.DrumSpeed)[i] = math.NaN()
			}
		}, signal.MissingCell, signal.DrumSpeed, 5, row, false, 0.002},
		{"one missing cell", func(log *signal.Log) { log.Channel(signal.DrumSpeed)[row] = math.NaN() }, signal.MissingCell, signal.DrumSpeed, 1, row, true, 0.001},
		{"missing engine cells", func(log *signal.Log) {
			for i := row; i < row+5; i++ {
				log.Channel(signal.EngineSpeed)[i] = math.Inf(1)
			}
		}, signal.MissingCell, signal.EngineSpeed, 5, row, false, 0.002},
		{"spike", func(log *signal.Log) { log.Channel(signal.DrumSpeed)[row] *= 1.2 }, signal.Spike, signal.DrumSpeed, 1, row, true, 0.001},
		{"doubled engine speed", func(log *signal.Log) {
			for i := row; i < row+7; i++ {
				log.Channel(signal.EngineSpeed)[i] *= 2
			}
		}, signal.Spike, signal.EngineSpeed, 7, row, true, 0.002},
	} {
		plain := reduced(t, noisyLog(w, 1), w.settings())
		log := noisyLog(w, 1)
		c.break_(log)
		r := reduced(t, log, w.settings())
		f, ok := look(r, c.kind, c.channel)
		if !ok {
			t.Errorf("%s: not found among %+v", c.name, r.Findings)
			continue
		}
		if f.Count != c.count || f.Row < c.at-1 || f.Row > c.at+6 || !f.InPull || f.Repaired != c.repaired {
			t.Errorf("%s: %+v; want %d at row %d in the pull, repaired %v", c.name, f, c.count, c.at, c.repaired)
		}
		if math.Abs(f.Time-10) > 0.2 {
			t.Errorf("%s: at %.2f s, it is at 10 s", c.name, f.Time)
		}
		if before, after := rms(w, plain), rms(w, r); !(after < before+c.harm) {
			t.Errorf("%s: nodes are off by %.3f %%, without the defect by %.3f %%", c.name, after*100, before*100)
		}
	}
}

// TestSlowerEngineChannel: an engine speed in every tenth row is a slower channel,
// not nine missing cells in ten, and the curve is as good.
func TestSlowerEngineChannel(t *testing.T) {
	w := twin().run()
	log := noisyLog(w, 8)
	plain := reduced(t, log, w.settings())
	for i := range log.Time {
		if i%10 != 3 {
			log.Channel(signal.EngineSpeed)[i] = math.NaN()
		}
	}
	r := reduced(t, log, w.settings())
	if len(r.Findings) > 0 {
		t.Errorf("findings: %+v", r.Findings)
	}
	if before, after := rms(w, plain), rms(w, r); !(after < before+0.0015) || r.Curve.Len() < plain.Curve.Len()-1 {
		t.Errorf("nodes are off by %.3f %%, with a full channel by %.3f %%", after*100, before*100)
	}
}

// TestCoarseStampsAreReported: stamps to the hundredth of a second at 200 samples a
// second repeat all the time; every second row is lost, and that is said.
func TestCoarseStampsAreReported(t *testing.T) {
	w := twin().run()
	log := noisyLog(w, 9)
	for i, ti := range log.Time {
		log.Time[i] = math.Floor(ti*100) / 100
	}
	r := reduced(t, log, w.settings())
	if f, ok := look(r, signal.RepeatedTime, signal.DrumSpeed); !ok || f.Repaired || !f.InPull || f.Count < len(log.Time)*2/5 {
		t.Errorf("findings: %+v", r.Findings)
	}
}

// TestSaturatedDrumSpeed: the channel's range ends below the pull's top.
func TestSaturatedDrumSpeed(t *testing.T) {
	w := twin().run()
	log := noisyLog(w, 3)
	for i, v := range log.Channel(signal.DrumSpeed) {
		log.Channel(signal.DrumSpeed)[i] = math.Min(v, 200)
	}
	r := reduced(t, log, w.settings())
	if f, ok := look(r, signal.Saturated, signal.DrumSpeed); !ok || !f.InPull {
		t.Errorf("a drum speed that stops at 200 rad/s: %+v", r.Findings)
	}
}

// TestClippedLambda: a lambda sensor at the end of its range within the pull.
func TestClippedLambda(t *testing.T) {
	w := twin().run()
	random := rand.New(rand.NewPCG(1, 5))
	log := noisyLog(w, 4)
	lambda := make([]float64, len(log.Time))
	for i, ti := range log.Time {
		lambda[i] = math.Max(0.7, 0.72+0.1*math.Sin(ti)+0.005*random.NormFloat64())
	}
	log.Channels = append(log.Channels, signal.Channel{Name: signal.Lambda, Values: lambda})
	r := reduced(t, log, w.settings())
	if f, ok := look(r, signal.Saturated, signal.Lambda); !ok || !f.InPull {
		t.Errorf("lambda clipped at 0.7: %+v", r.Findings)
	}
}

// TestDefectOutsideThePull is found and said not to touch the result.
func TestDefectOutsideThePull(t *testing.T) {
	w := twin().run()
	log := noisyLog(w, 5)
	hold(log.Channel(signal.DrumSpeed), 20, 40)
	r := reduced(t, log, w.settings())
	if f, ok := look(r, signal.LowResolution, signal.DrumSpeed); ok && f.InPull {
		t.Errorf("equal speeds before the pull are said to touch it: %+v", f)
	} else if g, stuck := look(r, signal.Stuck, signal.DrumSpeed); !ok && (!stuck || g.InPull) {
		t.Errorf("20 equal speeds before the pull: %+v", r.Findings)
	}
}

// TestLowResolutionIsNotStuck: a drum speed logged in steps of 1 km/h repeats for
// many rows; that is its resolution, which the standard error covers, and not a
// defect of the pull.
func TestLowResolutionIsNotStuck(t *testing.T) {
	w := twin().run()
	log := w.sampled(flaws{rate: 200, noise: 0.02, quantum: 1 / 3.6 / w.radius, engineNoise: 1, random: rand.New(rand.NewPCG(1, 6))})
	r := reduced(t, log, w.settings())
	if f, ok := look(r, signal.Stuck, signal.DrumSpeed); ok && f.InPull {
		t.Errorf("steps of 1 km/h are taken for a stuck channel: %+v", f)
	}
	if f, ok := look(r, signal.LowResolution, signal.DrumSpeed); !ok || !f.Repaired {
		t.Errorf("steps of 1 km/h are not reported: %+v", r.Findings)
	}
}

// cut takes rows from..to out of a log.
func cut(log *signal.Log, from, to int) {
	log.Time = append(log.Time[:from:from], log.Time[to:]...)
	for i := range log.Channels {
		v := log.Channels[i].Values
		log.Channels[i].Values = append(v[:from:from], v[to:]...)
	}
}

// hold repeats the value at from up to to.
func hold(v []float64, from, to int) {
	for i := from; i < to; i++ {
		v[i] = v[from]
	}
}

// TestPulseDefects: missing and extra pulses of both trains are counted, filled
// and reported, and do nothing to the curve.
func TestPulseDefects(t *testing.T) {
	w := twin().run()
	whole := w.pulses(60, nil, 1)
	s := w.settings()
	s.PulsesPerRev, s.EnginePulsesPerRev = 60, 1
	for _, c := range []struct {
		name          string
		break_        func(log *signal.Log)
		kind, channel string
		count         int
	}{
		{"ignition pulses missing", func(log *signal.Log) { log.EnginePulse = without(log.EnginePulse, 300, 301, 420, 700) }, signal.MissingPulse, signal.EnginePulseChannel, 4},
		{"drum pulses missing", func(log *signal.Log) { log.DrumPulse = without(log.DrumPulse, 9000, 9001, 9002, 12000, 15001) }, signal.MissingPulse, signal.DrumPulseChannel, 5},
		{"drum pulses too many", func(log *signal.Log) { log.DrumPulse = with(log.DrumPulse, 9000, 0.3) }, signal.ExtraPulse, signal.DrumPulseChannel, 1},
		{"drum pulse too many, late", func(log *signal.Log) { log.DrumPulse = with(log.DrumPulse, 9000, 0.8) }, signal.ExtraPulse, signal.DrumPulseChannel, 1},
		{"ignition pulse too many", func(log *signal.Log) { log.EnginePulse = with(log.EnginePulse, 400, 0.2) }, signal.ExtraPulse, signal.EnginePulseChannel, 1},
		{"a pulse twice", func(log *signal.Log) { log.DrumPulse = with(log.DrumPulse, 9000, 0) }, signal.RepeatedTime, signal.DrumPulseChannel, 1},
	} {
		log := &signal.Log{Kind: signal.Pulses, DrumPulse: append([]float64(nil), whole.DrumPulse...), EnginePulse: append([]float64(nil), whole.EnginePulse...)}
		c.break_(log)
		r := reduced(t, log, s)
		f, ok := look(r, c.kind, c.channel)
		if !ok || f.Count != c.count || !f.InPull || (c.kind != signal.RepeatedTime && !f.Repaired) {
			t.Errorf("%s: %+v, want %d of %s", c.name, r.Findings, c.count, c.kind)
		}
		if worst, rpm := worstDeparture(w, r); !(worst < 0.0005) {
			t.Errorf("%s: node at %.0f 1/min is off by %.3f %%", c.name, rpm, worst*100)
		}
	}
	if r := reduced(t, whole, s); len(r.Findings) > 0 {
		t.Errorf("a whole train: %+v", r.Findings)
	}
}

// TestOnePulseATurnMissing: with one pulse a turn, a lost pulse is a lost turn.
func TestOnePulseATurnMissing(t *testing.T) {
	w := twin().run()
	s := w.settings()
	s.PulsesPerRev, s.EnginePulsesPerRev = 1, 0.5
	log := w.pulses(1, nil, 0.5)
	log.DrumPulse = without(log.DrumPulse, 120, 200, 201)
	r := reduced(t, log, s)
	if f, ok := look(r, signal.MissingPulse, signal.DrumPulseChannel); !ok || f.Count != 3 || !f.Repaired {
		t.Errorf("three turns lost: %+v", r.Findings)
	}
	if worst, rpm := worstDeparture(w, r); !(worst < 0.0005) {
		t.Errorf("node at %.0f 1/min is off by %.3f %%", rpm, worst*100)
	}
}

// without returns the train without the pulses at the given indices.
func without(t []float64, gone ...int) []float64 {
	out := make([]float64, 0, len(t))
	for i, v := range t {
		lost := false
		for _, g := range gone {
			lost = lost || g == i
		}
		if !lost {
			out = append(out, v)
		}
	}
	return out
}

// with returns the train with a pulse more, part of an interval after pulse i.
func with(t []float64, i int, part float64) []float64 {
	extra := t[i] + part*(t[i+1]-t[i])
	out := append(append([]float64(nil), t[:i+1]...), extra)
	return append(out, t[i+1:]...)
}

// TestSlip: a clutch that slips for a while shows as a departure of the ratio,
// noise and smooth tyre creep do not; the rise with torque is the creep.
func TestSlip(t *testing.T) {
	w := twin()
	w.creep = 0.02
	w.run()
	for seed := range uint64(20) {
		r := reduced(t, noisyLog(w, seed), w.settings())
		if !(r.SlipMax < 0.003) {
			t.Errorf("log %d: creep alone shows a slip of %.2f %% at %.2f s; the limit is 0.5 %%", seed, r.SlipMax*100, r.SlipAt)
		}
		if !(r.RatioRise > 0.002) {
			t.Errorf("log %d: the ratio rises by %.3f %% with torque; the world's tyre creeps", seed, r.RatioRise*100)
		}
	}
	log := noisyLog(w, 1)
	engine := log.Channel(signal.EngineSpeed)
	for i, ti := range log.Time {
		if ti > 9 && ti < 10.2 {
			engine[i] *= 1.015
		}
	}
	r := reduced(t, log, w.settings())
	if r.SlipMax < 0.007 || r.SlipMax > 0.017 || math.Abs(r.SlipAt-9.6) > 0.8 {
		t.Errorf("a slip of 1.5 %% from 9.0 to 10.2 s: found %.2f %% at %.2f s", r.SlipMax*100, r.SlipAt)
	}
}

// TestGearRatio: another gear is another ratio.
func TestGearRatio(t *testing.T) {
	w := twin()
	w.ratio = 4.42
	w.run()
	if r := reduced(t, noisyLog(w, 1), w.settings()); math.Abs(r.Ratio/4.42-1) > 0.001 {
		t.Errorf("ratio %.4f, the world's is 4.42", r.Ratio)
	}
}
