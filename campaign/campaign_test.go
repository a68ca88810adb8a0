package campaign

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/air"
	"fairpull/quantity"
)

// sound returns a campaign without a problem.
func sound() *Campaign {
	start := time.Date(2026, 3, 2, 14, 5, 0, 0, time.FixedZone("", 3600))
	return &Campaign{
		ID:         "pipe-7",
		Objective:  Objective{BandRPM: [2]float64{2500, 6000}, SmallestGain: 0.02, Confidence: 0.95, Primary: PrimaryBand},
		Vehicle:    Vehicle{ID: "twin-1", MassWithRider: 285, TestGear: 4, EngineRevsPerDrumRev: 3.7, WheelInertia: 0.62, WheelRadius: 0.31},
		Dyno:       Dyno{ID: "cell-1", DrumInertia: 41.8, DrumInertiaU: 0.42, DrumRadius: 0.25, PulsesPerRev: 60, EnginePulsesPerRev: 0.5},
		Correction: "SAE J1349",
		Configurations: []Configuration{
			{ID: "A", Role: Baseline, Components: []Component{{Function: "exhaust", Part: "pipe 6"}}},
			{ID: "B", Role: Candidate, Components: []Component{{Function: "exhaust", Part: "pipe 7"}}, WheelInertia: 0.5, EngineRevsPerDrumRev: 3.6},
		},
		Procedure: []SetPoint{{Key: "oil_temp_degc", Target: 90, Tolerance: 8}},
		History:   &History{SetupSD: 0.007, SetupDF: 12},
		Pulls: []Pull{
			{Name: "1", Started: start, Configuration: "A", Setup: "s1", Log: "logs/1.csv", Line: 2},
			{Name: "2", Started: start.Add(time.Hour), Configuration: "B", Setup: "s1", Log: "logs/2.csv", Line: 3},
			{Name: "3", Started: start, Configuration: "B", Setup: "s1", Log: "logs/1.csv", Excluded: "entered twice", Line: 4},
		},
	}
}

func TestSoundCampaign(t *testing.T) {
	if problems := sound().Problems(); problems != nil {
		t.Errorf("problems %v", problems)
	}
}

