package simulate

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"fairpull/quantity"
)

// Every named scenario is valid, has one line that says what it is, an id of its
// own, and can be pulled.
func TestNamed(t *testing.T) {
	ids := map[string]bool{}
	for _, name := range Names() {
		s, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if Meaning(name) == "" || strings.Contains(Meaning(name), "\n") || ids[s.ID] {
			t.Errorf("%s: meaning %q, id %q", name, Meaning(name), s.ID)
		}
		ids[s.ID] = true
		truth, err := s.Truth()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, c := range truth.Configurations {
			if c.PeakTorque == nil || c.PeakPower == nil {
				t.Errorf("%s: configuration %s has a peak at the edge of its range", name, c.ID)
			}
		}
		for _, p := range truth.Pulls {
			if seconds := p.Closed - p.FullThrottle; p.Steady == nil && (seconds < 4 || seconds > 25) {
				t.Errorf("%s: pull %s takes %v s", name, p.Pull, seconds)
			}
		}
	}
	if _, err := Named("no such"); !errors.Is(err, ErrScenario) || !strings.Contains(err.Error(), "tyre-pressure") {
		t.Errorf("an unknown name: got error %v, want one that lists the names", err)
	}
	if Meaning("no such") != "" {
		t.Error("an unknown name has a meaning")
	}
}

// The demonstration is what its description says: about 5 %, a dip low down, up
// to 8 %.
func TestDemoGain(t *testing.T) {
	truth, err := Demo().Truth()
	if err != nil {
		t.Fatal(err)
	}
	gain := truth.Comparisons[0].Gain
	low, high := math.Inf(1), math.Inf(-1)
	for _, pct := range gain.CurvePct {
		low, high = math.Min(low, *pct), math.Max(high, *pct)
	}
	if !(low < -0.5 && low > -3 && high > 7 && high < 9 && *gain.BandPct > 4.5 && *gain.BandPct < 6.5) {
		t.Errorf("gain from %v to %v %%, band %v %%", low, high, *gain.BandPct)
	}
}

// A scenario survives its file and JSON unchanged.
func TestRoundTrip(t *testing.T) {
	for _, name := range Names() {
		s, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		text, err := s.TOML()
		if err != nil {
			t.Fatal(err)
		}
		back, err := FromTOML(text)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, text)
		}
		if !same(s, back) {
			t.Errorf("%s: TOML changes\n%+v to\n%+v", name, s, back)
		}
		text, err = json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var again Scenario
		if err := json.Unmarshal(text, &again); err != nil {
			t.Fatal(err)
		}
		if !same(s, again) {
			t.Errorf("%s: JSON changes\n%+v to\n%+v", name, s, again)
		}
	}
}

// same compares scenarios; the start as a moment and an offset, nil and empty
// lists as one.
func same(a, b Scenario) bool {
	if !a.Plan.Start.Equal(b.Plan.Start) || a.Plan.Start.Format(time.RFC3339) != b.Plan.Start.Format(time.RFC3339) {
		return false
	}
	a.Plan.Start, b.Plan.Start = time.Time{}, time.Time{}
	return reflect.DeepEqual(trimmed(reflect.ValueOf(a)).Interface(), trimmed(reflect.ValueOf(b)).Interface())
}

// trimmed returns a copy of v in which every empty list is nil.
func trimmed(v reflect.Value) reflect.Value {
	c := reflect.New(v.Type()).Elem()
	c.Set(v)
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if c.Field(i).CanSet() {
				c.Field(i).Set(trimmed(v.Field(i)))
			}
		}
	case reflect.Slice:
		c.SetZero()
		for i := range v.Len() {
			c.Set(reflect.Append(c, trimmed(v.Index(i))))
		}
	}
	return c
}

