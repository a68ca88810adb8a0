package ingest

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
)

// changed returns the smallest campaign.toml with a text in it replaced.
func changed(t *testing.T, old, new string) string {
	t.Helper()
	if !strings.Contains(smallCampaign, old) {
		t.Fatalf("the smallest campaign does not hold %q", old)
	}
	return strings.Replace(smallCampaign, old, new, 1)
}

func TestCampaignRefusals(t *testing.T) {
	const end = "id = \"B\"\nrole = \"candidate\"\n"
	more := func(text string) string { return changed(t, end, end+text) }
	for _, c := range []struct {
		name, text string
		want       refusal
	}{
		{"nothing", "# nothing\n", refusal{0, ErrNotPossible, `begin the file with format = "fairpull.campaign/1"`}},
		{"another format", changed(t, "campaign/1", "campaign/2"), refusal{1, ErrNotPossible, `"fairpull.campaign/2"`}},
		{"no TOML", "format = \n", refusal{1, ErrNotPossible, "toml.io"}},
		{"no TOML further down", changed(t, "[dyno]", "[dyno"), refusal{3, ErrNotPossible, ""}},
		{"not UTF-8", changed(t, "pipe-7\"", "pipe-7\"\ntitle = \"\xFC\""), refusal{3, ErrCharacters, "UTF-8"}},
		{"a key twice", changed(t, "id = \"pipe-7\"", "id = \"pipe-7\"\nid = \"pipe-8\""), refusal{3, ErrNotPossible, ""}},
		{"a table twice", more("[dyno]\n"), refusal{14, ErrNotPossible, ""}},
		{"a misspelt key", changed(t, "drum_radius_m", "drum_raduis_m"), refusal{5, ErrUnknownKey, "dyno.drum_raduis_m: is no key of this table; did you mean drum_radius_m?"}},
		{"a key in other case", changed(t, "[dyno]", "[Dyno]"), refusal{3, ErrUnknownKey, "did you mean dyno?"}},
		{"an unknown key", changed(t, "[dyno]", "colour = \"red\"\n[dyno]"), refusal{3, ErrUnknownKey, "the keys here are format, id, title"}},
		{"an unknown table", more("[weather]\nsun = 1\n"), refusal{14, ErrUnknownKey, "weather"}},
		{"an unknown key of a configuration", more("color = 1\n"), refusal{14, ErrUnknownKey, "configuration.color"}},
		{"an unknown key of a component", more("components = [ { function = \"cam\", part = \"a\", serail = \"1\" } ]\n"), refusal{14, ErrUnknownKey, "did you mean serial?"}},
		{"an unknown key of a set point", more("[procedure]\nx = { target = 1, tolerance = 1, limit = 2 }\n"), refusal{15, ErrUnknownKey, "procedure.x.limit"}},
		{"text for a number", changed(t, "41.8", `"41.8"`), refusal{4, ErrNotPossible, "a text where a number is wanted"}},
		{"a number for text", changed(t, `"pipe-7"`, "7"), refusal{2, ErrNotPossible, "a number where a text in quotes is wanted"}},
		{"a decimal for a count", changed(t, "[dyno]", "[vehicle]\ntest_gear = 4.5\n[dyno]"), refusal{4, ErrNotPossible, "a whole number"}},
		{"a table for a list", more("[configuration.components]\nfunction = \"cam\"\n"), refusal{14, ErrNotPossible, "a list of tables"}},
		{"a list for a table", changed(t, "[dyno]", "[[dyno]]"), refusal{3, ErrNotPossible, "a table"}},
		{"a date", changed(t, "41.8", "2026-03-02"), refusal{4, ErrNotPossible, "a date or time"}},
		{"a list of words", changed(t, "[dyno]", "[objective]\nband_rpm = [\"low\", \"high\"]\n[dyno]"), refusal{4, ErrNotPossible, "band_rpm"}},
		{"no id", changed(t, "id = \"pipe-7\"\n", ""), refusal{0, ErrNotPossible, "id"}},
		{"an id that is no slug", changed(t, "pipe-7", "pipe 7"), refusal{2, ErrNotPossible, "slug"}},
		{"an id that climbs", changed(t, "pipe-7", "../7"), refusal{2, ErrNotPossible, "slug"}},
		{"no standard", changed(t, "standard = \"SAE J1349\"\n", ""), refusal{6, ErrNotPossible, `"none"`}},
		{"one configuration", changed(t, "[[configuration]]\n"+end, ""), refusal{8, ErrNotPossible, "a comparison takes two"}},
		{"no baseline", changed(t, `role = "baseline"`, `role = "candidate"`), refusal{8, ErrNotPossible, "no configuration is the baseline"}},
		{"two baselines", changed(t, `role = "candidate"`, `role = "baseline"`), refusal{13, ErrNotPossible, "a second configuration is the baseline"}},
		{"a role of its own", changed(t, `role = "candidate"`, `role = "other"`), refusal{13, ErrNotPossible, `the role is "other"`}},
		{"no role", changed(t, "role = \"candidate\"\n", ""), refusal{11, ErrNotPossible, "candidate"}},
		{"an id twice", changed(t, end, "id = \"A\"\nrole = \"candidate\"\n"), refusal{12, ErrNotPossible, "taken"}},
		{"a candidate without a pull", more("[[configuration]]\nid = \"C\"\nrole = \"candidate\"\n"), refusal{15, ErrNotPossible, `candidate "C" has no usable pull`}},
		{"confidence in per cent", changed(t, "[dyno]", "[objective]\nconfidence = 95\n[dyno]"), refusal{4, ErrNotPossible, "0.95"}},
		{"no confidence", changed(t, "[dyno]", "[objective]\nconfidence = 0\n[dyno]"), refusal{4, ErrNotPossible, "the confidence is 0"}},
		{"certainty", changed(t, "[dyno]", "[objective]\nconfidence = 1\n[dyno]"), refusal{4, ErrNotPossible, "the confidence is 1"}},
		{"confidence that is none", changed(t, "[dyno]", "[objective]\nconfidence = nan\n[dyno]"), refusal{4, ErrNotPossible, "the confidence is NaN"}},
		{"a band the wrong way round", changed(t, "[dyno]", "[objective]\nband_rpm = [6000, 2500]\n[dyno]"), refusal{4, ErrNotPossible, "lower engine speed first"}},
		{"a band of one speed", changed(t, "[dyno]", "[objective]\nband_rpm = [6000, 6000]\n[dyno]"), refusal{4, ErrNotPossible, "lower engine speed first"}},
		{"a band with one end", changed(t, "[dyno]", "[objective]\nband_rpm = [6000]\n[dyno]"), refusal{4, ErrNotPossible, "two engine speeds"}},
		{"an empty band", changed(t, "[dyno]", "[objective]\nband_rpm = []\n[dyno]"), refusal{4, ErrNotPossible, "two engine speeds"}},
		{"a band without end", changed(t, "[dyno]", "[objective]\nband_rpm = [2500, inf]\n[dyno]"), refusal{4, ErrNotPossible, "+Inf"}},
		{"a negative interest", changed(t, "[dyno]", "[objective]\nsmallest_gain_of_interest_pct = -1\n[dyno]"), refusal{4, ErrNotPossible, "-1 %"}},
		{"another primary figure", changed(t, "[dyno]", "[objective]\nprimary = \"peak\"\n[dyno]"), refusal{4, ErrNotPossible, "peak_torque"}},
		{"another drift", changed(t, "[dyno]", "[objective]\ndrift = \"quadratic\"\n[dyno]"), refusal{4, ErrNotPossible, `"any" or "linear"`}},
		{"no inertia", changed(t, "41.8", "0"), refusal{4, ErrNotPossible, "take the key out"}},
		{"a negative inertia", changed(t, "41.8", "-41.8"), refusal{4, ErrNotPossible, "-41.8"}},
		{"an infinite inertia", changed(t, "41.8", "inf"), refusal{4, ErrNotPossible, "+Inf"}},
		{"an inertia that is none", changed(t, "41.8", "nan"), refusal{4, ErrNotPossible, "NaN"}},
		{"uncertainty in per cent", changed(t, "41.8", "41.8\ndrum_inertia_u_kgm2 = 50"), refusal{5, ErrNotPossible, "not in per cent"}},
		{"a radius in mm", changed(t, "0.25", "250"), refusal{5, ErrNotPossible, "at most 10"}},
		{"two coefficients", changed(t, "0.25", "0.25\nparasitic_torque_nm = [1, 2]"), refusal{6, ErrNotPossible, "2 coefficients"}},
		{"a site in space", changed(t, "0.25", "0.25\nsite_elevation_m = 90000"), refusal{6, ErrNotPossible, "9000"}},
		{"a set point without tolerance", more("[procedure]\noil_temp_degc = { target = 90 }\n"), refusal{15, ErrMissing, "tolerance"}},
		{"a negative tolerance", more("[procedure]\noil_temp_degc = { target = 90, tolerance = -1 }\n"), refusal{15, ErrNotPossible, "the tolerance is -1"}},
		{"a scatter without degrees of freedom", more("[history]\nsetup_sd_pct = 0.7\n"), refusal{14, ErrMissing, "setup_df"}},
		{"a negative scatter", more("[history]\nsetup_sd_pct = -0.7\nsetup_df = 5\n"), refusal{15, ErrNotPossible, "-0.7 %"}},
		{"no degrees of freedom", more("[history]\nsetup_sd_pct = 0.7\nsetup_df = 0\n"), refusal{16, ErrNotPossible, "above 0"}},
		{"a component without part", more("components = [ { function = \"cam\" } ]\n"), refusal{14, ErrNotPossible, "function or its part"}},
		{"a control character", changed(t, "id = \"pipe-7\"", "id = \"pipe-7\"\ntitle = \"a\\u001b[2Jb\""), refusal{3, ErrNotPossible, "control character"}},
		{"a misspelt channel", more("[channels]\ndrum_sped = { column = \"v\", unit = \"km/h\" }\n"), refusal{15, ErrUnknownKey, "did you mean drum_speed?"}},
		{"a unit of another dimension", more("[channels]\ndrum_speed = { column = \"v\", unit = \"kPa\" }\n"), refusal{15, ErrUnit, "pressure"}},
		{"an unknown unit", more("[channels]\ntime = { column = \"t\", unit = \"fortnights\" }\n"), refusal{15, ErrUnit, "fortnights"}},
		{"a column twice", more("[channels]\ntime = { column = \"t\", unit = \"s\" }\nlambda = { column = \"t\" }\n"), refusal{16, ErrDuplicate, "that of time already"}},
		{"a decimal mark of its own", more("[channels]\ntime = { column = \"t\", unit = \"s\", decimal = \"'\" }\n"), refusal{15, ErrNotPossible, "decimal mark"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Open(smallFolder(map[string]string{CampaignFile: c.text}))
			c.want.check(t, err)
		})
	}
}

