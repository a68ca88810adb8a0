package quantity

import (
	"math"
	"math/big"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// The first rows are worked figures of JCGM 100:2008 (GUM): 7.2.6, 10.057 62 Ω
// with 27 mΩ becomes 10.058 Ω and 28.05 kHz becomes 28 kHz (read); 7.2.2,
// 100.021 47 g with 0.35 mg (from memory). The rest follow from the rule by hand.
func TestRoundTo(t *testing.T) {
	for _, c := range []struct {
		value, u float64
		v, su    string
	}{
		{10.05762, 0.027, "10.058", "0.027"},
		{1000, 28.05, "1000", "28"},
		{100.02147, 0.00035, "100.02147", "0.00035"},
		{6.7123, 0.612, "6.71", "0.61"},
		{6.7123, 0.0996, "6.71", "0.10"}, // carry: 0.0996 → 0.10
		{6.7123, 9.96, "7", "10"},        // carry: 9.96 → 10
		{6.7123, 0.996, "6.7", "1.0"},
		{9.996, 0.11, "10.00", "0.11"},
		{-6.7163, 0.61, "-6.72", "0.61"},
		{-0.0004, 0.61, "0.00", "0.61"}, // no negative zero
		{0, 0.61, "0.00", "0.61"},
		{math.Copysign(0, -1), 12, "0", "12"},
		{123456, 123, "123460", "120"},
		{123456, 99600, "120000", "100000"},
		{44, 1234, "0", "1200"},
		{-44, 1234, "0", "1200"},
		{56, 1234, "100", "1200"},
		{-56, 1234, "-100", "1200"},
		{1000, 1234, "1000", "1200"}, // an exact power of ten keeps its digits
		{999.96, 123, "1000", "120"},
		{1.25, 1.0, "1.2", "1.0"}, // exact half: to even
		{0.125, 0.10, "0.12", "0.10"},
		{1e22, 3e20, "10000000000000000000000", "300000000000000000000"},
		{1e-12, 2.34e-14, "0.000000000001000", "0.000000000000023"},
	} {
		v, u, ok := RoundTo(c.value, c.u)
		if !ok || v != c.v || u != c.su {
			t.Errorf("RoundTo(%g, %g) = %q, %q, %v; expected %q, %q", c.value, c.u, v, u, ok, c.v, c.su)
		}
	}
}

func TestRoundToRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][2]float64{{1, 0}, {1, -0.1}, {1, nan}, {1, inf}, {nan, 1}, {inf, 1}, {-inf, 1}, {1, math.Copysign(0, -1)}} {
		if v, u, ok := RoundTo(c[0], c[1]); ok || v != "" || u != "" {
			t.Errorf("RoundTo(%g, %g) = %q, %q, %v; expected a refusal", c[0], c[1], v, u, ok)
		}
	}
	for _, v := range []float64{nan, inf, -inf} {
		if s, ok := Fixed(v, 1); ok || s != "" {
			t.Errorf("Fixed(%g, 1) = %q, %v; expected a refusal", v, s, ok)
		}
		if s, ok := RoundDown(v, 1); ok || s != "" {
			t.Errorf("RoundDown(%g, 1) = %q, %v; expected a refusal", v, s, ok)
		}
	}
	for _, places := range []int{-1, 16} {
		if s, ok := RoundDown(1, places); ok || s != "" {
			t.Errorf("RoundDown(1, %d) = %q, %v; expected a refusal", places, s, ok)
		}
	}
}

// Extremes of float64 neither fail nor lose the value.
func TestRoundToExtremes(t *testing.T) {
	for _, c := range [][2]float64{
		{math.MaxFloat64, 1e300}, {-math.MaxFloat64, math.MaxFloat64}, {math.MaxFloat64, 5e-324},
		{5e-324, 5e-324}, {1, math.MaxFloat64}, {123456789, 1e-300},
	} {
		v, u, ok := RoundTo(c[0], c[1])
		if !ok {
			t.Errorf("RoundTo(%g, %g) refused", c[0], c[1])
			continue
		}
		got, err := strconv.ParseFloat(v, 64)
		if err != nil || !(math.Abs(got-c[0]) <= 0.051*c[1]+1e-15*math.Abs(c[0])) {
			t.Errorf("RoundTo(%g, %g) = %.30q…, %.30q…: further off than half a unit of the last place (%v)", c[0], c[1], v, u, err)
		}
	}
}