// A fault can be added at the end of a written file.
func TestFaultAddedToFile(t *testing.T) {
	text, err := nullPart().TOML()
	if err != nil {
		t.Fatal(err)
	}
	s, err := FromTOML(append(text, "\n[[fault]]\nname = 'gap'\npulls = ['2']\n"...))
	if err != nil || len(s.Faults) != 1 || s.Faults[0].Pulls[0] != "2" {
		t.Errorf("got faults %+v, error %v", s.Faults, err)
	}
}

// A file is read to the letter: an unknown key, a wrong type and a missing key
// are errors with a place or a name.
func TestFromTOMLErrors(t *testing.T) {
	text, err := Default().TOML()
	if err != nil {
		t.Fatal(err)
	}
	whole := string(text)
	for name, c := range map[string]struct{ text, want string }{
		"unknown key":   {strings.Replace(whole, "[vehicle]\n", "[vehicle]\nmass_kg = 1\n", 1), `no key "vehicle.mass_kg"`},
		"unknown place": {strings.Replace(whole, "[vehicle]\n", "[vehicle]\nmass_kg = 1\n", 1), "line "},
		"wrong type":    {strings.Replace(whole, "test_gear = 4", "test_gear = 'four'", 1), "line "},
		"missing key":   {strings.Replace(whole, "radius_m = 0.25\n", "", 1), "dyno.radius_m is 0"},
		"infinite":      {strings.Replace(whole, "radius_m = 0.25\n", "radius_m = inf\n", 1), "dyno.radius_m is +Inf"},
		"not a number":  {strings.Replace(whole, "radius_m = 0.25\n", "radius_m = nan\n", 1), "dyno.radius_m is NaN"},
		"empty":         {"", "id is"},
		"no band":       {"", "objective.band_rpm is missing; write both ends of the riding band"},
		"not TOML":      {"= 3", "line 1"},
		"too large":     {"# " + strings.Repeat("x", maxFile), "larger than"},
	} {
		if c.text == whole {
			t.Fatalf("%s: nothing was changed", name)
		}
		_, err := FromTOML([]byte(c.text))
		if !errors.Is(err, ErrScenario) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got error %v, want one with %q", name, err, c.want)
		}
	}
}

