package road

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"fairpull/curve"
	"fairpull/quantity"
)

// read fills v from a file of testdata.
func read(t *testing.T, name string, v any) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// near fails unless got lies within tolerance of want; NaN fails too.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}

// published is one row of testdata/road.json: values computed from published
// formulas, each with its source.
type published struct {
	Quantity string             `json:"quantity"`
	Inputs   map[string]float64 `json:"inputs"`
	Expected json.RawMessage    `json:"expected"`
	Source   string             `json:"source"`
}

// rows returns the rows of one quantity.
func rows(t *testing.T, quantity string, want int) []published {
	t.Helper()
	var all, some []published
	read(t, "road.json", &all)
	for _, r := range all {
		if r.Quantity == quantity {
			some = append(some, r)
		}
	}
	if len(some) != want {
		t.Fatalf("%q has %d rows, want %d", quantity, len(some), want)
	}
	return some
}

func (r published) into(t *testing.T, v any) {
	t.Helper()
	if err := json.Unmarshal(r.Expected, v); err != nil {
		t.Fatal(err)
	}
}

// constantPower returns a curve whose power is the same everywhere, and a vehicle with
// one gear whose speeds from 1 m/s to 100 m/s it covers. The torque of such a curve
// falls with the inverse of engine speed, so its nodes lie close.
func constantPower(watts, mass float64, r Resistance) (Vehicle, curve.Curve) {
	return constantPowerBetween(1, 100, watts, mass, r)
}

// constantPowerBetween is constantPower for the given speeds in m/s.
func constantPowerBetween(from, to, watts, mass float64, r Resistance) (Vehicle, curve.Curve) {
	var c curve.Curve
	for n := 100 * from; n <= 100*to; n *= 1.001 {
		c.SpeedRPM = append(c.SpeedRPM, n)
		c.Torque = append(c.Torque, watts/(n*curve.RadPerSecondPerRPM))
	}
	k := 100 * curve.RadPerSecondPerRPM // 100 1/min at 1 m/s
	return Vehicle{Mass: quantity.Kilogram(mass), Resistance: r, EnginePerMetre: []float64{k}, LimitRPM: 10_000}, c
}

// tiny is a resistance that no result below shows: the program refuses none at all.
var tiny = Resistance{Constant: 1e-9}

// Figure F98-9 of 40 CFR 86.529-98, all 53 rows that were transcribed: the time from
// 70 to 60 km/h at the row's mass and road load, and the force at 65 km/h.
func TestCoastTimeRegulation(t *testing.T) {
	var figure struct {
		Rows []struct {
			Mass float64 `json:"mi_kg"`
			A    float64 `json:"a_n"`
			C    float64 `json:"c_n_per_kmh2"`
			F65  float64 `json:"f65_n"`
			Time float64 `json:"t70_60_s"`
			TolF float64 `json:"tol_f65_n"`
			TolT float64 `json:"tol_t_s"`
		} `json:"rows"`
	}
	read(t, "f98-9-times.json", &figure)
	if len(figure.Rows) != 53 {
		t.Fatalf("%d rows, want 53", len(figure.Rows))
	}
	for _, row := range figure.Rows {
		r, source, err := ByRegulation(quantity.Kilogram(row.Mass))
		if err != nil {
			t.Fatal(err)
		}
		near(t, source, r.At(65/3.6), row.F65, row.TolF)
		near(t, source+", A", r.Constant, row.A, 0)
		near(t, source+", C", r.Square/(3.6*3.6), row.C, 1e-15)
		got, err := r.CoastTime(quantity.Kilogram(row.Mass), 70/3.6, 60/3.6)
		if err != nil {
			t.Fatal(err)
		}
		near(t, source+", 70 to 60 km/h", got, row.Time, row.TolT)
	}
}

// The closed form of a coast-down with A + C·V², evaluated in double precision by
// another program: t = m/√(AC)·(atan(v1·√(C/A)) − atan(v2·√(C/A))).
func TestCoastTimeClosedForm(t *testing.T) {
	for _, row := range rows(t, "coast-down time closed form", 3) {
		var want float64
		row.into(t, &want)
		in := row.Inputs
		r := Resistance{Constant: in["A_N"], Square: in["C_N_per_kmh2"] * 3.6 * 3.6}
		got, err := r.CoastTime(quantity.Kilogram(in["m_kg"]), in["v1_kmh"]/3.6, in["v2_kmh"]/3.6)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "coast-down", got, want, 1e-6)
	}
}

// Linear drag: v' = −B·v/m, so t = m/B·ln(v1/v2). Closed form.
func TestCoastTimeLinear(t *testing.T) {
	r := Resistance{Linear: 8}
	got, err := r.CoastTime(300, 40, 10)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "linear drag", got, 300.0/8*math.Log(4), 1e-9)
}

// Constant power without losses: t = m(v2² − v1²)/(2P), x = m(v2³ − v1³)/(3P). Closed
// form; the values are those of the reference table.
func TestRollOnConstantPower(t *testing.T) {
	const mph = 0.44704
	for _, row := range rows(t, "constant power, no losses: t = m(v2^2-v1^2)/(2P)", 2) {
		var want float64
		row.into(t, &want)
		in := row.Inputs
		v, c := constantPower(in["P_W"], in["m_kg"], tiny)
		from, to := in["v1_mph"]*mph, in["v2_mph"]*mph
		got, err := RollOn(v, c, 1, from, to)
		if err != nil {
			t.Fatal(err)
		}
		// Straight torque between nodes 0.1 % apart lies 1.25e-7 of it above the curve.
		near(t, "time", got.Time, want, 1e-6)
		near(t, "way", got.Way, in["m_kg"]*(to*to*to-from*from*from)/(3*in["P_W"]), 1e-4)
	}
}

