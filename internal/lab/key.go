package lab

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/internal/store"
	"fairpull/report"
)

// KeyFile is a private key's file and what opens it.
type KeyFile struct{ Path, Passphrase string }

// KeyPurposes are what a key can be for: a person's approval, the checkpoints of the
// record, the list of keys itself.
var KeyPurposes = []string{string(evidence.ForApproval), string(evidence.ForRecord), string(evidence.ForKeys)}

// NewKey is a key that comes into the lab's list.
type NewKey struct {
	File    KeyFile // where the new private key is written; an empty path: Public is given
	Public  string  // the public key of somebody who made the private one elsewhere
	Name    string  // the person, or the record as in lab.example/record
	Purpose string  // one of KeyPurposes
	Keeper  KeyFile // who signs the list; not asked for where the list begins
}

// ErrNoKeys says that the workspace has no list of keys.
var ErrNoKeys = errors.New("the workspace has no list of keys.\n  It begins with the keeper's: fairpull key new keeper.key --for keys --name \"A. Name\"")

// keyring returns the list of keys, as it stands and as it is kept.
func (w *Workspace) keyring(ctx context.Context) (*evidence.Keyring, []byte, error) {
	text, err := w.store.LabText(ctx, store.KeysText)
	if errors.Is(err, store.ErrNotFound) {
		return nil, nil, ErrNoKeys
	}
	if err != nil {
		return nil, nil, err
	}
	ring, err := evidence.ParseKeyring(text)
	return ring, text, err
}

// AddKey makes a key, or takes a public one that was made elsewhere, and puts it
// into the list of keys. The first key of a list is the keeper's, which signs what
// comes after. It returns the new key's entry.
func (w *Workspace) AddKey(ctx context.Context, k NewKey, by Author) (report.Key, error) {
	if !slices.Contains(KeyPurposes, k.Purpose) {
		return report.Key{}, declined("a key is for %s, and %.40q is none of them", strings.Join(KeyPurposes, ", "), k.Purpose)
	}
	ring, was, err := w.keyring(ctx)
	first := errors.Is(err, ErrNoKeys)
	switch {
	case first && (k.Purpose != string(evidence.ForKeys) || k.File.Path == ""):
		return report.Key{}, ErrNoKeys
	case err != nil && !first:
		return report.Key{}, err
	}
	if err := oneRecord(ring, k); err != nil {
		return report.Key{}, err
	}
	var keep *evidence.PrivateKey
	if !first {
		if keep, err = openKey(k.Keeper); err != nil {
			return report.Key{}, err
		}
	}
	made, public, err := w.makeKey(k.File, k.Public)
	if err != nil {
		return report.Key{}, err
	}
	now := time.Now()
	if first {
		ring, err = evidence.NewKeyring(now, k.Name, made)
	} else {
		err = ring.Add(now, k.Name, evidence.Purpose(k.Purpose), public, keep)
	}
	if err == nil {
		err = w.saveNew(ctx, k.File, made, ring, was, by)
	}
	return keyOf(ring, public), err
}

// oneRecord refuses a second record: a lab has one, and its name never changes.
func oneRecord(ring *evidence.Keyring, k NewKey) error {
	if k.Purpose != string(evidence.ForRecord) {
		return nil
	}
	if _, err := evidence.OpenRecord(k.Name, evidence.NewMemoryRecord()); err != nil {
		return declined("the key of a record carries the record's name, as in lab.example/record: %w", err)
	}
	for _, s := range ring.Keys() {
		if s.Purpose == evidence.ForRecord && s.Name != k.Name {
			return declined("the lab's record is %s, and a lab has one record", s.Name)
		}
	}
	return nil
}

// makeKey returns a fresh key for a file, or else the public one that is given.
func (w *Workspace) makeKey(file KeyFile, public string) (*evidence.PrivateKey, evidence.PublicKey, error) {
	if file.Path == "" {
		key, err := evidence.ParsePublicKey(public)
		return nil, key, err
	}
	if err := w.outside(file.Path); err != nil {
		return nil, evidence.PublicKey{}, err
	}
	key, err := evidence.NewKey()
	if err != nil {
		return nil, evidence.PublicKey{}, err
	}
	return key, key.Public(), nil
}

// outside refuses a place within the workspace, which others read and back up.
func (w *Workspace) outside(path string) error {
	if strings.Contains(w.place, "://") {
		return nil // a database has no folder
	}
	key, errKey := withoutLinks(path)
	lab, errLab := withoutLinks(w.place)
	if err := errors.Join(errKey, errLab); err != nil {
		return err
	}
	if within, err := filepath.Rel(lab, key); err == nil && filepath.IsLocal(within) {
		return declined("%s lies within the workspace; a private key belongs to a place that is its owner's alone", path)
	}
	return nil
}

// withoutLinks returns where a path leads, whether or not all of it is there yet.
func withoutLinks(path string) (string, error) {
	whole, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	rest := ""
	for there := whole; ; there = filepath.Dir(there) {
		real, err := filepath.EvalSymlinks(there)
		if err == nil {
			return filepath.Join(real, rest), nil
		}
		if !errors.Is(err, fs.ErrNotExist) || filepath.Dir(there) == there {
			return "", err
		}
		rest = filepath.Join(filepath.Base(there), rest)
	}
}

