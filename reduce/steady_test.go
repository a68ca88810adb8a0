package reduce

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fairpull/signal"
)

// heldRig is the rig of the logs below: everything in closed form.
var heldRig = Settings{Inertia: 12, Radius: 0.25, Parasitic: [3]float64{1.2, 0.02, 0.0001}, RevsPerDrumRev: 5}

// heldLog is a log whose drum speed is any given function of time with its slope,
// under a wheel torque W (N·m at the drum) and a brake that does what the balance
// asks: brake = W − I·dω/dt − parasitic.
type heldLog struct {
	rate, end float64
	speed     func(t float64) (omega, alpha float64)
	wheel     func(t float64) float64
	noise     func(i int) float64 // of the brake, N·m
	speedSD   float64             // rad/s
	more      []signal.Channel
}

func (h heldLog) log(seed uint64) *signal.Log {
	n := int(h.end*h.rate) + 1
	r := rand.New(rand.NewPCG(seed, 5))
	time, speed, brake, engine := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		t := float64(i) / h.rate
		omega, alpha := h.speed(t)
		p := heldRig.Parasitic
		time[i] = t
		speed[i] = omega + h.speedSD*r.NormFloat64()
		engine[i] = omega * heldRig.RevsPerDrumRev
		brake[i] = h.wheel(t) - heldRig.Inertia*alpha - (p[0] + omega*(p[1]+p[2]*omega))
		if h.noise != nil {
			brake[i] += h.noise(i)
		}
	}
	return &signal.Log{Kind: signal.Sampled, Time: time, FirstLine: 2, Channels: append([]signal.Channel{
		{Name: signal.DrumSpeed, Values: speed}, {Name: signal.EngineSpeed, Values: engine}, {Name: signal.BrakeTorque, Values: brake},
	}, h.more...)}
}