// TestCampaignTellsAll holds that independent faults are told at once, in the
// order of the file, and not more than can be read.
func TestCampaignTellsAll(t *testing.T) {
	text := changed(t, "drum_radius_m = 0.25", "drum_raduis_m = 0.25\ncolour = 1")
	_, err := Open(smallFolder(map[string]string{CampaignFile: text}))
	var list *Errors
	if !errors.As(err, &list) || len(list.List) != 2 || list.More != 0 {
		t.Fatalf("%v; want two errors", err)
	}
	var keys strings.Builder
	for i := range 100 {
		fmt.Fprintf(&keys, "unknown%d = 1\n", i)
	}
	_, err = Open(smallFolder(map[string]string{CampaignFile: smallCampaign + keys.String()}))
	if !errors.As(err, &list) || len(list.List) != maxListed || list.More != 100-maxListed || !strings.Contains(err.Error(), "and 80 more") {
		t.Errorf("%v; want %d errors and 80 more", err, maxListed)
	}
}

// TestCampaignDefaults holds what a folder says that states only what it must.
func TestCampaignDefaults(t *testing.T) {
	folder, err := Open(smallFolder(nil))
	if err != nil {
		t.Fatal(err)
	}
	o := folder.Campaign.Objective
	if o.Confidence != 0.95 || o.Primary != "band" || o.DriftLinear || o.SmallestGain != 0 || o.BandRPM != [2]float64{} {
		t.Errorf("objective %+v", o)
	}
	if folder.Campaign.History != nil || folder.Campaign.Dyno.SiteElevation != nil || folder.Campaign.Channels != nil {
		t.Errorf("campaign %+v", folder.Campaign)
	}
}

