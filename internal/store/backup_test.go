package store

import (
	"archive/tar"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

func TestBackupRestore(t *testing.T) {
	dir := t.TempDir()
	s := initialise(t, filepath.Join(dir, "lab"))
	a, b := example("first", 6), example("second", 3)
	put(t, s, a)
	put(t, s, b)
	if _, err := s.Attach(t.Context(), photograph("first"), []byte("a photograph"), anna); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "lab.backup")

	// Someone goes on writing meanwhile.
	var writer sync.WaitGroup
	writer.Go(func() {
		for i := 3; i < 15; i++ {
			pull, log := examplePull("second", i)
			if _, err := s.AddPull(t.Context(), "second", pull, log, anna); err != nil {
				t.Error(err)
			}
		}
	})
	err := s.Backup(t.Context(), file)
	writer.Wait()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(t.Context(), file); !errors.Is(err, ErrExists) {
		t.Errorf("a second backup to the same file gives %v, want ErrExists", err)
	}

	back := filepath.Join(dir, "back")
	if err := Restore(t.Context(), file, back); err != nil {
		t.Fatal(err)
	}
	restored, err := Open(t.Context(), back)
	if err != nil {
		t.Fatal(err)
	}
	defer restored.Close()
	same(t, restored, a)
	clean(t, restored)
	if restored.ID() != s.ID() {
		t.Errorf("the restored workspace is %s, the backed up one %s", restored.ID(), s.ID())
	}
	second, err := restored.Get(t.Context(), "second")
	if err != nil || len(second.Campaign.Pulls) < 3 {
		t.Errorf("the second campaign came back with %d pulls, %v", len(second.Campaign.Pulls), err)
	}
	attached, err := restored.Attachments(t.Context(), "first")
	if err != nil || len(attached) != 1 {
		t.Fatalf("attachments %v, %v; want one", attached, err)
	}
	if data, err := restored.Blob(t.Context(), attached[0].Digest); err != nil || string(data) != "a photograph" {
		t.Errorf("the attachment came back as %q, %v", data, err)
	}
	if err := Restore(t.Context(), file, back); !errors.Is(err, ErrExists) {
		t.Errorf("restoring over a workspace gives %v, want ErrExists", err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 3 {
		t.Errorf("%v, %v are left; want lab, lab.backup and back", entries, err)
	}
}

// A backup that lost or changed a byte anywhere is refused, and restoring it
// leaves no workspace.
func TestRestoreRefusesDamage(t *testing.T) {
	dir := t.TempDir()
	s := initialise(t, filepath.Join(dir, "lab"))
	put(t, s, example("first", 2))
	file := filepath.Join(dir, "whole")
	if err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	content := offsets(t, whole)
	if len(content) != 6 { // head, database, two logs, two originals
		t.Fatalf("the backup has %d entries, want 6", len(content))
	}
	damaged := map[string][]byte{"empty": nil, "half": whole[:len(whole)/2], "not a backup": []byte("time,drum_speed\n")}
	for i, at := range content[1:] {
		turned := bytes.Clone(whole)
		turned[at] ^= 1
		damaged["entry "+string(rune('1'+i))] = turned
	}
	for name, data := range damaged {
		bad, back := filepath.Join(dir, "bad"), filepath.Join(dir, "back")
		if err := os.WriteFile(bad, data, 0o644); err != nil {
			t.Fatal(err)
		}
		err := Restore(t.Context(), bad, back)
		if !errors.Is(err, ErrNoBackup) && !errors.As(err, new(*DamagedError)) {
			t.Errorf("%s: got %v, want ErrNoBackup or a DamagedError", name, err)
		}
		if _, err := os.Stat(back); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: something was restored (%v)", name, err)
		}
	}
}

// offsets returns where each entry's content begins.
func offsets(t *testing.T, archive []byte) (list []int64) {
	t.Helper()
	source := bytes.NewReader(archive)
	r := tar.NewReader(source)
	for {
		_, err := r.Next()
		if err == io.EOF {
			return list
		}
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, source.Size()-int64(source.Len()))
	}
}

func TestServerBackupSaysSo(t *testing.T) {
	where := freshDatabase(t)
	s := initialise(t, where)
	if err := s.Backup(t.Context(), filepath.Join(t.TempDir(), "file")); !errors.Is(err, ErrServerBackup) {
		t.Errorf("got %v, want ErrServerBackup", err)
	}
	if err := Restore(t.Context(), "file", where); !errors.Is(err, ErrServerBackup) {
		t.Errorf("got %v, want ErrServerBackup", err)
	}
}
