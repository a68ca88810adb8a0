package lab

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"fairpull/air"
	"fairpull/correction"
	"fairpull/quantity"
	"fairpull/report"
)

// AirReadings are readings of the air as a person writes them, each a number
// with its unit: "29.4 inHg". Empty: not read.
type AirReadings struct {
	Pressure    string // station pressure
	Altimeter   string // altimeter setting, with Elevation
	Elevation   string // of the site; with Pressure, to see whether that fits
	Temperature string

	// One of these says how moist the air is.
	Humidity, WetBulb, DewPoint, Vapour string
}

// ReadingError says which reading is at fault.
type ReadingError struct {
	Reading string
	Err     error
}

func (e *ReadingError) Error() string { return e.Reading + ": " + e.Err.Error() }
func (e *ReadingError) Unwrap() error { return e.Err }

// Air turns readings into the state of the air and every standard's factor.
func Air(r AirReadings) (*report.Air, error) {
	pressure, how, err := stationPressure(r)
	if err != nil {
		return nil, err
	}
	temperature, err := reading("temperature", r.Temperature, quantity.Temperature)
	if err != nil {
		return nil, err
	}
	state, moist, err := moisture(r, quantity.Pascal(pressure), quantity.Kelvin(temperature))
	if err != nil {
		return nil, err
	}
	out, err := describeAir(state, append(how, moist...))
	if err != nil {
		return nil, err
	}
	if r.Pressure != "" && r.Elevation != "" {
		out.Site, err = airSite(r.Elevation)
	}
	return out, err
}

// airSite returns what the air at a site of that elevation is held against.
func airSite(text string) (*report.AirSite, error) {
	elevation, err := reading("elevation", text, quantity.Length)
	if err != nil {
		return nil, err
	}
	standard, err := air.StandardPressure(quantity.Metre(elevation))
	if err != nil {
		return nil, &ReadingError{"elevation", err}
	}
	return &report.AirSite{Elevation: elevation, Standard: float64(standard), Excess: DefaultLimits().PressureExcess}, nil
}

func stationPressure(r AirReadings) (float64, []string, error) {
	switch {
	case r.Pressure != "" && r.Altimeter != "":
		return 0, nil, errors.New("give the station pressure or the altimeter setting, not both")
	case r.Pressure != "":
		p, err := reading("pressure", r.Pressure, quantity.Pressure)
		return p, nil, err
	case r.Altimeter == "":
		return 0, nil, errors.New("no pressure given: the station pressure, or the altimeter setting and the elevation")
	case r.Elevation == "":
		return 0, nil, errors.New("an altimeter setting needs the elevation of the site")
	}
	setting, err := reading("altimeter", r.Altimeter, quantity.Pressure)
	if err != nil {
		return 0, nil, err
	}
	elevation, err := reading("elevation", r.Elevation, quantity.Length)
	if err != nil {
		return 0, nil, err
	}
	p, err := air.StationPressure(quantity.Pascal(setting), quantity.Metre(elevation))
	return float64(p), []string{"Station pressure from the altimeter setting by the Smithsonian form."}, err
}

func moisture(r AirReadings, p quantity.Pascal, t quantity.Kelvin) (air.State, []string, error) {
	given := []struct {
		name, text string
		dimension  quantity.Dimension
		state      func(v float64) (air.State, error)
		how        string
	}{
		{"humidity", r.Humidity, quantity.Ratio, func(v float64) (air.State, error) { return air.FromRelativeHumidity(p, t, v) }, ""},
		{"wet-bulb", r.WetBulb, quantity.Temperature, func(v float64) (air.State, error) { return air.FromWetBulb(p, t, quantity.Kelvin(v)) }, "Vapour pressure from the wet bulb by Ferrel's formula, for a ventilated psychrometer."},
		{"dew-point", r.DewPoint, quantity.Temperature, func(v float64) (air.State, error) { return air.FromDewPoint(p, t, quantity.Kelvin(v)) }, ""},
		{"vapour-pressure", r.Vapour, quantity.Pressure, func(v float64) (air.State, error) { return air.FromVapourPressure(p, t, quantity.Pascal(v)) }, ""},
	}
	var state air.State
	var how []string
	found := 0
	for _, g := range given {
		if g.text == "" {
			continue
		}
		found++
		v, err := reading(g.name, g.text, g.dimension)
		if err != nil {
			return state, nil, err
		}
		if state, err = g.state(v); err != nil {
			return state, nil, err
		}
		if g.how != "" {
			how = append(how, g.how)
		}
	}
	if found != 1 {
		return state, nil, fmt.Errorf("%d readings of humidity given: give one of relative humidity, wet bulb, dew point, vapour pressure", found)
	}
	return state, append(how, "Saturation pressure by the CIPM formula (Davis 1992), density by CIPM-2007, density altitude by the US Standard Atmosphere 1976."), nil
}

// reading parses "29.4 inHg" into SI. A bare number is refused: it has no unit.
func reading(name, text string, d quantity.Dimension) (float64, error) {
	text = strings.TrimSpace(text)
	end := strings.LastIndexAny(text, "0123456789.")
	number, unitName := text[:end+1], strings.TrimSpace(text[end+1:])
	v, err := strconv.ParseFloat(number, 64)
	switch {
	case text == "":
		return 0, &ReadingError{name, errors.New("not given")}
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
		return 0, &ReadingError{name, fmt.Errorf("%.40q is not a number with a unit, as in %q", text, example(d))}
	case unitName == "":
		return 0, &ReadingError{name, fmt.Errorf("%.40q has no unit: write it as in %q", text, example(d))}
	}
	unit, err := quantity.LookupFor(unitName, d)
	if err != nil {
		return 0, &ReadingError{name, err}
	}
	return unit.SI(v), nil
}

func example(d quantity.Dimension) string {
	switch d {
	case quantity.Pressure:
		return "98.2 kPa"
	case quantity.Temperature:
		return "24 °C"
	case quantity.Length:
		return "210 m"
	}
	return "45 %"
}

func describeAir(s air.State, how []string) (*report.Air, error) {
	out := &report.Air{
		Pressure: float64(s.Pressure), Temperature: float64(s.Temperature), Vapour: float64(s.Vapour),
		Dry: float64(s.Dry()), DewPoint: math.NaN(), How: how,
	}
	saturation, err := air.SaturationPressure(s.Temperature)
	if err != nil {
		return nil, err
	}
	out.Saturation = float64(saturation)
	if out.RelativeHumidity, err = s.RelativeHumidity(); err != nil {
		return nil, err
	}
	if dew, err := s.DewPoint(); err == nil { // very dry air has none
		out.DewPoint = float64(dew)
	}
	density, err := s.Density()
	if err != nil {
		return nil, err
	}
	altitude, err := s.DensityAltitude()
	if err != nil {
		return nil, err
	}
	out.Density, out.DensityAltitude = float64(density), float64(altitude)
	for _, standard := range correction.All() {
		factor, err := standard.Factor(s)
		if err != nil {
			return nil, err
		}
		out.Factors = append(out.Factors, report.AirFactor{Standard: standard, Factor: factor, Outside: standard.Outside(factor, s)})
	}
	return out, nil
}
