package evidence

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"strings"
)

// A dossier travels as one zip file that has one right form: the files below one
// folder, sorted by name, stored as they are, with one fixed date and mode, no
// extra fields, no comments, nothing between or after. So the same bag makes the
// same bytes with any version of any program, nothing can be hidden between the
// parts, and nothing inflates: a file has the size that it takes up.
//
// The layout is that of the .ZIP File Format Specification (PKWARE APPNOTE),
// sections 4.3.7 (local header), 4.3.12 (central directory) and 4.3.16 (end).

const (
	localSign   = 0x04034b50
	centralSign = 0x02014b50
	endSign     = 0x06054b50

	localSize   = 30
	centralSize = 46
	endSize     = 22

	zipNeeds  = 20        // 2.0, plain files in folders
	zipMadeBy = 3<<8 | 20 // Unix, so that the mode counts
	zipUTF8   = 1 << 11
	zipDate   = 1<<5 | 1               // 1 January 1980, midnight
	zipMode   = uint32(0o100644) << 16 // a plain file, read by all
)

// Zip returns the bag as one zip file. The same content gives the same bytes.
func (b *Bag) Zip() ([]byte, error) {
	files, err := b.finished()
	if err != nil {
		return nil, err
	}
	names := sortedNames(files)
	size := endSize
	for _, name := range names {
		size += localSize + centralSize + 2*(len(b.name)+1+len(name)) + len(files[name])
	}
	out := make([]byte, 0, size)
	var entries []zipEntry
	for _, name := range names {
		e := zipEntry{
			name: b.name + "/" + name, offset: uint32(len(out)),
			size: uint32(len(files[name])), crc: crc32.ChecksumIEEE(files[name]),
		}
		entries = append(entries, e)
		out = append(e.local(out), files[name]...)
	}
	return zipEnd(out, entries), nil
}

// zipEntry is one file as the headers of a zip see it.
type zipEntry struct {
	name              string
	size, crc, offset uint32
}

// common appends the fields that both headers share, from the version on.
func (e zipEntry) common(out []byte) []byte {
	le := binary.LittleEndian
	out = le.AppendUint16(out, zipNeeds)
	out = le.AppendUint16(out, zipUTF8)
	out = le.AppendUint16(out, 0) // stored
	out = le.AppendUint16(out, 0) // time
	out = le.AppendUint16(out, zipDate)
	out = le.AppendUint32(out, e.crc)
	out = le.AppendUint32(out, e.size) // compressed
	out = le.AppendUint32(out, e.size)
	out = le.AppendUint16(out, uint16(len(e.name)))
	return le.AppendUint16(out, 0) // no extra field
}

// local appends the header before the file's bytes.
func (e zipEntry) local(out []byte) []byte {
	out = binary.LittleEndian.AppendUint32(out, localSign)
	return append(e.common(out), e.name...)
}

// central appends the file's entry in the directory at the end.
func (e zipEntry) central(out []byte) []byte {
	le := binary.LittleEndian
	out = le.AppendUint32(out, centralSign)
	out = le.AppendUint16(out, zipMadeBy)
	out = e.common(out)
	out = le.AppendUint16(out, 0) // no comment
	out = le.AppendUint16(out, 0) // first disk
	out = le.AppendUint16(out, 0) // internal attributes
	out = le.AppendUint32(out, zipMode)
	out = le.AppendUint32(out, e.offset)
	return append(out, e.name...)
}

// zipEnd appends the directory and the end of a zip whose files fill out.
func zipEnd(out []byte, entries []zipEntry) []byte {
	le := binary.LittleEndian
	start := len(out)
	for _, e := range entries {
		out = e.central(out)
	}
	size := len(out) - start
	out = le.AppendUint32(out, endSign)
	out = le.AppendUint32(out, 0) // disks
	out = le.AppendUint16(out, uint16(len(entries)))
	out = le.AppendUint16(out, uint16(len(entries)))
	out = le.AppendUint32(out, uint32(size))
	out = le.AppendUint32(out, uint32(start))
	return le.AppendUint16(out, 0) // no comment
}

