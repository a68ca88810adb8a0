package reduce

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairpull/signal"
)

// second is the step response of a second-order system with damping z and natural
// frequency w, from 0 to 1, and its slope: the closed form of every textbook on
// control.
func second(t, z, w float64) (value, slope float64) {
	if t <= 0 {
		return 0, 0
	}
	root := math.Sqrt(1 - z*z)
	sin, cos := math.Sincos(w * root * t)
	fall := math.Exp(-z * w * t)
	return 1 - fall*(cos+z/root*sin), w / root * fall * sin
}

// TestOvershootClosedForm: the overshoot of a second-order loop is exp(−πz/√(1−z²)),
// 25.4 % at z = 0.4, 9.5 % at 0.6, 1.5 % at 0.8.
func TestOvershootClosedForm(t *testing.T) {
	perRPM := math.Pi / 30 / 5
	for _, z := range []float64{0.4, 0.6} {
		log := heldLog{rate: 100, end: 24, speedSD: 0.01, wheel: func(float64) float64 { return 300 }, speed: func(t float64) (float64, float64) {
			value, slope := second(t-10, z, 2)
			return (4000 + 1000*value) * perRPM, 1000 * slope * perRPM
		}}.log(1)
		s := steadyOf(t, log)
		if len(s.Points) != 2 {
			t.Fatalf("damping %v: %d points %v; left out %v", z, len(s.Points), rpmsOf(s), s.LeftOut)
		}
		a := s.Points[1].Arrival
		want := math.Exp(-math.Pi * z / math.Sqrt(1-z*z))
		if !a.Known {
			t.Fatalf("damping %v: no arrival", z)
		}
		nearTo(t, "step", a.StepRPM, 1000, 10)
		nearTo(t, "overshoot", a.Overshoot, want, 0.012) // means over half a second flatten the top
		// It keeps within ±50 1/min, a twentieth of the step, from t with exp(−zwt) ≈ 0.05·√(1−z²) on.
		if keeps := math.Log(1/(0.05*math.Sqrt(1-z*z))) / (z * 2); !(a.SettleTime < keeps) {
			t.Errorf("damping %v: settled after %.2f s; the envelope is within the tolerance from %.2f s on", z, a.SettleTime, keeps)
		}
	}
}

// TestHuntingFalseAlarm: a speed that is only noisy does not hunt.
func TestHuntingFalseAlarm(t *testing.T) {
	alarms := 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 2))
		v := 0.0
		h := heldLog{rate: 100, end: 12, speedSD: 0.05, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 }}
		h.noise = func(int) float64 {
			v = 0.98*v + r.NormFloat64()
			return v
		}
		s := steadyOf(t, h.log(seed))
		if len(s.Points) == 1 && s.Points[0].Hunting.Found {
			alarms++
		}
	}
	if alarms > 1 {
		t.Errorf("%d of 60 noisy speeds are said to hunt", alarms)
	}
}

// TestSaturation: the brake can take 280 N·m and the engine gives more: the speed
// goes up as (W − parasitic − brake)/I has it, and that is said.
func TestSaturation(t *testing.T) {
	const most = 280.0
	rise := 1.6 // rad/s² of the drum
	h := heldLog{rate: 100, end: 16, speedSD: 0.02, speed: func(t float64) (float64, float64) {
		if t < 10 {
			return 80, 0
		}
		return 80 + rise*(t-10), rise
	}}
	h.wheel = func(t float64) float64 {
		omega, alpha := h.speed(t)
		p := heldRig.Parasitic
		drag := p[0] + omega*(p[1]+p[2]*omega)
		if t < 10 {
			return 250
		}
		return most + drag + heldRig.Inertia*alpha
	}
	for _, withCommand := range []bool{false, true} {
		h.more = nil
		if withCommand {
			command := make([]float64, int(h.end*h.rate)+1)
			for i := range command {
				command[i] = 0.85
				if i > 1000 {
					command[i] = 1
				}
			}
			h.more = []signal.Channel{{Name: signal.BrakeCommand, Values: command}}
		}
		s := steadyOf(t, h.log(1))
		x := s.Control.Saturations
		if len(x) != 1 || x[0].ByCommand != withCommand {
			t.Fatalf("with a command %v: %+v", withCommand, x)
		}
		nearTo(t, "from", x[0].From, 10, 0.6)
		nearTo(t, "to", x[0].To, 16, 0.2)
		nearTo(t, "torque", x[0].Brake, most, 2)
		nearTo(t, "speed gained", x[0].ToRPM-x[0].FromRPM, rise*6*5*30/math.Pi, 0.15*rise*6*5*30/math.Pi)
		if m := s.Control.Moves; len(m) != 1 || m[0].Kind != MoveAway {
			t.Errorf("a runaway is called %+v", m)
		}
	}
}

