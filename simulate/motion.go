package simulate

import (
	"errors"
	"fmt"
	"math"
)

// machine is one vehicle on one drum during one pull. All torques are at the
// drum axis unless said otherwise; ω is drum speed, ωe = ratio·(1 + s)·ω engine
// speed with slip s.
//
// With the drive engaged
//
//	I·dω/dt = τ_w − τ_par(ω) − τ_brake
//	τ_w     = (τ_e·ratio − τ_loss(ω))·rig(ωe) − (I_w + I_e·ratio²)·d((1 + s)·ω)/dt
//	ds/dt   = (slip·τ_w + burst(ωe) − s)/slipTime
//
// where τ_w is what the tyre hands to the drum: the wheel figure. With the
// clutch lever pulled (I + I_w)·dω/dt = −τ_loss(ω) − τ_par(ω).
type machine struct {
	drum      float64 // I, kg·m²
	wheel     float64 // I_w: driven wheel referred to the drum, kg·m²
	engine    float64 // I_e at the crankshaft, kg·m²
	ratio     float64 // engine turns a drum turn
	parasitic [3]float64
	loss      [3]float64
	drag      [2]float64 // closed throttle, at the crankshaft
	slip      float64    // 1/(N·m)
	slipTime  float64    // s
	burst     Bump       // engine speed over drum speed, relative
	idle      float64    // rad/s

	torque  table   // full-throttle crankshaft torque, N·m
	brake   float64 // N·m at the drum, while it is held
	flutter float64 // of the crankshaft torque, a fraction, at this moment
	rig     table   // what the rig's scatter and drift make of the drive torque, a factor
}

// state is what the equations of motion carry forward.
type state struct {
	theta  float64 // drum angle, rad
	omega  float64 // drum speed, rad/s
	engine float64 // crankshaft angle, rad
	slip   float64
}

// motion is the rate of change of a state, and the torque that goes with it.
type motion struct {
	alpha       float64 // drum acceleration, rad/s²
	engineSpeed float64 // rad/s
	engineAccel float64 // rad/s²
	slipRate    float64 // 1/s
}

func quadratic(c [3]float64, x float64) float64 { return c[0] + x*(c[1]+x*c[2]) }

const rpmPerRadian = 60 / (2 * math.Pi) // 1/min per rad/s

// engaged returns the motion with the drive engaged and throttle opening u.
func (m *machine) engaged(u float64, y state) motion {
	stretch := 1 + y.slip
	engineSpeed := m.ratio * stretch * y.omega
	rpm := engineSpeed * rpmPerRadian
	crank := m.torque.at(rpm)*(1+m.flutter)*u - (1-u)*(m.drag[0]+m.drag[1]*engineSpeed)
	drive := (crank*m.ratio - quadratic(m.loss, y.omega)) * m.rig.at(rpm)
	parasitic := quadratic(m.parasitic, y.omega) + m.brake

	target := -y.slip
	if m.burst.Size != 0 {
		z := (rpm - m.burst.AtRPM) / m.burst.WidthRPM
		target += m.burst.Size * math.Exp(-z*z/2)
	}
	// τ_w enters dω/dt and ds/dt, and both enter τ_w: linear, so solved for it.
	inertia := m.wheel + m.engine*m.ratio*m.ratio
	contact := drive + inertia*(stretch*parasitic/m.drum-y.omega*target/m.slipTime)
	contact /= 1 + inertia*(stretch/m.drum+y.omega*m.slip/m.slipTime)

	alpha := (contact - parasitic) / m.drum
	slipRate := (m.slip*contact + target) / m.slipTime
	return motion{alpha, engineSpeed, m.ratio * (stretch*alpha + y.omega*slipRate), slipRate}
}

// contact returns the torque at the drum that goes with drum speed and
// acceleration: what a perfect rig reads, N·m.
func (m *machine) contact(omega, alpha float64) float64 {
	return m.drum*alpha + quadratic(m.parasitic, omega) + m.brake
}

// coasting returns the drum's acceleration with the clutch lever pulled.
func (m *machine) coasting(omega float64) float64 {
	return -(quadratic(m.loss, omega) + quadratic(m.parasitic, omega)) / (m.drum + m.wheel)
}

// opening is a throttle that moves from one opening to another with a time
// constant.
type opening struct {
	since    float64 // s
	from, to float64 // fractions
	constant float64 // s
}

func (o opening) at(t float64) float64 {
	if o.from == o.to {
		return o.to
	}
	return o.to + (o.from-o.to)*math.Exp((o.since-t)/o.constant)
}

// step carries y over h seconds by the classical fourth-order Runge–Kutta rule.
// first is the motion at the start.
func (m *machine) step(o opening, t, h float64, y state, first motion) state {
	half := advance(y, first, h/2, y.omega)
	b := m.engaged(o.at(t+h/2), half)
	half2 := advance(y, b, h/2, half.omega)
	c := m.engaged(o.at(t+h/2), half2)
	full := advance(y, c, h, half2.omega)
	d := m.engaged(o.at(t+h), full)
	return state{
		theta:  y.theta + h/6*(y.omega+2*half.omega+2*half2.omega+full.omega),
		omega:  y.omega + h/6*(first.alpha+2*b.alpha+2*c.alpha+d.alpha),
		engine: y.engine + h/6*(first.engineSpeed+2*b.engineSpeed+2*c.engineSpeed+d.engineSpeed),
		slip:   y.slip + h/6*(first.slipRate+2*b.slipRate+2*c.slipRate+d.slipRate),
	}
}

// advance moves y by h seconds along r; omega is the drum speed that r was
// found at.
func advance(y state, r motion, h, omega float64) state {
	return state{y.theta + h*omega, y.omega + h*r.alpha, y.engine + h*r.engineSpeed, y.slip + h*r.slipRate}
}

// coastStep carries drum angle and speed over h seconds of coast-down.
func (m *machine) coastStep(h float64, y state) state {
	a := m.coasting(y.omega)
	w2 := y.omega + h/2*a
	b := m.coasting(w2)
	w3 := y.omega + h/2*b
	c := m.coasting(w3)
	w4 := y.omega + h*c
	d := m.coasting(w4)
	y.theta += h / 6 * (y.omega + 2*w2 + 2*w3 + w4)
	y.omega += h / 6 * (a + 2*b + 2*c + d)
	return y
}

// steady returns the state at engine speed rpm with dω/dt = 0, and the throttle
// opening that holds it.
func (m *machine) steady(rpm float64) (state, float64, error) {
	y := state{}
	for range 20 { // slip and drum speed settle by a factor of a thousand a turn
		y.omega = rpm / rpmPerRadian / (m.ratio * (1 + y.slip))
		y.slip = m.slip * quadratic(m.parasitic, y.omega)
	}
	drag := m.drag[0] + m.drag[1]*rpm/rpmPerRadian
	needed := (quadratic(m.parasitic, y.omega)/m.rig.at(rpm) + quadratic(m.loss, y.omega)) / m.ratio
	u := (needed + drag) / (m.torque.at(rpm) + drag)
	if !(u >= 0 && u < 1) {
		return y, u, fmt.Errorf("%w: at %.0f 1/min the engine would need %.2f of full throttle to hold its speed", errNoPull, rpm, u)
	}
	return y, u, nil
}

// errNoPull says that the engine cannot pull the drum as the scenario wants.
var errNoPull = errors.New("simulate: no pull")
