package air

import (
	"fmt"

	"fairpull/quantity"
)

// RangeError says that an input lies outside the range in which a result could
// stand. Value, Min and Max are in Unit, as a person would read them.
type RangeError struct {
	Quantity        string
	Value, Min, Max float64
	Unit            string
	Cure            string // what to do
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %.6g %s is outside %.4g to %.4g %s: %s",
		e.Quantity, e.Value, e.Unit, e.Min, e.Max, e.Unit, e.Cure)
}

// SaturationError says that there is more vapour than air at this temperature
// can hold.
type SaturationError struct {
	Vapour, Saturation quantity.Pascal
	Temperature        quantity.Kelvin
}

func (e *SaturationError) Error() string {
	return fmt.Sprintf("a vapour pressure of %.4g kPa is more than air at %.1f °C holds, %.4g kPa: "+
		"check humidity and temperature; dew point and wet bulb are never above the air's temperature",
		float64(e.Vapour)/1000, e.Temperature.Celsius(), float64(e.Saturation)/1000)
}
