// Package quantity gives units as types, the units of the field by name, and
// the display of a value in the units a person chose.
package quantity

// Scalars that people fill in. Long series are []float64 in SI.
type (
	Pascal                float64
	Kelvin                float64
	Metre                 float64
	Kilogram              float64
	KilogramSquareMetre   float64
	KilogramPerCubicMetre float64
)

// Celsius returns the absolute temperature of t degrees Celsius.
func Celsius(t float64) Kelvin { return Kelvin(t + celsiusZero) }

// Celsius returns the temperature in degrees Celsius.
func (k Kelvin) Celsius() float64 { return float64(k) - celsiusZero }
