package quantity

import "fmt"

// System is the set of units that a person chose to read. Stored data stay SI.
// The zero value is not a system: every method on it answers as [SI].
type System int

// The systems.
const (
	SI          System = iota + 1 // N·m, kW, km/h, °C, kPa
	USCustomary                   // lbf·ft, hp, mph, °F, inHg
)

// ParseSystem returns the system named "si" or "us".
func ParseSystem(name string) (System, error) {
	switch name {
	case "si":
		return SI, nil
	case "us":
		return USCustomary, nil
	}
	return 0, fmt.Errorf("system of units %s is not known: write si or us", quoted(name))
}

// String returns the name that ParseSystem takes.
func (s System) String() string {
	if s == USCustomary {
		return "us"
	}
	return "si"
}

// shown is the unit of each dimension in the two systems. Engine speed is in
// rpm and a ratio in per cent in both.
var shown = map[Dimension][2]Unit{
	Ratio: {percent, percent}, Lambda: {unit("", Lambda, 1), unit("", Lambda, 1)},
	AirFuelRatio: {unit("", AirFuelRatio, 1), unit("", AirFuelRatio, 1)},
	Time:         {second, second}, Length: {metre, feet}, Speed: {kmPerHour, milePerHour},
	Acceleration: {metrePerS2, footPerS2}, Angle: {degree, degree},
	RotationalSpeed: {turnPerMinute, turnPerMinute}, Frequency: {hertz, hertz},
	Mass: {kilogram, poundMass}, Density: {kgPerM3, lbPerFt3}, Inertia: {kgM2, lbFt2},
	Force: {newton, poundF}, Torque: {newtonMetre, poundFoot}, Power: {kilowatt, mechanicalHP},
	Pressure: {kilopascal, inchMercury}, Temperature: {degCelsius, degFahrenheit},
	Voltage: {volt, volt}, Current: {ampere, ampere},
}

// Unit returns the unit that a value of dimension d is shown in: its Name is the
// label (empty for lambda and air/fuel ratio), its From converts from SI. For a
// dimension that does not exist it returns the zero Unit.
func (s System) Unit(d Dimension) Unit {
	if s == USCustomary {
		return shown[d][1]
	}
	return shown[d][0]
}

// TyrePressure returns the unit for tyre pressure: kPa, or psi where a station
// pressure is in inHg.
func (s System) TyrePressure() Unit {
	if s == USCustomary {
		return poundInch2
	}
	return kilopascal
}
