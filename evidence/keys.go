package evidence

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"

	"aead.dev/minisign"
	"golang.org/x/crypto/blake2b"
)

// Signatures are Ed25519 [RFC8032] in the text form of minisign, so that a
// stranger can verify them with a tool that is not ours: the message is hashed
// with BLAKE2b-512 first, and a comment is signed with the signature.

// Errors of keys and signatures.
var (
	// ErrPublicKey says that a text is no public key.
	ErrPublicKey = errors.New("is not a public key: write the 56 characters of the key file's second line")
	// ErrSignature says that a text is no signature, or not that of these bytes by
	// this key.
	ErrSignature = errors.New("the signature does not hold")
	// ErrSecret says that somebody tried to write a private key out.
	ErrSecret = errors.New("a private key is written to its own encrypted file and nowhere else")
)

// longestComment bounds the comment of a signature, in bytes.
const longestComment = 1024

// PublicKey verifies what its private key signed. The zero PublicKey is no key
// and verifies nothing.
type PublicKey struct {
	text string // 56 characters of base64: "Ed", the id, the key
}

// ParsePublicKey returns the key that a text names: 56 characters, as
// [PublicKey.String] writes them. Every other text is [ErrPublicKey], also one
// whose id is not the one that belongs to the key.
func ParsePublicKey(text string) (PublicKey, error) {
	var parsed minisign.PublicKey
	if len(text) != 56 || parsed.UnmarshalText([]byte(text)) != nil || parsed.String() != text {
		return PublicKey{}, fmt.Errorf("%.80q %w", text, ErrPublicKey)
	}
	key := PublicKey{text: text}
	sum := blake2b.Sum256(key.raw())
	if binary.LittleEndian.Uint64(sum[:8]) != parsed.ID() {
		return PublicKey{}, fmt.Errorf("%.80q %w (its id is not the key's own)", text, ErrPublicKey)
	}
	return key, nil
}

// String returns the key as 56 characters of base64, the second line of a
// minisign public key file.
func (k PublicKey) String() string { return k.text }

// ID returns the key's short name, sixteen digits 0 to 9, A to F: the first eight
// bytes of the BLAKE2b-256 of the key. It tells keys apart and proves nothing;
// what is compared by hand is the [PublicKey.Fingerprint].
func (k PublicKey) ID() string {
	if k.IsZero() {
		return ""
	}
	return fmt.Sprintf("%016X", k.minisign().ID())
}

// Fingerprint returns the SHA-256 of the 32 bytes of the Ed25519 key.
func (k PublicKey) Fingerprint() Digest { return OfBytes(k.raw()) }

// IsZero reports whether k is no key.
func (k PublicKey) IsZero() bool { return k.text == "" }

// MarshalText returns the text of [PublicKey.String].
func (k PublicKey) MarshalText() ([]byte, error) { return []byte(k.text), nil }

// UnmarshalText is [ParsePublicKey].
func (k *PublicKey) UnmarshalText(text []byte) error {
	parsed, err := ParsePublicKey(string(text))
	if err == nil {
		*k = parsed
	}
	return err
}

// raw returns the 32 bytes of the Ed25519 key.
func (k PublicKey) raw() ed25519.PublicKey {
	all, err := base64.StdEncoding.DecodeString(k.text)
	if err != nil || len(all) != 10+ed25519.PublicKeySize {
		return nil
	}
	return all[10:]
}

// minisign returns the key as the library holds it. k is not zero.
func (k PublicKey) minisign() minisign.PublicKey {
	var key minisign.PublicKey
	if err := key.UnmarshalText([]byte(k.text)); err != nil {
		panic(err) // a PublicKey is only made from a text that was parsed
	}
	return key
}

// Verify returns the signed comment of signature, which is a minisign signature
// of message by this key in its one right form. Anything else is [ErrSignature].
func (k PublicKey) Verify(message []byte, signature string) (comment string, err error) {
	var s minisign.Signature
	if k.IsZero() || len(signature) > longestComment+1024 {
		return "", ErrSignature
	}
	if err := s.UnmarshalText([]byte(signature)); err != nil {
		return "", fmt.Errorf("%w: it cannot be read", ErrSignature)
	}
	key := k.minisign()
	if s.KeyID != key.ID() {
		return "", fmt.Errorf("%w: it is by key %016X", ErrSignature, s.KeyID)
	}
	// The first comment is signed by nobody, so only one text is let through.
	if s.UntrustedComment != untrusted(k) || s.Algorithm != minisign.HashEdDSA || s.String() != signature {
		return "", fmt.Errorf("%w: it is not written as this program writes it", ErrSignature)
	}
	reader := hashed(message)
	if !reader.Verify(key, []byte(signature)) {
		return "", ErrSignature
	}
	if err := oneLine("comment of a signature", s.TrustedComment, longestComment); err != nil {
		return "", fmt.Errorf("%w: %w", ErrSignature, err)
	}
	return s.TrustedComment, nil
}

