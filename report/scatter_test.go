package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"
)

// sampleScatter is an invented rig with three campaigns, one of them with a name that
// a hostile folder could bring.
func sampleScatter() *Scatter {
	nan := math.NaN()
	day := func(n int) time.Time { return time.Date(2026, 1, n, 9, 0, 0, 0, time.UTC) }
	const evil = "<script>\x1b[31m"
	points := []ScatterPoint{{"one", day(1), 0.006, 0.003, 0.03, 2}, {evil, day(8), 0.007, 0.004, 0.02, 3}, {"three", day(20), 0.012, 0.006, 0.07, 2}}
	return &Scatter{
		Dyno: "cell-1", Vehicle: "twin", Most: 200, Version: "1",
		Levels: []ScatterLevel{
			{Key: "setup", Name: "setup to setup", Campaigns: 3, DF: 7, Quoted: 5.7, Pulls: 3, SD: [3]float64{0.0065, 0.007, nan}, RowSD: [3]float64{0.0068, 0.0073, nan}, Lent: 0.007, LentLo: 0.0046, LentHi: 0.0151,
				PriorDF: nan, HomogeneityP: 0.0004, Points: points, Trend: ScatterTrend{Known: true, PerYear: 0.5, Lo: 0.1, Hi: 0.9, P: 0.02}},
			{Key: "block", Name: "change-over within a setup", SD: [3]float64{nan, nan, nan}, RowSD: [3]float64{nan, nan, nan}, PriorDF: nan, HomogeneityP: nan},
			{Key: "pull", Name: "pull to pull", Campaigns: 3, DF: 30, Quoted: 30, Pulls: 1, SD: [3]float64{0.004, 0.004, 0.005}, RowSD: [3]float64{0.004, 0.004, 0.005},
				PriorDF: math.Inf(1), HomogeneityP: 0.4, Points: points[:1]},
		},
		Repeatability: [3]float64{0.004, 0.004, 0.005}, Reproducibility: [3]float64{0.0076, 0.008, nan},
		DriftRate: Spread{SD: 0.0015, DF: 2}, DriftCampaigns: 3,
		Campaigns: []ScatterCampaign{{"one", "twin", "r1", day(1), 2, 0, 10, true}, {evil, "twin", "r2", day(8), 3, 0, 10, false}, {"three", "twin", "r3", day(20), 2, 0, 10, false}},
		LeftOut:   []ScatterLeftOut{{"four", day(3), "Anna Test", "a strap was loose"}},
		Waiting:   []string{"five"},
		Unusable:  []ScatterUnusable{{"six", "the check gear failed (pull 7)"}},
	}
}

