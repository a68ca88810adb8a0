// Package evidence gives bytes a name that nobody can forge. It knows bytes,
// not engines.
package evidence

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"strings"
)

// Digest is the SHA-256 of some bytes: two contents with one digest are the
// same content. The zero Digest is that of no content and stands for "none".
//
// Source: [FIPS180-4].
type Digest [sha256.Size]byte

// prefix names the algorithm in the text form, so that another can follow it.
const prefix = "sha256:"

// ErrDigest says that a text is not a digest.
var ErrDigest = errors.New("is not a digest: write sha256: and 64 digits 0 to 9, a to f")

// OfBytes returns the digest of data.
func OfBytes(data []byte) Digest { return sha256.Sum256(data) }

// Hash takes the digest of what is written to it. Make one with [NewHash].
type Hash struct {
	hash.Hash
}

// NewHash returns a Hash to which nothing was written yet.
func NewHash() Hash { return Hash{sha256.New()} }

// Digest returns the digest of what was written so far.
func (h Hash) Digest() Digest { return Digest(h.Sum(nil)) }

// Of returns the digest of everything that r gives, and the number of bytes
// read. Where reading ends early it returns the reader's error and no digest.
func Of(r io.Reader) (Digest, int64, error) {
	h := NewHash()
	n, err := io.Copy(h, r)
	if err != nil {
		return Digest{}, n, err
	}
	return h.Digest(), n, nil
}

// Parse returns the digest that a text names, as [Digest.String] writes it. A
// text of any other form is [ErrDigest].
func Parse(text string) (Digest, error) {
	digits, found := strings.CutPrefix(text, prefix)
	if !found {
		return Digest{}, fmt.Errorf("%.80q %w", text, ErrDigest)
	}
	return ParseHex(digits)
}

// ParseHex returns the digest of 64 digits 0 to 9, a to f, as [Digest.Hex]
// writes them; capitals and any other length are [ErrDigest].
func ParseHex(digits string) (Digest, error) {
	var d Digest
	if len(digits) != hex.EncodedLen(len(d)) || strings.ToLower(digits) != digits {
		return Digest{}, fmt.Errorf("%.80q %w", digits, ErrDigest)
	}
	if _, err := hex.Decode(d[:], []byte(digits)); err != nil {
		return Digest{}, fmt.Errorf("%.80q %w", digits, ErrDigest)
	}
	return d, nil
}

// String returns the text form, "sha256:" and 64 digits.
func (d Digest) String() string { return prefix + d.Hex() }

// Hex returns the 64 digits alone, as in the name of a file.
func (d Digest) Hex() string { return hex.EncodeToString(d[:]) }

// IsZero reports whether d stands for no content.
func (d Digest) IsZero() bool { return d == Digest{} }

// MarshalText returns the text form of [Digest.String]; of the zero Digest, the
// empty text.
func (d Digest) MarshalText() ([]byte, error) {
	if d.IsZero() {
		return nil, nil
	}
	return []byte(d.String()), nil
}

// UnmarshalText is [Parse]; the empty text is the zero Digest.
func (d *Digest) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Digest{}
		return nil
	}
	parsed, err := Parse(string(text))
	if err == nil {
		*d = parsed
	}
	return err
}
