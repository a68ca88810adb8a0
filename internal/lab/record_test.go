package lab

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/report"
)

// A checkpoint that a stranger kept, the dossier's or another, is shown to be the
// beginning of the record as it stands later; one of a record that was rewritten is not.
func TestRecordOnlyGrows(t *testing.T) {
	w, keys := claimingLab(t)
	ctx, dir := t.Context(), t.TempDir()
	if _, err := w.Checkpoint(ctx, KeyFile{}); !errors.Is(err, ErrRefused) {
		t.Errorf("before any claim: %v, want ErrRefused", err)
	}
	first := mustDraft(t, w, "lab-01").Number
	mustPublish(t, w, keys, first)
	dossier := filepath.Join(dir, "claim.zip")
	if _, err := w.WriteDossier(ctx, first, dossier); err != nil {
		t.Fatal(err)
	}
	old, err := w.Checkpoint(ctx, KeyFile{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.WithdrawClaim(ctx, first, Author{Who: "Rita Reviewer", Why: "a leak was found"}); err != nil {
		t.Fatal(err)
	}
	later, err := w.checkpoint(ctx, keys.record)
	if err != nil {
		t.Fatal(err)
	}
	text, err := w.proveGrowth(ctx, string(old), string(later))
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, data []byte) string {
		place := filepath.Join(dir, name)
		if err := os.WriteFile(place, data, 0o644); err != nil {
			t.Fatal(err)
		}
		return place
	}
	proof, kept := write("growth.json", text), write("old.checkpoint", old)
	trust := DossierTrust{Founder: keys.ring.Founder().String(), Origin: "lab.example/record"}
	if !IsGrowth(proof) || IsGrowth(dossier) || IsGrowth(kept) || IsGrowth(dir) {
		t.Error("what is a proof and what is not")
	}
	for _, since := range []string{kept, dossier} {
		v, err := VerifyGrowth(proof, since, trust)
		if err != nil || !v.Verified || !slices.ContainsFunc(v.Findings, func(f report.Finding) bool {
			return strings.Contains(f.What, "the record of 2 leaves begins with that of 1")
		}) {
			t.Errorf("since %s: %+v, %v", since, v, err)
		}
	}
	stranger := newSigners(t)
	for what, change := range map[string]func(*DossierTrust, *string, *string){
		"another lab":        func(t *DossierTrust, _, _ *string) { t.Founder = stranger.ring.Founder().String() },
		"another checkpoint": func(_ *DossierTrust, _, since *string) { *since = write("other", []byte(string(later)+"\n")) },
		"a proof cut short":  func(_ *DossierTrust, place, _ *string) { *place = write("cut.json", text[:len(text)-9]) },
	} {
		own, place, since := trust, proof, kept
		change(&own, &place, &since)
		if v, err := VerifyGrowth(place, since, own); err != nil || v.Verified {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := w.proveGrowth(ctx, string(later), string(old)); !errors.Is(err, ErrRefused) {
		t.Errorf("the wrong way round: %v, want ErrRefused", err)
	}
	if _, err := w.ProveGrowth(ctx, write("none", []byte("x")), KeyFile{}); err == nil {
		t.Error("a proof since a file that is no checkpoint")
	}
	other, otherKeys := claimingLab(t)
	mustPublish(t, other, otherKeys, mustDraft(t, other, "lab-01").Number)
	if foreign, err := other.Checkpoint(ctx, KeyFile{}); err != nil {
		t.Error(err)
	} else if _, err := w.proveGrowth(ctx, string(foreign), string(later)); err == nil {
		t.Error("a proof since another lab's checkpoint")
	}
	view, err := w.RecordView(ctx)
	if err != nil || view.Leaves != 2 || view.Signed != 1 || view.Checkpoint != string(old) {
		t.Errorf("%+v, %v", view, err)
	}
}
