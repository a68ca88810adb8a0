package simulate

import "math"

// fuelAtoms is a fuel CHyOz.
type fuelAtoms struct{ hydrogen, oxygen float64 }

// waterGas is the constant of CO·H2O = K·CO2·H2 at which the gas of a rich engine
// freezes: Brettschneider, Bosch Technische Berichte 6 (1979), takes 3.5.
const waterGas = 3.5

// airNitrogen is the moles of atmospheric nitrogen beside one of oxygen in air.
const airNitrogen = 3.773

// exhaust is the dry exhaust gas in mole fractions; HC counted as hexane.
type exhaust struct{ co, co2, hc, o2 float64 }

// burn returns the dry gas that the fuel leaves at lambda, by conservation of atoms, with
// the mole fraction hc (as hexane) of it unburnt fuel. For one atom of carbon that burns,
// lean gas holds oxygen and neither CO nor hydrogen; rich gas is in water-gas equilibrium
// and holds no oxygen:
//
//	CO = x, CO2 = 1 − x, H2O = o − 2 + x, H2 = y/2 − o + 2 − x
//
// with o atoms of oxygen, so that x is the root between 0 and 1 of
// (1 − K)·x² + (o − 2 + K·(1 + h))·x − K·h = 0, h = y/2 − o + 2.
func (f fuelAtoms) burn(lambda, hc float64) exhaust {
	demand := 1 + f.hydrogen/4 - f.oxygen/2
	nitrogen := airNitrogen * lambda * demand
	g, unburnt := exhaust{}, 0.0
	for range 4 { // the unburnt part follows from the whole, which it hardly moves
		burnt := 1 - unburnt
		atoms := 2*lambda*demand/burnt + f.oxygen
		hydrogen, left, x := 0.0, (atoms-2-f.hydrogen/2)/2, 0.0
		if left < 0 {
			h := f.hydrogen/2 - atoms + 2
			a, b, c := 1-waterGas, atoms-2+waterGas*(1+h), -waterGas*h
			x = (-b + math.Sqrt(b*b-4*a*c)) / (2 * a)
			hydrogen, left = h-x, 0
		}
		total := burnt*(1+hydrogen+left) + nitrogen + unburnt/6
		g = exhaust{co: burnt * x / total, co2: burnt * (1 - x) / total, hc: unburnt / 6 / total, o2: burnt * left / total}
		unburnt = 6 * hc * total
	}
	return g
}
