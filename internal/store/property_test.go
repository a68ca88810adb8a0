package store

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fairpull/campaign"
	"fairpull/quantity"
)

// drawn makes generators for the parts of a record. Texts are any UTF-8 without
// zero bytes, numbers any finite ones: the store keeps more than an analysis
// accepts.
type drawn struct{ *rapid.T }

func (d drawn) text(label string) string {
	return rapid.StringOfN(rapid.Rune().Filter(func(r rune) bool { return r != 0 && r != 0xFFFD }), 0, 20, -1).Draw(d.T, label)
}

// nameable reports whether a pull's name may hold r.
func nameable(r rune) bool { return campaign.CheckName(string(r)) == nil && r != 0xFFFD }

func (d drawn) slug(label string) string {
	return rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9._-]{0,12}`).Draw(d.T, label)
}

func (d drawn) number(label string) float64 {
	return rapid.Float64().Draw(d.T, label)
}

func (d drawn) maybe(label string) *float64 {
	return rapid.Ptr(rapid.Float64(), true).Draw(d.T, label)
}

// optional draws a pointer to another type of number.
func optional[N ~float64](d drawn, label string) *N {
	v := d.maybe(label)
	if v == nil {
		return nil
	}
	n := N(*v)
	return &n
}

func (d drawn) record(id string) Record {
	r := Record{Logs: map[string][]byte{}, CampaignFile: d.bytes("campaign.toml"), PullsFile: d.bytes("pulls.csv")}
	c := &r.Campaign
	c.ID, c.Title, c.Purpose, c.Correction = id, d.text("title"), d.text("purpose"), d.text("correction")
	c.Objective = campaign.Objective{
		BandRPM: [2]float64{d.number("lo"), d.number("hi")}, SmallestGain: d.number("gain"), Confidence: d.number("confidence"),
		Primary: campaign.Primary(d.text("primary")), DriftLinear: rapid.Bool().Draw(d.T, "linear"),
	}
	c.Vehicle = campaign.Vehicle{
		ID: d.slug("vehicle"), Description: d.text("description"), MassWithRider: quantity.Kilogram(d.number("mass")),
		TestGear: rapid.Int().Draw(d.T, "gear"), EngineRevsPerDrumRev: d.number("ratio"),
		WheelInertia: quantity.KilogramSquareMetre(d.number("wheel")), WheelRadius: quantity.Metre(d.number("radius")), TyreSpeedSymbol: d.text("tyre"),
	}
	c.Dyno = campaign.Dyno{
		ID: d.slug("dyno"), DrumInertia: quantity.KilogramSquareMetre(d.number("drum")), DrumInertiaU: quantity.KilogramSquareMetre(d.number("u")),
		PulsesPerRev: rapid.Int().Draw(d.T, "pulses"), Parasitic: [3]float64{d.number("c0"), d.number("c1"), d.number("c2")},
		SiteElevation: optional[quantity.Metre](d, "elevation"),
	}
	for _, id := range rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z0-9]{1,6}`), 1, 4, rapid.ID[string]).Draw(d.T, "configurations") {
		c.Configurations = append(c.Configurations, d.configuration(id))
	}
	for _, key := range rapid.SliceOfN(rapid.StringMatching(`[a-z_]{1,12}`), 0, 3).Draw(d.T, "set points") {
		c.Procedure = append(c.Procedure, campaign.SetPoint{Key: key, Target: d.number("target"), Tolerance: d.number("tolerance")})
	}
	if rapid.Bool().Draw(d.T, "history") {
		c.History = &campaign.History{SetupSD: d.number("sd"), SetupDF: d.number("df"), Assumed: rapid.Bool().Draw(d.T, "assumed")}
	}
	if rapid.Bool().Draw(d.T, "channels") {
		c.Channels = campaign.ChannelMap{d.text("channel"): {Column: d.text("column"), Unit: d.text("unit"), DecimalMark: rapid.Byte().Draw(d.T, "mark")}}
	}
	c.ExtraColumns = rapid.SliceOfN(rapid.StringMatching(`[a-z]{1,6}`), 0, 3).Draw(d.T, "columns")
	for _, name := range rapid.SliceOfNDistinct(rapid.StringOfN(rapid.Rune().Filter(nameable), 1, 10, -1), 0, 6, rapid.ID[string]).Draw(d.T, "pulls") {
		pull := d.pull(name, c.Configurations)
		c.Pulls = append(c.Pulls, pull)
		r.Logs[pull.Log] = d.bytes("log")
	}
	return r
}

func (d drawn) bytes(label string) []byte { return rapid.SliceOf(rapid.Byte()).Draw(d.T, label) }

func (d drawn) configuration(id string) campaign.Configuration {
	c := campaign.Configuration{
		ID: id, Role: campaign.Role(d.text("role")), Name: d.text("name"), WheelRadius: quantity.Metre(d.number("radius")),
	}
	for range rapid.IntRange(0, 2).Draw(d.T, "parts") {
		c.Components = append(c.Components, campaign.Component{Function: d.text("function"), Part: d.text("part"), Serial: d.text("serial"), Batch: d.text("batch")})
		c.Settings = append(c.Settings, campaign.Setting{Key: d.text("key"), Value: d.text("value")})
	}
	return c
}

