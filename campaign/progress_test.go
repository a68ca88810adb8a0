package campaign

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

var planBegin = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)

// planned returns a campaign with a plan and pulls, both spelled: "A1 A1 B2" are
// two pulls of A in setup 1 and one of B in setup 2; a plan's word ends with its
// number of pulls, as in "A1x3". A "-" before a pull excludes it, "~" makes it a
// settling pull.
func planned(t *testing.T, plan, pulls string) *Campaign {
	t.Helper()
	c := &Campaign{Plan: &Plan{}, Configurations: []Configuration{{ID: "A", Role: Baseline}, {ID: "B", Role: Candidate}, {ID: "C", Role: Candidate}}}
	for _, word := range strings.Fields(plan) {
		b := PlannedBlock{Configuration: word[:1], Setup: "p" + word[1:2]}
		if _, err := fmt.Sscanf(word[2:], "x%d", &b.Pulls); err != nil {
			t.Fatal(err)
		}
		c.Plan.Blocks = append(c.Plan.Blocks, b)
	}
	for i, word := range strings.Fields(pulls) {
		p := Pull{Name: fmt.Sprint(i + 1), Started: planBegin.Add(time.Duration(i) * 5 * time.Minute)}
		switch word[0] {
		case '-':
			p.Excluded = "strap slipped"
		case '~':
			p.Excluded = SettlingReason + " after the change"
		}
		word = strings.TrimLeft(word, "-~")
		p.Configuration, p.Setup = word[:1], "s"+word[1:]
		c.Pulls = append(c.Pulls, p)
	}
	return c
}

// Each row follows from the rule in the doc comment of Progress.
func TestProgress(t *testing.T) {
	const aba = "A1x2 B2x2 A3x2"
	for _, row := range []struct {
		name, plan, pulls string
		next, left        int
		finished          bool
		departures        string // joined; empty: none
	}{
		{"nothing yet", aba, "", 0, 2, false, ""},
		{"one pull", aba, "A1", 0, 1, false, ""},
		{"one block", aba, "A1 A1", 1, 2, false, ""},
		{"two and a half", aba, "A1 A1 B2 B2 A3", 2, 1, false, ""},
		{"all", aba, "A1 A1 B2 B2 A3 A3", 3, 0, true, ""},
		{"other names of the setups", aba, "A7 A7 B8 B8 A9 A9", 3, 0, true, ""},
		{"a pull excluded and repeated", aba, "A1 -A1 A1 B2 B2 A3 A3", 3, 0, true, ""},
		{"a pull excluded and not repeated", aba, "A1 -A1 B2 B2 A3 A3", 3, 0, true, ""},
		{"the last pull excluded: it may be repeated", aba, "A1 A1 B2 B2 A3 -A3", 2, 1, true, ""},
		{"the first pull of a block excluded", aba, "A1 A1 -B2 B2 A3 A3", 3, 0, true, ""},
		{"a block excluded whole and repeated", aba, "A1 A1 -B2 -B2 B3 B3 A4 A4", 3, 0, true, ""},
		{"settling pulls written down", aba, "A1 A1 ~B2 ~B2 B2 B2 ~A3 A3 A3", 3, 0, true, ""},
		{"a settling pull in the place of one that counts", aba, "A1 A1 ~B2 B2 A3 A3", 0, 0, false, "block 2 (B) has 1 pulls where 2 were planned"},
		{"a pull too many", aba, "A1 A1 A1 B2 B2 A3 A3", 0, 0, false, "block 1 (A) has 3 used pulls where 2 were planned"},
		{"a pull too few", aba, "A1 B2 B2 A3 A3", 0, 0, false, "block 1 (A) has 1 pulls where 2 were planned"},
		{"a block too many", aba, "A1 A1 B2 B2 A3 A3 B4 B4", 0, 0, false, "4 blocks were measured where 3 were planned"},
		{"another order", aba, "A1 A1 A2 A2 B3 B3", 0, 0, false, "block 2 is A where B was planned"},
		{"a block lost in the middle", aba, "A1 A1 -B2 -B2 A3 A3", 0, 0, false, "block 2 is A where B was planned"},
		{"not unstrapped", aba, "A1 A1 B1 B1 A1 A1", 0, 0, false, "the vehicle was left strapped before block 2 where the plan has it strapped anew; the vehicle was left strapped before block 3 where the plan has it strapped anew"},
		{"unstrapped", "A1x1 B1x1 A1x1", "A1 B1 A2", 0, 0, false, "the vehicle was strapped anew before block 3 where the plan has it left strapped"},
		{"one setup", "A1x1 B1x1 A1x1", "A1 -B1 B1 A1", 3, 0, true, ""},
		{"two blocks of one kind", "A1x1 B2x1 B3x1 A4x1", "A1 B2 B3 A4", 4, 0, true, ""},
		{"two blocks run together", "A1x1 B2x1 B3x1 A4x1", "A1 B2 B2 A4", 0, 0, false, "block 2 (B) has 2 used pulls where 1 were planned; block 3 is A where B was planned"},
	} {
		c := planned(t, row.plan, row.pulls)
		got := c.Progress()
		if joined := strings.Join(got.Departures, "; "); joined != row.departures || got.Finished != row.finished {
			t.Errorf("%s: finished %v, departures %q; want %v, %q", row.name, got.Finished, joined, row.finished, row.departures)
		}
		if row.departures == "" && (got.Next != row.next || got.Left != row.left) {
			t.Errorf("%s: next is block %d with %d pulls; want %d, %d", row.name, got.Next, got.Left, row.next, row.left)
		}
		slices.Reverse(c.Pulls) // the order of the rows says nothing
		if again := c.Progress(); !slices.Equal(again.Measured, got.Measured) {
			t.Errorf("%s: %v in another order of rows, %v before", row.name, again.Measured, got.Measured)
		}
	}
	if got := (&Campaign{}).Progress(); got.Finished || len(got.Departures) > 0 {
		t.Errorf("without a plan: %+v", got)
	}
}