// Whatever is out of its bounds is refused, and named.
func TestValidate(t *testing.T) {
	if err := (Scenario{}).Validate(); !errors.Is(err, ErrScenario) {
		t.Errorf("the zero scenario: got error %v", err)
	}
	nan, inf := math.NaN(), math.Inf(1)
	for want, spoil := range map[string]func(*Scenario){
		"id is":                          func(s *Scenario) { s.ID = "Not a slug" },
		"dyno.id":                        func(s *Scenario) { s.Dyno.ID = "../x" },
		"title is missing":               func(s *Scenario) { s.Title = "" },
		"purpose holds control":          func(s *Scenario) { s.Purpose = "a\nb" },
		"title holds control":            func(s *Scenario) { s.Title = "\xff" },
		"title is longer":                func(s *Scenario) { s.Title = strings.Repeat("a", 301) },
		`correction is "SAE"`:            func(s *Scenario) { s.Correction = "SAE" },
		"engine.air_law":                 func(s *Scenario) { s.Engine.AirLaw = "" },
		"vehicle.wheel_radius_m is NaN":  func(s *Scenario) { s.Vehicle.WheelRadius = quantity.Metre(nan) },
		"vehicle.loss_nm[1] is -0.1":     func(s *Scenario) { s.Vehicle.Loss[1] = -0.1 },
		"vehicle.slip_time_s is 0":       func(s *Scenario) { s.Vehicle.SlipTime = 0 },
		"engine.torque.level is +Inf":    func(s *Scenario) { s.Engine.Torque.Level = inf },
		"engine.torque.bump 1 width_rpm": func(s *Scenario) { s.Engine.Torque.Bumps = []Bump{{AtRPM: 1000}} },
		"engine.torque.bend needs":       func(s *Scenario) { s.Engine.Torque.MidRPM = 0 },
		"engine.torque is -":             func(s *Scenario) { s.Engine.Torque = Shape{Level: -1} },
		"engine.close_rpm":               func(s *Scenario) { s.Engine.CloseRPM = 2000 },
		"gain is -1":                     func(s *Scenario) { s.Configurations[1].Gain = Shape{Level: -1} },
		"dyno.inertia_kgm2 is 0":         func(s *Scenario) { s.Dyno.Inertia = 0 },
		"dyno.inertia_stated_kgm2 is -1": func(s *Scenario) { s.Dyno.InertiaStated = -1 },
		"drive.open_time_s":              func(s *Scenario) { s.Drive.OpenTime = 0 },
		"drive.coast_s is -1":            func(s *Scenario) { s.Drive.Coast = -1 },
		"logger.kind":                    func(s *Scenario) { s.Logger.Kind = "" },
		"logger.sampled.rate_hz":         func(s *Scenario) { s.Logger.Sampled.Rate = 0 },
		"logger.sampled.drum_step":       func(s *Scenario) { s.Logger.Sampled.DrumStep = 0 },
		"logger.sampled.drum_unit":       func(s *Scenario) { s.Logger.Sampled.DrumUnit = "rpm" },
		"logger.pulses.per_rev":          func(s *Scenario) { s.Logger.Kind, s.Logger.Pulses.PerRev = PulseLog, 0 },
		"rows or pulses": func(s *Scenario) {
			s.Logger.Sampled.Rate, s.Plan.PullsPerBlock = 5000, 50
		},
		"weather.relative_humidity is 52":  func(s *Scenario) { s.Weather.RelativeHumidity = 52 },
		"weather.temperature_k is 21":      func(s *Scenario) { s.Weather.Temperature = 21 },
		"scatter.pull.common":              func(s *Scenario) { s.Scatter.Pull.Common = -1 },
		"drift.hours is 0":                 func(s *Scenario) { s.Drift = Drift{Saturating: 0.01} },
		"plan.order: there is no":          func(s *Scenario) { s.Plan.Order = "ABX" },
		`"B" has no block`:                 func(s *Scenario) { s.Plan.Order = "AA" },
		"plan.order has more than":         func(s *Scenario) { s.Plan.Order = strings.Repeat("A", 1e6) },
		"plan.blocks_per_setup is 0":       func(s *Scenario) { s.Plan.BlocksPerSetup = 0 },
		"plan.start":                       func(s *Scenario) { s.Plan.Start = time.Time{} },
		"pulls; the most are":              func(s *Scenario) { s.Plan.Order, s.Plan.PullsPerBlock = strings.Repeat("AB", 50), 50 },
		"there are 1 configurations":       func(s *Scenario) { s.Configurations = s.Configurations[:1] },
		`id "A" is taken`:                  func(s *Scenario) { s.Configurations = append(s.Configurations, s.Configurations[0]) },
		"components; there must be":        func(s *Scenario) { s.Configurations[0].Components = nil },
		`setting key "a b"`:                func(s *Scenario) { s.Configurations[0].Settings = []Setting{{"a b", "c"}} },
		"lambda is 0":                      func(s *Scenario) { s.Configurations[0].Lambda = 0 },
		"objective.confidence is 0":        func(s *Scenario) { s.Objective.Confidence = 0 },
		"objective.primary":                func(s *Scenario) { s.Objective.Primary = "" },
		"must be a multiple of 50":         func(s *Scenario) { s.Objective.BandRPM[0] = 3010 },
		"objective.band_rpm is missing":    func(s *Scenario) { s.Objective.BandRPM = [2]float64{} },
		"objective.band_rpm[0] is 1000":    func(s *Scenario) { s.Objective.BandRPM[0] = 1000 },
		"objective.band_rpm[1] is 9000":    func(s *Scenario) { s.Objective.BandRPM[1] = 9000 },
		"history.setup_sd":                 func(s *Scenario) { s.History = &History{SetupDF: 3} },
		"no fault is named":                func(s *Scenario) { s.Faults = []Fault{{Name: "rain"}} },
		"give either pulls":                func(s *Scenario) { s.Faults = []Fault{{Name: gap}} },
		"give either pulls or":             func(s *Scenario) { s.Faults = []Fault{{Name: gap, Pulls: []string{"1"}, Configuration: "A"}} },
		`there is no pull "10"`:            func(s *Scenario) { s.Faults = []Fault{{Name: gap, Pulls: []string{"10"}}} },
		`there is no pull "01"`:            func(s *Scenario) { s.Faults = []Fault{{Name: gap, Pulls: []string{"01"}}} },
		`no configuration "Z"`:             func(s *Scenario) { s.Faults = []Fault{{Name: gap, Configuration: "Z"}} },
		"size 99 is outside":               func(s *Scenario) { s.Faults = []Fault{{Name: gap, Configuration: "A", Size: 99}} },
		"not a whole number":               func(s *Scenario) { s.Faults = []Fault{{Name: repeatedTime, Configuration: "A", Size: 2.5}} },
		"only pulse logs":                  func(s *Scenario) { s.Faults = []Fault{{Name: missingPulses, Configuration: "A"}} },
		"fitted must name":                 func(s *Scenario) { s.Faults = []Fault{{Name: mislabelled, Configuration: "A"}} },
		"fitted belongs to":                func(s *Scenario) { s.Faults = []Fault{{Name: gap, Configuration: "A", Fitted: "B"}} },
		`channel "lambda" cannot be stuck`: func(s *Scenario) { s.Faults = []Fault{{Name: stuckChannel, Configuration: "A", Channel: "lambda"}} },
		"would carry it twice": func(s *Scenario) {
			s.Faults = []Fault{{Name: gap, Configuration: "A"}, {Name: gap, Pulls: []string{"1"}}}
		},
	} {
		s := Default()
		spoil(&s)
		err := s.Validate()
		if !errors.Is(err, ErrScenario) || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
		if _, err := s.Files(); !errors.Is(err, ErrScenario) {
			t.Errorf("%q: Files does not refuse it: %v", want, err)
		}
		if _, err := s.Truth(); !errors.Is(err, ErrScenario) {
			t.Errorf("%q: Truth does not refuse it: %v", want, err)
		}
		if _, err := s.TOML(); !errors.Is(err, ErrScenario) {
			t.Errorf("%q: TOML does not refuse it: %v", want, err)
		}
	}
}

