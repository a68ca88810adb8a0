package drum

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// roadLoad is one row of figure F98-9 of 40 CFR 86.529-98 (motorcycles).
type roadLoad struct {
	Mass   float64 `json:"mi_kg"`
	A      float64 `json:"A_N"`
	C      float64 `json:"C_N_per_kmh2"`
	F65    float64 `json:"F65_N"`
	Time   float64 `json:"t70_60_s"`
	TolF65 float64 `json:"tol_F65_N"`
	TolT   float64 `json:"tol_t_s"`
}

func roadLoads(t *testing.T) []roadLoad {
	t.Helper()
	raw, err := os.ReadFile("testdata/f98-9.json")
	if err != nil {
		t.Fatal(err)
	}
	var table struct{ Rows []roadLoad }
	if err := json.Unmarshal(raw, &table); err != nil {
		t.Fatal(err)
	}
	if len(table.Rows) != 53 {
		t.Fatalf("%d rows of figure F98-9, it has 53", len(table.Rows))
	}
	return table.Rows
}

// arctangent returns the drum speeds of the exact coast-down under a + c·v² of a
// mass at the surface of a drum of radius r, from speed v0 on, and the moments.
func arctangent(mass, a, c, v0, v1, r, rate float64) (t, omega []float64) {
	k := math.Sqrt(a * c)
	for i := 0; ; i++ {
		ti := float64(i) / rate
		var v float64
		if a == 0 {
			v = 1 / (1/v0 + c*ti/mass)
		} else {
			v = math.Sqrt(a/c) * math.Tan(math.Atan(v0*math.Sqrt(c/a))-k*ti/mass)
		}
		if v < v1 {
			return t, omega
		}
		t, omega = append(t, ti), append(omega, v/r)
	}
}

// TestRoadLoadTable holds the coast-down code against 40 CFR 86.529-98, figure
// F98-9, all 53 rows: a drum of the row's equivalent mass coasts from 85 to 45 km/h
// as the exact solution says; the force at 65 km/h and the time from 70 to 60 km/h
// must come out as printed, within the printed figures' own errors.
func TestRoadLoadTable(t *testing.T) {
	const r = 0.2286
	told := 0
	for _, row := range roadLoads(t) {
		a, c := row.A, row.C*3.6*3.6
		ts, omega := arctangent(row.Mass, a, c, 85/3.6, 45/3.6, r, 50)
		losses, err := Coast{Time: ts, Speed: omega}.Losses(Rig{Inertia: row.Mass * r * r})
		if err != nil {
			t.Errorf("%g kg: %v", row.Mass, err)
			continue
		}
		torque, _ := losses.At(65 / 3.6 / r)
		if force := SurfaceForce(torque, r); !(math.Abs(force-row.F65) <= row.TolF65) {
			t.Errorf("%g kg: force at 65 km/h %.2f N, the table has %.1f", row.Mass, force, row.F65)
		}
		time, err := losses.Time(row.Mass*r*r, [3]float64{}, 70/3.6/r, 60/3.6/r)
		if err != nil || !(math.Abs(time-row.Time) <= row.TolT) {
			t.Errorf("%g kg: %.4f s from 70 to 60 km/h, %v; the table has %.2f", row.Mass, time, err, row.Time)
		}
		exact, err := CoastTime(row.Mass, a, c, 70/3.6, 60/3.6)
		if err != nil || !(math.Abs(exact-row.Time) <= row.TolT) {
			t.Errorf("%g kg: closed form %.4f s, %v; the table has %.2f", row.Mass, exact, err, row.Time)
		}
		if !(math.Abs(time/exact-1) < 2e-5) {
			t.Errorf("%g kg: fitted course gives %.6f s, the exact integral %.6f s", row.Mass, time, exact)
		}
		// The shortcut with the force at the mean speed is 0.25 to 0.7 % short.
		shortcut := row.Mass * (10 / 3.6) / (a + c*(65/3.6)*(65/3.6))
		if short := 1 - shortcut/exact; short > 0.001 && short < 0.008 {
			told++
		} else {
			t.Errorf("%g kg: the shortcut m·Δv/F is %.3f %% short of the exact time", row.Mass, short*100)
		}
	}
	if told != 53 {
		t.Errorf("the shortcut was told apart in %d of 53 rows", told)
	}
}

