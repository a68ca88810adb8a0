package reduce

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fairpull/signal"
)

// TestPhasesFound: the pull and the coast-down are where the world put them, with
// and without throttle and engine channels, with slow and fast hands, in noise.
func TestPhasesFound(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 3))
	for _, ramp := range []float64{0.05, 0.15, 0.35} {
		w := twin()
		w.ramp, w.lever = ramp, 0.6+ramp
		w.run()
		for name, log := range map[string]*signal.Log{
			"all channels":           w.sampled(flaws{rate: 200}),
			"no throttle":            w.sampled(flaws{rate: 200, noThrottle: true}),
			"no throttle, noise":     w.sampled(flaws{rate: 100, noise: 0.1, engineNoise: 3, noThrottle: true, random: random}),
			"no engine, no throttle": w.sampled(flaws{rate: 100, noise: 0.05, noThrottle: true, noEngine: true, random: random}),
			"all channels, noise":    w.sampled(flaws{rate: 100, noise: 0.1, engineNoise: 3, random: random}),
			"60 pulses a turn":       shaken(w.pulses(60, nil, 1), 5e-6, random),
			"1 pulse a turn":         shaken(w.pulses(1, nil, 1), 5e-6, random),
		} {
			s := w.settings()
			s.RevsPerDrumRev = w.ratio
			s.PulsesPerRev, s.EnginePulsesPerRev = 60, 1
			if name == "1 pulse a turn" {
				s.PulsesPerRev = 1
			}
			ph, err := Find(log, s)
			if err != nil {
				t.Errorf("%s, throttle moved in %.2f s: %v", name, ramp, err)
				continue
			}
			if ph.ByThrottle != (log.Channel(signal.Throttle) != nil) {
				t.Errorf("%s: found by throttle: %v", name, ph.ByThrottle)
			}
			if ph.FullThrottle < w.opened-0.05 || ph.FullThrottle > w.opened+ramp+0.15 || math.Abs(ph.Start-ph.FullThrottle-0.5) > 1e-9 {
				t.Errorf("%s: full throttle at %.3f s, start at %.3f s; the throttle opened from %.3f to %.3f s", name, ph.FullThrottle, ph.Start, w.opened, w.opened+ramp)
			}
			if ph.End > w.closed+0.01 || ph.End < w.closed-0.35 {
				t.Errorf("%s: the pull ends at %.3f s; the throttle began to close at %.3f s", name, ph.End, w.closed)
			}
			if !ph.HasCoast || ph.CoastStart < w.pulled || ph.CoastStart > w.pulled+1.2 || ph.CoastEnd > w.end || ph.CoastEnd < w.end-0.7 {
				t.Errorf("%s: coast-down %v from %.3f to %.3f s; the lever was pulled at %.3f s and the log ends at %.3f s", name, ph.HasCoast, ph.CoastStart, ph.CoastEnd, w.pulled, w.end)
			}
			if low, high := w.engine(ph.Start)*30/math.Pi, w.engine(ph.End)*30/math.Pi; math.Abs(ph.LowRPM-low) > 25 || math.Abs(ph.HighRPM-high) > 25 {
				t.Errorf("%s: engine from %.0f to %.0f 1/min, the world's goes from %.0f to %.0f", name, ph.LowRPM, ph.HighRPM, low, high)
			}
			if !strings.Contains(ph.Rule, "0.5 s") {
				t.Errorf("%s: rule %q does not name what is left out", name, ph.Rule)
			}
		}
	}
}

