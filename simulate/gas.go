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

// burn returns the dry gas that the fuel leaves at lambda, by conservation of atoms for
// one atom of carbon. Lean gas holds oxygen and neither CO nor hydrogen; rich gas is in
// water-gas equilibrium and holds no oxygen:
//
//	CO = x, CO2 = 1 − x, H2O = o − 2 + x, H2 = y/2 − o + 2 − x
//
// with o atoms of oxygen, so that x is the root between 0 and 1 of
// (1 − K)·x² + (o − 2 + K·(1 + h))·x − K·h = 0, h = y/2 − o + 2. A little of the gas is
// unburnt fuel, drawn off after the balance: it is too little to move it.
func (f fuelAtoms) burn(lambda, hc float64) exhaust {
	demand := 1 + f.hydrogen/4 - f.oxygen/2
	atoms := 2*lambda*demand + f.oxygen
	nitrogen := airNitrogen * lambda * demand
	if left := (atoms - 2 - f.hydrogen/2) / 2; left >= 0 {
		total := 1 + left + nitrogen
		return exhaust{co2: 1 / total, o2: left / total, hc: hc}
	}
	h := f.hydrogen/2 - atoms + 2
	a, b, c := 1-waterGas, atoms-2+waterGas*(1+h), -waterGas*h
	x := (-b + math.Sqrt(b*b-4*a*c)) / (2 * a)
	hydrogen := h - x
	total := 1 + hydrogen + nitrogen
	return exhaust{co: x / total, co2: (1 - x) / total, hc: hc}
}
