// Package campaign holds the domain's words: vehicle, dyno, configuration,
// setup, pull, procedure, check. Values are SI; percentages are fractions.
package campaign

import (
	"time"

	"fairpull/quantity"
)

// Campaign is everything that a campaign folder says, apart from the logs.
type Campaign struct {
	ID      string
	Title   string
	Purpose string

	Objective      Objective
	Vehicle        Vehicle
	Dyno           Dyno
	Correction     string // a standard's name as in package correction, or "none"
	Configurations []Configuration
	Procedure      []SetPoint
	History        *History   // nil: the folder says nothing of earlier work
	Plan           *Plan      // nil: nothing was planned beforehand
	Channels       ChannelMap // what the logs' own headers do not say; may be nil
	Pulls          []Pull     // in the order of pulls.csv

	// ExtraColumns are the columns of pulls.csv without a meaning to the
	// program, in order. They are kept and shown.
	ExtraColumns []string
}

// Primary is the figure that the verdict stands on.
type Primary string

// The primary figures.
const (
	PrimaryBand       Primary = "band"
	PrimaryPeakTorque Primary = "peak_torque"
	PrimaryPeakPower  Primary = "peak_power"
)

// Objective is the question of a campaign.
type Objective struct {
	BandRPM      [2]float64 // riding band, 1/min; both 0: the range all pulls share
	SmallestGain float64    // smallest gain of interest, a fraction; 0: not stated
	Confidence   float64    // in (0, 1)
	Primary      Primary
	DriftLinear  bool // linear drift declared beforehand
}

// Vehicle is what is strapped on the drum. A zero or empty field is not stated.
type Vehicle struct {
	ID                   string
	Description          string
	MassWithRider        quantity.Kilogram
	TestGear             int
	EngineRevsPerDrumRev float64
	WheelInertia         quantity.KilogramSquareMetre // at the wheel: tyre and wheel
	WheelRadius          quantity.Metre
	TyreSpeedSymbol      string
	// Class names vehicles that are alike enough to share what is known of their
	// scatter, as "twin-650".
	Class string `json:",omitempty"`
}

// Dyno is the rig.
type Dyno struct {
	ID                 string
	DrumInertia        quantity.KilogramSquareMetre
	DrumInertiaU       quantity.KilogramSquareMetre // standard uncertainty; 0: not stated
	DrumRadius         quantity.Metre
	PulsesPerRev       int
	EnginePulsesPerRev float64
	Parasitic          [3]float64 // bare drum torque c0 + c1·ω + c2·ω², N·m, ω in rad/s
	BrakeArm           quantity.Metre
	SiteElevation      *quantity.Metre
}

// Role of a configuration.
type Role string

// The roles.
const (
	Baseline  Role = "baseline"
	Candidate Role = "candidate"
)

// Configuration is the exact list of parts and settings tested.
type Configuration struct {
	ID         string
	Role       Role
	Name       string
	Components []Component
	Settings   []Setting // in the order of the file

	// Set only where the part under test changes them; zero: as the vehicle.
	WheelInertia         quantity.KilogramSquareMetre
	WheelRadius          quantity.Metre
	EngineRevsPerDrumRev float64
}

// Component is one part and what it does. Serial and Batch may be empty.
type Component struct {
	Function, Part, Serial, Batch string
}

// Setting is anything set rather than fitted.
type Setting struct {
	Key, Value string
}

// SetPoint is a value that every pull is held to. Target and Tolerance are in
// the unit that the key's suffix names.
type SetPoint struct {
	Key       string // as written: tyre_pressure_kpa
	Target    float64
	Tolerance float64
}

// History is what the lab's earlier work says of its own scatter. SDs are
// fractions (0.007 for 0.7 %); a zero DF means not stated.
type History struct {
	SetupSD, SetupDF float64 // setup to setup, free of pull scatter
	BlockSD, BlockDF float64 // block to block within one setup
	PullSD, PullDF   float64 // pull to pull within a block
	Assumed          bool    // entered by judgement, not measured
}

// Pull is one row of pulls.csv.
type Pull struct {
	Name          string
	Started       time.Time
	Configuration string
	Setup         string
	Log           string // slash-separated path below the folder

	Weather           Weather
	Excluded          string  // the reason; empty: not excluded
	CorrectionApplied string  // curve logs: the standard already applied; empty: not stated
	CorrectionFactor  float64 // its factor; 0: not stated

	// Values holds every other column of the row, as text, by column name.
	Values map[string]string
	// Measured holds the columns that name a procedure set point, as numbers in
	// the unit of the set point's key. An empty cell is absent.
	Measured map[string]float64
	Line     int // in pulls.csv
}

// Weather is the air as pulls.csv gives it; nil where a value is not given.
// At most one of the three humidity values is set.
type Weather struct {
	Pressure         *quantity.Pascal // station pressure
	Temperature      *quantity.Kelvin // intake air
	RelativeHumidity *float64         // fraction
	VapourPressure   *quantity.Pascal
	WetBulb          *quantity.Kelvin
}
