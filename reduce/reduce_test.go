package reduce

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fairpull/signal"
)

// worstDeparture returns the largest relative departure of the reduced torque from
// the world's own, and where it is.
func worstDeparture(w *world, r *Result) (worst, rpm float64) {
	for i, n := range r.Curve.SpeedRPM {
		if d := math.Abs(r.Curve.Torque[i]/w.torque(n) - 1); !(d <= worst) {
			worst, rpm = d, n
		}
	}
	return worst, rpm
}

// TestNoiseFreePulls: without noise, every node of the reduced curve is the torque
// that the world was driven with, within 0.05 %, on every kind of log.
func TestNoiseFreePulls(t *testing.T) {
	plain := twin().run()
	creeping := twin()
	creeping.creep = 0.02
	creeping.run()
	quick := twin()
	quick.inertia, quick.loss = 6, [3]float64{4, 0.02, 0.0002}
	quick.run()
	random := rand.New(rand.NewPCG(7, 7))
	pulses := func(per int) func(*Settings) {
		return func(s *Settings) { s.PulsesPerRev, s.EnginePulsesPerRev = per, 1 }
	}
	for _, c := range []struct {
		name  string
		w     *world
		log   *signal.Log
		state func(*Settings)
	}{
		{"100 Hz", plain, plain.sampled(flaws{rate: 100}), nil},
		{"200 Hz", plain, plain.sampled(flaws{rate: 200}), nil},
		{"400 Hz", plain, plain.sampled(flaws{rate: 400}), nil},
		{"uneven sampling", plain, plain.sampled(flaws{rate: 200, jitter: 0.9, random: random}), nil},
		{"no throttle channel", plain, plain.sampled(flaws{rate: 200, noThrottle: true}), nil},
		{"no engine channel", plain, plain.sampled(flaws{rate: 200, noEngine: true}), func(s *Settings) { s.RevsPerDrumRev = plain.ratio }},
		{"tyre creep", creeping, creeping.sampled(flaws{rate: 200}), nil},
		{"quick pull, 100 Hz", quick, quick.sampled(flaws{rate: 100}), nil},
		{"60 pulses a turn", plain, plain.pulses(60, nil, 1), pulses(60)},
		{"1 pulse a turn", plain, plain.pulses(1, nil, 1), pulses(1)},
		{"60 pulses a turn, creep", creeping, creeping.pulses(60, nil, 0.5), func(s *Settings) { s.PulsesPerRev, s.EnginePulsesPerRev = 60, 0.5 }},
		{"60 pulses a turn, quick", quick, quick.pulses(60, nil, 1), pulses(60)},
	} {
		s := c.w.settings()
		if c.state != nil {
			c.state(&s)
		}
		r := reduced(t, c.log, s)
		worst, rpm := worstDeparture(c.w, r)
		if !(worst <= 0.0005) {
			t.Errorf("%s: node at %.0f 1/min is off by %.4f %%; 0.05 %% is the goal", c.name, rpm, worst*100)
		}
		first, last := r.Curve.SpeedRPM[0], r.Curve.SpeedRPM[r.Curve.Len()-1]
		if first > r.Phases.LowRPM+260 || last < r.Phases.HighRPM-310 {
			t.Errorf("%s: nodes from %.0f to %.0f 1/min of a pull from %.0f to %.0f: the ends are one half-width of 200", c.name, first, last, r.Phases.LowRPM, r.Phases.HighRPM)
		}
		for i := range r.Time {
			if r.Time[i] <= r.Phases.Start || r.Time[i] >= r.Phases.End {
				t.Errorf("%s: node %d at %.3f s lies outside the pull from %.3f to %.3f s", c.name, i, r.Time[i], r.Phases.Start, r.Phases.End)
			}
		}
		if math.Abs(r.Ratio/c.w.ratio-1) > 0.03 {
			t.Errorf("%s: ratio %.4f, the world's is %.4f", c.name, r.Ratio, c.w.ratio)
		}
		if r.EncoderError > 1e-5 {
			t.Errorf("%s: an encoder error of %.2g was removed that is not there", c.name, r.EncoderError)
		}
	}
}

