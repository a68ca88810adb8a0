package lab

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/report"
)

func TestCaptureAsksWhatIsFitted(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir})
	for i := range 3 {
		drop(t, dir, fmt.Sprintf("%d.csv", i), logs[i])
		session.event("pull")
	}
	// Nobody has said that B is fitted.
	drop(t, dir, "3.csv", logs[3])
	if e := session.event("pull"); e.Pull.Accepted || e.Pull.Configuration != "B" || e.Pull.Excluded == "" || !e.Next.Confirm {
		t.Errorf("a pull between blocks: %+v, next %+v", e.Pull, e.Next)
	}
	session.enter("next block")
	session.until("3 pulls of block 2 of 5")
	session.enter("take back last because it was made with B")
	if e := session.event("answer"); !strings.Contains(e.Message, "2 pulls of block 2 of 5") {
		t.Errorf("after it was taken back: %s", e.Message)
	}
	session.enter("next block")
	session.until("leaves the plan")
	session.enter("exclude last")
	session.until("What went wrong")
	session.enter("exclude last because a strap slipped")
	session.until("Pull 4 is left out: a strap slipped")
	session.enter("take back last")
	session.until("Why is pull 4 to count")
	session.enter("nonsense")
	session.until("is not understood")
	session.enter("help")
	session.until("exclude last because")
	session.enter("quit")
	if err := session.wait(); err != nil {
		t.Fatal(err)
	}
	if got := current(t, w, c.ID).Campaign.Pulls; len(got) != 4 || got[3].Excluded != "a strap slipped" {
		t.Errorf("pulls %+v", got)
	}
	mustBeSound(t, w)
}

func TestCaptureSettlingPulls(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, func(c *campaign.Campaign) { c.Plan.SettlingPulls = 2 })
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	for i := range 5 {
		drop(t, dir, fmt.Sprintf("%d.csv", i), logs[i])
		e := session.event("pull")
		settling := strings.HasPrefix(e.Pull.Excluded, campaign.SettlingReason)
		if settling != (i >= 3) {
			t.Errorf("pull %d is excluded for %q", i+1, e.Pull.Excluded)
		}
		if i == 3 && e.Next.Settling != 1 || i == 4 && (e.Next.Settling != 0 || e.Next.Left != 3) {
			t.Errorf("after pull %d comes %+v", i+1, e.Next)
		}
	}
	session.enter("settled")
	session.until("No settling pull is to come")
	for i := 5; i < 9; i++ { // the rest of block 2, and the first settling pull of block 3
		drop(t, dir, fmt.Sprintf("%d.csv", i), logs[i])
		e := session.event("pull")
		if (e.Pull.Excluded == "") != (i < 8) {
			t.Errorf("pull %d is excluded for %q", i+1, e.Pull.Excluded)
		}
	}
	session.enter("settled")
	session.until("3 pulls of block 3 of 5")
	drop(t, dir, "9.csv", logs[9])
	if e := session.event("pull"); !e.Pull.Accepted {
		t.Errorf("a pull after the settling was over: %s", e.Message)
	}
}

// Beyond the plan pulls are kept and do not count; off the plan they count only where
// a person says so.
func TestCaptureBeyondAndOffThePlan(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, func(c *campaign.Campaign) {
		c.Plan.Blocks = []campaign.PlannedBlock{{Configuration: "A", Setup: "s1", Pulls: 1}, {Configuration: "B", Setup: "s2", Pulls: 1}}
	})
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	for i, want := range []string{"", "", "beyond the plan"} {
		drop(t, dir, fmt.Sprintf("%d.csv", i), logs[i])
		if e := session.event("pull"); e.Pull.Excluded != want {
			t.Errorf("pull %d is excluded for %q, want %q", i+1, e.Pull.Excluded, want)
		}
	}
	session.enter("fitted C s3")
	session.until("declares no configuration")
	session.enter("fitted A s1")
	session.until("Setup s1 was left for s2")
	session.enter("fitted A s3")
	session.until("That is not what the plan has next")
	drop(t, dir, "3.csv", logs[3])
	if e := session.event("pull"); e.Pull.Excluded != "" || e.Pull.Configuration != "A" || e.Pull.Setup != "s3" {
		t.Errorf("a pull off the plan: %+v", e.Pull)
	}
	session.enter("quit")
	session.wait()
	// Begun again, the capture does not know what is fitted.
	err := w.Capture(t.Context(), CaptureOptions{Campaign: c.ID, From: dir, By: anna}, func(report.Capture) {})
	if err == nil || !strings.Contains(err.Error(), "--configuration") || !strings.Contains(err.Error(), "3 blocks were measured where 2 were planned") {
		t.Errorf("off the plan: %v", err)
	}
	j := mustJudge(t, w, c.ID, false)
	if !slices.ContainsFunc(j.Checks, func(k campaign.Check) bool { return k.ID == "plan-changed" && k.Status == campaign.Fail }) {
		t.Error("the check plan-changed does not fail")
	}
}

// Where the plan is blind, no line names a configuration or says a gain before the
// plan is through.
func TestCaptureOfABlindPlan(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, func(c *campaign.Campaign) {
		c.Plan.Blind, c.Plan.Seed = true, 7
		c.Plan.Blocks = []campaign.PlannedBlock{{Configuration: "A", Setup: "s1", Pulls: 1}, {Configuration: "B", Setup: "s2", Pulls: 1}, {Configuration: "A", Setup: "s3", Pulls: 1}}
	})
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir})
	codes := current(t, w, c.ID).Campaign.Plan.Codes()
	for i, log := range []int{0, 3, 6} {
		if i > 0 {
			session.enter("next block")
			session.until("code " + codes[i])
		}
		drop(t, dir, fmt.Sprintf("%d.csv", i), logs[log])
		e := session.event(report.CapturePull)
		if !strings.HasPrefix(e.Message, fmt.Sprintf("Pull %d, code %s in setup s%d: accepted.", i+1, codes[i], i+1)) {
			t.Errorf("pull %d: %s", i+1, e.Message)
		}
		if through := i == 2; strings.Contains(e.Message, "so far") != through || (e.SoFar[0].Candidate != "") != through {
			t.Errorf("pull %d says of the gain: %s", i+1, e.Message)
		}
	}
	session.mu.Lock()
	defer session.mu.Unlock()
	for _, e := range session.events[:len(session.events)-1] {
		for _, name := range []string{"as delivered", "intake and cam kit", " A ", " B ", "A,", "B,"} {
			if strings.Contains(e.Message, name) {
				t.Errorf("%q tells what is fitted: %s", name, e.Message)
			}
		}
	}
}
