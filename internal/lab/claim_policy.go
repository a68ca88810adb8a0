package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/internal/store"
	"fairpull/report"
)

// policyFormat is the format of a policy as TOML; it stands in docs/claims.md.
const policyFormat = "fairpull.policy/1"

// maxPolicy bounds a policy's text, in bytes.
const maxPolicy = 64 << 10

// policyText is a policy as its file has it.
type policyText struct {
	Format string `toml:"format"`
	campaign.ClaimPolicy
}

// ClaimPolicy returns the policy of the workspace, and whether it is its own; else
// it is the built-in one.
func (w *Workspace) ClaimPolicy(ctx context.Context) (campaign.ClaimPolicy, bool, error) {
	text, err := w.store.LabText(ctx, store.PolicyText)
	if errors.Is(err, store.ErrNotFound) {
		return campaign.DefaultClaimPolicy(), false, nil
	}
	if err != nil {
		return campaign.ClaimPolicy{}, false, err
	}
	p, err := parsePolicy(text)
	return p, true, err
}

// SetClaimPolicy makes a policy, as TOML, that of the workspace, for by.Why. Claims
// that are drafted already keep the one that they were drafted under.
func (w *Workspace) SetClaimPolicy(ctx context.Context, text []byte, by Author) (changed bool, err error) {
	if _, err := parsePolicy(text); err != nil {
		return false, err
	}
	if by.Why == "" {
		return false, declined("a policy is changed for a reason")
	}
	was, err := w.store.LabText(ctx, store.PolicyText)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return false, err
	}
	change, err := w.store.SetLabText(ctx, store.PolicyText, was, text, by)
	return change.Changed(), err
}

// parsePolicy reads a policy. A key that is not there has its built-in value.
func parsePolicy(text []byte) (campaign.ClaimPolicy, error) {
	if len(text) > maxPolicy {
		return campaign.ClaimPolicy{}, declined("a policy has at most %d bytes", maxPolicy)
	}
	p := policyText{ClaimPolicy: campaign.DefaultClaimPolicy()}
	decoder := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields()
	if err := decoder.Decode(&p); err != nil {
		var unknown *toml.StrictMissingError
		if errors.As(err, &unknown) {
			return campaign.ClaimPolicy{}, declined("the policy has a key that is unknown: %s", strings.Join(unknown.Errors[0].Key(), "."))
		}
		return campaign.ClaimPolicy{}, declined("the policy: %w", err)
	}
	if p.Format != policyFormat {
		return campaign.ClaimPolicy{}, declined("the policy's format is %.40q; write format = %q", p.Format, policyFormat)
	}
	if err := p.Check(); err != nil {
		return campaign.ClaimPolicy{}, declined("the policy: %w", err)
	}
	return p.ClaimPolicy, nil
}

// PolicyTOML writes a policy as its file.
func PolicyTOML(p campaign.ClaimPolicy) ([]byte, error) {
	return toml.Marshal(policyText{policyFormat, p})
}

// NotAllowedError says item by item why nothing may be claimed.
type NotAllowedError struct {
	Campaign, Candidate string
	Items               []string
}

// Error lists the items.
func (e *NotAllowedError) Error() string {
	return fmt.Sprintf("nothing of %s, candidate %s, may be claimed:\n  - %s\n  What is asked for: fairpull claim --show-policy", e.Campaign, e.Candidate, strings.Join(e.Items, "\n  - "))
}

// notAllowed returns item by item what the policy has against a claim of a
// comparison; nil: nothing.
func (a *Analysis) notAllowed(c *compare.Comparison, p campaign.ClaimPolicy) []string {
	var items []string
	add := func(format string, args ...any) { items = append(items, fmt.Sprintf(format, args...)) }
	if v := string(c.Verdict); !slices.Contains(p.Verdicts, v) {
		if c.Verdict == compare.NotEnoughEvidence || v == "" {
			add("there is not enough evidence: a verdict that is withheld claims nothing")
		} else {
			add("the verdict is %q, and the policy lets %s be claimed", v, strings.Join(p.Verdicts, ", "))
		}
	}
	if f := c.Figure(c.Primary); f.Missing != "" || !f.Interval {
		add("the figure that the verdict stands on has no interval")
	} else if slices.Contains(p.Verdicts, string(c.Verdict)) && !report.Promises(c) {
		add("less than 0.1 %% can be promised")
	}
	if p.Bracketed && !c.Bracketed {
		add("the candidate was not measured between two baseline blocks")
	}
	if setups := claimSetups(c, ""); len(setups) < p.Setups {
		add("it rests on %d setups, and the policy asks for %d", len(setups), p.Setups)
	}
	for _, side := range []string{c.Baseline, c.Candidate} {
		if n := claimPulls(c, side); n < p.Pulls {
			add("configuration %s has %d used pulls, and the policy asks for %d", side, n, p.Pulls)
		}
	}
	if p.NoOpenFail {
		for _, k := range a.openFails(c) {
			add("the failed check %s is open: %s", k.ID, k.Message)
		}
	}
	if p.PlanUnchanged && (slices.Contains(c.Reasons, compare.PlanChanged) || slices.Contains(c.Reasons, compare.PlanUnfinished)) {
		add("the plan was changed after the first candidate pull, or is not measured to its end")
	}
	if p.PlanNeeded && a.Campaign.Plan == nil {
		add("nothing was planned beforehand, and the policy asks for a plan")
	}
	if h := a.ownHistory(); p.MeasuredScatter && h != nil && h.Assumed {
		add("the scatter from earlier work was entered by judgement and not measured")
	}
	return items
}

// openFails returns the failed checks that concern a comparison and that nobody
// answered in writing.
func (a *Analysis) openFails(c *compare.Comparison) []campaign.Check {
	var open []campaign.Check
	for _, k := range a.Checks {
		if k.Status == campaign.Fail && (k.Comparison == "" || k.Comparison == c.Candidate) && a.concern(&k, c) == unresolved {
			open = append(open, k)
		}
	}
	return open
}

// claimSetups returns the setups in which a comparison's pulls were made, those of one
// side where it is named.
func claimSetups(c *compare.Comparison, side string) []string {
	var setups []string
	for _, b := range c.Blocks {
		if (side == "" || b.Configuration == side) && !slices.Contains(setups, b.Setup) {
			setups = append(setups, b.Setup)
		}
	}
	return setups
}

func claimPulls(c *compare.Comparison, side string) int {
	n := 0
	for _, b := range c.Blocks {
		if b.Configuration == side {
			n += len(b.Pulls)
		}
	}
	return n
}