// Every fault has a description with bounds that hold its usual size.
func TestFaultKinds(t *testing.T) {
	for _, kind := range Faults() {
		if kind.Meaning == "" || !(kind.Usual >= kind.Low && kind.Usual <= kind.High) || (kind.Unit == "") != (kind.Usual == 0) {
			t.Errorf("%+v", kind)
		}
	}
}

// No file makes the reader panic, and what it takes is valid and survives being
// written again.
func FuzzFromTOML(f *testing.F) {
	for _, name := range []string{"demo", "one-pulse", "lighter-wheel"} {
		s, err := Named(name)
		if err != nil {
			f.Fatal(err)
		}
		text, err := s.TOML()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("id = 'a'\n[[configuration]]\nid = 'A'\n[plan]\nstart = 2025-01-01\norder = 'A'"))
	f.Add([]byte("[engine.torque]\nlevel = nan\n[[engine.torque.bump]]\nsize = 1e309"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := FromTOML(data)
		if err != nil {
			if !errors.Is(err, ErrScenario) {
				t.Fatalf("error %v is not ErrScenario", err)
			}
			return
		}
		text, err := s.TOML()
		if err != nil {
			t.Fatalf("a scenario that was read cannot be written: %v", err)
		}
		back, err := FromTOML(text)
		if err != nil || !same(s, back) {
			t.Fatalf("a scenario changes on being written: %v\n%+v\n%+v", err, s, back)
		}
	})
}