func steadyOf(t *testing.T, log *signal.Log) *Steady {
	t.Helper()
	s, err := FindSteady(log, heldRig, DefaultSteadyRule())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestSteadyBalance: the speed drifts and swings while it is held, and the brake
// with it; the wheel torque does not. What comes out must be the wheel torque: the
// balance of torques is the closed form.
func TestSteadyBalance(t *testing.T) {
	const omega0, drift, swing, period = 80.0, 0.012, 0.25, 1.7
	log := heldLog{rate: 100, end: 14, wheel: func(float64) float64 { return 300 }, speed: func(t float64) (float64, float64) {
		s, c := math.Sincos(2 * math.Pi * t / period)
		return omega0 + drift*t + swing*s, drift + swing*2*math.Pi/period*c
	}}.log(1)
	s := steadyOf(t, log)
	if len(s.Points) != 1 {
		t.Fatalf("%d points, want 1; left out %v", len(s.Points), s.LeftOut)
	}
	p := s.Points[0]
	nearTo(t, "torque at the drum", p.DrumTorque, 300, 300*2e-5)
	nearTo(t, "torque at the engine", p.Torque, 60, 60*2e-5)
	nearTo(t, "what acceleration took", p.Inertia, 12*drift, 12*0.06*swing) // the swing leaves its ends
	nearTo(t, "parts add up", p.Brake+p.Inertia+p.Parasitic, p.DrumTorque, 1e-9)
	nearTo(t, "first used", p.Start, 2, 0.11)
	nearTo(t, "last used", p.End, 14, 0.11)
	if !p.Hunting.Found {
		t.Errorf("the swing was not seen: %+v", p.Hunting)
	}
	nearTo(t, "period", p.Hunting.Period, period, 0.15)
	nearTo(t, "amplitude", p.Hunting.Amplitude, swing*5*30/math.Pi, 0.15*swing*5*30/math.Pi)
	if p.StandardError > 0.02 {
		t.Errorf("standard error %v N·m for a torque that is constant", p.StandardError)
	}
	// Without the inertia term the brake alone, 1 cell wide, swings by I·α.
	if brakeOnly := spread(balanceOf(log.Time, log.Channel(signal.DrumSpeed), log.Channel(signal.BrakeTorque), &heldRig, 0, 0.1).brake); brakeOnly < 5 {
		t.Errorf("the brake swings by %v N·m: the check above shows nothing", brakeOnly)
	}
}

// TestSteadyCreep: an acceleration that is left is taken off through the inertia:
// brake and parasitic alone would read I·α too little.
func TestSteadyCreep(t *testing.T) {
	const alpha = 0.05 // 2.4 1/min a second of the engine: 24 over the point, within ±1 % of 4,200
	s := steadyOf(t, heldLog{rate: 50, end: 9, wheel: func(float64) float64 { return 250 },
		speed: func(t float64) (float64, float64) { return 88 + alpha*t, alpha }}.log(1))
	if len(s.Points) != 1 {
		t.Fatalf("%d points; left out %v", len(s.Points), s.LeftOut)
	}
	p := s.Points[0]
	nearTo(t, "torque at the drum", p.DrumTorque, 250, 0.001)
	nearTo(t, "what acceleration took", p.Inertia, heldRig.Inertia*alpha, 1e-6)
	nearTo(t, "drift of the engine", p.SpeedDrift, alpha*5*30/math.Pi, 1e-6)
}

// staircase holds each level so long and goes from one to the next at a set rate.
func staircase(levels []float64, hold, rate float64) (func(float64) (float64, float64), float64) {
	end := 0.0
	for i := range levels {
		end += hold
		if i > 0 {
			end += math.Abs(levels[i]-levels[i-1]) / rate
		}
	}
	return func(t float64) (float64, float64) {
		for i, level := range levels {
			if t < hold || i == len(levels)-1 {
				return level, 0
			}
			t -= hold
			next := levels[i+1]
			if way := math.Abs(next-level) / rate; t < way {
				slope := math.Copysign(rate, next-level)
				return level + slope*t, slope
			} else {
				t -= way
			}
		}
		return levels[len(levels)-1], 0
	}, end
}

// TestSteadyStaircase: levels as close as 50 1/min are told apart, and so are levels
// that come again.
func TestSteadyStaircase(t *testing.T) {
	perRPM := math.Pi / 30 / 5
	rpm := []float64{3000, 3050, 4000, 4050, 6000, 4000}
	levels := make([]float64, len(rpm))
	for i, n := range rpm {
		levels[i] = n * perRPM
	}
	speed, end := staircase(levels, 8, 400*perRPM)
	log := heldLog{rate: 100, end: end, speed: speed, speedSD: 0.02, wheel: func(float64) float64 { return 280 }}.log(2)
	s := steadyOf(t, log)
	if len(s.Points) != len(rpm) {
		t.Fatalf("%d points, want %d: %v; left out %v", len(s.Points), len(rpm), rpmsOf(s), s.LeftOut)
	}
	for i, p := range s.Points {
		nearTo(t, "level", p.EngineRPM, rpm[i], 1)
		nearTo(t, "torque", p.DrumTorque, 280, 0.3)
		if held := p.End - p.Start; !(held > 5.5 && held < 6.3) {
			t.Errorf("point %d: %.2f s used of the 6 s that are left of 8", i, held)
		}
	}
	if !s.IsSteady() {
		t.Error("a log of six held speeds is not recognised as steady")
	}
	// The way from 4050 to 6000 at 400 1/min a second takes almost 5 s: a sweep.
	sweeps, steps := 0, 0
	for _, m := range s.Control.Moves {
		switch m.Kind {
		case MoveSweep:
			sweeps++
			nearTo(t, "rate", math.Abs(m.Rate), 400, 4)
		case MoveStep:
			steps++
		}
	}
	if sweeps < 2 || sweeps > 3 { // 3050 to 4000 takes 2.4 s
		t.Errorf("%d sweeps in %+v", sweeps, s.Control.Moves)
	}
}

func rpmsOf(s *Steady) []float64 {
	var out []float64
	for _, p := range s.Points {
		out = append(out, math.Round(p.EngineRPM))
	}
	return out
}

// TestSteadySweepIsNotHeld: a slow sweep stays within any band for a while, and is
// no held speed.
func TestSteadySweepIsNotHeld(t *testing.T) {
	for _, rate := range []float64{5, 20, 100, 300} { // 1/min per s
		alpha := rate * math.Pi / 30 / 5
		s := steadyOf(t, heldLog{rate: 100, end: 30, speedSD: 0.02, wheel: func(float64) float64 { return 300 },
			speed: func(t float64) (float64, float64) { return 80 + alpha*t, alpha }}.log(3))
		if len(s.Points) != 0 {
			t.Errorf("sweep of %v 1/min a second: %d points at %v", rate, len(s.Points), rpmsOf(s))
		}
		if rate < 20 {
			continue // 150 1/min in half a minute: too little to call it a way
		}
		if m := s.Control.Moves; len(m) != 1 || m[0].Kind != MoveSweep || math.Abs(m[0].Rate-rate) > 0.02*rate {
			t.Errorf("sweep of %v 1/min a second: %+v", rate, m)
		}
	}
}

// TestSteadyWarming: a point begins only when no temperature runs away; one that
// always does leaves no point.
func TestSteadyWarming(t *testing.T) {
	h := heldLog{rate: 50, end: 20, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 }}
	n := int(h.end*h.rate) + 1
	settles, runs := make([]float64, n), make([]float64, n)
	for i := range n {
		at := float64(i) / h.rate
		settles[i] = 370 - 20*math.Exp(-at/3) // 0.25 K/s at 9.8 s
		runs[i] = 370 + 0.6*at
	}
	h.more = []signal.Channel{{Name: signal.OilTemperature, Unit: "K", Values: settles}}
	s := steadyOf(t, h.log(1))
	if len(s.Points) != 1 || s.Points[0].Start < 5 || s.Points[0].Start > 11 {
		t.Errorf("oil that settles: %+v, left out %v", s.Points, s.LeftOut)
	}
	h.more = []signal.Channel{{Name: signal.OilTemperature, Unit: "K", Values: runs}}
	s = steadyOf(t, h.log(1))
	if len(s.Points) != 0 || len(s.LeftOut) != 1 || !strings.Contains(s.LeftOut[0].Why, "oil temp") {
		t.Errorf("oil that runs away: %d points, left out %v", len(s.Points), s.LeftOut)
	}
}

