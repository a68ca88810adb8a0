package ingest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"fairpull/campaign"
	"fairpull/internal/demo"
	"fairpull/quantity"
	"fairpull/simulate"
)

// sameMeaning compares campaigns: a start is a moment with its offset, and the
// line of pulls.csv is no part of what a pull says.
var sameMeaning = cmp.Options{
	cmp.Comparer(func(a, b time.Time) bool {
		_, offsetA := a.Zone()
		_, offsetB := b.Zone()
		return a.Equal(b) && offsetA == offsetB
	}),
	cmpopts.IgnoreFields(campaign.Pull{}, "Line"),
}

// again writes a campaign and reads it back from a folder with nothing else.
func again(t interface {
	Helper()
	Fatalf(string, ...any)
}, c campaign.Campaign) campaign.Campaign {
	t.Helper()
	head, err := CampaignTOML(c)
	if err != nil {
		t.Fatalf("campaign.toml: %v", err)
	}
	rows, err := PullsCSV(c)
	if err != nil {
		t.Fatalf("pulls.csv: %v", err)
	}
	files := fstest.MapFS{CampaignFile: {Data: head}, PullsFile: {Data: rows}}
	for _, p := range c.Pulls {
		files[p.Log] = &fstest.MapFile{}
	}
	folder, err := Open(files)
	if err != nil {
		t.Fatalf("%v\n%s\n%s", err, head, rows)
	}
	return folder.Campaign
}

func TestWrittenFoldersReadBack(t *testing.T) {
	check := func(name string, folder *Folder, err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		defer folder.Close()
		if diff := cmp.Diff(folder.Campaign, again(t, folder.Campaign), sameMeaning); diff != "" {
			t.Errorf("%s reads back with differences (-first +again):\n%s", name, diff)
		}
	}
	folder, err := Open(demo.Campaign())
	check("the demo", folder, err)
	for _, name := range simulate.Names() {
		scenario, err := simulate.Named(name)
		if err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(t.TempDir(), name)
		if err := scenario.Write(dir); err != nil {
			t.Fatal(err)
		}
		folder, err := OpenDir(dir)
		check(name, folder, err)
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
	}
}

// drawn makes the parts of a campaign that can be analysed.
type drawn struct{ *rapid.T }

