package lab

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/simulate"
)

// signers are the keys of an invented lab, in memory.
type signers struct {
	ring                           *evidence.Keyring
	keeper, approver, dora, record *evidence.PrivateKey
}

// newSigners returns a list of keys that began a while ago.
func newSigners(t testing.TB) *signers {
	t.Helper()
	s := &signers{}
	for _, key := range []**evidence.PrivateKey{&s.keeper, &s.approver, &s.dora, &s.record} {
		made, err := evidence.NewKey()
		if err != nil {
			t.Fatal(err)
		}
		*key = made
	}
	began := time.Now().Add(-time.Hour)
	var err error
	if s.ring, err = evidence.NewKeyring(began, "Kim Keeper", s.keeper); err != nil {
		t.Fatal(err)
	}
	err = errors.Join(
		s.ring.Add(began, "Ada Approver", evidence.ForApproval, s.approver.Public(), s.keeper),
		s.ring.Add(began, "Dora Drafter", evidence.ForApproval, s.dora.Public(), s.keeper),
		s.ring.Add(began, "lab.example/record", evidence.ForRecord, s.record.Public(), s.keeper),
	)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var (
	dora = Author{Who: "Dora Drafter"}
	rita = Author{Who: "Rita Reviewer"}
)

// claimScenario is a campaign that the built-in policy lets be claimed.
func claimScenario(n int) simulate.Scenario {
	s := labScenario(n)
	s.Plan.Order = "ABABA"
	s.Faults = nil
	return s
}

// claimingLab is a workspace with keys and two judged campaigns; the second borrows
// from the first.
func claimingLab(t testing.TB) (*Workspace, *signers) {
	t.Helper()
	w, keys := newWorkspace(t), newSigners(t)
	for n := range 2 {
		putScenario(t, w, claimScenario(n))
		mustJudge(t, w, claimScenario(n).ID, true)
	}
	text, err := keys.ring.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.store.SetLabText(t.Context(), store.KeysText, nil, text, anna); err != nil {
		t.Fatal(err)
	}
	return w, keys
}

func mustDraft(t testing.TB, w *Workspace, id string) *report.Claim {
	t.Helper()
	c, err := w.DraftClaim(t.Context(), id, ClaimOptions{By: dora, Program: "1.0", NotCovered: []string{"Sidecars."}})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// mustPublish takes a draft all the way.
func mustPublish(t testing.TB, w *Workspace, keys *signers, number string) *report.Claim {
	t.Helper()
	if _, err := w.ReviewClaim(t.Context(), number, rita); err != nil {
		t.Fatal(err)
	}
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); err != nil {
		t.Fatal(err)
	}
	c, err := w.publish(t.Context(), number, keys.record, "", rita)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A claim says what the result says, with everything that it is bound to, and goes
// from a draft to the record.
func TestClaimFromDraftToRecord(t *testing.T) {
	w, keys := claimingLab(t)
	c := mustDraft(t, w, "lab-01")
	if c.Number != "C-0001" || c.State() != campaign.ClaimDraft || c.DraftedBy != "Dora Drafter" {
		t.Fatalf("%+v", c)
	}
	j := mustJudge(t, w, "lab-01", false)
	f := j.Comparisons[0].Band
	if got, want := c.Claimed.AtLeastPct, 100*math.Expm1(f.AtLeast); math.Abs(got-want) > 1e-9 {
		t.Errorf("at least %g %%, the result has %g %%", got, want)
	}
	if !strings.Contains(c.Sentence, "at least ") || !strings.Contains(c.Sentence, "one-sided confidence") || strings.Contains(c.Sentence, "interval") {
		t.Errorf("the sentence is %q", c.Sentence)
	}
	if len(c.Tested.Components) == 0 || len(c.Beside) != 2 || c.Baseline.Setups != 3 || c.Tested.Setups != 2 || len(c.Cautions) == 0 ||
		c.NotCovered[len(c.NotCovered)-1] != "Sidecars." || !strings.Contains(c.Specimens, "One specimen") {
		t.Errorf("%+v", c.Claim)
	}
	if _, err := w.sign(t.Context(), c.Number, keys.approver, "1.0", ""); !errors.Is(err, ErrRefused) {
		t.Errorf("signed before it was reviewed: %v", err)
	}
	c = mustPublish(t, w, keys, c.Number)
	if c.State() != campaign.ClaimPublished || len(c.Signed) != 1 || c.Signed[0].By != "Ada Approver" || c.Record != "lab.example/record" || c.Index != 0 {
		t.Errorf("%+v", c)
	}
	doctor(t, w)
}

func doctor(t testing.TB, w *Workspace) {
	t.Helper()
	r, err := w.Doctor(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range r.Problems {
		t.Errorf("the doctor found %v", p)
	}
}

// Nobody reviews or signs what they drafted, however they write their name, and no
// key signs that is not in the list or for something else.
func TestWhoMayNotSign(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	for _, name := range []string{"Dora Drafter", "  dora   DRAFTER "} {
		if _, err := w.ReviewClaim(t.Context(), number, Author{Who: name}); !errors.Is(err, ErrRefused) {
			t.Errorf("reviewed by %q: %v, want ErrRefused", name, err)
		}
	}
	if _, err := w.ReviewClaim(t.Context(), number, rita); err != nil {
		t.Fatal(err)
	}
	stranger, err := evidence.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	for what, key := range map[string]*evidence.PrivateKey{"the drafter": keys.dora, "a stranger": stranger, "the record": keys.record, "the keeper": keys.keeper} {
		if _, err := w.sign(t.Context(), number, key, "1.0", ""); err == nil {
			t.Errorf("%s signed", what)
		}
	}
	if c, err := w.Claim(t.Context(), number); err != nil || c.State() != campaign.ClaimReviewed || len(c.Signed) > 0 {
		t.Errorf("after that it is %s, %v", c.State(), err)
	}
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); err != nil {
		t.Fatal(err)
	}
	for what, key := range map[string]*evidence.PrivateKey{"an approver": keys.approver, "a stranger": stranger} {
		if _, err := w.publish(t.Context(), number, key, "", rita); !errors.Is(err, ErrRefused) {
			t.Errorf("published with the key of %s: %v, want ErrRefused", what, err)
		}
	}
}

// What was entered into the record before an interruption is not entered twice.
func TestPublishAfterAnInterruption(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	if _, err := w.ReviewClaim(t.Context(), number, rita); err != nil {
		t.Fatal(err)
	}
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); err != nil {
		t.Fatal(err)
	}
	kept, err := w.store.Claim(t.Context(), number)
	if err != nil {
		t.Fatal(err)
	}
	seal, err := evidence.ParseSeal(kept.Seal)
	if err != nil {
		t.Fatal(err)
	}
	record, err := evidence.OpenRecord("lab.example/record", w.store.Record(rita))
	if err != nil {
		t.Fatal(err)
	}
	if err := w.enter(t.Context(), seal, record, keys.record); err != nil { // and then the power went
		t.Fatal(err)
	}
	if c, err := w.publish(t.Context(), number, keys.record, "", rita); err != nil || c.Index != 0 {
		t.Fatalf("%+v, %v", c, err)
	}
	if head, err := record.Head(t.Context()); err != nil || head.Size != 1 {
		t.Errorf("the record has %d leaves, %v; want 1", head.Size, err)
	}
	doctor(t, w)
}

// An amended claim stands until the other is published; a withdrawn one ends for a
// reason, and the record says so.
func TestAmendAndWithdraw(t *testing.T) {
	w, keys := claimingLab(t)
	first := mustPublish(t, w, keys, mustDraft(t, w, "lab-01").Number)
	o := ClaimOptions{By: dora, Program: "1.0"}
	if _, err := w.AmendClaim(t.Context(), first.Number, o); !errors.Is(err, ErrRefused) {
		t.Errorf("amended for no reason: %v", err)
	}
	o.By.Why = "the exhaust was named wrongly"
	second, err := w.AmendClaim(t.Context(), first.Number, o)
	if err != nil || second.Amends != first.Number || second.AmendsWhy != o.By.Why {
		t.Fatalf("%+v, %v", second, err)
	}
	if c, err := w.Claim(t.Context(), first.Number); err != nil || c.State() != campaign.ClaimPublished {
		t.Errorf("with a draft in its place it is %s, %v", c.State(), err)
	}
	mustPublish(t, w, keys, second.Number)
	c, err := w.Claim(t.Context(), first.Number)
	if err != nil || c.State() != campaign.ClaimAmended || c.By != second.Number || !strings.Contains(c.Standing(), "exhaust was named wrongly") {
		t.Errorf("%s, %v", c.Standing(), err)
	}
	if _, err := w.WithdrawClaim(t.Context(), second.Number, rita); !errors.Is(err, ErrRefused) {
		t.Errorf("withdrawn for no reason: %v", err)
	}
	if c, err = w.WithdrawClaim(t.Context(), second.Number, Author{Who: "Rita Reviewer", Why: "the rig was out of order"}); err != nil || c.State() != campaign.ClaimWithdrawn {
		t.Errorf("%+v, %v", c, err)
	}
	record := w.store.Record(rita)
	if n, err := record.Size(t.Context()); err != nil || n != 3 {
		t.Fatalf("the record has %d leaves, %v; want 3", n, err)
	}
	if leaf, err := record.Leaf(t.Context(), 2); err != nil || !strings.Contains(string(leaf), "withdrawal") || !strings.Contains(string(leaf), second.Number) {
		t.Errorf("leaf 2 is %s, %v", leaf, err)
	}
	list, err := w.Claims(t.Context())
	if err != nil || len(list.Rows) != 2 || list.Rows[1].By != second.Number {
		t.Errorf("%+v, %v", list, err)
	}
	doctor(t, w)
}

// A key that was revoked since leaves a signed claim as it is and signs nothing more.
func TestRevokedKeySignsNothing(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	if _, err := w.ReviewClaim(t.Context(), number, rita); err != nil {
		t.Fatal(err)
	}
	was, err := keys.ring.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := keys.ring.Revoke(time.Now(), keys.approver.Public().ID(), "left the lab", false, keys.keeper); err != nil {
		t.Fatal(err)
	}
	if err := w.saveKeys(t.Context(), keys.ring, was, anna); err != nil {
		t.Fatal(err)
	}
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); err == nil || !strings.Contains(err.Error(), "revoked") {
		t.Errorf("%v", err)
	}
}

