package evidence

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// A bag is a set of files with their digests, in the form of BagIt 1.0 [RFC8493]:
// a folder, or that folder in one zip file. Every file but the payload's and those
// that the caller adds follows from them, so a bag has one right form and any
// byte that differs from it shows.

// The bounds of a bag.
const (
	// MaxFiles is the most files that a bag may have.
	MaxFiles = 10_000
	// MaxBytes is the most bytes that the files of a bag may have together.
	MaxBytes = 1 << 30
)

// The files that every bag has.
const (
	declarationName = "bagit.txt"
	infoName        = "bag-info.txt"
	payloadPrefix   = "data/"
)

// declaration is the whole content of bagit.txt.
const declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

// oxum is the field of bag-info.txt that the bag fills in: bytes and number of the
// payload's files.
const oxum = "Payload-Oxum"

// Field is one line of bag-info.txt.
type Field struct{ Label, Value string }

// Entry names one file of a bag and its content.
type Entry struct {
	Name   string `json:"name"` // within the bag, with slashes
	Size   int64  `json:"size"` // bytes
	Digest Digest `json:"digest"`
}

// BagError says that a bag cannot be read, or that something cannot be put into
// one: it is damaged in its build, or made to do harm.
type BagError struct {
	Where string // a file's name; empty: the bag as a whole
	What  string
}

func (e *BagError) Error() string {
	if e.Where == "" {
		return "the dossier " + e.What
	}
	return fmt.Sprintf("%.200q in the dossier %s", e.Where, e.What)
}

// bagError returns a *BagError.
func bagError(where, format string, values ...any) error {
	return &BagError{Where: where, What: fmt.Sprintf(format, values...)}
}

// Bag is a bag in memory. Make one with [NewBag] or read one with [OpenBag] or
// [ReadZip].
type Bag struct {
	name  string // of the base folder
	files map[string]*bagFile
	names map[string]string // folded name → name, folders included
	bytes int64
}

// bagFile is one file with the digests that were taken of it.
type bagFile struct {
	data []byte
	sums [2][]byte // by place in algorithms; nil: not taken yet
}

// NewBag returns a bag with the given name, which is that of its folder: letters,
// digits, dots, hyphens and underscores. The info goes to bag-info.txt in the order
// given; Payload-Oxum is added, and is not to be given.
func NewBag(name string, info []Field) (*Bag, error) {
	if err := checkBase(name); err != nil {
		return nil, err
	}
	b := &Bag{name: name, files: map[string]*bagFile{}, names: map[string]string{}}
	var text strings.Builder
	for _, f := range info {
		if err := f.check(); err != nil {
			return nil, err
		}
		fmt.Fprintf(&text, "%s: %s\n", f.Label, f.Value)
	}
	return b, b.put(infoName, []byte(text.String()))
}

// check refuses what would not come back as it was from a line of bag-info.txt.
func (f Field) check() error {
	badLabel := func(r rune) bool { return r == ':' || r <= ' ' || r > '~' }
	switch {
	case f.Label == "" || len(f.Label) > 100 || strings.ContainsFunc(f.Label, badLabel):
		return bagError(infoName, "has a label that is none: %.80q", f.Label)
	case f.Label == oxum:
		return bagError(infoName, "gets its %s by itself", oxum)
	case strings.TrimSpace(f.Value) != f.Value || f.Value == "":
		return bagError(infoName, "has no value for %s, or blanks at its ends", f.Label)
	}
	if err := oneLine("value of "+f.Label, f.Value, 4096); err != nil {
		return bagError(infoName, "cannot take %s: %v", f.Label, err)
	}
	return nil
}

// Name returns the name of the bag's folder.
func (b *Bag) Name() string { return b.name }

// AddPayload puts a file below data/. Data is kept, not copied. A file that holds a
// private key is refused; see [SecretIn].
func (b *Bag) AddPayload(name string, data []byte) error {
	return b.add(payloadPrefix+name, data)
}

// AddTag puts a file beside data/: one about the payload. The names that the bag
// itself uses are refused, and so is a private key.
func (b *Bag) AddTag(name string, data []byte) error {
	if strings.HasPrefix(name, payloadPrefix) || computed(name) || name == infoName {
		return bagError(name, "is a file that the bag makes itself")
	}
	return b.add(name, data)
}

// add puts a file of the caller's into the bag.
func (b *Bag) add(name string, data []byte) error {
	if kind := SecretIn(data); kind != "" {
		return bagError(name, "would give away %s", kind)
	}
	return b.put(name, data)
}