// Constant thrust against quadratic drag from rest: v = vt·tanh(Ft/(m·vt)),
// x = (m·vt²/F)·ln cosh(Ft/(m·vt)), vt = √(2F/(ρA)). Closed form; the values are those
// of the reference table.
func TestConstantThrust(t *testing.T) {
	row := rows(t, "constant thrust with quadratic drag: v = vt tanh(F t/(m vt)), x = (m vt^2/F) ln cosh(F t/(m vt)), vt = sqrt(2F/(rho CdA))", 1)[0]
	var want struct {
		V float64 `json:"v"`
		X float64 `json:"x"`
	}
	row.into(t, &want)
	in := row.Inputs
	r, err := AirAndTyres(in["CdA"], 0, quantity.Kilogram(in["m_kg"]), quantity.KilogramPerCubicMetre(in["rho"]))
	if err != nil {
		t.Fatal(err)
	}
	v := Vehicle{Mass: quantity.Kilogram(in["m_kg"]), Resistance: r, EnginePerMetre: []float64{10}, LimitRPM: 10_000}
	c := curve.Curve{SpeedRPM: []float64{1000, 10_000}, Torque: []float64{in["F_N"] / 10, in["F_N"] / 10}}
	got, err := FromStandstill(v, c, want.V)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time to that speed", got.Time, in["t_s"], 1e-5)
	near(t, "way", got.Way, want.X, 1e-3)
	got, err = OverDistance(v, c, want.X)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time over that way", got.Time, in["t_s"], 1e-5)
	near(t, "speed at its end", got.Speed, want.V, 1e-4)
}

// Top speed where P = (½ρA·v² + c·m·g)·v: the root, found by another program.
func TestTopSpeedConstantPower(t *testing.T) {
	for _, row := range rows(t, "top speed where P = (1/2 rho CdA v^2 + Crr m g) v", 2) {
		var want struct {
			V    float64 `json:"v_kmh"`
			Drag float64 `json:"v_drag_only_kmh"`
		}
		row.into(t, &want)
		in := row.Inputs
		for rolling, kmh := range map[float64]float64{in["Crr"]: want.V, 0: want.Drag} {
			r, err := AirAndTyres(in["CdA_m2"], rolling, quantity.Kilogram(in["m_kg"]), quantity.KilogramPerCubicMetre(in["rho"]))
			if err != nil {
				t.Fatal(err)
			}
			v, c := constantPower(in["P_W"], in["m_kg"], r)
			got, err := TopSpeed(v, c)
			if err != nil || got.Bound != ByResistance {
				t.Fatalf("%+v, %v", got, err)
			}
			near(t, "top speed, km/h", got.Speed*3.6, kmh, 1e-3)
		}
	}
}

// Three published empirical formulas for the quarter mile, from weight and power
// alone (Huntington 1958; Fox, Am. J. Phys. 41, 1973; Hale), at 600 lb with rider and
// 100 hp. The model, with a peaked curve of that power, six usual ratios, shifts and
// grip, must lie in what they span, widened by a twentieth: they are fits to other
// vehicles.
func TestQuarterMile(t *testing.T) {
	row := rows(t, "quarter mile, three empirical forms (W lb with rider, P hp)", 1)[0]
	var want map[string][2]float64
	row.into(t, &want)
	r, err := AirAndTyres(0.40, 0.015, 272.16, 1.2)
	if err != nil {
		t.Fatal(err)
	}
	gears, err := FromRatios(1.7, 2.7, []float64{2.6, 2.0, 1.65, 1.4, 1.25, 1.13}, 0.31)
	if err != nil {
		t.Fatal(err)
	}
	c := curve.Curve{}
	for n := 3000.0; n <= 11_000; n += 100 {
		x := (n - 8500) / 8500
		c.SpeedRPM = append(c.SpeedRPM, n)
		c.Torque = append(c.Torque, 74_570/(10_000*curve.RadPerSecondPerRPM)*(1+0.09)*(1-0.7*x*x-0.5*x*x*x))
	}
	peak := 0.0
	for i := range c.SpeedRPM {
		peak = max(peak, c.Power(i))
	}
	for i := range c.Torque {
		c.Torque[i] *= 74_570 / peak // 100 hp at the wheel
	}
	v := Vehicle{
		Mass: 272.16, RotatingShare: 0.07, Resistance: r, EnginePerMetre: gears, LimitRPM: 11_000, ShiftTime: 0.15,
		Grip: &Grip{Friction: 1.1, Wheelbase: 1.43, CentreHeight: 0.65, RearShare: 0.52},
	}
	got, err := OverDistance(v, c, 402.336)
	if err != nil {
		t.Fatal(err)
	}
	low, high := math.Inf(1), 0.0
	slow, fast := math.Inf(1), 0.0
	for _, w := range want {
		low, high = min(low, w[0]), max(high, w[0])
		slow, fast = min(slow, w[1]), max(fast, w[1])
	}
	mph := got.Speed / 0.44704
	if !(got.Time > low/1.05 && got.Time < high*1.05 && mph > slow/1.05 && mph < fast*1.05) {
		t.Errorf("quarter mile in %.2f s at %.1f mph; published formulas say %.2f to %.2f s, %.1f to %.1f mph", got.Time, mph, low, high, slow, fast)
	}
	t.Logf("quarter mile %.2f s at %.1f mph, %d shifts; formulas %.2f to %.2f s", got.Time, mph, got.Shifts, low, high)
}
