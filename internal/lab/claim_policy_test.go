package lab

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
)

// What the policy refuses is said item by item; each item by what alone breaks it.
func TestPolicyItems(t *testing.T) {
	w := newWorkspace(t)
	putScenario(t, w, claimScenario(0))
	a := mustJudge(t, w, "lab-00", false).Analysis
	c := a.comparison("B")
	policy := campaign.DefaultClaimPolicy()
	if items := a.notAllowed(c, policy); len(items) > 0 {
		t.Fatalf("an honest campaign is refused: %v", items)
	}
	for _, broken := range []struct {
		says  string
		spoil func(a *Analysis, c *compare.Comparison, p *campaign.ClaimPolicy)
	}{
		{"not enough evidence", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) {
			c.Verdict = compare.NotEnoughEvidence
		}},
		{"not enough evidence", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) { c.Verdict = "" }},
		{"the policy lets", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) { c.Verdict = compare.LossShown }},
		{"no interval", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) { c.Band.Interval = false }},
		{"no interval", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) { c.Band.Missing = "no band" }},
		{"less than 0.1 %", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) { c.Band.AtLeast = 0.0005 }},
		{"between two baseline blocks", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) { c.Bracketed = false }},
		{"asks for 6", func(_ *Analysis, _ *compare.Comparison, p *campaign.ClaimPolicy) { p.Setups = 6 }},
		{"asks for 8", func(_ *Analysis, _ *compare.Comparison, p *campaign.ClaimPolicy) { p.Pulls = 8 }},
		{"check gear is open", func(a *Analysis, _ *compare.Comparison, _ *campaign.ClaimPolicy) {
			a.Checks = append(a.Checks, campaign.Check{ID: "gear", Status: campaign.Fail, Message: "another gear"})
		}},
		{"plan was changed", func(_ *Analysis, c *compare.Comparison, _ *campaign.ClaimPolicy) {
			c.Reasons = []compare.Reason{compare.PlanChanged}
		}},
		{"asks for a plan", func(_ *Analysis, _ *compare.Comparison, p *campaign.ClaimPolicy) { p.PlanNeeded = true }},
		{"by judgement", func(a *Analysis, _ *compare.Comparison, _ *campaign.ClaimPolicy) {
			changed := *a.Campaign
			changed.History = &campaign.History{SetupSD: 0.01, SetupDF: 5, Assumed: true}
			a.Campaign = &changed
		}},
	} {
		other, comparison, p := *a, *c, policy
		other.Checks = slices.Clone(a.Checks)
		broken.spoil(&other, &comparison, &p)
		items := other.notAllowed(&comparison, p)
		if len(items) != 1 || !strings.Contains(items[0], broken.says) {
			t.Errorf("%q is refused as %q", broken.says, items)
		}
	}
}

// A failed check that was answered in writing for its pulls is not open.
func TestAnsweredCheckIsNotOpen(t *testing.T) {
	w := newWorkspace(t)
	putScenario(t, w, claimScenario(0))
	a := mustJudge(t, w, "lab-00", false).Analysis
	a.Checks = append(a.Checks, campaign.Check{ID: "slip", Status: campaign.Fail, Pulls: []string{a.Pulls[0].Name}, Message: "it slipped"})
	if open := a.openFails(a.comparison("B")); len(open) != 1 {
		t.Errorf("open are %v", open)
	}
	a.Pulls[0].Values = map[string]string{answerColumn: "looked at; the sensor"}
	if open := a.openFails(a.comparison("B")); len(open) != 0 {
		t.Errorf("answered, and still open are %v", open)
	}
}

// The policy of a workspace is a file, every version kept; what it does not say is as
// built in; what it cannot say is refused.
func TestPolicyIsKept(t *testing.T) {
	w := newWorkspace(t)
	if p, own, err := w.ClaimPolicy(t.Context()); err != nil || own || p.Setups != 3 {
		t.Fatalf("%+v, %v, %v", p, own, err)
	}
	text := []byte("format = \"fairpull.policy/1\"\nsetups = 5\nfigure = \"interval\"\n")
	if _, err := w.SetClaimPolicy(t.Context(), text, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
		t.Errorf("without a reason: %v", err)
	}
	if changed, err := w.SetClaimPolicy(t.Context(), text, anna); err != nil || !changed {
		t.Fatal(changed, err)
	}
	p, own, err := w.ClaimPolicy(t.Context())
	if err != nil || !own || p.Setups != 5 || p.Figure != campaign.ClaimInterval || !p.Bracketed {
		t.Errorf("%+v, %v, %v", p, own, err)
	}
	again, err := PolicyTOML(p)
	if err != nil {
		t.Fatal(err)
	}
	if back, err := parsePolicy(again); err != nil || back.Setups != 5 || !slices.Equal(back.Verdicts, p.Verdicts) {
		t.Errorf("%+v, %v", back, err)
	}
	for what, text := range map[string]string{
		"no format":         `setups = 3`,
		"an unknown key":    "format = \"fairpull.policy/1\"\nbest_pull = true",
		"an unknown figure": "format = \"fairpull.policy/1\"\nfigure = \"best\"",
		"what claims none":  "format = \"fairpull.policy/1\"\nverdicts = [\"not enough evidence\"]",
		"no verdict":        "format = \"fairpull.policy/1\"\nverdicts = []",
		"a negative count":  "format = \"fairpull.policy/1\"\nsetups = -1",
		"no TOML":           "{",
	} {
		if _, err := parsePolicy([]byte(text)); !errors.Is(err, ErrRefused) {
			t.Errorf("%s: %v, want ErrRefused", what, err)
		}
	}
}

// With an interval allowed, the sentence has the gain with it.
func TestClaimWithInterval(t *testing.T) {
	w, _ := claimingLab(t)
	if _, err := w.SetClaimPolicy(t.Context(), []byte("format = \"fairpull.policy/1\"\nfigure = \"interval\"\n"), anna); err != nil {
		t.Fatal(err)
	}
	c := mustDraft(t, w, "lab-01")
	if !strings.Contains(c.Sentence, "95 % interval") || !strings.Contains(c.Sentence, "at least") {
		t.Errorf("the sentence is %q", c.Sentence)
	}
	if _, err := w.SetClaimPolicy(t.Context(), []byte("format = \"fairpull.policy/1\"\nsetups = 9\nplan_needed = true\n"), anna); err != nil {
		t.Fatal(err)
	}
	var refused *NotAllowedError
	if _, err := w.DraftClaim(t.Context(), "lab-01", ClaimOptions{By: dora, Program: "1.0"}); !errors.As(err, &refused) || len(refused.Items) != 2 {
		t.Errorf("%v", err)
	}
}
