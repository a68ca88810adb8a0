// Package simulate is a virtual vehicle on a virtual dyno: it writes campaign
// folders whose truth is known.
//
// A Scenario says everything: engine, part under test, driveline, tyre, drum,
// logger, weather, scatter, drift, order of pulls and faults. The same scenario
// gives the same bytes, whatever the number of cores. Beside the campaign stands
// truth.json with what a perfect analysis would find.
//
// The folder is written as text from the format's description alone, so that
// reading it back is a check of the reader and not of a shared writer.
package simulate

import (
	"time"

	"fairpull/quantity"
)

// Scenario describes one campaign with known truth. Values are SI; engine speeds
// are in 1/min; shares and standard deviations are fractions (0.007 for 0.7 %).
//
// The zero value is refused by Validate. Default returns a complete scenario to
// start from. In a file the keys are the names in the toml tags.
type Scenario struct {
	ID      string `toml:"id"` // a slug: lower-case letters, digits, hyphens
	Title   string `toml:"title"`
	Purpose string `toml:"purpose"`
	Seed    uint64 `toml:"seed"` // any value; another seed is another day with the same truth

	Correction string `toml:"correction"` // "SAE J1349", "ISO 1585", "DIN 70020", "SAE J607" or "none"

	Objective Objective `toml:"objective"`
	Vehicle   Vehicle   `toml:"vehicle"`
	Engine    Engine    `toml:"engine"`
	Dyno      Dyno      `toml:"dyno"`
	Logger    Logger    `toml:"logger"`
	Drive     Drive     `toml:"drive"`
	Weather   Weather   `toml:"weather"`
	Scatter   Scatter   `toml:"scatter"`
	Drift     Drift     `toml:"drift"`
	Plan      Plan      `toml:"plan"`
	Procedure Procedure `toml:"procedure"`

	// Configurations are two or more; the first is the baseline, the others are
	// candidates.
	Configurations []Configuration `toml:"configuration,omitempty"`

	Brake   *Brake   `toml:"brake"`           // nil: an inertia drum, pulls only
	History *History `toml:"history"`         // nil: the folder says nothing of earlier work
	Faults  []Fault  `toml:"fault,omitempty"` // none: an honest campaign
}

// Objective is the question that campaign.toml asks.
type Objective struct {
	BandRPM      [2]float64 `toml:"band_rpm"`      // riding band, multiples of 50 1/min within the pull
	SmallestGain float64    `toml:"smallest_gain"` // smallest gain of interest, a fraction; 0: not stated
	Confidence   float64    `toml:"confidence"`    // in (0, 1)
	Primary      string     `toml:"primary"`       // "band", "peak_torque" or "peak_power"
	DriftLinear  bool       `toml:"drift_linear"`  // linear drift declared beforehand
}

// Vehicle is what stands on the drum, engine apart.
type Vehicle struct {
	ID              string            `toml:"id"`
	Description     string            `toml:"description"`
	MassWithRider   quantity.Kilogram `toml:"mass_with_rider_kg"`
	TestGear        int               `toml:"test_gear"`
	TyreSpeedSymbol string            `toml:"tyre_speed_symbol"` // empty: not written

	// RevsPerDrumRev is engine turns a drum turn in the test gear, without slip.
	RevsPerDrumRev float64                      `toml:"engine_revs_per_drum_rev"`
	WheelInertia   quantity.KilogramSquareMetre `toml:"wheel_inertia_kgm2"` // wheel and tyre, at the wheel
	WheelRadius    quantity.Metre               `toml:"wheel_radius_m"`
	StateRatio     bool                         `toml:"state_ratio"` // write the ratio into campaign.toml
	StateWheel     bool                         `toml:"state_wheel"` // write inertia and radius of the wheel

	// Loss is the tyre and driveline torque at the drum axis at the set tyre
	// pressure: c0 + c1·ω + c2·ω² in N·m, ω the drum speed in rad/s. It is the
	// same in pull and coast-down.
	Loss [3]float64 `toml:"loss_nm"`
	// TyrePressure is the set point. The loss is proportional to pressure to the
	// power PressureExponent: the form of SAE J2452; its usual size, −0.4, is
	// from memory.
	TyrePressure     quantity.Pascal `toml:"tyre_pressure_pa"`
	PressureExponent float64         `toml:"pressure_exponent"`

	// Slip is tyre creep per drum torque, 1/(N·m): engine speed is
	// RevsPerDrumRev·(1 + Slip·torque) times drum speed once the tread has
	// followed, with time constant SlipTime in s. Zero slip is allowed.
	Slip     float64 `toml:"slip_per_nm"`
	SlipTime float64 `toml:"slip_time_s"`
}