// TestFade: for the same torque the command must rise as the brake loses a
// thousandth of its strength each second, which is what fading is.
func TestFade(t *testing.T) {
	perRPM := math.Pi / 30 / 5
	speed, end := staircase([]float64{4000 * perRPM, 5000 * perRPM, 4000 * perRPM}, 15, 800*perRPM)
	h := heldLog{rate: 100, end: end, speedSD: 0.02, speed: speed, wheel: func(float64) float64 { return 300 }}
	log := h.log(1)
	brake := log.Channel(signal.BrakeTorque)
	command := make([]float64, len(brake))
	for i, b := range brake {
		command[i] = b / (400 * math.Exp(-0.004*log.Time[i]))
	}
	log.Channels = append(log.Channels, signal.Channel{Name: signal.BrakeCommand, Values: command})
	s := steadyOf(t, log)
	if len(s.Points) != 3 || !s.Control.HasCommand || len(s.Control.Fades) != 1 {
		t.Fatalf("%d points, fades %+v", len(s.Points), s.Control.Fades)
	}
	f := s.Control.Fades[0]
	nearTo(t, "fade between the holds", f.Change, math.Exp(-0.004*(f.To-f.From))-1, 1e-3)
	for _, p := range s.Points {
		nearTo(t, "fade within a hold", p.Fade.Change, math.Exp(-0.004*(p.Fade.To-p.Fade.From))-1, 1e-3)
	}
}

// TestSteadyPartThrottle: points at part throttle are found, and are not put on the
// curve that is compared.
func TestSteadyPartThrottle(t *testing.T) {
	perRPM := math.Pi / 30 / 5
	speed, end := staircase([]float64{3000 * perRPM, 4000 * perRPM, 5000 * perRPM}, 10, 800*perRPM)
	h := heldLog{rate: 50, end: end, speed: speed, wheel: func(t float64) float64 {
		if t < 10 {
			return 120
		}
		return 300
	}}
	throttle := make([]float64, int(h.end*h.rate)+1)
	for i := range throttle {
		throttle[i] = 1
		if float64(i)/h.rate < 10 {
			throttle[i] = 0.4
		}
	}
	h.more = []signal.Channel{{Name: signal.Throttle, Values: throttle}}
	s := steadyOf(t, h.log(1))
	if len(s.Points) != 3 || s.Points[0].FullThrottle || !s.Points[1].FullThrottle {
		t.Fatalf("%+v; left out %v", s.Points, s.LeftOut)
	}
	nearTo(t, "torque at part throttle", s.Points[0].DrumTorque, 120, 0.01)
	grid := []float64{2950, 3000, 3950, 4000, 4050, 5000, 5050}
	nodes := HeldNodes([]*Steady{s}, grid, DefaultSteadyRule())
	if len(nodes) != 2 || nodes[0] != 4000 || nodes[1] != 5000 {
		t.Errorf("nodes %v, want those at full throttle", nodes)
	}
}

// TestHeldResults: two logs that held 3012 and 2996 mean the same speed, and the
// torque is brought there along the log's own course, here a straight line.
func TestHeldResults(t *testing.T) {
	line := func(rpm float64) float64 { return 40 + 0.004*rpm }
	made := func(rpms ...float64) *Steady {
		s := &Steady{Ratio: 5}
		for _, rpm := range rpms {
			s.Points = append(s.Points, SteadyPoint{EngineRPM: rpm, Torque: line(rpm), DrumTorque: 5 * line(rpm), DrumSpeed: rpm * math.Pi / 30 / 5,
				StandardError: 0.1, FullThrottle: true, Rows: 100, Means: map[string]float64{signal.Lambda: 0.88}})
		}
		return s
	}
	var grid []float64
	for rpm := 1000.0; rpm <= 9000; rpm += 50 {
		grid = append(grid, rpm)
	}
	logs := []*Steady{made(3012, 4000, 5003), made(2996, 4011, 4995, 4998)}
	if nodes := HeldNodes(logs, grid, DefaultSteadyRule()); len(nodes) != 3 || nodes[0] != 3000 || nodes[1] != 4000 || nodes[2] != 5000 {
		t.Fatalf("nodes %v", nodes)
	}
	for i, r := range HeldResults(logs, grid, DefaultSteadyRule()) {
		for j, rpm := range r.Curve.SpeedRPM {
			nearTo(t, "torque brought to the node", r.Curve.Torque[j], line(rpm), 1e-9)
			nearTo(t, "torque at the drum", r.DrumTorque[j], 5*line(rpm), 1e-9)
		}
		nearTo(t, "lambda", r.Lambda, 0.88, 1e-12)
		if r.Curve.Len() != 3 || !math.IsNaN(r.Phases.Start) {
			t.Errorf("log %d: %d nodes", i, r.Curve.Len())
		}
	}
	// The last two points of the second log are one node: the mean of both.
	r := HeldResults(logs, grid, DefaultSteadyRule())[1]
	nearTo(t, "standard error of two points", r.Curve.StandardError[2], 0.1/math.Sqrt2, 1e-12)
}
