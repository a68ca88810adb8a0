package evidence

import (
	"bytes"
	"encoding/hex"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
)

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// day returns noon of a day in March 2026, UTC.
func day(n int) time.Time { return time.Date(2026, 3, n, 12, 0, 0, 0, time.UTC) }

// ok stops the test on an error.
func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// people are the keys of the tests.
type people struct{ keeper, anna, ben, record *PrivateKey }

// newRing returns a list with two people and a record.
func newRing(t testing.TB) (*Keyring, people) {
	t.Helper()
	p := people{newKey(t), newKey(t), newKey(t), newKey(t)}
	ring, err := NewKeyring(day(1), "Lab", p.keeper)
	ok(t, err)
	ok(t, ring.Add(day(1), "Anna Example", ForApproval, p.anna.Public(), p.keeper))
	ok(t, ring.Add(day(2), "Ben Example", ForApproval, p.ben.Public(), p.keeper))
	ok(t, ring.Add(day(2), "lab.example/record", ForRecord, p.record.Public(), p.keeper))
	return ring, p
}

func TestKeyringHistory(t *testing.T) {
	ring, p := newRing(t)
	next := newKey(t)
	ok(t, ring.Rotate(day(5), p.anna.Public().ID(), next.Public(), "yearly", p.keeper))
	ok(t, ring.Revoke(day(7), p.ben.Public().ID(), "left the company", false, p.keeper))
	keeper2 := newKey(t)
	ok(t, ring.Rotate(day(8), p.keeper.Public().ID(), keeper2.Public(), "new token", p.keeper))
	if err := ring.Add(day(9), "Cora Example", ForApproval, newKey(t).Public(), p.keeper); !errors.Is(err, ErrKeyring) {
		t.Errorf("the earlier keeper still signs: %v", err)
	}
	ok(t, ring.Add(day(9), "Cora Example", ForApproval, newKey(t).Public(), keeper2))

	anna, _ := ring.Key(p.anna.Public().ID())
	if anna.Until != day(5) || anna.Successor != next.Public().ID() || !anna.Revoked.IsZero() {
		t.Errorf("the rotated key: %+v", anna)
	}
	ben, _ := ring.Key(p.ben.Public().ID())
	if ben.Revoked != day(7) || ben.Reason != "left the company" || ben.Compromised {
		t.Errorf("the revoked key: %+v", ben)
	}
	if now, found := ring.Current("Anna Example", ForApproval); !found || now.Key != next.Public() {
		t.Errorf("the current key: %+v", now)
	}
	if _, found := ring.Current("Ben Example", ForApproval); found {
		t.Error("a revoked key is current")
	}
	text, err := ring.Encode()
	ok(t, err)
	back, err := ParseKeyring(text)
	ok(t, err)
	if !reflect.DeepEqual(back.Keys(), ring.Keys()) || !reflect.DeepEqual(back.Events(), ring.Events()) || back.Founder() != p.keeper.Public().Fingerprint() {
		t.Error("the list came back as another")
	}
	early, _ := newRing(t)
	if early.Begins(ring) || !back.Begins(ring) {
		t.Error("lists that come apart, or do not")
	}
	if SecretIn(text) != "" {
		t.Error("the list gives a key away")
	}
}