func TestProblems(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		key, says string
		spoil     func(*Campaign)
	}{
		{"id", "slug", func(c *Campaign) { c.ID = "pipe/7" }},
		{"title", "too long", func(c *Campaign) { c.Title = strings.Repeat("x", MaxText+1) }},
		{"purpose", "control character", func(c *Campaign) { c.Purpose = "a\x1bb" }},
		{"correction.standard", "no correction standard", func(c *Campaign) { c.Correction = "" }},
		{"objective.confidence", "95", func(c *Campaign) { c.Objective.Confidence = 95 }},
		{"objective.confidence", "0", func(c *Campaign) { c.Objective.Confidence = 0 }},
		{"objective.confidence", "NaN", func(c *Campaign) { c.Objective.Confidence = nan }},
		{"objective.primary", `""`, func(c *Campaign) { c.Objective.Primary = "" }},
		{"objective.smallest_gain_of_interest_pct", "NaN", func(c *Campaign) { c.Objective.SmallestGain = nan }},
		{"objective.band_rpm", "+Inf", func(c *Campaign) { c.Objective.BandRPM[1] = inf }},
		{"objective.band_rpm", "6000 to 2500", func(c *Campaign) { c.Objective.BandRPM = [2]float64{6000, 2500} }},
		{"vehicle.id", "slug", func(c *Campaign) { c.Vehicle.ID = "-" }},
		{"vehicle.mass_with_rider_kg", "-1", func(c *Campaign) { c.Vehicle.MassWithRider = -1 }},
		{"vehicle.class", "holds a control character", func(c *Campaign) { c.Vehicle.Class = "twin\n650" }},
		{"vehicle.test_gear", "99", func(c *Campaign) { c.Vehicle.TestGear = 99 }},
		{"vehicle.driven_wheel_inertia_kgm2", "NaN", func(c *Campaign) { c.Vehicle.WheelInertia = quantity.KilogramSquareMetre(nan) }},
		{"dyno.drum_inertia_kgm2", "+Inf", func(c *Campaign) { c.Dyno.DrumInertia = quantity.KilogramSquareMetre(inf) }},
		{"dyno.drum_inertia_u_kgm2", "not below", func(c *Campaign) { c.Dyno.DrumInertiaU = 42 }},
		{"dyno.parasitic_torque_nm", "NaN", func(c *Campaign) { c.Dyno.Parasitic[2] = nan }},
		{"dyno.site_elevation_m", "9001", func(c *Campaign) { e := quantity.Metre(9001); c.Dyno.SiteElevation = &e }},
		{"configuration[1].id", "taken", func(c *Campaign) { c.Configurations[1].ID = "A" }},
		{"configuration[1].role", "second configuration", func(c *Campaign) { c.Configurations[1].Role = Baseline }},
		{"configuration", "no configuration is the baseline", func(c *Campaign) { c.Configurations[0].Role = Candidate }},
		{"configuration", "a comparison takes two", func(c *Campaign) { c.Configurations = c.Configurations[:1] }},
		{"configuration[0].role", `"control"`, func(c *Campaign) { c.Configurations[0].Role = "control" }},
		{"configuration[1].components[0]", "function or its part", func(c *Campaign) { c.Configurations[1].Components[0].Part = "" }},
		{"configuration[0].settings", "control character", func(c *Campaign) { c.Configurations[0].Settings = []Setting{{"map", "\x00"}} }},
		{"configuration[1].driven_wheel_radius_m", "310", func(c *Campaign) { c.Configurations[1].WheelRadius = 310 }},
		{"configuration[1].id", "no usable pull", func(c *Campaign) { c.Pulls[1].Excluded = "strap slipped" }},
		{"procedure.oil_temp_degc", "-8", func(c *Campaign) { c.Procedure[0].Tolerance = -8 }},
		{"procedure.oil_temp_degc", "NaN", func(c *Campaign) { c.Procedure[0].Target = nan }},
		{"history.setup_sd_pct", "70", func(c *Campaign) { c.History.SetupSD = 7 }},
		{"history.setup_df", "without its degrees of freedom", func(c *Campaign) { c.History.SetupDF = 0 }},
		{"history.setup_sd_pct", "perfect knowledge", func(c *Campaign) { c.History.SetupSD = 0 }},
		{"history.pull_df", "NaN", func(c *Campaign) { c.History.PullDF = nan }},
		{"pulls[1].pull", "named twice", func(c *Campaign) { c.Pulls[1].Name = "1" }},
		{"pulls[2].pull", "named twice", func(c *Campaign) { c.Pulls[2].Name = "1" }},
		{"pulls[0].pull", "empty", func(c *Campaign) { c.Pulls[0].Name = "" }},
		{"pulls[0].setup", "empty", func(c *Campaign) { c.Pulls[0].Setup = "" }},
		{"pulls[0].started", "missing", func(c *Campaign) { c.Pulls[0].Started = time.Time{} }},
		{"pulls[1].started", "same moment", func(c *Campaign) { c.Pulls[1].Started = c.Pulls[0].Started.UTC() }},
		{"pulls[1].log", `"1" already`, func(c *Campaign) { c.Pulls[1].Log = "logs/1.csv" }},
		{"pulls[2].configuration", "not declared", func(c *Campaign) { c.Pulls[2].Configuration = "C" }},
		{"pulls[0].correction_factor", "NaN", func(c *Campaign) { c.Pulls[0].CorrectionFactor = nan }},
		{"pulls[0].oil_temp_degc", "NaN", func(c *Campaign) { c.Pulls[0].Measured = map[string]float64{"oil_temp_degc": nan} }},
		{"pulls[0].note", "control character", func(c *Campaign) { c.Pulls[0].Values = map[string]string{"note": "\a"} }},
		{"pulls[0]", "station pressure", func(c *Campaign) { c.Pulls[0].Weather = weather(985_000, 294.15, 0.45) }},
	} {
		campaign := sound()
		c.spoil(campaign)
		problems := campaign.Problems()
		if !slices.ContainsFunc(problems, func(p Problem) bool {
			return p.Key == c.key && strings.Contains(p.Message, c.says) && p.Cure != "" && strings.Contains(p.Error(), p.Cure)
		}) {
			t.Errorf("problems %v; want one at %s that says %q", problems, c.key, c.says)
		}
	}
}