// Engine is the engine with the baseline configuration.
type Engine struct {
	// Torque is full-throttle crankshaft torque over engine speed in N·m, at the
	// reference air of AirLaw and at mixture MixtureBest.
	Torque Shape `toml:"torque"`
	// Drag is the torque that a closed throttle takes from the crankshaft:
	// d0 + d1·ωe in N·m, ωe in rad/s.
	Drag    [2]float64                   `toml:"drag_nm"`
	Inertia quantity.KilogramSquareMetre `toml:"inertia_kgm2"` // at the crankshaft, clutch included

	IdleRPM  float64 `toml:"idle_rpm"`
	StartRPM float64 `toml:"start_rpm"` // the throttle opens here
	CloseRPM float64 `toml:"close_rpm"` // and closes here, near the limiter

	// AirLaw names the standard whose factor the engine follows, and
	// ExponentError how far its exponents are off: torque is that at reference
	// air divided by factor^(1 + ExponentError). 0: the standard is true.
	AirLaw        string  `toml:"air_law"`
	ExponentError float64 `toml:"exponent_error"`

	// Torque falls by the fraction MixtureCurvature·(lambda − MixtureBest)².
	MixtureBest      float64 `toml:"mixture_best"`
	MixtureCurvature float64 `toml:"mixture_curvature"`
}

// Dyno is the rig.
type Dyno struct {
	ID       string                       `toml:"id"`
	Inertia  quantity.KilogramSquareMetre `toml:"inertia_kgm2"`
	InertiaU quantity.KilogramSquareMetre `toml:"inertia_u_kgm2"` // standard uncertainty as written; 0: not written
	// InertiaStated is written in the place of Inertia: a rig whose calibration is off. 0:
	// Inertia is.
	InertiaStated quantity.KilogramSquareMetre `toml:"inertia_stated_kgm2"`
	Radius        quantity.Metre               `toml:"radius_m"`
	Parasitic     [3]float64                   `toml:"parasitic_nm"` // bare drum: c0 + c1·ω + c2·ω², N·m
	SiteElevation quantity.Metre               `toml:"site_elevation_m"`
}

// Configuration is one list of parts and settings with its true effect.
type Configuration struct {
	ID         string      `toml:"id"` // one capital letter, as Plan.Order uses it
	Name       string      `toml:"name"`
	Components []Component `toml:"component,omitempty"`
	Settings   []Setting   `toml:"setting,omitempty"`

	// Gain is the change of crankshaft torque over engine speed, a fraction; the
	// zero Shape changes nothing. The gain at the wheel, which truth.json states,
	// is a little larger, for the losses stay as they are.
	Gain       Shape   `toml:"gain"`
	LossChange float64 `toml:"loss_change"` // change of tyre and driveline loss, a fraction
	Lambda     float64 `toml:"lambda"`      // mixture at full throttle
	// LambdaCourse is added to Lambda over engine speed; the zero Shape adds nothing.
	LambdaCourse Shape `toml:"lambda_course"`

	// Set where the part changes them; zero: as the vehicle. They are written
	// into campaign.toml.
	WheelInertia   quantity.KilogramSquareMetre `toml:"wheel_inertia_kgm2"`
	WheelRadius    quantity.Metre               `toml:"wheel_radius_m"`
	RevsPerDrumRev float64                      `toml:"engine_revs_per_drum_rev"`
}

// Component is one part and what it does. Serial and Batch may be empty.
type Component struct {
	Function string `toml:"function"`
	Part     string `toml:"part"`
	Serial   string `toml:"serial"`
	Batch    string `toml:"batch"`
}

// Setting is anything set rather than fitted.
type Setting struct {
	Key   string `toml:"key"`
	Value string `toml:"value"`
}