// ReadZip reads a bag from a zip in the form that [Bag.Zip] writes. Every other zip
// is a *[BagError], also one that another program packed from the same files: the
// message then says to unpack it and to verify the folder. Data is kept.
//
// It looks at the build alone and never allocates more than a small multiple of
// len(data); what the manifests say of the content is asked with [Bag.Check].
func ReadZip(data []byte) (*Bag, error) {
	if int64(len(data)) > MaxBytes+MaxFiles*int64(localSize+centralSize+2*longestName)+endSize {
		return nil, bagError("", "is larger than a dossier can be")
	}
	b := &Bag{files: map[string]*bagFile{}, names: map[string]string{}}
	var entries []zipEntry
	at := 0
	for sign(data[at:]) == localSign {
		e, content, err := readEntry(data, at)
		if err != nil {
			return nil, err
		}
		base, name, found := strings.Cut(e.name, "/")
		if len(entries) == 0 {
			b.name = base
			if err := checkBase(base); err != nil {
				return nil, err
			}
		}
		switch {
		case !found || base != b.name:
			return nil, bagError(e.name, "stands outside the folder %.100q", b.name)
		case len(entries) > 0 && entries[len(entries)-1].name >= e.name:
			return nil, bagError(e.name, "stands out of order, or twice")
		}
		if err := b.put(name, content); err != nil {
			return nil, err
		}
		entries = append(entries, e)
		at += localSize + len(e.name) + len(content)
	}
	if len(entries) == 0 {
		return nil, bagError("", "is not a zip file of this program's form")
	}
	tail := zipEnd(nil, entries)
	binary.LittleEndian.PutUint32(tail[len(tail)-6:], uint32(at)) // where the directory starts
	if rest := data[at:]; !bytes.Equal(rest, tail) {
		return nil, bagError("", "has a directory that does not describe its files (it differs from byte %d of %d on)", at+differsAt(rest, tail), len(data))
	}
	return b, b.needs()
}

// sign returns the four bytes that say what follows; 0 at the end of data.
func sign(data []byte) uint32 {
	if len(data) < 4 {
		return 0
	}
	return binary.LittleEndian.Uint32(data)
}

// readEntry reads the file that starts at a place.
func readEntry(data []byte, at int) (zipEntry, []byte, error) {
	head := data[at:]
	if len(head) < localSize {
		return zipEntry{}, nil, bagError("", "is cut off in the header of a file (byte %d)", at)
	}
	le := binary.LittleEndian
	e := zipEntry{offset: uint32(at), crc: le.Uint32(head[14:]), size: le.Uint32(head[22:])}
	nameSize := int(le.Uint16(head[26:]))
	if nameSize > longestName || localSize+nameSize > len(head) {
		return zipEntry{}, nil, bagError("", "has a file name that is too long (byte %d)", at)
	}
	e.name = string(head[localSize : localSize+nameSize])
	if !bytes.Equal(head[:localSize+nameSize], e.local(nil)) {
		return zipEntry{}, nil, bagError(e.name, "has a header that this program does not write (%s)", headerFault(head))
	}
	rest := head[localSize+nameSize:]
	if int64(e.size) > int64(len(rest)) {
		return zipEntry{}, nil, bagError(e.name, "is cut off: %d bytes are announced and %d are there", e.size, len(rest))
	}
	content := rest[:e.size]
	if sum := crc32.ChecksumIEEE(content); sum != e.crc {
		return zipEntry{}, nil, bagError(e.name, "was changed or damaged: its check sum is %08x and %08x is announced", sum, e.crc)
	}
	return e, content, nil
}

// headerFault names what is unusual in a local header.
func headerFault(head []byte) string {
	le := binary.LittleEndian
	switch {
	case le.Uint16(head[8:]) != 0:
		return "it is compressed, so another program packed it: unpack it and verify the folder"
	case le.Uint16(head[6:])&1 != 0:
		return "it is encrypted"
	case le.Uint16(head[6:])&8 != 0 || le.Uint16(head[28:]) != 0 || le.Uint16(head[10:]) != 0 || le.Uint16(head[12:]) != zipDate:
		return "another program packed it: unpack it and verify the folder"
	case le.Uint32(head[18:]) != le.Uint32(head[22:]):
		return fmt.Sprintf("it announces %d bytes that take up %d", le.Uint32(head[22:]), le.Uint32(head[18:]))
	}
	return "it may have been changed"
}

// needs refuses what was read and is no bag.
func (b *Bag) needs() error {
	if _, there := b.files[declarationName]; !there {
		return bagError("", "%v", errNotBag)
	}
	if _, there := b.files[infoName]; !there {
		return bagError(infoName, "is missing")
	}
	return nil
}

// WriteZip writes what [Bag.Zip] returns.
func (b *Bag) WriteZip(w io.Writer) error {
	data, err := b.Zip()
	if err != nil {
		return err
	}
	if _, err := w.Write(data); err != nil {
		return fmt.Errorf("write the dossier: %w", err)
	}
	return nil
}