// weather returns what pulls.csv says of the air, with a relative humidity.
func weather(p quantity.Pascal, t quantity.Kelvin, rh float64) Weather {
	return Weather{Pressure: &p, Temperature: &t, RelativeHumidity: &rh}
}

// TestWeatherState holds closed forms: dry air has no vapour, saturated air has
// its wet bulb at its own temperature, and a vapour pressure is taken as it is.
func TestWeatherState(t *testing.T) {
	p, temperature := quantity.Pascal(98_500), quantity.Kelvin(294.15)
	dry, err := weather(p, temperature, 0).State()
	if err != nil || dry != (air.State{Pressure: p, Temperature: temperature}) {
		t.Errorf("dry air: %+v, %v", dry, err)
	}
	saturated, err := weather(p, temperature, 1).State()
	if err != nil {
		t.Fatal(err)
	}
	wet, err := Weather{Pressure: &p, Temperature: &temperature, WetBulb: &temperature}.State()
	if err != nil || math.Abs(float64(wet.Vapour/saturated.Vapour-1)) > 1e-12 {
		t.Errorf("wet bulb at the air's temperature: %+v, %v; saturated air is %+v", wet, err, saturated)
	}
	e := quantity.Pascal(1100)
	given, err := Weather{Pressure: &p, Temperature: &temperature, VapourPressure: &e}.State()
	if err != nil || given.Vapour != e || given.Pressure != p || given.Temperature != temperature {
		t.Errorf("vapour pressure given: %+v, %v", given, err)
	}
}

func TestWeatherRefusals(t *testing.T) {
	full := weather(98_500, 294.15, 0.45)
	none := []string{"pressure_kpa", "temperature_degc", "relative_humidity_pct"}
	for _, c := range []struct {
		weather Weather
		missing []string
	}{
		{Weather{}, none},
		{Weather{Temperature: full.Temperature, RelativeHumidity: full.RelativeHumidity}, none[:1]},
		{Weather{Pressure: full.Pressure, RelativeHumidity: full.RelativeHumidity}, none[1:2]},
		{Weather{Pressure: full.Pressure, Temperature: full.Temperature}, none[2:]},
	} {
		_, err := c.weather.State()
		if !errors.Is(err, ErrNoWeather) {
			t.Errorf("%+v: %v", c.weather, err)
		}
		for _, name := range none {
			if strings.Contains(err.Error(), "no "+name) != slices.Contains(c.missing, name) {
				t.Errorf("%v; want it to name %v", err, c.missing)
			}
		}
	}
	full.VapourPressure = full.Pressure
	if _, err := full.State(); !errors.Is(err, ErrTwoHumidities) {
		t.Errorf("two humidities: %v", err)
	}
	var outside *air.RangeError
	if _, err := weather(98_500, 294.15, 45).State(); !errors.As(err, &outside) {
		t.Errorf("4500 %% humidity: %v", err)
	}
}

func TestLookUps(t *testing.T) {
	c := sound()
	if b, ok := c.Configuration("B"); !ok || b.Role != Candidate {
		t.Errorf("configuration B: %+v, %v", b, ok)
	}
	if _, ok := c.Configuration("b"); ok {
		t.Error("configuration b was found")
	}
	if a, ok := c.Baseline(); !ok || a.ID != "A" {
		t.Errorf("baseline %+v, %v", a, ok)
	}
	if _, ok := (&Campaign{}).Baseline(); ok {
		t.Error("an empty campaign has a baseline")
	}
	if candidates := c.Candidates(); len(candidates) != 1 || candidates[0].ID != "B" {
		t.Errorf("candidates %+v", candidates)
	}
	if p, ok := c.Pull("2"); !ok || p.Line != 3 {
		t.Errorf("pull 2: %+v, %v", p, ok)
	}
	if _, ok := c.Pull("4"); ok {
		t.Error("pull 4 was found")
	}
	var names []string
	for _, p := range c.PullsOf("B") {
		names = append(names, p.Name)
	}
	if !reflect.DeepEqual(names, []string{"2", "3"}) || c.Pulls[2].Used() || !c.Pulls[1].Used() {
		t.Errorf("pulls of B: %v", names)
	}
	a, b := c.Configurations[0], c.Configurations[1]
	for _, row := range []struct {
		what      string
		got, want float64
	}{
		{"wheel inertia, the vehicle's", c.WheelInertia(a), 0.62}, {"wheel inertia, its own", c.WheelInertia(b), 0.5},
		{"wheel radius, the vehicle's", c.WheelRadius(b), 0.31},
		{"gearing, the vehicle's", c.EngineRevsPerDrumRev(a), 3.7}, {"gearing, its own", c.EngineRevsPerDrumRev(b), 3.6},
	} {
		if row.got != row.want {
			t.Errorf("%s: %v; want %v", row.what, row.got, row.want)
		}
	}
	b.WheelRadius = 0.29
	if got := c.WheelRadius(b); got != 0.29 {
		t.Errorf("wheel radius, its own: %v", got)
	}
}

