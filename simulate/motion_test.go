package simulate

import (
	"errors"
	"math"
	"testing"
)

// flat returns a table of one value.
func flat(value float64) table {
	return tabulate(func(float64) float64 { return value }, 1000, 9000, 4)
}

// ideal returns a machine of constant torque without loss, drag or slip.
func idealMachine() *machine {
	return &machine{
		drum: 16, wheel: 0.4, engine: 0.02, ratio: 5.5, slipTime: 0.04, idle: 120,
		torque: flat(60), rig: flat(1),
	}
}

// twin returns the machine of Default's baseline, with loss, slip and drag, and
// the scenario.
func twin() (*machine, Scenario) {
	s := Default()
	return s.machine(s.nominal(0)), s
}

// Constant torque on constant inertia: ω = ω0 + α·t with α = τ·G/(I + I_w +
// I_e·G²), and the angle is its square law.
func TestConstantTorque(t *testing.T) {
	m := idealMachine()
	alpha := 60 * m.ratio / (m.drum + m.wheel + m.engine*m.ratio*m.ratio)
	s, _, _ := m.drive(opening{from: 1, to: 1, constant: 1}, 0, state{omega: 40}, 3.001, math.Inf(1))
	last := s.knots[len(s.knots)-1]
	near(t, "end of the segment", last.t, 3.001, 1e-12)
	for _, k := range s.knots {
		near(t, "drum speed", k.omega, 40+alpha*k.t, 1e-10)
		near(t, "drum angle", k.theta, 40*k.t+alpha*k.t*k.t/2, 1e-9)
		near(t, "crankshaft angle", k.engine, m.ratio*(40*k.t+alpha*k.t*k.t/2), 1e-8)
	}
}

// A throttle opening u = 1 − (1 − u0)·exp(−t/T) on constant torque without drag:
// ω = ω0 + α·(t − (1 − u0)·T·(1 − exp(−t/T))).
func TestOpeningThrottle(t *testing.T) {
	m := idealMachine()
	alpha := 60 * m.ratio / (m.drum + m.wheel + m.engine*m.ratio*m.ratio)
	const u0, constant = 0.2, 0.05
	s, _, _ := m.drive(opening{since: 1, from: u0, to: 1, constant: constant}, 1, state{omega: 40}, 2, math.Inf(1))
	for _, k := range s.knots {
		dt := k.t - 1
		want := 40 + alpha*(dt-(1-u0)*constant*(1-math.Exp(-dt/constant)))
		near(t, "drum speed", k.omega, want, 1e-7)
	}
}

// Coast-down against a loss c0 + c2·ω²: ω = √(c0/c2)·tan(atan(ω0·√(c2/c0)) −
// t·√(c0·c2)/J). Bare drum and tyre share the coefficients, so both are in it.
func TestCoastDownArctangent(t *testing.T) {
	m := idealMachine()
	m.loss = [3]float64{9, 0, 0.0011}
	m.parasitic = [3]float64{2, 0, 0.0001}
	c0, c2, inertia := 11.0, 0.0012, m.drum+m.wheel
	root := math.Sqrt(c2 / c0)
	s := m.coast(opening{}, 5, state{omega: 150}, 40, 800)
	for _, k := range s.knots {
		want := math.Tan(math.Atan(150*root)-(k.t-5)*math.Sqrt(c0*c2)/inertia) / root
		near(t, "drum speed", k.omega, want, 1e-9)
	}
	last := s.knots[len(s.knots)-1]
	near(t, "end of the coast-down", last.t, 45, 1e-9)
	near(t, "idle speed", last.engineSpeed, m.idle, 1e-9)
}

