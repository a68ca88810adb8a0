package evidence

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// sampleBag returns a bag of small logs; the content is invented.
func sampleBag(t testing.TB, logs, size int) *Bag {
	t.Helper()
	b, err := NewBag("claim-7", []Field{{"Source-Organization", "Invented Lab"}, {"Bagging-Date", "2026-03-09"}, {"External-Description", "Größe: 100 % of it"}})
	ok(t, err)
	random := rand.New(rand.NewPCG(1, 2))
	for n := range logs {
		var log bytes.Buffer
		log.WriteString("time_s,drum_rad_s\n")
		for log.Len() < size {
			fmt.Fprintf(&log, "%.4f,%.5f\n", float64(log.Len())/1000, random.Float64()*100)
		}
		ok(t, b.AddPayload(fmt.Sprintf("logs/%02d-before.csv", n+1), log.Bytes()))
	}
	ok(t, b.AddPayload("campaign.toml", []byte("title = \"Intake\"\n")))
	ok(t, b.AddPayload("notes/50 % load.txt", []byte("a name with a per cent sign\n")))
	ok(t, b.AddTag("program.json", []byte("{\"program\":\"fairpull\"}\n")))
	return b
}

// pack returns the bag as a zip.
func pack(t testing.TB, b *Bag) []byte {
	t.Helper()
	data, err := b.Zip()
	ok(t, err)
	return data
}

// failed returns whether a zip is refused or does not agree with its manifests.
func failed(data []byte) bool {
	b, err := ReadZip(data)
	return err != nil || !b.Check().Verified()
}

func TestBagRoundTrip(t *testing.T) {
	b := sampleBag(t, 3, 500)
	data := pack(t, b)
	if again := pack(t, sampleBag(t, 3, 500)); !bytes.Equal(again, data) {
		t.Error("the same content made other bytes")
	}
	back, err := ReadZip(data)
	ok(t, err)
	if found := back.Check(); !found.Verified() {
		t.Fatal(found)
	}
	if !slices.Equal(back.Entries(), b.Entries()) || back.Name() != "claim-7" {
		t.Error("other files came back")
	}
	for _, name := range b.Names() {
		if name == infoName {
			continue // gets its Payload-Oxum when it is written
		}
		want, _ := b.Data(name)
		if got, there := back.Data(name); !there || !bytes.Equal(got, want) {
			t.Errorf("%s came back as %q", name, got)
		}
	}
	info, err := back.Info()
	if err != nil || len(info) != 3 || info[2].Value != "Größe: 100 % of it" {
		t.Errorf("%v, %v", info, err)
	}
	if again := pack(t, back); !bytes.Equal(again, data) {
		t.Error("a bag that was read is written as other bytes")
	}
	folder := filepath.Join(t.TempDir(), "claim-7")
	ok(t, b.WriteFolder(folder))
	if err := b.WriteFolder(folder); err == nil {
		t.Error("a folder was overwritten")
	}
	fromFolder, err := OpenBag(folder)
	ok(t, err)
	if found := fromFolder.Check(); !found.Verified() || !bytes.Equal(pack(t, fromFolder), data) {
		t.Error("folder and zip differ", found)
	}
	file := filepath.Join(t.TempDir(), "claim-7.zip")
	ok(t, os.WriteFile(file, data, 0o600))
	if fromFile, err := OpenBag(file); err != nil || !fromFile.Check().Verified() {
		t.Error(err)
	}
}

