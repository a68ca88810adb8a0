package quantity

import (
	"math"
	"testing"
)

// One figure in both systems. Factors: NIST SP 811 (2008), appendix B.
func TestSystems(t *testing.T) {
	for _, c := range []struct {
		d            Dimension
		si           float64
		metric       float64
		metricUnit   string
		customary    float64
		customaryUni string
	}{
		{Torque, 100, 100, "N·m", 73.756215, "lbf·ft"},
		{Power, 74569.987, 74.569987, "kW", 100, "hp"},
		{Speed, 44.704, 160.9344, "km/h", 100, "mph"},
		{Temperature, 298.15, 25, "°C", 77, "°F"},
		{Pressure, 101325, 101.325, "kPa", 29.921252, "inHg"},
		{Mass, 45.359237, 45.359237, "kg", 100, "lb"},
		{Length, 304.8, 304.8, "m", 1000, "ft"},
		{Force, 444.82216, 444.82216, "N", 100, "lbf"},
		{Density, 1.2, 1.2, "kg/m³", 0.074913553, "lb/ft³"},
		{Inertia, 42.140110, 42.140110, "kg·m²", 1000, "lb·ft²"},
		{RotationalSpeed, 2 * math.Pi * 100, 6000, "rpm", 6000, "rpm"},
		{Ratio, 0.067, 6.7, "%", 6.7, "%"},
		{Lambda, 0.88, 0.88, "", 0.88, ""},
	} {
		for _, s := range []struct {
			system System
			want   float64
			unit   string
		}{{SI, c.metric, c.metricUnit}, {USCustomary, c.customary, c.customaryUni}, {0, c.metric, c.metricUnit}} {
			u := s.system.Unit(c.d)
			if got := u.From(c.si); u.Name != s.unit || !(math.Abs(got/s.want-1) <= 2e-7) {
				t.Errorf("%v %g in system %v: %.9g %s, expected %.9g %s", c.d, c.si, s.system, got, u.Name, s.want, s.unit)
			}
		}
	}
	if u := USCustomary.TyrePressure(); u.Name != "psi" || !(math.Abs(u.From(250e3)-36.259434) <= 1e-6) {
		t.Errorf("250 kPa in a tyre is %g %s, expected 36.259434 psi", u.From(250e3), u.Name)
	}
	if u := SI.TyrePressure(); u.Name != "kPa" || u.From(250e3) != 250 {
		t.Errorf("250 kPa in a tyre is %g %s", u.From(250e3), u.Name)
	}
}

func TestEveryDimensionIsShown(t *testing.T) {
	for d := Ratio; d <= Current; d++ {
		for _, s := range []System{SI, USCustomary} {
			if u := s.Unit(d); u.Dimension != d || !(u.Scale > 0) {
				t.Errorf("system %v shows %v in %+v", s, d, u)
			}
		}
	}
	if u := SI.Unit(0); u != (Unit{}) {
		t.Errorf("no dimension is shown in %v", u)
	}
}

func TestParseSystem(t *testing.T) {
	for _, s := range []System{SI, USCustomary} {
		if got, err := ParseSystem(s.String()); err != nil || got != s {
			t.Errorf("ParseSystem(%q) = %v, %v", s.String(), got, err)
		}
	}
	for _, name := range []string{"", "SI units", "metric", "imperial"} {
		if got, err := ParseSystem(name); err == nil || got != 0 {
			t.Errorf("ParseSystem(%q) = %v; expected an error", name, got)
		}
	}
}