// Over a whole pull with slip, loss and drag the engine's work is the gain of
// kinetic energy plus what tyre, driveline, bearings and slip took. The integrals
// are Simpson's, from the laws themselves rather than their tables.
func TestEnergyBalance(t *testing.T) {
	m, s := twin()
	c, err := m.pull(s.Drive, s.Engine.StartRPM, s.Engine.CloseRPM, 0, true)
	if err != nil {
		t.Fatal(err)
	}
	part := c.segments[1]
	count := (len(part.knots) - 2) / 2 * 2 // an even number of equal steps
	factor := s.torqueFactor(&s.Configurations[0], s.nominal(0), 4000)
	power := func(k knot) (engine, lost float64) {
		u := part.throttle.at(k.t)
		crank := u*factor*s.Engine.Torque.At(k.engineSpeed*rpmPerRadian) - (1-u)*(m.drag[0]+m.drag[1]*k.engineSpeed)
		contact := m.drum*k.alpha + quadratic(m.parasitic, k.omega)
		wheelSpeed := k.omega * (1 + k.slip)
		lost = quadratic(m.loss, k.omega)*wheelSpeed + quadratic(m.parasitic, k.omega)*k.omega + contact*k.omega*k.slip
		return crank * k.engineSpeed, lost
	}
	kinetic := func(k knot) float64 {
		wheelSpeed := k.omega * (1 + k.slip)
		return (m.drum*k.omega*k.omega + m.wheel*wheelSpeed*wheelSpeed + m.engine*k.engineSpeed*k.engineSpeed) / 2
	}
	var work, lost float64
	for i := 0; i <= count; i++ {
		weight := 2.0
		switch {
		case i == 0 || i == count:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		w, l := power(part.knots[i])
		work, lost = work+weight*w, lost+weight*l
	}
	work, lost = work*integrationStep/3, lost*integrationStep/3
	gained := kinetic(part.knots[count]) - kinetic(part.knots[0])
	near(t, "work in over kinetic energy and losses", work/(gained+lost), 1, 1e-6)
	if !(lost > 0.02*work && gained > 0.5*work) {
		t.Errorf("work %.0f J, gained %.0f J, lost %.0f J: the balance is of nothing", work, gained, lost)
	}
}

// Half the step leaves the course as it is: the fourth-order rule has converged.
func TestStepHalved(t *testing.T) {
	m, s := twin()
	y, held, err := m.steady(s.Engine.StartRPM)
	if err != nil {
		t.Fatal(err)
	}
	o := opening{from: held, to: 1, constant: 0.05}
	coarse, fine := y, y
	const steps, h = 1200, integrationStep
	for i := range steps {
		at := float64(i) * h
		coarse = m.step(o, at, h, coarse, m.engaged(o.at(at), coarse))
		for _, half := range []float64{at, at + h/2} {
			fine = m.step(o, half, h/2, fine, m.engaged(o.at(half), fine))
		}
	}
	near(t, "drum speed, relative", coarse.omega/fine.omega, 1, 1e-8)
	near(t, "drum angle, relative", coarse.theta/fine.theta, 1, 1e-8)
	near(t, "slip", coarse.slip, fine.slip, 1e-9)
}

// The steady start does not move, and the slip is that of the drum torque.
func TestSteadyStart(t *testing.T) {
	m, s := twin()
	y, held, err := m.steady(s.Engine.StartRPM)
	if err != nil {
		t.Fatal(err)
	}
	r := m.engaged(held, y)
	near(t, "acceleration", r.alpha, 0, 1e-9)
	near(t, "engine speed", r.engineSpeed*rpmPerRadian, s.Engine.StartRPM, 1e-6)
	near(t, "slip", y.slip, m.slip*quadratic(m.parasitic, y.omega), 1e-15)
}

// A pull reaches its closing speed to within the integration, and phases follow
// one another without a gap.
func TestPhases(t *testing.T) {
	m, s := twin()
	c, err := m.pull(s.Drive, s.Engine.StartRPM, s.Engine.CloseRPM, 1, true)
	if err != nil {
		t.Fatal(err)
	}
	if len(c.segments) != 4 {
		t.Fatalf("%d segments, want 4", len(c.segments))
	}
	for i := 1; i < len(c.segments); i++ {
		before := c.segments[i-1].knots[len(c.segments[i-1].knots)-1]
		after := c.segments[i].knots[0]
		near(t, "time", after.t, before.t, 0)
		near(t, "drum speed", after.omega, before.omega, 1e-12)
		near(t, "drum angle", after.theta, before.theta, 1e-9)
		near(t, "crankshaft angle", after.engine, before.engine, 1e-9)
	}
	closed := c.segments[1].knots[len(c.segments[1].knots)-1]
	near(t, "closing speed", closed.engineSpeed*rpmPerRadian, s.Engine.CloseRPM, 1e-6)
	near(t, "throttle at the end", c.segments[1].throttle.at(c.closed), 1, 1e-9)
	near(t, "coast-down", c.end-c.segments[3].knots[0].t, s.Drive.Coast, 1e-9)
}

// An engine that cannot hold or reach a speed is an error, not a hang.
func TestNoPull(t *testing.T) {
	m, s := twin()
	for name, spoil := range map[string]func(*machine){
		"no torque": func(m *machine) { m.torque = flat(0) },
		"huge drum": func(m *machine) { m.drum = 1e5 },
		"huge loss": func(m *machine) { m.loss[0] = 1e4 },
		"loss grows": func(m *machine) {
			m.loss[2] = 0.02 // above the engine's torque before the closing speed
		},
	} {
		spoilt := *m
		spoil(&spoilt)
		if _, err := spoilt.pull(s.Drive, s.Engine.StartRPM, s.Engine.CloseRPM, 0, true); !errors.Is(err, errNoPull) {
			t.Errorf("%s: got error %v, want %v", name, err, errNoPull)
		}
	}
}

// A table follows its function: the tolerance is the bound that tabulate states.
func TestTabulate(t *testing.T) {
	shape := Shape{Level: 60, MidRPM: 5000, Bend: -0.3, Skew: 0.1, Bumps: []Bump{{3300, 300, -5}, {7000, 100, 2}}}
	table := tabulate(shape.At, 1000, 9000, 400)
	for rpm := 1000.0; rpm <= 9000; rpm += 3.7 {
		near(t, "torque", table.at(rpm), shape.At(rpm), 2*math.Pow(20./100, 4)/100+5*math.Pow(20./300, 4)/100)
	}
	near(t, "below", table.at(500), shape.At(1000), 1e-12)
	near(t, "above", table.at(12_000), shape.At(9000), 1e-12)
	near(t, "not a number", table.at(math.NaN()), shape.At(1000), 1e-12)
}

// Changing only the wheel, with no engine inertia, bare-drum loss or slip: power
// at the drum changes by (I + I_w,A)/(I + I_w,B), the closed form of the wheel's
// share.
func TestWheelShare(t *testing.T) {
	heavy := idealMachine()
	heavy.engine = 0
	light := *heavy
	light.wheel = 0.2
	y := state{omega: 80}
	ratio := light.contact(80, light.engaged(1, y).alpha) / heavy.contact(80, heavy.engaged(1, y).alpha)
	near(t, "drum torque, light over heavy wheel", ratio, (heavy.drum+heavy.wheel)/(light.drum+light.wheel), 1e-12)
}