// text is any text that a campaign may hold, often one that would break out of
// quotes that are not kept.
func (d drawn) text(label string) string {
	hostile := rapid.SampledFrom([]string{
		`"`, `""`, `'''`, `"""`, `\`, `\u0041`, "a\nb", "[dyno]", "x = 1 # no", "a;b,c\td", "=1+1", "\u2028", "\ufeff", "é\u0301", "ünï", "-", "{", "}", "a\rb",
	})
	plain := rapid.StringOfN(rapid.Rune().Filter(func(r rune) bool { return campaign.CheckText(string(r)) == nil && r != 0xFFFD }), 0, 12, -1)
	return rapid.OneOf(plain, hostile).Draw(d.T, label)
}

// cell is a text as a cell of pulls.csv gives it.
func (d drawn) cell(label string) string {
	return strings.ReplaceAll(strings.TrimSpace(d.text(label)), "\r", "")
}

func (d drawn) slug(label string) string {
	return rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9._-]{0,12}`).Draw(d.T, label)
}

// name names a pull, a setup or a column.
func (d drawn) name(label string) string {
	ok := func(s string) bool { return campaign.CheckName(s) == nil && strings.TrimSpace(s) == s }
	r := rapid.Rune().Filter(func(r rune) bool { return campaign.CheckName(string(r)) == nil && r != 0xFFFD })
	return rapid.OneOf(rapid.StringOfN(r, 1, 8, 60), rapid.SampledFrom([]string{`a"b`, `"`, "a,b", "a;b", "a b", "=x"})).Filter(ok).Draw(d.T, label)
}

// number is in (0, hi].
func (d drawn) number(label string, hi float64) float64 {
	decimals := rapid.Map(rapid.IntRange(1, 9999), func(n int) float64 { return hi * float64(n) / 10000 })
	return rapid.OneOf(decimals, rapid.Float64Range(hi*1e-9, hi)).Draw(d.T, label)
}

func (d drawn) maybe(label string, hi float64) float64 {
	if rapid.Bool().Draw(d.T, label+" stated") {
		return d.number(label, hi)
	}
	return 0
}

func (d drawn) campaign() campaign.Campaign {
	c := campaign.Campaign{
		ID: d.slug("id"), Title: d.text("title"), Purpose: d.text("purpose"), Correction: "x" + d.text("correction"),
		Objective: campaign.Objective{
			SmallestGain: d.maybe("gain", 99) / 100, Confidence: d.number("confidence", 0.99), DriftLinear: rapid.Bool().Draw(d.T, "linear"),
			Primary: rapid.SampledFrom([]campaign.Primary{campaign.PrimaryBand, campaign.PrimaryPeakTorque, campaign.PrimaryPeakPower}).Draw(d.T, "primary"),
		},
		Vehicle: campaign.Vehicle{
			ID: d.slug("vehicle"), Description: d.text("description"), TyreSpeedSymbol: d.text("symbol"), Class: rapid.SampledFrom([]string{"", "twin-650", `twin 650 "A"`}).Draw(d.T, "class"), TestGear: rapid.IntRange(0, 20).Draw(d.T, "gear"),
			MassWithRider: quantity.Kilogram(d.maybe("mass", 500)), EngineRevsPerDrumRev: d.maybe("ratio", 20),
			WheelInertia: quantity.KilogramSquareMetre(d.maybe("wheel inertia", 5)), WheelRadius: quantity.Metre(d.maybe("wheel radius", 1)),
		},
		Dyno: campaign.Dyno{
			ID: d.slug("dyno"), DrumInertia: quantity.KilogramSquareMetre(50 + d.number("inertia", 50)), DrumInertiaU: quantity.KilogramSquareMetre(d.maybe("inertia u", 1)),
			DrumRadius: quantity.Metre(d.maybe("radius", 1)), PulsesPerRev: rapid.IntRange(0, 100).Draw(d.T, "pulses"), EnginePulsesPerRev: d.maybe("engine pulses", 4),
			Parasitic: [3]float64{d.maybe("c0", 5), -d.maybe("c1", 0.1), d.maybe("c2", 0.001)}, BrakeArm: quantity.Metre(d.maybe("arm", 1)),
		},
	}
	if rapid.Bool().Draw(d.T, "band") {
		lo := d.number("band lo", 5000)
		c.Objective.BandRPM = [2]float64{lo, lo + d.number("band width", 5000) + 1}
	}
	if rapid.Bool().Draw(d.T, "elevation") {
		c.Dyno.SiteElevation = pointer(quantity.Metre(rapid.Float64Range(-400, 4000).Draw(d.T, "m")))
	}
	if rapid.Bool().Draw(d.T, "history") {
		c.History = &campaign.History{Assumed: rapid.Bool().Draw(d.T, "assumed")}
		for _, row := range [][2]*float64{{&c.History.SetupSD, &c.History.SetupDF}, {&c.History.BlockSD, &c.History.BlockDF}, {&c.History.PullSD, &c.History.PullDF}} {
			if rapid.Bool().Draw(d.T, "sd") {
				*row[0], *row[1] = d.number("sd", 50)/100, d.number("df", 100)
			}
		}
	}
	if rapid.Bool().Draw(d.T, "channels") {
		c.Channels = campaign.ChannelMap{"engine_speed": {Column: strings.TrimSpace(d.text("column")), Unit: "1/min", DecimalMark: rapid.SampledFrom([]byte{0, '.', ','}).Draw(d.T, "mark")}}
	}
	d.configurations(&c)
	d.plan(&c)
	d.pulls(&c)
	return c
}

func (d drawn) configurations(c *campaign.Campaign) {
	for i, id := range rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9._-]{0,5}`), 2, 4, rapid.ID).Draw(d.T, "configurations") {
		one := campaign.Configuration{ID: id, Role: campaign.Candidate, Name: d.text("name"), WheelRadius: quantity.Metre(d.maybe("own radius", 1))}
		if i == 0 {
			one.Role = campaign.Baseline
		}
		for range rapid.IntRange(0, 2).Draw(d.T, "components") {
			one.Components = append(one.Components, campaign.Component{Function: "f" + d.text("function"), Part: "p" + d.text("part"), Serial: d.text("serial"), Batch: d.text("batch")})
		}
		for j := range rapid.IntRange(0, 3).Draw(d.T, "settings") {
			one.Settings = append(one.Settings, campaign.Setting{Key: d.text("key") + strconv.Itoa(9-j), Value: d.text("value")})
		}
		c.Configurations = append(c.Configurations, one)
	}
}

// pulls draws pulls whose oil temperature was written with a point or, in the
// whole file, with a comma, as a lab's spreadsheet does it.
func (d drawn) pulls(c *campaign.Campaign) {
	mark := rapid.SampledFrom([]string{".", ","}).Draw(d.T, "decimal mark")
	c.Procedure = []campaign.SetPoint{{Key: "oil_temp_degc", Target: d.number("target", 120), Tolerance: d.maybe("tolerance", 10)}, {Key: "a key", Target: -1.5}}
	c.ExtraColumns = append(rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) string { return "x" + drawn{t}.name("column") }), 0, 3, rapid.ID).Draw(d.T, "columns"), "oil_temp_degc")
	begin := time.Date(2026, 3, 2, 14, 0, 0, 0, time.FixedZone("", 60*rapid.IntRange(-720, 840).Draw(d.T, "offset")))
	for i := range rapid.IntRange(len(c.Configurations), 8).Draw(d.T, "pulls") {
		begin = begin.Add(time.Duration(rapid.Int64Range(1, 1e12).Draw(d.T, "later")))
		p := campaign.Pull{
			Name: d.name("pull") + strconv.Itoa(i), Started: begin, Configuration: c.Configurations[i%len(c.Configurations)].ID, Setup: d.name("setup"),
			Log: fmt.Sprintf("logs/%d %s.csv", i, d.slug("log")), Values: map[string]string{}, Measured: map[string]float64{},
			CorrectionFactor: d.maybe("factor", 2), CorrectionApplied: d.cell("applied"),
		}
		if i >= len(c.Configurations) {
			p.Excluded = "because " + d.cell("excluded")
			p.Excluded = strings.TrimSpace(p.Excluded)
		}
		d.weather(&p.Weather)
		for _, name := range c.ExtraColumns {
			p.Values[name] = d.cell("value")
		}
		p.Values["oil_temp_degc"] = ""
		if rapid.Bool().Draw(d.T, "oil") {
			tenths := rapid.IntRange(0, 1500).Draw(d.T, "tenths")
			p.Values["oil_temp_degc"] = fmt.Sprintf("%d%s%d", tenths/10, mark, tenths%10)
			p.Measured["oil_temp_degc"] = float64(tenths) / 10
		}
		c.Pulls = append(c.Pulls, p)
	}
}

// weather draws air in the units of pulls.csv.
func (d drawn) weather(w *campaign.Weather) {
	if rapid.Bool().Draw(d.T, "pressure") {
		w.Pressure = pointer(quantity.Pascal(1000 * (90 + d.number("kPa", 15))))
	}
	if rapid.Bool().Draw(d.T, "temperature") {
		w.Temperature = pointer(quantity.Celsius(d.number("degC", 40)))
	}
	switch rapid.IntRange(0, 3).Draw(d.T, "humidity") {
	case 1:
		w.RelativeHumidity = pointer(d.number("pct", 100) / 100)
	case 2:
		w.VapourPressure = pointer(quantity.Pascal(1000 * d.number("vapour kPa", 2)))
	case 3:
		w.WetBulb = pointer(quantity.Celsius(d.number("wet bulb", 20)))
	}
}

// TestWriteThenRead: whatever a campaign says, its folder says again.
func TestWriteThenRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawn{t}.campaign()
		if problems := c.Problems(); len(problems) > 0 {
			t.Skip(problems[0].Error())
		}
		if diff := cmp.Diff(c, again(t, c), sameMeaning); diff != "" {
			t.Fatalf("it reads back with differences (-first +again):\n%s", diff)
		}
	})
}

// small returns the campaign of the smallest folder.
func small(t *testing.T) campaign.Campaign {
	t.Helper()
	folder, err := Open(smallFolder(nil))
	if err != nil {
		t.Fatal(err)
	}
	return folder.Campaign
}

func TestNotWritable(t *testing.T) {
	for name, spoil := range map[string]func(*campaign.Campaign){
		"a text that is not UTF-8":    func(c *campaign.Campaign) { c.Title = "a\xff" },
		"a number that is not finite": func(c *campaign.Campaign) { c.Dyno.Parasitic[0] = nan() },
		"a setting named twice": func(c *campaign.Campaign) {
			c.Configurations[0].Settings = []campaign.Setting{{Key: "a", Value: "1"}, {Key: "a", Value: "2"}}
		},
		"a text longer than the file may be": func(c *campaign.Campaign) { c.Purpose = strings.Repeat("x", MaxCampaignBytes) },
		"a decimal mark that is none": func(c *campaign.Campaign) {
			c.Channels = campaign.ChannelMap{"engine_speed": {DecimalMark: ';'}}
		},
	} {
		c := small(t)
		spoil(&c)
		if text, err := CampaignTOML(c); !errors.Is(err, ErrNotWritable) || text != nil {
			t.Errorf("%s: %v\n%s", name, err, text)
		}
	}
	for name, spoil := range map[string]func(*campaign.Campaign){
		"a cell with blanks at its end":  func(c *campaign.Campaign) { c.Pulls[0].Setup = "s1 " },
		"a column named as a known one":  func(c *campaign.Campaign) { c.ExtraColumns = []string{"log"} },
		"a value without a column":       func(c *campaign.Campaign) { c.Pulls[0].Values = map[string]string{"note": "x"} },
		"a log above the folder":         func(c *campaign.Campaign) { c.Pulls[0].Log = "../1.csv" },
		"a start without an RFC 3339":    func(c *campaign.Campaign) { c.Pulls[0].Started = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC) },
		"a zero byte":                    func(c *campaign.Campaign) { c.Pulls[0].Excluded = "a\x00" },
		"a humidity that is no number":   func(c *campaign.Campaign) { c.Pulls[0].Weather.RelativeHumidity = pointer(nan()) },
		"an exclusion that is an answer": func(c *campaign.Campaign) { c.Pulls[0].Excluded = "no" },
	} {
		c := small(t)
		c.Pulls = slices.Clone(c.Pulls)
		spoil(&c)
		if text, err := PullsCSV(c); !errors.Is(err, ErrNotWritable) || text != nil {
			t.Errorf("%s: %v\n%s", name, err, text)
		}
	}
}

func nan() float64 { zero := 0.0; return zero / zero }

// A fraction that no percentage reads back as is written as the nearest, which
// then reads back as itself.
func TestFractionsWithoutAPercentage(t *testing.T) {
	unreachable := 0
	for n := 1; n < 2000; n++ {
		c := small(t)
		c.Objective.SmallestGain = float64(n) / 2003
		got := again(t, c).Objective.SmallestGain
		if got != c.Objective.SmallestGain {
			unreachable++
		}
		if d := got/c.Objective.SmallestGain - 1; d > 2.3e-16 || d < -2.3e-16 {
			t.Fatalf("%v reads back as %v", c.Objective.SmallestGain, got)
		}
		c.Objective.SmallestGain = got
		if settled := again(t, c).Objective.SmallestGain; settled != got {
			t.Fatalf("%v reads back as %v", got, settled)
		}
	}
	if unreachable == 0 {
		t.Error("every fraction had a percentage: the test shows nothing")
	}
}

func TestFormWithoutPulls(t *testing.T) {
	c := small(t)
	c.Pulls, c.ExtraColumns = nil, []string{"note"}
	text, err := PullsCSV(c)
	if want := "pull,started,configuration,setup,log,note\n"; err != nil || string(text) != want {
		t.Errorf("%q, %v; want %q", text, err, want)
	}
}
