package road

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fairpull/curve"
	"fairpull/quantity"
)

// The 15-point Kronrod rule is exact for polynomials up to degree 22 and the 7-point
// Gauss rule up to 13 [Piessens1983]; both weights sum to 2.
func TestQuadratureWeights(t *testing.T) {
	for degree := 0; degree <= 22; degree++ {
		want := 0.0
		if degree%2 == 0 {
			want = 2 / float64(degree+1)
		}
		kronrod, gauss := 0.0, 0.0
		for i, x := range kronrodAt {
			sum := math.Pow(x, float64(degree)) + math.Pow(-x, float64(degree))
			if i == 7 {
				sum = math.Pow(0, float64(degree))
			}
			kronrod += kronrodWeight[i] * sum
			if i%2 == 1 {
				gauss += gaussWeight[i/2] * sum
			}
		}
		near(t, "Kronrod", kronrod, want, 2e-15)
		if degree <= 13 {
			near(t, "Gauss", gauss, want, 2e-15)
		}
	}
}

// ∫ dv/(p + r·v²) in closed form, near the speed at which nothing is left as well:
// with r < 0 it is artanh.
func TestIntegrateNearStall(t *testing.T) {
	for _, share := range []float64{0.5, 0.99, 0.9999, 0.999999} {
		p, r := 500.0, -0.25
		last := math.Sqrt(-p / r)
		c := piece{from: 1, to: share * last, p: p, r: r}
		want := (math.Atanh(c.to/last) - math.Atanh(c.from/last)) / math.Sqrt(-p*r)
		got := integrate(c)
		near(t, "time near stall", got.time/want, 1, 1e-8)
		way := -math.Log((p+r*c.to*c.to)/(p+r*c.from*c.from)) / (2 * -r) * 1
		near(t, "way near stall", got.way/way, 1, 1e-8)
	}
}

// A body that is driven by one force and held by one resistance from rest, with one
// shift in between whose time has a closed form too: constant thrust, linear drag.
func TestShiftClosedForm(t *testing.T) {
	const m, b, shift = 250.0, 6.0, 0.4
	v := Vehicle{
		Mass: m, Resistance: Resistance{Linear: b}, EnginePerMetre: []float64{20, 10},
		LimitRPM: 6000, ShiftRPM: 4000, ShiftTime: shift,
	}
	c := curve.Curve{SpeedRPM: []float64{500, 6000}, Torque: []float64{60, 60}}
	up := 4000 * curve.RadPerSecondPerRPM / 20
	const to = 40.0
	first := m / b * math.Log(1200/(1200-b*up))
	rolled := up * math.Exp(-b*shift/m)
	second := m / b * math.Log((600-b*rolled)/(600-b*to))
	got, err := FromStandstill(v, c, to)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time", got.Time, first+shift+second, 1e-8)
	// m·dv/dt = F − b·v, so x = (∫F dt − m·v)/b over each stretch.
	way := (1200*first-m*up)/b + m/b*(up-rolled) + (600*second-m*(to-rolled))/b
	near(t, "way", got.Way, way, 1e-7)
	if got.Shifts != 1 || got.Gear != 2 {
		t.Errorf("%d shifts, gear %d at the end; want 1 and 2", got.Shifts, got.Gear)
	}
}

// Where the next gear pulls as hard: for torque that falls straight to zero at ω0,
// k1·(ω0 − k1·v) = k2·(ω0 − k2·v) gives v = ω0/(k1 + k2). Closed form.
func TestBestShift(t *testing.T) {
	c := curve.Curve{}
	for n := 500.0; n <= 8000; n += 125 {
		c.SpeedRPM = append(c.SpeedRPM, n)
		c.Torque = append(c.Torque, 100*(1-n/8000))
	}
	v := Vehicle{Mass: 200, Resistance: tiny, EnginePerMetre: []float64{24, 13}, LimitRPM: 8000}
	want := 8000 * curve.RadPerSecondPerRPM / 37
	near(t, "shift at m/s", newDrive(v, c).shiftSpeed(0), want, 1e-9)
}

