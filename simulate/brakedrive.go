package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// steadyTorque returns what the tyre hands to the drum at a steady engine speed with
// the throttle open, N·m at the drum, and the drum's speed, rad/s: the equations of
// machine with dω/dt = ds/dt = 0.
func (m *machine) steadyTorque(rpm float64) (torque, omega float64) {
	slip := 0.0
	for range 30 {
		omega = rpm / rpmPerRadian / (m.ratio * (1 + slip))
		torque = (m.torque.at(rpm)*m.ratio - quadratic(m.loss, omega)) * m.rig.at(rpm)
		slip = m.slip * torque
	}
	return torque, omega
}

// wander is a first-order autoregression in steady state, stepped at even times.
type wander struct {
	value, keep, sd float64
}

func newWander(r *rand.Rand, sd, time, step float64) wander {
	w := wander{sd: sd}
	if time > 0 {
		w.keep = math.Exp(-step / time)
	}
	w.value = sd * r.NormFloat64()
	return w
}

func (w *wander) next(r *rand.Rand) float64 {
	w.value = w.keep*w.value + w.sd*math.Sqrt(1-w.keep*w.keep)*r.NormFloat64()
	return w.value
}

// braked is one moment of a steady log.
type braked struct {
	knot
	brake   float64 // N·m
	command float64 // of Max
	open    float64 // throttle
}

// steadyCourse is what is known of a steady log once it has been driven.
type steadyCourse struct {
	begin, end float64 // s: the throttle opens; the log ends
	closed     float64 // s: the throttle closes
	runaway    bool    // the brake could not hold: the throttle was closed early
	saturated  float64 // s at full command
}

// controller is the brake with its command.
type controller struct {
	*Brake
	machine  *machine
	integral float64 // N·m
	torque   float64 // N·m
	heat     float64 // J
	command  float64
}

// act sets the command for the departure of engine speed referred to the drum, and
// returns the torque that the brake goes towards.
func (c *controller) act(departure, step float64) (toward float64) {
	c.integral = clamp(c.integral+c.Integral*departure*step, 0, c.Max)
	c.command = clamp(c.integral+c.Proportional*departure, 0, c.Max) / c.Max
	strength := math.Max(0.1, 1-c.Fade*c.heat/1e6)
	return c.command * c.Max * strength
}

// warm carries the heat in the brake over a step.
func (c *controller) warm(omega, step float64) {
	c.heat += step * (c.torque*omega - c.heat/c.Cooling)
}

// brakedStep carries y over h seconds by the rule of step, while the brake's torque
// goes exponentially towards its target.
func (m *machine) brakedStep(o opening, t, h, from, toward, lag float64, y state) state {
	at := func(part float64) float64 { return toward + (from-toward)*math.Exp(-part*h/lag) }
	m.brake = from
	a := m.engaged(o.at(t), y)
	half := advance(y, a, h/2, y.omega)
	m.brake = at(0.5)
	b := m.engaged(o.at(t+h/2), half)
	half2 := advance(y, b, h/2, half.omega)
	c := m.engaged(o.at(t+h/2), half2)
	full := advance(y, c, h, half2.omega)
	m.brake = at(1)
	d := m.engaged(o.at(t+h), full)
	return state{
		theta:  y.theta + h/6*(y.omega+2*half.omega+2*half2.omega+full.omega),
		omega:  y.omega + h/6*(a.alpha+2*b.alpha+2*c.alpha+d.alpha),
		engine: y.engine + h/6*(a.engineSpeed+2*b.engineSpeed+2*c.engineSpeed+d.engineSpeed),
		slip:   y.slip + h/6*(a.slipRate+2*b.slipRate+2*c.slipRate+d.slipRate),
	}
}

// steadyTail is how long a log goes on after the throttle closes, s.
const steadyTail = 1.5

// driveSteady drives a steady log and hands every step's beginning and end to see.
func (s *Scenario) driveSteady(p *plannedPull, see func(a, b *braked)) (*machine, *steadyCourse, error) {
	m := s.machine(p.conditions())
	r := chance(s.Seed, flutterStream, p.index)
	program := s.Brake.program()
	y, part, err := m.steady(program[0].rpm)
	if err != nil {
		return nil, nil, err
	}
	y.theta = 2 * math.Pi * chance(s.Seed, logStream, p.index).Float64()
	c := &controller{Brake: s.Brake, machine: m}
	flutter := newWander(r, s.Brake.Flutter, s.Brake.FlutterTime, integrationStep)
	course := &steadyCourse{begin: s.Drive.Lead, closed: s.Drive.Lead + s.Brake.length()}
	throttle := opening{course.begin, part, 1, s.Drive.OpenTime}
	const h = integrationStep
	for i := 0; ; i++ {
		t := float64(i) * h
		if t >= course.closed+steadyTail || !(y.omega > slowestCoast) {
			course.end = t
			break
		}
		o := throttle
		if t < course.begin {
			o = opening{from: part, to: part, constant: 1}
		} else if t >= course.closed {
			o = opening{course.closed, 1, 0, s.Drive.CloseTime}
		}
		m.flutter = flutter.next(r)
		rpm := m.ratio * (1 + y.slip) * y.omega * rpmPerRadian
		if rpm > s.Engine.CloseRPM && t < course.closed {
			course.closed, course.runaway = t, true
		}
		y = s.steadyStep(c, course, program, o, t, y, see)
		if !finite(y.omega) {
			return nil, nil, fmt.Errorf("%w: the motion is not finite", errNoPull)
		}
	}
	m.brake, m.flutter = 0, 0
	return m, course, nil
}

// steadyStep carries the state over one step of the controller.
func (s *Scenario) steadyStep(c *controller, course *steadyCourse, program []held, o opening, t float64, y state, see func(a, b *braked)) state {
	const h = integrationStep
	m := c.machine
	toward := 0.0
	switch {
	case t >= course.closed:
		c.command, c.integral = 0, 0
	default:
		asked := s.Brake.setPoint(program, math.Max(t-course.begin, 0))
		toward = c.act(m.ratio*(1+y.slip)*y.omega/m.ratio-asked/rpmPerRadian/m.ratio, h)
		if c.command > 0.999 {
			course.saturated += h
		}
	}
	m.brake = c.torque
	k, _ := m.begin(o, t, y)
	from := braked{k, c.torque, c.command, o.at(t)}
	y = m.brakedStep(o, t, h, c.torque, toward, c.Lag, y)
	c.torque = toward + (c.torque-toward)*math.Exp(-h/c.Lag)
	c.warm(y.omega, h)
	m.brake = c.torque
	k, _ = m.begin(o, t+h, y)
	see(&from, &braked{k, c.torque, c.command, o.at(t + h)})
	return y
}