// The standard library's own zip reader finds the same files in it, and the manifests
// are what [RFC8493] says: the digests of the standard library, two blanks, the name,
// with % written as %25.
func TestBagByOthers(t *testing.T) {
	data := pack(t, sampleBag(t, 2, 300))
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	ok(t, err)
	content := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		ok(t, err)
		all, err := io.ReadAll(r)
		ok(t, err)
		if f.Mode() != 0o644 || f.Method != zip.Store {
			t.Errorf("%s: mode %v, method %d", f.Name, f.Mode(), f.Method)
		}
		content[strings.TrimPrefix(f.Name, "claim-7/")] = all
	}
	if got := string(content["bagit.txt"]); got != "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n" {
		t.Errorf("bagit.txt is %q", got) // [RFC8493] section 2.1.1
	}
	var octets, count int
	payload, tags := map[string]string{}, map[string]string{}
	for name, all := range content {
		a, b := sha256.Sum256(all), sha512.Sum512(all)
		sums := hex.EncodeToString(a[:]) + " " + hex.EncodeToString(b[:])
		switch {
		case strings.HasPrefix(name, "data/"):
			payload[strings.ReplaceAll(name, "%", "%25")] = sums
			octets += len(all)
			count++
		case !strings.HasPrefix(name, "tagmanifest"):
			tags[name] = sums
		}
	}
	if !strings.HasSuffix(string(content["bag-info.txt"]), fmt.Sprintf("\nPayload-Oxum: %d.%d\n", octets, count)) {
		t.Errorf("bag-info.txt is %q", content["bag-info.txt"]) // [RFC8493] section 2.2.2
	}
	for prefix, want := range map[string]map[string]string{"manifest": payload, "tagmanifest": tags} {
		for place, algorithm := range []string{"sha256", "sha512"} {
			lines := strings.Split(strings.TrimSuffix(string(content[prefix+"-"+algorithm+".txt"]), "\n"), "\n")
			if len(lines) != len(want) {
				t.Errorf("%s-%s has %d lines for %d files", prefix, algorithm, len(lines), len(want))
			}
			for _, line := range lines {
				sum, name, _ := strings.Cut(line, "  ")
				if strings.Fields(want[name] + " - -")[place] != sum {
					t.Errorf("%s-%s lists %q", prefix, algorithm, line)
				}
			}
		}
	}
}

// Every single byte of a small dossier, changed to another value, is noticed.
func TestZipEveryByte(t *testing.T) {
	data := pack(t, sampleBag(t, 3, 400))
	if failed(data) {
		t.Fatal("the untouched zip fails")
	}
	random := rand.New(rand.NewPCG(3, 4))
	unnoticed := 0
	for i := range data {
		was := data[i]
		data[i] ^= byte(1 + random.IntN(255))
		if !failed(data) {
			unnoticed++
			t.Errorf("byte %d of %d changed unnoticed", i, len(data))
		}
		data[i] = was
	}
	if len(data) < 2000 {
		t.Errorf("only %d bytes were tried", len(data))
	}
	for _, cut := range []int{0, 1, 29, 30, len(data) / 2, len(data) - 22, len(data) - 1} {
		if !failed(data[:cut]) {
			t.Errorf("cut to %d bytes unnoticed", cut)
		}
	}
	for _, more := range []string{"\x00", "PK", "\n", "PK\x05\x06" + strings.Repeat("\x00", 18)} {
		if !failed(append(bytes.Clone(data), more...)) || !failed(append([]byte(more), data...)) {
			t.Errorf("%q before or after unnoticed", more)
		}
	}
	t.Logf("%d single-byte changes, %d unnoticed", len(data), unnoticed)
}

// A file left out, put in, renamed or exchanged with another is noticed, with the zip
// built anew around it, so that only the manifests can tell; and each finding names
// the file.
func TestBagFilesRemovedAddedSwapped(t *testing.T) {
	files, err := sampleBag(t, 3, 200).finished()
	ok(t, err)
	names := sortedNames(files)
	tries := 0
	try := func(what, name string, change func(map[string][]byte)) {
		t.Helper()
		tries++
		changed := map[string][]byte{}
		for n, d := range files {
			changed[n] = d
		}
		change(changed)
		b, err := ReadZip(rawZip(changed))
		if err != nil {
			return // refused at once
		}
		found := b.Check().Of(Failed)
		if len(found) == 0 || !slices.ContainsFunc(found, func(f Finding) bool { return f.Where == name }) {
			t.Errorf("%s %s: %v", what, name, found)
		}
	}
	try("added", "data/logs/99-more.csv", func(m map[string][]byte) { m["data/logs/99-more.csv"] = []byte("x") })
	try("added", "more.txt", func(m map[string][]byte) { m["more.txt"] = nil })
	try("added", "manifest-md5.txt", func(m map[string][]byte) { m["manifest-md5.txt"] = nil })
	for i, a := range names {
		try("removed", a, func(m map[string][]byte) { delete(m, a) })
		try("emptied", a, func(m map[string][]byte) { m[a] = nil })
		try("renamed", "x"+a, func(m map[string][]byte) { m["x"+a] = m[a]; delete(m, a) })
		for _, b := range names[i+1:] {
			try("swapped", a, func(m map[string][]byte) { m[a], m[b] = m[b], m[a] })
		}
	}
	t.Logf("%d changes of files", tries)
}

// rawZip packs files without a bag's rules.
func rawZip(files map[string][]byte) []byte {
	b := &Bag{name: "claim-7"}
	var out []byte
	var entries []zipEntry
	for _, name := range sortedNames(files) {
		e := zipEntry{name: b.name + "/" + name, offset: uint32(len(out)), size: uint32(len(files[name])), crc: crc(files[name])}
		entries = append(entries, e)
		out = append(e.local(out), files[name]...)
	}
	return zipEnd(out, entries)
}

