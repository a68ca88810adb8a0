package store

import (
	"errors"
	"reflect"
	"slices"
	"testing"
)

func photograph(id string) Attachment {
	return Attachment{Campaign: id, Kind: "setup", Subject: "s1", Name: "straps.jpg", Media: "image/jpeg", Note: "front straps"}
}

func TestAddPull(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 2))
		pull, log := examplePull("twin", 2)
		pull.Values["operator"] = "Anna"
		c, err := s.AddPull(t.Context(), "twin", pull, log, Author{Who: "rig"})
		if err != nil || c.Version != 2 || c.Action != PullAdded || c.From == c.To {
			t.Fatalf("got %+v, %v; want version 2 of other data", c, err)
		}
		want := example("twin", 3)
		want.Campaign.Pulls[2] = pull
		want.Campaign.ExtraColumns = append(want.Campaign.ExtraColumns, "operator")
		want.PullsFile = nil // the file says nothing of the new pull
		same(t, s, want)
		first, err := s.GetVersion(t.Context(), "twin", 1)
		if err != nil || !reflect.DeepEqual(first, example("twin", 2)) {
			t.Errorf("version 1 is no longer what it was: %v", err)
		}
		if c, err := s.AddPull(t.Context(), "twin", pull, log, Author{Who: "rig"}); err != nil || c.Changed() {
			t.Errorf("the same pull again gives %+v, %v; want no change", c, err)
		}
		clean(t, s)
	})
}

func TestAddPullRefuses(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 2))
		first, firstLog := examplePull("twin", 0)
		next, nextLog := examplePull("twin", 2)
		other := first
		other.Excluded = "slipped"
		undeclared := next
		undeclared.Configuration = "C"
		escaping := next
		escaping.Log = "../outside.csv"
		taken := next
		taken.Log = first.Log
		for name, row := range map[string]struct {
			err  error
			call func() (Change, error)
		}{
			"unknown campaign":         {ErrNotFound, func() (Change, error) { return s.AddPull(t.Context(), "triple", next, nextLog, anna) }},
			"undeclared configuration": {ErrRefused, func() (Change, error) { return s.AddPull(t.Context(), "twin", undeclared, nextLog, anna) }},
			"path out of the folder":   {ErrRefused, func() (Change, error) { return s.AddPull(t.Context(), "twin", escaping, nextLog, anna) }},
			"path of another log":      {ErrRefused, func() (Change, error) { return s.AddPull(t.Context(), "twin", taken, nextLog, anna) }},
			"nobody":                   {ErrRefused, func() (Change, error) { return s.AddPull(t.Context(), "twin", next, nextLog, Author{}) }},
		} {
			if c, err := row.call(); !errors.Is(err, row.err) || c.Changed() {
				t.Errorf("%s: got %+v, %v; want %v", name, c, err, row.err)
			}
		}
		for name, row := range map[string]struct {
			call func() (Change, error)
			path string
		}{
			"another pull of the name": {func() (Change, error) { return s.AddPull(t.Context(), "twin", other, firstLog, anna) }, "pull 1.Excluded"},
			"another log":              {func() (Change, error) { return s.AddPull(t.Context(), "twin", first, nextLog, anna) }, "pull 1 log"},
		} {
			_, err := row.call()
			var different *DifferentError
			if !errors.As(err, &different) || different.Differences[0].Path != row.path {
				t.Errorf("%s: got %v, want a difference at %s", name, err, row.path)
			}
		}
		same(t, s, example("twin", 2))
	})
}

func TestStateKeepsWhatItSays(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 2))
		if _, err := s.SetState(t.Context(), "twin", StateClosed, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("closing without a reason gives %v, want ErrRefused", err)
		}
		c, err := s.SetState(t.Context(), "twin", StateClosed, Author{"Anna Test", "measured"})
		if err != nil || !slices.Equal(c.Differences, []Difference{{"state", `"open"`, `"closed"`}}) {
			t.Errorf("closing gives %+v, %v", c, err)
		}
		if c, err := s.SetState(t.Context(), "twin", StateClosed, anna); err != nil || c.Changed() {
			t.Errorf("closing twice gives %+v, %v; want no change", c, err)
		}
		pull, log := examplePull("twin", 2)
		if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); !errors.Is(err, ErrNotOpen) {
			t.Errorf("a pull for a closed campaign gives %v, want ErrNotOpen", err)
		}
		if _, err := s.Supersede(t.Context(), example("twin", 3), anna); !errors.Is(err, ErrNotOpen) {
			t.Errorf("superseding a closed campaign gives %v, want ErrNotOpen", err)
		}
		if _, err := s.SetState(t.Context(), "twin", "finished", anna); !errors.Is(err, ErrRefused) {
			t.Errorf("a state of another name gives %v, want ErrRefused", err)
		}
		if _, err := s.SetState(t.Context(), "twin", StateOpen, anna); err != nil {
			t.Error(err)
		}
		if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); err != nil {
			t.Errorf("once it is open again: %v", err)
		}
	})
}
