package simulate

// The kinds of log that a Logger writes.
const (
	SampledLog = "sampled" // channels at a steady rate
	PulseLog   = "pulses"  // the moment of each encoder and ignition pulse
)

// The units in which a sampled log can state drum speed.
const (
	RadiansPerSecond     = "rad/s"
	RevolutionsPerMinute = "1/min"
	KilometresPerHour    = "km/h" // surface speed
)

// Logger is the encoder, the ignition pickup and the box that records them.
// Fields of the other kind of log are not looked at.
type Logger struct {
	Kind string `toml:"kind"` // SampledLog or PulseLog

	// EncoderError is the relative amplitude of the once-per-turn error of the
	// drum encoder and EncoderPhase its phase in rad. The error belongs to the
	// drum: it keeps its place from pull to pull.
	EncoderError float64 `toml:"encoder_error"`
	EncoderPhase float64 `toml:"encoder_phase_rad"`

	Sampled Sampled `toml:"sampled"`
	Pulses  Pulses  `toml:"pulses"`
}

// Sampled says how channels are sampled. Steps are the resolution of the text,
// one of 1, 0.1, 0.01 … 1e-9.
type Sampled struct {
	Rate   float64 `toml:"rate_hz"`
	Jitter float64 `toml:"jitter"` // spread of the sampling moments, as a fraction of the interval; stamped truly
	// TimeStep is the resolution of the time stamps, s.
	TimeStep float64 `toml:"time_step_s"`

	DrumUnit  string  `toml:"drum_unit"`
	DrumNoise float64 `toml:"drum_noise_rad_s"` // SD of white noise
	DrumStep  float64 `toml:"drum_step"`        // resolution in DrumUnit

	EngineSpeed bool    `toml:"engine_speed"` // record the channel
	EngineNoise float64 `toml:"engine_noise_rpm"`
	EngineStep  float64 `toml:"engine_step_rpm"`

	Throttle       bool    `toml:"throttle"`
	OilTemperature bool    `toml:"oil_temperature"`
	Lambda         bool    `toml:"lambda"`
	LambdaNoise    float64 `toml:"lambda_noise"`
	LambdaTime     float64 `toml:"lambda_time_s"` // time constant of the sensor
	LambdaDead     float64 `toml:"lambda_dead_s"` // time for which the gas travels before the sensor sees it
}

// Pulses says how pulses are timed. Times are in s.
type Pulses struct {
	PerRev     int     `toml:"per_rev"`
	ToothError float64 `toml:"tooth_error"`  // SD of a tooth's place, as a fraction of the pitch; a fixed table
	TimerStep  float64 `toml:"timer_step_s"` // resolution, one of 1e-3 … 1e-9
	DrumJitter float64 `toml:"drum_jitter_s"`
	DrumMissed float64 `toml:"drum_missed"` // probability of missing a pulse

	EnginePerRev float64 `toml:"engine_per_rev"` // ignition pulses a crankshaft turn; 0: no pickup
	EngineJitter float64 `toml:"engine_jitter"`  // SD as a fraction of the interval
	EngineMissed float64 `toml:"engine_missed"`
}
