package evidence

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"

	"github.com/transparency-dev/formats/log"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// ErrCheckpoint says that a text is no checkpoint of the record, or that its
// signature does not hold.
var ErrCheckpoint = errors.New("is not a signed checkpoint of the record")

// longestCheckpoint bounds a checkpoint, in bytes.
const longestCheckpoint = 8 << 10

// Head is a state of a record: how many leaves it had, and the digest over them.
type Head struct {
	Origin string
	Size   int64
	Root   Digest // the Merkle tree hash of [RFC6962] section 2.1
}

// text returns the head as the common checkpoint format has it: origin, size and
// root in base64, one a line [C2SP-tlog-checkpoint].
func (h Head) text() string {
	return string(log.Checkpoint{Origin: h.Origin, Size: uint64(h.Size), Hash: h.Root[:]}.Marshal())
}

// Sign returns the head as a signed note [C2SP-signed-note] with one signature.
func (h Head) Sign(key *PrivateKey) ([]byte, error) {
	if err := checkOrigin(h.Origin); err != nil {
		return nil, err
	}
	verifier, err := key.Public().verifier(h.Origin)
	if err != nil {
		return nil, err
	}
	return note.Sign(&note.Note{Text: h.text()}, noteSigner{verifier, key})
}

// noteSigner lets a key sign a note without its secret leaving it.
type noteSigner struct {
	note.Verifier
	key *PrivateKey
}

// Sign returns the bare signature of message.
func (s noteSigner) Sign(message []byte) ([]byte, error) { return s.key.signPlain(message) }

// verifier returns the key as notes of the origin know it.
func (k PublicKey) verifier(origin string) (note.Verifier, error) {
	text, err := note.NewEd25519VerifierKey(origin, ed25519.PublicKey(k.raw()))
	if err != nil {
		return nil, fmt.Errorf("%.80q cannot name a record: %w", origin, err)
	}
	return note.NewVerifier(text)
}

// VerifierKey returns the key in the form in which tools for signed notes take it:
// "origin+hash+key".
func (k PublicKey) VerifierKey(origin string) (string, error) {
	if err := checkOrigin(origin); err != nil {
		return "", err
	}
	return note.NewEd25519VerifierKey(origin, ed25519.PublicKey(k.raw()))
}

// ParseCheckpoint returns the head that a signed checkpoint states, and which of
// the keys signed it. It takes what [Head.Sign] writes: one signature, by one of the
// keys, and no further lines. Anything else is [ErrCheckpoint].
func ParseCheckpoint(text []byte, keys ...PublicKey) (Head, PublicKey, error) {
	none := func(err error) (Head, PublicKey, error) {
		return Head{}, PublicKey{}, fmt.Errorf("%w: %w", ErrCheckpoint, err)
	}
	if len(text) > longestCheckpoint {
		return none(errors.New("it is too long"))
	}
	var checkpoint log.Checkpoint
	rest, err := checkpoint.Unmarshal(text)
	if err != nil {
		return none(err)
	}
	head := Head{Origin: checkpoint.Origin, Size: int64(checkpoint.Size)}
	switch {
	case len(checkpoint.Hash) != len(head.Root) || head.Size < 0:
		return none(errors.New("its root has another length, or its size is out of reach"))
	case len(rest) == 0 || rest[0] != '\n' || bytes.Count(rest, []byte("\n")) != 2:
		return none(errors.New("it does not have one signature and nothing else"))
	}
	head.Root = Digest(checkpoint.Hash)
	if !bytes.HasPrefix(text, []byte(head.text())) {
		return none(errors.New("it is not written in its one right form"))
	}
	var verifiers []note.Verifier
	for _, k := range keys {
		v, err := k.verifier(head.Origin)
		if err != nil {
			return none(err)
		}
		verifiers = append(verifiers, v)
	}
	opened, err := note.Open(text, note.VerifierList(verifiers...))
	if err != nil {
		return none(err)
	}
	again, err := note.Sign(opened)
	if err == nil { // the last letter of a signature has bits that mean nothing
		_, err = base64.StdEncoding.Strict().DecodeString(opened.Sigs[0].Base64)
	}
	if err != nil || !bytes.Equal(again, text) {
		return none(errors.New("its signature is not written in its one right form"))
	}
	for i, v := range verifiers {
		if v.KeyHash() == opened.Sigs[0].Hash {
			return head, keys[i], nil
		}
	}
	return none(errors.New("it is signed by no known key"))
}

// Includes reports whether the proof shows that leaf stands at index in the record
// with this head. Where it does not, the error is [ErrProof].
func (h Head) Includes(index int64, leaf []byte, proof []Digest) error {
	if index < 0 || index >= h.Size || len(proof) > longestProof(h.Size) {
		return fmt.Errorf("%w: there is no leaf %d in a record of %d", ErrProof, index, h.Size)
	}
	if err := tlog.CheckRecord(hashes(proof), h.Size, tlog.Hash(h.Root), index, tlog.RecordHash(leaf)); err != nil {
		return fmt.Errorf("%w: leaf %d is not shown to be in the record of %d leaves", ErrProof, index, h.Size)
	}
	return nil
}

// Continues reports whether the proof shows that the record with this head begins
// with the record that had the earlier head: nothing was changed, taken out or put in
// between. Where it does not, the error is [ErrProof].
func (h Head) Continues(earlier Head, proof []Digest) error {
	switch {
	case h.Origin != earlier.Origin:
		return fmt.Errorf("%w: the one is of %.80q, the other of %.80q", ErrProof, h.Origin, earlier.Origin)
	case earlier.Size < 1 || earlier.Size > h.Size || len(proof) > longestProof(h.Size):
		return fmt.Errorf("%w: a record of %d leaves does not begin with %d", ErrProof, h.Size, earlier.Size)
	}
	if err := tlog.CheckTree(hashes(proof), h.Size, tlog.Hash(h.Root), earlier.Size, tlog.Hash(earlier.Root)); err != nil {
		return fmt.Errorf("%w: the record of %d leaves is not shown to begin with that of %d", ErrProof, h.Size, earlier.Size)
	}
	return nil
}
