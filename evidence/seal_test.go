package evidence

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// dossier is a sealed bag with everything around it.
type dossier struct {
	people
	ring    *Keyring
	record  *Record
	service service
	bag     *Bag
	seal    *Seal
	trust   Trust
}

// newDossier seals a small bag on the third of March: drafted by Anna, approved by Ben,
// entered and stamped.
func newDossier(t testing.TB, logs, size int) *dossier {
	t.Helper()
	d := &dossier{service: newService(t, nil), record: newRecord(t, 5), bag: sampleBag(t, logs, size)}
	d.ring, d.people = newRing(t)
	statement, err := NewStatement(d.bag, "claim-7", "At least 2.1 % more torque", "Anna Example", day(3))
	ok(t, err)
	d.seal = &Seal{Statement: statement, Keys: d.ring}
	ok(t, d.seal.Sign(d.ben, "approved", day(3).Add(time.Hour)))
	ok(t, d.seal.Enter(context.Background(), d.record, d.people.record))
	of, err := d.seal.ToStamp()
	ok(t, err)
	ok(t, d.seal.Attach(d.service.token(t, of, day(3).Add(2*time.Hour))))
	d.trust = Trust{Founder: d.ring.Founder(), StampRoots: d.service.roots, Origin: origin}
	d.put(t)
	return d
}

// put puts the seal into a fresh copy of the bag.
func (d *dossier) put(t testing.TB) {
	t.Helper()
	text, err := d.seal.Encode()
	ok(t, err)
	delete(d.bag.files, SealName)
	delete(d.bag.names, SealName)
	ok(t, d.bag.AddTag(SealName, text))
}

// zip returns the dossier as it travels.
func (d *dossier) zip(t testing.TB) []byte { return pack(t, d.bag) }

// verify returns what a stranger finds in a zip.
func verify(t testing.TB, data []byte, trust Trust) Findings {
	t.Helper()
	b, err := ReadZip(data)
	if err != nil {
		var f Findings
		f.add(Failed, "bag", "", "%v", err)
		return f
	}
	found, _ := VerifyBag(b, trust)
	return found
}

func TestDossierVerifies(t *testing.T) {
	d := newDossier(t, 2, 300)
	found := verify(t, d.zip(t), d.trust)
	if !found.Verified() || len(found.Of(Caution)) != 0 {
		t.Fatal(found)
	}
	var parts []string
	for _, f := range found.Of(Confirmed) {
		parts = append(parts, f.Part)
	}
	if !slices.Equal(parts, []string{"bag", "seal", "keys", "time stamp", "signature", "record"}) {
		t.Errorf("confirmed: %v", found)
	}
	// Whoever trusts nothing beforehand is told what it rests on.
	found = verify(t, d.zip(t), Trust{})
	if !found.Verified() || len(found.Of(Caution)) != 2 {
		t.Errorf("without trust: %v", found)
	}
	b, err := ReadZip(d.zip(t))
	ok(t, err)
	if _, seal := VerifyBag(b, d.trust); seal == nil || seal.Statement.Subject != "claim-7" {
		t.Error("the seal was not handed back")
	}
	if (Findings{}).Verified() || (Findings{{}}).Verified() {
		t.Error("nothing is verified")
	}
}

// A stranger's copy with one byte changed anywhere fails: more than two thousand places,
// spread over the whole file. (TestZipEveryByte changes every byte of a bag, and
// TestSealEveryByte of a seal.)
func TestDossierManyBytes(t *testing.T) {
	d := newDossier(t, 2, 300)
	data := d.zip(t)
	random := rand.New(rand.NewPCG(7, 8))
	changes, step := 0, max(1, len(data)/2500)
	for i := random.IntN(step); i < len(data); i += step {
		was := data[i]
		data[i] ^= byte(1 + random.IntN(255))
		if verify(t, data, d.trust).Verified() {
			t.Errorf("byte %d of %d changed unnoticed", i, len(data))
		}
		data[i] = was
		changes++
	}
	if changes < 2000 {
		t.Errorf("only %d changes", changes)
	}
	t.Logf("%d single-byte changes of %d bytes", changes, len(data))
}

