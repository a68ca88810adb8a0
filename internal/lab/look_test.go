package lab

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/quantity"
)

// deskOf returns a desk over a fresh workspace that has the demo campaign.
func deskOf(t testing.TB) (d *Desk, id string) {
	t.Helper()
	w, err := InitWorkspace(t.Context(), filepath.Join(t.TempDir(), "lab"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	folder := filepath.Join(t.TempDir(), "demo")
	if err := WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	result, err := w.Import(t.Context(), folder, Author{Who: "Bert Test"}, false)
	if err != nil {
		t.Fatal(err)
	}
	return NewDesk(w), result.Campaign
}

// A look says what judging says, and is made once for all who look.
func TestLook(t *testing.T) {
	d, id := deskOf(t)
	judged, err := d.Judge(t.Context(), id, JudgeOptions{By: Author{Who: "Bert Test"}, Program: "test", Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	var wait sync.WaitGroup
	looks := make([]*Look, 8)
	for i := range looks {
		wait.Go(func() {
			look, err := d.Look(t.Context(), id, LookSettings{})
			if err != nil {
				t.Error(err)
			}
			looks[i] = look
		})
	}
	wait.Wait()
	for _, look := range looks {
		if look != looks[0] {
			t.Fatal("one campaign was analysed twice for those who looked at once")
		}
	}
	look := looks[0]
	if look.Problem != nil || len(look.Exploratory) != 0 || look.Kept == nil || !look.Kept.Current || look.Version != 1 {
		t.Fatalf("look %+v", look)
	}
	want, err := judged.View("test", quantity.SI).JSON()
	if err != nil {
		t.Fatal(err)
	}
	got, err := look.View("test", quantity.SI).JSON()
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Error("a look gives another result than judging")
	}
}

// Settings that are not the campaign's own withhold the verdict and are named;
// the campaign's own settings, spelt out, are not a change.
func TestLookSettings(t *testing.T) {
	d, id := deskOf(t)
	own, err := d.Look(t.Context(), id, LookSettings{})
	if err != nil {
		t.Fatal(err)
	}
	o := own.Campaign.Objective
	same, err := d.Look(t.Context(), id, LookSettings{BandRPM: o.BandRPM, Correction: own.Campaign.Correction, Confidence: o.Confidence})
	if err != nil || len(same.Exploratory) != 0 || same.Analysis.Comparisons[0].Verdict != own.Analysis.Comparisons[0].Verdict {
		t.Errorf("the campaign's own settings: %v, %v", same.Exploratory, err)
	}
	other, err := d.Look(t.Context(), id, LookSettings{BandRPM: [2]float64{3500, 5000}, Correction: "none", Confidence: 0.9})
	if err != nil || other.Problem != nil || len(other.Exploratory) != 3 {
		t.Fatalf("%v, %v, %v", other.Exploratory, other.Problem, err)
	}
	view := other.View("test", quantity.SI)
	sentence := view.Sentence(&view.Comparisons[0])
	if !strings.Contains(sentence, "not enough evidence") || !strings.Contains(sentence, "exploratory") || strings.Contains(sentence, "at least") {
		t.Errorf("the verdict of another question: %s", sentence)
	}
	for _, as := range []LookSettings{{Confidence: 7}, {Confidence: -1}} {
		if look, err := d.Look(t.Context(), id, as); err != nil || look.Problem == nil || look.View("test", quantity.SI) != nil {
			t.Errorf("%+v: %v, a view, or no problem", as, err)
		}
	}
	if _, err := d.Look(t.Context(), id, LookSettings{Correction: "own"}); err == nil {
		t.Error("a standard that there is none of was taken")
	}
	if _, err := d.Look(t.Context(), "none", LookSettings{}); !errors.Is(err, ErrUnknown) {
		t.Errorf("a campaign that is not there: %v", err)
	}
	if seq, err := d.LastChange(t.Context()); err != nil || seq != 1 {
		t.Errorf("looking wrote change %d, %v", seq, err)
	}
}

func TestDeskIsBounded(t *testing.T) {
	m := newMemo[int, string](3)
	for i := range 10 {
		m.put(i, fmt.Sprint(i))
		m.get(0)
	}
	if v, found := m.get(0); m.len() != 3 || !found || v != "0" {
		t.Errorf("%d are kept, the one asked for again: %q, %v", m.len(), v, found)
	}
	if _, found := m.get(5); found {
		t.Error("one that nobody asked for is kept")
	}
}

func TestExclude(t *testing.T) {
	d, id := deskOf(t)
	for _, c := range []struct {
		pull, cause string
		seen        int64
		want        error
	}{
		{"2", " \n", 1, ErrRefused}, {"2", strings.Repeat("x", campaign.MaxText+1), 1, ErrRefused}, {"99", "spun", 1, ErrUnknown}, {"2", "spun", 7, ErrChanged},
	} {
		if err := d.Exclude(t.Context(), id, c.pull, c.cause, c.seen, "Bert Test"); !errors.Is(err, c.want) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	if err := d.Exclude(t.Context(), id, "2", "strap  slipped\n", 1, "Bert Test"); err != nil {
		t.Fatal(err)
	}
	if err := d.Exclude(t.Context(), id, "2", "strap slipped", 0, "Bert Test"); !errors.Is(err, ErrRefused) {
		t.Errorf("excluded twice: %v", err)
	}
	look, err := d.Look(t.Context(), id, LookSettings{})
	if err != nil || look.Version != 2 || len(look.Analysis.WithAll) == 0 || look.Campaign.Pulls[1].Excluded != "strap slipped" {
		t.Fatalf("look %+v, %v", look, err)
	}
	if err := d.Restore(t.Context(), id, "2", "", 2, "Bert Test"); !errors.Is(err, ErrRefused) {
		t.Errorf("put back without a reason: %v", err)
	}
	if err := d.Restore(t.Context(), id, "2", "it was the next pull", 2, "Bert Test"); err != nil {
		t.Fatal(err)
	}
	trail, err := d.store.Changes(t.Context(), "campaign", id, 1, 10)
	if err != nil || len(trail) != 2 || trail[0].Why != "pull 2 excluded: strap slipped" || trail[1].Why != "pull 2 put back: it was the next pull" {
		t.Errorf("trail %+v, %v", trail, err)
	}
}

func TestStages(t *testing.T) {
	for _, c := range []struct {
		want Stage
		s    CampaignSummary
	}{
		{StagePlanned, CampaignSummary{State: store.StateOpen}},
		{StageMeasuring, CampaignSummary{State: store.StateOpen, Pulls: 3, Result: "r"}},
		{StageJudged, CampaignSummary{State: store.StateClosed, Pulls: 3, Result: "r", Current: true}},
		{StageWithdrawn, CampaignSummary{State: store.StateWithdrawn, Pulls: 3, Result: "r", Current: true}},
	} {
		if got := StageOf(c.s); got != c.want {
			t.Errorf("%+v: %s, want %s", c.s, got, c.want)
		}
	}
}

func TestSignIn(t *testing.T) {
	d, _ := deskOf(t)
	by := Author{Who: "Bert Test"}
	const word = "vier Wörter, die nicht zusammengehören"
	if err := d.AddAccount(t.Context(), "anna", Technician, word, by); err != nil {
		t.Fatal(err)
	}
	who, err := d.SignIn(t.Context(), "anna", word)
	if err != nil || who.Name != "anna" || !who.May(Viewer) || !who.May(Technician) || who.May(Engineer) || who.May(Approver) {
		t.Errorf("%+v, %v", who, err)
	}
	for _, c := range [][2]string{{"anna", word + " "}, {"anna", ""}, {"anna", strings.Repeat("x", 10_000)}, {"nobody", word}, {"", ""}, {"ANNA", word}} {
		if who, err := d.SignIn(t.Context(), c[0], c[1]); !errors.Is(err, ErrSignIn) || who != (Account{}) {
			t.Errorf("%.60q: %+v, %v", c, who, err)
		}
	}
	kept, err := d.store.Account(t.Context(), "anna")
	if err != nil || strings.Contains(kept.Secret, word) || !strings.HasPrefix(kept.Secret, "$argon2id$v=19$m=65536,t=3,p=4$") {
		t.Errorf("what is kept: %+v, %v", kept, err)
	}
	if (Account{Name: "anna", Role: Approver}).May(Viewer) {
		t.Error("a closed account may look")
	}
	for _, weak := range []string{"", "short", "äöüäöüäöüäöüäö", strings.Repeat("x", 1025), "\xff\xfe not text, but long"} {
		if err := d.AddAccount(t.Context(), "carl", Viewer, weak, by); !errors.Is(err, ErrRefused) {
			t.Errorf("password %.20q: %v", weak, err)
		}
	}
}