func TestFrozen(t *testing.T) {
	c := *planned(t, "A1x1 B2x1 A3x1", "A1 -B2 B3 A4")
	c.Objective, c.Correction = Objective{Confidence: 0.9, Primary: PrimaryBand}, "none"
	got, now := c.Frozen()
	if want := planBegin.Add(5 * time.Minute); !now || !got.Plan.Frozen.Equal(want) || got.Plan.Objective != c.Objective || got.Plan.Correction != "none" {
		t.Errorf("%v, %+v; want frozen at the excluded pull of B, %v, with the objective and the correction", now, got.Plan, want)
	}
	if !c.Plan.Frozen.IsZero() {
		t.Error("the campaign that was asked is changed")
	}
	if _, again := got.Frozen(); again {
		t.Error("a frozen plan was frozen again")
	}
	if _, now := planned(t, "A1x1 B2x1", "A1").Frozen(); now {
		t.Error("frozen without a candidate pull")
	}
	if _, now := (Campaign{Pulls: c.Pulls, Configurations: c.Configurations}).Frozen(); now {
		t.Error("frozen without a plan")
	}
}

func TestCodes(t *testing.T) {
	p := &Plan{Seed: 41, Blocks: make([]PlannedBlock, MaxPlannedBlocks)}
	codes := p.Codes()
	seen := map[string]bool{}
	for _, code := range codes {
		if len(code) != 2 || seen[code] {
			t.Errorf("code %q is taken or not of two characters", code)
		}
		seen[code] = true
	}
	if len(codes) != MaxPlannedBlocks || !slices.Equal(codes, p.Codes()) {
		t.Errorf("%d codes for %d blocks, or others when asked again", len(codes), MaxPlannedBlocks)
	}
	if other := (&Plan{Seed: 42, Blocks: p.Blocks}).Codes(); slices.Equal(other, codes) {
		t.Error("another seed gives the same codes")
	}
}
