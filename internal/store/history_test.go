package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// judged puts an example campaign that began on the given day, with a result that
// has a scatter and a verdict, and returns the result's id.
func judged(t *testing.T, s *Store, id string, day int) string {
	t.Helper()
	r := example(id, 2)
	for i := range r.Campaign.Pulls {
		r.Campaign.Pulls[i].Started = r.Campaign.Pulls[i].Started.AddDate(0, 0, day)
	}
	put(t, s, r)
	return keepResult(t, s, id, fmt.Sprintf("[%d]", day), "gain shown")
}

func keepResult(t *testing.T, s *Store, id, scatter, verdict string) string {
	t.Helper()
	entry, err := s.Entry(t.Context(), id, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.SaveResult(t.Context(), Result{
		Campaign: id, Version: entry.Version, Data: entry.Digest, Program: "1", Verdict: verdict,
		Settings: []byte(`{}`), Body: []byte(`{}`), Scatter: []byte(scatter),
	}, anna)
	if err != nil {
		t.Fatal(err)
	}
	last, err := s.LatestResult(t.Context(), id)
	if err != nil || last.Verdict != verdict {
		t.Fatalf("%+v, %v", last, err)
	}
	return last.ID
}

func historyIDs(t *testing.T, s *Store, q HistoryQuery) (ids []string) {
	t.Helper()
	past, err := s.History(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range past {
		ids = append(ids, p.Campaign)
	}
	return ids
}

func TestHistoryLeavesOutWithAReason(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		results := map[string]string{}
		for day, id := range []string{"one", "two", "three"} {
			results[id] = judged(t, s, id, day)
		}
		all := HistoryQuery{Dyno: "cell-1", Limit: 10}
		if got := historyIDs(t, s, all); !slices.Equal(got, []string{"three", "two", "one"}) {
			t.Fatalf("the history is %v, want the latest first", got)
		}
		before := all
		before.Before, before.Without = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC), "one"
		if got := historyIDs(t, s, before); !slices.Equal(got, []string{"two"}) {
			t.Errorf("before the third, without the first: %v", got)
		}
		if _, err := s.LeaveOut(ctx, "two", Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("left out without a reason: %v, want ErrRefused", err)
		}
		c, err := s.LeaveOut(ctx, "two", Author{"Anna Test", "strap broke"})
		if err != nil || c.Action != LeftOut || c.Version != 1 || c.From != c.To {
			t.Fatalf("%+v, %v", c, err)
		}
		if c, err := s.LeaveOut(ctx, "two", anna); err != nil || c.Changed() {
			t.Errorf("left out again: %+v, %v; want no change", c, err)
		}
		if got := historyIDs(t, s, all); !slices.Equal(got, []string{"three", "one"}) {
			t.Errorf("without the second: %v", got)
		}
		left, err := s.LeftOuts(ctx, "cell-1")
		if err != nil || len(left) != 1 || left[0].Campaign != "two" || left[0].Why != "strap broke" || left[0].Who != "Anna Test" || !left[0].At.Equal(c.At) {
			t.Errorf("left out are %+v, %v", left, err)
		}
		if c, err := s.TakeBack(ctx, "two", Author{"Anna Test", "it was another strap"}); err != nil || c.Action != TakenBack {
			t.Errorf("%+v, %v", c, err)
		}
		if c, err := s.TakeBack(ctx, "two", anna); err != nil || c.Changed() {
			t.Errorf("taken back again: %+v, %v; want no change", c, err)
		}
		if _, err := s.LeaveOut(ctx, "two", anna); err != nil {
			t.Errorf("left out a second time: %v", err)
		}
		if _, err := s.LeaveOut(ctx, "nobody", anna); !errors.Is(err, ErrNotFound) {
			t.Errorf("a campaign that is not there: %v", err)
		}
		trail, err := s.Changes(ctx, "campaign", "two", 0, 100)
		if err != nil || len(trail) != 5 || trail[2].Why != "strap broke" || trail[3].Action != TakenBack {
			t.Errorf("the trail is %+v, %v", trail, err)
		}
		past, err := s.PastOf(ctx, []string{results["three"], results["two"]})
		if err != nil || len(past) != 2 || past[0].Campaign != "three" || string(past[1].Scatter) != "[1]" {
			t.Errorf("by result: %+v, %v", past, err)
		}
		settings, err := s.LatestSettings(ctx, "cell-1")
		if err != nil || len(settings) != 3 || string(settings["two"]) != "{}" {
			t.Errorf("the settings are %q, %v", settings, err)
		}
		if settings, err := s.LatestSettings(ctx, "cell-2"); err != nil || len(settings) != 0 {
			t.Errorf("the settings of another dyno are %q, %v", settings, err)
		}
		if _, err := s.PastOf(ctx, []string{results["three"], "nobody"}); !errors.Is(err, ErrNotFound) {
			t.Errorf("a result that is not there: %v", err)
		}
		clean(t, s)
	})
}

