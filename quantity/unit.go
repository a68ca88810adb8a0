package quantity

import "slices"

// Dimension is the kind of quantity that a unit measures. It is finer than the
// dimension of physics where a mix-up would hurt: an engine speed is not a
// frequency, an air/fuel ratio is not a lambda. The zero value is no dimension.
type Dimension int

// The dimensions, with the SI unit that a value of each is kept in.
const (
	Ratio           Dimension = iota + 1 // 1
	Lambda                               // 1, air over stoichiometric air
	AirFuelRatio                         // 1, mass of air over mass of fuel
	Time                                 // s
	Length                               // m
	Speed                                // m/s
	Acceleration                         // m/s²
	Angle                                // rad
	RotationalSpeed                      // rad/s
	Frequency                            // Hz
	Mass                                 // kg
	Density                              // kg/m³
	Inertia                              // kg·m²
	Force                                // N
	Torque                               // N·m
	Power                                // W
	Pressure                             // Pa
	Temperature                          // K
	Voltage                              // V
	Current                              // A
)

var dimensionNames = [...]string{
	Ratio: "ratio", Lambda: "lambda", AirFuelRatio: "air/fuel ratio", Time: "time", Length: "length",
	Speed: "speed", Acceleration: "acceleration", Angle: "angle", RotationalSpeed: "rotational speed",
	Frequency: "frequency", Mass: "mass", Density: "density", Inertia: "moment of inertia", Force: "force",
	Torque: "torque", Power: "power", Pressure: "pressure", Temperature: "temperature",
	Voltage: "voltage", Current: "current",
}

// String returns the dimension in words, as error messages use it.
func (d Dimension) String() string {
	if d < 1 || int(d) >= len(dimensionNames) {
		return "no dimension"
	}
	return dimensionNames[d]
}

// Unit is one unit of measurement: the SI value of a reading v is
// v·Scale + Offset. Offset is zero for all units but those of temperature.
// The zero value is no unit.
type Unit struct {
	Name      string // as shown beside a figure: "N·m"
	Dimension Dimension
	Scale     float64
	Offset    float64
}

// SI returns the reading v of this unit in the SI unit of its dimension.
func (u Unit) SI(v float64) float64 { return v*u.Scale + u.Offset }

// From returns the SI value si as a reading of this unit: the inverse of SI.
func (u Unit) From(si float64) float64 { return (si - u.Offset) / u.Scale }

// SIDifference returns the difference dv of two readings in the SI unit of the
// dimension: no offset is added, so 9 °F is 5 K.
func (u Unit) SIDifference(dv float64) float64 { return dv * u.Scale }

// FromDifference returns the SI difference d as a difference of two readings:
// the inverse of SIDifference. A standard uncertainty is such a difference.
func (u Unit) FromDifference(d float64) float64 { return d / u.Scale }

// Units returns the known units of dimension d, the SI unit first; nil for a
// dimension that does not exist.
func Units(d Dimension) []Unit {
	var units []Unit
	for _, e := range table {
		if e.unit.Dimension == d {
			units = append(units, e.unit)
		}
	}
	slices.SortStableFunc(units, func(a, b Unit) int {
		return rank(a) - rank(b)
	})
	return units
}

// rank puts the SI unit before the others.
func rank(u Unit) int {
	if u.Scale == 1 && u.Offset == 0 {
		return 0
	}
	return 1
}
