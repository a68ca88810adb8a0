// Package signal holds sampled channels and pulse trains on a time base, and
// the local polynomial fits that turn them into speed and slope.
package signal

// Kind says what a log records.
type Kind int

// The kinds of log.
const (
	Sampled Kind = iota + 1 // channels on a common time base, with drum speed
	Pulses                  // the moment of each encoder or ignition pulse
	Reduced                 // a curve reduced elsewhere: power or torque over engine speed
)

// Names of the channels that the program knows by meaning. Any other channel is
// kept under its own name.
const (
	DrumSpeed        = "drum_speed"        // rad/s of the drum
	EngineSpeed      = "engine_speed"      // rad/s of the crankshaft
	Throttle         = "throttle"          // fraction of full opening, 0 to 1
	BrakeTorque      = "brake_torque"      // N·m at the drum axis
	BrakeForce       = "brake_force"       // N at the brake arm
	BrakeCommand     = "brake_command"     // fraction of what the brake can be asked for, 0 to 1
	Lambda           = "lambda"            // 1
	AirFuelRatio     = "afr"               // 1
	ManifoldPressure = "manifold_pressure" // Pa
	ExhaustCO        = "exhaust_co"        // fraction, 0 to 1, of the gas as the analyser reads it
	ExhaustCO2       = "exhaust_co2"       // fraction
	ExhaustHC        = "exhaust_hc"        // fraction, in molecules of the kind that the analyser is set to
	ExhaustO2        = "exhaust_o2"        // fraction
	ExhaustNO        = "exhaust_no"        // fraction
	OilTemperature   = "oil_temp"          // K
	Power            = "power"             // W, reduced logs only
	Torque           = "torque"            // N·m, reduced logs only
	Pressure         = "pressure"          // Pa, station pressure
	Temperature      = "temperature"       // K, intake air
	RelativeHumidity = "relative_humidity" // fraction, 0 to 1
	VapourPressure   = "vapour_pressure"   // Pa
	WetBulb          = "wet_bulb"          // K
)

// Channel is one column of a log. Values are SI where Unit is known to the
// program; Unit is the spelling that the log used. A missing cell is NaN.
type Channel struct {
	Name   string
	Unit   string
	Values []float64
}

// Log is one raw log, parsed and brought to SI, otherwise as recorded: gaps,
// repeated stamps and stuck values are still in it.
type Log struct {
	Kind     Kind
	Time     []float64 // s, one per row; sampled logs only
	Channels []Channel // sampled and reduced logs: each as long as the rows

	DrumPulse   []float64 // s, pulse logs: moment of each drum encoder pulse
	EnginePulse []float64 // s, pulse logs: moment of each ignition pulse; may be empty

	// FirstLine is the line number (from 1) of the first data row in the file,
	// so that a finding at row i can name line FirstLine+i.
	FirstLine int
	// AtCrank is true for a reduced log whose header says crank figures.
	AtCrank bool

	// LeftOut names the columns of the file that are not among the channels,
	// each with the reason: text, no time base.
	LeftOut []LeftOut
}

// LeftOut is a column that was not read, and why.
type LeftOut struct {
	Column, Reason string
}

// Channel returns the values of the named channel, or nil.
func (l *Log) Channel(name string) []float64 {
	for i := range l.Channels {
		if l.Channels[i].Name == name {
			return l.Channels[i].Values
		}
	}
	return nil
}