func TestKeyringRefuses(t *testing.T) {
	ring, p := newRing(t)
	stranger := newKey(t)
	id := p.anna.Public().ID()
	for name, try := range map[string]func() error{
		"by a stranger":      func() error { return ring.Add(day(3), "X", ForApproval, newKey(t).Public(), stranger) },
		"by an approver":     func() error { return ring.Add(day(3), "X", ForApproval, newKey(t).Public(), p.anna) },
		"a key again":        func() error { return ring.Add(day(3), "X", ForRecord, p.anna.Public(), p.keeper) },
		"a second key":       func() error { return ring.Add(day(3), "Anna Example", ForApproval, newKey(t).Public(), p.keeper) },
		"into the past":      func() error { return ring.Add(day(1), "X", ForApproval, newKey(t).Public(), p.keeper) },
		"no name":            func() error { return ring.Add(day(3), "", ForApproval, newKey(t).Public(), p.keeper) },
		"two lines":          func() error { return ring.Add(day(3), "a\nb", ForApproval, newKey(t).Public(), p.keeper) },
		"no purpose":         func() error { return ring.Add(day(3), "X", "", newKey(t).Public(), p.keeper) },
		"no key":             func() error { return ring.Add(day(3), "X", ForApproval, PublicKey{}, p.keeper) },
		"no time":            func() error { return ring.Add(time.Time{}, "X", ForApproval, newKey(t).Public(), p.keeper) },
		"no reason":          func() error { return ring.Revoke(day(3), id, "", false, p.keeper) },
		"an unknown key":     func() error { return ring.Revoke(day(3), "0000000000000000", "r", false, p.keeper) },
		"rotated by unknown": func() error { return ring.Rotate(day(3), "0000000000000000", newKey(t).Public(), "", p.keeper) },
		"rotated to a known": func() error { return ring.Rotate(day(3), id, p.ben.Public(), "", p.keeper) },
	} {
		before := len(ring.Events())
		if err := try(); !errors.Is(err, ErrKeyring) || len(ring.Events()) != before {
			t.Errorf("%s: %v", name, err)
		}
	}
	ok(t, ring.Revoke(day(3), id, "lost", true, p.keeper))
	if ring.Revoke(day(4), id, "again", false, p.keeper) == nil || ring.Rotate(day(4), id, newKey(t).Public(), "", p.keeper) == nil {
		t.Error("a revoked key was changed")
	}
}

// No byte of a list of keys can change, no event can go, move or come unsigned.
func TestKeyringEveryByte(t *testing.T) {
	ring, p := newRing(t)
	ok(t, ring.Revoke(day(7), p.ben.Public().ID(), "left", false, p.keeper))
	text, err := ring.Encode()
	ok(t, err)
	for i := range text {
		changed := bytes.Clone(text)
		changed[i] ^= 1
		if _, err := ParseKeyring(changed); err == nil {
			t.Errorf("byte %d changed unnoticed (%.40q)", i, text[i:])
		}
	}
	for drop := range ring.events[:len(ring.events)-1] {
		short := *ring
		short.events = append(append([]signedEvent(nil), ring.events[:drop]...), ring.events[drop+1:]...)
		text, err := short.Encode()
		ok(t, err)
		if _, err := ParseKeyring(text); !errors.Is(err, ErrKeyring) {
			t.Errorf("event %d left out: %v", drop, err)
		}
	}
	swapped := *ring
	swapped.events = append([]signedEvent(nil), ring.events...)
	swapped.events[1], swapped.events[2] = swapped.events[2], swapped.events[1]
	if text, err = swapped.Encode(); err != nil {
		t.Fatal(err)
	}
	if _, err := ParseKeyring(text); !errors.Is(err, ErrKeyring) {
		t.Errorf("two events changed places: %v", err)
	}
	// Another way to write the same JSON is refused too.
	if _, err := ParseKeyring([]byte(strings.Replace(string(swapped.mustEncode(t)), "\n  ", "\n   ", 1))); err == nil {
		t.Error("other white space was taken")
	}
}

func (r *Keyring) mustEncode(t testing.TB) []byte {
	t.Helper()
	text, err := r.Encode()
	ok(t, err)
	return text
}

func FuzzKeyring(f *testing.F) {
	ring, p := newRing(f)
	f.Add(ring.mustEncode(f))
	ok(f, ring.Rotate(day(5), p.anna.Public().ID(), newKey(f).Public(), "yearly", p.keeper))
	f.Add(ring.mustEncode(f))
	f.Add([]byte(`{"format":"fairpull.keys/1","events":[]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		ring, err := ParseKeyring(data)
		if err != nil {
			return
		}
		if again := ring.mustEncode(t); !bytes.Equal(again, data) {
			t.Errorf("taken, and written as another text")
		}
	})
}

func FuzzSignature(f *testing.F) {
	k := newKey(f)
	signature, err := k.Sign([]byte("m"), "c")
	ok(f, err)
	f.Add(k.Public().String(), signature)
	f.Fuzz(func(t *testing.T, key, signature string) {
		public, err := ParsePublicKey(key)
		if err != nil {
			return
		}
		if public.String() != key {
			t.Errorf("key %q came back as %q", key, public)
		}
		comment, err := public.Verify([]byte("m"), signature)
		if err == nil && oneLine("comment", comment, longestComment) != nil {
			t.Errorf("a comment that nobody can print: %q", comment)
		}
	})
}