// Statics, worked out by hand from the moments about the point of contact of the rear
// wheel and of the front wheel.
func TestGripStatics(t *testing.T) {
	for _, g := range []Grip{
		{Friction: 0.6, Wheelbase: 1.4, CentreHeight: 0.6, RearShare: 0.5},
		{Friction: 1.3, Wheelbase: 1.4, CentreHeight: 0.7, RearShare: 0.48},
		{Friction: 2.5, Wheelbase: 1.3, CentreHeight: 0.7, RearShare: 0.48},
	} {
		const m = 280.0
		force := g.Limit(m)
		weight := m * StandardGravity
		lever := float64(g.CentreHeight)
		front := weight*(1-g.RearShare) - force*lever/float64(g.Wheelbase)
		rear := weight - front
		slides, lifts := math.Abs(force-g.Friction*rear) < 1e-8, math.Abs(front) < 1e-8
		if !(front > -1e-8) || !(force <= g.Friction*rear+1e-8) || !slides && !lifts {
			t.Errorf("%+v: %g N leaves %g N on the front wheel and needs %g of the rear tyre", g, force, front, force/rear)
		}
	}
}

// With grip as the only limit the vehicle accelerates evenly: v = F·t/m.
func TestGripLimits(t *testing.T) {
	g := Grip{Friction: 0.8, Wheelbase: 1.4, CentreHeight: 0.6, RearShare: 0.5}
	v := Vehicle{Mass: 250, Resistance: tiny, EnginePerMetre: []float64{30}, LimitRPM: 9000, Grip: &g}
	c := curve.Curve{SpeedRPM: []float64{1000, 5000, 9000}, Torque: []float64{400, 300, 400}}
	got, err := FromStandstill(v, c, 25)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time", got.Time, 25*250/g.Limit(250), 1e-8)
}

// The part of a curve that the grip cuts off is cut where the force crosses it: below
// that speed an even acceleration, above it the engine's straight force.
func TestGripCrossing(t *testing.T) {
	g := Grip{Friction: 1, Wheelbase: 1.4, CentreHeight: 0.7, RearShare: 0.5} // lifts at m·g·1.0
	v := Vehicle{Mass: 200, Resistance: tiny, EnginePerMetre: []float64{20}, LimitRPM: 9000, Grip: &g}
	c := curve.Curve{SpeedRPM: []float64{1000, 9000}, Torque: []float64{150, 50}}
	limit := g.Limit(200)
	slope := -100 / (8000 * curve.RadPerSecondPerRPM) * 400 // of force in v
	at0 := 20*150 - slope*(1000*curve.RadPerSecondPerRPM/20)
	cross := (limit - at0) / slope
	from, to := 8.0, 40.0
	if !(cross > from && cross < to) {
		t.Fatalf("the force crosses the grip at %g m/s: the case tests nothing", cross)
	}
	want := 200*(cross-from)/limit + 200/slope*math.Log((at0+slope*to)/limit)
	got, err := RollOn(v, c, 1, from, to)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time", got.Time, want, 1e-8)
}

func TestWordsWhereThereIsNoAnswer(t *testing.T) {
	r := Resistance{Constant: 50, Square: 0.3}
	v := Vehicle{Mass: 250, Resistance: r, EnginePerMetre: []float64{30, 15}, LimitRPM: 9000}
	c := curve.Curve{SpeedRPM: []float64{3000, 9000}, Torque: []float64{40, 30}}
	var outside *OutsideError
	if _, err := RollOn(v, c, 2, 10, 30); !errors.As(err, &outside) || math.Abs(outside.RPM-10*15/curve.RadPerSecondPerRPM) > 1e-9 || outside.Gear != 2 {
		t.Errorf("a roll-on below the curve: %v", err)
	}
	var stalls *NotReachedError
	// 15·30 = 450 N less 50 N meets 0.3·v² before the limiter.
	if _, err := RollOn(v, c, 2, 25, 50); !errors.As(err, &stalls) || stalls.Speed < 30 || stalls.Speed > 45 {
		t.Errorf("a roll-on that stalls: %v", err)
	}
	if _, err := FromStandstill(v, c, 60); !errors.As(err, &stalls) {
		t.Errorf("a speed beyond the top: %v", err)
	}
	top, err := TopSpeed(v, c)
	if err != nil || top.Bound != ByResistance || math.Abs(stalls.Speed-top.Speed) > 1e-6 {
		t.Errorf("top speed %+v, %v; the start stalled at %g m/s", top, err, stalls.Speed)
	}
	// The same with little resistance: the limiter ends it, or the curve does.
	v.Resistance = Resistance{Constant: 10}
	if top, err := TopSpeed(v, c); err != nil || top.Bound != ByEngineSpeed || math.Abs(top.Speed-9000*curve.RadPerSecondPerRPM/15) > 1e-9 {
		t.Errorf("on the limiter: %+v, %v", top, err)
	}
	v.LimitRPM = 9500
	if top, err := TopSpeed(v, c); err != nil || top.Bound != ByCurve {
		t.Errorf("at the end of the curve: %+v, %v", top, err)
	}
	if _, err := OverDistance(v, c, 9000); !errors.As(err, &outside) {
		t.Errorf("a way that leads beyond the curve: %v", err)
	}
	v.LimitRPM = 9000
	j, err := OverDistance(v, c, 9000)
	if err != nil || math.Abs(j.Speed-top9000(v)) > 1e-9 {
		t.Errorf("a way on the limiter: %+v, %v", j, err)
	}
}

