package lab

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/evidence"
)

// A private key is not written into the workspace, by whatever way its path leads there.
func TestKeyStaysOutsideTheWorkspace(t *testing.T) {
	dir := t.TempDir()
	place := filepath.Join(dir, "our-lab")
	w := &Workspace{place: place}
	for _, folder := range []string{filepath.Join(place, "blobs"), filepath.Join(dir, "keys")} {
		if err := os.MkdirAll(folder, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for link, to := range map[string]string{"link": place, "deep": filepath.Join(place, "blobs"), "safe": filepath.Join(dir, "keys")} {
		if err := os.Symlink(to, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	for path, within := range map[string]bool{
		"our-lab/a.key": true, "our-lab/new/a.key": true, "link/a.key": true, "link/new/a.key": true, "deep/a.key": true, "keys/../our-lab/a.key": true,
		"keys/a.key": false, "safe/a.key": false, "new/deeper/a.key": false, "our-lab-keys/a.key": false,
	} {
		if err := w.outside(filepath.Join(dir, path)); errors.Is(err, ErrRefused) != within || !within && err != nil {
			t.Errorf("%s: %v, within %v", path, err, within)
		}
	}
}

// What goes wrong with a key names its file, once.
func TestOpenKeyNamesTheFileOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "anna.key")
	key, err := evidence.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	if err := key.Save(path, "a long passphrase"); err != nil {
		t.Fatal(err)
	}
	for what, file := range map[string]KeyFile{"another passphrase": {path, "another passphrase"}, "no file": {path + "x", "a long passphrase"}} {
		if _, err := openKey(file); err == nil || strings.Count(err.Error(), "anna.key") != 1 {
			t.Errorf("%s: %v", what, err)
		}
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := openKey(KeyFile{path, "a long passphrase"}); !errors.Is(err, evidence.ErrKeyOpen) || strings.Count(err.Error(), "anna.key") != 1 {
		t.Errorf("that others may read: %v", err)
	}
}