// TestCoastTimeClosedForm: values of the arctangent integral, worked out in double
// precision from the definition (280 kg, 17.6 N + 0.023 N/(km/h)²).
func TestCoastTimeClosedForm(t *testing.T) {
	for _, row := range []struct{ v1, v2, want float64 }{{105, 95, 3.147883}, {25, 15, 29.095725}, {130, 20, 89.867963}} {
		got, err := CoastTime(280, 17.6, 0.023*3.6*3.6, row.v1/3.6, row.v2/3.6)
		if err != nil || !(math.Abs(got-row.want) <= 1e-5) {
			t.Errorf("from %g to %g km/h: %.6f s, %v; want %.6f", row.v1, row.v2, got, err, row.want)
		}
	}
	if got, err := CoastTime(100, 50, 0, 30, 20); err != nil || got != 20 {
		t.Errorf("constant force: %g s, %v, want 100·10/50 = 20", got, err)
	}
	if got, err := CoastTime(100, 0, 2, 30, 20); err != nil || math.Abs(got-100./2*(1./20-1./30)) > 1e-12 {
		t.Errorf("air drag alone: %g s, %v", got, err)
	}
	whole, _ := CoastTime(280, 17.6, 0.3, 30, 10)
	upper, _ := CoastTime(280, 17.6, 0.3, 30, 20)
	lower, _ := CoastTime(280, 17.6, 0.3, 20, 10)
	if math.Abs(whole-upper-lower) > 1e-12 {
		t.Errorf("%g s in one, %g s in two", whole, upper+lower)
	}
	for _, bad := range [][5]float64{{0, 1, 1, 2, 1}, {1, 0, 0, 2, 1}, {1, -1, 1, 2, 1}, {1, 1, 1, 1, 2}, {1, 0, 1, 2, 0}, {math.NaN(), 1, 1, 2, 1}} {
		if got, err := CoastTime(bad[0], bad[1], bad[2], bad[3], bad[4]); err == nil {
			t.Errorf("coast time of %v: %g, want an error", bad, got)
		}
	}
}

// pulsesOf returns the moments at which the angle of a coast-down under a + c·v²
// passes whole multiples of step, and those angles.
func pulsesOf(mass, a, c, v0, v1, r, step float64) (t, angle []float64) {
	// v dv = −(a + c·v²)/m dx gives v² = (v0² + a/c)·exp(−2cx/m) − a/c.
	for k := 0; ; k++ {
		x := float64(k) * step * r
		v := math.Sqrt((v0*v0+a/c)*math.Exp(-2*c*x/mass) - a/c)
		if !(v > v1) {
			return t, angle
		}
		ti, err := CoastTime(mass, a, c, v0, v)
		if err != nil {
			return t, angle
		}
		t, angle = append(t, ti), append(angle, float64(k)*step)
	}
}

// TestCoastDownFromAngle: the same coast-down from angle over time, many pulses a
// turn and one.
func TestCoastDownFromAngle(t *testing.T) {
	const r, mass, a, c = 0.2286, 500, 60, 0.35
	for _, step := range []float64{2 * math.Pi / 8, 2 * math.Pi} {
		ts, angle := pulsesOf(mass, a, c, 40, 18, r, step)
		losses, err := Coast{Time: ts, Angle: angle}.Losses(Rig{Inertia: mass * r * r})
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range []float64{20, 30, 38} {
			torque, _ := losses.At(v / r)
			if want := (a + c*v*v) * r; !(math.Abs(torque/want-1) < 2e-4) {
				t.Errorf("step %.2f rad: loss at %g m/s %.4f N·m, want %.4f", step, v, torque, want)
			}
		}
	}
}

