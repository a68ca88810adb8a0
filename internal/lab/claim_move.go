package lab

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/internal/store"
	"fairpull/report"
)

// declinedError says why something was not done; it is [ErrRefused].
type declinedError struct{ error }

func (declinedError) Is(target error) bool { return target == ErrRefused }
func (e declinedError) Unwrap() error      { return e.error }

func declined(format string, args ...any) error { return declinedError{fmt.Errorf(format, args...)} }

// roleOfSigner is the role in which a claim is signed.
const roleOfSigner = "approved"

// ReviewClaim notes that somebody looked a draft through, who is not its drafter.
func (w *Workspace) ReviewClaim(ctx context.Context, number string, by Author) (*report.Claim, error) {
	kept, stated, err := w.claimIn(ctx, number, campaign.ClaimReviewed)
	if err != nil {
		return nil, err
	}
	if evidence.SamePerson(stated.DraftedBy, by.Who) {
		return nil, declined("%s drafted claim %s, and somebody else reviews it: --by \"A. Name\"", stated.DraftedBy, number)
	}
	return w.moved(ctx, store.ClaimMove{Number: number, From: kept.State(), To: campaign.ClaimReviewed}, by)
}

// claimIn returns a claim that may go into a state.
func (w *Workspace) claimIn(ctx context.Context, number string, next campaign.ClaimState) (store.Claim, campaign.Claim, error) {
	kept, err := w.store.Claim(ctx, number)
	if err != nil {
		return kept, campaign.Claim{}, unknownClaim(err)
	}
	if !kept.State().May(next) {
		return kept, campaign.Claim{}, declined("claim %s is %s, and cannot become %s%s", number, kept.State(), next, nextStep(number, kept.State()))
	}
	stated, err := decodeClaim(kept.Body)
	return kept, stated, err
}

// nextStep says what comes next for a claim, as a line of its own; empty: nothing does.
func nextStep(number string, state campaign.ClaimState) string {
	step := map[campaign.ClaimState]string{
		campaign.ClaimDraft: "--review --by \"A. Name\"", campaign.ClaimReviewed: "--sign --key approver.key", campaign.ClaimSigned: "--publish --key record.key",
	}[state]
	if step == "" {
		return ""
	}
	return ".\n  What comes next: fairpull claim " + number + " " + step
}

func (w *Workspace) moved(ctx context.Context, m store.ClaimMove, by Author) (*report.Claim, error) {
	if _, err := w.store.MoveClaim(ctx, m, by); err != nil {
		return nil, err
	}
	return w.Claim(ctx, m.Number)
}

// SignClaim signs a claim with the key of a person who did not draft it. The first
// signature fixes the dossier: its files are made, kept, and what is signed is the
// list of them with their digests. A further signature is over the same list.
func (w *Workspace) SignClaim(ctx context.Context, number string, file KeyFile, program, why string) (*report.Claim, error) {
	key, err := openKey(file)
	if err != nil {
		return nil, err
	}
	return w.sign(ctx, number, key, program, why)
}

func (w *Workspace) sign(ctx context.Context, number string, key *evidence.PrivateKey, program, why string) (*report.Claim, error) {
	kept, stated, err := w.claimIn(ctx, number, campaign.ClaimSigned)
	if err != nil {
		return nil, err
	}
	ring, _, err := w.keyring(ctx)
	if err != nil {
		return nil, err
	}
	state, known := ring.Key(key.Public().ID())
	switch {
	case !known:
		return nil, declined("key %s is not in the lab's list of keys.\n  The keeper adds it: fairpull key add %s --name \"A. Name\" --keeper keeper.key", key.Public().ID(), key.Public())
	case evidence.SamePerson(state.Name, stated.DraftedBy):
		return nil, declined("%s drafted claim %s and cannot sign it too", state.Name, number)
	}
	now := time.Now().UTC().Truncate(time.Second)
	m := store.ClaimMove{Number: number, From: kept.State(), To: campaign.ClaimSigned}
	var seal *evidence.Seal
	if len(kept.Seal) > 0 {
		if seal, err = evidence.ParseSeal(kept.Seal); err != nil {
			return nil, err
		}
		seal.Keys = ring
	} else if seal, m.Files, err = w.newSeal(ctx, kept, stated, ring, state, now, program); err != nil {
		return nil, err
	}
	if err := seal.Sign(key, roleOfSigner, now); err != nil {
		return nil, err
	}
	if m.Seal, err = seal.Encode(); err != nil {
		return nil, err
	}
	return w.moved(ctx, m, Author{Who: state.Name, Why: why})
}