// top9000 is the speed of the last gear at the limiter.
func top9000(v Vehicle) float64 {
	return v.LimitRPM * curve.RadPerSecondPerRPM / v.EnginePerMetre[len(v.EnginePerMetre)-1]
}

func TestRefuses(t *testing.T) {
	good := Vehicle{Mass: 250, Resistance: Resistance{Constant: 50}, EnginePerMetre: []float64{30, 15}, LimitRPM: 9000}
	c := curve.Curve{SpeedRPM: []float64{3000, 9000}, Torque: []float64{60, 60}}
	if err := good.Validate(); err != nil {
		t.Fatal(err)
	}
	nan, inf := math.NaN(), math.Inf(1)
	for word, spoil := range map[string]func(*Vehicle){
		"mass":        func(v *Vehicle) { v.Mass = 0 },
		"share":       func(v *Vehicle) { v.RotatingShare = nan },
		"resistance":  func(v *Vehicle) { v.Resistance = Resistance{} },
		"coefficient": func(v *Vehicle) { v.Resistance.Square = inf },
		"gears":       func(v *Vehicle) { v.EnginePerMetre = nil },
		"gear 2":      func(v *Vehicle) { v.EnginePerMetre = []float64{10, 10} },
		"limiter":     func(v *Vehicle) { v.LimitRPM = nan },
		"shifting":    func(v *Vehicle) { v.ShiftRPM = 9001 },
		"shift takes": func(v *Vehicle) { v.ShiftTime = -1 },
		"friction":    func(v *Vehicle) { v.Grip = &Grip{Wheelbase: 1, CentreHeight: 1, RearShare: 0.5} },
		"wheelbase":   func(v *Vehicle) { v.Grip = &Grip{Friction: 1, CentreHeight: 1, RearShare: 0.5} },
		"rear wheel":  func(v *Vehicle) { v.Grip = &Grip{Friction: 1, Wheelbase: 1, CentreHeight: 1, RearShare: 1} },
	} {
		v := good
		spoil(&v)
		if _, err := RollOn(v, c, 1, 15, 20); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%s: got %v", word, err)
		}
	}
	for _, bad := range []curve.Curve{
		{}, {SpeedRPM: []float64{3000, 9000}, Torque: []float64{60}},
		{SpeedRPM: []float64{3000, 3000}, Torque: []float64{60, 60}},
		{SpeedRPM: []float64{3000, 9000}, Torque: []float64{60, nan}},
		{SpeedRPM: []float64{nan, 9000}, Torque: []float64{60, 60}},
		{SpeedRPM: []float64{9500, 9900}, Torque: []float64{60, 60}}, // above the limiter
	} {
		if _, err := TopSpeed(good, bad); err == nil {
			t.Errorf("the curve %+v was taken", bad)
		}
	}
	for _, q := range []Question{
		{}, {Kind: InGear, Gear: 3, From: 1, To: 2}, {Kind: InGear, Gear: 1, From: 20, To: 20},
		{Kind: InGear, Gear: 1, From: nan, To: 20}, {Kind: ToSpeed}, {Kind: ToSpeed, To: inf},
		{Kind: Distance, Way: -1}, {Kind: Distance, Way: nan},
	} {
		if q.validate(good) == nil {
			t.Errorf("the question %+v was taken", q)
		}
	}
}

