package evidence

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
)

// A seal binds people, times and the record to a set of files. It is one JSON file:
// a statement that lists the files with their digests; signatures of that statement;
// the proof that statement and signatures stand in the record; time stamps; and the
// list of keys with its history, so that nothing has to be fetched to verify it.
//
// A signature is over the statement's JSON without white space between its parts,
// keys in the order in which they stand: `jq -cj .statement seal.json` prints it.

// SealName is the name under which a seal stands in a bag.
const SealName = "seal.json"

// The formats of a seal's parts.
const (
	sealFormat      = "fairpull.seal/1"
	statementFormat = "fairpull.statement/1"
	leafFormat      = "fairpull.leaf/1"
)

// The bounds of a seal.
const (
	longestSeal    = 16 << 20 // bytes
	mostSignatures = 50
	mostStamps     = 20
)

// ErrSeal says that a seal cannot be read or made.
var ErrSeal = errors.New("the seal does not hold")

// Statement is what is signed.
type Statement struct {
	Format    string    `json:"format"`
	Subject   string    `json:"subject"` // what is sealed, as the claim's number
	Title     string    `json:"title"`
	Made      time.Time `json:"made"`       // UTC, whole seconds
	DraftedBy string    `json:"drafted_by"` // may not be the one who signs
	Files     []Entry   `json:"files"`      // sorted by name
}

// NewStatement returns the statement about the files of a bag: all that do not
// follow from the others, the seal itself left out. Texts are one line each, none
// empty.
func NewStatement(b *Bag, subject, title, draftedBy string, made time.Time) (Statement, error) {
	s := Statement{
		Format: statementFormat, Subject: subject, Title: title,
		Made: made.UTC().Truncate(time.Second), DraftedBy: draftedBy,
	}
	s.Files = b.Entries(SealName)
	return s, s.check()
}

// check refuses a statement that says nothing, or says it in more than one way.
func (s Statement) check() error {
	if s.Format != statementFormat {
		return fmt.Errorf("%w: its statement's format is %.40q; this program reads %s", ErrSeal, s.Format, statementFormat)
	}
	for _, text := range []struct{ what, text string }{{"subject", s.Subject}, {"title", s.Title}, {"drafter", s.DraftedBy}} {
		if text.text == "" {
			return fmt.Errorf("%w: its statement has no %s", ErrSeal, text.what)
		}
		if err := oneLine(text.what, text.text, longestText); err != nil {
			return fmt.Errorf("%w: %w", ErrSeal, err)
		}
	}
	if s.Made.IsZero() || s.Made != s.Made.UTC().Truncate(time.Second) {
		return fmt.Errorf("%w: the time of its statement is not UTC in whole seconds", ErrSeal)
	}
	if len(s.Files) == 0 || len(s.Files) > MaxFiles {
		return fmt.Errorf("%w: its statement lists no files, or more than %d", ErrSeal, MaxFiles)
	}
	for i, e := range s.Files {
		if err := checkName(e.Name); err != nil || e.Size < 0 || e.Digest.IsZero() || i > 0 && s.Files[i-1].Name >= e.Name {
			return fmt.Errorf("%w: file %d of its statement is not listed as it must be", ErrSeal, i+1)
		}
	}
	return nil
}

// Bytes returns what a signature is over.
func (s Statement) Bytes() ([]byte, error) { return encode(s) }

// Signature is one person's signature of a statement.
type Signature struct {
	Key  string `json:"key"` // the key's id
	Text string `json:"signature"`
}

// signedWords is the comment that a signature covers.
type signedWords struct {
	By string    `json:"by"`
	As string    `json:"as"` // in which role: "reviewed", "approved"
	At time.Time `json:"at"`
}

// Receipt shows that a leaf stands in the record.
type Receipt struct {
	Index      int64    `json:"index"`
	Inclusion  []Digest `json:"inclusion"`
	Checkpoint string   `json:"checkpoint"` // a signed note
}

// leaf is what goes into the record for a sealed statement.
type leaf struct {
	Format  string `json:"format"`
	Subject string `json:"subject"`
	Signed  Digest `json:"signed"`
}