// saveNew writes a new private key to its file and then the list. A list that could
// not be kept leaves a key file that belongs to nothing, and says so.
func (w *Workspace) saveNew(ctx context.Context, file KeyFile, key *evidence.PrivateKey, ring *evidence.Keyring, was []byte, by Author) error {
	if key != nil {
		if err := key.Save(file.Path, file.Passphrase); err != nil {
			return err
		}
	}
	err := w.saveKeys(ctx, ring, was, by)
	if err != nil && key != nil {
		return fmt.Errorf("%w.\n  The key in %s is not in the list: remove the file and do it again", err, file.Path)
	}
	return err
}

func (w *Workspace) saveKeys(ctx context.Context, ring *evidence.Keyring, was []byte, by Author) error {
	text, err := ring.Encode()
	if err != nil {
		return err
	}
	_, err = w.store.SetLabText(ctx, store.KeysText, was, text, by)
	return err
}

// openKey opens a private key; what goes wrong names its file.
func openKey(file KeyFile) (*evidence.PrivateKey, error) {
	if file.Path == "" {
		return nil, declined("no key file is named")
	}
	return evidence.OpenKey(file.Path, file.Passphrase)
}

// RotateKey puts a new key in the place of the one with an id, for by.Why. A key of
// the keeper is rotated by itself.
func (w *Workspace) RotateKey(ctx context.Context, id string, k NewKey, by Author) (report.Key, error) {
	ring, was, err := w.keyring(ctx)
	if err != nil {
		return report.Key{}, err
	}
	keep, err := openKey(k.Keeper)
	if err != nil {
		return report.Key{}, err
	}
	made, public, err := w.makeKey(k.File, k.Public)
	if err != nil {
		return report.Key{}, err
	}
	if err := ring.Rotate(time.Now(), strings.ToUpper(id), public, by.Why, keep); err != nil {
		return report.Key{}, err
	}
	return keyOf(ring, public), w.saveNew(ctx, k.File, made, ring, was, by)
}

// RevokeKey ends the key with an id, for by.Why. Compromised says that somebody else
// may have had it: then only what a trusted time stamp proves to be older holds.
func (w *Workspace) RevokeKey(ctx context.Context, id string, compromised bool, keeper KeyFile, by Author) (report.Key, error) {
	ring, was, err := w.keyring(ctx)
	if err != nil {
		return report.Key{}, err
	}
	if by.Why == "" {
		return report.Key{}, declined("a key is revoked for a reason")
	}
	keep, err := openKey(keeper)
	if err != nil {
		return report.Key{}, err
	}
	id = strings.ToUpper(id)
	if err := ring.Revoke(time.Now(), id, by.Why, compromised, keep); err != nil {
		return report.Key{}, err
	}
	state, _ := ring.Key(id)
	return keyOf(ring, state.Key), w.saveKeys(ctx, ring, was, by)
}

// SignedWith returns the numbers of the claims, signed or published, that have a
// signature of the key with an id.
func (w *Workspace) SignedWith(ctx context.Context, id string) ([]string, error) {
	claims, err := w.store.Claims(ctx)
	if err != nil {
		return nil, err
	}
	var numbers []string
	for _, one := range claims {
		if s := one.State(); s != campaign.ClaimSigned && s != campaign.ClaimPublished {
			continue
		}
		kept, err := w.store.Claim(ctx, one.Number)
		if err != nil {
			return nil, err
		}
		seal, err := evidence.ParseSeal(kept.Seal)
		if err != nil {
			return nil, fmt.Errorf("claim %s: %w", one.Number, err)
		}
		if slices.ContainsFunc(seal.Signatures, func(s evidence.Signature) bool { return strings.EqualFold(s.Key, id) }) {
			numbers = append(numbers, one.Number)
		}
	}
	slices.Sort(numbers)
	return numbers, nil
}

// ChangePassphrase locks the key in a file with another passphrase.
func ChangePassphrase(file KeyFile, next string) error {
	return evidence.ChangePassphrase(file.Path, file.Passphrase, next)
}

// Keys returns the list of keys.
func (w *Workspace) Keys(ctx context.Context) (*report.Keys, error) {
	ring, text, err := w.keyring(ctx)
	if err != nil {
		return nil, err
	}
	view := &report.Keys{Founder: ring.Founder().String(), File: text}
	for _, s := range ring.Keys() {
		view.Rows = append(view.Rows, keyOf(ring, s.Key))
	}
	return view, nil
}

func keyOf(ring *evidence.Keyring, key evidence.PublicKey) report.Key {
	s, _ := ring.Key(key.ID())
	return report.Key{
		ID: s.Key.ID(), Name: s.Name, Purpose: string(s.Purpose), Public: s.Key.String(), Fingerprint: s.Key.Fingerprint().String(),
		From: s.From, Until: s.Until, Successor: s.Successor, Revoked: s.Revoked, Compromised: s.Compromised, Reason: s.Reason,
	}
}

// recordName returns the name of the lab's record; empty: it has none.
func recordName(ring *evidence.Keyring) string {
	for _, s := range ring.Keys() {
		if s.Purpose == evidence.ForRecord {
			return s.Name
		}
	}
	return ""
}
