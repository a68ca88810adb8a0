package campaign

import "time"

// Plan is what a campaign intends to measure, written before the effect can be
// seen. It is frozen at the first pull of a candidate: what departs from it
// afterwards is the check plan-changed.
type Plan struct {
	Blocks []PlannedBlock // in the order of measuring
	Seed   uint64         // of the random order; 0: the order was chosen
	Blind  bool           // the rider is not told which configuration is fitted

	// What the design was chosen with, kept for the record; SDs are fractions on
	// the log scale.
	Assumed       Assumptions
	Power         float64 // chance of showing the smallest gain of interest; 0: not computed
	Detectable    float64 // gain that is shown with the power wanted, a fraction; 0: not computed
	MinutesOnRig  float64 // 0: not stated
	SettlingPulls int     // pulls after a change of parts that are not counted

	// Frozen is when the first candidate pull began; zero: not yet. Objective is
	// the campaign's as it was then.
	Frozen    time.Time
	Objective Objective
}

// PlannedBlock is consecutive pulls of one configuration in one setup.
type PlannedBlock struct {
	Configuration string
	Setup         string // blocks of one name share a strapping-down
	Pulls         int
}

// Assumptions are the scatter that a design was chosen with. A zero DF means
// that it was entered by judgement.
type Assumptions struct {
	SetupSD, SetupDF float64
	BlockSD, BlockDF float64
	PullSD, PullDF   float64
	DriftPerHour     float64 // expected of the rig, a fraction an hour
}
