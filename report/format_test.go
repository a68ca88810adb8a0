package report

import (
	"math"
	"testing"

	"fairpull/compare"
	"fairpull/quantity"
)

// GUM (JCGM 100:2008), 7.2.6, from memory: y = 10.057 62 Ω with u = 27 mΩ is
// given as 10.058 Ω.
func TestPlacesGUM(t *testing.T) {
	if got := fixed(10.05762, places(0.027, 9)); got != "10.058" {
		t.Errorf("10.05762 with 0.027 is given as %s; the GUM has 10.058", got)
	}
}

func TestPlaces(t *testing.T) {
	for _, row := range []struct {
		u    float64
		want int
	}{{1.24, 1}, {0.996, 1}, {0.994, 2}, {12, 0}, {150, 0}, {0.004, 2}, {0, 1}, {math.NaN(), 1}, {math.Inf(1), 1}, {-1, 1}} {
		if got := places(row.u, 2); got != row.want {
			t.Errorf("places(%g) = %d; want %d", row.u, got, row.want)
		}
	}
}

func TestSignsAndZero(t *testing.T) {
	for _, row := range []struct {
		v      float64
		places int
		want   string
	}{{1.25, 1, "+1.2"}, {-1.25, 1, "−1.2"}, {0.04, 1, "0.0"}, {-0.04, 1, "0.0"}, {0, 0, "0"}, {math.NaN(), 1, "–"}, {math.Inf(1), 1, "–"}} {
		if got := signed(row.v, row.places); got != row.want {
			t.Errorf("signed(%g, %d) = %q; want %q", row.v, row.places, got, row.want)
		}
	}
}

// What may be promised is rounded down, whatever its sign.
func TestRoundedDown(t *testing.T) {
	for _, row := range []struct {
		v    float64
		want string
	}{{5.69, "5.6"}, {5.7, "5.7"}, {0.09, "0.0"}, {-0.01, "−0.1"}, {-2.3, "−2.3"}, {-2.31, "−2.4"}, {math.NaN(), "–"}} {
		if got := roundedDown(row.v); got != row.want {
			t.Errorf("roundedDown(%g) = %q; want %q", row.v, got, row.want)
		}
	}
}

// 1 lbf·ft = 1.355 817 948 331 4004 N·m and 1 hp = 745.699 871 582 270 22 W, exact
// by definition (NIST SP 811, appendix B: 1.355 818 and 745.6999).
func TestLevelInUSUnits(t *testing.T) {
	for _, row := range []struct {
		value, half float64
		dimension   quantity.Dimension
		units       quantity.System
		want        string
	}{
		{135.58179483314004, 1.3558179483314004, quantity.Torque, quantity.USCustomary, "100.0 ± 1.0 lbf·ft"},
		{74569.987158227022, 745.69987158227022, quantity.Power, quantity.USCustomary, "100.0 ± 1.0 hp"},
		{61.23, 0.71, quantity.Torque, quantity.SI, "61.23 ± 0.71 N·m"},
		{38010, 2400, quantity.Power, quantity.SI, "38.0 ± 2.4 kW"},
		{61.23, math.NaN(), quantity.Torque, quantity.SI, "61.2 N·m"},
	} {
		if got := level(row.value, row.half, row.dimension, row.units); got != row.want {
			t.Errorf("%g ± %g: %q; want %q", row.value, row.half, got, row.want)
		}
	}
}

// Torque in lbf·ft and power in hp are one number at 33 000/2π = 5252.113 rpm:
// the definition of the horsepower, 33 000 ft·lbf/min.
func TestCurvesCrossAt5252(t *testing.T) {
	c := &compare.Comparison{Curve: []compare.Node{
		{RPM: 33000 / (2 * math.Pi), Baseline: 87.3, Candidate: 91.2},
		{RPM: 6000, Baseline: 80, Candidate: 82},
	}}
	torque := newLevelSeries(c, quantity.Torque, quantity.USCustomary)
	power := newLevelSeries(c, quantity.Power, quantity.USCustomary)
	for side, pair := range map[string][2]float64{"baseline": {torque.Baseline[0], power.Baseline[0]}, "candidate": {torque.Candidate[0], power.Candidate[0]}} {
		if !(math.Abs(pair[0]/pair[1]-1) <= 1e-12) {
			t.Errorf("%s: %.9g lbf·ft and %.9g hp at 33000/2π rpm; want one number", side, pair[0], pair[1])
		}
	}
	if torque.Baseline[1] >= power.Baseline[1] {
		t.Errorf("above that speed power has the greater number: %g, %g", torque.Baseline[1], power.Baseline[1])
	}
}