// TestWheelAndBareDrum: I and I_w slow together, and the bare drum's own loss and
// a brake are taken off: what remains is the loss that was put in.
func TestWheelAndBareDrum(t *testing.T) {
	const inertia, wheel = 30.0, 0.4
	parasitic := [3]float64{1.2, 0.01, 0.00002}
	loss := [3]float64{6, 0.02, 0.0003}
	brake := func(t float64) float64 { return 5 + math.Sin(t) }
	var c Coast
	omega, h := 180.0, 0.001
	slope := func(t, w float64) float64 {
		return -(Polynomial(loss, w) + Polynomial(parasitic, w) + brake(t)) / (inertia + wheel)
	}
	for i := range 40000 {
		ti := float64(i) * h
		if i%10 == 0 {
			c.Time, c.Speed, c.Brake = append(c.Time, ti), append(c.Speed, omega), append(c.Brake, brake(ti))
		}
		k1 := slope(ti, omega)
		k2 := slope(ti+h/2, omega+h/2*k1)
		k3 := slope(ti+h/2, omega+h/2*k2)
		k4 := slope(ti+h, omega+h*k3)
		omega += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
	}
	l, err := c.Losses(Rig{Inertia: inertia, WheelInertia: wheel, Parasitic: parasitic})
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range l.Omega {
		if want := Polynomial(loss, w); !(math.Abs(l.Torque[i]/want-1) < 1e-4) {
			t.Errorf("loss at %.1f rad/s: %.4f N·m, want %.4f", w, l.Torque[i], want)
		}
		if got, se := l.At(w); got != l.Torque[i] || se != l.StandardError[i] {
			t.Errorf("At(%g) = %g, %g; the table has %g, %g", w, got, se, l.Torque[i], l.StandardError[i])
		}
	}
	if l.WheelInertia != wheel {
		t.Errorf("wheel inertia %g, want %g", l.WheelInertia, wheel)
	}
	if !l.Covers(l.MeanOmega) || l.Covers(10*l.MeanOmega) {
		t.Error("the course should cover its own mean speed, and not ten times that")
	}
}

// TestLossScatterIsStated: over repeated noisy coast-downs the mean loss and the
// loss at both ends scatter as their standard errors say, within 15 %.
func TestLossScatterIsStated(t *testing.T) {
	const r, mass, a, c = 0.2286, 600, 80, 0.4
	random := rand.New(rand.NewPCG(4, 4))
	ts, omega := arctangent(mass, a, c, 40, 28, r, 100)
	noisy := make([]float64, len(omega))
	const repeats = 600
	var sum, squares, stated [3]float64
	for range repeats {
		for i, w := range omega {
			noisy[i] = w + 0.05*random.NormFloat64()
		}
		l, err := Coast{Time: ts, Speed: noisy}.Losses(Rig{Inertia: mass * r * r})
		if err != nil {
			t.Fatal(err)
		}
		for k, w := range [3]float64{29 / r, l.MeanOmega, 39 / r} {
			got, se := l.At(w)
			d := got - (a+c*w*r*w*r)*r
			sum[k] += d
			squares[k] += d * d
			stated[k] += se * se
		}
	}
	for k, name := range []string{"low end", "mean", "high end"} {
		ratio := math.Sqrt((squares[k] - sum[k]*sum[k]/repeats) / stated[k])
		if math.Abs(ratio-1) > 0.15 {
			t.Errorf("%s: scatter is %.3f times the stated standard error", name, ratio)
		}
		if bias := sum[k] / repeats; math.Abs(bias) > 0.25*math.Sqrt(stated[k]/repeats) {
			t.Errorf("%s: bias %.4f N·m against a standard error of %.4f", name, bias, math.Sqrt(stated[k]/repeats))
		}
	}
}

// TestNotACoastDown: what does not slow is refused.
func TestNotACoastDown(t *testing.T) {
	ts, omega := arctangent(600, 80, 0.4, 40, 28, 0.2286, 20)
	rising := make([]float64, len(omega))
	nan := make([]float64, len(omega))
	for i, w := range omega {
		rising[i], nan[i] = 200-w, math.NaN()
	}
	for name, c := range map[string]Coast{
		"rising":      {Time: ts, Speed: rising},
		"nothing":     {},
		"too few":     {Time: ts[:10], Speed: omega[:10]},
		"no numbers":  {Time: ts, Speed: nan},
		"two series":  {Time: ts, Speed: omega, Angle: omega},
		"short brake": {Time: ts, Speed: omega, Brake: omega[:5]},
	} {
		if l, err := c.Losses(Rig{Inertia: 30}); !errors.Is(err, ErrCoast) {
			t.Errorf("%s: %+v, %v; want ErrCoast", name, l, err)
		}
	}
	for _, rig := range []Rig{{}, {Inertia: -1}, {Inertia: 30, WheelInertia: math.NaN()}} {
		if _, err := (Coast{Time: ts, Speed: omega}).Losses(rig); !errors.Is(err, ErrCoast) {
			t.Errorf("rig %+v: %v, want ErrCoast", rig, err)
		}
	}
	l, err := Coast{Time: ts, Speed: omega}.Losses(Rig{Inertia: 30})
	if err != nil {
		t.Fatal(err)
	}
	l.Coefficients = [3]float64{-1, 0, 0}
	if got, err := l.Time(30, [3]float64{}, 100, 90); err == nil {
		t.Errorf("a drum that gains speed slows in %g s: want an error", got)
	}
}