// TestSteadyRefusals: each says what to do.
func TestSteadyRefusals(t *testing.T) {
	good := heldLog{rate: 50, end: 10, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 }}.log(1)
	without := *good
	without.Channels = good.Channels[:2]
	turned := *good
	reversed := make([]float64, len(good.Time))
	for i, b := range good.Channel(signal.BrakeTorque) {
		reversed[i] = -b
	}
	turned.Channels = []signal.Channel{good.Channels[0], good.Channels[1], {Name: signal.BrakeTorque, Values: reversed}}
	force := *good
	force.Channels = []signal.Channel{good.Channels[0], good.Channels[1], {Name: signal.BrakeForce, Values: good.Channels[2].Values}}
	noRatio := heldRig
	noRatio.RevsPerDrumRev = 0
	noEngine := *good
	noEngine.Channels = []signal.Channel{good.Channels[0], good.Channels[2]}
	for _, row := range []struct {
		name  string
		log   *signal.Log
		s     Settings
		rule  SteadyRule
		words string
	}{
		{"no brake", &without, heldRig, DefaultSteadyRule(), "brake_torque"},
		{"reversed", &turned, heldRig, DefaultSteadyRule(), "sign"},
		{"no arm", &force, heldRig, DefaultSteadyRule(), "brake_arm_m"},
		{"no inertia", good, Settings{RevsPerDrumRev: 5}, DefaultSteadyRule(), "drum_inertia_kgm2"},
		{"no ratio", &noEngine, noRatio, DefaultSteadyRule(), "engine_revs_per_drum_rev"},
		{"zero rule", good, heldRig, SteadyRule{}, "tolerance"},
		{"not a number", good, heldRig, SteadyRule{Tolerance: math.NaN(), Settle: 2, Least: 3, Warming: 1}, "tolerance"},
	} {
		_, err := FindSteady(row.log, row.s, row.rule)
		var refusal *LogError
		if !errors.As(err, &refusal) || refusal.Cure == "" || !strings.Contains(err.Error(), row.words) {
			t.Errorf("%s: %v; want a LogError with %q", row.name, err, row.words)
		}
	}
}

// TestSteadyGaps: a gap ends what is averaged, and a log of nothing held has none.
func TestSteadyGaps(t *testing.T) {
	log := heldLog{rate: 100, end: 20, speedSD: 0.02, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 }}.log(4)
	for i := 900; i < 980; i++ {
		log.Channels[0].Values[i] = math.NaN()
	}
	s := steadyOf(t, log)
	for _, p := range s.Points {
		nearTo(t, "torque", p.DrumTorque, 300, 0.3)
		if p.Start < 9.8 && p.End > 9 {
			t.Errorf("a point goes over the gap: %v to %v s", p.Start, p.End)
		}
	}
	if len(s.Points) != 2 {
		t.Errorf("%d points on either side of a gap, want 2; left out %v", len(s.Points), s.LeftOut)
	}
}

// TestSteadyStandardError: the brake's noise hangs together over half a second, and
// the limits must hold for the torque all the same. The noise is a first-order
// autoregression, so its mean's variance is known in closed form.
func TestSteadyStandardError(t *testing.T) {
	const repeats, rate, sd, length = 150, 100.0, 6.0, 12.0
	phi := math.Exp(-1 / (0.5 * rate))
	held, ratio := 0, 0.0
	for seed := range uint64(repeats) {
		r := rand.New(rand.NewPCG(seed, 9))
		v := sd * r.NormFloat64()
		h := heldLog{rate: rate, end: length, speedSD: 0.02, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 },
			noise: func(int) float64 {
				v = phi*v + sd*math.Sqrt(1-phi*phi)*r.NormFloat64()
				return v
			}}
		s := steadyOf(t, h.log(seed))
		if len(s.Points) != 1 {
			t.Fatalf("%d points", len(s.Points))
		}
		p := s.Points[0]
		lo, hi := p.Limits(0.95)
		if lo <= 60 && hi >= 60 {
			held++
		}
		ratio += p.StandardError * p.DrumTorque / p.Torque / repeats
	}
	n := (length - 2) * rate
	want := sd * math.Sqrt(((1+phi)/(1-phi)-2*phi*(1-math.Pow(phi, n))/(n*(1-phi)*(1-phi)))/n)
	t.Logf("limits held in %d of %d; mean standard error %.3f N·m at the drum, closed form %.3f", held, repeats, ratio, want)
	if held < repeats*90/100 || !(ratio > 0.9*want && ratio < 1.6*want) {
		t.Errorf("limits held in %d of %d; standard error %.3f, closed form %.3f", held, repeats, ratio, want)
	}
}

// nearTo fails unless got is within tolerance of want; NaN fails.
func nearTo(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}
