package store

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"fairpull/evidence"
)

// The record of a workspace has the roots of one in memory, leaf for leaf, proves
// what it holds, and the doctor sees a leaf or a hash that was changed.
func TestRecordAgreesWithMemory(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		kept, err := evidence.OpenRecord("lab.example/record", s.Record(anna))
		if err != nil {
			t.Fatal(err)
		}
		inMemory, err := evidence.OpenRecord("lab.example/record", evidence.NewMemoryRecord())
		if err != nil {
			t.Fatal(err)
		}
		for i := range 11 {
			leaf := fmt.Appendf(nil, `{"leaf":%d}`, i)
			index, err := kept.Append(ctx, leaf)
			if err != nil || index != int64(i) {
				t.Fatalf("leaf %d: %d, %v", i, index, err)
			}
			if _, err := inMemory.Append(ctx, leaf); err != nil {
				t.Fatal(err)
			}
			a, errA := kept.Head(ctx)
			b, errB := inMemory.Head(ctx)
			if errA != nil || errB != nil || a != b {
				t.Fatalf("after %d leaves: %+v and %+v, %v, %v", i+1, a, b, errA, errB)
			}
		}
		head, err := kept.Head(ctx)
		if err != nil {
			t.Fatal(err)
		}
		proof, err := kept.ProveInclusion(ctx, head.Size, 4)
		if err != nil {
			t.Fatal(err)
		}
		if err := head.Includes(4, []byte(`{"leaf":4}`), proof); err != nil {
			t.Error(err)
		}
		if at, err := s.RecordLeaf(ctx, []byte(`{"leaf":7}`)); err != nil || at != 7 {
			t.Errorf("leaf 7 is at %d, %v", at, err)
		}
		if at, err := s.RecordLeaf(ctx, []byte(`{"leaf":99}`)); err != nil || at != -1 {
			t.Errorf("a leaf that is not there is at %d, %v", at, err)
		}
		if _, err := kept.Leaf(ctx, 11); !errors.Is(err, ErrNotFound) {
			t.Errorf("leaf 11: %v, want ErrNotFound", err)
		}
		if err := s.Record(anna).Append(ctx, 3, []byte("x"), 0, nil); !errors.Is(err, evidence.ErrMoved) {
			t.Errorf("appended as leaf 3: %v, want ErrMoved", err)
		}
		for _, query := range []string{`DELETE FROM record_leaves`, `UPDATE record_leaves SET body = ''`, `DELETE FROM record_hashes`, `UPDATE record_hashes SET hash = ''`} {
			if _, err := s.db.ExecContext(ctx, query); err == nil {
				t.Errorf("%s was done", query)
			}
		}
		clean(t, s)
	})
}

func TestDoctorSeesAChangedRecord(t *testing.T) {
	for what, query := range map[string]string{
		"leaf": `UPDATE record_leaves SET body = '{"leaf":9}' WHERE n = 1`,
		"hash": `UPDATE record_hashes SET hash = (SELECT hash FROM record_hashes WHERE number = 0) WHERE number = 3`,
		"end":  `DELETE FROM record_leaves WHERE n = 2`,
		"gap":  `DELETE FROM record_leaves WHERE n = 1`,
	} {
		s := initialise(t, t.TempDir())
		record, err := evidence.OpenRecord("lab.example/record", s.Record(anna))
		if err != nil {
			t.Fatal(err)
		}
		for i := range 3 {
			if _, err := record.Append(t.Context(), fmt.Appendf(nil, `{"leaf":%d}`, i)); err != nil {
				t.Fatal(err)
			}
		}
		for _, table := range []string{"record_leaves", "record_hashes"} {
			for _, trigger := range []string{"_not_deleted", "_not_changed"} {
				if _, err := s.db.ExecContext(t.Context(), "DROP TRIGGER "+table+trigger); err != nil {
					t.Fatal(err)
				}
			}
		}
		if _, err := s.db.ExecContext(t.Context(), query); err != nil {
			t.Fatal(err)
		}
		r, err := s.Check(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, p := range r.Problems {
			found = found || strings.Contains(p.What, "record")
		}
		if !found {
			t.Errorf("%s changed: the doctor found %v", what, r.Problems)
		}
	}
}

// Many who append at once get a place each.
func TestAppendToRecordAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		record, err := evidence.OpenRecord("lab.example/record", s.Record(anna))
		if err != nil {
			t.Fatal(err)
		}
		var group sync.WaitGroup
		for i := range 8 {
			group.Go(func() {
				for {
					_, err := record.Append(t.Context(), fmt.Appendf(nil, `{"leaf":%d}`, i))
					if errors.Is(err, evidence.ErrMoved) {
						continue
					}
					if err != nil {
						t.Error(err)
					}
					return
				}
			})
		}
		group.Wait()
		if head, err := record.Head(t.Context()); err != nil || head.Size != 8 {
			t.Errorf("%+v, %v", head, err)
		}
		clean(t, s)
	})
}
