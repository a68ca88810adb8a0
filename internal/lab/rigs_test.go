package lab

import (
	"testing"
	"time"

	"fairpull/campaign"
)

// statusOf returns what the health of the only rig says of one thing.
func statusOf(t *testing.T, d *Desk, about string, now time.Time) campaign.Status {
	t.Helper()
	rigs, err := d.Rigs(t.Context(), now)
	if err != nil || len(rigs) != 1 || rigs[0].Dyno != "cell-1" {
		t.Fatalf("rigs %+v, %v", rigs, err)
	}
	for _, n := range rigs[0].Notes {
		if n.About == about {
			return n.Status
		}
	}
	t.Fatalf("nothing is said of the %s: %+v", about, rigs)
	return ""
}

// A change of the rig shows at once, one of a campaign within a minute.
func TestRigs(t *testing.T) {
	d, id := deskOf(t)
	now := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	if got := statusOf(t, d, "calibration", now); got != "" {
		t.Errorf("without a calibration: %q", got)
	}
	c := Calibration{Dyno: "cell-1", ValidFrom: now.AddDate(0, -3, 0), DrumInertia: 41.9, DrumInertiaU: 0.4}
	if _, err := d.Calibrate(t.Context(), c, Author{Who: "Bert Test"}); err != nil {
		t.Fatal(err)
	}
	if got := statusOf(t, d, "calibration", now); got != campaign.Pass {
		t.Errorf("three months old: %q", got)
	}
	if got := statusOf(t, d, "calibration", now.AddDate(1, 0, 0)); got != campaign.Warn {
		t.Errorf("fifteen months old: %q", got)
	}
	if got := statusOf(t, d, "scatter", now); got != "" {
		t.Errorf("scatter before any verdict: %q", got)
	}
	if _, err := d.Judge(t.Context(), id, JudgeOptions{By: Author{Who: "Bert Test"}, Program: "test", Keep: true}); err != nil {
		t.Fatal(err)
	}
	if got := statusOf(t, d, "scatter", now.Add(rigsHold-time.Second)); got != "" {
		t.Errorf("scatter within the minute: %q", got)
	}
	if got := statusOf(t, d, "scatter", now.Add(2*rigsHold)); got != campaign.Pass {
		t.Errorf("scatter after a minute: %q", got)
	}
}
