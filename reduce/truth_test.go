package reduce

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairpull/signal"
)

// world is a virtual rig whose drum speed follows from its torques by a
// Runge–Kutta integration that shares no code with the package. Its wheel torque
// referred to the engine is given, so what a pull must show is known at every
// engine speed.
type world struct {
	inertia, wheel  float64 // drum; driven wheel referred to the drum, kg·m²
	radius          float64 // drum, m
	ratio           float64 // engine turns a drum turn
	creep           float64 // relative rise of the ratio at 250 N·m of drum torque
	parasitic, loss [3]float64
	torque          func(rpm float64) float64 // wheel torque referred to the engine, N·m
	from, to        float64                   // engine speed where the throttle opens and closes, 1/min
	preroll         float64                   // s at constant speed before
	ramp            float64                   // s in which the throttle opens, and closes
	lever           float64                   // s from closing the throttle to pulling the clutch lever
	coast           float64                   // s of coast-down
	brake           func(t float64) float64   // brake torque at the drum, N·m; nil: none

	opened, closed, pulled, end float64 // moments: throttle begins to open, to close; lever pulled; log ends
	step                        float64
	omega, alpha, theta         []float64 // every step
}

// curvy is an invented torque curve with two bends.
func curvy(rpm float64) float64 {
	x := (rpm - 5200) / 3000
	return 58*(1-0.22*x*x) + 2*math.Sin(2*math.Pi*(rpm-2000)/2600)
}

// twin is an invented rig with a mid-sized vehicle on it.
func twin() *world {
	w := &world{inertia: 20, wheel: 0.35, radius: 0.2286, ratio: 3.71, parasitic: [3]float64{1.1, 0.010, 0},
		loss: [3]float64{9, 0.03, 0.0004}, torque: curvy, from: 2000, to: 8000,
		preroll: 1, ramp: 0.12, lever: 0.4, coast: 9}
	return w
}

// drive returns the drum torque of the vehicle at drum speed omega with the drive
// engaged, throttle open by u.
func (w *world) drive(omega, u float64) float64 {
	r := w.ratio
	for range 30 {
		// The ratio follows the torque and the torque the ratio: a few rounds settle it.
		r = w.ratio * (1 + w.creep*w.torque(r*omega*30/math.Pi)*r/250)
		if w.creep == 0 {
			break
		}
	}
	return u*w.torque(r*omega*30/math.Pi)*r - (1-u)*25*w.ratio
}

// run integrates the log.
func (w *world) run() *world {
	w.step = 0.0005
	omega, theta, t := w.from*math.Pi/30/w.ratio, 0.0, 0.0
	w.opened, w.closed, w.pulled, w.end = w.preroll, math.Inf(1), math.Inf(1), math.Inf(1)
	clamp := func(x float64) float64 { return math.Min(1, math.Max(0, x)) }
	acceleration := func(t, omega float64) float64 {
		drag := w.parasitic[0] + omega*(w.parasitic[1]+omega*w.parasitic[2])
		if w.brake != nil {
			drag += w.brake(t)
		}
		switch {
		case t < w.opened:
			return 0
		case t < w.pulled:
			u := clamp((t - w.opened) / w.ramp)
			if t > w.closed {
				u = clamp(1 - (t-w.closed)/w.ramp)
			}
			return (w.drive(omega, u) - drag) / w.inertia
		}
		return -(w.loss[0] + omega*(w.loss[1]+omega*w.loss[2]) + drag) / (w.inertia + w.wheel)
	}
	for t < w.end {
		w.omega, w.theta, w.alpha = append(w.omega, omega), append(w.theta, theta), append(w.alpha, acceleration(t, omega))
		h := w.step
		k1 := acceleration(t, omega)
		k2 := acceleration(t+h/2, omega+h/2*k1)
		k3 := acceleration(t+h/2, omega+h/2*k2)
		k4 := acceleration(t+h, omega+h*k3)
		theta += h*omega + h*h/6*(k1+k2+k3)
		omega += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
		t = float64(len(w.omega)) * h
		if math.IsInf(w.closed, 1) && omega*w.ratio*30/math.Pi >= w.to {
			w.closed, w.pulled, w.end = t, t+w.lever, t+w.lever+w.coast
		}
	}
	return w
}

// at returns the drum speed and angle at time t, by Hermite interpolation.
func (w *world) at(t float64) (omega, theta float64) {
	k := min(int(t/w.step), len(w.omega)-2)
	x, h := t/w.step-float64(k), w.step
	d := w.omega[k+1] - w.omega[k]
	a, b := w.alpha[k]*h-d, d-w.alpha[k+1]*h
	omega = w.omega[k] + x*d + x*(1-x)*((1-x)*a+x*b)
	d = w.theta[k+1] - w.theta[k]
	a, b = w.omega[k]*h-d, d-w.omega[k+1]*h
	theta = w.theta[k] + x*d + x*(1-x)*((1-x)*a+x*b)
	return omega, theta
}

// engine returns the engine speed in rad/s at time t: that of the drum times the
// ratio until the lever is pulled, then falling to idle.
func (w *world) engine(t float64) float64 {
	omega, _ := w.at(t)
	r := w.ratio
	if w.creep != 0 && t > w.opened && t < w.closed {
		for range 30 {
			r = w.ratio * (1 + w.creep*w.torque(r*omega*30/math.Pi)*r/250)
		}
	}
	if t <= w.pulled {
		return omega * r
	}
	return math.Max(130, omega*r*math.Exp(-(t-w.pulled)/0.4))
}