// Drive is how the rider works throttle and clutch lever. Times are in s.
type Drive struct {
	Lead        float64 `toml:"lead_s"`         // steady speed before the throttle opens
	OpenTime    float64 `toml:"open_time_s"`    // time constant of the opening throttle
	CloseTime   float64 `toml:"close_time_s"`   // time constant of the closing throttle
	ClutchDelay float64 `toml:"clutch_delay_s"` // from closing throttle to pulled clutch lever
	Coast       float64 `toml:"coast_s"`        // length of the coast-down; 0: none
}

// Weather is the air in the cell and how it is read. Walks are random, with the
// stated standard deviation after one hour; rates are per hour.
type Weather struct {
	Pressure         quantity.Pascal `toml:"pressure_pa"` // station pressure at the first pull
	Temperature      quantity.Kelvin `toml:"temperature_k"`
	RelativeHumidity float64         `toml:"relative_humidity"` // fraction

	PressureRate    float64 `toml:"pressure_pa_per_h"`
	TemperatureRate float64 `toml:"temperature_k_per_h"`
	HumidityRate    float64 `toml:"relative_humidity_per_h"`
	PressureWalk    float64 `toml:"pressure_walk_pa"`
	TemperatureWalk float64 `toml:"temperature_walk_k"`
	HumidityWalk    float64 `toml:"relative_humidity_walk"`
	PressureRead    float64 `toml:"pressure_read_sd_pa"` // scatter of the reading about the air
	TemperatureRead float64 `toml:"temperature_read_sd_k"`
	HumidityRead    float64 `toml:"relative_humidity_read_sd"`
}

// Spread is a random departure of wheel torque over engine speed, as standard
// deviations on the log scale: one value for all speeds, a tilt that reaches its
// SD at either end, and a course that wanders along the speed range.
type Spread struct {
	Common float64 `toml:"common"`
	Tilt   float64 `toml:"tilt"`
	Course float64 `toml:"course"`
}

// Scatter is what differs from setup to setup, block to block and pull to pull.
// The zero value is a rig without scatter.
type Scatter struct {
	Setup Spread `toml:"setup"`
	Block Spread `toml:"block"`
	Pull  Spread `toml:"pull"`
	// SetupLoss is the SD of the tyre and driveline loss from setup to setup, a
	// fraction: strap tension. It shows in the coast-down.
	SetupLoss float64 `toml:"setup_loss"`
	// TyrePressure and OilTemperature scatter from pull to pull, in Pa and K.
	TyrePressure   float64 `toml:"tyre_pressure_pa"`
	OilTemperature float64 `toml:"oil_temperature_k"`
}

// Drift is a slow change of wheel torque over the session, on the log scale. The
// zero value is none.
type Drift struct {
	PerHour    float64 `toml:"per_hour"`   // steady rate
	Saturating float64 `toml:"saturating"` // total that is approached
	Hours      float64 `toml:"hours"`      // its time constant, h; needed with Saturating
}

// Plan is the order and pace of the session.
type Plan struct {
	Order          string    `toml:"order"` // one letter a block: "ABA"
	PullsPerBlock  int       `toml:"pulls_per_block"`
	BlocksPerSetup int       `toml:"blocks_per_setup"` // 1: re-strapped before every block
	Start          time.Time `toml:"start"`
	PullEvery      float64   `toml:"pull_every_s"`  // from pull to pull within a block
	ChangeOver     float64   `toml:"change_over_s"` // from a block's last pull to the next one's first
}

// Procedure holds the set points besides the tyre pressure of Vehicle.
type Procedure struct {
	TyreTolerance  quantity.Pascal `toml:"tyre_pressure_tolerance_pa"`
	OilTemperature quantity.Kelvin `toml:"oil_temperature_k"`
	OilTolerance   quantity.Kelvin `toml:"oil_temperature_tolerance_k"`
}

// History is what the lab says of its earlier scatter, written as it stands. SDs
// are fractions; a zero number of degrees of freedom leaves its pair out.
type History struct {
	SetupSD float64 `toml:"setup_sd"`
	SetupDF float64 `toml:"setup_df"`
	BlockSD float64 `toml:"block_sd"`
	BlockDF float64 `toml:"block_df"`
	PullSD  float64 `toml:"pull_sd"`
	PullDF  float64 `toml:"pull_df"`
	Assumed bool    `toml:"assumed"`
}