// hashed returns a reader that has hashed the message.
func hashed(message []byte) *minisign.Reader {
	reader := minisign.NewReader(bytes.NewReader(message))
	if _, err := io.Copy(io.Discard, reader); err != nil {
		panic(err) // bytes in memory do not fail
	}
	return reader
}

// untrusted returns the first line's comment, which a signature does not cover.
func untrusted(k PublicKey) string { return "signature by key " + k.ID() }

// PrivateKey signs. It holds its secret where neither printing, nor JSON, XML,
// gob or reflection reaches: the only way out is [PrivateKey.Save].
type PrivateKey struct {
	public PublicKey
	secret func() minisign.PrivateKey
}

// NewKey makes a key of fresh randomness from the operating system.
func NewKey() (*PrivateKey, error) {
	public, private, err := minisign.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	return hold(public, private)
}

// hold returns the key with its secret out of reach.
func hold(public minisign.PublicKey, private minisign.PrivateKey) (*PrivateKey, error) {
	key, err := ParsePublicKey(public.String())
	if err != nil {
		return nil, err
	}
	return &PrivateKey{public: key, secret: func() minisign.PrivateKey { return private }}, nil
}

// Public returns the key that verifies.
func (k *PrivateKey) Public() PublicKey { return k.public }

// Sign returns the signature of message in minisign's text form. The comment is
// signed with it: one line of valid UTF-8 of at most 1,024 bytes, without control
// characters. The same message, comment and key give the same bytes.
func (k *PrivateKey) Sign(message []byte, comment string) (string, error) {
	if err := oneLine("comment of a signature", comment, longestComment); err != nil {
		return "", err
	}
	return string(hashed(message).SignWithComments(k.secret(), comment, untrusted(k.public))), nil
}

// signPlain returns the bare 64 bytes of the Ed25519 signature of message, as a
// signed note wants them. A hashed message has 64 bytes that nobody can choose,
// so no note is ever also the hash of a message.
func (k *PrivateKey) signPlain(message []byte) ([]byte, error) {
	var s minisign.Signature
	if err := s.UnmarshalText(minisign.SignWithComments(k.secret(), message, "", untrusted(k.public))); err != nil {
		return nil, err
	}
	return s.Signature[:], nil
}

// Format writes the key's id whatever is asked for, never the secret.
func (k *PrivateKey) Format(state fmt.State, _ rune) {
	fmt.Fprintf(state, "private key %s (not shown)", k.public.ID())
}

// MarshalText returns [ErrSecret].
func (k *PrivateKey) MarshalText() ([]byte, error) { return nil, ErrSecret }

// MarshalJSON returns [ErrSecret].
func (k *PrivateKey) MarshalJSON() ([]byte, error) { return nil, ErrSecret }

// MarshalBinary returns [ErrSecret].
func (k *PrivateKey) MarshalBinary() ([]byte, error) { return nil, ErrSecret }

// SecretIn names what kind of private key data holds, or returns the empty text.
// It knows key files of this program, minisign's, the log's signing keys and PEM
// blocks. Backups and dossiers are held against it.
func SecretIn(data []byte) string {
	head := data[:min(len(data), 256)]
	switch {
	case bytes.HasPrefix(head, []byte(ageHeader)), bytes.HasPrefix(head, []byte("-----BEGIN AGE ENCRYPTED FILE-----")):
		return "an encrypted key file"
	case bytes.HasPrefix(head, []byte("untrusted comment:")) && bytes.Contains(bytes.SplitN(head, []byte("\n"), 2)[0], []byte("secret key")):
		return "a minisign secret key"
	case bytes.Contains(data, []byte("PRIVATE+KEY+")):
		return "the signing key of a record"
	case bytes.Contains(data, []byte("PRIVATE KEY-----")):
		return "a private key in PEM form"
	}
	return ""
}

// oneLine refuses a text that is not one line of readable UTF-8 of at most most
// bytes.
func oneLine(what, text string, most int) error {
	switch {
	case len(text) > most:
		return fmt.Errorf("the %s has %d bytes: at most %d", what, len(text), most)
	case strings.ToValidUTF8(text, "") != text:
		return fmt.Errorf("the %s is not valid UTF-8", what)
	case strings.ContainsFunc(text, unprintable) || strings.ContainsFunc(text, unseen):
		return fmt.Errorf("the %s has a line break, a control character or one that is not seen in it", what)
	}
	return nil
}

// unseen reports characters that show nothing and can make two texts look alike, or turn
// round how one is read. Joiners, which some scripts need, are none.
func unseen(r rune) bool {
	return unicode.Is(unicode.Cf, r) && r != '\u200c' && r != '\u200d'
}

// unprintable reports control characters and the two separators that count as
// line ends in some readers.
func unprintable(r rune) bool {
	return r < 0x20 || r >= 0x7f && r < 0xa0 || r == '\u2028' || r == '\u2029'
}
