package campaign

import (
	"errors"
	"fmt"
	"strings"

	"fairpull/air"
)

// ErrNoWeather says that the air of a pull is not known, or not all of it.
var ErrNoWeather = errors.New("the air is not known")

// ErrTwoHumidities says that a pull gives its humidity in more than one way.
var ErrTwoHumidities = errors.New("the humidity is given twice: leave one of relative_humidity_pct, vapour_pressure_kpa and wet_bulb_degc")

// State returns the state of the air: station pressure, temperature and vapour
// pressure.
//
// Where a part is missing the error wraps [ErrNoWeather] and names it; two
// humidities are [ErrTwoHumidities]; impossible air is an error of package air.
func (w Weather) State() (air.State, error) {
	if w.humidities() > 1 {
		return air.State{}, ErrTwoHumidities
	}
	if missing := w.missing(); len(missing) > 0 {
		return air.State{}, fmt.Errorf("%w: no %s", ErrNoWeather, strings.Join(missing, ", no "))
	}
	switch {
	case w.RelativeHumidity != nil:
		return air.FromRelativeHumidity(*w.Pressure, *w.Temperature, *w.RelativeHumidity)
	case w.VapourPressure != nil:
		return air.FromVapourPressure(*w.Pressure, *w.Temperature, *w.VapourPressure)
	}
	return air.FromWetBulb(*w.Pressure, *w.Temperature, *w.WetBulb)
}

// missing names the columns of pulls.csv that would make the weather whole.
func (w Weather) missing() []string {
	var missing []string
	if w.Pressure == nil {
		missing = append(missing, "pressure_kpa")
	}
	if w.Temperature == nil {
		missing = append(missing, "temperature_degc")
	}
	if w.humidities() == 0 {
		missing = append(missing, "relative_humidity_pct (or vapour_pressure_kpa, or wet_bulb_degc)")
	}
	return missing
}

func (w Weather) humidities() int {
	n := 0
	for _, given := range []bool{w.RelativeHumidity != nil, w.VapourPressure != nil, w.WetBulb != nil} {
		if given {
			n++
		}
	}
	return n
}
