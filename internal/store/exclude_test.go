package store

import (
	"errors"
	"testing"
)

func TestSetExcluded(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		if _, err := s.Put(ctx, example("c", 3), anna); err != nil {
			t.Fatal(err)
		}
		before, err := s.LastChange(ctx)
		if err != nil || before != 1 {
			t.Fatalf("last change %d, %v", before, err)
		}
		change, err := s.SetExcluded(ctx, "c", "2", "strap slipped", 1, anna)
		if err != nil || change.Version != 2 || len(change.Differences) != 1 || change.From == change.To {
			t.Fatalf("change %+v, %v", change, err)
		}
		now, err := s.Get(ctx, "c")
		if err != nil || now.Campaign.Pulls[1].Excluded != "strap slipped" || now.Campaign.Pulls[1].Line != 3 || now.PullsFile != nil || now.CampaignFile == nil {
			t.Errorf("version 2: %+v, pulls.csv %q, %v", now.Campaign.Pulls, now.PullsFile, err)
		}
		first, err := s.GetVersion(ctx, "c", 1)
		if err != nil || !first.Campaign.Pulls[1].Used() || first.PullsFile == nil {
			t.Errorf("version 1: %+v, %v", first.Campaign.Pulls, err)
		}
		if _, err := s.SetExcluded(ctx, "c", "3", "spun", 1, anna); !errors.Is(err, ErrMoved) {
			t.Errorf("decided on an old version: %v", err)
		}
		if change, err := s.SetExcluded(ctx, "c", "2", "strap slipped", 0, anna); err != nil || change.Changed() {
			t.Errorf("the same again: %+v, %v", change, err)
		}
		if change, err := s.SetExcluded(ctx, "c", "2", "", 2, anna); err != nil || change.Version != 3 {
			t.Errorf("put back: %+v, %v", change, err)
		}
		back, err := s.Entry(ctx, "c", 0)
		again, err2 := s.Entry(ctx, "c", 1)
		if err != nil || err2 != nil || back.Digest != again.Digest {
			t.Errorf("put back, the data digest is %v; the first was %v (%v, %v)", back.Digest, again.Digest, err, err2)
		}
		if r, err := s.Check(ctx); err != nil || len(r.Problems) != 0 {
			t.Errorf("doctor: %+v, %v", r.Problems, err)
		}
	})
}

func TestSetExcludedRefused(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		if _, err := s.Put(ctx, example("c", 3), anna); err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			id, pull, cause string
			by              Author
			want            error
		}{
			{"d", "1", "spun", anna, ErrNotFound}, {"c", "9", "spun", anna, ErrNotFound},
			{"c", "1", "a\x00b", anna, ErrRefused}, {"c", "1", "spun", Author{Who: "Anna Test"}, ErrRefused},
		} {
			if _, err := s.SetExcluded(ctx, c.id, c.pull, c.cause, 0, c.by); !errors.Is(err, c.want) {
				t.Errorf("%+v: %v", c, err)
			}
		}
		if _, err := s.SetState(ctx, "c", StateClosed, anna); err != nil {
			t.Fatal(err)
		}
		if _, err := s.SetExcluded(ctx, "c", "1", "spun", 0, anna); !errors.Is(err, ErrNotOpen) {
			t.Errorf("a closed campaign: %v", err)
		}
	})
}
