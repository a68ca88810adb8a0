package lab

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/evidence"
	"fairpull/internal/store"
	"fairpull/report"
)

// ClaimOptions say what a person adds to a claim when it is drafted.
type ClaimOptions struct {
	Candidate  string   // its configuration; empty: the campaign's only candidate
	Title      string   // empty: the campaign's
	Deviations []string // beside those that the analysis names
	NotCovered []string // beside what no claim covers
	Program    string   // the program's version
	By         Author
	Progress   func(done, total int) // may be nil

	amends, amendsWhy string
}

// DraftClaim drafts a claim of a campaign's latest kept result, which must rest on
// the latest data and come out the same when it is derived again. What the policy
// does not let be claimed is a [NotAllowedError], item by item.
func (w *Workspace) DraftClaim(ctx context.Context, id string, o ClaimOptions) (*report.Claim, error) {
	policy, _, err := w.ClaimPolicy(ctx)
	if err != nil {
		return nil, err
	}
	entry, err := w.store.Entry(ctx, id, 0)
	if err != nil {
		return nil, unknownCampaign(err)
	}
	r, err := w.store.LatestResult(ctx, id)
	if errors.Is(err, store.ErrNotFound) || err == nil && r.Data != entry.Digest {
		return nil, declined("campaign %s has no result that rests on its latest data, and a claim rests on one.\n  To keep one: fairpull judge %s", id, id)
	}
	if err != nil {
		return nil, err
	}
	a, err := w.claimAnalysis(ctx, r, o.Progress)
	if err != nil {
		return nil, err
	}
	c, err := a.claimed(o.Candidate)
	if err != nil {
		return nil, err
	}
	if items := a.notAllowed(c, policy); len(items) > 0 {
		return nil, &NotAllowedError{Campaign: id, Candidate: c.Candidate, Items: items}
	}
	head := campaign.ClaimHead{
		Format: campaign.ClaimFormat, Title: o.Title, Amends: o.amends, AmendsWhy: o.amendsWhy, DraftedBy: o.By.Who,
		Campaign: id, Version: r.Version, Data: r.Data.String(), Candidate: c.Candidate, Result: evidence.OfBytes(r.Body).String(),
		Program: o.Program, Method: Method, StatedDeviations: o.Deviations, StatedLimits: o.NotCovered, Policy: policy,
	}
	if head.Title == "" {
		head.Title = a.Campaign.Title
	}
	number, err := w.store.AddClaim(ctx, store.ClaimDraft{
		Campaign: id, Candidate: c.Candidate, Result: r.ID, Amends: o.amends,
		Body: func(number string, at time.Time) ([]byte, error) {
			head.Number, head.Drafted = number, at.Truncate(time.Second)
			return encodeClaim(a.claimOf(c, head))
		},
	}, o.By)
	if err != nil {
		return nil, err
	}
	return w.Claim(ctx, number)
}

// claimAnalysis derives a kept result again and refuses one that comes out
// otherwise: what is claimed is what this program finds.
func (w *Workspace) claimAnalysis(ctx context.Context, r store.Result, progress func(done, total int)) (*Analysis, error) {
	folder, entry, err := w.folder(ctx, r.Campaign, r.Version)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	if entry.Digest != r.Data {
		return nil, fmt.Errorf("campaign %s, version %d: its data have the digest %s, the result rests on %s", r.Campaign, r.Version, entry.Digest, r.Data)
	}
	options, err := w.optionsOf(ctx, r.Settings, &folder.Campaign)
	if err != nil {
		return nil, err
	}
	options.Progress = progress
	a, err := Analyse(ctx, folder, options)
	if err != nil {
		return nil, fmt.Errorf("campaign %s: %w", r.Campaign, err)
	}
	again, err := resultOf(a, options)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again.Body, r.Body) {
		return nil, declined("campaign %s: this program finds something else than the kept result %s says.\n  To see what moved: fairpull recompute %s --dry-run; to keep it: fairpull judge %s", r.Campaign, r.ID, r.Campaign, r.Campaign)
	}
	return a, nil
}

// claimed returns the comparison that a claim is about.
func (a *Analysis) claimed(candidate string) (*compare.Comparison, error) {
	var names []string
	for i := range a.Comparisons {
		names = append(names, a.Comparisons[i].Candidate)
	}
	if candidate == "" && len(names) == 1 {
		candidate = names[0]
	}
	if c := a.comparison(candidate); c != nil {
		return c, nil
	}
	if candidate == "" {
		return nil, declined("a claim is about one candidate, and campaign %s has several: --candidate %s", a.Campaign.ID, strings.Join(names, " or "))
	}
	return nil, declined("campaign %s has no candidate %.80q; it has %s", a.Campaign.ID, candidate, strings.Join(names, ", "))
}

// encodeClaim writes what a claim states. A text in it that speaks of certification
// is refused.
func encodeClaim(c campaign.Claim) ([]byte, error) {
	for _, text := range slices.Concat([]string{c.Title, c.AmendsWhy, c.DraftedBy}, c.StatedDeviations, c.StatedLimits) {
		if err := campaign.CheckClaimText(text); err != nil {
			return nil, declined("%.80q %w", text, err)
		}
	}
	if strings.TrimSpace(c.Title) == "" {
		return nil, declined("the claim has no title, and neither has the campaign: --title")
	}
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(c); err != nil {
		return nil, err
	}
	if err := campaign.CheckClaimText(out.String()); errors.Is(err, campaign.ErrCertified) {
		return nil, declined("the name of a part or another text of the campaign %w", err)
	}
	return out.Bytes(), nil
}

