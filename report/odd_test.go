package report

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/curve"
	"fairpull/quantity"
)

const hostile = "<script>alert('x')</script><img src=x onerror=1>\x1b[2J\x07\u202e\"&\xff"

// oddities are campaigns that a drawing could stumble over.
var oddities = []struct {
	name   string
	change func(g *Gain)
}{
	{"plain", func(*Gain) {}},
	{"empty", func(g *Gain) { *g = Gain{} }},
	{"no riding band figure", func(g *Gain) {
		c := &g.Comparisons[0]
		c.Band = compare.Figure{Missing: "pull 3 misses part of the riding band"}
		c.Verdict, c.Reasons = compare.NotEnoughEvidence, []compare.Reason{compare.NoPrimary}
		for i := range c.Curve {
			c.Curve[i].BandLo, c.Curve[i].BandHi = math.NaN(), math.NaN()
		}
		c.AtLeastEverywhere = math.NaN()
	}},
	{"peak at the edge", func(g *Gain) {
		g.Comparisons[0].PeakPower.Missing = "the peak stands at the edge of the shared range"
		g.Comparisons[0].PeakPower.Gain = math.NaN()
	}},
	{"no intervals", func(g *Gain) {
		c := &g.Comparisons[0]
		nan := math.NaN()
		for _, f := range []*compare.Figure{&c.Band, &c.PeakTorque, &c.PeakPower} {
			f.Interval, f.SE, f.DF, f.Lo, f.Hi, f.AtLeast, f.AtMost = false, nan, nan, nan, nan, nan, nan
		}
		for i := range c.Curve {
			n := &c.Curve[i]
			*n = compare.Node{RPM: n.RPM, Baseline: n.Baseline, Candidate: n.Candidate, Gain: n.Gain, SE: nan, DF: nan, Lo: nan, Hi: nan, AtLeast: nan, BandLo: nan, BandHi: nan, BaselineHalf: nan, CandidateHalf: nan}
		}
		c.AtLeastEverywhere, c.WholeBandFactor, c.WholeBandDF = nan, nan, nan
		c.Scatter = compare.Scatter{PullSD: nan, SetupSD: nan, BlockSD: nan, HistoryP: nan, Source: compare.FromNone}
		c.Drift = compare.Drift{PerHour: nan, Lo: nan, Hi: nan, Change: nan, ChangeLo: nan, ChangeHi: nan, P: nan}
		c.Parts = nil
		c.Verdict, c.Reasons = compare.NotEnoughEvidence, []compare.Reason{compare.PullScatterUnknown, compare.SetupScatterUnknown}
	}},
	{"two candidates", func(g *Gain) {
		g.Campaign.Configurations = append(g.Campaign.Configurations, campaign.Configuration{ID: "C", Role: campaign.Candidate, Name: "cam alone"})
		c := sampleComparison("A", "C", -0.07)
		c.Verdict = compare.LossShown
		g.Comparisons = append(g.Comparisons, c)
	}},
	{"limits far wider than the gain", func(g *Gain) {
		for i := range g.Comparisons[0].Curve {
			n := &g.Comparisons[0].Curve[i]
			n.BandLo, n.BandHi = n.Gain-0.9, n.Gain+0.9
		}
	}},
	{"no gain at all", func(g *Gain) {
		for i := range g.Comparisons[0].Curve {
			n := &g.Comparisons[0].Curve[i]
			n.Gain, n.Lo, n.Hi, n.BandLo, n.BandHi, n.Candidate = 0, 0, 0, 0, 0, n.Baseline
		}
	}},
	{"one node", func(g *Gain) { g.Comparisons[0].Curve = g.Comparisons[0].Curve[:1] }},
	{"no curve", func(g *Gain) { g.Comparisons[0].Curve = nil }},
	{"long names", func(g *Gain) {
		long := strings.Repeat("a very long name of a part that somebody typed ", 30) + strings.Repeat("x", 500)
		g.Campaign.Title, g.Campaign.Purpose, g.Campaign.ID = long, long, long
		g.Campaign.Vehicle.Description, g.Campaign.Dyno.ID = long, long
		for i := range g.Campaign.Configurations {
			g.Campaign.Configurations[i].Name = long
			g.Campaign.Configurations[i].Components[0].Part = long
		}
		g.Pulls[0].Pull, g.Pulls[0].Setup, g.Pulls[0].Notes = long, long, []string{long, long, long, long, long, long}
		g.Checks[0].Message, g.Checks[1].ID = long, long
	}},
	{"hostile text", func(g *Gain) {
		g.Campaign.Title, g.Campaign.Purpose, g.Campaign.ID = hostile, hostile, hostile
		g.Campaign.Vehicle = campaign.Vehicle{ID: hostile, Description: hostile, TyreSpeedSymbol: hostile}
		g.Campaign.Dyno.ID, g.Standard = hostile, Standard{Name: hostile, Form: hostile, Note: hostile}
		g.Campaign.Procedure = []campaign.SetPoint{{Key: hostile}}
		g.Campaign.ExtraColumns = []string{hostile}
		for i := range g.Campaign.Configurations {
			c := &g.Campaign.Configurations[i]
			c.Name = hostile
			c.Components = []campaign.Component{{Function: hostile, Part: hostile, Serial: hostile, Batch: hostile}}
			c.Settings = []campaign.Setting{{Key: hostile, Value: hostile}}
		}
		for i := range g.Checks {
			g.Checks[i].Message, g.Checks[i].LimitSource, g.Checks[i].Unit = hostile, hostile, hostile
		}
		for i := range g.Pulls {
			g.Pulls[i].Pull, g.Pulls[i].Setup, g.Pulls[i].Reason, g.Pulls[i].Notes = hostile, hostile, hostile, []string{hostile}
		}
		g.Comparisons[0].PeakTorque.Missing = hostile
		g.Version = hostile
	}},
	{"many checks and pulls", func(g *Gain) {
		for i := range 80 {
			g.Checks = append(g.Checks, campaign.Check{ID: fmt.Sprintf("check-%d", i), Status: campaign.Fail, Message: "Something was found.", Touches: []string{"band", "pulls"}})
			p := samplePull(i, "B", g.Pulls[0].Started.Add(time.Duration(i)*time.Minute))
			p.Notes = []string{strings.Repeat("a note ", 30)}
			g.Pulls = append(g.Pulls, p)
		}
	}},
	{"numbers that are none", func(g *Gain) {
		nan, inf := math.NaN(), math.Inf(1)
		g.Pulls[0].Curve = curve.Curve{SpeedRPM: []float64{1, 2, 3}, Torque: []float64{nan, inf, 3}, StandardError: []float64{nan, nan, nan}}
		g.Checks[0].Measured, g.Checks[0].Limit = &nan, &inf
		g.Comparisons[0].TippingSD, g.Comparisons[0].Parts = inf, map[string]float64{"setup": nan, "pull": inf}
		g.CoastShares = nil
		g.Compensated[0].HalfWidthW = nan
	}},
	{"crank figures", func(g *Gain) { g.AtCrank, g.Compensated = true, nil }},
}

