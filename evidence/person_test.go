package evidence

import (
	"errors"
	"testing"
)

// Names that one person can write for their own, and names of two people. The pairs of
// letters are those that Unicode Technical Standard #39 calls confusable (Cyrillic а, е,
// о, р, с, Greek ο, fullwidth and mathematical letters); from memory.
func TestSamePerson(t *testing.T) {
	for _, other := range []string{
		"dora drafter", "  Dora   DRAFTER ", "Dora\u00a0Drafter", "Dora Drafter.", "Drafter, Dora", "Dóra Dräfter",
		"Dоra Drafter", "Dora Draftеr", "Dοra Drafter", "Ｄｏｒａ Drafter", "𝐃𝐨𝐫𝐚 Drafter", "Dora Draft\u200ber", "Dora\u00ad Drafter",
		"\u202dDora Drafter\u202c", "D0ra Drafter", "Dora\u0301 Drafter",
	} {
		if !SamePerson("Dora Drafter", other) || !SamePerson(other, "Dora Drafter") {
			t.Errorf("%q reads as Dora Drafter, and is taken for somebody else", other)
		}
	}
	for _, two := range [][2]string{{"Ilse", "llse"}, {"Weiß", "WEISS"}, {"Marn", "Mam"}, {"1van", "Ivan"}, {"Søren", "Soren"}} {
		if !SamePerson(two[0], two[1]) {
			t.Errorf("%q and %q are taken for two people", two[0], two[1])
		}
	}
	for _, two := range [][2]string{
		{"Dora Drafter", "Dora Drafter II"}, {"Dora Drafter", "Ada Approver"}, {"王伟", "王芳"}, {"Анна", "Инна"}, {"D. Drafter", "Dora Drafter"}, {"·", "–"}, {"", "a"},
	} {
		if SamePerson(two[0], two[1]) {
			t.Errorf("%q and %q are taken for one person", two[0], two[1])
		}
	}
}

// A drafter whose name stands in the list of keys with a letter of another script signs
// nothing of their own, and a seal that has such a signature does not verify.
func TestDrafterByAnotherSpelling(t *testing.T) {
	d := newDossier(t, 1, 100)
	again := newKey(t)
	drafter := d.seal.Statement.DraftedBy
	ok(t, d.ring.Add(day(3), alikeName(t, drafter), ForApproval, again.Public(), d.keeper))
	seal := &Seal{Statement: d.seal.Statement, Keys: d.ring}
	if err := seal.Sign(again, "approved", day(4)); !errors.Is(err, ErrSeal) {
		t.Errorf("%s signed as %q: %v", drafter, alikeName(t, drafter), err)
	}
	state, _ := d.ring.Key(again.Public().ID())
	message, err := seal.Statement.Bytes()
	ok(t, err)
	words, err := encode(signedWords{By: state.Name, As: "approved", At: day(4)})
	ok(t, err)
	text, err := again.Sign(message, string(words))
	ok(t, err)
	seal.Signatures = []Signature{{Key: again.Public().ID(), Text: text}}
	if failed := seal.Verify(Trust{}).Of(Failed); len(failed) != 1 {
		t.Errorf("a seal that the drafter signed: %v, want one failure", failed)
	}
}

// alikeName writes a name with a Cyrillic letter in the place of a Latin one.
func alikeName(t *testing.T, name string) string {
	t.Helper()
	for at, r := range name {
		for cyrillic, latin := range lookalikes {
			if latin == r && cyrillic >= 0x400 && cyrillic < 0x530 {
				return name[:at] + string(cyrillic) + name[at+1:]
			}
		}
	}
	t.Fatalf("no letter of %q has a look-alike", name)
	return ""
}

// A name in the list of keys has no characters that are not seen.
func TestNamesAreSeen(t *testing.T) {
	d := newDossier(t, 1, 100)
	for _, name := range []string{"Anna\u200b", "\u202eannA", "An\u00adna", "Anna\ufeff", "Anna\u2066"} {
		if err := d.ring.Add(day(3), name, ForApproval, newKey(t).Public(), d.keeper); !errors.Is(err, ErrKeyring) {
			t.Errorf("%q was taken as a name: %v", name, err)
		}
	}
	ok(t, d.ring.Add(day(3), "نازنین\u200cزهرا", ForApproval, newKey(t).Public(), d.keeper)) // a joiner is part of how it is written
}
