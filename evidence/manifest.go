package evidence

import (
	"bytes"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// longestTag bounds bag-info.txt and each manifest, in bytes.
const longestTag = 16 << 20

// algorithms are the digests that a bag carries. [RFC8493] section 2.4 asks of
// every program to know these two.
var algorithms = [2]struct {
	name string
	size int
	sum  func([]byte) []byte
}{
	{"sha256", sha256.Size, func(d []byte) []byte { s := sha256.Sum256(d); return s[:] }},
	{"sha512", sha512.Size, func(d []byte) []byte { s := sha512.Sum512(d); return s[:] }},
}

func payloadManifest(algorithm string) string { return "manifest-" + algorithm + ".txt" }
func tagManifest(algorithm string) string     { return "tagmanifest-" + algorithm + ".txt" }

// computed reports whether the file's content follows from that of the others.
func computed(name string) bool {
	if name == declarationName {
		return true
	}
	return strings.HasSuffix(name, ".txt") && !strings.Contains(name, "/") &&
		(strings.HasPrefix(name, "manifest-") || strings.HasPrefix(name, "tagmanifest-"))
}

// sum returns the file's digest by the algorithm at a place in algorithms.
func (f *bagFile) sum(i int) []byte {
	if f.sums[i] == nil {
		f.sums[i] = algorithms[i].sum(f.data)
	}
	return f.sums[i]
}

// sha256 returns the file's SHA-256.
func (f *bagFile) sha256() Digest { return Digest(f.sum(0)) }

// manifests adds the manifests to the finished files.
func (b *Bag) manifests(files map[string][]byte) {
	var payload, tags []string
	for name := range files {
		if strings.HasPrefix(name, payloadPrefix) {
			payload = append(payload, name)
		} else {
			tags = append(tags, name)
		}
	}
	slices.Sort(payload)
	for i, a := range algorithms {
		files[payloadManifest(a.name)] = b.manifest(i, payload, files)
		tags = append(tags, payloadManifest(a.name))
	}
	slices.Sort(tags)
	for i, a := range algorithms {
		files[tagManifest(a.name)] = b.manifest(i, tags, files)
	}
}

// manifest returns one manifest: digest, two blanks, name, one file a line.
func (b *Bag) manifest(i int, names []string, files map[string][]byte) []byte {
	var text bytes.Buffer
	for _, name := range names {
		var sum []byte
		// The caller's own files keep their digests; the others are small.
		if f := b.files[name]; f != nil && name != infoName && !computed(name) {
			sum = f.sum(i)
		} else {
			sum = algorithms[i].sum(files[name])
		}
		fmt.Fprintf(&text, "%s  %s\n", hex.EncodeToString(sum), escape(name))
	}
	return text.Bytes()
}

// escape writes a name as a manifest has it. [RFC8493] section 2.1.3; line breaks,
// which it also escapes, are in no name here.
func escape(name string) string { return strings.ReplaceAll(name, "%", "%25") }

// parseManifest reads a manifest strictly: lines as [Bag.manifest] writes them, each
// name once.
func parseManifest(algorithm int, data []byte) (map[string][]byte, error) {
	if len(data) > longestTag {
		return nil, fmt.Errorf("is longer than %d bytes", longestTag)
	}
	digits := hex.EncodedLen(algorithms[algorithm].size)
	listed := map[string][]byte{}
	for n := 1; len(data) > 0; n++ {
		line, rest, ended := bytes.Cut(data, []byte("\n"))
		data = rest
		if !ended || len(line) <= digits+2 || string(line[digits:digits+2]) != "  " {
			return nil, fmt.Errorf("line %d is not a digest, two blanks and a name: %.80q", n, line)
		}
		sum, err := hex.DecodeString(string(line[:digits]))
		if err != nil || hex.EncodeToString(sum) != string(line[:digits]) {
			return nil, fmt.Errorf("line %d has no digest: %.80q", n, line)
		}
		name := strings.ReplaceAll(string(line[digits+2:]), "%25", "%")
		if escape(name) != string(line[digits+2:]) {
			return nil, fmt.Errorf("line %d has a name that is not written as it must be: %.80q", n, line)
		}
		if _, twice := listed[name]; twice || len(listed) >= MaxFiles {
			return nil, fmt.Errorf("line %d names %.80q again, or is one too many", n, name)
		}
		listed[name] = sum
	}
	return listed, nil
}

// Check compares a bag that was read with its manifests and with its one right
// form, byte for byte. One confirmation says how much agreed; everything else has
// failed. The findings stand in the order of the files' names within each step.
func (b *Bag) Check() Findings {
	c := bagCheck{bag: b, said: map[string]bool{}}
	for i, a := range algorithms {
		c.manifest(i, payloadManifest(a.name), true)
		c.manifest(i, tagManifest(a.name), false)
	}
	right, err := b.finished()
	if err != nil {
		c.broken(err)
		return c.found
	}
	for _, name := range sortedNames(b.files) {
		if _, known := right[name]; !known {
			c.fail(name, "it does not belong to a bag of this form")
		}
	}
	for _, name := range sortedNames(right) {
		f, there := b.files[name]
		switch {
		case !there:
			c.fail(name, "it is missing")
		case !bytes.Equal(f.data, right[name]):
			c.fail(name, "it is not what the other files make it (from byte %d on)", differsAt(f.data, right[name]))
		}
	}
	if len(c.found) == 0 {
		c.found.add(Confirmed, "bag", "", "%d files of %d bytes agree with their manifests (SHA-256 and SHA-512)", len(b.files), b.bytes)
	}
	return c.found
}

// bagCheck collects what is wrong with a bag, one finding a file.
type bagCheck struct {
	bag   *Bag
	found Findings
	said  map[string]bool
}

// fail notes the first thing that is wrong with a file.
func (c *bagCheck) fail(name, format string, values ...any) {
	if !c.said[name] {
		c.said[name] = true
		c.found.add(Failed, "bag", name, format, values...)
	}
}

// broken notes why a bag has no right form.
func (c *bagCheck) broken(err error) {
	var bad *BagError
	if errors.As(err, &bad) {
		c.fail(bad.Where, "it %s", bad.What)
		return
	}
	c.fail("", "%v", err)
}

// manifest compares one manifest with the files that it has to list.
func (c *bagCheck) manifest(algorithm int, manifest string, payload bool) {
	f, there := c.bag.files[manifest]
	if !there {
		return // said by Check
	}
	listed, err := parseManifest(algorithm, f.data)
	if err != nil {
		c.fail(manifest, "%v", err)
		return
	}
	for _, name := range sortedNames(c.bag.files) {
		if strings.HasPrefix(name, payloadPrefix) != payload || strings.HasPrefix(name, "tagmanifest-") {
			continue
		}
		file := c.bag.files[name]
		want, known := listed[name]
		delete(listed, name)
		switch {
		case !known:
			c.fail(name, "%s does not list it", manifest)
		case !bytes.Equal(want, file.sum(algorithm)):
			c.fail(name, "its bytes are not those that %s names (%x… listed, %x… found)", manifest, want[:4], file.sum(algorithm)[:4])
		}
	}
	for _, name := range sortedNames(listed) {
		c.fail(name, "%s lists it and it is missing", manifest)
	}
}

// sortedNames returns the keys in the order of their bytes, in which files stand in
// manifests and in a zip.
func sortedNames[V any](files map[string]V) []string {
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
