package evidence

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"golang.org/x/mod/sumdb/note"
)

const origin = "lab.example/record"

// newRecord returns a record in memory with n leaves.
func newRecord(t testing.TB, n int) *Record {
	t.Helper()
	r, err := OpenRecord(origin, NewMemoryRecord())
	ok(t, err)
	for i := range n {
		at, err := r.Append(context.Background(), fmt.Appendf(nil, "leaf %d", i))
		if err != nil || at != int64(i) {
			t.Fatal(at, err)
		}
	}
	return r
}

// bytesOf returns hashes as the other library takes them.
func bytesOf(d []Digest) [][]byte {
	out := make([][]byte, len(d))
	for i := range d {
		out[i] = d[i][:]
	}
	return out
}

// Leaves and roots of the test data of Certificate Transparency's reference
// implementation, the same in github.com/transparency-dev/merkle v0.0.2 (testonly):
// trees of 0 to 8 leaves by [RFC6962] section 2.1.
func TestRootsPublished(t *testing.T) {
	ctx := context.Background()
	r, err := OpenRecord(origin, NewMemoryRecord())
	ok(t, err)
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	for n, want := range roots {
		head, err := r.Head(ctx)
		if err != nil || head.Size != int64(n) || head.Root.Hex() != want {
			t.Errorf("%d leaves: root %s, %v; published is %s", n, head.Root.Hex(), err, want)
		}
		if n < len(leaves) {
			_, err := r.append(ctx, unhex(t, leaves[n]))
			ok(t, err)
		}
	}
}

// Every proof of every leaf and of every earlier size, for records of up to 40 leaves,
// verified by another library (transparency-dev/merkle) and by this package.
func TestProofsByAnotherLibrary(t *testing.T) {
	ctx := context.Background()
	const most = 40
	r := newRecord(t, most)
	hasher := rfc6962.DefaultHasher
	count := 0
	for size := int64(1); size <= most; size++ {
		head, err := r.HeadAt(ctx, size)
		ok(t, err)
		for index := range size {
			leaf, err := r.Leaf(ctx, index)
			ok(t, err)
			path, err := r.ProveInclusion(ctx, size, index)
			ok(t, err)
			if err := proof.VerifyInclusion(hasher, uint64(index), uint64(size), hasher.HashLeaf(leaf), bytesOf(path), head.Root[:]); err != nil {
				t.Errorf("leaf %d of %d: %v", index, size, err)
			}
			ok(t, head.Includes(index, leaf, path))
			count++
		}
		for earlier := int64(1); earlier <= size; earlier++ {
			before, err := r.HeadAt(ctx, earlier)
			ok(t, err)
			path, err := r.ProveConsistency(ctx, size, earlier)
			ok(t, err)
			if err := proof.VerifyConsistency(hasher, uint64(earlier), uint64(size), bytesOf(path), before.Root[:], head.Root[:]); err != nil {
				t.Errorf("%d in %d: %v", earlier, size, err)
			}
			ok(t, head.Continues(before, path))
			count++
		}
	}
	t.Logf("%d proofs", count)
}