// maxClaim bounds a claim's JSON, in bytes.
const maxClaim = 4 << 20

// decodeClaim reads what encodeClaim wrote.
func decodeClaim(text []byte) (campaign.Claim, error) {
	var c campaign.Claim
	if len(text) > maxClaim {
		return c, fmt.Errorf("a claim has at most %d bytes", maxClaim)
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&c); err != nil {
		return c, fmt.Errorf("claim: %w", err)
	}
	if c.Format != campaign.ClaimFormat {
		return c, fmt.Errorf("claim: its format is %.40q; this program reads %s", c.Format, campaign.ClaimFormat)
	}
	return c, nil
}

// unknownClaim adds to an error of a claim that is not there what helps.
func unknownClaim(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("%w.\n  What is there: fairpull claim --list", err)
	}
	return err
}

// Claim returns a claim with its states, without the analysis behind it.
func (w *Workspace) Claim(ctx context.Context, number string) (*report.Claim, error) {
	kept, err := w.store.Claim(ctx, number)
	if err != nil {
		return nil, unknownClaim(err)
	}
	return w.claimView(ctx, kept)
}

func (w *Workspace) claimView(ctx context.Context, kept store.Claim) (*report.Claim, error) {
	stated, err := decodeClaim(kept.Body)
	if err != nil {
		return nil, err
	}
	view := &report.Claim{Claim: stated, States: kept.Events}
	if kept.State() == campaign.ClaimAmended {
		all, err := w.store.Claims(ctx)
		if err != nil {
			return nil, err
		}
		for _, other := range all {
			if other.Amends == kept.Number && slices.ContainsFunc(other.Events, func(e campaign.ClaimEvent) bool { return e.State == campaign.ClaimPublished }) {
				view.By = other.Number
			}
		}
	}
	if len(kept.Seal) == 0 {
		return view, nil
	}
	seal, err := evidence.ParseSeal(kept.Seal)
	if err != nil {
		return nil, fmt.Errorf("claim %s: %w", kept.Number, err)
	}
	return view, sealInto(view, seal)
}

// sealInto notes who signed a claim and its place in the record.
func sealInto(view *report.Claim, seal *evidence.Seal) error {
	view.Founder = seal.Keys.Founder().String()
	message, err := seal.Statement.Bytes()
	if err != nil {
		return err
	}
	for _, s := range seal.Signatures {
		state, _ := seal.Keys.Key(s.Key)
		comment, err := state.Key.Verify(message, s.Text)
		if err != nil {
			return fmt.Errorf("signature by key %s: %w", s.Key, err)
		}
		one := report.ClaimSignature{Key: s.Key}
		if err := json.Unmarshal([]byte(comment), &one); err != nil {
			return fmt.Errorf("signature by key %s: %w", s.Key, err)
		}
		view.Signed = append(view.Signed, one)
	}
	if r := seal.Receipt; r != nil {
		view.Record, view.Index = recordName(seal.Keys), r.Index
	}
	return nil
}

// ClaimDocument returns a claim with the analysis behind it, for documents.
func (w *Workspace) ClaimDocument(ctx context.Context, number, program string) (*report.Claim, error) {
	kept, err := w.store.Claim(ctx, number)
	if err != nil {
		return nil, unknownClaim(err)
	}
	view, err := w.claimView(ctx, kept)
	if err != nil {
		return nil, err
	}
	r, err := w.store.ResultOf(ctx, kept.Result)
	if err != nil {
		return nil, err
	}
	a, err := w.claimAnalysis(ctx, r, nil)
	if err != nil {
		return nil, err
	}
	a.fill(view, program)
	return view, nil
}

// fill puts the analysis into a claim's view.
func (a *Analysis) fill(view *report.Claim, program string) {
	view.Gain, view.Version = a.View(program, a.units), program
}

// Claims returns the list of all claims, the latest first.
func (w *Workspace) Claims(ctx context.Context) (*report.Claims, error) {
	all, err := w.store.Claims(ctx)
	if err != nil {
		return nil, err
	}
	amendedBy := map[string]string{}
	for _, c := range all {
		if c.Amends != "" && slices.ContainsFunc(c.Events, func(e campaign.ClaimEvent) bool { return e.State == campaign.ClaimPublished }) {
			amendedBy[c.Amends] = c.Number
		}
	}
	view := &report.Claims{}
	for _, c := range all {
		stated, err := decodeClaim(c.Body)
		if err != nil {
			return nil, fmt.Errorf("claim %s: %w", c.Number, err)
		}
		view.Rows = append(view.Rows, report.ClaimRow{
			Number: c.Number, State: c.State(), Since: c.Events[len(c.Events)-1].At, Campaign: c.Campaign,
			Amends: c.Amends, By: amendedBy[c.Number], Title: stated.Title, Sentence: stated.Sentence,
		})
	}
	return view, nil
}