// What is left out and the verdict of a result are kept by the engine itself.
func TestLeftOutIsKeptByTheEngine(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		judged(t, s, "one", 0)
		for _, step := range []func() error{
			func() error { _, err := s.LeaveOut(t.Context(), "one", anna); return err },
			func() error { _, err := s.TakeBack(t.Context(), "one", anna); return err },
		} {
			if err := step(); err != nil {
				t.Fatal(err)
			}
		}
		for _, query := range []string{
			"DELETE FROM left_out", "UPDATE left_out SET since = since + 100", "UPDATE left_out SET until = NULL",
			"DELETE FROM verdicts", "UPDATE verdicts SET verdict = 'loss shown'",
		} {
			if _, err := s.db.Exec(query); err == nil || !strings.Contains(err.Error(), "the workspace keeps this row") {
				t.Errorf("%s: %v", query, err)
			}
		}
	})
}

// A result of an earlier version of the data is no history, and a list says so.
func TestHistoryRestsOnTodaysData(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		judged(t, s, "one", 0)
		judged(t, s, "two", 1)
		keepResult(t, s, "two", "[2]", "gain shown; no difference of interest")
		pull, log := examplePull("one", 7)
		if _, err := s.AddPull(t.Context(), "one", pull, log, anna); err != nil {
			t.Fatal(err)
		}
		if got := historyIDs(t, s, HistoryQuery{Dyno: "cell-1", Limit: 10}); !slices.Equal(got, []string{"two"}) {
			t.Errorf("the history is %v, want only the campaign whose data did not change", got)
		}
		for _, row := range []struct {
			verdict string
			want    []string
		}{{"", []string{"two", "one"}}, {"gain shown", []string{"two", "one"}}, {"no difference of interest", []string{"two"}}, {"loss shown", nil}} {
			page, err := s.List(t.Context(), Query{Verdict: row.verdict})
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, c := range page.Campaigns {
				got = append(got, c.ID)
				if c.Current != (c.ID == "two") || !strings.Contains(c.Verdict, "gain shown") {
					t.Errorf("%s is listed as %+v", c.ID, c)
				}
			}
			if !slices.Equal(got, row.want) {
				t.Errorf("%q lists %v, want %v", row.verdict, got, row.want)
			}
		}
	})
}

// Logs of the same content are found across campaigns, as they are now.
func TestSharedLogs(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		for id, logs := range map[string][]string{"a": {"x", "y"}, "b": {"y", "z"}, "c": {"z", "y"}, "d": {"w", "v"}} {
			r := example(id, len(logs))
			for i, p := range r.Campaign.Pulls {
				r.Logs[p.Log] = []byte(logs[i])
			}
			put(t, s, r)
		}
		for _, c := range []struct {
			of   []string
			want string
		}{
			{[]string{"d", "c", "b", "a"}, "[[a b c] [b c]]"},
			{[]string{"c", "a", "d"}, "[[a c]]"},
			{[]string{"a", "d", "nobody"}, "[]"},
			{nil, "[]"},
		} {
			groups, err := s.SharedLogs(ctx, c.of)
			slices.SortFunc(groups, func(a, b []string) int { return len(b) - len(a) })
			if got := fmt.Sprint(groups); err != nil || got != c.want {
				t.Errorf("of %v: %s, %v; want %s", c.of, got, err, c.want)
			}
		}
		r := example("b", 2)
		for i, p := range r.Campaign.Pulls {
			r.Logs[p.Log] = []byte{byte(i)}
		}
		if _, err := s.Supersede(ctx, r, Author{Who: "Anna Test", Why: "other logs"}); err != nil {
			t.Fatal(err)
		}
		if groups, err := s.SharedLogs(ctx, []string{"a", "b"}); err != nil || len(groups) != 0 {
			t.Errorf("logs of an earlier version: %v, %v", groups, err)
		}
		if _, err := s.SharedLogs(ctx, make([]string, maxPageRows+2)); !errors.Is(err, ErrRefused) {
			t.Errorf("too many campaigns: %v", err)
		}
	})
}