// TestNodesAsAsked: nodes come in order, each once, whatever is asked.
func TestNodesAsAsked(t *testing.T) {
	w := twin().run()
	s := w.settings()
	s.NodesRPM = []float64{500, 2990, 3000, 3001.5, 7333, 20000}
	r := reduced(t, w.sampled(flaws{rate: 200}), s)
	if want := []float64{2990, 3000, 3001.5, 7333}; len(want) != r.Curve.Len() {
		t.Fatalf("asked for %v: got nodes at %v, want %v", s.NodesRPM, r.Curve.SpeedRPM, want)
	}
	if worst, rpm := worstDeparture(w, r); !(worst < 0.0005) {
		t.Errorf("node at %g 1/min is off by %.4f %%", rpm, worst*100)
	}
}

// TestBrakeTorque: a brake that takes part of the torque belongs to the balance,
// whether logged as torque or as force on an arm, and gaps in it are bridged.
func TestBrakeTorque(t *testing.T) {
	w := twin()
	w.brake = func(t float64) float64 { return 40 + 12*math.Sin(t/3) }
	w.run()
	s := w.settings()
	log := w.sampled(flaws{rate: 200})
	plain := reduced(t, log, s)
	if worst, _ := worstDeparture(w, plain); worst < 0.05 {
		t.Errorf("without the brake in the balance the curve is off by only %.3f %%: the test would see nothing", worst*100)
	}
	brake := make([]float64, len(log.Time))
	for i, ti := range log.Time {
		brake[i] = w.brake(ti)
	}
	with := func(name string, factor float64) *signal.Log {
		v := make([]float64, len(brake))
		for i := range v {
			v[i] = brake[i] * factor
		}
		v[1000] = math.NaN()
		c := *log
		c.Channels = append(c.Channels[:len(c.Channels):len(c.Channels)], signal.Channel{Name: name, Values: v})
		return &c
	}
	check := func(name string, r *Result) {
		t.Helper()
		if worst, rpm := worstDeparture(w, r); !(worst <= 0.0005) {
			t.Errorf("%s: node at %.0f 1/min is off by %.4f %%", name, rpm, worst*100)
		}
		loss := w.loss[0] + r.Coast.MeanOmega*(w.loss[1]+r.Coast.MeanOmega*w.loss[2])
		if math.Abs(r.Coast.MeanTorque-loss) > 0.003*loss {
			t.Errorf("%s: coast-down loss %.3f N·m with the brake on, the world's is %.3f", name, r.Coast.MeanTorque, loss)
		}
	}
	check("torque", reduced(t, with(signal.BrakeTorque, 1), s))
	s.BrakeArm = 0.4
	check("force on an arm", reduced(t, with(signal.BrakeForce, 1/0.4), s))
	s.BrakeArm = 0
	var refused *LogError
	if _, err := Find(with(signal.BrakeForce, 1), s); !errors.As(err, &refused) {
		t.Errorf("a brake force without an arm: %v, want a LogError", err)
	}
}

// TestEngineChannelThatEndsEarly: beyond the end of the engine channel the median
// ratio carries on.
func TestEngineChannelThatEndsEarly(t *testing.T) {
	w := twin().run()
	log := w.sampled(flaws{rate: 200})
	engine := log.Channel(signal.EngineSpeed)
	cut := 12.0
	for i, ti := range log.Time {
		if ti > cut {
			engine[i] = math.NaN()
		}
	}
	r := reduced(t, log, w.settings())
	if worst, rpm := worstDeparture(w, r); !(worst <= 0.0005) {
		t.Errorf("node at %.0f 1/min is off by %.4f %%", rpm, worst*100)
	}
	if last := r.Time[len(r.Time)-1]; last < cut+3 {
		t.Errorf("the last node is passed at %.1f s: nothing beyond the engine channel's end at %.0f s", last, cut)
	}
}

// TestSparseLogWidensWindow: at 12 samples a second a window of ±200 1/min holds
// too few samples; it is widened to degree + 5 = 8 and the resolution says so.
func TestSparseLogWidensWindow(t *testing.T) {
	w := twin()
	w.inertia = 6
	w.run()
	s := w.settings()
	dense := reduced(t, w.sampled(flaws{rate: 400}), s)
	sparse := reduced(t, w.sampled(flaws{rate: 12}), s)
	mid := dense.Curve.Len() / 2
	if got := dense.Resolution[mid]; math.Abs(got-165) > 5 {
		t.Errorf("resolution of a ±200 1/min cubic is %.1f 1/min, 0.825·200 = 165 in closed form", got)
	}
	if got := sparse.Resolution[sparse.Curve.Len()/2]; !(got > 185) {
		t.Errorf("resolution at 12 samples a second is %.1f 1/min: the window must have been widened beyond 165", got)
	}
	if worst, rpm := worstDeparture(w, sparse); !(worst < 0.01) {
		t.Errorf("sparse log: node at %.0f 1/min is off by %.2f %%", rpm, worst*100)
	}
}