// A result that this program does not find again is not claimed, and neither is one
// of older data.
func TestDraftRestsOnWhatIsFound(t *testing.T) {
	w, _ := claimingLab(t)
	r, err := w.store.LatestResult(t.Context(), "lab-01")
	if err != nil {
		t.Fatal(err)
	}
	r.Body = []byte(strings.Replace(string(r.Body), `"gain shown"`, `"loss shown"`, 1))
	if _, err := w.store.SaveResult(t.Context(), r, anna); err != nil {
		t.Fatal(err)
	}
	if _, err := w.DraftClaim(t.Context(), "lab-01", ClaimOptions{By: dora, Program: "1.0"}); err == nil || !strings.Contains(err.Error(), "something else") {
		t.Errorf("of a forged result: %v", err)
	}
	putScenario(t, w, claimScenario(2))
	if _, err := w.DraftClaim(t.Context(), "lab-02", ClaimOptions{By: dora, Program: "1.0"}); err == nil || !strings.Contains(err.Error(), "fairpull judge lab-02") {
		t.Errorf("without a result: %v", err)
	}
	if _, err := w.DraftClaim(t.Context(), "nobody", ClaimOptions{By: dora, Program: "1.0"}); !errors.Is(err, ErrUnknown) {
		t.Errorf("of no campaign: %v", err)
	}
	if _, err := w.DraftClaim(t.Context(), "lab-00", ClaimOptions{By: dora, Program: "1.0", Candidate: "Z"}); !errors.Is(err, ErrRefused) {
		t.Errorf("of no candidate: %v", err)
	}
	for _, title := range []string{"Certified power", "TÜV-zertifiziert"} {
		if _, err := w.DraftClaim(t.Context(), "lab-00", ClaimOptions{By: dora, Program: "1.0", Title: title}); !errors.Is(err, campaign.ErrCertified) {
			t.Errorf("%q: %v, want ErrCertified", title, err)
		}
	}
}
