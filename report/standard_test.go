package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"fairpull/compare"
	"fairpull/quantity"
)

// checkStandard is an invented chart: n checks a week apart, those of the given places
// signalling; the first two cannot be judged.
func checkStandard(n int, signals ...int) *CheckStandard {
	s := &CheckStandard{
		Dyno: "cell-1", Vehicle: "single-01", Like: "check-00", BandRPM: [2]float64{3000, 6000}, Correction: "SAE J1349", TestGear: 4,
		NamedBy: "Anna Test", NamedAt: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), CentreNm: math.NaN(), SD: math.NaN(),
		Rules: StandardRules{Weight: 0.2, Limit: 0.953, Reference: 0.5, Decision: 4.77, Single: 3.5, EWMA: RunLength{370, 9.8}, CUSUM: RunLength{369, 9.9}, One: RunLength{2149, 161}, Together: RunLength{258, 9.2}},
	}
	for i := range n {
		c := StandardEntry{Campaign: fmt.Sprintf("check-%02d", i), Setup: "s1", Started: s.NamedAt.AddDate(0, 0, 7*i), Pulls: 3, MeanNm: 58 * math.Exp(0.002*math.Sin(float64(3*i)))}
		c.Q, c.EWMA, c.Up, c.Down = math.NaN(), math.NaN(), math.NaN(), math.NaN()
		if i > 1 {
			c.Judged, c.Q, c.EWMA, c.Up, c.Down = true, math.Sin(float64(3*i)), 0.3*math.Sin(float64(3*i)), 0.4, 0.1
		}
		s.Checks = append(s.Checks, c)
	}
	for _, at := range signals {
		c := &s.Checks[at]
		c.MeanNm, c.Q, c.EWMA, c.Up, c.Signals = 59.2, 4.1, 1.05, 5.2, []string{"EWMA", "single check"}
	}
	if n > 0 {
		s.CentreNm, s.Learned = 58, n-len(signals)
	}
	if n > 1 {
		s.SD = 0.002
	}
	if len(signals) > 0 {
		d := StandardDoubt{First: signals[0], Last: signals[len(signals)-1], Campaigns: []string{"kit-a", "kit-b"}}
		d.Since = s.Checks[d.First-1].Started
		if d.Last+1 < n {
			d.Until = s.Checks[d.Last+1].Started
		}
		s.Doubts = []StandardDoubt{d}
	}
	return s
}

// The chart says the same in every form, no form says NaN, and a signal says what it
// touches and what it does not.
func TestCheckStandardForms(t *testing.T) {
	for n, want := range map[int]string{0: "There is no check yet", 2: "too few checks", 9: "No check signals"} {
		s := checkStandard(n)
		for form, text := range formsOf(t, s, func(b *bytes.Buffer) error { return s.Text(b, TextOptions{}) }, s.JSON) {
			if strings.Contains(text, "NaN") || form != "json" && !strings.Contains(oneLine(text), want) {
				t.Errorf("%d checks, %s: %.600s", n, form, text)
			}
		}
	}
	s := checkStandard(12, 7, 8)
	for form, text := range formsOf(t, s, func(b *bytes.Buffer) error { return s.Text(b, TextOptions{}) }, s.JSON) {
		if form == "html" || form == "text" {
			for _, words := range []string{"since the last good check on 2026-02-16 and before the good one on 2026-03-09", "Gains within a campaign are not touched", "kit-a and kit-b", "a false alarm in 370 checks"} {
				if !strings.Contains(oneLine(text), words) {
					t.Errorf("%s lacks %q", form, words)
				}
			}
		}
	}
	open := checkStandard(9, 8)
	if said := open.summary(); !strings.Contains(said, "The rig has changed: the check of 2026-03-02 signals (EWMA, single check)") {
		t.Error(said)
	}
	var b bytes.Buffer
	if err := checkStandard(60, 30).Text(&b, TextOptions{ASCII: true, Units: quantity.USCustomary}); err != nil || !strings.Contains(b.String(), "and 20 earlier checks") || !strings.Contains(b.String(), "lbf") {
		t.Errorf("%v: %.900s", err, b.String())
	}
	a := acrossOf(3)
	if a.Part[0] = "échappement S-2"; !strings.HasPrefix(a.title(), "Échappement S-2 on 4 vehicles") {
		t.Error(a.title())
	}
	a.Part[0] = "exhaust S-2"
	if err := a.Text(&b, TextOptions{ASCII: true}); err != nil {
		t.Fatal(err)
	}
	if i := strings.IndexFunc(b.String(), func(r rune) bool { return r > 126 || r == '?' }); i >= 0 {
		t.Errorf("ASCII text has %q", b.String()[max(0, i-40):i+1])
	}
}

// allForms is a document with its four forms.
type allForms interface {
	HTML(w io.Writer, units quantity.System) error
	PDF(w io.Writer, units quantity.System) error
	SVG(w io.Writer, units quantity.System) error
	PNG(w io.Writer, units quantity.System) error
}