// Seal is a seal while it is made and after it was read.
type Seal struct {
	Statement  Statement
	Signatures []Signature
	Receipt    *Receipt // nil: not in the record
	Stamps     [][]byte // time stamps in DER
	Keys       *Keyring
}

// sealText is the seal's file.
type sealText struct {
	Format     string      `json:"format"`
	Statement  Statement   `json:"statement"`
	Signatures []Signature `json:"signatures"`
	Receipt    *Receipt    `json:"record,omitempty"`
	Stamps     [][]byte    `json:"time_stamps,omitempty"` // base64 of DER
	Keys       keyringText `json:"keys"`
}

// Sign adds the signature of a key whose owner the list of keys names, in a role
// such as "approved". It refuses a key that the list does not have, that is not for
// approval or not valid at the time, a second signature by one key, and the drafter:
// nobody signs what they drafted themselves.
func (s *Seal) Sign(key *PrivateKey, as string, at time.Time) error {
	at = at.UTC().Truncate(time.Second)
	state, found := s.list().Key(key.Public().ID())
	switch {
	case !found:
		return fmt.Errorf("%w: key %s is not in the list of keys", ErrSeal, key.Public().ID())
	case !state.Revoked.IsZero():
		return fmt.Errorf("%w: key %s was revoked on %s", ErrSeal, state.Key.ID(), state.Revoked.Format(time.RFC3339))
	case s.Receipt != nil || len(s.Stamps) > 0:
		return fmt.Errorf("%w: it is in the record or stamped, so no signature can follow", ErrSeal)
	case len(s.Signatures) >= mostSignatures:
		return fmt.Errorf("%w: it has %d signatures already", ErrSeal, mostSignatures)
	}
	if err := s.mayNotSign(state, as, at); err != nil {
		return fmt.Errorf("%w: %w", ErrSeal, err)
	}
	if slices.ContainsFunc(s.Signatures, func(o Signature) bool { return o.Key == state.Key.ID() }) {
		return fmt.Errorf("%w: key %s has signed it", ErrSeal, state.Key.ID())
	}
	message, err := s.Statement.Bytes()
	if err != nil {
		return err
	}
	words, err := encode(signedWords{By: state.Name, As: as, At: at})
	if err != nil {
		return err
	}
	text, err := key.Sign(message, string(words))
	if err != nil {
		return err
	}
	s.Signatures = append(s.Signatures, Signature{Key: state.Key.ID(), Text: text})
	return nil
}

// list returns the seal's list of keys, which may be empty.
func (s *Seal) list() *Keyring {
	if s.Keys == nil {
		return new(Keyring)
	}
	return s.Keys
}

// mayNotSign says why a key may not sign the statement at a time; nil: it may. A
// revocation is not looked at; see [Seal.Verify].
func (s *Seal) mayNotSign(state KeyState, as string, at time.Time) error {
	switch {
	case as == "" || oneLine("role", as, 40) != nil:
		return errors.New("a signature says in which role it is given")
	case state.Purpose != ForApproval:
		return fmt.Errorf("key %s is for %s and not for approval", state.Key.ID(), state.Purpose)
	case SamePerson(state.Name, s.Statement.DraftedBy):
		return fmt.Errorf("%s drafted it and cannot sign it too", state.Name)
	case at.Before(s.Statement.Made):
		return errors.New("the signature is dated before the statement")
	case at.Before(state.From):
		return fmt.Errorf("key %s was not valid before %s", state.Key.ID(), state.From.Format(time.RFC3339))
	case !state.Until.IsZero() && !at.Before(state.Until):
		return fmt.Errorf("key %s was replaced on %s", state.Key.ID(), state.Until.Format(time.RFC3339))
	}
	return nil
}

// Signed returns the digest that stands for statement and signatures together: what
// the record's leaf names.
func (s *Seal) Signed() (Digest, error) {
	text, err := encode(struct {
		Statement  Statement   `json:"statement"`
		Signatures []Signature `json:"signatures"`
	}{s.Statement, s.Signatures})
	return OfBytes(text), err
}

