package quantity

import "math"

// Exact definitions, from NIST SP 811 (2008), appendix B, where they are set in
// bold, and BIPM, The International System of Units, 9th edition (2019).
const (
	celsiusZero     = 273.15                   // K at 0 °C
	fahrenheitScale = 5.0 / 9                  // K per °F
	fahrenheitZero  = 459.67 * fahrenheitScale // K at 0 °F
	foot            = 0.3048                   // m
	inch            = 0.0254                   // m
	mile            = 1609.344                 // m
	pound           = 0.45359237               // kg
	gravity         = 9.80665                  // m/s², standard gravity
	poundForce      = pound * gravity          // N
	horsepower      = 550 * foot * poundForce  // W, mechanical
	metricHorse     = 75 * gravity             // W
	atmosphere      = 101325.0                 // Pa
	perMinute       = 2 * math.Pi / 60         // rad/s per 1/min
)

// Columns of liquid, NIST SP 811 (2008), appendix B.8. In the conventional ones
// mercury has the density 13 595.1 kg/m³ and water 1000 kg/m³. Figures in Pa are
// as printed there; that of the conventional inch is 1e-7 above 25.4 mmHg.
const (
	mercury   = 13595.1 * gravity // Pa per metre of column
	water     = 1000 * gravity    // Pa per metre of column
	inHgConv  = 3386.389          // Pa
	inHgAt32F = 3386.38           // Pa
	inHgAt60F = 3376.85           // Pa
	inWat60F  = 248.84            // Pa
)

// entry is one unit and its spellings in the normal form of normalise: those of
// fold in lower case, for any case; those of exact only as they stand.
type entry struct {
	unit  Unit
	fold  []string
	exact []string
}

// unit makes a unit without an offset.
func unit(name string, d Dimension, scale float64) Unit {
	return Unit{Name: name, Dimension: d, Scale: scale}
}

// Units that the systems of display and the ambiguous spellings name.
var (
	one           = unit("1", Ratio, 1)
	percent       = unit("%", Ratio, 0.01)
	lambda        = unit("lambda", Lambda, 1)
	airFuel       = unit("AFR", AirFuelRatio, 1)
	second        = unit("s", Time, 1)
	metre         = unit("m", Length, 1)
	kilometre     = unit("km", Length, 1000)
	feet          = unit("ft", Length, foot)
	kmPerHour     = unit("km/h", Speed, 1/3.6)
	milePerHour   = unit("mph", Speed, mile/3600)
	metrePerS2    = unit("m/s²", Acceleration, 1)
	footPerS2     = unit("ft/s²", Acceleration, foot)
	standardG     = unit("gn", Acceleration, gravity)
	degree        = unit("°", Angle, math.Pi/180)
	radPerSecond  = unit("rad/s", RotationalSpeed, 1)
	turnPerMinute = unit("rpm", RotationalSpeed, perMinute)
	turnPerSecond = unit("rps", RotationalSpeed, 2*math.Pi)
	hertz         = unit("Hz", Frequency, 1)
	kilogram      = unit("kg", Mass, 1)
	gram          = unit("g", Mass, 1e-3)
	poundMass     = unit("lb", Mass, pound)
	kgPerM3       = unit("kg/m³", Density, 1)
	lbPerFt3      = unit("lb/ft³", Density, pound/(foot*foot*foot))
	kgM2          = unit("kg·m²", Inertia, 1)
	lbFt2         = unit("lb·ft²", Inertia, pound*foot*foot)
	newton        = unit("N", Force, 1)
	poundF        = unit("lbf", Force, poundForce)
	newtonMetre   = unit("N·m", Torque, 1)
	poundFoot     = unit("lbf·ft", Torque, poundForce*foot)
	kilowatt      = unit("kW", Power, 1e3)
	mechanicalHP  = unit("hp", Power, horsepower)
	metricHP      = unit("PS", Power, metricHorse)
	kilopascal    = unit("kPa", Pressure, 1e3)
	inchMercury   = unit("inHg", Pressure, inHgConv)
	inchWater     = unit("inH2O(conv)", Pressure, water*inch)
	inchWater60F  = unit("inH2O(60F)", Pressure, inWat60F)
	poundInch2    = unit("psi", Pressure, poundForce/(inch*inch))
	degCelsius    = Unit{"°C", Temperature, 1, celsiusZero}
	degFahrenheit = Unit{"°F", Temperature, fahrenheitScale, fahrenheitZero}
	volt          = unit("V", Voltage, 1)
	ampere        = unit("A", Current, 1)
)

