package lab

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/internal/demo"
	"fairpull/internal/store"
)

// A plan that is changed together with the moment that it names is held against the
// one that the workspace took in before: there is no claim, and deriving the result
// again finds the same.
func TestPlanChangedAfterItWasKept(t *testing.T) {
	for _, row := range []struct {
		name            string
		planned, frozen bool // when it was first taken in
		change          func(*campaign.Campaign)
		says            string // empty: nothing is wrong
	}{
		{"another title", true, true, func(c *campaign.Campaign) { c.Title = "another" }, ""},
		{"frozen later, as capture does", true, false, func(c *campaign.Campaign) { *c, _ = c.Frozen() }, ""},
		{"setups of other names", true, true, func(c *campaign.Campaign) { c.Plan.Blocks[0].Setup = "first" }, ""},
		{"another band in both places", true, true, func(c *campaign.Campaign) {
			c.Objective.BandRPM[0], c.Plan.Objective.BandRPM[0] = 5500, 5500
		}, "the riding band is 5500 to 6500 rpm and was 3000 to 6500 rpm"},
		{"another band, never frozen", true, false, func(c *campaign.Campaign) { c.Objective.BandRPM[0] = 5500 }, "the riding band is 5500"},
		{"another primary figure, then frozen", true, false, func(c *campaign.Campaign) {
			c.Objective.Primary = campaign.PrimaryPeakPower
			*c, _ = c.Frozen()
		}, "the primary figure is peak_power and was band"},
		{"another moment", true, true, func(c *campaign.Campaign) { c.Plan.Frozen = c.Plan.Frozen.Add(-time.Hour) }, "it was frozen on"},
		{"fewer blocks, the others left out", true, true, func(c *campaign.Campaign) {
			c.Plan.Blocks = c.Plan.Blocks[:3]
			c.Pulls = c.Pulls[:9]
		}, "the blocks are A 3, B 3, A 3 and were A 3, B 3, A 3, B 3, A 3"},
		{"taken out", true, true, func(c *campaign.Campaign) { c.Plan = nil }, "the plan was taken out"},
		{"made up afterwards", false, false, func(c *campaign.Campaign) { c.Plan = demoPlan() }, "there was no plan then"},
		{"never any plan", false, false, func(c *campaign.Campaign) { c.Objective.BandRPM[0] = 5500 }, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			w := newWorkspace(t)
			record := demoRecord(t)
			if row.planned {
				record.Campaign.Plan = demoPlan()
			}
			if row.frozen {
				record.Campaign, _ = record.Campaign.Frozen()
			}
			if _, err := w.store.Put(t.Context(), record, anna); err != nil {
				t.Fatal(err)
			}
			if record.Campaign.Plan != nil {
				plan := *record.Campaign.Plan
				plan.Blocks = slices.Clone(plan.Blocks)
				record.Campaign.Plan = &plan
			}
			row.change(&record.Campaign)
			used := map[string][]byte{}
			for _, p := range record.Campaign.Pulls {
				used[p.Log] = record.Logs[p.Log]
			}
			record.Logs = used
			if _, err := w.store.Supersede(t.Context(), record, anna); err != nil {
				t.Fatal(err)
			}
			j := mustJudge(t, w, record.Campaign.ID, true)
			var checks []campaign.Check
			for _, k := range j.Checks {
				if k.ID == planCheck && k.Status == campaign.Fail {
					checks = append(checks, k)
				}
			}
			c := &j.Comparisons[0]
			if row.says == "" {
				if len(checks) > 0 || c.Verdict != compare.GainShown {
					t.Errorf("%v; %s, %v", checks, c.Verdict, c.Reasons)
				}
				return
			}
			if len(checks) != 1 || !strings.Contains(checks[0].Message, "(version 1)") || !strings.Contains(checks[0].Message, row.says) {
				t.Errorf("%v; want one that says %q", checks, row.says)
			}
			if passed, found := status(j.Analysis, planCheck); found && passed == campaign.Pass {
				t.Error("the check passes as well")
			}
			if c.Verdict != compare.NotEnoughEvidence || !slices.Contains(c.Reasons, compare.PlanChanged) {
				t.Errorf("the verdict is %q, reasons %v", c.Verdict, c.Reasons)
			}
			again, err := w.Rederive(t.Context(), j.Result)
			if err != nil || string(again.Body) != string(j.Result.Body) {
				t.Errorf("derived again it is another: %v", err)
			}
		})
	}
}

// demoRecord is the demo as a workspace takes it in, in the order of its pulls.
func demoRecord(t *testing.T) store.Record {
	t.Helper()
	folder, err := ingest.Open(demo.Campaign())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	r := store.Record{Campaign: folder.Campaign, Logs: map[string][]byte{}}
	for _, p := range r.Campaign.Pulls {
		if r.Logs[p.Log], err = folder.Bytes(p.Log); err != nil {
			t.Fatal(err)
		}
	}
	return r
}
