package report

import (
	"math"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// While a verdict is withheld nothing below it makes the claim, and the chart says
// why none may be read off; the gain result keeps its numbers.
func TestWithheldVerdictClaimsNothing(t *testing.T) {
	open := outputs(t, sample(), quantity.SI)
	g := sample()
	withhold(&g.Comparisons[0], compare.OpenCheck, compare.DriftGate)
	closed := outputs(t, g, quantity.SI)
	for _, form := range []string{"text", "html"} {
		for _, claim := range []string{"At every engine speed", "may be read off at any speed"} {
			if form == "text" && claim != "At every engine speed" {
				continue
			}
			if !strings.Contains(oneLine(open[form]), claim) || strings.Contains(oneLine(closed[form]), claim) {
				t.Errorf("%s: %q stands where a gain is shown: %v, where it is withheld: %v", form, claim,
					strings.Contains(oneLine(open[form]), claim), strings.Contains(oneLine(closed[form]), claim))
			}
		}
	}
	if want := "No claim may be read off, because the verdict is withheld: open check, drift too large."; !strings.Contains(oneLine(closed["html"]), want) {
		t.Errorf("the page lacks %q", want)
	}
	for i, row := range g.figuresTable(&g.Comparisons[0], quantity.SI).Rows {
		if row[5] != "–" || row[4] == "–" {
			t.Errorf("row %d has at least %q and interval %q", i, row[5], row[4])
		}
		if s := sample(); s.figuresTable(&s.Comparisons[0], quantity.SI).Rows[i][5] == "–" {
			t.Errorf("row %d has no at-least figure where a gain is shown", i)
		}
	}
	if !strings.Contains(closed["json"], `"at_least_pct": 5.6`) {
		t.Error("the gain result lost its at-least figure")
	}
}

// One peak power, one number: the wheel column of the loss-compensated table is the
// level of the comparison that it stands in, with the same ±.
func TestCompensatedTableHasTheLevelOfItsComparison(t *testing.T) {
	g := sample()
	g.Comparisons = append(g.Comparisons, sampleComparison("A", "C", 0.01))
	g.Compensated = nil
	for i := range g.Comparisons {
		c := &g.Comparisons[i]
		f := &c.PeakPower
		f.BaselineLevel *= 1 + 0.004*float64(i) // the baseline's level is the comparison's
		g.Compensated = append(g.Compensated,
			Compensated{Candidate: c.Candidate, Configuration: "A", AtRPM: f.BaselineRPM, WheelW: f.BaselineLevel,
				WheelHalfW: f.BaselineLevel * halfOfLevel(c, compare.PeakPower, campaign.Baseline), CompensatedW: 41250, HalfWidthW: 240},
			Compensated{Candidate: c.Candidate, Configuration: c.Candidate, AtRPM: f.CandidateRPM, WheelW: f.CandidateLevel,
				WheelHalfW: f.CandidateLevel * halfOfLevel(c, compare.PeakPower, campaign.Candidate), CompensatedW: math.NaN(), HalfWidthW: math.NaN()})
	}
	for i := range g.Comparisons {
		c := &g.Comparisons[i]
		peaks := g.figuresTable(c, quantity.SI).Rows[2]
		got, ok := g.compensatedTable(c, quantity.SI)
		if !ok || len(got.Rows) != 2 {
			t.Fatalf("%s: %d rows", c.Candidate, len(got.Rows))
		}
		for side, row := range got.Rows {
			want := oneLine(peaks[1+side]) // "37.96 ± 0.44 kW at 6600 rpm"
			if have := row[1] + " kW at " + row[3]; have != want {
				t.Errorf("%s, side %d: %q, and %q in the table of figures", c.Candidate, side, have, want)
			}
			if want := []string{"41.25 ± 0.24", "–"}[side]; row[2] != want {
				t.Errorf("%s, side %d: compensated %q, want %q", c.Candidate, side, row[2], want)
			}
		}
		if !strings.Contains(got.Caption, "do not reach") {
			t.Errorf("%s: the caption does not say why a figure is missing", c.Candidate)
		}
	}
	if a, _ := g.compensated("B", "A"); a.WheelW != g.Comparisons[0].PeakPower.BaselineLevel {
		t.Errorf("the baseline beside B is at %v W", a.WheelW)
	}
}