// newSeal makes the dossier of a claim that state's owner is about to sign.
func (w *Workspace) newSeal(ctx context.Context, kept store.Claim, stated campaign.Claim, ring *evidence.Keyring, state evidence.KeyState, now time.Time, program string) (*evidence.Seal, []store.ClaimFile, error) {
	view := &report.Claim{
		Claim: stated, States: append(kept.Events, campaign.ClaimEvent{State: campaign.ClaimSigned, Who: state.Name, At: now}),
		Signed:  []report.ClaimSignature{{By: state.Name, As: roleOfSigner, At: now, Key: state.Key.ID()}},
		Founder: ring.Founder().String(), Record: recordName(ring),
	}
	files, err := w.dossierFiles(ctx, kept, view, program)
	if err != nil {
		return nil, nil, err
	}
	bag, err := newBag(kept.Number, now, program)
	if err != nil {
		return nil, nil, err
	}
	if err := fillBag(bag, files); err != nil {
		return nil, nil, err
	}
	statement, err := evidence.NewStatement(bag, kept.Number, oneLineOf(stated.Title), stated.DraftedBy, now)
	return &evidence.Seal{Statement: statement, Keys: ring}, claimFiles(files), err
}

// oneLineOf returns a text as one line.
func oneLineOf(text string) string {
	line := strings.Join(strings.Fields(text), " ")
	if line == "" {
		return "–"
	}
	return report.Shorten(line, 300)
}

// PublishClaim enters a signed claim into the lab's record, with a checkpoint that
// the record's key signs. A claim that it amends ends with that. What was entered
// before an interruption is not entered again. Where stamper is the address of a
// time-stamping service (RFC 3161), its stamp of the checkpoint is attached; a claim
// that it does not stamp is not published.
func (w *Workspace) PublishClaim(ctx context.Context, number string, file KeyFile, stamper string, by Author) (*report.Claim, error) {
	key, err := openKey(file)
	if err != nil {
		return nil, err
	}
	return w.publish(ctx, number, key, stamper, by)
}

func (w *Workspace) publish(ctx context.Context, number string, key *evidence.PrivateKey, stamper string, by Author) (*report.Claim, error) {
	kept, _, err := w.claimIn(ctx, number, campaign.ClaimPublished)
	if err != nil {
		return nil, err
	}
	ring, _, err := w.keyring(ctx)
	if err != nil {
		return nil, err
	}
	record, err := w.openRecord(ring, key, by)
	if err != nil {
		return nil, err
	}
	seal, err := evidence.ParseSeal(kept.Seal)
	if err != nil {
		return nil, err
	}
	if err := w.mayAmend(ctx, kept); err != nil {
		return nil, err
	}
	seal.Keys = ring
	if failed := seal.Verify(evidence.Trust{Keys: ring}).Of(evidence.Failed); len(failed) > 0 {
		return nil, fmt.Errorf("claim %s cannot be published: %s.\n  Draft it anew: fairpull claim %s --withdraw --why \"…\"", number, failed[0].What, number)
	}
	if err := w.enter(ctx, seal, record, key); err != nil {
		return nil, err
	}
	if stamper != "" {
		if err := attachStamp(ctx, seal, stamper); err != nil {
			return nil, fmt.Errorf("claim %s was not published: %w", number, err)
		}
	}
	m := store.ClaimMove{Number: number, From: kept.State(), To: campaign.ClaimPublished}
	if m.Seal, err = seal.Encode(); err != nil {
		return nil, err
	}
	return w.moved(ctx, m, by)
}

// mayAmend refuses to publish a claim whose predecessor no longer stands, before the
// record has it.
func (w *Workspace) mayAmend(ctx context.Context, kept store.Claim) error {
	if kept.Amends == "" {
		return nil
	}
	old, err := w.store.Claim(ctx, kept.Amends)
	if err != nil || old.State().May(campaign.ClaimAmended) {
		return err
	}
	return declined("claim %s amends %s, which is %s already, and cannot be published.\n  To end it: fairpull claim %s --withdraw --why \"…\"", kept.Number, kept.Amends, old.State(), kept.Number)
}

// stampWait is how long a time-stamping service may take.
const stampWait = 30 * time.Second

// attachStamp asks a service for a time stamp and attaches it.
func attachStamp(ctx context.Context, seal *evidence.Seal, service string) error {
	of, err := seal.ToStamp()
	if err != nil {
		return err
	}
	token, err := evidence.RequestStamp(ctx, &http.Client{Timeout: stampWait}, service, of)
	if err != nil {
		return err
	}
	return seal.Attach(token)
}

