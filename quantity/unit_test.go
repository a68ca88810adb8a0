package quantity

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"
)

// row is one published value, or one computed from a published definition, of
// testdata/standards.json.
type row struct {
	Quantity  string
	Inputs    map[string]float64
	Expected  float64
	Unit      string
	Tolerance struct{ Abs, Rel float64 }
	Source    string
	Obtained  string
}

func published(t *testing.T) []row {
	t.Helper()
	data, err := os.ReadFile("testdata/standards.json")
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	if err := json.Unmarshal(data, &rows); err != nil {
		t.Fatal(err)
	}
	return rows
}

// lookup is Lookup of a name that the test knows to be one.
func lookup(t *testing.T, name string) Unit {
	t.Helper()
	u, err := Lookup(name)
	if err != nil {
		t.Fatalf("Lookup(%q): %v", name, err)
	}
	return u
}

// The factors that NIST SP 811 (2008), appendix B, prints, and the values that
// follow from its exact definitions; the source stands in each row.
func TestPublishedFactors(t *testing.T) {
	one := func(unit string) func(*testing.T, row) float64 {
		return func(t *testing.T, _ row) float64 { return lookup(t, unit).SI(1) }
	}
	compute := map[string]func(*testing.T, row) float64{
		"NIST printed factor: horsepower (metric)":                           one("PS"),
		"NIST printed factor: horsepower (U.K.)":                             one("hp"),
		"NIST printed factor: inch of mercury, conventional":                 one("inHg"),
		"NIST printed factor: inch of mercury (32 F)":                        one("inHg(32F)"),
		"NIST printed factor: inch of mercury (60 F)":                        one("inHg(60F)"),
		"NIST printed factor: millimetre of mercury, conventional":           one("mmHg"),
		"NIST printed factor: psi":                                           one("psi"),
		"NIST printed factor: standard atmosphere [exact]":                   one("atm"),
		"NIST printed factor: mile per hour [exact]":                         one("mph"),
		"NIST printed factor: mile [exact]":                                  one("mi"),
		"NIST printed factor: inch of water (60 F)":                          one("inH2O(60F)"),
		"mechanical horsepower, exact product 550*0.3048*0.45359237*9.80665": one("hp"),
		"lbf ft": one("lbf·ft"),
		"psi":    one("psi"),
		"33000/(2 pi)": func(t *testing.T, _ row) float64 {
			return lookup(t, "hp").SI(1) / lookup(t, "lbf·ft").SI(1) / lookup(t, "rpm").SI(1)
		},
		"60000/(2 pi)": func(t *testing.T, _ row) float64 {
			return lookup(t, "kW").SI(1) / lookup(t, "N·m").SI(1) / lookup(t, "rpm").SI(1)
		},
		"99 kPa in conventional inHg": func(t *testing.T, _ row) float64 {
			return lookup(t, "inHg").From(lookup(t, "kPa").SI(99))
		},
		"29.92 inHg (conventional)": func(t *testing.T, _ row) float64 { return lookup(t, "inHg").SI(29.92) },
		"29.92 inHg read as 60 F mercury": func(t *testing.T, _ row) float64 {
			return lookup(t, "inHg(60F)").SI(29.92)
		},
		"power from torque": func(t *testing.T, r row) float64 {
			watts := lookup(t, "N·m").SI(r.Inputs["torque_Nm"]) * lookup(t, "rpm").SI(r.Inputs["rpm"])
			return lookup(t, "kW").From(watts)
		},
	}
	rows := published(t)
	if len(rows) != len(compute) {
		t.Errorf("testdata has %d rows, this test reads %d", len(rows), len(compute))
	}
	for _, r := range rows {
		f, ok := compute[r.Quantity]
		if !ok {
			t.Errorf("no check for the row %q", r.Quantity)
			continue
		}
		got := f(t, r)
		if rel := math.Abs(got/r.Expected - 1); !(rel <= r.Tolerance.Rel) {
			t.Errorf("%s: got %.12g %s, expected %.12g within %g (%s, %s)",
				r.Quantity, got, r.Unit, r.Expected, r.Tolerance.Rel, r.Source, r.Obtained)
		}
	}
}

// Fixed points of the temperature scales: NIST SP 811 (2008), appendix B.9
// (exact relations), and BIPM SI brochure, 9th edition, 2.3.1.
func TestTemperatureFixedPoints(t *testing.T) {
	for _, c := range []struct {
		unit    string
		reading float64
		kelvin  float64
	}{
		{"°C", 0, 273.15}, {"°C", 25, 298.15}, {"°F", 32, 273.15}, {"°F", 212, 373.15},
		{"°F", -40, 233.15}, {"°C", -40, 233.15}, {"°F", -459.67, 0}, {"K", 300, 300},
	} {
		u := lookup(t, c.unit)
		if got := u.SI(c.reading); !(math.Abs(got-c.kelvin) <= 1e-12*300) {
			t.Errorf("%g %s is %.15g K, expected %g K", c.reading, c.unit, got, c.kelvin)
		}
	}
	if got := lookup(t, "°F").SIDifference(9); !(math.Abs(got-5) <= 1e-14) {
		t.Errorf("a difference of 9 °F is %.17g K, expected 5 K", got)
	}
	if got := lookup(t, "°F").FromDifference(5); !(math.Abs(got-9) <= 1e-14) {
		t.Errorf("a difference of 5 K is %.17g °F, expected 9 °F", got)
	}
	if got := Celsius(20).Celsius(); !(math.Abs(got-20) <= 1e-13) {
		t.Errorf("Celsius(20).Celsius() = %.17g", got)
	}
}

