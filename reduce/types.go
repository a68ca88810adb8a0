// Package reduce turns one raw log and its settings into torque over engine
// speed. It is pure: no clock, no disk, no chance.
package reduce

import (
	"fairpull/curve"
	"fairpull/drum"
)

// Settings are what a log does not say of itself. All values are SI; zero means
// not stated where the comment allows it.
type Settings struct {
	Inertia            float64    // drum, kg·m²; required
	Radius             float64    // drum, m; required where a speed is needed
	Parasitic          [3]float64 // bare drum torque, N·m, over drum speed in rad/s
	BrakeArm           float64    // m; needed with a brake force channel
	PulsesPerRev       int        // pulse logs: drum encoder; required there
	EnginePulsesPerRev float64    // pulse logs: ignition pulses a crankshaft turn
	RevsPerDrumRev     float64    // engine turns a drum turn; 0: estimated from the log
	WheelInertia       float64    // driven wheel and tyre, at the wheel, kg·m²; 0: not stated
	WheelRadius        float64    // driven tyre, m; 0: not stated

	NodesRPM     []float64 // engine speeds at which a node is wanted, strictly increasing
	HalfWidthRPM float64   // half-width of the fitting window, 1/min
}

// Phases says where in a log the pull and the coast-down are, by log time in s.
type Phases struct {
	FullThrottle float64 // when full throttle began (or sustained acceleration, see ByThrottle)
	Start        float64 // first moment used: settling after full throttle left out
	End          float64 // last moment used: before the throttle closes
	ByThrottle   bool    // found from a throttle channel; else from acceleration alone

	HasCoast             bool
	CoastStart, CoastEnd float64
	LowRPM, HighRPM      float64 // engine speed at Start and End, 1/min
	Rule                 string  // one sentence: how the phases were found

	// kept lets Reduce take over what Find made of the log; nil: it starts anew.
	kept *kept
}

// Finding is a defect of the log. Row counts data rows (or pulses) from 0.
type Finding struct {
	Kind     string // "gap", "repeated-time", "backward-time", "stuck", "saturated", "missing-pulse", "extra-pulse", "missing-cell", ...
	Channel  string
	Row      int
	Time     float64 // s
	Measured float64
	Limit    float64
	Unit     string
	Count    int  // how many of this kind on this channel; the rest describes the worst
	InPull   bool // touches the part of the log that the curve or coast-down rests on
	Repaired bool // handled without loss (a filled ignition pulse, say)
}

// Result is one reduced pull: wheel figures, not corrected for the air.
type Result struct {
	Phases Phases
	Curve  curve.Curve // wheel torque referred to the engine, at the nodes that the log covers

	// Per node, as long as Curve.
	Time         []float64 // s
	DrumSpeed    []float64 // rad/s
	DrumTorque   []float64 // N·m at the drum: I·α + brake + parasitic
	Resolution   []float64 // effective resolution, 1/min (full width at half height of the fit's response)
	Compensated  []float64 // N·m referred to the engine, loss added; nil without a coast-down
	Acceleration []float64 // rad/s² of the drum; nil for a curve reduced elsewhere
	// SlopeError and SpeedError are the two parts of Curve.StandardError, N·m: what
	// the slope of drum speed (and the brake) leaves open, and what the moment at
	// which the node was passed does. Nil for a curve reduced elsewhere.
	SlopeError, SpeedError []float64

	Coast *drum.Losses // nil without a usable coast-down

	Ratio        float64 // engine turns a drum turn: median over the pull
	SlipMax      float64 // largest departure of the ratio from a quadratic course, fraction
	SlipAt       float64 // s, where
	RatioRise    float64 // relative change of the ratio from low to high torque, fraction
	EncoderError float64 // relative amplitude of the once-per-turn encoder error that was removed

	MaxSurfaceSpeed float64            // m/s, whole log
	Lambda          float64            // mean over the pull; NaN without the channel
	Means           map[string]float64 // mean of every channel over the pull, SI where the unit is known
	Findings        []Finding
}