// acrossOf is an invented comparison of k vehicles, the last of which is not used.
func acrossOf(k int) *Across {
	a := &Across{Part: []string{"exhaust S-2"}, Confidence: 0.95, SharedHistory: true}
	var gains []compare.VehicleGain
	for i := range k + 1 {
		gain, se := 0.03+0.01*math.Sin(float64(5*i)), 0.006+0.001*float64(i%3)
		r := AcrossRow{
			Campaign: fmt.Sprintf("part-on-%02d", i), Vehicle: fmt.Sprintf("twin-%02d", i), Baseline: "A", Candidate: "B", Used: i < k, Verdict: "gain shown",
			Figure: compare.Figure{Interval: true, Gain: gain, SE: se, DF: 10, Lo: gain - 2.2*se, Hi: gain + 2.2*se, AtLeast: gain - 1.8*se, AtMost: gain + 1.8*se},
		}
		if i == k {
			r.Reason, r.Verdict, r.Checks = "its verdict is withheld: drift not bounded", "not enough evidence", []string{"bracketing"}
		} else {
			gains = append(gains, compare.VehicleGain{Gain: gain, SE: se})
		}
		a.Rows = append(a.Rows, r)
	}
	if k > 0 {
		a.Result, _ = compare.Across(gains, 0.95)
	}
	return a
}

// The answer depends on the number of vehicles, stands in every form, and nothing in it
// is a number that is none.
func TestAcrossForms(t *testing.T) {
	for k, want := range map[int][]string{
		0: {"nothing can be said"},
		1: {"One vehicle is no sample"},
		2: {"On 2 vehicles the part gives", "Measure a third"},
		3: {"On 3 vehicles the part gives", "On one more vehicle like these the gain is to be expected between"},
		6: {"On 6 vehicles the part gives", "On one more vehicle like these"},
	} {
		a := acrossOf(k)
		for form, text := range formsOf(t, a, func(b *bytes.Buffer) error { return a.Text(b, TextOptions{}) }, a.JSON) {
			if strings.Contains(text, "NaN") {
				t.Errorf("%d vehicles, %s says NaN", k, form)
			}
			for _, words := range want {
				if !strings.Contains(oneLine(text), words) {
					t.Errorf("%d vehicles, %s lacks %q: %.500s", k, form, words, text)
				}
			}
			if (form == "html" || form == "text") && !strings.Contains(oneLine(text), "drift not bounded") {
				t.Errorf("%d vehicles, %s does not say why one is not used", k, form)
			}
			if shared := strings.Contains(oneLine(text), "same lab's setup scatter"); form == "html" && shared != (k >= 5) {
				t.Errorf("%d vehicles: the shared scatter is named %v", k, shared)
			}
		}
	}
}

// No string of a file can send a terminal a control character or a page a tag.
func TestHostileNamesOfVehicles(t *testing.T) {
	const hostile = "<b>\x1b[31mtwin\u202e"
	a, s := acrossOf(3), checkStandard(6, 4)
	a.Rows[1].Vehicle, a.Part, a.Rows[1].Also, a.Rows[1].Campaign = hostile, []string{hostile}, []string{hostile}, hostile
	s.Vehicle, s.Why, s.Checks[2].Campaign, s.Doubts[0].Campaigns = hostile, hostile, hostile, []string{hostile}
	s.LeftOut = []StandardLeftOut{{hostile, hostile}}
	for what, forms := range map[string]map[string]string{
		"across":   formsOf(t, a, func(b *bytes.Buffer) error { return a.Text(b, TextOptions{}) }, a.JSON),
		"standard": formsOf(t, s, func(b *bytes.Buffer) error { return s.Text(b, TextOptions{}) }, s.JSON),
	} {
		for form, text := range forms {
			if strings.ContainsAny(text, "\x1b\u202e") && form != "json" || strings.Contains(text, "<b>") && (form == "html" || form == "svg") {
				t.Errorf("%s, %s: a hostile name came through", what, form)
			}
		}
	}
}

// formsOf writes a document in its text forms, and sees that PDF and PNG can be made.
func formsOf(t *testing.T, d allForms, text func(*bytes.Buffer) error, asJSON func() ([]byte, error)) map[string]string {
	t.Helper()
	out := map[string]string{}
	for form, write := range map[string]func(*bytes.Buffer) error{
		"html": func(b *bytes.Buffer) error { return d.HTML(b, quantity.SI) },
		"svg":  func(b *bytes.Buffer) error { return d.SVG(b, quantity.SI) },
		"text": text,
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(form, err)
		}
		out[form] = b.String()
	}
	var pdf, png bytes.Buffer
	if err := d.PDF(&pdf, quantity.USCustomary); err != nil || !bytes.HasPrefix(pdf.Bytes(), []byte("%PDF")) {
		t.Error("PDF:", err)
	}
	if err := d.PNG(&png, quantity.SI); err != nil || !bytes.HasPrefix(png.Bytes(), []byte("\x89PNG")) {
		t.Error("PNG:", err)
	}
	data, err := asJSON()
	if err != nil || !json.Valid(data) {
		t.Fatalf("JSON: %v", err)
	}
	out["json"] = string(data)
	return out
}