// A folder: at least two thousand single-byte changes, and every file removed.
func TestFolderEveryFile(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "claim-7")
	ok(t, sampleBag(t, 2, 300).WriteFolder(folder))
	verified := func() bool {
		b, err := OpenBag(folder)
		return err == nil && b.Check().Verified()
	}
	if !verified() {
		t.Fatal("the untouched folder fails")
	}
	var files []string
	ok(t, filepath.Walk(folder, func(path string, info os.FileInfo, err error) error {
		if err == nil && !info.IsDir() {
			files = append(files, path)
		}
		return err
	}))
	random := rand.New(rand.NewPCG(5, 6))
	changes := 0
	for _, path := range files {
		data, err := os.ReadFile(path)
		ok(t, err)
		for range 2000/len(files) + 1 {
			changed := bytes.Clone(data)
			changed[random.IntN(len(data))] ^= byte(1 + random.IntN(255))
			ok(t, os.WriteFile(path, changed, 0o644))
			changes++
			if verified() {
				t.Errorf("a byte of %s changed unnoticed", path)
			}
		}
		ok(t, os.Remove(path))
		if verified() {
			t.Errorf("%s is missing unnoticed", path)
		}
		ok(t, os.WriteFile(path, data, 0o644))
	}
	if !verified() || changes < 2000 {
		t.Errorf("%d changes", changes)
	}
}

// Any names and contents come back as they went in.
func TestBagRoundTripProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, err := NewBag("b", nil)
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 6).Draw(t, "files") {
			name := rapid.StringN(1, 20, 60).Draw(t, "name")
			data := rapid.SliceOfN(rapid.Byte(), 0, 50).Draw(t, "data")
			_ = b.AddPayload(name, data) // refuses what it must
		}
		if len(b.Payload()) == 0 {
			return
		}
		data, err := b.Zip()
		if err != nil {
			t.Fatal(err)
		}
		back, err := ReadZip(data)
		if err != nil || !back.Check().Verified() || !slices.Equal(back.Payload(), b.Payload()) {
			t.Fatalf("%v: %v", err, b.Payload())
		}
	})
}

func FuzzReadZip(f *testing.F) {
	data := pack(f, sampleBag(f, 2, 60))
	f.Add(data)
	f.Add(data[:40])
	f.Add([]byte("PK\x03\x04"))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := ReadZip(data)
		if err != nil || !b.Check().Verified() {
			return
		}
		again, err := b.Zip()
		if err != nil || !bytes.Equal(again, data) {
			t.Errorf("verified, and written as other bytes: %v", err)
		}
	})
}

func FuzzManifest(f *testing.F) {
	f.Add([]byte(strings.Repeat("0", 64) + "  data/a%25b\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		listed, err := parseManifest(0, data)
		if err != nil {
			return
		}
		var again bytes.Buffer
		for line := range strings.SplitSeq(strings.TrimSuffix(string(data), "\n"), "\n") {
			if line == "" {
				continue
			}
			name := strings.ReplaceAll(line[66:], "%25", "%")
			fmt.Fprintf(&again, "%x  %s\n", listed[name], strings.ReplaceAll(name, "%", "%25"))
		}
		if !bytes.Equal(again.Bytes(), data) {
			t.Errorf("%q came back as %q", data, again.Bytes())
		}
	})
}

func FuzzInfo(f *testing.F) {
	f.Add([]byte("Source-Organization: Lab\nPayload-Oxum: 12.3\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		fields, octets, err := parseInfo(data)
		if err != nil {
			return
		}
		var again strings.Builder
		for _, f := range fields {
			fmt.Fprintf(&again, "%s: %s\n", f.Label, f.Value)
		}
		if octets != "" {
			fmt.Fprintf(&again, "%s: %s\n", oxum, octets)
		}
		if s := again.String(); s != string(data) {
			t.Errorf("%q came back as %q", data, s)
		}
	})
}

// Nine logs of half a megabyte, read and verified.
func BenchmarkVerifyBag(b *testing.B) {
	data := pack(b, sampleBag(b, 9, 500_000))
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if failed(data) {
			b.Fatal("it fails")
		}
	}
}

func BenchmarkWriteBag(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		bag := sampleBag(b, 9, 500_000)
		b.StartTimer()
		pack(b, bag)
	}
}

func crc(data []byte) uint32 { return crc32.ChecksumIEEE(data) }