func TestSplitUnit(t *testing.T) {
	for _, c := range []struct{ name, base, unit string }{
		{"oil_temp_degc", "oil_temp", "degC"}, {"tyre_pressure_kpa", "tyre_pressure", "kPa"}, {"mass_kg", "mass", "kg"}, {"driven_wheel_inertia_kgm2", "driven_wheel_inertia", "kg·m²"},
		{"relative_humidity_pct", "relative_humidity", "%"}, {"drum_speed_rad_s", "drum_speed", "rad/s"}, {"time_ms", "time", "ms"}, {"time_s", "time", "s"}, {"height_mm", "height", "mm"},
		{"gear", "gear", ""}, {"warm_min", "warm_min", ""}, {"_kpa", "_kpa", ""}, {"", "", ""}, {"oil_temp_DEGC", "oil_temp_DEGC", ""},
	} {
		base, unit := SplitUnit(c.name)
		if base != c.base || unit != c.unit {
			t.Errorf("%q: got %q, %q; want %q, %q", c.name, base, unit, c.base, c.unit)
		}
		point := SetPoint{Key: c.name}
		if point.Channel() != c.base || point.Unit() != c.unit {
			t.Errorf("set point %q: %q, %q", c.name, point.Channel(), point.Unit())
		}
	}
	for _, s := range suffixes {
		if _, err := quantity.Lookup(s.unit); err != nil {
			t.Errorf("%s: %v", s.ending, err)
		}
		if base, unit := SplitUnit("x" + s.ending); base != "x" || unit != s.unit {
			t.Errorf("x%s is read as %q in %q; want %q", s.ending, base, unit, s.unit)
		}
	}
}

func TestCheckTexts(t *testing.T) {
	for _, c := range []struct {
		id   string
		want error
	}{
		{"twin650-intake-cam", nil}, {"A", nil}, {"7", nil}, {"a_b.c-d", nil}, {strings.Repeat("a", MaxID), nil},
		{"", ErrEmpty}, {strings.Repeat("a", MaxID+1), ErrTooLong},
		{"a b", ErrNotSlug}, {"../a", ErrNotSlug}, {".a", ErrNotSlug}, {"-a", ErrNotSlug}, {"a/b", ErrNotSlug}, {"ä", ErrNotSlug}, {"a\n", ErrNotSlug},
	} {
		if got := CheckID(c.id); got != c.want {
			t.Errorf("id %q: %v; want %v", c.id, got, c.want)
		}
	}
	for _, c := range []struct {
		text       string
		name, both error
	}{
		{"7", nil, nil}, {"Prüfling 7", nil, nil}, {"a\tb", ErrControl, nil}, {"a\nb", ErrControl, nil}, {"a\x1bb", ErrControl, ErrControl}, {"a\u0085b", ErrControl, ErrControl},
		{"a\u202eb", ErrControl, nil}, {"a\xffb", ErrControl, ErrControl}, {"", ErrEmpty, nil}, {strings.Repeat("a", MaxID+1), ErrTooLong, nil}, {strings.Repeat("a", MaxText+1), ErrTooLong, ErrTooLong},
	} {
		if got := CheckName(c.text); got != c.name {
			t.Errorf("name %.20q: %v; want %v", c.text, got, c.name)
		}
		if got := CheckText(c.text); got != c.both {
			t.Errorf("text %.20q: %v; want %v", c.text, got, c.both)
		}
	}
}