// Leaf returns the leaf that goes into the record.
func (s *Seal) Leaf() ([]byte, error) {
	signed, err := s.Signed()
	if err != nil {
		return nil, err
	}
	return encode(leaf{Format: leafFormat, Subject: s.Statement.Subject, Signed: signed})
}

// Enter appends the leaf to the record and takes the proof, with a checkpoint signed
// by the record's key. Sign first: nothing can be signed afterwards.
func (s *Seal) Enter(ctx context.Context, record *Record, key *PrivateKey) error {
	if len(s.Signatures) == 0 || s.Receipt != nil {
		return fmt.Errorf("%w: it is not signed yet, or in the record already", ErrSeal)
	}
	text, err := s.Leaf()
	if err != nil {
		return err
	}
	index, err := record.Append(ctx, text)
	if err != nil {
		return err
	}
	return s.Prove(ctx, record, index, key)
}

// Prove takes the proof of the leaf at an index anew, with a checkpoint of the
// record as it stands.
func (s *Seal) Prove(ctx context.Context, record *Record, index int64, key *PrivateKey) error {
	head, err := record.Head(ctx)
	if err != nil {
		return err
	}
	proof, err := record.ProveInclusion(ctx, head.Size, index)
	if err != nil {
		return err
	}
	text, err := s.Leaf()
	if err != nil {
		return err
	}
	if err := head.Includes(index, text, proof); err != nil {
		return err
	}
	checkpoint, err := head.Sign(key)
	if err != nil {
		return err
	}
	s.Receipt = &Receipt{Index: index, Inclusion: proof, Checkpoint: string(checkpoint)}
	return nil
}

// ToStamp returns the digest that a time stamp of this seal is about: that of the
// checkpoint where there is one, which stands for everything before it, else that of
// [Seal.Signed].
func (s *Seal) ToStamp() (Digest, error) {
	if s.Receipt != nil {
		return OfBytes([]byte(s.Receipt.Checkpoint)), nil
	}
	return s.Signed()
}

// Attach adds a time stamp after verifying that it is about this seal.
func (s *Seal) Attach(token []byte) error {
	of, err := s.ToStamp()
	if err != nil {
		return err
	}
	if len(s.Stamps) >= mostStamps {
		return fmt.Errorf("%w: it has %d time stamps already", ErrSeal, mostStamps)
	}
	if _, err := VerifyStamp(token, of, nil); err != nil {
		return err
	}
	s.Stamps = append(s.Stamps, slices.Clone(token))
	return nil
}

// Encode returns the seal as a JSON file. The same seal gives the same bytes.
func (s *Seal) Encode() ([]byte, error) {
	return encodeLines(sealText{
		Format: sealFormat, Statement: s.Statement, Signatures: s.Signatures,
		Receipt: s.Receipt, Stamps: s.Stamps, Keys: s.list().text(),
	})
}

// ParseSeal reads what [Seal.Encode] writes, in its one right form. It verifies the
// list of keys, and nothing else: ask [Seal.Verify].
func ParseSeal(data []byte) (*Seal, error) {
	if len(data) > longestSeal {
		return nil, fmt.Errorf("%w: it is longer than %d bytes", ErrSeal, longestSeal)
	}
	var text sealText
	if err := decode(data, &text, encodeLines); err != nil {
		return nil, fmt.Errorf("%w: it %w", ErrSeal, err)
	}
	if text.Format != sealFormat {
		return nil, fmt.Errorf("%w: its format is %.40q; this program reads %s", ErrSeal, text.Format, sealFormat)
	}
	if len(text.Signatures) > mostSignatures || len(text.Stamps) > mostStamps {
		return nil, fmt.Errorf("%w: it has too many signatures or time stamps", ErrSeal)
	}
	if err := text.Statement.check(); err != nil {
		return nil, err
	}
	keys, err := text.Keys.keyring()
	if err != nil {
		return nil, err
	}
	return &Seal{
		Statement: text.Statement, Signatures: text.Signatures,
		Receipt: text.Receipt, Stamps: text.Stamps, Keys: keys,
	}, nil
}