// put takes any file whose name can stand beside the others.
func (b *Bag) put(name string, data []byte) error {
	if err := checkName(name); err != nil {
		return err
	}
	if err := b.claimName(name); err != nil {
		return err
	}
	switch {
	case len(b.files) >= MaxFiles:
		return bagError("", "has more than %d files", MaxFiles)
	case int64(len(data)) > MaxBytes-b.bytes:
		return bagError("", "has more than %d bytes", MaxBytes)
	}
	b.files[name] = &bagFile{data: data}
	b.bytes += int64(len(data))
	return nil
}

// Names returns the names of all files that do not follow from the others, sorted:
// the payload, bag-info.txt and the files added with [Bag.AddTag].
func (b *Bag) Names() []string {
	var names []string
	for name := range b.files {
		if !computed(name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// Payload returns the names of the files below data/, without that prefix, sorted.
func (b *Bag) Payload() []string {
	var names []string
	for name := range b.files {
		if rest, is := strings.CutPrefix(name, payloadPrefix); is {
			names = append(names, rest)
		}
	}
	slices.Sort(names)
	return names
}

// Data returns the content of the file with the name, data/ included for the
// payload. It is the bag's own and must not be changed. In a bag that was read it
// may differ from what the manifests say: ask [Bag.Check] first.
func (b *Bag) Data(name string) ([]byte, bool) {
	f, found := b.files[name]
	if !found {
		return nil, false
	}
	return f.data, true
}

// Entries returns name, size and digest of the files of [Bag.Names], the given
// names left out: what a seal is set on.
func (b *Bag) Entries(without ...string) []Entry {
	var entries []Entry
	for _, name := range b.Names() {
		if !slices.Contains(without, name) {
			f := b.files[name]
			if name == infoName {
				if info, err := b.finishedInfo(); err == nil {
					f = &bagFile{data: info}
				}
			}
			entries = append(entries, Entry{Name: name, Size: int64(len(f.data)), Digest: f.sha256()})
		}
	}
	return entries
}

// Info returns the fields of bag-info.txt, without Payload-Oxum.
func (b *Bag) Info() ([]Field, error) {
	fields, _, err := parseInfo(b.files[infoName].data)
	return fields, err
}

// parseInfo reads bag-info.txt strictly: "Label: value", one a line. Payload-Oxum
// is last where it stands.
func parseInfo(data []byte) (fields []Field, octets string, err error) {
	if len(data) > longestTag {
		return nil, "", bagError(infoName, "is too long")
	}
	for len(data) > 0 {
		line, rest, ended := bytes.Cut(data, []byte("\n"))
		label, value, found := strings.Cut(string(line), ": ")
		if !ended || !found || octets != "" {
			return nil, "", bagError(infoName, "has a line that is no field: %.80q", line)
		}
		data = rest
		if label == oxum && value != "" {
			octets = value
			continue
		}
		f := Field{Label: label, Value: value}
		if err := f.check(); err != nil {
			return nil, "", err
		}
		fields = append(fields, f)
	}
	return fields, octets, nil
}

// finished returns every file of the bag in its one right form: the caller's, and
// those that follow from them.
func (b *Bag) finished() (map[string][]byte, error) {
	info, err := b.finishedInfo()
	if err != nil {
		return nil, err
	}
	files := make(map[string][]byte, len(b.files)+6)
	for name, f := range b.files {
		if !computed(name) {
			files[name] = f.data
		}
	}
	files[infoName] = info
	files[declarationName] = []byte(declaration)
	b.manifests(files)
	return files, nil
}

// finishedInfo returns bag-info.txt with its Payload-Oxum.
func (b *Bag) finishedInfo() ([]byte, error) {
	fields, _, err := parseInfo(b.files[infoName].data)
	if err != nil {
		return nil, err
	}
	var info bytes.Buffer
	for _, f := range fields {
		fmt.Fprintf(&info, "%s: %s\n", f.Label, f.Value)
	}
	var count, total int64
	for name, f := range b.files {
		if strings.HasPrefix(name, payloadPrefix) {
			count++
			total += int64(len(f.data))
		}
	}
	if count == 0 {
		return nil, bagError("", "has no payload")
	}
	fmt.Fprintf(&info, "%s: %d.%d\n", oxum, total, count)
	return info.Bytes(), nil
}

// errNotBag is what a folder or a zip without the declaration is.
var errNotBag = errors.New("is no bag: it has no bagit.txt")
