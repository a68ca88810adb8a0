package quantity

import (
	"errors"
	"strings"
	"testing"
)

func TestSpellings(t *testing.T) {
	for want, names := range map[string]string{
		"rpm": "rpm|RPM|Rpm|1/min|1 / min|/min|min-1|min^-1|min⁻¹|min −1|r/min|rev/min|revs/min|rev./min|U/min|u/min|UPM|tr/min|1∕min|" +
			" rpm |об/мин",
		"krpm":   "krpm",
		"rps":    "rps|r/s|rev/s|U/s",
		"rad/s":  "rad/s|rad/sec|rad s-1|rad·s⁻¹|rad s^-1|RAD/S",
		"°/s":    "°/s|deg/s",
		"Hz":     "Hz|hz|HZ",
		"kHz":    "kHz|khz",
		"km/h":   "km/h|KM/H|kph|KPH|kmh|km/hr|km h-1|kmph|km·h⁻¹|km ⁄ h",
		"mph":    "mph|MPH|mi/h",
		"m/s":    "m/s|m s-1|m·s⁻¹|m/sec",
		"ft/s":   "ft/s|ft/sec",
		"m/s²":   "m/s²|m/s^2|m/s2|m s-2",
		"N·m":    "N·m|Nm|N m|N*m|N.m|N-m|N⋅m|N∙m|N×m|N – m|n·m",
		"lbf·ft": "lbf·ft|lbf-ft|lb-ft|ft-lb|ft·lbf|ft lbf|ftlb|lbft|lb.ft|lb.-ft.|ft.lbs|LB-FT|Ft-Lbs|lb ft|ft–lb|lbf ft|lbs-ft",
		"lbf·in": "lbf·in|in-lb|in·lbf|inlb",
		"kgf·m":  "kgf·m|kgfm|kg·m|kgm|mkg|m·kg|kg-m",
		"W":      "W|watt|Watts",
		"kW":     "kW|KW|kw|Kw",
		"hp":     "hp|HP|Hp",
		"PS":     "PS|hp(metric)|hp (metric)|metric hp",
		"N":      "N|newton", "kN": "kN", "lbf": "lbf|LBF", "kgf": "kgf|kp",
		"Pa": "Pa|pa|PA", "hPa": "hPa|hpa|HPA", "kPa": "kPa|KPA|kpa|Kpa", "MPa": "MPa",
		"mbar": "mbar|mBar|mb", "bar": "bar|BAR|Bar|bara", "atm": "atm", "Torr": "torr|Torr",
		"inHg": "inHg|in Hg|in.Hg|in. Hg|inHG|INHG|in·Hg|in-Hg", "mmHg": "mmHg|mm Hg|mmHG",
		"psi": "psi|PSI|psia|lbf/in²|lbf/in^2", "kgf/cm²": "kgf/cm²|kg/cm2|kp/cm²",
		"°C": "°C|degC|deg C|C|ºC|˚C|° C|℃|Celsius|DEGC|°c", "°F": "°F|degF|F|deg F|℉|Fahrenheit", "K": "K|K|Kelvin|degK",
		"s": "s|sec|seconds|Sec", "ms": "ms|MS|msec", "µs": "us|µs|μs|usec", "ns": "ns", "min": "min|Min|minutes", "h": "h|hr|hours",
		"%": "%|pct|percent|% RH|%RH|vol%|% vol", "1": "1|-|–|—|−|fraction|ratio", "ppm": "ppm|PPM",
		"lambda": "lambda|Lambda|λ|LAMBDA", "AFR": "AFR|afr|A/F|:1",
		"m": "m|metre|meters", "mm": "mm", "cm": "cm", "km": "km|Km", "in": "in|in.|inch|IN", "ft": "ft|FT|feet", "mi": "mi|miles",
		"kg": "kg|KG|Kg|kilogram", "g": "gram|grams", "lb": "lbm|pounds",
		"kg·m²": "kg·m²|kgm2|kgm²|kg m^2|kg*m**2|kg-m²|kg m2", "kg·cm²": "kg·cm²", "lb·ft²": "lb·ft²|lb-ft2|lb ft^2",
		"kg/m³": "kg/m³|kg/m^3|kg/m3|kg m-3", "lb/ft³": "lb/ft³",
		"°": "°|deg|degrees", "rad": "rad", "V": "V|volts|Volt", "mV": "mV", "A": "A|amps", "mA": "mA", "gn": "gn|g0",
	} {
		for name := range strings.SplitSeq(names, "|") {
			if got, err := Lookup(name); err != nil || got.Name != want {
				t.Errorf("Lookup(%q) = %q, %v; expected %q", name, got.Name, err, want)
			}
		}
	}
}

