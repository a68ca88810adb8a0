package report

import "fairpull/compare"

// Ways is how torque held on the brake differs from that of pulls.
type Ways struct {
	Missing        string // why nothing could be compared; empty: it was
	Configurations []Way
	Gains          []GainOfWays
}

// Way is the difference of one configuration: held over accelerating, at the engine
// speeds that both have, and the rotating inertia that it stands for, kg·m² at the
// drum. What is not known is NaN.
type Way struct {
	Configuration                 string
	Comparison                    compare.Comparison // held against accelerating
	Inertia, InertiaLo, InertiaHi float64
	WheelInertia, DrumInertia     float64 // as stated, at the drum; 0: not stated
	Acceleration                  float64 // of the drum in the pulls, mean over the speeds, rad/s²
	Ratio                         float64 // engine turns a drum turn
}

// GainOfWays is the gain of one candidate both ways, and accelerating less held, on
// the log scale, with its interval. WheelShare is what the stated wheels explain of
// it, a fraction; NaN where they are not both stated.
type GainOfWays struct {
	Candidate          string
	Accelerating, Held compare.Figure
	Difference, Lo, Hi float64
	WheelShare         float64
}
