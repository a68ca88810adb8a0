package air

import (
	"errors"
	"math"
	"strings"
	"testing"

	"fairpull/quantity"
)

// Ferrel's psychrometer formula, evaluated elsewhere (FAO frost protection,
// appendix 3, equation 3.10).
func TestWetBulbFormula(t *testing.T) {
	const quantityName = "ventilated psychrometer, Ferrel/FAO/AMS form: e = es(tw) - 0.000660 (1+0.00115 tw) p (t-tw), es from CIPM formula"
	for _, r := range rows(t, quantityName) {
		s := state(t)(FromWetBulb(quantity.Pascal(r.in("p_Pa")), quantity.Celsius(r.in("t_C")), quantity.Celsius(r.in("tw_C"))))
		rh, err := s.RelativeHumidity()
		if err != nil {
			t.Fatal(err)
		}
		r.check(t, "e_Pa", float64(s.Vapour))
		r.check(t, "RH_pct", 100*rh)
	}
}

// ASHRAE Fundamentals 2017, chapter 1, example 1, read off a chart: relative
// humidity and dew point. Its humidity ratio (0.0065) is not asked for: the
// chart's wet bulb is the thermodynamic one, the psychrometer formula gives 0.0060.
func TestWetBulbHandbookExample(t *testing.T) {
	for _, r := range rows(t, "wet bulb -> humidity, handbook example") {
		s := state(t)(FromWetBulb(quantity.Pascal(r.in("p_Pa")), quantity.Celsius(r.in("t_C")), quantity.Celsius(r.in("tw_C"))))
		rh, err := s.RelativeHumidity()
		dew, err2 := s.DewPoint()
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		r.check(t, "RH", rh)
		r.check(t, "dew_C", dew.Celsius())
	}
}

// One state, four ways of saying its humidity.
func TestConstructorsAgree(t *testing.T) {
	for _, p := range []quantity.Pascal{60_000, 84_000, 101_325} {
		for _, c := range []float64{2, 15, 25, 38} {
			for _, rh := range []float64{0.1, 0.5, 0.9, 1} {
				s := state(t)(FromRelativeHumidity(p, quantity.Celsius(c), rh))
				dew, err := s.DewPoint()
				if err != nil {
					t.Fatal(err)
				}
				back := state(t)(FromDewPoint(p, s.Temperature, dew))
				again := state(t)(FromVapourPressure(p, s.Temperature, s.Vapour))
				got, err := back.RelativeHumidity()
				near(t, "relative humidity by dew point", got, rh, 1e-9)
				if err != nil || again != s || dew > s.Temperature+1e-9 {
					t.Errorf("at %v Pa, %g °C, %g: %v, %v, dew point %v, %v", p, c, rh, again, s, dew, err)
				}
				if got := float64(s.Dry() + s.Vapour); !(math.Abs(got-float64(p)) <= 1e-10) {
					t.Errorf("dry %v and vapour %v make %g Pa, not %v", s.Dry(), s.Vapour, got, p)
				}
			}
		}
	}
	// A wet bulb as warm as the air means saturation.
	s := state(t)(FromWetBulb(101_325, quantity.Celsius(18), quantity.Celsius(18)))
	rh, err := s.RelativeHumidity()
	near(t, "relative humidity with equal bulbs", rh, 1, 1e-12)
	if err != nil {
		t.Error(err)
	}
}

