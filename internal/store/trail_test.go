package store

import (
	"errors"
	"slices"
	"testing"
	"time"
)

// The trail is read from its end, of all or of one campaign, from a day on, in pages
// that lose no change.
func TestTrail(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		clock := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
		s.now = func() time.Time { clock = clock.Add(time.Hour); return clock }
		put(t, s, example("one", 1)) // 1, at 13:00
		put(t, s, example("two", 2))
		for _, state := range []State{StateClosed, StateOpen} { // 3 and 4
			if _, err := s.SetState(ctx, "one", state, Author{"Anna Test", "to be " + string(state)}); err != nil {
				t.Fatal(err)
			}
		}
		numbers := func(q TrailQuery) (seqs []int64) {
			t.Helper()
			changes, err := s.Trail(ctx, q)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range changes {
				seqs = append(seqs, c.Seq)
			}
			return seqs
		}
		at := time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
		for _, c := range []struct {
			q    TrailQuery
			want []int64
		}{
			{TrailQuery{Limit: 10}, []int64{4, 3, 2, 1}},
			{TrailQuery{Limit: 2}, []int64{4, 3}},
			{TrailQuery{Limit: 2, Before: 3}, []int64{2, 1}},
			{TrailQuery{Limit: 10, Since: at.Add(time.Hour)}, []int64{4, 3}},
			{TrailQuery{Limit: 10, Campaign: "one"}, []int64{4, 3, 1}},
			{TrailQuery{Limit: 10, Campaign: "one", Before: 4, Since: at}, []int64{3}},
			{TrailQuery{Limit: 10, Campaign: "nobody"}, nil},
		} {
			if got := numbers(c.q); !slices.Equal(got, c.want) {
				t.Errorf("%+v: %v, want %v", c.q, got, c.want)
			}
		}
		last, err := s.Trail(ctx, TrailQuery{Limit: 1})
		if err != nil || len(last) != 1 || last[0].Who != "Anna Test" || last[0].Why != "to be open" || last[0].Action != StateSet ||
			!slices.Equal(last[0].Differences, []Difference{{"state", `"closed"`, `"open"`}}) {
			t.Errorf("%+v, %v", last, err)
		}
		// The changes of a campaign's claims are its own, those of others' are not.
		kept := claimable(t, s, "three")                                       // 5 and 6
		if _, err := s.AddClaim(ctx, draft("three", kept), anna); err != nil { // 7
			t.Fatal(err)
		}
		if got := numbers(TrailQuery{Limit: 10, Campaign: "three"}); !slices.Equal(got, []int64{7, 6, 5}) {
			t.Errorf("with its claim: %v", got)
		}
		if got := numbers(TrailQuery{Limit: 10, Campaign: "two"}); !slices.Equal(got, []int64{2}) {
			t.Errorf("without a claim: %v", got)
		}
		for _, limit := range []int{0, -1, maxPageRows + 1} {
			if _, err := s.Trail(ctx, TrailQuery{Limit: limit}); !errors.Is(err, ErrRefused) {
				t.Errorf("a page of %d: %v", limit, err)
			}
		}
	})
}