// TestCampaignForms holds that TOML's other ways to write the same are read.
func TestCampaignForms(t *testing.T) {
	text := `format = 'fairpull.campaign/1'
id = "pipe-7"
objective.band_rpm = [2_500, 6e3]
objective.drift = "linear"
dyno = { drum_inertia_kgm2 = 41, drum_radius_m = 0.25, site_elevation_m = 0 }
correction.standard = "none"
configuration = [
  { id = "A", role = "baseline", settings = { boost = 1.50, "launch control" = false, map = "b" } },
  { id = "B", role = "candidate" },
]
`
	folder, err := Open(smallFolder(map[string]string{CampaignFile: text}))
	if err != nil {
		t.Fatal(err)
	}
	c := folder.Campaign
	if c.Objective.BandRPM != [2]float64{2500, 6000} || !c.Objective.DriftLinear || c.Dyno.DrumInertia != 41 || c.Dyno.SiteElevation == nil || *c.Dyno.SiteElevation != 0 {
		t.Errorf("%+v", c)
	}
	if got := fmt.Sprint(c.Configurations[0].Settings); got != "[{boost 1.50} {launch control false} {map b}]" {
		t.Errorf("settings %v; want them as written, in the order of the file", got)
	}
}

// TestCampaignDepth holds that deep nesting ends in an error, soon.
func TestCampaignDepth(t *testing.T) {
	start := time.Now()
	for _, text := range []string{
		"x = " + strings.Repeat("[", MaxCampaignBytes-10),
		"x = " + strings.Repeat("{x=", (MaxCampaignBytes-10)/3),
		"[" + strings.Repeat("x.", (MaxCampaignBytes-10)/2) + "x]",
		strings.Repeat("[[x]]\n", (MaxCampaignBytes-10)/6),
		strings.Repeat("x.y.z = 1\n", (MaxCampaignBytes-10)/10),
	} {
		if _, err := Open(smallFolder(map[string]string{CampaignFile: text})); err == nil {
			t.Errorf("%.20s… accepted", text)
		}
	}
	if took := time.Since(start); took > 30*time.Second {
		t.Errorf("took %v", took)
	}
}