func TestScatterText(t *testing.T) {
	var b bytes.Buffer
	if err := sampleScatter().Text(&b, TextOptions{Width: 100}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	if strings.ContainsRune(text, '\x1b') {
		t.Error("a campaign's name reaches the terminal as it is")
	}
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{
		"Scatter of dyno cell-1 with vehicle twin", "From 3 campaigns, 2026-01-01 to 2026-01-20.",
		"setup to setup 0.65 % 0.70 % – 7", "change-over within a setup – – – –", "pull to pull 0.40 % 0.40 % 0.50 % 30",
		"repeatability limit r 1.12 % 1.12 % 1.40 %", // 2.8 times 0.4 and 0.5 %
		"reproducibility limit R 2.13 % 2.24 % –",    // 2.8 times 0.76 and 0.8 %
		"3 campaigns, 7 degrees of freedom; p < 0.001 of all having the same scatter; too few to tell how alike they are", "A verdict is lent 5.7, with an SD of 0.70 % for a mean of 3 pulls (95 % limits: 0.46 % to 1.51 %).",
		"The scatter grows: +65 % a year (95 % interval: +11 % to +146 %, p = 0.020)", // e^0.5, e^0.1, e^0.9
		"they differ by no more than chance makes them. A verdict is lent 30.", "A trend takes three campaigns",
		"0.15 % an hour (SD, 2 df)", "10 curves", "four since 2026-01-03 by Anna Test: a strap was loose", "say today: five.", "six: the check gear failed (pull 7). Exclude or answer the pulls",
	} {
		if !strings.Contains(flat, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if n := strings.Count(text, "●"); n != 4 { // three discs and the legend
		t.Errorf("%d discs in\n%s", n, text)
	}
}

func TestScatterJSON(t *testing.T) {
	data, err := sampleScatter().JSON()
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Format string
		Levels []struct {
			Level  string
			SD     map[string]*float64 `json:"sd_pct"`
			Alike  *bool
			Prior  *float64 `json:"prior_df"`
			Trend  *float64 `json:"trend_pct_per_year"`
			Points []struct {
				SD float64 `json:"row_sd_pct"`
			}
		}
		LeftOut []struct{ By, Why string } `json:"left_out"`
		Waiting []string
	}
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	setup, pull := got.Levels[0], got.Levels[2]
	if got.Format != "fairpull.history/1" || *setup.SD["band"] != 0.65 || setup.SD["peak_power"] != nil || setup.Alike != nil || setup.Prior != nil ||
		math.Abs(*setup.Trend-100*(math.Exp(0.5)-1)) > 1e-12 || len(setup.Points) != 3 || math.Abs(setup.Points[1].SD-0.7) > 1e-12 {
		t.Errorf("setups are %+v", setup)
	}
	if pull.Alike == nil || !*pull.Alike || pull.Prior != nil || pull.Trend != nil {
		t.Errorf("pulls are %+v", pull)
	}
	if len(got.LeftOut) != 1 || got.LeftOut[0].Why != "a strap was loose" || len(got.Waiting) != 1 {
		t.Errorf("%+v, %v", got.LeftOut, got.Waiting)
	}
}

// The page and the picture are well-formed, whatever a name holds, also where nothing
// is known.
func TestScatterPageAndPicture(t *testing.T) {
	for name, s := range map[string]*Scatter{"sample": sampleScatter(), "empty": {Dyno: "cell-1"}} {
		var page, picture bytes.Buffer
		if err := errors.Join(s.HTML(&page), s.SVG(&picture)); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(page.String(), "<script") || strings.ContainsRune(page.String(), '\x1b') {
			t.Errorf("%s: a name reaches the page as it is", name)
		}
		decoder := xml.NewDecoder(&picture)
		texts := 0
		for {
			token, err := decoder.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
				texts++
			}
		}
		if texts < 2 {
			t.Errorf("%s: the picture has %d texts", name, texts)
		}
		if name == "sample" && strings.Count(page.String(), "<svg") != 2 {
			t.Errorf("%d charts on the page, want one for setups and one for pulls", strings.Count(page.String(), "<svg"))
		}
	}
}

// A campaign judged with others: gain, interval or why not.
func TestJudgedLines(t *testing.T) {
	nan := math.NaN()
	rows := []JudgedRow{
		{Campaign: "a", Answers: []JudgedAnswer{{"B", "gain shown", math.Log(1.05), math.Log(1.04), math.Log(1.06)}, {"C", "not enough evidence", math.Log(1.01), nan, nan}}, Result: "r", Changed: true},
		{Campaign: "b\x1b", Problem: "pull 1:\nno", Answers: nil},
		{Campaign: "c", Answers: []JudgedAnswer{{"B", "not enough evidence", nan, nan, nan}}, Result: "r"},
	}
	var text, object bytes.Buffer
	for _, out := range []*Judged{NewJudged(&text, false), NewJudged(&object, true)} {
		for _, row := range rows {
			out.Line(row)
		}
		if err := out.End(); err != nil {
			t.Fatal(err)
		}
	}
	want := "a  B gain shown, +5.0 % (4.0 % to 6.0 %); C not enough evidence, +1.0 % (no interval)\nb\uFFFD  not judged: pull 1: no\nc  B not enough evidence – as before\n"
	if got := text.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	var got struct {
		Format    string
		Campaigns []struct {
			Campaign string
			Answers  []struct {
				Gain *float64 `json:"gain_pct"`
				Lo   *float64 `json:"lo_pct"`
			}
			Result, Problem *string
		}
	}
	if err := json.Unmarshal(object.Bytes(), &got); err != nil || got.Format != "fairpull.judged/1" || len(got.Campaigns) != 3 {
		t.Fatalf("%v in %s", err, object.String())
	}
	a, b := got.Campaigns[0], got.Campaigns[1]
	if math.Abs(*a.Answers[0].Gain-5) > 1e-12 || a.Answers[1].Lo != nil || *a.Result != "r" || a.Problem != nil || b.Result != nil || b.Problem == nil {
		t.Errorf("%+v", got)
	}
}

// What the report says of calibrations, in the table and in a line.
func TestCalibrationWords(t *testing.T) {
	from := time.Date(2026, 1, 10, 0, 0, 0, 0, time.FixedZone("", 3600))
	for want, c := range map[string]Calibration{
		"Calibration of 2026-01-10: drum inertia 41.80 → 41.95 ± 0.2 (standard uncertainty) kg·m²: levels +0.36 % against the campaign's own values.": {
			From: from, Pulls: []string{"1", "2"}, Inertia: 41.95, InertiaU: 0.2, OwnInertia: 41.80, Effect: 0.0036},
		"Calibration of 2026-01-10 (pull 2): bare drum torque 1, 0, 0 → 1.1, 0.01, 0 N·m; brake arm 0.3 m: levels −0.10 % against the campaign's own values; by weights.": {
			From: from, Pulls: []string{"2"}, HasParasitic: true, Parasitic: [3]float64{1.1, 0.01, 0}, OwnParasitic: [3]float64{1, 0, 0}, Arm: 0.3, Effect: -0.001, Note: "by weights."},
		"Calibration of 2026-01-10: drum inertia 15.123 kg·m²; the campaign itself states no drum inertia.": {
			From: from, Pulls: []string{"1", "2"}, Inertia: 15.123, Effect: math.NaN()},
		"Calibration of 2026-01-10: drum inertia 41.80 kg·m², as the campaign states.": {
			From: from, Pulls: []string{"1", "2"}, Inertia: 41.8, OwnInertia: 41.8},
	} {
		if got := c.line(2); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	}
	list := Calibrations{Dyno: "cell-1", Rows: []CalibrationRow{{From: from, Inertia: 41.95, InertiaU: 0.2, HasParasitic: true, Parasitic: [3]float64{1.1, -0.01, 0}, Pulls: 1, Affected: []string{"a", "b"}}}}
	var b bytes.Buffer
	if err := list.Text(&b, from.Location()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"from 2026-01-10T00:00:00+01:00, for 1 pull\n", "41.95 ± 0.2 kg·m²", "1.1 + −0.01·ω + 0·ω² N·m", "not altered: a, b. To judge again: fairpull judge a"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// A trend over a short time is not told in figures that only say that it was short.
func TestTrendOfAShortTime(t *testing.T) {
	for _, c := range []struct {
		perYear, lo, hi float64
		want            string
	}{
		{12, -200, 224, "No trend can be told yet"},
		{-2, -4, 1, "No trend is shown: −86 % a year (95 % interval: below −90 % to +172 %, p = 0.300)."},
		{5, 0.5, 9.5, "No trend is shown: more than +900 % a year (95 % interval: +65 % to more than +900 %, p = 0.300)."},
	} {
		l := ScatterLevel{Trend: ScatterTrend{Known: true, PerYear: c.perYear, Lo: c.lo, Hi: c.hi, P: 0.3}}
		if got := l.trend(); !strings.HasPrefix(got, c.want) {
			t.Errorf("%v: %s", c, got)
		}
	}
}
