package correction

import (
	"math"
	"strings"
	"testing"

	"fairpull/air"
	"fairpull/quantity"
)

// The limits are inside; a step beyond any of them is a warning that names the
// standard, the figure, the range and where the range comes from.
func TestOutside(t *testing.T) {
	inside := air.State{Pressure: 99_000, Temperature: quantity.Celsius(25)}
	at := func(p quantity.Pascal, celsius float64) air.State {
		return air.State{Pressure: p, Temperature: quantity.Celsius(celsius)}
	}
	for _, c := range []struct {
		name   string
		factor float64
		state  air.State
		want   string // the subjects, joined
		says   string
	}{
		{"ISO 1585", 1, inside, "", ""},
		{"ISO 1585", 0.93, inside, "", ""},
		{"ISO 1585", 1.07, inside, "", ""},
		{"ISO 1585", 0.9299, inside, "correction factor", "0.930 to 1.070"},
		{"ISO 1585", 1.0701, inside, "correction factor", "from memory"},
		{"ISO 1585", 1, at(99_000, 15), "", ""},
		{"ISO 1585", 1, at(99_000, 35), "", ""},
		{"ISO 1585", 1, at(99_000, 14.9), "intake temperature", "14.9 °C is outside 15.0 °C to 35.0 °C"},
		{"ISO 1585", 1, at(99_000, 35.1), "intake temperature", "35.1 °C"},
		{"ISO 1585", 1, at(80_000, 25), "", ""},
		{"ISO 1585", 1, at(79_900, 25), "correction pressure", "79.9 kPa is outside 80.0 kPa to 110.0 kPa"},
		{"ISO 1585", 1.2, at(79_000, 40), "correction factor,intake temperature,correction pressure", "ISO 1585"},
		{"SAE J1349", 1.08, at(79_000, 25), "correction factor", "not at hand"},
		{"DIN 70020", 1, at(99_000, 40), "intake temperature", "default of this program"},
		{"SAE J607", math.NaN(), inside, "correction factor", "NaN"},
	} {
		var subjects, sentences []string
		for _, o := range standard(t, c.name).Outside(c.factor, c.state) {
			subjects = append(subjects, string(o.Subject))
			sentences = append(sentences, o.String())
			if o.Standard != c.name {
				t.Errorf("a warning of %s is given for %s", c.name, o.Standard)
			}
		}
		if got := strings.Join(subjects, ","); got != c.want {
			t.Errorf("%s, factor %g, %v: warns of %q, expected %q", c.name, c.factor, c.state, got, c.want)
		}
		if all := strings.Join(sentences, " "); !strings.Contains(all, c.says) {
			t.Errorf("%s: %q does not say %q", c.name, all, c.says)
		}
	}
}

// 59 °F is 15 °C, whichever way it is brought to kelvin.
func TestOutsideToleratesRounding(t *testing.T) {
	fahrenheit, err := quantity.Lookup("°F")
	if err != nil {
		t.Fatal(err)
	}
	st := air.State{Pressure: 99_000, Temperature: quantity.Kelvin(fahrenheit.SI(59))}
	if out := iso1585().Outside(1, st); out != nil {
		t.Errorf("59 °F: %v", out)
	}
}