// TestSlowTurns: one pulse a turn at five turns a second says little of when the
// throttle opened; the settling time must not be cut short by that.
func TestSlowTurns(t *testing.T) {
	for _, preroll := range []float64{0.8, 1.03, 1.7} {
		w := twin()
		w.ratio, w.inertia, w.preroll = 6.8, 45, preroll
		w.run()
		s := w.settings()
		s.PulsesPerRev, s.EnginePulsesPerRev = 1, 1
		ph, err := Find(w.pulses(1, nil, 1), s)
		if err != nil {
			t.Fatal(err)
		}
		if ph.FullThrottle < w.opened-0.03 || ph.FullThrottle > w.opened+0.3 {
			t.Errorf("full throttle at %.3f s; the throttle opened from %.3f to %.3f s", ph.FullThrottle, w.opened, w.opened+w.ramp)
		}
	}
}

// TestBandTopKept: an engine whose torque falls to a third at the top still pulls
// there; the threshold must not cut it off.
func TestBandTopKept(t *testing.T) {
	w := twin()
	w.torque = func(rpm float64) float64 {
		if rpm > 6000 {
			return curvy(6000) * (1 - (rpm-6000)/2000*0.7)
		}
		return curvy(rpm)
	}
	w.run()
	ph, err := Find(w.sampled(flaws{rate: 200, noThrottle: true}), w.settings())
	if err != nil {
		t.Fatal(err)
	}
	if ph.HighRPM < 7800 {
		t.Errorf("the pull is cut off at %.0f 1/min; it goes to 8000", ph.HighRPM)
	}
}

// TestLongestPullChosen: a log with a short blip, a long gentle roll and a pull.
func TestPullAmongOthers(t *testing.T) {
	w := twin().run()
	log := w.sampled(flaws{rate: 100, noThrottle: true})
	// Before it: from rest in 25 s at a quarter of the pull's slope, then back.
	var lead []float64
	speed, start := 5.0, log.Channel(signal.DrumSpeed)[0]
	for i := range 6000 {
		switch {
		case i < 2500:
			speed += 0.02
		case i < 2600:
			speed += 0.25 // a blip as steep as the pull
		case speed > start:
			speed -= 0.03
		}
		lead = append(lead, speed)
	}
	joined := &signal.Log{Kind: signal.Sampled, FirstLine: 2}
	drum, engine := append([]float64(nil), lead...), make([]float64, 0, len(lead))
	for _, v := range lead {
		engine = append(engine, v*w.ratio)
	}
	drum = append(drum, log.Channel(signal.DrumSpeed)...)
	engine = append(engine, log.Channel(signal.EngineSpeed)...)
	for i := range drum {
		joined.Time = append(joined.Time, float64(i)/100)
	}
	joined.Channels = []signal.Channel{{Name: signal.DrumSpeed, Values: drum}, {Name: signal.EngineSpeed, Values: engine}}
	ph, err := Find(joined, w.settings())
	if err != nil {
		t.Fatal(err)
	}
	if want := 60 + w.opened; math.Abs(ph.FullThrottle-want) > 0.2 {
		t.Errorf("pull found at %.2f s, it is at %.2f s", ph.FullThrottle, want)
	}
}

// TestLimiter: the throttle stays open on the rev limiter; the pull ends where the
// drum stops gaining speed.
func TestLimiter(t *testing.T) {
	w := twin()
	w.run()
	log := w.sampled(flaws{rate: 200})
	lever := log.Channel(signal.Throttle)
	held := 1.5 // s on the limiter with the throttle open
	for i, ti := range log.Time {
		if ti > w.opened+w.ramp && ti < w.closed+held {
			lever[i] = 1
		}
	}
	ph, err := Find(log, w.settings())
	if err != nil {
		t.Fatal(err)
	}
	if !ph.ByThrottle || ph.End > w.closed || ph.End < w.closed-0.3 {
		t.Errorf("the pull ends at %.3f s; the limiter cut at %.3f s with the throttle open to %.3f s", ph.End, w.closed, w.closed+held)
	}
}

