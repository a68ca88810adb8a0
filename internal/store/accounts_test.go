package store

import (
	"errors"
	"strings"
	"testing"
)

func TestAccounts(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		bert := Account{Name: "bert", Role: Technician, Secret: "a"}
		change, err := s.AddAccount(ctx, bert, anna)
		if err != nil || change.Kind != "account" || change.Subject != "bert" || change.Action != AccountSet {
			t.Fatalf("added: %+v, %v", change, err)
		}
		if _, err := s.AddAccount(ctx, Account{Name: "bert", Role: Viewer, Secret: "b"}, anna); !errors.Is(err, ErrExists) {
			t.Errorf("a name twice: %v", err)
		}
		bert.Change = change.Seq
		if a, err := s.Account(ctx, "bert"); err != nil || a != bert {
			t.Errorf("account %+v, %v; want %+v", a, err, bert)
		}
		if change, err := s.SetAccount(ctx, bert, anna); err != nil || change.Changed() {
			t.Errorf("the same again: %+v, %v", change, err)
		}
		change, err = s.SetAccount(ctx, Account{Name: "bert", Role: Engineer, Secret: "sesame"}, anna)
		if err != nil || len(change.Differences) != 2 || strings.Contains(change.Differences[1].To, "sesame") {
			t.Errorf("another role and secret: %+v, %v", change, err)
		}
		if change, err = s.SetAccount(ctx, Account{Name: "bert", Role: Engineer}, anna); err != nil || !change.Changed() {
			t.Errorf("closed: %+v, %v", change, err)
		}
		if _, err := s.AddAccount(ctx, bert, anna); !errors.Is(err, ErrExists) {
			t.Errorf("the name of a closed account again: %v", err)
		}
		if list, err := s.Accounts(ctx); err != nil || len(list) != 1 || list[0].Secret != "" || list[0].Role != Engineer || list[0].Change != change.Seq {
			t.Errorf("accounts %+v, %v", list, err)
		}
		trail, err := s.Changes(ctx, "account", "bert", 0, 10)
		if err != nil || len(trail) != 3 {
			t.Errorf("trail %+v, %v", trail, err)
		}
		if _, err := s.Account(ctx, "carla"); !errors.Is(err, ErrNotFound) {
			t.Errorf("an account that is not there: %v", err)
		}
		if _, err := s.db.ExecContext(ctx, `DELETE FROM accounts`); err == nil {
			t.Error("an account was deleted")
		}
	})
}

func TestAccountsRefused(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		for _, a := range []Account{
			{Name: "", Role: Viewer, Secret: "a"}, {Name: "no slug", Role: Viewer, Secret: "a"},
			{Name: "bert", Role: "root", Secret: "a"}, {Name: "bert", Secret: "a"}, {Name: "bert", Role: Viewer},
			{Name: "bert", Role: Viewer, Secret: strings.Repeat("a", maxSecret+1)}, {Name: "bert", Role: Viewer, Secret: "\x00"},
		} {
			if _, err := s.AddAccount(t.Context(), a, anna); !errors.Is(err, ErrRefused) {
				t.Errorf("%+v: %v", a, err)
			}
		}
		if _, err := s.SetAccount(t.Context(), Account{Name: "bert", Role: Viewer, Secret: "a"}, anna); !errors.Is(err, ErrNotFound) {
			t.Errorf("an account that is not there: %v", err)
		}
		if list, err := s.Accounts(t.Context()); err != nil || len(list) != 0 {
			t.Errorf("accounts %+v, %v", list, err)
		}
	})
}
