package lab

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"fairpull/internal/store"
)

// Role says what an account may do; each may do what those before it may.
type Role = store.Role

// The roles, in order.
const (
	Viewer     = store.Viewer
	Technician = store.Technician
	Engineer   = store.Engineer
	Approver   = store.Approver
)

// Roles are all roles, in order.
var Roles = slices.Clone(store.Roles)

// Account is who may sign in, without the secret.
type Account struct {
	Name   string
	Role   Role
	Open   bool
	Change int64 // number of the change that made it what it is
}

// May reports whether the account's role is wanted or comes after it.
func (a Account) May(wanted Role) bool {
	return a.Open && slices.Index(Roles, a.Role) >= slices.Index(Roles, wanted)
}

func accountOf(a store.Account) Account {
	return Account{Name: a.Name, Role: a.Role, Open: a.Secret != "", Change: a.Change}
}

// Bounds of a password, in characters and bytes. Length is what counts; no mix
// of kinds of character is asked for.
//
// Source: NIST SP 800-63B-4, section 3.1.1.2, which asks for 15 characters where
// a password is all there is, and for nothing about their kinds: from memory.
const (
	minPassword      = 15
	maxPasswordBytes = 1024
)

// Work of a password's check: argon2id with 64 MiB, three passes, four lanes.
//
// Source: RFC 9106, section 4, the second recommended option.
const (
	argonTime    = 3
	argonMemory  = 64 << 10 // KiB
	argonLanes   = 4
	argonSalt    = 16 // bytes
	argonKey     = 32 // bytes
	secretPrefix = "$argon2id$v=19$m=65536,t=3,p=4$"
)

// hashing bounds how many passwords are checked at once, so that many who try at
// once take no more memory than a few.
var hashing = make(chan struct{}, max(1, runtime.GOMAXPROCS(0)))

// ErrSignIn says that name and password do not belong together. It does not say
// which of the two is wrong.
var ErrSignIn = errors.New("name and password do not belong together")

// AddAccount makes an account. The password is kept only as a hash.
func (w *Workspace) AddAccount(ctx context.Context, name string, role Role, password string, by Author) error {
	secret, err := secretOf(password)
	if err != nil {
		return err
	}
	_, err = w.store.AddAccount(ctx, store.Account{Name: name, Role: role, Secret: secret}, by)
	if errors.Is(err, store.ErrExists) {
		return fmt.Errorf("there is an account %s already, or was one: its name stays with it", name)
	}
	return err
}

// SetRole gives an account another role. Whoever is signed in with it has to
// sign in again.
func (w *Workspace) SetRole(ctx context.Context, name string, role Role, by Author) error {
	return w.setAccount(ctx, name, by, func(a *store.Account) { a.Role = role })
}

// SetPassword gives an account another password, and opens one that was closed.
// Whoever is signed in with it has to sign in again.
func (w *Workspace) SetPassword(ctx context.Context, name, password string, by Author) error {
	secret, err := secretOf(password)
	if err != nil {
		return err
	}
	return w.setAccount(ctx, name, by, func(a *store.Account) { a.Secret = secret })
}

// CloseAccount lets nobody sign in with an account any more. Its name stays
// taken, so that the audit trail goes on naming one person.
func (w *Workspace) CloseAccount(ctx context.Context, name string, by Author) error {
	return w.setAccount(ctx, name, by, func(a *store.Account) { a.Secret = "" })
}

func (w *Workspace) setAccount(ctx context.Context, name string, by Author, set func(*store.Account)) error {
	a, err := w.store.Account(ctx, name)
	if err != nil {
		return err
	}
	set(&a)
	_, err = w.store.SetAccount(ctx, a, by)
	return err
}

// Account returns an account by its name.
func (w *Workspace) Account(ctx context.Context, name string) (Account, error) {
	a, err := w.store.Account(ctx, name)
	return accountOf(a), err
}

// Accounts returns all accounts by name, closed ones too.
func (w *Workspace) Accounts(ctx context.Context) ([]Account, error) {
	list, err := w.store.Accounts(ctx)
	var accounts []Account
	for _, a := range list {
		accounts = append(accounts, accountOf(a))
	}
	return accounts, err
}

// SignIn returns the account of that name where the password is its own. Else
// the error is [ErrSignIn], after the same work whether there is such an account
// or not.
func (w *Workspace) SignIn(ctx context.Context, name, password string) (Account, error) {
	a, err := w.store.Account(ctx, name)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return Account{}, err
	}
	secret := a.Secret
	if secret == "" {
		secret = nobodysSecret
	}
	right, err := matches(ctx, secret, password)
	if err != nil {
		return Account{}, err
	}
	if !right || a.Secret == "" {
		return Account{}, ErrSignIn
	}
	return accountOf(a), nil
}

// nobodysSecret has the form of a secret and belongs to no account.
var nobodysSecret = secretPrefix + base64.RawStdEncoding.EncodeToString(make([]byte, argonSalt)) + "$" +
	base64.RawStdEncoding.EncodeToString(make([]byte, argonKey))

// secretOf returns what is kept of a password, in the usual text form of argon2.
func secretOf(password string) (string, error) {
	switch {
	case !utf8.ValidString(password) || len(password) > maxPasswordBytes:
		return "", fmt.Errorf("%w: a password is text of at most %d bytes", ErrRefused, maxPasswordBytes)
	case utf8.RuneCountInString(password) < minPassword:
		return "", fmt.Errorf("%w: a password has at least %d characters. Four or five words that do not belong together do well", ErrRefused, minPassword)
	}
	salt := make([]byte, argonSalt)
	if _, err := rand.Read(salt); err != nil {
		return "", err
	}
	key := argon2.IDKey([]byte(password), salt, argonTime, argonMemory, argonLanes, argonKey)
	return secretPrefix + base64.RawStdEncoding.EncodeToString(salt) + "$" + base64.RawStdEncoding.EncodeToString(key), nil
}

// matches reports whether the password is the one that the secret was made of.
func matches(ctx context.Context, secret, password string) (bool, error) {
	saltText, keyText, whole := strings.Cut(strings.TrimPrefix(secret, secretPrefix), "$")
	salt, errSalt := base64.RawStdEncoding.DecodeString(saltText)
	want, errKey := base64.RawStdEncoding.DecodeString(keyText)
	if !whole || !strings.HasPrefix(secret, secretPrefix) || errSalt != nil || errKey != nil || len(want) != argonKey {
		return false, errors.New("the secret of an account has a form that this program does not know")
	}
	if len(password) > maxPasswordBytes {
		return false, nil
	}
	select {
	case hashing <- struct{}{}:
		defer func() { <-hashing }()
	case <-ctx.Done():
		return false, ctx.Err()
	}
	got := argon2.IDKey([]byte(password), salt, argonTime, argonMemory, argonLanes, argonKey)
	return subtle.ConstantTimeCompare(got, want) == 1, nil
}
