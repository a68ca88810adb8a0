package lab

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/internal/demo"
)

// demoPlan is the plan that the demo follows: A-B-A-B-A, strapped anew, three pulls.
func demoPlan() *campaign.Plan {
	plan := &campaign.Plan{}
	for i, id := range []string{"A", "B", "A", "B", "A"} {
		plan.Blocks = append(plan.Blocks, campaign.PlannedBlock{Configuration: id, Setup: fmt.Sprintf("p%d", i), Pulls: 3})
	}
	return plan
}

// analysePlanned analyses the demo with a plan, changed as a case wants it after the
// plan was frozen.
func analysePlanned(t *testing.T, frozen bool, change func(*campaign.Campaign)) *Analysis {
	t.Helper()
	folder, err := ingest.Open(demo.Campaign())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	c := &folder.Campaign
	c.Plan = demoPlan()
	if frozen {
		*c, _ = c.Frozen()
	}
	change(c)
	a, err := Analyse(context.Background(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// The plan is part of the verdict: what departs from it after the first candidate
// pull carries no claim (docs/method.md, section 7).
func TestPlanChanged(t *testing.T) {
	cut := func(n int) func(*campaign.Campaign) {
		return func(c *campaign.Campaign) {
			slices.SortFunc(c.Pulls, func(a, b campaign.Pull) int { return a.Started.Compare(b.Started) })
			c.Pulls = c.Pulls[:n]
		}
	}
	for _, row := range []struct {
		name   string
		frozen bool
		change func(*campaign.Campaign)
		status campaign.Status
		says   string
	}{
		{"as planned", true, func(*campaign.Campaign) {}, campaign.Pass, "5 blocks, 15 pulls"},
		{"as planned, no moment", false, func(*campaign.Campaign) {}, campaign.Pass, "the folder's word"},
		{"another band before it was frozen", false, func(c *campaign.Campaign) { c.Objective.BandRPM[0] = 3500 }, campaign.Pass, ""},
		{"a pull excluded", true, func(c *campaign.Campaign) { c.Pulls[4].Excluded = "strap slipped" }, campaign.Pass, ""},
		{"another band", true, func(c *campaign.Campaign) { c.Objective.BandRPM[0] = 3500 }, campaign.Fail, "the riding band is 3500 to 6500 rpm and was 3000 to 6500 rpm"},
		{"another primary", true, func(c *campaign.Campaign) { c.Objective.Primary = campaign.PrimaryPeakPower }, campaign.Fail, "the primary figure is peak_power and was band"},
		{"another smallest gain", true, func(c *campaign.Campaign) { c.Objective.SmallestGain = 0.001 }, campaign.Fail, "the smallest gain of interest is 0.1 % and was 2 %"},
		{"another confidence", true, func(c *campaign.Campaign) { c.Objective.Confidence = 0.9 }, campaign.Fail, "the confidence is 90 % and was 95 %"},
		{"linear drift declared late", true, func(c *campaign.Campaign) { c.Objective.DriftLinear = true }, campaign.Fail, "the drift is declared linear"},
		{"another correction", true, func(c *campaign.Campaign) { c.Correction = "DIN 70020" }, campaign.Fail, "the correction is DIN 70020 and was SAE J1349"},
		{"stopped early", true, cut(9), campaign.Warn, "Block 4 (B) wants 3 pulls more, and 1 block follows"},
		{"stopped within a block", true, cut(14), campaign.Warn, "Block 5 (A) wants 1 pull more"},
		{"extended", true, func(c *campaign.Campaign) { c.Plan.Blocks = c.Plan.Blocks[:3] }, campaign.Fail, "5 blocks were measured where 3 were planned"},
		{"pulls added to a block", true, func(c *campaign.Campaign) { c.Plan.Blocks[1].Pulls = 2 }, campaign.Fail, "block 2 (B) has 3 used pulls where 2 were planned"},
		{"out of order", true, func(c *campaign.Campaign) { c.Plan.Blocks[1].Configuration = "A" }, campaign.Fail, "block 2 is B where A was planned"},
		{"frozen late", true, func(c *campaign.Campaign) { c.Plan.Frozen = c.Plan.Frozen.Add(time.Hour) }, campaign.Fail, "after the first candidate pull began"},
	} {
		t.Run(row.name, func(t *testing.T) {
			a := analysePlanned(t, row.frozen, row.change)
			got, found := status(a, planCheck)
			if !found || got != row.status {
				t.Fatalf("the check is %q (there: %v); want %q", got, found, row.status)
			}
			for _, k := range a.Checks {
				if k.ID == planCheck && !strings.Contains(k.Message, row.says) {
					t.Errorf("%q does not say %q", k.Message, row.says)
				}
			}
			c := &a.Comparisons[0]
			want := map[campaign.Status]compare.Reason{campaign.Fail: compare.PlanChanged, campaign.Warn: compare.PlanUnfinished}[row.status]
			if want == "" && c.Verdict != compare.GainShown {
				t.Errorf("the verdict is %q (%v); the demo shows a gain", c.Verdict, c.Reasons)
			}
			if want != "" && (c.Verdict != compare.NotEnoughEvidence || !slices.Contains(c.Reasons, want)) {
				t.Errorf("the verdict is %q, reasons %v; want %q among them", c.Verdict, c.Reasons, want)
			}
		})
	}
}

func TestNoPlanNoCheck(t *testing.T) {
	a := analysePlanned(t, false, func(c *campaign.Campaign) { c.Plan = nil })
	if got, found := status(a, planCheck); found {
		t.Errorf("the check is %q without a plan", got)
	}
}