// throttle returns the opening at time t.
func (w *world) throttle(t float64) float64 {
	up := math.Min(1, math.Max(0, (t-w.opened)/w.ramp))
	down := math.Min(1, math.Max(0, 1-(t-w.closed)/w.ramp))
	return 0.12 + 0.88*math.Min(up, down)
}

// flaws are what a logger adds.
type flaws struct {
	rate        float64 // samples a second
	jitter      float64 // of the sampling moments, part of the interval
	noise       float64 // of drum speed, rad/s
	memory      float64 // of the noise: correlation from sample to sample
	engineNoise float64 // of engine speed, rad/s
	quantum     float64 // of drum speed, rad/s
	turn, phase float64 // once-per-turn error, relative, rad
	offset      float64 // of the first sample, s
	shift       float64 // of the rounding steps of drum speed, rad/s
	noThrottle  bool
	noEngine    bool
	random      *rand.Rand // nil: no noise
}

// sampled logs the world as a sampled log.
func (w *world) sampled(f flaws) *signal.Log {
	n := int((w.end-2*w.step-f.offset)*f.rate) - 1
	t, drum, engine, lever := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	normal := func() float64 {
		if f.random == nil {
			return 0
		}
		return f.random.NormFloat64()
	}
	held := 0.0
	for i := range n {
		t[i] = f.offset + (float64(i)+0.5)/f.rate
		if f.jitter > 0 {
			t[i] += f.jitter * (f.random.Float64() - 0.5) / f.rate
		}
		omega, theta := w.at(t[i])
		held = f.memory*held + math.Sqrt(1-f.memory*f.memory)*f.noise*normal()
		drum[i] = omega*(1+f.turn*math.Cos(theta+f.phase)) + held
		if f.quantum > 0 {
			drum[i] = f.quantum*math.Round((drum[i]+f.shift)/f.quantum) - f.shift
		}
		engine[i] = w.engine(t[i]) + f.engineNoise*normal()
		lever[i] = w.throttle(t[i])
	}
	log := &signal.Log{Kind: signal.Sampled, Time: t, FirstLine: 3, Channels: []signal.Channel{{Name: signal.DrumSpeed, Unit: "rad/s", Values: drum}}}
	if !f.noEngine {
		log.Channels = append(log.Channels, signal.Channel{Name: signal.EngineSpeed, Unit: "rad/s", Values: engine})
	}
	if !f.noThrottle {
		log.Channels = append(log.Channels, signal.Channel{Name: signal.Throttle, Unit: "1", Values: lever})
	}
	return log
}

// pulses logs the world as pulse trains, perTurn pulses a drum turn (tooth j off
// by teeth[j] rad) and enginePer pulses a crankshaft turn.
func (w *world) pulses(perTurn int, teeth []float64, enginePer float64) *signal.Log {
	log := &signal.Log{Kind: signal.Pulses}
	k, crank, ignition := 0, 0.3, 1
	for i := 0; i+2 < len(w.omega); i++ {
		for {
			want := 2 * math.Pi * float64(k+1) / float64(perTurn)
			if teeth != nil {
				want += teeth[(k+1)%perTurn]
			}
			if w.theta[i+1] < want {
				break
			}
			log.DrumPulse = append(log.DrumPulse, w.solve(want, i))
			k++
		}
		// The crankshaft turns evenly enough within half a millisecond for
		// Simpson's rule and a parabola.
		t := float64(i) * w.step
		e0, e1 := w.engine(t), w.engine(t+w.step)
		next := crank + w.step*(e0+4*w.engine(t+w.step/2)+e1)/6
		if want := 2 * math.Pi * float64(ignition) / enginePer; next >= want {
			x := (want - crank) / (next - crank)
			for range 5 {
				x -= (crank + w.step*(e0*x+(e1-e0)*x*x/2) - want) / (w.step * (e0 + (e1-e0)*x))
			}
			log.EnginePulse = append(log.EnginePulse, t+x*w.step)
			ignition++
		}
		crank = next
	}
	return log
}

// shaken returns a copy of a pulse log whose moments carry normal errors of the
// given standard deviation in s.
func shaken(log *signal.Log, sd float64, random *rand.Rand) *signal.Log {
	shake := func(t []float64) []float64 {
		out := make([]float64, len(t))
		for i := range t {
			out[i] = t[i] + sd*random.NormFloat64()
		}
		return out
	}
	return &signal.Log{Kind: signal.Pulses, DrumPulse: shake(log.DrumPulse), EnginePulse: shake(log.EnginePulse)}
}

// solve returns when the drum angle reaches want, near step i.
func (w *world) solve(want float64, i int) float64 {
	t := float64(i) * w.step
	for range 4 {
		omega, theta := w.at(t)
		t -= (theta - want) / omega
	}
	return t
}

// settings returns what the rig's owner would state.
func (w *world) settings() Settings {
	s := Settings{Inertia: w.inertia, Radius: w.radius, Parasitic: w.parasitic, WheelInertia: w.wheel * 0.31 * 0.31 / (w.radius * w.radius), WheelRadius: 0.31, HalfWidthRPM: 200}
	for rpm := 2000.0; rpm <= 8000; rpm += 50 {
		s.NodesRPM = append(s.NodesRPM, rpm)
	}
	return s
}

// reduced finds and reduces, and stops the test on an error.
func reduced(t testing.TB, log *signal.Log, s Settings) *Result {
	t.Helper()
	ph, err := Find(log, s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Reduce(log, s, ph)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
