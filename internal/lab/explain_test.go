package lab

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
)

// deskOfDemo is a desk with the built-in campaign.
func deskOfDemo(t *testing.T) (*Desk, *Look) {
	t.Helper()
	w := newWorkspace(t)
	folder := filepath.Join(t.TempDir(), "campaign")
	if err := WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(t.Context(), folder, anna, false); err != nil {
		t.Fatal(err)
	}
	desk := NewDesk(w)
	look, err := desk.Look(t.Context(), "twin650-intake-cam", LookSettings{})
	if err != nil || look.Problem != nil {
		t.Fatal(err, look.Problem)
	}
	return desk, look
}

// What the explanations say adds up does add up: the weighted block means to the
// gain, the parts of the variance to the square of the standard error, the interval
// from both ends of Student's t.
func TestExplainedGainAddsUp(t *testing.T) {
	_, look := deskOfDemo(t)
	for i := range look.Analysis.Comparisons {
		c := &look.Analysis.Comparisons[i]
		sum, weights := 0.0, 0.0
		for _, b := range c.Blocks {
			sum += b.Weight * b.BandMean
			weights += b.Weight
		}
		if d := math.Abs(sum - c.Band.Gain); !(d <= 1e-12) || !(math.Abs(weights) <= 1e-12) {
			t.Errorf("%s: the weighted block means make %.12g, the gain is %.12g; the weights add up to %g", c.Candidate, sum, c.Band.Gain, weights)
		}
		variance := 0.0
		for _, v := range c.Parts {
			variance += v
		}
		f := c.Figure(c.Primary)
		if rel := math.Abs(variance/(f.SE*f.SE) - 1); !(rel <= 1e-9) {
			t.Errorf("%s: the parts of the variance make %g, SE² is %g", c.Candidate, variance, f.SE*f.SE)
		}
		if d := math.Abs((f.Hi - f.Gain) - (f.Gain - f.Lo)); !(d <= 1e-12) {
			t.Errorf("%s: the interval is not even about the gain: %g", c.Candidate, d)
		}
		if c.Primary != compare.Band {
			t.Errorf("%s: the demo's primary figure is %v", c.Candidate, c.Primary)
		}
	}
}

// Newton's second law for rotation, node by node, and both parts of the standard
// error: what the explanation of a pull lists is what the curve is made of.
func TestExplainedPullAddsUp(t *testing.T) {
	_, look := deskOfDemo(t)
	d := look.Campaign.Dyno
	nodes := 0
	for i := range look.Analysis.Pulls {
		p := &look.Analysis.Pulls[i]
		r := p.Result
		if r == nil {
			continue
		}
		if len(r.Acceleration) != r.Curve.Len() || len(r.SlopeError) != r.Curve.Len() || len(r.SpeedError) != r.Curve.Len() {
			t.Fatalf("pull %s: %d nodes, %d accelerations, %d and %d errors", p.Name, r.Curve.Len(), len(r.Acceleration), len(r.SlopeError), len(r.SpeedError))
		}
		for j, rpm := range r.Curve.SpeedRPM {
			nodes++
			omega := r.DrumSpeed[j]
			bare := d.Parasitic[0] + omega*(d.Parasitic[1]+omega*d.Parasitic[2])
			torque := (float64(d.DrumInertia)*r.Acceleration[j] + bare) * omega / (rpm * math.Pi / 30)
			if rel := math.Abs(torque/r.Curve.Torque[j] - 1); !(rel <= 1e-12) {
				t.Fatalf("pull %s at %g rpm: %.12g N·m from I, α and ω, the curve has %.12g", p.Name, rpm, torque, r.Curve.Torque[j])
			}
			if se := math.Hypot(r.SlopeError[j], r.SpeedError[j]); !(math.Abs(se/r.Curve.StandardError[j]-1) <= 1e-12) {
				t.Fatalf("pull %s at %g rpm: the parts make %g, the standard error is %g", p.Name, rpm, se, r.Curve.StandardError[j])
			}
		}
	}
	if nodes < 500 {
		t.Errorf("%d nodes were looked at", nodes)
	}
}

// Every figure has its explanation in both systems of units, and a figure that is
// not there has none.
func TestExplainAnswersEveryQuestion(t *testing.T) {
	desk, _ := deskOfDemo(t)
	const id = "twin650-intake-cam"
	for _, units := range []quantity.System{quantity.SI, quantity.USCustomary} {
		for _, figure := range report.Figures {
			e, _, err := desk.Explain(t.Context(), id, report.Question{Figure: figure.Key}, LookSettings{}, units)
			if err != nil {
				t.Errorf("%s: %v", figure.Key, err)
				continue
			}
			lead, sections, err := e.Parts(report.ChartsAt{})
			if err != nil || lead.Title == "" || len(sections) < 3 {
				t.Errorf("%s: %q, %d sections, %v", figure.Key, lead.Title, len(sections), err)
			}
			all := string(lead.HTML)
			for _, s := range sections {
				all += string(s.HTML)
			}
			if strings.Contains(all, "NaN") || strings.Contains(all, "Inf") {
				t.Errorf("%s holds a number that is none", figure.Key)
			}
		}
	}
	for _, q := range []report.Question{{Figure: "none"}, {Figure: report.ExplainBand, Comparison: 7}, {Figure: report.ExplainPull, Pull: "none"}, {Figure: report.ExplainCorrection, Pull: "none"}} {
		if _, _, err := desk.Explain(t.Context(), id, q, LookSettings{}, quantity.SI); err == nil {
			t.Errorf("%+v is explained", q)
		}
	}
}