func TestFixed(t *testing.T) {
	for _, c := range []struct {
		value  float64
		places int
		want   string
	}{
		{5.449, 1, "5.4"}, {5.451, 1, "5.5"}, {-0.04, 1, "0.0"}, {1250, -2, "1200"}, {1350, -2, "1400"}, {-1250, -2, "-1200"}, {7, 0, "7"}, {0, -3, "0"},
	} {
		if got, ok := Fixed(c.value, c.places); !ok || got != c.want {
			t.Errorf("Fixed(%g, %d) = %q, %v; expected %q", c.value, c.places, got, ok, c.want)
		}
	}
}

func TestRoundDown(t *testing.T) {
	for _, c := range []struct {
		value  float64
		places int
		want   string
	}{
		{5.79, 1, "5.7"}, {5.7, 1, "5.7"}, {0.3, 1, "0.3"}, {0.1 + 0.2, 1, "0.3"}, {5.699999999999999, 1, "5.6"},
		{0.09, 1, "0.0"}, {0, 1, "0.0"}, {12, 1, "12.0"}, {9.99, 0, "9"},
		{-2.31, 1, "-2.4"}, {-2.3, 1, "-2.3"}, {-0.01, 1, "-0.1"}, {-9.99, 1, "-10.0"}, {-0.999, 2, "-1.00"}, {-1e-300, 1, "-0.1"}, {-0.5, 0, "-1"},
		{1e-300, 1, "0.0"}, {1e22, 1, "10000000000000000000000.0"}, {math.Copysign(0, -1), 1, "0.0"},
		{0.123456789012345678, 15, "0.123456789012345"},
	} {
		if got, ok := RoundDown(c.value, c.places); !ok || got != c.want {
			t.Errorf("RoundDown(%v, %d) = %q, %v; expected %q", c.value, c.places, got, ok, c.want)
		}
	}
}

// Against exact rational arithmetic: the rounded-down text is never above the
// value's shortest decimal, and one unit of the last place more is.
func TestRoundDownIsTheFloor(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20_000 {
		places := random.IntN(5)
		value := (random.Float64() - 0.5) * math.Pow(10, float64(random.IntN(9)-3))
		text, ok := RoundDown(value, places)
		got, parsed := new(big.Rat).SetString(text)
		exact, _ := new(big.Rat).SetString(strconv.FormatFloat(value, 'f', -1, 64))
		step := new(big.Rat).SetFrac64(1, int64(math.Pow10(places)))
		if !ok || !parsed || got.Cmp(exact) > 0 || new(big.Rat).Add(got, step).Cmp(exact) <= 0 {
			t.Fatalf("RoundDown(%v, %d) = %q, %v", value, places, text, ok)
		}
		if point := strings.IndexByte(text, '.'); places > 0 && len(text)-point-1 != places {
			t.Fatalf("RoundDown(%v, %d) = %q has other places", value, places, text)
		}
	}
}

// Against exact rational arithmetic: rounding is off by at most half a unit of
// the last place, and that place is the uncertainty's second digit.
func TestRoundToIsNearest(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 20_000 {
		value := (random.Float64() - 0.5) * math.Pow(10, float64(random.IntN(12)-4))
		u := random.Float64() * math.Pow(10, float64(random.IntN(12)-6))
		places, ok := Places(u)
		text, shown, ok2 := RoundTo(value, u)
		if !ok || !ok2 {
			t.Fatalf("RoundTo(%g, %g) refused", value, u)
		}
		digits := strings.TrimLeft(strings.Replace(shown, ".", "", 1), "0")
		if places >= 0 && len(digits) != 2 || places < 0 && strings.Trim(digits[2:], "0") != "" {
			t.Fatalf("u = %g is shown as %q, expected two significant digits", u, shown)
		}
		got, _ := new(big.Rat).SetString(text)
		half := new(big.Rat).SetFloat64(0.5)
		if places >= 0 {
			half.Quo(half, new(big.Rat).SetFloat64(math.Pow10(places)))
		} else {
			half.Mul(half, new(big.Rat).SetFloat64(math.Pow10(-places)))
		}
		off := new(big.Rat).Sub(got, new(big.Rat).SetFloat64(value))
		if off.Abs(off).Cmp(half) > 0 {
			t.Fatalf("RoundTo(%.17g, %g) = %q: more than half a unit of the last place off", value, u, text)
		}
	}
}
