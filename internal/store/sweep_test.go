package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fairpull/evidence"
)

// Files without a row go after a day and not before; files with a row, and what
// is not the workspace's, stay.
func TestSweep(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		r := example("twin", 3)
		put(t, s, r)
		if _, err := s.Attach(t.Context(), photograph("twin"), []byte("a photograph"), anna); err != nil {
			t.Fatal(err)
		}
		f := s.blobs.(*folder)
		old, young, foreign := evidence.OfBytes([]byte("old")), evidence.OfBytes([]byte("young")), filepath.Join(f.root, "ab", "notes.txt")
		unfinished := filepath.Join(f.root, tempDir, "123")
		for _, data := range []string{"old", "young"} {
			if _, _, err := f.Put(t.Context(), []byte(data)); err != nil {
				t.Fatal(err)
			}
		}
		for _, name := range []string{foreign, unfinished} {
			if err := os.WriteFile(name, []byte("x"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		// A day passes for all but one.
		if err := os.Chtimes(f.path(young), time.Time{}, time.Now().Add(25*time.Hour)); err != nil {
			t.Fatal(err)
		}
		if removed, err := s.Sweep(t.Context(), anna); err != nil || len(removed) != 0 {
			t.Fatalf("at once it removes %v, %v; want nothing", removed, err)
		}
		s.now = func() time.Time { return time.Now().Add(25 * time.Hour) }
		removed, err := s.Sweep(t.Context(), anna)
		if err != nil || len(removed) != 2 {
			t.Fatalf("after a day it removes %v, %v; want the old and the unfinished file", removed, err)
		}
		for name, want := range map[string]bool{f.path(old): false, unfinished: false, f.path(young): true, foreign: true} {
			if _, err := os.Stat(name); (err == nil) != want {
				t.Errorf("%s: %v, want it there: %v", name, err, want)
			}
		}
		same(t, s, r)
		changes, err := s.Changes(t.Context(), "workspace", s.ID(), 0, 10)
		if err != nil || len(changes) != 1 || changes[0].Action != Swept || len(changes[0].Differences) != 1 || changes[0].Differences[0].From != old.String() {
			t.Errorf("the audit trail says %+v, %v; want one sweep of %s", changes, err, old)
		}
		report, err := s.Check(t.Context())
		if err != nil || !report.Clean() || len(report.Problems) != 2 {
			t.Errorf("the doctor finds %v, %v; want the young and the foreign file left over", report.Problems, err)
		}
	})
}

// meddler does something between the moment at which a file is found to be there
// already and the row that is to name it.
type meddler struct {
	blobs
	then func()
}

func (m *meddler) Put(ctx context.Context, data []byte) (evidence.Digest, bool, error) {
	d, old, err := m.blobs.Put(ctx, data)
	if m.then != nil {
		then := m.then
		m.then = nil
		then()
	}
	return d, old, err
}

// A log that lay there without a row, is put again and is swept before its row
// is written: the pull is refused, not acknowledged without its log.
func TestSweptBetweenFileAndRow(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		put(t, s, example("twin", 1))
		pull, log := examplePull("twin", 1)
		d, _, err := s.blobs.Put(t.Context(), log)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(s.blobs.(*folder).path(d), time.Time{}, time.Now().Add(-25*time.Hour)); err != nil {
			t.Fatal(err)
		}
		sweeper, err := Open(t.Context(), where)
		if err != nil {
			t.Fatal(err)
		}
		defer sweeper.Close()
		plain := s.blobs
		s.blobs = &meddler{blobs: plain, then: func() {
			if removed, err := sweeper.Sweep(t.Context(), anna); err != nil || len(removed) != 1 {
				t.Errorf("the sweep removes %v, %v; want the log", removed, err)
			}
		}}
		if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); !errors.Is(err, ErrBusy) {
			t.Errorf("got %v, want ErrBusy", err)
		}
		if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); err != nil {
			t.Errorf("again: %v", err)
		}
		clean(t, s)
		if _, err := s.Get(t.Context(), "twin"); err != nil {
			t.Error(err)
		}
	})
}