func TestConstructorsRefuse(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	c := quantity.Celsius
	type made struct {
		s   State
		err error
	}
	do := func(s State, err error) made { return made{s, err} }
	var outside *RangeError
	var wet *SaturationError
	for what, m := range map[string]struct {
		made
		target any
		says   string
	}{
		"kPa typed as Pa":           {do(FromRelativeHumidity(98.5, c(20), 0.5)), &outside, "station pressure"},
		"hPa typed as kPa":          {do(FromRelativeHumidity(985_000, c(20), 0.5)), &outside, "absolute"},
		"pressure not a number":     {do(FromRelativeHumidity(quantity.Pascal(nan), c(20), 0.5)), &outside, "station pressure"},
		"pressure infinite":         {do(FromVapourPressure(quantity.Pascal(inf), c(20), 500)), &outside, "station pressure"},
		"°C typed as K":             {do(FromRelativeHumidity(98_500, 20, 0.5)), &outside, "temperature"},
		"temperature not a number":  {do(FromRelativeHumidity(98_500, quantity.Kelvin(nan), 0.5)), &outside, "temperature"},
		"humidity in %":             {do(FromRelativeHumidity(98_500, c(20), 50)), &outside, "relative humidity"},
		"humidity below zero":       {do(FromRelativeHumidity(98_500, c(20), -0.01)), &outside, "relative humidity"},
		"humidity not a number":     {do(FromRelativeHumidity(98_500, c(20), nan)), &outside, "relative humidity"},
		"vapour below zero":         {do(FromVapourPressure(98_500, c(20), -1)), &outside, "vapour pressure"},
		"vapour not a number":       {do(FromVapourPressure(98_500, c(20), quantity.Pascal(nan))), &outside, "vapour pressure"},
		"more vapour than pressure": {do(FromVapourPressure(98_500, c(20), 99_000)), &outside, "vapour pressure"},
		"more than saturated":       {do(FromVapourPressure(98_500, c(20), 3_000)), &wet, "20.0 °C"},
		"dew point above the air":   {do(FromDewPoint(98_500, c(20), c(24))), &wet, "never above"},
		"dew point out of range":    {do(FromDewPoint(98_500, c(20), c(-60))), &outside, "dew point"},
		"wet bulb above the air":    {do(FromWetBulb(98_500, c(20), c(24))), &wet, "never above"},
		"wick frozen":               {do(FromWetBulb(98_500, c(5), c(-1))), &outside, "ice"},
		"wet bulb too cold":         {do(FromWetBulb(98_500, c(40), c(12))), &outside, "wet the wick"},
		"wet bulb not a number":     {do(FromWetBulb(98_500, c(20), quantity.Kelvin(nan))), &outside, "wet-bulb"},
		"wet bulb, bad pressure":    {do(FromWetBulb(0, c(20), c(15))), &outside, "station pressure"},
		"wet bulb, bad temperature": {do(FromWetBulb(98_500, quantity.Kelvin(inf), c(15))), &outside, "temperature"},
		"wet bulb beyond the range": {do(FromWetBulb(98_500, c(20), c(80))), &outside, "wet-bulb"},
	} {
		if !errors.As(m.err, m.target) || !strings.Contains(m.err.Error(), m.says) || m.s != (State{}) {
			t.Errorf("%s: %v, %v; expected a refusal that says %q", what, m.s, m.err, m.says)
		}
	}
}

// A hygrometer that reads 2 % high in fog is taken; the zero State and one
// changed by hand are refused by everything that computes.
func TestCheck(t *testing.T) {
	state(t)(FromRelativeHumidity(98_500, quantity.Celsius(20), 1.02))
	for _, s := range []State{
		{}, {Pressure: 98_500}, {Pressure: 98_500, Temperature: 293.15, Vapour: 5_000},
		{Pressure: quantity.Pascal(math.NaN()), Temperature: 293.15},
	} {
		_, rh := s.RelativeHumidity()
		_, dew := s.DewPoint()
		_, density := s.Density()
		_, altitude := s.DensityAltitude()
		for what, err := range map[string]error{
			"Check": s.Check(), "RelativeHumidity": rh, "DewPoint": dew, "Density": density, "DensityAltitude": altitude,
		} {
			if err == nil {
				t.Errorf("%s accepts %+v", what, s)
			}
		}
	}
	bone := state(t)(FromRelativeHumidity(98_500, quantity.Celsius(20), 0))
	var outside *RangeError
	if dew, err := bone.DewPoint(); !errors.As(err, &outside) {
		t.Errorf("the dew point of dry air is %v, %v; expected a *RangeError", dew, err)
	}
}
