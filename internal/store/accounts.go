package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fairpull/campaign"
)

// Role says what an account may do. Each role may do what those before it may.
type Role string

// The roles, in order.
const (
	Viewer     Role = "viewer"     // looks
	Technician Role = "technician" // measures
	Engineer   Role = "engineer"   // plans, judges, keeps the rig
	Approver   Role = "approver"   // signs
)

// Roles are all roles, in order.
var Roles = []Role{Viewer, Technician, Engineer, Approver}

// Account is who may sign in.
type Account struct {
	Name   string // a slug
	Role   Role
	Secret string // what a password is checked against; empty: the account is closed
	Change int64  // number of the change that made it what it is
}

// maxSecret bounds the text of a secret, in bytes.
const maxSecret = 400

func (a Account) check() error {
	if err := campaign.CheckID(a.Name); err != nil {
		return refused("the account's name %.80q %v", a.Name, err)
	}
	known := false
	for _, role := range Roles {
		known = known || role == a.Role
	}
	if !known {
		return refused("account %s: %.40q is not a role", a.Name, string(a.Role))
	}
	if len(a.Secret) > maxSecret || campaign.CheckText(a.Secret) != nil {
		return refused("account %s: the secret cannot be kept", a.Name)
	}
	return nil
}

// AddAccount keeps a new account. Where the name is taken, also by an account
// that was closed, the error is [ErrExists].
func (s *Store) AddAccount(ctx context.Context, a Account, by Author) (Change, error) {
	if err := a.check(); err != nil {
		return Change{}, err
	}
	if a.Secret == "" {
		return Change{}, refused("account %s has no secret", a.Name)
	}
	return s.change(ctx, by, false, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject = AccountSet, "account", a.Name
		w.change.Differences = []Difference{{Path: "role", To: text(a.Role)}}
		done, err := w.ExecContext(ctx, `INSERT INTO accounts (name, role, secret, change) VALUES ($1, $2, $3, $4) ON CONFLICT (name) DO NOTHING`,
			a.Name, string(a.Role), a.Secret, w.change.Seq)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n > 0 {
			return err
		}
		return fmt.Errorf("account %s: %w", a.Name, ErrExists)
	})
}

// SetAccount gives an account another role or secret; an empty secret closes it.
// What it is already changes nothing. The audit trail says that the secret
// changed, and not the secret.
func (s *Store) SetAccount(ctx context.Context, a Account, by Author) (Change, error) {
	if err := a.check(); err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject = AccountSet, "account", a.Name
		was, err := account(ctx, w, a.Name)
		if err != nil {
			return err
		}
		if was.Role != a.Role {
			c.Differences = append(c.Differences, Difference{"role", text(was.Role), text(a.Role)})
		}
		switch {
		case was.Secret == a.Secret:
		case a.Secret == "":
			c.Differences = append(c.Differences, Difference{"account", text("open"), text("closed")})
		case was.Secret == "":
			c.Differences = append(c.Differences, Difference{"account", text("closed"), text("open")})
		default:
			c.Differences = append(c.Differences, Difference{"secret", text("one"), text("another")})
		}
		if len(c.Differences) == 0 {
			return errUnchanged
		}
		_, err = w.ExecContext(ctx, `UPDATE accounts SET role = $2, secret = $3, change = $4 WHERE name = $1`,
			a.Name, string(a.Role), a.Secret, c.Seq)
		return err
	})
}

// Account returns an account by its name. One that is not there is
// [ErrNotFound].
func (s *Store) Account(ctx context.Context, name string) (Account, error) {
	return account(ctx, s.db, name)
}

func account(ctx context.Context, q querier, name string) (Account, error) {
	a := Account{Name: name}
	err := q.QueryRowContext(ctx, `SELECT role, secret, change FROM accounts WHERE name = $1`, name).Scan(&a.Role, &a.Secret, &a.Change)
	if errors.Is(err, sql.ErrNoRows) {
		return a, fmt.Errorf("account %.80q %w", name, ErrNotFound)
	}
	return a, explain(err)
}

// Accounts returns all accounts by name, closed ones too.
func (s *Store) Accounts(ctx context.Context) (list []Account, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT name, role, secret, change FROM accounts ORDER BY name`)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var a Account
		if err := rows.Scan(&a.Name, &a.Role, &a.Secret, &a.Change); err != nil {
			return nil, err
		}
		list = append(list, a)
	}
	return list, rows.Err()
}
