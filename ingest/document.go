package ingest

// document is campaign.toml as it stands; docs/formats.md says what each key
// means. A pointer is nil where the key is absent.
type document struct {
	Format        string                  `toml:"format"`
	ID            string                  `toml:"id"`
	Title         string                  `toml:"title"`
	Purpose       string                  `toml:"purpose"`
	Objective     objectiveTable          `toml:"objective"`
	Vehicle       vehicleTable            `toml:"vehicle"`
	Dyno          dynoTable               `toml:"dyno"`
	Correction    correctionTable         `toml:"correction"`
	Configuration []configurationTable    `toml:"configuration"`
	Procedure     map[string]setPoint     `toml:"procedure"`
	History       *historyTable           `toml:"history"`
	Plan          *planTable              `toml:"plan"`
	Channels      map[string]channelTable `toml:"channels"`
}

type objectiveTable struct {
	BandRPM      []float64 `toml:"band_rpm"`
	SmallestGain *float64  `toml:"smallest_gain_of_interest_pct"`
	Confidence   *float64  `toml:"confidence"`
	Primary      *string   `toml:"primary"`
	Drift        *string   `toml:"drift"`
}

type vehicleTable struct {
	ID            string   `toml:"id"`
	Description   string   `toml:"description"`
	MassWithRider *float64 `toml:"mass_with_rider_kg"`
	TestGear      *int     `toml:"test_gear"`
	RevsPerRev    *float64 `toml:"engine_revs_per_drum_rev"`
	WheelInertia  *float64 `toml:"driven_wheel_inertia_kgm2"`
	WheelRadius   *float64 `toml:"driven_wheel_radius_m"`
	TyreSymbol    string   `toml:"tyre_speed_symbol"`
	Class         string   `toml:"class"`
}

type dynoTable struct {
	ID           string    `toml:"id"`
	Inertia      *float64  `toml:"drum_inertia_kgm2"`
	InertiaU     *float64  `toml:"drum_inertia_u_kgm2"`
	Radius       *float64  `toml:"drum_radius_m"`
	Pulses       *int      `toml:"pulses_per_rev"`
	EnginePulses *float64  `toml:"engine_pulses_per_rev"`
	Parasitic    []float64 `toml:"parasitic_torque_nm"`
	Elevation    *float64  `toml:"site_elevation_m"`
	BrakeArm     *float64  `toml:"brake_arm_m"`
}

type correctionTable struct {
	Standard string `toml:"standard"`
}

type configurationTable struct {
	ID           string         `toml:"id"`
	Role         string         `toml:"role"`
	Name         string         `toml:"name"`
	Components   []component    `toml:"components"`
	Settings     map[string]any `toml:"settings"`
	WheelInertia *float64       `toml:"driven_wheel_inertia_kgm2"`
	WheelRadius  *float64       `toml:"driven_wheel_radius_m"`
	RevsPerRev   *float64       `toml:"engine_revs_per_drum_rev"`
}

type component struct {
	Function string `toml:"function"`
	Part     string `toml:"part"`
	Serial   string `toml:"serial"`
	Batch    string `toml:"batch"`
}

type setPoint struct {
	Target    *float64 `toml:"target"`
	Tolerance *float64 `toml:"tolerance"`
}

type historyTable struct {
	SetupSD *float64 `toml:"setup_sd_pct"`
	SetupDF *float64 `toml:"setup_df"`
	BlockSD *float64 `toml:"block_sd_pct"`
	BlockDF *float64 `toml:"block_df"`
	PullSD  *float64 `toml:"pull_sd_pct"`
	PullDF  *float64 `toml:"pull_df"`
	Assumed bool     `toml:"assumed"`
}

type channelTable struct {
	Column  string `toml:"column"`
	Unit    string `toml:"unit"`
	Decimal string `toml:"decimal"`
}
