package report

import (
	"math"
	"strings"
	"testing"

	"fairpull/campaign"
)

// The page at the rig speaks of a plan only where there is one that is not through.
func TestRigSaysWhereTheVerdictIs(t *testing.T) {
	so := SoFar{Candidate: "B", Baseline: "A", Metric: "band", Gain: 0.05, Lo: 0.03, Hi: 0.07, Interval: true, Confidence: 0.95,
		PullSD: 0.004, PullDF: 4, HalfWidth: 0.02, HalfWidthAtEnd: math.NaN()}
	planned := campaign.Campaign{Plan: &campaign.Plan{}}
	const wait, there = "No verdict before the plan is through.", "The verdict is said on the campaign's page."
	for name, c := range map[string]struct {
		m          Measuring
		says, lets string
	}{
		"no plan":                    {Measuring{SoFar: []SoFar{so}}, there, wait},
		"a plan under way":           {Measuring{Campaign: planned, Next: &CaptureNext{}, SoFar: []SoFar{so}}, wait, there},
		"nobody said what is fitted": {Measuring{Campaign: planned, SoFar: []SoFar{so}}, wait, there},
		"a plan at its end":          {Measuring{Campaign: planned, Next: &CaptureNext{Finished: true}, SoFar: []SoFar{so}}, there, wait},
	} {
		note := c.m.Figures()[0].Note
		if !strings.Contains(note, c.says) || strings.Contains(note, c.lets) {
			t.Errorf("%s: %q", name, note)
		}
	}
}