// openRecord returns the lab's record, whose checkpoints the key signs today.
func (w *Workspace) openRecord(ring *evidence.Keyring, key *evidence.PrivateKey, by Author) (*evidence.Record, error) {
	name := recordName(ring)
	if name == "" {
		return nil, declined("the lab has no record yet: fairpull key new record.key --for record --name lab.example/record --keeper keeper.key")
	}
	state, known := ring.Key(key.Public().ID())
	if !known || state.Purpose != evidence.ForRecord || !state.Until.IsZero() || !state.Revoked.IsZero() {
		return nil, declined("key %s is not the key that signs the record %s today", key.Public().ID(), name)
	}
	return evidence.OpenRecord(name, w.store.Record(by))
}

// enter puts a seal into the record, unless it is there already, and takes the
// proof.
func (w *Workspace) enter(ctx context.Context, seal *evidence.Seal, record *evidence.Record, key *evidence.PrivateKey) error {
	leaf, err := seal.Leaf()
	if err != nil {
		return err
	}
	index, err := w.appendOnce(ctx, record, leaf)
	if err != nil {
		return err
	}
	return seal.Prove(ctx, record, index, key)
}

// appendOnce puts a leaf at the end of the record, unless it is in it already, and
// returns its place.
func (w *Workspace) appendOnce(ctx context.Context, record *evidence.Record, leaf []byte) (int64, error) {
	for {
		index, err := w.store.RecordLeaf(ctx, leaf)
		if err != nil || index >= 0 {
			return index, err
		}
		index, err = record.Append(ctx, leaf)
		if !errors.Is(err, evidence.ErrMoved) {
			return index, err
		}
	}
}

// withdrawalFormat is the format of a leaf that says that a claim was withdrawn.
const withdrawalFormat = "fairpull.withdrawal/1"

// WithdrawClaim ends a claim for by.Why. Where it stands in the record, the record
// says so from then on.
func (w *Workspace) WithdrawClaim(ctx context.Context, number string, by Author) (*report.Claim, error) {
	kept, _, err := w.claimIn(ctx, number, campaign.ClaimWithdrawn)
	if err != nil {
		return nil, err
	}
	if by.Why == "" {
		return nil, declined("a claim is withdrawn for a reason: --why \"…\"")
	}
	recorded, err := w.recorded(ctx, kept)
	if err != nil {
		return nil, err
	}
	if recorded {
		ring, _, err := w.keyring(ctx)
		if err != nil {
			return nil, err
		}
		record, err := evidence.OpenRecord(recordName(ring), w.store.Record(by))
		if err != nil {
			return nil, err
		}
		leaf, err := json.Marshal(map[string]string{"format": withdrawalFormat, "subject": number, "why": by.Why})
		if err != nil {
			return nil, err
		}
		if _, err := w.appendOnce(ctx, record, leaf); err != nil {
			return nil, err
		}
	}
	return w.moved(ctx, store.ClaimMove{Number: number, From: kept.State(), To: campaign.ClaimWithdrawn, Seal: kept.Seal}, by)
}

// recorded reports whether a claim stands in the record: one that is published, or
// whose publication was interrupted after it was entered.
func (w *Workspace) recorded(ctx context.Context, kept store.Claim) (bool, error) {
	if len(kept.Seal) == 0 {
		return false, nil
	}
	seal, err := evidence.ParseSeal(kept.Seal)
	if err != nil {
		return false, err
	}
	leaf, err := seal.Leaf()
	if err != nil {
		return false, err
	}
	index, err := w.store.RecordLeaf(ctx, leaf)
	return index >= 0, err
}

// AmendClaim drafts the claim that is to take the place of a published one, for
// o.By.Why, from its campaign's latest result. The published one stands until the
// new one is published.
func (w *Workspace) AmendClaim(ctx context.Context, number string, o ClaimOptions) (*report.Claim, error) {
	kept, stated, err := w.claimIn(ctx, number, campaign.ClaimAmended)
	if err != nil {
		return nil, err
	}
	if o.By.Why == "" {
		return nil, declined("a claim is amended for a reason: --why \"…\"")
	}
	o.amends, o.amendsWhy = number, o.By.Why
	if o.Candidate == "" {
		o.Candidate = stated.Candidate
	}
	if o.Title == "" {
		o.Title = stated.Title
	}
	return w.DraftClaim(ctx, kept.Campaign, o)
}