// Spellings whose case decides, near misses, and what has no unit here.
func TestUnknown(t *testing.T) {
	for name, advice := range map[string]string{
		"":     "empty",
		"  ":   "empty",
		"Mbar": "mbar", "MBAR": "mbar", "mPa": "MPa", "mpa": "MPa", "nm": "N·m", "NM": "N·m", "ps": "PS", "Ps": "PS",
		"S": "did you mean s?", "c": "°C", "k": "did you mean K?", "n": "did you mean N?", "M": "did you mean m?", "MM": "mm", "uS": "µs",
		"mw": "MW", "mW": "MW", "kM": "km", "G": "", "MS-1": "", "w": "did you mean W?", "MV": "mV", "v": "did you mean V?",
		"bhp": "crank", "WHP": "wheel", "psig": "gauge", "bar(g)": "gauge", "kPa (g)": "gauge",
		"ft/lb": "lbf·ft", "lb/ft": "lbf·ft", "lbs/ft": "lbf·ft", "rpm x1000": "", "rpm/1000": "krpm",
		"furlong": "", "/": "", "*": "", "--": "", "N·": "", "m/s/": "", "1/": "", "Nm\x00": "", "\xff": "", "N\u200bm": "",
		strings.Repeat("rpm ", 40): "",
	} {
		got, err := Lookup(name)
		var unknown *UnknownUnitError
		if !errors.As(err, &unknown) || got != (Unit{}) {
			t.Errorf("Lookup(%q) = %v, %v; expected an *UnknownUnitError", name, got, err)
			continue
		}
		if !strings.Contains(err.Error(), advice) || len(err.Error()) > 250 {
			t.Errorf("Lookup(%q): %q does not say %q, or says too much", name, err, advice)
		}
		if _, err := LookupFor(name, Torque); !errors.As(err, &unknown) {
			t.Errorf("LookupFor(%q, Torque): %v; expected an *UnknownUnitError", name, err)
		}
	}
}

func TestAmbiguous(t *testing.T) {
	for _, name := range []string{
		"1/s", "s-1", "s⁻¹", "/s", "lb", "LB", "lbs", "lbs.", "g", "CV", "cv", "ch", "KM", "inH2O", "in H2O",
	} {
		got, err := Lookup(name)
		var ambiguous *AmbiguousUnitError
		if !errors.As(err, &ambiguous) || got != (Unit{}) || len(ambiguous.Readings) < 2 {
			t.Errorf("Lookup(%q) = %v, %v; expected an *AmbiguousUnitError with its readings", name, got, err)
			continue
		}
		for _, r := range ambiguous.Readings {
			if !strings.Contains(err.Error(), r.Meaning) || !strings.Contains(err.Error(), r.Write) {
				t.Errorf("Lookup(%q): %q leaves out %q", name, err, r.Meaning)
			}
			if r.Write == "" {
				continue
			}
			if u, err := Lookup(r.Write); err != nil || u != r.Unit {
				t.Errorf("%q tells to write %q, which is %v, %v", name, r.Write, u, err)
			}
		}
	}
}