// A proof holds for its leaf at its place in its record alone.
func TestProofsRefuse(t *testing.T) {
	ctx := context.Background()
	r := newRecord(t, 23)
	head, err := r.Head(ctx)
	ok(t, err)
	leaf, err := r.Leaf(ctx, 9)
	ok(t, err)
	path, err := r.ProveInclusion(ctx, 23, 9)
	ok(t, err)
	spoiled := func(p []Digest, i, bit int) []Digest {
		p = slices.Clone(p)
		p[i][bit/8] ^= 1 << (bit % 8)
		return p
	}
	for i := range path {
		for bit := range 256 {
			if head.Includes(9, leaf, spoiled(path, i, bit)) == nil {
				t.Errorf("bit %d of hash %d changed", bit, i)
			}
		}
	}
	for name, err := range map[string]error{
		"another leaf":    head.Includes(9, []byte("leaf 10"), path),
		"another place":   head.Includes(8, leaf, path),
		"beyond the end":  head.Includes(23, leaf, path),
		"before the head": head.Includes(-1, leaf, path),
		"a shorter proof": head.Includes(9, leaf, path[1:]),
		"a longer proof":  head.Includes(9, leaf, append(slices.Clone(path), Digest{})),
		"a huge proof":    head.Includes(9, leaf, make([]Digest, 1000)),
		"no proof":        head.Includes(9, leaf, nil),
	} {
		if !errors.Is(err, ErrProof) {
			t.Errorf("%s: %v", name, err)
		}
	}
	earlier, err := r.HeadAt(ctx, 13)
	ok(t, err)
	path, err = r.ProveConsistency(ctx, 23, 13)
	ok(t, err)
	for i := range path {
		if head.Continues(earlier, spoiled(path, i, 7)) == nil {
			t.Errorf("hash %d of the consistency proof changed", i)
		}
	}
	// A record in which one early leaf was exchanged does not continue the first.
	other := newRecord(t, 5)
	for i := 5; i < 23; i++ {
		text := fmt.Sprintf("leaf %d", i)
		if i == 7 {
			text = "leaf seven"
		}
		_, err := other.Append(ctx, []byte(text))
		ok(t, err)
	}
	forged, err := other.Head(ctx)
	ok(t, err)
	forgedPath, err := other.ProveConsistency(ctx, 23, 13)
	ok(t, err)
	alien := earlier
	alien.Origin = "other.example/record"
	for name, err := range map[string]error{
		"a changed leaf": forged.Continues(earlier, forgedPath), "the right proof": forged.Continues(earlier, path),
		"another record": head.Continues(alien, path), "backwards": earlier.Continues(head, path), "from nothing": head.Continues(Head{Origin: origin}, nil),
	} {
		if !errors.Is(err, ErrProof) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, ask := range [][2]int64{{24, 1}, {5, 5}, {5, -1}, {-1, 0}, {0, 0}} {
		if _, err := r.ProveInclusion(ctx, ask[0], ask[1]); err == nil {
			t.Errorf("leaf %d of %d was proven", ask[1], ask[0])
		}
	}
	for _, ask := range [][2]int64{{24, 1}, {5, 6}, {5, 0}, {-1, -1}} {
		if _, err := r.ProveConsistency(ctx, ask[0], ask[1]); err == nil {
			t.Errorf("%d in %d was proven", ask[1], ask[0])
		}
	}
}

// A checkpoint is a signed note: the note library opens it by the verifier key, and
// its three lines are those of the common format.
func TestCheckpoint(t *testing.T) {
	ctx := context.Background()
	k := newKey(t)
	r := newRecord(t, 7)
	text, err := r.Checkpoint(ctx, k)
	ok(t, err)
	key, err := k.Public().VerifierKey(origin)
	ok(t, err)
	verifier, err := note.NewVerifier(key)
	ok(t, err)
	opened, err := note.Open(text, note.VerifierList(verifier))
	ok(t, err)
	if lines := strings.Split(opened.Text, "\n"); len(lines) != 4 || lines[0] != origin || lines[1] != "7" || len(lines[2]) != 44 {
		t.Errorf("the note says %q", opened.Text)
	}
	head, by, err := ParseCheckpoint(text, newKey(t).Public(), k.Public())
	want, err2 := r.Head(ctx)
	if err != nil || err2 != nil || head != want || by != k.Public() {
		t.Errorf("%+v by %s, %v", head, by.ID(), err)
	}
	for i := range text {
		for _, bit := range []byte{1, 4, 32} {
			changed := bytes.Clone(text)
			changed[i] ^= bit
			if _, _, err := ParseCheckpoint(changed, k.Public()); !errors.Is(err, ErrCheckpoint) {
				t.Errorf("byte %d changed (%q): %v", i, text[max(0, i-5):i+1], err)
			}
		}
	}
	// Of the last letter of a signature two bits mean nothing: they have one form.
	const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
	last := len(text) - len("0=\n")
	for extra := 1; extra < 4; extra++ {
		changed := bytes.Clone(text)
		changed[last] = letters[strings.IndexByte(letters, text[last])+extra]
		if _, _, err := ParseCheckpoint(changed, k.Public()); !errors.Is(err, ErrCheckpoint) {
			t.Errorf("a signature that ends with %q for %q: %v", changed[last:], text[last:], err)
		}
	}
	second, err := note.Sign(opened, noteSigner{mustVerifier(t, newKey(t), origin), newKey(t)})
	ok(t, err)
	for name, bad := range map[string][]byte{
		"nothing": nil, "two signatures": second, "more behind": append(bytes.Clone(text), '\n'),
		"long": append(bytes.Repeat([]byte("a"), longestCheckpoint), text...), "cut": text[:len(text)-1],
	} {
		if _, _, err := ParseCheckpoint(bad, k.Public()); !errors.Is(err, ErrCheckpoint) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := ParseCheckpoint(text, newKey(t).Public()); !errors.Is(err, ErrCheckpoint) {
		t.Errorf("by another key: %v", err)
	}
	for _, bad := range []string{"", "a b", "a+b", "a\nb", "\xff"} {
		if _, err := OpenRecord(bad, NewMemoryRecord()); err == nil {
			t.Errorf("a record named %q", bad)
		}
	}
}

func mustVerifier(t *testing.T, k *PrivateKey, origin string) note.Verifier {
	t.Helper()
	v, err := k.Public().verifier(origin)
	ok(t, err)
	return v
}

// Two writers at once: each leaf stands in the record exactly once, and whoever came
// too late was told.
func TestAppendAtOnce(t *testing.T) {
	ctx := context.Background()
	file, err := OpenFileRecord(filepath.Join(t.TempDir(), "record"))
	ok(t, err)
	defer file.Close()
	for name, store := range map[string]RecordStore{"memory": NewMemoryRecord(), "file": file} {
		r, err := OpenRecord(origin, store)
		ok(t, err)
		var group sync.WaitGroup
		for w := range 4 {
			group.Go(func() {
				for i := range 25 {
					for {
						_, err := r.Append(ctx, fmt.Appendf(nil, "%d %d", w, i))
						if err == nil {
							break
						}
						if !errors.Is(err, ErrMoved) {
							t.Error(name, err)
							return
						}
					}
				}
			})
		}
		group.Wait()
		seen := map[string]bool{}
		for n := range int64(100) {
			leaf, err := r.Leaf(ctx, n)
			ok(t, err)
			seen[string(leaf)] = true
		}
		if size, err := store.Size(ctx); err != nil || size != 100 || len(seen) != 100 {
			t.Errorf("%s: %d leaves, %d different, %v", name, size, len(seen), err)
		}
		ok(t, r.Verify(ctx))
	}
}

func TestRecordLeaves(t *testing.T) {
	r := newRecord(t, 0)
	for _, leaf := range [][]byte{nil, {}, make([]byte, LongestLeaf+1)} {
		if _, err := r.Append(context.Background(), leaf); !errors.Is(err, ErrLeaf) {
			t.Errorf("a leaf of %d bytes: %v", len(leaf), err)
		}
	}
	_, err := r.Append(context.Background(), make([]byte, LongestLeaf))
	ok(t, err)
}

// A store whose hashes or leaves were tampered with is found out.
func TestRecordVerify(t *testing.T) {
	ctx := context.Background()
	for name, spoil := range map[string]func(*MemoryRecord){
		"a leaf": func(m *MemoryRecord) { m.leaves[3][0] ^= 1 }, "a hash": func(m *MemoryRecord) { m.hashes[5][0] ^= 1 },
		"an upper hash": func(m *MemoryRecord) { m.hashes[2][9] ^= 1 }, "a leaf too few": func(m *MemoryRecord) { m.hashes = m.hashes[:len(m.hashes)-1] },
	} {
		r := newRecord(t, 8)
		ok(t, r.Verify(ctx))
		spoil(r.store.(*MemoryRecord))
		if r.Verify(ctx) == nil {
			t.Errorf("%s changed unnoticed", name)
		}
	}
}

// The file comes back as it was; an append that was cut off at any byte is taken back,
// and damage anywhere before the last leaf is an error.
func TestFileRecord(t *testing.T) {
	ctx := context.Background()
	place := filepath.Join(t.TempDir(), "record")
	open := func() (*FileRecord, error) { return OpenFileRecord(place) }
	f, err := open()
	ok(t, err)
	r, err := OpenRecord(origin, f)
	ok(t, err)
	memory := newRecord(t, 0)
	for i := range 6 {
		leaf := fmt.Appendf(nil, "leaf number %d", i)
		_, err := r.Append(ctx, leaf)
		ok(t, err)
		_, err = memory.Append(ctx, leaf)
		ok(t, err)
	}
	ok(t, f.Close())
	if _, err := r.Append(ctx, []byte("after the end")); err == nil {
		t.Error("a closed record took a leaf")
	}
	whole, err := os.ReadFile(place)
	ok(t, err)
	last := len(whole) - (8 + len("leaf number 5") + 32)
	check := func(what string, leaves int64) {
		t.Helper()
		f, err := open()
		if err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		defer f.Close()
		r, err := OpenRecord(origin, f)
		ok(t, err)
		got, err := r.Head(ctx)
		ok(t, err)
		want, err := memory.HeadAt(ctx, leaves)
		ok(t, err)
		if got != want {
			t.Errorf("%s: %+v, want %+v", what, got, want)
		}
	}
	check("whole", 6)
	for cut := last; cut < len(whole); cut++ {
		ok(t, os.WriteFile(place, whole[:cut], 0o600))
		check(fmt.Sprintf("cut at %d of %d", cut, len(whole)), 5)
		if info, err := os.Stat(place); err != nil || info.Size() != int64(last) {
			t.Errorf("the rest was not cut off: %v", err)
		}
	}
	ok(t, os.WriteFile(place, append(bytes.Clone(whole), make([]byte, 200)...), 0o600))
	check("room behind the end", 6)
	for i := range last {
		changed := bytes.Clone(whole)
		changed[i] ^= 1
		ok(t, os.WriteFile(place, changed, 0o600))
		if f, err := open(); err == nil {
			size, _ := f.Size(ctx)
			t.Errorf("byte %d changed and %d leaves came back", i, size)
			f.Close()
		}
	}
}

func FuzzCheckpoint(f *testing.F) {
	k := newKey(f)
	text, err := newRecord(f, 3).Checkpoint(context.Background(), k)
	ok(f, err)
	f.Add(text)
	f.Add([]byte("lab\n1\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n\n— lab AAAA\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		head, by, err := ParseCheckpoint(data, k.Public())
		if err == nil && (by != k.Public() || !bytes.Equal(data, text) || head.Size != 3) {
			t.Errorf("a checkpoint that nobody signed: %q", data)
		}
	})
}

func FuzzFrame(f *testing.F) {
	f.Add([]byte{0, 0, 0, 1, 255, 255, 255, 254, 'a'})
	f.Fuzz(func(t *testing.T, data []byte) {
		leaf, size, whole := frame(data)
		if whole && (len(leaf) == 0 || size > len(data) || size != len(leaf)+40) {
			t.Errorf("%d bytes of leaf in %d of %d", len(leaf), size, len(data))
		}
	})
}

func BenchmarkAppend(b *testing.B) {
	r := newRecord(b, 1000)
	for b.Loop() {
		if _, err := r.Append(context.Background(), []byte("one more leaf")); err != nil {
			b.Fatal(err)
		}
	}
}
