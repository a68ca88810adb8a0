// Package air holds the state of moist air and its properties: vapour pressure,
// humidity, dew point, density, the standard atmosphere and station pressure.
package air

import "fairpull/quantity"

// State is moist air as the engine breathes it. The constructors return only
// states that Check accepts.
//
// Vapour is relative humidity times the saturation pressure of pure water, the
// convention of the power-correction standards: without the enhancement factor
// that air adds (about 0.4 % of the vapour pressure).
type State struct {
	Pressure    quantity.Pascal // station pressure: absolute, of the moist air
	Temperature quantity.Kelvin // of the intake air
	Vapour      quantity.Pascal // partial pressure of water vapour
}

// What an engine can be measured in. The lowest pressure is that of 5570 m in
// the standard atmosphere; the highest leaves room above the highest station
// pressures ever seen. A reading outside is a slip of unit or decimal mark.
const (
	LowestPressure     quantity.Pascal = 50_000
	HighestPressure    quantity.Pascal = 115_000
	LowestTemperature  quantity.Kelvin = 223.15 // −50 °C
	HighestTemperature quantity.Kelvin = 343.15 // 70 °C
)

// mostHumid is the relative humidity up to which a reading is taken as it is:
// good hygrometers read up to 2 % high in saturated air (common practice).
const mostHumid = 1.02

// FromRelativeHumidity returns the state of air at station pressure p,
// temperature t and relative humidity rh over liquid water, a fraction. It
// refuses what Check refuses, and rh outside 0 to 1.02 with a *RangeError.
func FromRelativeHumidity(p quantity.Pascal, t quantity.Kelvin, rh float64) (State, error) {
	if !(rh >= 0 && rh <= mostHumid) {
		return State{}, &RangeError{
			Quantity: "relative humidity", Value: 100 * rh, Min: 0, Max: 100 * mostHumid, Unit: "%",
			Cure: "write it in per cent of saturation",
		}
	}
	saturated, err := SaturationPressure(t)
	if err != nil {
		return State{}, err
	}
	return checked(p, t, quantity.Pascal(rh)*saturated)
}

// FromVapourPressure returns the state of air at station pressure p, temperature
// t and vapour pressure e. It refuses what Check refuses.
func FromVapourPressure(p quantity.Pascal, t quantity.Kelvin, e quantity.Pascal) (State, error) {
	return checked(p, t, e)
}

// FromDewPoint returns the state of air at station pressure p and temperature t
// whose dew point, over liquid water also below 0 °C, is dew. It refuses what
// Check refuses; a dew point above t by more than a reading's error ends in a
// *SaturationError.
func FromDewPoint(p quantity.Pascal, t, dew quantity.Kelvin) (State, error) {
	e, err := saturation("dew point", dew)
	if err != nil {
		return State{}, err
	}
	return checked(p, t, e)
}

// FromWetBulb returns the state of air at station pressure p and temperature t
// in which a ventilated psychrometer (sling or fan, at least 3 m/s over the
// bulbs) shows the wet-bulb temperature wet, by Ferrel's formula
//
//	e = es(t′) − 0.000 660·(1 + 0.001 15·t′)·p·(t − t′)
//
// with t′ the wet bulb and t the dry one in °C. A frozen wick (wet below 0 °C)
// is a *RangeError, and so is a wet bulb so low that no vapour is left; a wet
// bulb above t by more than a reading's error ends in a *SaturationError.
//
// A psychrometer reads a little above the thermodynamic wet-bulb temperature of
// charts and calculators: by 0.3 K in air of 40 °C with 20 °C at the wick.
//
// Source: FAO, Frost protection: fundamentals, practice and economics, vol. 1
// (2005), appendix 3, equation 3.10.
func FromWetBulb(p quantity.Pascal, t, wet quantity.Kelvin) (State, error) {
	if err := (State{Pressure: p, Temperature: t}).Check(); err != nil {
		return State{}, err
	}
	tw := wet.Celsius()
	if !(tw >= 0 && wet <= HighestTemperature) {
		return State{}, &RangeError{
			Quantity: "wet-bulb temperature", Value: tw, Min: 0, Max: HighestTemperature.Celsius(), Unit: "°C",
			Cure: "below freezing the wick is ice; give relative humidity or dew point",
		}
	}
	saturated, err := SaturationPressure(wet)
	if err != nil {
		return State{}, err
	}
	e := float64(saturated) - 0.000660*(1+0.00115*tw)*float64(p)*float64(t-wet)
	if e < 0 {
		return State{}, &RangeError{
			Quantity: "vapour pressure from this wet bulb", Value: e, Min: 0, Max: float64(saturated), Unit: "Pa",
			Cure: "the wet bulb is too cold for this air; wet the wick and read both bulbs again",
		}
	}
	return checked(p, t, quantity.Pascal(e))
}

// checked returns the state if it is a possible one.
func checked(p quantity.Pascal, t quantity.Kelvin, e quantity.Pascal) (State, error) {
	s := State{Pressure: p, Temperature: t, Vapour: e}
	if err := s.Check(); err != nil {
		return State{}, err
	}
	return s, nil
}

// Check returns nil for a possible state. A pressure, temperature or vapour
// pressure out of range, or not a number, is a *RangeError; more vapour than
// 1.02 times saturation is a *SaturationError.
func (s State) Check() error {
	if !(s.Pressure >= LowestPressure && s.Pressure <= HighestPressure) {
		return &RangeError{
			Quantity: "station pressure", Value: float64(s.Pressure) / 1000,
			Min: float64(LowestPressure) / 1000, Max: float64(HighestPressure) / 1000, Unit: "kPa",
			Cure: "check its unit, and that it is the absolute pressure on the spot",
		}
	}
	saturated, err := SaturationPressure(s.Temperature)
	if err != nil {
		return err
	}
	if !(s.Vapour >= 0 && s.Vapour < s.Pressure) {
		return &RangeError{
			Quantity: "vapour pressure", Value: float64(s.Vapour) / 1000,
			Min: 0, Max: float64(s.Pressure) / 1000, Unit: "kPa", Cure: "check its unit",
		}
	}
	if s.Vapour > mostHumid*saturated {
		return &SaturationError{Vapour: s.Vapour, Saturation: saturated, Temperature: s.Temperature}
	}
	return nil
}

// Dry returns the pressure of the air without its water vapour.
func (s State) Dry() quantity.Pascal { return s.Pressure - s.Vapour }

// RelativeHumidity returns the relative humidity over liquid water, a fraction.
// It refuses what Check refuses.
func (s State) RelativeHumidity() (float64, error) {
	if err := s.Check(); err != nil {
		return 0, err
	}
	saturated, err := SaturationPressure(s.Temperature)
	return float64(s.Vapour / saturated), err
}

// DewPoint returns the temperature at which the vapour would be saturated over
// liquid water. Air so dry that this lies below −50 °C has none here: a
// *RangeError. It refuses what Check refuses.
func (s State) DewPoint() (quantity.Kelvin, error) {
	if err := s.Check(); err != nil {
		return 0, err
	}
	return saturationTemperature(s.Vapour)
}