// Someone who builds the bag anew around a changed file makes the manifests agree; the
// signed statement still does not.
func TestRebuiltDossierFails(t *testing.T) {
	d := newDossier(t, 2, 300)
	rebuild := func(change func(map[string][]byte)) Findings {
		files := map[string][]byte{}
		for name, f := range d.bag.files {
			files[name] = f.data
		}
		change(files)
		fields, _, err := parseInfo(files[infoName])
		ok(t, err)
		b, err := NewBag("claim-7", fields)
		ok(t, err)
		for _, name := range sortedNames(files) {
			if name == infoName {
				continue
			}
			if rest, payload := strings.CutPrefix(name, payloadPrefix); payload {
				ok(t, b.AddPayload(rest, files[name]))
			} else {
				ok(t, b.AddTag(name, files[name]))
			}
		}
		return verify(t, pack(t, b), d.trust)
	}
	if found := rebuild(func(map[string][]byte) {}); !found.Verified() {
		t.Fatal("rebuilt without a change: ", found)
	}
	for _, name := range d.bag.Names() {
		if name != infoName {
			if found := rebuild(func(m map[string][]byte) { delete(m, name) }); found.Verified() || !about(found, name) {
				t.Errorf("%s left out: %v", name, found)
			}
		}
		if name != SealName {
			found := rebuild(func(m map[string][]byte) { m[name] = append([]byte("A: b\n"), m[name]...) })
			if found.Verified() || !about(found, name) {
				t.Errorf("%s changed: %v", name, found)
			}
		}
	}
	for _, name := range []string{"data/more.csv", "more.json"} {
		if found := rebuild(func(m map[string][]byte) { m[name] = []byte("x") }); found.Verified() || !about(found, name) {
			t.Errorf("%s added: %v", name, found)
		}
	}
}

// about reports whether a finding names the file.
func about(found Findings, name string) bool {
	return slices.ContainsFunc(found, func(f Finding) bool { return f.Where == name })
}

// Every byte of a seal's file counts by itself, the time stamp's apart: parts of that
// are signed by nobody, and the manifest holds them.
func TestSealEveryByte(t *testing.T) {
	d := newDossier(t, 1, 100)
	d.seal.Stamps = nil
	text, err := d.seal.Encode()
	ok(t, err)
	for i := range text {
		text[i] ^= 1
		if seal, err := ParseSeal(text); err == nil && seal.Verify(d.trust).Verified() {
			t.Errorf("byte %d changed unnoticed (%.30q)", i, text[max(0, i-10):])
		}
		text[i] ^= 1
	}
}