// TestCompensatedCurve: wheel torque plus the loss of the coast-down, referred to
// the engine.
func TestCompensatedCurve(t *testing.T) {
	w := twin()
	w.coast = 40
	w.run()
	r := reduced(t, w.sampled(flaws{rate: 200}), w.settings())
	shown := 0
	for i, rpm := range r.Curve.SpeedRPM {
		omega := rpm * math.Pi / 30 / w.ratio
		want := w.torque(rpm) + (w.loss[0]+omega*(w.loss[1]+omega*w.loss[2]))/w.ratio
		if math.IsNaN(r.Compensated[i]) {
			continue
		}
		shown++
		if math.Abs(r.Compensated[i]/want-1) > 0.002 {
			t.Errorf("loss-compensated torque at %.0f 1/min is %.3f N·m, the world's is %.3f", rpm, r.Compensated[i], want)
		}
	}
	if shown < r.Curve.Len()/2 {
		t.Errorf("only %d of %d nodes carry a loss-compensated figure after a 40 s coast-down", shown, r.Curve.Len())
	}
}

// TestWheelInertiaUnknown: without the wheel's inertia the drum's alone is used,
// the loss comes out smaller by I/(I + I_w), and the result says so.
func TestWheelInertiaUnknown(t *testing.T) {
	w := twin().run()
	s := w.settings()
	log := w.sampled(flaws{rate: 200})
	with := reduced(t, log, s)
	s.WheelInertia = 0
	without := reduced(t, log, s)
	if math.Abs(with.Coast.WheelInertia/w.wheel-1) > 1e-9 || without.Coast.WheelInertia != 0 {
		t.Errorf("wheel inertia at the drum: %g and %g, want %g and 0", with.Coast.WheelInertia, without.Coast.WheelInertia, w.wheel)
	}
	bare := w.parasitic[0] + w.parasitic[1]*with.Coast.MeanOmega
	want := (with.Coast.MeanTorque+bare)*w.inertia/(w.inertia+w.wheel) - bare
	if math.Abs(without.Coast.MeanTorque/want-1) > 1e-4 {
		t.Errorf("loss without the wheel's inertia %.4f N·m, want %.4f", without.Coast.MeanTorque, want)
	}
}

// TestMeans: lambda and every other channel are averaged over the pull, missing
// cells left out.
func TestMeans(t *testing.T) {
	w := twin().run()
	log := w.sampled(flaws{rate: 200})
	lambda, odd := make([]float64, len(log.Time)), make([]float64, len(log.Time))
	for i, ti := range log.Time {
		lambda[i], odd[i] = 1.6, 0
		if ti > w.opened && ti < w.closed {
			lambda[i], odd[i] = 0.87, 3
		}
		if i%2 == 0 {
			odd[i] = math.NaN()
		}
	}
	log.Channels = append(log.Channels, signal.Channel{Name: signal.Lambda, Values: lambda}, signal.Channel{Name: "knock", Values: odd})
	r := reduced(t, log, w.settings())
	if math.Abs(r.Lambda-0.87) > 1e-12 || math.Abs(r.Means["knock"]-3) > 1e-12 || math.Abs(r.Means[signal.Lambda]-0.87) > 1e-12 {
		t.Errorf("lambda %g, knock %g over the pull, want 0.87 and 3", r.Lambda, r.Means["knock"])
	}
	if plain := reduced(t, w.sampled(flaws{rate: 200}), w.settings()); !math.IsNaN(plain.Lambda) {
		t.Errorf("lambda without its channel is %g, want NaN", plain.Lambda)
	}
	want := w.to * math.Pi / 30 / w.ratio * w.radius
	if math.Abs(r.MaxSurfaceSpeed/want-1) > 0.01 {
		t.Errorf("largest surface speed %.2f m/s, the drum reached %.2f", r.MaxSurfaceSpeed, want)
	}
}
