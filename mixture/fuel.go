// Package mixture finds how rich an engine runs: lambda from a sensor or from the
// exhaust gas, the delays of either taken out, over engine speed and load, with an
// interval and with the change of fuel that would bring it to a target.
//
// It changes nothing on any vehicle: what it returns are figures.
package mixture

import (
	"errors"
	"fmt"
)

// Fuel is a fuel by its atoms: a mean molecule CHyOz.
type Fuel struct {
	HydrogenCarbon float64 // atoms of hydrogen for one of carbon
	OxygenCarbon   float64 // atoms of oxygen for one of carbon
}

// ErrFuel says that a composition is no motor fuel's.
var ErrFuel = errors.New("no motor fuel has this composition")

// Validate refuses a composition outside CH0.5 … CH4O: from heavy aromatics to methane
// and methanol.
func (f Fuel) Validate() error {
	if !(f.HydrogenCarbon >= 0.5 && f.HydrogenCarbon <= 4) {
		return fmt.Errorf("%w: %g atoms of hydrogen for one of carbon; they lie within 0.5 to 4", ErrFuel, f.HydrogenCarbon)
	}
	if !(f.OxygenCarbon >= 0 && f.OxygenCarbon <= 1) {
		return fmt.Errorf("%w: %g atoms of oxygen for one of carbon; they lie within 0 to 1", ErrFuel, f.OxygenCarbon)
	}
	return nil
}

// Molar masses in g/mol, and air as one mole of oxygen with 3.773 of atmospheric
// nitrogen of 28.16 g/mol, argon counted in it: [Heywood1988], section 3.2, from memory.
const (
	carbonMass   = 12.011
	hydrogenMass = 1.008
	oxygenMass   = 15.999
	nitrogenMole = 3.773
	nitrogenMass = 28.16
)

// demand is the moles of oxygen O2 that a mole of the fuel's carbon needs.
func (f Fuel) demand() float64 { return 1 + f.HydrogenCarbon/4 - f.OxygenCarbon/2 }

// StoichiometricRatio returns the mass of dry air that burns one mass of the fuel
// completely. An air/fuel ratio is lambda times this ratio, of this fuel and no other.
func (f Fuel) StoichiometricRatio() float64 {
	air := 2*oxygenMass + nitrogenMole*nitrogenMass
	fuel := carbonMass + hydrogenMass*f.HydrogenCarbon + oxygenMass*f.OxygenCarbon
	return f.demand() * air / fuel
}

// Blend returns the fuel that has the given mass fraction, 0 to 1, of the other one.
func (f Fuel) Blend(other Fuel, massFraction float64) (Fuel, error) {
	if !(massFraction >= 0 && massFraction <= 1) {
		return Fuel{}, fmt.Errorf("%w: a mass fraction of %g", ErrFuel, massFraction)
	}
	// Moles of carbon in a gram of either.
	a := (1 - massFraction) / (carbonMass + hydrogenMass*f.HydrogenCarbon + oxygenMass*f.OxygenCarbon)
	b := massFraction / (carbonMass + hydrogenMass*other.HydrogenCarbon + oxygenMass*other.OxygenCarbon)
	return Fuel{
		HydrogenCarbon: (a*f.HydrogenCarbon + b*other.HydrogenCarbon) / (a + b),
		OxygenCarbon:   (a*f.OxygenCarbon + b*other.OxygenCarbon) / (a + b),
	}, nil
}