func TestClean(t *testing.T) {
	for _, row := range [][2]string{
		{"plain name", "plain name"}, {" a\tb\nc ", "a b c"}, {"x\x1b[31m\x07", "x\uFFFD[31m\uFFFD"},
		{"\u202eevil\u2066", "\uFFFDevil\uFFFD"}, {"a\xffb", "a\uFFFDb"}, {"Größe 650 Ω", "Größe 650 Ω"}, {"", ""},
	} {
		if got := clean(row[0]); got != row[1] {
			t.Errorf("clean(%q) = %q; want %q", row[0], got, row[1])
		}
	}
	if got := []rune(cleanTo("abcdefgh", 4)); string(got) != "abcd…" {
		t.Errorf("cut to %q; want abcd…", string(got))
	}
}

func TestScaleTicks(t *testing.T) {
	for _, row := range []struct {
		lo, hi float64
		wanted int
		ticks  []float64
		places int
	}{
		{-4.4, 11.9, 6, []float64{-4, -2, 0, 2, 4, 6, 8, 10}, 0},
		{2000, 7500, 7, []float64{2000, 3000, 4000, 5000, 6000, 7000}, 0},
		{0.02, 0.13, 5, []float64{0.02, 0.04, 0.06, 0.08, 0.1, 0.12}, 2},
		{5, 5, 4, []float64{4, 4.5, 5, 5.5, 6}, 1},
	} {
		s := newScale(row.lo, row.hi, row.wanted)
		got := s.Ticks()
		same := len(got) == len(row.ticks)
		for i := range got {
			same = same && math.Abs(got[i]-row.ticks[i]) < 1e-9
		}
		if !same || s.Places != row.places {
			t.Errorf("%g to %g: ticks %v with %d places; want %v with %d", row.lo, row.hi, got, s.Places, row.ticks, row.places)
		}
	}
}

func TestSpreadKeepsLabelsApart(t *testing.T) {
	for _, heights := range [][]float64{{10, 10}, {10, 11, 12}, {98, 99, 100}, {5}, {0, 50, 50, 100}} {
		got := append([]float64(nil), heights...)
		spread(got, 8, 0, 100)
		for i, y := range got {
			if y < -1e-9 || y > 100+1e-9 || i > 0 && y-got[i-1] < 8-1e-9 {
				t.Errorf("%v became %v: closer than 8 or outside 0 to 100", heights, got)
			}
		}
	}
}

// A measured value stands to a hundredth of the size of its limit.
func TestCheckNumber(t *testing.T) {
	n := func(v float64) *float64 { return &v }
	for _, row := range []struct {
		v, limit *float64
		unit     string
		want     string
	}{
		{n(0.04255), n(3), "%", "0.04 %"}, {n(-0.04251), n(0.2), "%", "−0.043 %"}, {n(1.0219), n(1.07), "1", "1.02"},
		{n(133.47), n(210), "km/h", "133 km/h"}, {n(-16), n(8), "°C", "−16 °C"}, {n(0), n(0.5), "%", "0 %"},
		{n(204.2), nil, "1/min", "204 rpm"}, {n(5), n(3), "", "5"}, {nil, n(3), "%", "–"}, {n(math.NaN()), n(3), "%", "–"},
		{n(2.5), n(0), "%", "2.5 %"}, {n(2.5), n(math.Inf(1)), "%", "2.5 %"}, {n(1e-300), n(1e-300), "", "0"},
	} {
		if got := checkNumber(row.v, row.limit, row.unit); got != row.want {
			t.Errorf("checkNumber gave %q; want %q", got, row.want)
		}
	}
}