// outputs writes every form of a report.
func outputs(t *testing.T, g *Gain, units quantity.System) map[string]string {
	t.Helper()
	out := map[string]string{}
	for name, write := range map[string]func(b *bytes.Buffer) error{
		"text": func(b *bytes.Buffer) error { return g.Text(b, TextOptions{Width: 80, Units: units}) },
		"html": func(b *bytes.Buffer) error { return g.HTML(b, units) },
		"svg":  func(b *bytes.Buffer) error { return g.SVG(b, units) },
		"png":  func(b *bytes.Buffer) error { return g.PNG(b, units) },
		"pdf":  func(b *bytes.Buffer) error { return g.PDF(b, units) },
		"json": func(b *bytes.Buffer) error {
			data, err := g.JSON()
			b.Write(data)
			return err
		},
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if b.Len() == 0 {
			t.Errorf("%s: nothing was written", name)
		}
		out[name] = b.String()
	}
	return out
}

func TestOddCampaigns(t *testing.T) {
	for _, odd := range oddities {
		t.Run(odd.name, func(t *testing.T) {
			g := sample()
			odd.change(g)
			for name, content := range outputs(t, g, quantity.USCustomary) {
				if name == "png" || name == "pdf" {
					continue
				}
				bad := []string{"NaN", "+Inf", "-Inf", "%!"}
				if name != "json" { // the format keeps messages as they are, in JSON's own escapes
					bad = append(bad, "\x1b", "\x07", "\u202e")
				}
				if name == "html" || name == "svg" {
					bad = append(bad, "<script", "<img")
				}
				for _, s := range bad {
					if strings.Contains(content, s) {
						t.Errorf("%s contains %q", name, s)
					}
				}
			}
		})
	}
}

// Nothing leaves its page, and nothing is written over the foot.
func TestPaperStaysWithinItsMargins(t *testing.T) {
	for _, odd := range oddities {
		g := sample()
		odd.change(g)
		p := newPaper(a4)
		p.write(g.document(onPaper, documentOptions{units: quantity.SI}))
		for i, page := range p.pages {
			for _, box := range inkBoxes(page) {
				if box.left < p.left-1.5 || box.right > p.left+p.width+1.5 || box.top < p.top-16 || box.bottom > p.bottom+6 {
					t.Errorf("%s, page %d: %q reaches %.0f–%.0f, %.0f–%.0f; the page has %.0f–%.0f, %.0f–%.0f", odd.name, i+1, box.words,
						box.left, box.right, box.top, box.bottom, p.left, p.left+p.width, p.top, p.bottom)
					break
				}
			}
		}
	}
}
