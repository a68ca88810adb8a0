package store

import (
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// Of several that make one workspace at once, one does; the others are told that
// it exists, and the workspace is whole.
func TestInitAtOnce(t *testing.T) {
	for name, where := range map[string]func(t *testing.T) string{
		"SQLite":     func(t *testing.T) string { return filepath.Join(t.TempDir(), "lab") },
		"PostgreSQL": func(t *testing.T) string { return freshDatabase(t) },
	} {
		t.Run(name, func(t *testing.T) {
			where := where(t)
			const programs = 6
			var group sync.WaitGroup
			errs := make([]error, programs)
			start := make(chan struct{})
			for i := range programs {
				group.Go(func() {
					<-start
					s, err := Init(t.Context(), where)
					if err == nil {
						err = s.Close()
					}
					errs[i] = err
				})
			}
			close(start)
			group.Wait()
			made := 0
			for _, err := range errs {
				if err == nil {
					made++
				} else if !errors.Is(err, ErrExists) {
					t.Errorf("got %v, want ErrExists", err)
				}
			}
			if made != 1 {
				t.Errorf("%d made it", made)
			}
			s, err := Open(t.Context(), where)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			put(t, s, example("twin", 1))
			clean(t, s)
			if s.place.dir != "" {
				entries, err := os.ReadDir(s.place.dir)
				if err != nil {
					t.Fatal(err)
				}
				for _, e := range entries {
					if strings.HasPrefix(e.Name(), ".") {
						t.Errorf("%s is left", e.Name())
					}
				}
			}
		})
	}
}

// Init in a directory that holds other things leaves them alone; a folder of
// logs without its database is not taken over.
func TestInitAmongOthers(t *testing.T) {
	dir := t.TempDir()
	notes := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(notes, []byte("ours"), 0o644); err != nil {
		t.Fatal(err)
	}
	s := initialise(t, dir)
	put(t, s, example("twin", 1))
	if data, err := os.ReadFile(notes); err != nil || string(data) != "ours" {
		t.Errorf("the other file is %q, %v", data, err)
	}
	orphaned := filepath.Join(t.TempDir(), "lab")
	if err := errors.Join(os.MkdirAll(filepath.Join(orphaned, "blobs", "ab"), 0o755), os.WriteFile(filepath.Join(orphaned, "blobs", ownerFile), []byte("x\n"), 0o644)); err != nil {
		t.Fatal(err)
	}
	if _, err := Init(t.Context(), orphaned); !errors.Is(err, ErrExists) || !errors.Is(err, ErrNoDatabase) {
		t.Errorf("got %v, want ErrExists and ErrNoDatabase", err)
	}
	if _, err := os.Stat(filepath.Join(orphaned, databaseFile)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a database was left: %v", err)
	}
}

// A campaign that is closed takes no new version, and leaves no file.
func TestSupersedeOfAClosedCampaignLeavesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 2))
		if _, err := s.SetState(t.Context(), "twin", StateClosed, anna); err != nil {
			t.Fatal(err)
		}
		changed := example("twin", 3)
		changed.CampaignFile = []byte("another")
		if _, err := s.Supersede(t.Context(), changed, anna); !errors.Is(err, ErrNotOpen) {
			t.Errorf("got %v, want ErrNotOpen", err)
		}
		if c, err := s.Supersede(t.Context(), example("twin", 2), anna); err != nil || c.Changed() {
			t.Errorf("the same again: %+v, %v; want no change", c, err)
		}
		report, err := s.Check(t.Context())
		if err != nil || len(report.Problems) != 0 {
			t.Errorf("the doctor finds %v, %v; want nothing", report.Problems, err)
		}
		if _, err := s.Supersede(t.Context(), changed, Author{Who: "Anna Test"}); !errors.Is(err, ErrNotOpen) && !errors.Is(err, ErrRefused) {
			t.Errorf("without a reason: %v", err)
		}
	})
}

func TestBackupIntoNoFolder(t *testing.T) {
	s := initialise(t, filepath.Join(t.TempDir(), "lab"))
	missing := filepath.Join(t.TempDir(), "nowhere")
	err := s.Backup(t.Context(), filepath.Join(missing, "lab.tar"))
	if err == nil || !strings.Contains(err.Error(), "there is no folder "+missing) || strings.Contains(err.Error(), ".backup-") {
		t.Errorf("got %v, want the folder named and no staging name", err)
	}
}

// A place that cannot be looked at is not taken for one that has something.
func TestPlacesThatCannotBeLookedAt(t *testing.T) {
	s := initialise(t, filepath.Join(t.TempDir(), "lab"))
	file := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(file, []byte("ours"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := Init(t.Context(), filepath.Join(file, "lab"))
	for name, err := range map[string]error{
		"init":    err,
		"backup":  s.Backup(t.Context(), filepath.Join(file, "lab.tar")),
		"restore": Restore(t.Context(), "lab.tar", filepath.Join(file, "lab")),
	} {
		if !errors.Is(err, syscall.ENOTDIR) || errors.Is(err, ErrExists) {
			t.Errorf("%s: got %v, want that it is below a file", name, err)
		}
	}
}

// A database that may only be read is told from one that is damaged.
func TestReadOnlyIsSaid(t *testing.T) {
	s := initialise(t, filepath.Join(t.TempDir(), "lab"))
	db, err := sql.Open(sqliteEngine.driver, sqliteURI(s.place.database)+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`UPDATE workspace SET last_change = 7`); !errors.Is(explain(err), ErrReadOnly) {
		t.Errorf("got %v, want ErrReadOnly", explain(err))
	}
}