// TestNoCoastWithoutLever: the engine stays with the drum after the pull, so the
// deceleration is engine braking, and no loss is made of it.
func TestNoCoastWithoutLever(t *testing.T) {
	w := twin()
	w.lever, w.coast = 6, 0
	w.run()
	r := reduced(t, w.sampled(flaws{rate: 200}), w.settings())
	if r.Phases.HasCoast || r.Coast != nil || r.Compensated != nil {
		t.Errorf("engine braking was taken for a coast-down: %+v", r.Phases)
	}
	if !strings.Contains(r.Phases.Rule, "lever was not pulled") {
		t.Errorf("rule %q does not say why there is no coast-down", r.Phases.Rule)
	}
}

// TestRefusedLogs: what cannot carry a result is a LogError with a cure, and with
// a line where one is to blame.
func TestRefusedLogs(t *testing.T) {
	w := twin().run()
	good := func() *signal.Log { return w.sampled(flaws{rate: 100}) }
	fill := func(log *signal.Log, name string, f func(i int) float64) *signal.Log {
		v := log.Channel(name)
		for i := range v {
			v[i] = f(i)
		}
		return log
	}
	for _, c := range []struct {
		name string
		log  *signal.Log
		s    func(*Settings)
		line bool
	}{
		{"nothing", &signal.Log{}, nil, false},
		{"empty sampled log", &signal.Log{Kind: signal.Sampled}, nil, false},
		{"empty pulse log", &signal.Log{Kind: signal.Pulses}, func(s *Settings) { s.PulsesPerRev = 1 }, false},
		{"drum that stands", fill(good(), signal.DrumSpeed, func(int) float64 { return 0 }), nil, true},
		{"drum at one speed", fill(good(), signal.DrumSpeed, func(int) float64 { return 70 }), nil, true},
		{"drum that turns backward", fill(good(), signal.DrumSpeed, func(i int) float64 { return -float64(i) }), nil, true},
		{"no numbers", fill(good(), signal.DrumSpeed, func(int) float64 { return math.NaN() }), nil, true},
		{"infinite", fill(good(), signal.DrumSpeed, func(int) float64 { return math.Inf(1) }), nil, true},
		{"time backward", func() *signal.Log {
			log := good()
			for i := range log.Time {
				log.Time[i] = -log.Time[i]
			}
			return log
		}(), nil, true},
		{"no engine channel and no ratio", w.sampled(flaws{rate: 100, noEngine: true}), nil, false},
		{"pulses without their number", w.pulses(1, nil, 1), func(s *Settings) { s.EnginePulsesPerRev = 1 }, false},
		{"ignition pulses without their number", w.pulses(1, nil, 1), func(s *Settings) { s.PulsesPerRev = 1 }, false},
		{"brief pull", fill(good(), signal.DrumSpeed, func(i int) float64 {
			return 50 + 20*math.Min(1, math.Max(0, float64(i-500)/60))
		}), nil, true},
		{"no drum inertia", good(), func(s *Settings) { s.Inertia = 0 }, false},
		{"nodes out of order", good(), func(s *Settings) { s.NodesRPM = []float64{3000, 2000} }, false},
		{"no nodes", good(), func(s *Settings) { s.NodesRPM = nil }, false},
		{"nodes beyond the pull", good(), func(s *Settings) { s.NodesRPM = []float64{12000} }, true},
		{"no half-width", good(), func(s *Settings) { s.HalfWidthRPM = 0 }, false},
		{"window wider than the pull", good(), func(s *Settings) { s.HalfWidthRPM = 9000 }, true},
	} {
		s := w.settings()
		if c.s != nil {
			c.s(&s)
		}
		ph, err := Find(c.log, s)
		if err == nil {
			_, err = Reduce(c.log, s, ph)
		}
		var refused *LogError
		if !errors.As(err, &refused) {
			t.Errorf("%s: %v, want a LogError", c.name, err)
			continue
		}
		if refused.Problem == "" || refused.Cure == "" || (refused.Line > 0) != c.line {
			t.Errorf("%s: %+v: want a problem, a cure, and a line: %v", c.name, *refused, c.line)
		}
	}
}