func (d drawn) pull(name string, configurations []campaign.Configuration) campaign.Pull {
	offset := rapid.IntRange(-12*60, 14*60).Draw(d.T, "offset in minutes")
	second := rapid.Int64Range(-60_000_000_000, 250_000_000_000).Draw(d.T, "second") // years 68 to 9892
	started := time.Unix(second, rapid.Int64Range(0, 999_999_999).Draw(d.T, "nanosecond")).In(time.FixedZone("", 60*offset))
	if offset == 0 {
		started = started.UTC()
	}
	return campaign.Pull{
		Name: name, Started: started, Configuration: rapid.SampledFrom(configurations).Draw(d.T, "configuration").ID,
		Setup: rapid.StringMatching(`s[0-9]`).Draw(d.T, "setup"), Log: fmt.Sprintf("logs/%x.csv", name),
		Weather: campaign.Weather{
			Pressure: optional[quantity.Pascal](d, "pressure"), Temperature: optional[quantity.Kelvin](d, "temperature"),
			RelativeHumidity: d.maybe("humidity"), WetBulb: optional[quantity.Kelvin](d, "wet bulb"),
		},
		Excluded: d.text("excluded"), CorrectionApplied: d.text("applied"), CorrectionFactor: d.number("factor"),
		Values:   rapid.MapOfN(rapid.StringMatching(`[a-z]{1,6}`), rapid.StringMatching(`[^\x00\x{fffd}]{0,8}`), 0, 3).Draw(d.T, "values"),
		Measured: rapid.MapOfN(rapid.StringMatching(`[a-z]{1,6}`), rapid.Float64(), 0, 3).Draw(d.T, "measured"),
		Line:     rapid.IntRange(0, 1<<40).Draw(d.T, "line"),
	}
}

// Whatever campaign goes in comes back: the same value, the same bytes; and
// again after another has taken its place, when both are there.
func TestPutGetProperty(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		n := 0
		rapid.Check(t, func(rt *rapid.T) {
			n++
			id := fmt.Sprintf("campaign-%d", n)
			versions := []Record{drawn{rt}.record(id), drawn{rt}.record(id)}
			for i, r := range versions {
				if _, err := s.Supersede(t.Context(), r, anna); err != nil {
					rt.Fatal(err)
				}
				if got, err := s.Get(t.Context(), id); err != nil || !reflect.DeepEqual(got, normal(r)) {
					rt.Fatalf("version %d came back changed, %v:\n%s", i+1, err, cmp.Diff(normal(r), got))
				}
				if c, err := s.Put(t.Context(), r, anna); err != nil || c.Changed() {
					rt.Fatalf("the same record again gives %+v, %v", c, err)
				}
			}
			if got, err := s.GetVersion(t.Context(), id, 1); err != nil || !reflect.DeepEqual(got, normal(versions[0])) {
				rt.Fatalf("version 1 came back changed, %v:\n%s", err, cmp.Diff(normal(versions[0]), got))
			}
		})
		report, err := s.Check(t.Context())
		if err != nil || !report.Clean() {
			t.Errorf("the doctor finds %v, %v", report.Problems, err)
		}
	})
}

// normal gives an empty file as the store does.
func normal(r Record) Record {
	r.Logs = maps.Clone(r.Logs)
	for path, data := range r.Logs {
		r.Logs[path] = append([]byte{}, data...)
	}
	for _, data := range []*[]byte{&r.CampaignFile, &r.PullsFile} {
		if *data != nil {
			*data = append([]byte{}, slices.Clone(*data)...)
		}
	}
	return r
}

func TestPutRefusesWhatItCouldNotGiveBack(t *testing.T) {
	s := initialise(t, t.TempDir()+"/lab")
	nan := 0.0
	nan /= nan
	for name, spoil := range map[string]func(*Record){
		"id that is no slug":       func(r *Record) { r.Campaign.ID = "../twin" },
		"text that is not UTF-8":   func(r *Record) { r.Campaign.Title = "Kr\xfcmmer" },
		"number that is none":      func(r *Record) { r.Campaign.Pulls[0].CorrectionFactor = nan },
		"configuration twice":      func(r *Record) { r.Campaign.Configurations[1].ID = "A" },
		"pull twice":               func(r *Record) { r.Campaign.Pulls[1].Name = "1" },
		"undeclared configuration": func(r *Record) { r.Campaign.Pulls[0].Configuration = "C" },
		"no setup":                 func(r *Record) { r.Campaign.Pulls[0].Setup = "" },
		"log not given":            func(r *Record) { delete(r.Logs, r.Campaign.Pulls[0].Log) },
		"log of no pull":           func(r *Record) { r.Logs["logs/999.csv"] = nil },
		"log out of the folder":    func(r *Record) { r.Campaign.Pulls[0].Log = "../1.csv"; r.Logs["../1.csv"] = nil },
		"start in the year 10000":  func(r *Record) { r.Campaign.Pulls[0].Started = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		r := example("twin", 2)
		spoil(&r)
		if c, err := s.Put(t.Context(), r, anna); err == nil || c.Changed() {
			t.Errorf("%s: got %+v, %v; want a refusal", name, c, err)
		}
	}
	if page, err := s.List(t.Context(), Query{}); err != nil || len(page.Campaigns) != 0 {
		t.Errorf("something was kept: %v, %v", page, err)
	}
	clean(t, s)
}
