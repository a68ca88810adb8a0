package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"fairpull/compare"
	"fairpull/quantity"
)

// roadSample is an invented answer: a roll-on, one outside of the curve, a top speed that
// the curve ends, and a ride.
func roadSample() *Road {
	f := func(v, half float64) RoadFigure {
		return RoadFigure{v, half / 2, v - half, v + half, v - 0.8*half, v + 0.8*half}
	}
	g := &Gain{}
	g.Campaign.ID, g.Campaign.Title = "c-1", "A kit"
	g.Comparisons = []compare.Comparison{{Baseline: "A", Candidate: "B", Confidence: 0.95, Verdict: compare.GainShown, Band: compare.Figure{Interval: true, Gain: 0.05, Lo: 0.04, Hi: 0.06, AtLeast: 0.042}}}
	none := math.NaN()
	return &Road{
		Gain: g, Candidate: "B", Draws: 4000,
		Answers: []RoadAnswer{
			{Kind: RoadRollOn, Gear: 4, From: 60 / 3.6, To: 100 / 3.6, Interval: true, Without: f(3.4, 0.2), With: f(3.15, 0.19), Change: f(-0.25, 0.05)},
			{Kind: RoadRollOn, Gear: 4, From: 20, To: 60, Missing: &RoadMissing{Gear: 4, RPM: 11736.2, FromRPM: 2750, ToRPM: 7550}},
			{Kind: RoadToSpeed, To: 60, Missing: &RoadMissing{Gear: 6, Speed: 50}},
			{Kind: RoadTop, Interval: true, Without: f(50, 1), With: f(51, 1), Change: f(1, 0.5), Ends: [2]string{EndsByResistance, EndsByCurve}},
			{Kind: RoadOver, Way: 400, Unanswered: 0.2, Without: RoadFigure{13, none, none, none, none, none}, With: RoadFigure{12.5, none, none, none, none, none}, Change: RoadFigure{-0.5, none, none, none, none, none}},
		},
		Weighted: &RoadWeighted{Gain: RoadFigure{0.056, 0.005, 0.045, 0.067, 0.0473, 0.065}, Covered: 0.9, Source: "the log ride.csv", Bins: []RoadBin{{3000, 4000, 0.4}, {4000, 5000, 0.6}}},
		Inputs:   []RoadInput{{"mass with rider", "285 kg", "entered"}},
		Power:    RoadPower{Gears: []RoadGear{{4, []float64{10, 20}, []float64{1e4, 2e4}, []float64{1.1e4, 2.1e4}, []float64{100, 100}, []float64{100, 100}}}, Speed: []float64{0, 10, 20}, Load: []float64{0, 400, 3000}},
	}
}

// Times with their intervals, rounded to them; what may be promised is rounded down; a
// speed is converted, and 60 to 100 km/h are 37.3 to 62.1 mph (1 mile is 1609.344 m).
func TestRoadSentences(t *testing.T) {
	r := roadSample()
	si, us := r.Sentences(quantity.SI), r.Sentences(quantity.USCustomary)
	for i, want := range []string{
		"60 to 100 km/h in gear 4: 3.40 ± 0.20 s without the part, 3.15 ± 0.19 s with it; change −0.250 s (−0.300 to −0.200 s), at least 0.210 s less.",
		"72 to 216 km/h in gear 4: gear 4 would turn the engine at 11736 rpm, and torque was measured from 2750 to 7550 rpm: other speeds or another gear can be asked for.",
		"From standstill to 216 km/h: not reached: in gear 6 no force is left at 180 km/h.",
		"Top speed: 180.0 ± 3.6 km/h without the part, 183.6 ± 3.6 km/h with it; change +3.6 km/h (+1.8 to +5.4 km/h). The torque was measured up to this speed, and the vehicle may be faster.",
		"400 m from standstill: 13.0 s without the part, 12.5 s with it; change −0.5 s. The interval is not known: in 20 % of the draws the question has no answer.",
		"Where the rider spends time (the log ride.csv) the gain at full throttle is +5.6 % on average (95 % interval +4.5 % to +6.7 %), at least 4.7 %. 90 % of that time is at engine speeds that were measured; the rest does not count.",
	} {
		if si[i] != want {
			t.Errorf("got  %s\nwant %s", si[i], want)
		}
	}
	if !strings.HasPrefix(us[0], "37.3 to 62.1 mph in gear 4:") || !strings.Contains(us[3], "+2.2 mph") {
		t.Errorf("%s\n%s", us[0], us[3])
	}
}

// Where the gain is not shown nothing may be promised, in words, table and JSON.
func TestRoadPromisesNothingUnshown(t *testing.T) {
	r := roadSample()
	r.Gain.Comparisons[0].Verdict, r.Gain.Comparisons[0].Reasons = compare.NotEnoughEvidence, []compare.Reason{compare.OpenCheck}
	if s := strings.Join(r.Sentences(quantity.SI), " "); strings.Contains(s, "at least") {
		t.Errorf("promised: %s", s)
	}
	for _, row := range r.table(quantity.SI).Rows {
		if row[5] != "–" {
			t.Errorf("promised: %v", row)
		}
	}
	data, err := r.JSON()
	if err != nil || !strings.Contains(string(data), `"shown": false`) {
		t.Errorf("%v, %s", err, data)
	}
}

// All forms say the same sentences, and strings of a file are shown as text.
func TestRoadForms(t *testing.T) {
	r := roadSample()
	r.Gain.Campaign.Title = "A <kit>\x1b[31m"
	var text, html, svg, pdf, png bytes.Buffer
	for _, err := range []error{
		r.Text(&text, TextOptions{Width: 4000, Units: quantity.SI}), r.HTML(&html, quantity.SI), r.SVG(&svg, quantity.SI), r.PDF(&pdf, quantity.USCustomary), r.PNG(&png, quantity.SI),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range r.Sentences(quantity.SI) {
		if !strings.Contains(text.String(), s) {
			t.Errorf("the text misses %q", s)
		}
	}
	if strings.Contains(html.String(), "<kit>") || strings.Contains(text.String(), "\x1b") {
		t.Error("a title of a file is not shown as text")
	}
	for _, want := range []string{"−0.250 s", "0.210 s less", "285 kg", "level road"} {
		if !strings.Contains(html.String(), want) {
			t.Errorf("the page misses %q", want)
		}
	}
	if !bytes.HasPrefix(pdf.Bytes(), []byte("%PDF")) || !bytes.HasPrefix(png.Bytes(), []byte("\x89PNG")) {
		t.Error("no PDF or PNG")
	}
	var back map[string]any
	data, err := r.JSON()
	if err != nil || json.Unmarshal(data, &back) != nil || back["format"] != "fairpull.on-road/1" {
		t.Errorf("%v, %v", err, back["format"])
	}
	answers := back["answers"].([]any)
	if lo := answers[0].(map[string]any)["change"].(map[string]any)["lo"].(float64); math.Abs(lo+0.3) > 1e-12 {
		t.Errorf("the change is at least %g", lo)
	}
	if v := answers[4].(map[string]any)["change"].(map[string]any)["lo"]; v != nil {
		t.Errorf("an interval that is not known is %v", v)
	}
}
