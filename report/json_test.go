package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
)

// keys lists the object keys of a JSON text in order, as paths; of an array only
// the first element counts.
func keys(t *testing.T, data []byte) []string {
	t.Helper()
	decoder := json.NewDecoder(bytes.NewReader(data))
	var out []string
	var value func(path string, count bool)
	value = func(path string, count bool) {
		token, err := decoder.Token()
		if err != nil && !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
		switch token {
		case json.Delim('{'):
			for decoder.More() {
				name, err := decoder.Token()
				if err != nil {
					t.Fatal(err)
				}
				here := path + "/" + name.(string)
				if count {
					out = append(out, here)
				}
				value(here, count)
			}
			decoder.Token()
		case json.Delim('['):
			for first := true; decoder.More(); first = false {
				value(path, count && first)
			}
			decoder.Token()
		}
	}
	value("", true)
	return out
}

// The example of docs/formats.md, section 2, fixes names and order of the keys.
func TestJSONHasTheKeysOfTheFormat(t *testing.T) {
	example, err := os.ReadFile("testdata/gain_example.json")
	if err != nil {
		t.Fatal(err)
	}
	got, err := sample().JSON()
	if err != nil {
		t.Fatal(err)
	}
	if g, w := keys(t, got), keys(t, example); !reflect.DeepEqual(g, w) {
		t.Errorf("keys\n%s\nwant those of the format\n%s", strings.Join(g, "\n"), strings.Join(w, "\n"))
	}
	if len(keys(t, example)) < 60 {
		t.Errorf("only %d keys were seen in the example: the test looks in the wrong place", len(keys(t, example)))
	}
}

func TestJSONTwiceIsTheSame(t *testing.T) {
	a, errA := sample().JSON()
	b, errB := sample().JSON()
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Errorf("two writings differ, or failed: %v, %v", errA, errB)
	}
}

// parsed reads the gain result into loose maps, as another program would.
func parsed(t *testing.T, g *Gain) map[string]any {
	t.Helper()
	data, err := g.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatalf("%v in\n%s", err, data)
	}
	return out
}

func first(t *testing.T, v any) map[string]any {
	t.Helper()
	list, ok := v.([]any)
	if !ok || len(list) == 0 {
		t.Fatalf("%v is no list with an element", v)
	}
	return list[0].(map[string]any)
}

// Per cent is 100·(exp θ − 1), unrounded; torque N·m, power kW, SDs ×100.
func TestJSONNumbers(t *testing.T) {
	g := sample()
	c := &g.Comparisons[0]
	c.Band.Gain, c.Band.Lo, c.Band.Hi, c.Band.AtLeast = math.Log(1.0671234567), math.Log(1.05), math.Log(1.08), math.Log(1.06)
	c.PeakPower.BaselineLevel = 38123.456
	g.Pulls[0].PeakPowerW = 37912.3
	out := parsed(t, g)
	comparison := first(t, out["comparisons"])
	band, power := comparison["band"].(map[string]any), comparison["peak_power"].(map[string]any)
	for _, row := range []struct {
		name      string
		got, want any
	}{
		{"gain", band["gain_pct"], 6.71234567}, {"lo", band["lo_pct"], 5.0}, {"hi", band["hi_pct"], 8.0}, {"at least", band["at_least_pct"], 6.0},
		{"power", power["baseline_kw"], 38.123456}, {"pull power", first(t, out["pulls"])["peak_power_kw"], 37.9123},
		{"setup SD", comparison["scatter"].(map[string]any)["setup_sd_pct"], 0.7},
		{"drift", comparison["drift"].(map[string]any)["pct_per_hour"], 100 * (math.Exp(0.004) - 1)},
	} {
		if v, ok := row.got.(float64); !ok || !(math.Abs(v-row.want.(float64)) <= 1e-9) {
			t.Errorf("%s is %v; want %v", row.name, row.got, row.want)
		}
	}
}

// What cannot be had is null, as docs/formats.md, section 2, says.
func TestJSONNulls(t *testing.T) {
	g := sample()
	c := &g.Comparisons[0]
	c.Band.Missing = "pull 3 misses part of the riding band"
	c.PeakTorque.Missing = "the peak is at the edge of the shared range"
	c.PeakPower.Interval = false
	c.Drift = compare.Drift{PerHour: math.NaN(), Lo: math.NaN(), Hi: math.NaN()}
	c.Scatter.SetupSD, c.Scatter.SetupDF, c.Scatter.Source = math.NaN(), 0, compare.FromNone
	c.Curve[0].Interval = false
	g.Checks[0].Pulls, g.Checks[0].Measured = nil, nil
	out := parsed(t, g)
	comparison := first(t, out["comparisons"])
	if comparison["band"] != nil {
		t.Errorf("band is %v; want null: a pull misses part of it", comparison["band"])
	}
	torque := comparison["peak_torque"].(map[string]any)
	if torque["baseline_nm"] == nil || torque["candidate_rpm"] == nil {
		t.Errorf("a peak at the edge keeps its level: %v", torque)
	}
	power := comparison["peak_power"].(map[string]any)
	if power["gain_pct"] == nil {
		t.Errorf("a gain without an interval is still a gain: %v", power)
	}
	curve := comparison["curve"].([]any)
	outside, inside := curve[1].(map[string]any), curve[20].(map[string]any)
	if inside["band_lo_pct"] == nil || inside["lo_pct"] == nil {
		t.Errorf("within the riding band there are limits: %v", inside)
	}
	for name, v := range map[string]any{
		"peak torque gain": torque["gain_pct"], "peak torque at least": torque["at_least_pct"],
		"peak power lo": power["lo_pct"], "peak power at least": power["at_least_pct"],
		"first node lo": curve[0].(map[string]any)["lo_pct"], "band limits outside the band": outside["band_hi_pct"],
		"drift":    comparison["drift"].(map[string]any)["pct_per_hour"],
		"setup SD": comparison["scatter"].(map[string]any)["setup_sd_pct"], "setup df": comparison["scatter"].(map[string]any)["setup_df"],
		"measured": first(t, out["checks"])["measured"], "factor of an unused pull": out["pulls"].([]any)[9].(map[string]any)["correction_factor"],
	} {
		if v != nil {
			t.Errorf("%s is %v; want null", name, v)
		}
	}
	if pulls, ok := first(t, out["checks"])["pulls"].([]any); !ok || len(pulls) != 0 {
		t.Errorf("pulls of a check of the whole campaign: %v; want an empty list", first(t, out["checks"])["pulls"])
	}
	if v := comparison["drift"].(map[string]any)["detected"]; v != false {
		t.Errorf("detected is %v; want false", v)
	}
}

func TestJSONOfAnEmptyCampaign(t *testing.T) {
	out := parsed(t, &Gain{Campaign: campaign.Campaign{ID: "x", Objective: campaign.Objective{Confidence: 0.9}}})
	for _, key := range []string{"comparisons", "pulls", "checks"} {
		if list, ok := out[key].([]any); !ok || len(list) != 0 {
			t.Errorf("%s is %v; want an empty list", key, out[key])
		}
	}
}

func BenchmarkJSON(b *testing.B) {
	g := sample()
	for b.Loop() {
		if _, err := g.JSON(); err != nil {
			b.Fatal(err)
		}
	}
}