func TestSealRefusesToSign(t *testing.T) {
	d := newDossier(t, 1, 100)
	fresh := func() *Seal { return &Seal{Statement: d.seal.Statement, Keys: d.ring} }
	ok(t, d.ring.Revoke(day(9), d.ben.Public().ID(), "left", false, d.keeper))
	for name, try := range map[string]func() error{
		"the drafter":        func() error { return fresh().Sign(d.anna, "approved", day(4)) },
		"a stranger":         func() error { return fresh().Sign(newKey(t), "approved", day(4)) },
		"the keeper":         func() error { return fresh().Sign(d.keeper, "approved", day(4)) },
		"the record":         func() error { return fresh().Sign(d.people.record, "approved", day(4)) },
		"a revoked key":      func() error { return fresh().Sign(d.ben, "approved", day(4)) },
		"nothing signed yet": func() error { return fresh().Enter(context.Background(), d.record, d.people.record) },
		"entered twice":      func() error { return d.seal.Enter(context.Background(), d.record, d.people.record) },
	} {
		if err := try(); !errors.Is(err, ErrSeal) {
			t.Errorf("%s: %v", name, err)
		}
	}
	e := newDossier(t, 1, 100)
	again := &Seal{Statement: e.seal.Statement, Keys: e.ring}
	for name, try := range map[string]func() error{
		"before it was made":   func() error { return again.Sign(e.ben, "approved", day(2)) },
		"without a role":       func() error { return again.Sign(e.ben, "", day(4)) },
		"after it was entered": func() error { return e.seal.Sign(e.ben, "reviewed", day(4)) },
		"twice": func() error {
			ok(t, again.Sign(e.ben, "approved", day(4)))
			return again.Sign(e.ben, "approved", day(4))
		},
		"a stamp of other things": func() error { return e.seal.Attach(e.service.token(t, OfBytes([]byte("x")), day(4))) },
	} {
		if err := try(); !errors.Is(err, ErrSeal) && !errors.Is(err, ErrStamp) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, spoil := range map[string]func(*Statement){
		"no subject": func(s *Statement) { s.Subject = "" }, "no drafter": func(s *Statement) { s.DraftedBy = "" },
		"two lines": func(s *Statement) { s.Title = "a\nb" }, "no files": func(s *Statement) { s.Files = nil },
		"no time": func(s *Statement) { s.Made = time.Time{} }, "a way out": func(s *Statement) { s.Files[0].Name = "../x" },
		"out of order": func(s *Statement) { s.Files[0], s.Files[1] = s.Files[1], s.Files[0] },
	} {
		s := e.seal.Statement
		s.Files = slices.Clone(s.Files)
		spoil(&s)
		if err := s.check(); !errors.Is(err, ErrSeal) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What becomes of a signature when its key is revoked later. The lab's newer list is
// what tells; the dossier's own is from before.
func TestRevokedKeys(t *testing.T) {
	const good, caution, bad = "good", "caution", "bad"
	for _, row := range []struct {
		name        string
		revoked     time.Time
		compromised bool
		stamped     bool
		want        string
	}{
		{"left later", day(9), false, false, caution},
		{"left before", day(3), false, true, bad},
		{"lost later, stamped before", day(9), true, true, caution},
		{"lost later, not stamped", day(9), true, false, bad},
		{"lost before", day(3), true, true, bad},
	} {
		d := newDossier(t, 1, 100)
		text := d.zip(t)
		ok(t, d.ring.Revoke(row.revoked, d.ben.Public().ID(), "reason", row.compromised, d.keeper))
		d.trust.Keys = d.ring
		if !row.stamped {
			d.trust.StampRoots = nil
		}
		found := verify(t, text, d.trust)
		got := good
		switch {
		case !found.Verified():
			got = bad
		case slices.ContainsFunc(found.Of(Caution), func(f Finding) bool { return f.Part == partSignature }):
			got = caution
		}
		if got != row.want {
			t.Errorf("%s: %s, want %s: %v", row.name, got, row.want, found)
		}
	}
	// The record's key: its checkpoint carries no time of its own.
	for _, stamped := range []bool{true, false} {
		d := newDossier(t, 1, 100)
		text := d.zip(t)
		ok(t, d.ring.Revoke(day(9), d.people.record.Public().ID(), "disk lost", true, d.keeper))
		d.trust.Keys = d.ring
		if !stamped {
			d.trust.StampRoots = nil
		}
		if found := verify(t, text, d.trust); found.Verified() != stamped {
			t.Errorf("record key, stamped %t: %v", stamped, found)
		}
	}
}

// What does not fit together fails, and the finding says in which part.
func TestSealFindings(t *testing.T) {
	for name, row := range map[string]struct {
		part  string
		spoil func(d *dossier)
	}{
		"another lab":    {partKeys, func(d *dossier) { d.trust.Founder = newKey(t).Public().Fingerprint() }},
		"lists apart":    {partKeys, func(d *dossier) { d.trust.Keys, _ = newRing(t) }},
		"no list":        {partKeys, func(d *dossier) { d.seal.Keys = new(Keyring) }},
		"another record": {partRecord, func(d *dossier) { d.trust.Origin = "other.example/record" }},
		"another leaf":   {partRecord, func(d *dossier) { d.seal.Receipt.Index = 2 }},
		"a checkpoint by an approver": {partRecord, func(d *dossier) {
			head, err := d.record.Head(context.Background())
			ok(t, err)
			text, err := head.Sign(d.anna)
			ok(t, err)
			d.seal.Receipt.Checkpoint = string(text)
		}},
		"no signature":  {partSignature, func(d *dossier) { d.seal.Signatures = nil }},
		"signed twice":  {partSignature, func(d *dossier) { d.seal.Signatures = append(d.seal.Signatures, d.seal.Signatures[0]) }},
		"a strange key": {partSignature, func(d *dossier) { d.seal.Signatures[0].Key = newKey(t).Public().ID() }},
		"the drafter's": {partSignature, func(d *dossier) {
			d.sign(t, d.anna, `{"by":"Anna Example","as":"approved","at":"2026-03-04T12:00:00Z"}`)
		}},
		"another name": {partSignature, func(d *dossier) {
			d.sign(t, d.ben, `{"by":"Cora Example","as":"approved","at":"2026-03-04T12:00:00Z"}`)
		}},
		"no role":       {partSignature, func(d *dossier) { d.sign(t, d.ben, `{"by":"Ben Example","as":"","at":"2026-03-04T12:00:00Z"}`) }},
		"too early":     {partSignature, func(d *dossier) { d.sign(t, d.ben, `{"by":"Ben Example","as":"approved","at":"2026-03-01T12:00:00Z"}`) }},
		"no comment":    {partSignature, func(d *dossier) { d.sign(t, d.ben, "") }},
		"another title": {partSignature, func(d *dossier) { d.seal.Statement.Title += " and more" }},
		"an alien stamp": {partStamp, func(d *dossier) {
			d.seal.Stamps = [][]byte{d.service.token(t, OfBytes([]byte("x")), day(4))}
		}},
		"an unknown service": {partStamp, func(d *dossier) { d.trust.StampRoots = x509.NewCertPool() }},
		"no statement":       {partSeal, func(d *dossier) { d.seal.Statement.Subject = "" }},
	} {
		d := newDossier(t, 1, 100)
		row.spoil(d)
		found := d.seal.Verify(d.trust)
		if found.Verified() || !slices.ContainsFunc(found.Of(Failed), func(f Finding) bool { return f.Part == row.part }) {
			t.Errorf("%s: %v", name, found)
		}
	}
	d := newDossier(t, 1, 100)
	d.seal.Receipt, d.seal.Stamps = nil, nil
	found := d.seal.Verify(d.trust)
	if !found.Verified() || len(found.Of(Caution)) != 1 || !strings.Contains(found.Of(Caution)[0].String(), "not in a record") {
		t.Errorf("neither recorded nor stamped: %v", found)
	}
	// An empty list of the lab's is no list, and not one that agrees.
	if found := d.seal.Verify(Trust{Keys: new(Keyring)}); len(found.Of(Caution)) != 2 {
		t.Errorf("an empty list was believed: %v", found)
	}
	empty, err := NewBag("x", nil)
	ok(t, err)
	ok(t, empty.AddPayload("x", nil))
	b, err := ReadZip(pack(t, empty))
	ok(t, err)
	if found, seal := VerifyBag(b, Trust{}); found.Verified() || seal != nil {
		t.Errorf("without a seal: %v", found)
	}
}

// sign puts another signature, with any comment, in the place of the first.
func (d *dossier) sign(t testing.TB, k *PrivateKey, comment string) {
	t.Helper()
	message, err := d.seal.Statement.Bytes()
	ok(t, err)
	text, err := k.Sign(message, comment)
	ok(t, err)
	d.seal.Signatures = []Signature{{Key: k.Public().ID(), Text: text}}
}

// What is signed can be had with a tool that is not ours: jq prints it.
func TestStatementByJQ(t *testing.T) {
	if _, err := exec.LookPath("jq"); err != nil {
		t.Skip("jq is not installed")
	}
	d := newDossier(t, 1, 100)
	d.seal.Statement.Title = `"quoted" <b> & ü – \ 2.1 %`
	text, err := d.seal.Encode()
	ok(t, err)
	jq := exec.Command("jq", "-cj", ".statement")
	jq.Stdin = bytes.NewReader(text)
	got, err := jq.Output()
	ok(t, err)
	want, err := d.seal.Statement.Bytes()
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("jq prints %s, signed is %s", got, want)
	}
}

// The private keys are nowhere in a dossier.
func TestDossierHoldsNoKey(t *testing.T) {
	d := newDossier(t, 1, 100)
	data := d.zip(t)
	for _, k := range []*PrivateKey{d.keeper, d.anna, d.ben, d.people.record} {
		text, err := k.secret().MarshalText()
		ok(t, err)
		file, err := base64.StdEncoding.DecodeString(string(text[bytes.IndexByte(text, '\n')+1:]))
		ok(t, err)
		seed := file[62:94] // the seed stands there in minisign's file
		spellings := []string{string(seed), hex.EncodeToString(seed), strings.ToUpper(hex.EncodeToString(seed))}
		for shift := range 3 { // wherever it begins within a group of four signs
			spellings = append(spellings, base64.StdEncoding.EncodeToString(seed[shift:])[:36])
		}
		for _, spelling := range spellings {
			if bytes.Contains(data, []byte(spelling)) {
				t.Errorf("the secret of key %s stands in the dossier", k.Public().ID())
			}
		}
	}
	if SecretIn(data) != "" {
		t.Error(SecretIn(data))
	}
	place := filepath.Join(t.TempDir(), "keys", "k.key")
	ok(t, d.ben.Save(place, "correct horse battery"))
	locked, err := d.ben.lock("correct horse battery")
	ok(t, err)
	if err := d.bag.AddPayload("k.key", locked); err == nil {
		t.Error("a key file was taken into a dossier")
	}
}

func FuzzSeal(f *testing.F) {
	d := newDossier(f, 1, 60)
	text, err := d.seal.Encode()
	ok(f, err)
	f.Add(text)
	f.Add([]byte(`{"format":"fairpull.seal/1"}`))
	want, err := d.seal.Statement.Bytes()
	ok(f, err)
	f.Fuzz(func(t *testing.T, data []byte) {
		seal, err := ParseSeal(data)
		if err != nil {
			return
		}
		if again, err := seal.Encode(); err != nil || !bytes.Equal(again, data) {
			t.Errorf("taken, and written as another text: %v", err)
		}
		if got, err := seal.Statement.Bytes(); seal.Verify(d.trust).Verified() && (err != nil || !bytes.Equal(got, want)) {
			t.Errorf("a statement that nobody signed: %s", got)
		}
	})
}

// A dossier of nine logs of half a megabyte: read, and everything verified.
func BenchmarkVerifyDossier(b *testing.B) {
	d := newDossier(b, 9, 500_000)
	data := d.zip(b)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if !verify(b, data, d.trust).Verified() {
			b.Fatal("it fails")
		}
	}
}