// Exact relations between units, by definition.
func TestExactRelations(t *testing.T) {
	for _, c := range []struct {
		a    float64
		ua   string
		b    float64
		ub   string
		from string
	}{
		{3.6, "km/h", 1, "m/s", "h = 3600 s"},
		{1, "mph", 1.609344, "km/h", "mi = 1609.344 m"},
		{60, "ft/s", 18.288, "m/s", "ft = 0.3048 m"},
		{1, "ft", 12, "in", "definition"},
		{1, "bar", 100, "kPa", "definition"}, {1, "mbar", 1, "hPa", "definition"}, {1, "MPa", 10, "bar", "definition"},
		{760, "Torr", 1, "atm", "definition"},
		{1, "kgf/cm²", 98.0665, "kPa", "kgf = 9.80665 N"},
		{1, "kgf·m", 9.80665, "N·m", "kgf = 9.80665 N"},
		{12, "lbf·in", 1, "lbf·ft", "ft = 12 in"}, {1, "kN·m", 1000, "N·m", "prefix"},
		{75, "kgf·m", 735.49875, "N·m", "metric horsepower = 75 kgf·m/s"},
		{60, "rpm", 1, "rps", "min = 60 s"}, {1, "krpm", 1000, "rpm", "prefix"}, {6, "°/s", 1, "rpm", "turn = 360°"},
		{1, "h", 60, "min", "definition"}, {1, "ms", 1000, "µs", "prefix"}, {1, "µs", 1000, "ns", "prefix"}, {1, "min", 60, "s", "definition"},
		{180, "°", math.Pi, "rad", "definition"},
		{1, "lbm", 453.59237, "gram", "lb = 0.45359237 kg"}, {1, "kgf", 9.80665, "N", "definition"},
		{1, "kg·m²", 10000, "kg·cm²", "prefix"}, {1, "lb·ft²", 0.45359237 * 0.3048 * 0.3048, "kg·m²", "lb, ft"},
		{16.018463373960142, "kg/m³", 1, "lb/ft³", "lb, ft"},
		{1, "gn", 9.80665, "m/s²", "standard gravity"}, {1, "ft/s²", 0.3048, "m/s²", "ft"},
		{1, "%", 0.01, "1", "definition"}, {1e4, "ppm", 1, "%", "definition"},
		{1, "kN", 1000, "N", "prefix"}, {1, "MW", 1000, "kW", "prefix"}, {1, "kHz", 1000, "Hz", "prefix"}, {1, "MHz", 1000, "kHz", "prefix"},
		{1, "V", 1000, "mV", "prefix"}, {1, "A", 1000, "mA", "prefix"}, {1, "km", 1e5, "cm", "prefix"}, {1, "cm", 10, "mm", "prefix"},
		{1, "inH2O(conv)", 249.08891, "Pa", "1000 kg/m³ · 9.80665 m/s² · 0.0254 m"},
	} {
		ua, ub := lookup(t, c.ua), lookup(t, c.ub)
		if ua.Dimension != ub.Dimension {
			t.Errorf("%s is %v and %s is %v", c.ua, ua.Dimension, c.ub, ub.Dimension)
		}
		if a, b := ua.SI(c.a), ub.SI(c.b); !(math.Abs(a/b-1) <= 1e-14) {
			t.Errorf("%g %s is %.16g, %g %s is %.16g (%s)", c.a, c.ua, a, c.b, c.ub, b, c.from)
		}
	}
}

func TestRoundTrip(t *testing.T) {
	for _, e := range table {
		u := e.unit
		for _, v := range []float64{0, 1, -17.25, 98.6, 1e-6, 12345.678} {
			if got := u.From(u.SI(v)); !(math.Abs(got-v) <= 1e-12*math.Max(math.Abs(v), 1+math.Abs(u.Offset/u.Scale))) {
				t.Errorf("%s: %g came back as %.17g", u.Name, v, got)
			}
			if got := u.FromDifference(u.SIDifference(v)); !(math.Abs(got-v) <= 1e-15*math.Abs(v)) {
				t.Errorf("%s: the difference %g came back as %.17g", u.Name, v, got)
			}
		}
	}
}

func TestUnitsOfADimension(t *testing.T) {
	for d := Ratio; d <= Current; d++ {
		units := Units(d)
		if len(units) == 0 {
			t.Errorf("%v has no unit", d)
			continue
		}
		if units[0].Scale != 1 || units[0].Offset != 0 {
			t.Errorf("%v: %s stands first, expected the SI unit", d, units[0].Name)
		}
		if name := d.String(); name == "" || strings.Contains(name, "no dimension") {
			t.Errorf("dimension %d has the name %q", d, name)
		}
		for _, u := range units {
			if got, err := LookupFor(u.Name, d); err != nil || got != u {
				t.Errorf("LookupFor(%q, %v) = %v, %v; expected the unit of that name", u.Name, d, got, err)
			}
		}
	}
	if Units(0) != nil || Units(Current+1) != nil || Dimension(-1).String() != "no dimension" {
		t.Error("a dimension that does not exist has units or a name")
	}
}

// Torque in lbf·ft and power in hp meet at 5252.113 rpm (33 000/2π), torque in
// N·m and power in kW at 9549.297 (60 000/2π): published rows above.
func TestCurvesCross(t *testing.T) {
	for _, c := range []struct {
		torque, power string
		rpm           float64
	}{{"lbf·ft", "hp", 5252.113122032546}, {"N·m", "kW", 9549.29658551372}} {
		torque := lookup(t, c.torque).SI(61.5)
		power := lookup(t, c.power).From(torque * lookup(t, "rpm").SI(c.rpm))
		if !(math.Abs(power/61.5-1) <= 1e-12) {
			t.Errorf("61.5 %s at %g rpm is %.15g %s, expected 61.5", c.torque, c.rpm, power, c.power)
		}
	}
}
