package evidence

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"unicode/utf8"

	"aead.dev/minisign"
	"filippo.io/age"
)

// A key file is an age file (age-encryption.org/v1) locked with a passphrase
// through scrypt; in it stands a minisign secret key. Both are open formats, so a
// lab can take its keys elsewhere.

// Errors of key files.
var (
	// ErrPassphrase says that a passphrase does not open the file.
	ErrPassphrase = errors.New("the passphrase does not open this key")
	// ErrShortPassphrase says that a passphrase has fewer than [ShortestPassphrase]
	// characters.
	ErrShortPassphrase = fmt.Errorf("the passphrase is too short: at least %d characters", ShortestPassphrase)
	// ErrKeyFile says that a file is no key file.
	ErrKeyFile = errors.New("is not a key file")
	// ErrKeyOpen says that others than the owner may read a key file.
	ErrKeyOpen = errors.New("others may read this key file")
)

// ShortestPassphrase is the least length of a passphrase, in characters.
const ShortestPassphrase = 10

// The work that scrypt does: 2^17 makes a guess cost 128 MiB and about half a
// second. A file that asks for more than 2^20 is refused, since it could stall
// whoever opens it.
const (
	mostWork       = 20
	longestKeyFile = 16 << 10 // bytes
	ageHeader      = "age-encryption.org/v1\n"
)

// work is the exponent that new files get; tests lower it.
var work = 17

// Save writes the key to a new file, locked with the passphrase. The file is the
// owner's alone (mode 0600), and so is its directory (0700), which is made where it
// is not there; a directory that others may write to is refused. An existing file
// is never overwritten.
func (k *PrivateKey) Save(path, passphrase string) error {
	locked, err := k.lock(passphrase)
	if err != nil {
		return err
	}
	directory := filepath.Dir(path)
	if err := os.MkdirAll(directory, 0o700); err != nil {
		return fmt.Errorf("make the directory of the key: %w", err)
	}
	info, err := os.Stat(directory)
	if err != nil {
		return fmt.Errorf("look at the directory of the key: %w", err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o022 != 0 {
		return fmt.Errorf("others may write to %s: take the right away (chmod 700) or choose another place", directory)
	}
	return writeNew(path, locked)
}

// lock returns the content of the key's file.
func (k *PrivateKey) lock(passphrase string) ([]byte, error) {
	if utf8.RuneCountInString(passphrase) < ShortestPassphrase {
		return nil, ErrShortPassphrase
	}
	recipient, err := age.NewScryptRecipient(passphrase)
	if err != nil {
		return nil, fmt.Errorf("lock the key: %w", err)
	}
	recipient.SetWorkFactor(work)
	text, err := k.secret().MarshalText()
	if err != nil {
		return nil, fmt.Errorf("lock the key: %w", err)
	}
	defer clear(text)
	var locked bytes.Buffer
	w, err := age.Encrypt(&locked, recipient)
	if err != nil {
		return nil, fmt.Errorf("lock the key: %w", err)
	}
	if _, err := w.Write(text); err != nil {
		return nil, fmt.Errorf("lock the key: %w", err)
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("lock the key: %w", err)
	}
	return locked.Bytes(), nil
}

// writeNew writes a file of mode 0600 that is not there yet and synchronises it.
func writeNew(path string, data []byte) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already: a key is never overwritten", path)
	}
	if err != nil {
		return fmt.Errorf("write the key: %w", err)
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			os.Remove(path) // a key file by half helps nobody
		}
	}()
	if _, err := f.Write(data); err != nil {
		return fmt.Errorf("write the key: %w", err)
	}
	return f.Sync()
}

// OpenKey reads the key in the file. A file that others than its owner may read is
// [ErrKeyOpen], a wrong passphrase [ErrPassphrase], anything that is no key file
// [ErrKeyFile].
func OpenKey(path, passphrase string) (*PrivateKey, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open the key: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("open the key: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > longestKeyFile {
		return nil, fmt.Errorf("%s %w", path, ErrKeyFile)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("%w: run chmod 600 %s, and think about whether it has been copied", ErrKeyOpen, path)
	}
	locked, err := io.ReadAll(io.LimitReader(f, longestKeyFile+1))
	if err != nil {
		return nil, fmt.Errorf("open the key: %w", err)
	}
	key, err := unlock(locked, passphrase)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return key, nil
}

// unlock returns the key in the content of a key file.
func unlock(locked []byte, passphrase string) (*PrivateKey, error) {
	if passphrase == "" {
		return nil, ErrPassphrase
	}
	if len(locked) > longestKeyFile || !bytes.HasPrefix(locked, []byte(ageHeader)) {
		return nil, ErrKeyFile
	}
	identity, err := age.NewScryptIdentity(passphrase)
	if err != nil {
		return nil, fmt.Errorf("unlock the key: %w", err)
	}
	identity.SetMaxWorkFactor(mostWork)
	r, err := age.Decrypt(bytes.NewReader(locked), identity)
	var wrong *age.NoIdentityMatchError
	switch {
	case errors.As(err, &wrong):
		return nil, ErrPassphrase
	case err != nil:
		return nil, fmt.Errorf("%w (%v)", ErrKeyFile, err)
	}
	text, err := io.ReadAll(io.LimitReader(r, longestKeyFile))
	defer clear(text)
	if err != nil {
		return nil, fmt.Errorf("%w (%v)", ErrKeyFile, err)
	}
	var private minisign.PrivateKey
	if err := private.UnmarshalText(text); err != nil {
		return nil, fmt.Errorf("%w (its content is no key)", ErrKeyFile)
	}
	public, ok := private.Public().(minisign.PublicKey)
	if !ok {
		return nil, ErrKeyFile
	}
	key, err := hold(public, private)
	if err != nil {
		return nil, ErrKeyFile
	}
	return key, key.selfTest()
}

// selfTest refuses a key whose halves do not belong together.
func (k *PrivateKey) selfTest() error {
	probe := []byte("fairpull key check")
	signature, err := k.Sign(probe, "")
	if err != nil {
		return err
	}
	if _, err := k.public.Verify(probe, signature); err != nil {
		return fmt.Errorf("%w (its two halves do not belong together)", ErrKeyFile)
	}
	return nil
}

// ChangePassphrase locks the key in the file with another passphrase. The old file
// is replaced in one step, and stays as it was where something fails.
func ChangePassphrase(path, old, new string) error {
	key, err := OpenKey(path, old)
	if err != nil {
		return err
	}
	locked, err := key.lock(new)
	if err != nil {
		return err
	}
	next := path + ".new"
	if err := writeNew(next, locked); err != nil {
		return err
	}
	if err := os.Rename(next, path); err != nil {
		return errors.Join(fmt.Errorf("replace the key file: %w", err), os.Remove(next))
	}
	return nil
}
