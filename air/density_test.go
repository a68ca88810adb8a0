package air

import (
	"errors"
	"math"
	"testing"

	"fairpull/quantity"
)

// CIPM-2007 evaluated elsewhere (Picard et al. 2008); mole fraction of vapour and
// compressibility come with it in the rows and are inside the density.
func TestDensity(t *testing.T) {
	for _, r := range rows(t, "CIPM-2007 moist air density (xCO2 = 400 ppm)") {
		s := state(t)(FromRelativeHumidity(quantity.Pascal(r.in("p_Pa")), quantity.Celsius(r.in("t_C")), r.in("RH")))
		rho, err := s.Density()
		if err != nil {
			t.Fatal(err)
		}
		r.check(t, "rho", float64(rho))
	}
}

// An independent program's figures for the three moist rows at 20, 30 and 35 °C,
// as the note of those rows gives them (IAPWS humid air): agreement within 2e-5.
func TestDensityAgainstIAPWS(t *testing.T) {
	for _, c := range []struct {
		p       quantity.Pascal
		t, rh   float64
		density float64
	}{{101_325, 20, 0.5, 1.199333}, {95_000, 30, 0.6, 1.080971}, {101_325, 35, 0.8, 1.126627}} {
		rho, err := state(t)(FromRelativeHumidity(c.p, quantity.Celsius(c.t), c.rh)).Density()
		if err != nil {
			t.Fatal(err)
		}
		near(t, name("density at ", c.t, " °C"), float64(rho)/c.density, 1, 2e-5)
	}
}

// Over the whole range of Check the density stays within 0.2 % of a mixture of
// ideal gases (closed form; molar masses 28.96546 and 18.01528 g/mol), so that
// nothing runs away where the equation is extrapolated.
func TestDensityNearIdealGas(t *testing.T) {
	for p := LowestPressure; p <= HighestPressure; p += 5_000 {
		for c := -50.0; c <= 70; c += 10 {
			for _, rh := range []float64{0, 0.5, 1} {
				s := state(t)(FromRelativeHumidity(p, quantity.Celsius(c), rh))
				rho, err := s.Density()
				if err != nil {
					t.Fatal(err)
				}
				ideal := (28.96546e-3*float64(s.Dry()) + 18.01528e-3*float64(s.Vapour)) / (8.314462618 * float64(s.Temperature))
				near(t, name("density over ideal gas at ", s), float64(rho)/ideal, 1, 0.002)
			}
		}
	}
}

// Moist, warm and thin air is lighter.
func TestDensityDirections(t *testing.T) {
	base, err := state(t)(FromRelativeHumidity(98_500, quantity.Celsius(22), 0.4)).Density()
	if err != nil {
		t.Fatal(err)
	}
	for what, s := range map[string]State{
		"more humid": state(t)(FromRelativeHumidity(98_500, quantity.Celsius(22), 0.8)),
		"warmer":     state(t)(FromRelativeHumidity(98_500, quantity.Celsius(30), 0.4)),
		"higher up":  state(t)(FromRelativeHumidity(90_000, quantity.Celsius(22), 0.4)),
	} {
		if rho, err := s.Density(); err != nil || rho >= base {
			t.Errorf("%s: %v kg/m³, %v; expected less than %v", what, rho, err, base)
		}
	}
}

// Handbook table (ASHRAE Fundamentals 2017, from NASA 1976), and the formula
// evaluated elsewhere.
func TestStandardPressure(t *testing.T) {
	at := func(h float64) float64 {
		p, err := StandardPressure(quantity.Metre(h))
		if err != nil {
			t.Fatal(err)
		}
		return float64(p)
	}
	for _, r := range rows(t, "standard atmosphere pressure, handbook table (geopotential altitude)") {
		r.check(t, "p", at(r.in("H_m")))
	}
	for _, r := range rows(t, "US Standard Atmosphere 1976 pressure") {
		r.check(t, "as_geopotential_H", at(r.in("h_m")))
	}
	if p := at(0); p != 101_325 {
		t.Errorf("at sea level %v Pa, expected 101325 by definition", p)
	}
	for h := -5000.0; h <= 11000; h += 100 {
		back, err := StandardHeight(quantity.Pascal(at(h)))
		if err != nil {
			t.Fatal(err)
		}
		near(t, name("height ", h), float64(back), h, 1e-8)
	}
	var outside *RangeError
	for _, h := range []quantity.Metre{-5001, 11001, quantity.Metre(math.NaN())} {
		if p, err := StandardPressure(h); !errors.As(err, &outside) {
			t.Errorf("StandardPressure(%v m) = %v, %v; expected a *RangeError", h, p, err)
		}
	}
	for _, p := range []quantity.Pascal{0, 22_600, 178_000, quantity.Pascal(math.NaN())} {
		if h, err := StandardHeight(p); !errors.As(err, &outside) {
			t.Errorf("StandardHeight(%v Pa) = %v, %v; expected a *RangeError", p, h, err)
		}
	}
}

func TestStationPressure(t *testing.T) {
	for _, r := range rows(t, "altimeter setting -> station pressure (Smithsonian; n=0.190284, T0=288)") {
		p, err := StationPressure(quantity.Pascal(100*r.in("A_hPa")), quantity.Metre(r.in("H_m")))
		if err != nil {
			t.Fatal(err)
		}
		r.check(t, "without_0p3", float64(p)/100)
	}
	if p, err := StationPressure(101_800, 0); err != nil || !(math.Abs(float64(p)-101_800) <= 1e-6) {
		t.Errorf("at sea level the station pressure is %v, %v; expected the altimeter setting", p, err)
	}
	// By definition of the altimeter setting, the standard one at any elevation
	// means the standard pressure there: with the rounded constants (288 K for
	// 288.15 K), within 0.06 % of the fall from sea level.
	for _, h := range []quantity.Metre{100, 500, 1500} {
		p, err := StationPressure(101_325, h)
		standard, err2 := StandardPressure(h)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		near(t, name("standard altimeter setting at ", h, " m"), float64(p), float64(standard), 6e-4*float64(101_325-standard))
	}
	var outside *RangeError
	for _, c := range []struct {
		a quantity.Pascal
		h quantity.Metre
	}{{1013, 300}, {120_000, 300}, {101_325, -600}, {101_325, 6000}, {quantity.Pascal(math.NaN()), 0}, {101_325, quantity.Metre(math.NaN())}} {
		if p, err := StationPressure(c.a, c.h); !errors.As(err, &outside) {
			t.Errorf("StationPressure(%v, %v) = %v, %v; expected a *RangeError", c.a, c.h, p, err)
		}
	}
}

// In the dry standard atmosphere the density altitude is the height itself, but
// for the 0.03 to 0.04 % by which a real gas is denser (Z of CIPM-2007): 3 to 5 m.
func TestDensityAltitude(t *testing.T) {
	for h := 0.0; h <= 4000; h += 500 {
		p, err := StandardPressure(quantity.Metre(h))
		if err != nil {
			t.Fatal(err)
		}
		s := state(t)(FromVapourPressure(p, quantity.Kelvin(288.15-0.0065*h), 0))
		got, err := s.DensityAltitude()
		if off := h - float64(got); err != nil || !(off > 0 && off <= 5) {
			t.Errorf("standard air at %g m: density altitude %.2f m, %v", h, got, err)
		}
	}
	warm := state(t)(FromRelativeHumidity(101_325, quantity.Celsius(35), 0.8))
	if got, err := warm.DensityAltitude(); err != nil || got < 500 {
		t.Errorf("hot moist air at sea level has the density altitude %v m, %v; expected well above 0", got, err)
	}
}