// More torque never takes longer and never ends slower, whatever the vehicle.
func TestMoreTorqueIsNeverSlower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := Vehicle{
			Mass: 250, RotatingShare: 0.07, LimitRPM: 9000, EnginePerMetre: []float64{34, 24, 17},
			Resistance: Resistance{Constant: rapid.Float64Range(0, 60).Draw(t, "A"), Linear: rapid.Float64Range(0.01, 2).Draw(t, "B"), Square: rapid.Float64Range(0, 0.4).Draw(t, "C")},
		}
		if rapid.Bool().Draw(t, "grip") {
			v.Grip = &Grip{Friction: rapid.Float64Range(0.4, 1.5).Draw(t, "friction"), Wheelbase: 1.4, CentreHeight: 0.6, RearShare: 0.5}
		}
		less, more := curve.Curve{}, curve.Curve{}
		for n := 2000.0; n <= 9000; n += 500 {
			torque := rapid.Float64Range(40, 90).Draw(t, "torque")
			less.SpeedRPM, less.Torque = append(less.SpeedRPM, n), append(less.Torque, torque)
			more.Torque = append(more.Torque, torque+rapid.Float64Range(0, 9).Draw(t, "more"))
		}
		more.SpeedRPM = less.SpeedRPM
		for _, gear := range []int{1, 2, 3} {
			from, to := 2100*curve.RadPerSecondPerRPM/v.EnginePerMetre[gear-1], 6500*curve.RadPerSecondPerRPM/v.EnginePerMetre[gear-1]
			a, err := RollOn(v, less, gear, from, to)
			if err != nil {
				continue // does not get there
			}
			b, err := RollOn(v, more, gear, from, to)
			if err != nil || b.Time > a.Time*(1+1e-9) {
				t.Fatalf("gear %d: %g s with less, %g s with more torque, %v", gear, a.Time, b.Time, err)
			}
		}
		a, err := TopSpeed(v, less)
		b, err2 := TopSpeed(v, more)
		if err == nil && (err2 != nil || b.Speed < a.Speed*(1-1e-12)) {
			t.Fatalf("top speed %g with less, %g with more torque, %v", a.Speed, b.Speed, err2)
		}
	})
}

// Whatever vehicle and curve are taken, an answer is a positive number or an error.
func TestAnswersAreNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(name string, most float64) float64 { return rapid.Float64Range(0, most).Draw(t, name) }
		v := Vehicle{
			Mass: 20 + quantity.Kilogram(number("mass", 1980)), RotatingShare: number("share", 0.5),
			Resistance: Resistance{Constant: number("A", 2000), Linear: number("B", 200), Square: number("C", 20)},
			LimitRPM:   1 + number("limit", 29_999), ShiftTime: number("shift", 2),
		}
		k := 1e-3 + number("first", 9000)
		for range rapid.IntRange(1, 6).Draw(t, "gears") {
			v.EnginePerMetre = append(v.EnginePerMetre, k)
			k *= rapid.Float64Range(0.1, 0.99).Draw(t, "step")
		}
		if rapid.Bool().Draw(t, "grip") {
			v.Grip = &Grip{Friction: 1e-6 + number("friction", 2.9), Wheelbase: 1e-3 + quantity.Metre(number("base", 4.9)), CentreHeight: 1e-3 + quantity.Metre(number("height", 2.9)), RearShare: rapid.Float64Range(0.001, 0.999).Draw(t, "rear")}
		}
		c := curve.Curve{}
		for n := 1 + number("lowest", 15_000); len(c.SpeedRPM) < 2 || n < 29_000 && len(c.SpeedRPM) < 12; n += 1 + number("width", 4000) {
			c.SpeedRPM = append(c.SpeedRPM, n)
			c.Torque = append(c.Torque, rapid.Float64Range(-1e4, 1e4).Draw(t, "torque"))
		}
		if v.Validate() != nil {
			return
		}
		for _, q := range []Question{
			{Kind: InGear, Gear: 1, From: 1e-3 + number("from", 70), To: 71 + number("to", 70)},
			{Kind: ToSpeed, To: 1e-6 + number("to", 140)}, {Kind: Distance, Way: 1e-6 + number("way", 9999)}, {Kind: Highest},
		} {
			d, err := ready(v, c, q)
			if err != nil {
				continue
			}
			if a, err := d.ask(q); err == nil && !(a.figure > 0 && a.figure < math.MaxFloat64) {
				t.Fatalf("%+v: %+v", q, a)
			}
		}
	})
}
