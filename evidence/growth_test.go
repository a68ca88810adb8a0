package evidence

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// grown is a record of nine leaves with its checkpoint at five, and the proof.
func grown(t testing.TB) (*Growth, people, *Record) {
	t.Helper()
	ring, who := newRing(t)
	ctx := context.Background()
	r := newRecord(t, 5)
	earlier, err := r.Checkpoint(ctx, who.record)
	ok(t, err)
	for i := range 4 {
		_, err := r.Append(ctx, []byte{'n', byte(i)})
		ok(t, err)
	}
	later, err := r.Checkpoint(ctx, who.record)
	ok(t, err)
	proof, err := r.ProveConsistency(ctx, 9, 5)
	ok(t, err)
	return &Growth{Earlier: string(earlier), Later: string(later), Proof: proof, Keys: ring}, who, r
}

// Two checkpoints and the proof between them verify by themselves, and say what they do
// not show. That the proof is right by [RFC6962] another library confirms in
// TestProofsByAnotherLibrary.
func TestGrowth(t *testing.T) {
	g, _, _ := grown(t)
	text, err := g.Encode()
	ok(t, err)
	back, err := ParseGrowth(text)
	ok(t, err)
	again, err := back.Encode()
	ok(t, err)
	if !bytes.Equal(text, again) {
		t.Error("it does not come back as it was")
	}
	trust := Trust{Founder: g.Keys.Founder(), Origin: origin}
	if f := back.Verify(trust, g.Earlier); !f.Verified() || len(f.Of(Caution)) != 0 {
		t.Errorf("%v", f)
	}
	if f := back.Verify(trust, g.Later); !f.Verified() {
		t.Errorf("%v", f)
	}
	if f := back.Verify(Trust{}, ""); !f.Verified() || len(f.Of(Caution)) != 2 {
		t.Errorf("nothing is known beforehand: %v", f)
	}
	other := newRecord(t, 5)
	kept, err := other.Checkpoint(context.Background(), newKey(t))
	ok(t, err)
	for what, f := range map[string]Findings{
		"another kept checkpoint": back.Verify(trust, string(kept)),
		"another record's name":   back.Verify(Trust{Origin: "other.example/record"}, ""),
		"another lab":             back.Verify(Trust{Founder: OfBytes([]byte("x"))}, ""),
	} {
		if f.Verified() {
			t.Errorf("%s: it verified", what)
		}
	}
}

// A record whose history was rewritten, or that lost leaves, is found out, whatever its
// keeper signs.
func TestGrowthOfARewrittenRecord(t *testing.T) {
	g, who, r := grown(t)
	ctx := context.Background()
	rewritten := newRecord(t, 4)
	for range 5 {
		_, err := rewritten.Append(ctx, []byte("another"))
		ok(t, err)
	}
	later, err := rewritten.Checkpoint(ctx, who.record)
	ok(t, err)
	proof, err := rewritten.ProveConsistency(ctx, 9, 5)
	ok(t, err)
	for what, bad := range map[string]*Growth{
		"rewritten":              {g.Earlier, string(later), proof, g.Keys},
		"rewritten, old proof":   {g.Earlier, string(later), g.Proof, g.Keys},
		"no proof":               {g.Earlier, g.Later, nil, g.Keys},
		"the wrong way round":    {g.Later, g.Earlier, g.Proof, g.Keys},
		"no checkpoint":          {"", g.Later, g.Proof, g.Keys},
		"no keys":                {g.Earlier, g.Later, g.Proof, nil},
		"the keys of a stranger": func() *Growth { ring, _ := newRing(t); return &Growth{g.Earlier, g.Later, g.Proof, ring} }(),
	} {
		if f := bad.Verify(Trust{}, ""); f.Verified() {
			t.Errorf("%s: it verified: %v", what, f)
		}
	}
	same, err := r.ProveConsistency(ctx, 9, 9)
	ok(t, err)
	if f := (&Growth{g.Later, g.Later, same, g.Keys}).Verify(Trust{}, ""); !f.Verified() {
		t.Errorf("a record that did not grow: %v", f)
	}
}

// Any byte of the file that is changed is found.
func TestGrowthEveryByte(t *testing.T) {
	g, _, _ := grown(t)
	text, err := g.Encode()
	ok(t, err)
	trust := Trust{Founder: g.Keys.Founder(), Origin: origin}
	for i := range text {
		bad := bytes.Clone(text)
		bad[i] ^= 1
		back, err := ParseGrowth(bad)
		if err == nil && back.Verify(trust, g.Earlier).Verified() {
			t.Fatalf("byte %d, %q for %q: it verified", i, bad[i], text[i])
		}
	}
	for _, bad := range []string{"", "{}", strings.Repeat(" ", longestGrowth+1), `{"format":"fairpull.growth/2"}`} {
		if _, err := ParseGrowth([]byte(bad)); err == nil {
			t.Errorf("%.40q was read", bad)
		}
	}
}

func FuzzGrowth(f *testing.F) {
	g, _, _ := grown(f)
	text, err := g.Encode()
	ok(f, err)
	f.Add(text)
	f.Fuzz(func(t *testing.T, data []byte) {
		if back, err := ParseGrowth(data); err == nil {
			back.Verify(Trust{}, "")
		}
	})
}