func TestLookupFor(t *testing.T) {
	for _, c := range []struct {
		name string
		want Dimension
		unit string // empty: ambiguous still
	}{
		{"lb", Mass, "lb"}, {"lbs", Force, "lbf"}, {"g", Mass, "g"}, {"g", Acceleration, "gn"},
		{"KM", Power, "PS"}, {"KM", Length, "km"}, {"1/s", Frequency, "Hz"},
		{"1/s", RotationalSpeed, ""}, {"CV", Power, ""}, {"inH2O", Pressure, ""},
		{"Nm", Torque, "N·m"}, {"rpm", RotationalSpeed, "rpm"}, {"1", Lambda, "1"}, {"-", AirFuelRatio, "1"},
	} {
		got, err := LookupFor(c.name, c.want)
		var ambiguous *AmbiguousUnitError
		if c.unit == "" {
			if !errors.As(err, &ambiguous) {
				t.Errorf("LookupFor(%q, %v) = %v, %v; expected an *AmbiguousUnitError", c.name, c.want, got, err)
			}
			continue
		}
		if err != nil || got.Name != c.unit || got.Dimension != c.want {
			t.Errorf("LookupFor(%q, %v) = %v, %v; expected %s", c.name, c.want, got, err, c.unit)
		}
	}
}

// A unit of another kind is refused with the units that would do: a lambda
// logged as an air/fuel ratio, a brake force in kilograms, a speed in hertz.
func TestWrongDimension(t *testing.T) {
	for _, c := range []struct {
		name string
		want Dimension
		cure string
	}{
		{"AFR", Lambda, "lambda"}, {"lambda", AirFuelRatio, "AFR"}, {"%", Lambda, "lambda"}, {"kg", Force, "kgf"},
		{"Hz", RotationalSpeed, "rpm"}, {"deg", Temperature, "°C"}, {"lb", Torque, "lbf·ft"}, {"CV", Torque, "N·m"},
		{"m", Time, "min"}, {"1", Torque, "N·m"}, {"rpm", 0, "no dimension"}, {"CV", 0, "no dimension"},
	} {
		got, err := LookupFor(c.name, c.want)
		var wrong *DimensionError
		if !errors.As(err, &wrong) || got != (Unit{}) || !strings.Contains(err.Error(), c.cure) {
			t.Errorf("LookupFor(%q, %v) = %v, %v; expected a *DimensionError that offers %q", c.name, c.want, got, err, c.cure)
		}
	}
}

// Every spelling stands in its normal form and belongs to one unit, in any case
// for those that any case spells.
func TestTableIsSound(t *testing.T) {
	owner := map[string]string{}
	take := func(spelling, unit string) {
		if other, taken := owner[spelling]; taken {
			t.Errorf("%q spells both %s and %s", spelling, other, unit)
		}
		owner[spelling] = unit
		if got := normalise(spelling); got != spelling {
			t.Errorf("%q of %s has the normal form %q", spelling, unit, got)
		}
	}
	for _, e := range table {
		for _, s := range e.fold {
			take(s, e.unit.Name)
			if s != strings.ToLower(s) {
				t.Errorf("%q of %s is not in lower case", s, e.unit.Name)
			}
		}
	}
	for s := range ambiguousFold {
		take(s, "an ambiguous spelling")
	}
	for _, e := range table {
		for _, s := range e.exact {
			take(s, e.unit.Name)
		}
	}
	for s := range ambiguousExact {
		take(s, "an ambiguous spelling")
	}
	for s := range advice {
		take(s, "advice")
	}
}

func FuzzLookup(f *testing.F) {
	for _, s := range []string{"rpm", "N·m", "lb-ft", "min⁻¹", "kg*m**2", "°C", "inHg (60F)", "CV", "\xffNm", "1/s", "- -", "^-1", "(°"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		u, err := Lookup(name)
		if err != nil {
			if u != (Unit{}) || err.Error() == "" || len(err.Error()) > 600 {
				t.Fatalf("Lookup(%q) = %v, %q", name, u, err)
			}
			return
		}
		if u.Name == "" || !(u.Scale > 0) || u.Dimension < Ratio || u.Dimension > Current {
			t.Fatalf("Lookup(%q) = %+v", name, u)
		}
		if again, err := LookupFor(" "+name+"\t", u.Dimension); err != nil || again != u {
			t.Fatalf("%q between blanks is %v, %v; without %v", name, again, err, u)
		}
		if n := normalise(name); normalise(n) != n {
			t.Fatalf("normal form %q of %q has the normal form %q", n, name, normalise(n))
		}
	})
}

func BenchmarkLookup(b *testing.B) {
	for b.Loop() {
		if _, err := Lookup("lbf·ft"); err != nil {
			b.Fatal(err)
		}
	}
}
