package lab

import (
	"errors"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/evidence"
)

// reviewedAndSigned takes a draft to its signature.
func reviewedAndSigned(t testing.TB, w *Workspace, keys *signers, number string) {
	t.Helper()
	if _, err := w.ReviewClaim(t.Context(), number, rita); err != nil {
		t.Fatal(err)
	}
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); err != nil {
		t.Fatal(err)
	}
}

// leaves returns how many leaves the record has.
func leaves(t testing.TB, w *Workspace) int64 {
	t.Helper()
	n, err := w.store.Record(rita).Size(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Of two claims that are to take the place of one, the second is refused before the
// record has it: what is in the record was published.
func TestSecondAmendmentStaysOutOfTheRecord(t *testing.T) {
	w, keys := claimingLab(t)
	first := mustPublish(t, w, keys, mustDraft(t, w, "lab-01").Number)
	o := ClaimOptions{By: dora, Program: "1.0"}
	o.By.Why = "the exhaust was named wrongly"
	var next []string
	for range 2 {
		c, err := w.AmendClaim(t.Context(), first.Number, o)
		if err != nil {
			t.Fatal(err)
		}
		reviewedAndSigned(t, w, keys, c.Number)
		next = append(next, c.Number)
	}
	if _, err := w.publish(t.Context(), next[0], keys.record, "", rita); err != nil {
		t.Fatal(err)
	}
	before := leaves(t, w)
	if _, err := w.publish(t.Context(), next[1], keys.record, "", rita); !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), "amended already") {
		t.Errorf("a second claim in the place of %s: %v", first.Number, err)
	}
	if now := leaves(t, w); now != before {
		t.Errorf("the record has %d leaves after a claim that was not published, and had %d", now, before)
	}
	doctor(t, w)
}

// A claim that is withdrawn after its publication was interrupted stands in the record,
// and so does its end.
func TestWithdrawnAfterAnInterruption(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	reviewedAndSigned(t, w, keys, number)
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
	c, err := w.WithdrawClaim(t.Context(), number, Author{Who: "Rita Reviewer", Why: "the rig was out of order"})
	if err != nil || c.State() != campaign.ClaimWithdrawn {
		t.Fatalf("%+v, %v", c, err)
	}
	if n := leaves(t, w); n != 2 {
		t.Fatalf("the record has %d leaves, want the claim and its withdrawal", n)
	}
	if leaf, err := w.store.Record(rita).Leaf(t.Context(), 1); err != nil || !strings.Contains(string(leaf), withdrawalFormat) {
		t.Errorf("leaf 1 is %s, %v", leaf, err)
	}
	doctor(t, w)
}

// A key that was compromised names the claims that it signed and that still stand; a step
// out of turn names the one that comes next.
func TestClaimsOfAKey(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), "fairpull claim "+number+" --review") {
		t.Errorf("signed as a draft: %v", err)
	}
	reviewedAndSigned(t, w, keys, number)
	approver := keys.approver.Public().ID()
	for id, want := range map[string]string{approver: number, strings.ToLower(approver): number, keys.dora.Public().ID(): ""} {
		if got, err := w.SignedWith(t.Context(), id); err != nil || strings.Join(got, " ") != want {
			t.Errorf("key %s signed %v, %v; want %q", id, got, err, want)
		}
	}
	if _, err := w.WithdrawClaim(t.Context(), number, Author{Who: "Rita Reviewer", Why: "the rig was out of order"}); err != nil {
		t.Fatal(err)
	}
	if got, err := w.SignedWith(t.Context(), approver); err != nil || len(got) > 0 {
		t.Errorf("withdrawn: %v, %v", got, err)
	}
}