// table holds every unit that the program reads.
var table = []entry{
	{one, []string{"1", "-", "fraction", "ratio"}, nil},
	{percent, []string{"%", "pct", "percent", "%rh", "%*rh", "%vol", "%*vol", "vol%", "vol*%"}, nil},
	{unit("ppm", Ratio, 1e-6), []string{"ppm"}, nil},
	{lambda, []string{"lambda", "λ"}, nil},
	{airFuel, []string{"afr", "a/f", ":1"}, nil},

	{second, []string{"sec", "secs", "second", "seconds"}, []string{"s"}},
	{unit("ms", Time, 1e-3), []string{"ms", "msec", "millisecond", "milliseconds"}, nil},
	{unit("µs", Time, 1e-6), []string{"usec", "microsecond", "microseconds"}, []string{"us"}},
	{unit("ns", Time, 1e-9), []string{"nsec"}, []string{"ns"}},
	{unit("min", Time, 60), []string{"min", "mins", "minute", "minutes"}, nil},
	{unit("h", Time, 3600), []string{"hr", "hrs", "hour", "hours"}, []string{"h"}},

	{metre, []string{"metre", "metres", "meter", "meters"}, []string{"m"}},
	{unit("mm", Length, 1e-3), nil, []string{"mm"}},
	{unit("cm", Length, 1e-2), []string{"cm"}, nil},
	{kilometre, nil, []string{"km", "Km"}},
	{unit("in", Length, inch), []string{"in", "inch", "inches"}, nil},
	{feet, []string{"ft", "foot", "feet"}, nil},
	{unit("mi", Length, mile), []string{"mi", "mile", "miles"}, nil},

	{unit("m/s", Speed, 1), []string{"m/s", "m/sec", "m*s-1"}, nil},
	{kmPerHour, []string{"km/h", "km/hr", "kph", "kmh", "kmph", "km*h-1"}, nil},
	{milePerHour, []string{"mph", "mi/h", "mi/hr", "miles/h"}, nil},
	{unit("ft/s", Speed, foot), []string{"ft/s", "ft/sec", "ft*s-1"}, nil},

	{metrePerS2, []string{"m/s2", "m*s-2"}, nil},
	{footPerS2, []string{"ft/s2", "ft*s-2"}, nil},
	{standardG, []string{"gn", "g0"}, nil},

	{unit("rad", Angle, 1), []string{"rad", "radian", "radians"}, nil},
	{degree, []string{"°", "deg", "degree", "degrees"}, nil},

	{radPerSecond, []string{"rad/s", "rad/sec", "rad*s-1"}, nil},
	{turnPerMinute, []string{
		"rpm", "1/min", "/min", "min-1", "r/min", "rev/min", "revs/min", "turns/min",
		"u/min", "upm", "tr/min", "giri/min", "obr/min", "ot/min", "об/мин",
	}, nil},
	{unit("krpm", RotationalSpeed, 1000*perMinute), []string{"krpm"}, nil},
	{turnPerSecond, []string{"rps", "r/s", "rev/s", "revs/s", "turns/s", "u/s", "tr/s"}, nil},
	{unit("°/s", RotationalSpeed, math.Pi/180), []string{"°/s", "deg/s"}, nil},

	{hertz, []string{"hz"}, nil},
	{unit("kHz", Frequency, 1e3), []string{"khz"}, nil},
	{unit("MHz", Frequency, 1e6), nil, []string{"MHz"}},

	{kilogram, []string{"kg", "kgs", "kilogram", "kilograms"}, nil},
	{gram, []string{"gram", "grams"}, nil},
	{poundMass, []string{"lbm", "pound", "pounds"}, nil},

	{kgPerM3, []string{"kg/m3", "kg*m-3"}, nil},
	{lbPerFt3, []string{"lb/ft3", "lbm/ft3"}, nil},

	{kgM2, []string{"kg*m2", "kgm2"}, nil},
	{unit("kg·cm²", Inertia, 1e-4), []string{"kg*cm2", "kgcm2"}, nil},
	{lbFt2, []string{"lb*ft2", "lbft2", "lbm*ft2"}, nil},

	{newton, []string{"newton", "newtons"}, []string{"N"}},
	{unit("kN", Force, 1e3), nil, []string{"kN"}},
	{poundF, []string{"lbf"}, nil},
	{unit("kgf", Force, gravity), []string{"kgf", "kp"}, nil},

	{newtonMetre, []string{"n*m"}, []string{"Nm"}},
	{unit("kN·m", Torque, 1e3), nil, []string{"kN*m", "kNm"}},
	{poundFoot, []string{
		"lbf*ft", "lbfft", "ft*lbf", "ftlbf", "lb*ft", "lbft", "ft*lb", "ftlb",
		"lbs*ft", "lbsft", "ft*lbs", "ftlbs",
	}, nil},
	{unit("lbf·in", Torque, poundForce*inch), []string{
		"lbf*in", "lbfin", "in*lbf", "inlbf", "lb*in", "lbin", "in*lb", "inlb", "lbs*in", "in*lbs",
	}, nil},
	{unit("kgf·m", Torque, gravity), []string{
		"kgf*m", "kgfm", "m*kgf", "kg*m", "kgm", "m*kg", "mkg", "kp*m",
	}, nil},

	{unit("W", Power, 1), []string{"watt", "watts"}, []string{"W"}},
	{kilowatt, []string{"kw"}, nil},
	{unit("MW", Power, 1e6), nil, []string{"MW"}},
	{mechanicalHP, []string{"hp"}, nil},
	{metricHP, []string{"hp(metric)", "metric*hp"}, []string{"PS"}},

	{unit("Pa", Pressure, 1), []string{"pa"}, nil},
	{unit("hPa", Pressure, 100), []string{"hpa"}, nil},
	{kilopascal, []string{"kpa"}, nil},
	{unit("MPa", Pressure, 1e6), nil, []string{"MPa"}},
	{unit("mbar", Pressure, 100), nil, []string{"mbar", "mBar", "mb"}},
	{unit("bar", Pressure, 1e5), []string{"bar", "bara"}, nil},
	{inchMercury, []string{"inhg", "in*hg", "inhg(conv)"}, nil},
	{unit("inHg(32F)", Pressure, inHgAt32F), []string{"inhg(32f)"}, nil},
	{unit("inHg(60F)", Pressure, inHgAt60F), []string{"inhg(60f)"}, nil},
	{unit("mmHg", Pressure, mercury*1e-3), []string{"mmhg", "mm*hg"}, nil},
	{unit("Torr", Pressure, atmosphere/760), []string{"torr"}, nil},
	{inchWater, []string{"inh2o(conv)"}, nil},
	{inchWater60F, []string{"inh2o(60f)"}, nil},
	{poundInch2, []string{"psi", "psia", "lbf/in2", "lb/in2"}, nil},
	{unit("kgf/cm²", Pressure, gravity*1e4), []string{"kgf/cm2", "kg/cm2", "kp/cm2"}, nil},
	{unit("atm", Pressure, atmosphere), []string{"atm"}, nil},

	{unit("K", Temperature, 1), []string{"kelvin", "degk"}, []string{"K"}},
	{degCelsius, []string{"°c", "degc", "deg*c", "celsius"}, []string{"C"}},
	{degFahrenheit, []string{"°f", "degf", "deg*f", "fahrenheit"}, []string{"F"}},

	{volt, []string{"volt", "volts"}, []string{"V"}},
	{unit("mV", Voltage, 1e-3), nil, []string{"mV"}},
	{ampere, []string{"amp", "amps", "ampere", "amperes"}, []string{"A"}},
	{unit("mA", Current, 1e-3), nil, []string{"mA"}},
}
