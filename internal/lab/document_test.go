package lab

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// names lists a folder.
func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

// Where there are no hard links a file is still placed whole, and never over
// one that is there.
func TestPlaceWithoutLinks(t *testing.T) {
	noLinks := func(string, string) error { return errors.ErrUnsupported }
	for name, link := range map[string]func(string, string) error{"links": os.Link, "no links": noLinks} {
		dir := t.TempDir()
		staged, file := filepath.Join(dir, "staged"), filepath.Join(dir, "file")
		write := func(path, text string) {
			if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		write(staged, "first")
		if err := place(link, staged, file); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if err := os.RemoveAll(staged); err != nil {
			t.Fatal(err)
		}
		write(staged, "second")
		if err := place(link, staged, file); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: over a file that is there: %v", name, err)
		}
		if got, err := os.ReadFile(file); err != nil || string(got) != "first" {
			t.Errorf("%s: the file holds %q, %v", name, got, err)
		}
		missing := filepath.Join(dir, "missing")
		if err := place(link, filepath.Join(dir, "not staged"), missing); err == nil {
			t.Errorf("%s: placed what is not there", name)
		}
		if _, err := os.Lstat(missing); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: a failure leaves a file behind: %v", name, err)
		}
	}
}

// What is written has the mode that any new file or folder of the user has.
func TestWrittenModesAreTheUsers(t *testing.T) {
	dir := t.TempDir()
	file, folder := filepath.Join(dir, "f"), filepath.Join(dir, "d")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	for _, overwrite := range []bool{false, true} {
		written := filepath.Join(dir, "written")
		if err := WriteFile(written, []byte("x"), overwrite); err != nil {
			t.Fatal(err)
		}
		if got, want := modeOf(t, written), modeOf(t, file); got != want {
			t.Errorf("overwrite %v: mode %v, want %v", overwrite, got, want)
		}
	}
	demo := filepath.Join(dir, "demo")
	if err := WriteDemo(demo); err != nil {
		t.Fatal(err)
	}
	for path, like := range map[string]string{demo: folder, filepath.Join(demo, "logs"): folder, filepath.Join(demo, "pulls.csv"): file} {
		if got, want := modeOf(t, path), modeOf(t, like); got != want {
			t.Errorf("%s: mode %v, want %v", path, got, want)
		}
	}
}

func modeOf(t *testing.T, path string) fs.FileMode {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Mode()
}

// What cannot be written is named as the user named it, and nothing stays.
func TestWriteFailuresNameTheFile(t *testing.T) {
	if runtime.GOOS == "windows" || os.Geteuid() == 0 {
		t.Log("a folder's mode does not keep this user out: only missing folders are tried")
	} else {
		closed := t.TempDir()
		if err := os.Chmod(closed, 0o555); err != nil {
			t.Fatal(err)
		}
		checkNotWritten(t, filepath.Join(closed, "a.html"), WriteFile(filepath.Join(closed, "a.html"), nil, false))
		checkNotWritten(t, filepath.Join(closed, "a"), WriteDemo(filepath.Join(closed, "a")))
	}
	dir := t.TempDir()
	missing := filepath.Join(dir, "nodir", "a.html")
	checkNotWritten(t, missing, WriteFile(missing, nil, false))
	taken := filepath.Join(dir, "taken")
	if err := os.MkdirAll(filepath.Join(taken, "full"), 0o777); err != nil {
		t.Fatal(err)
	}
	checkNotWritten(t, taken, WriteFile(taken, nil, true))
	failing := filepath.Join(dir, "failing")
	checkNotWritten(t, failing, writeFolder(failing, func(staging string) error {
		return os.WriteFile(filepath.Join(staging, "nodir", "x"), nil, 0o666)
	}))
	if got := names(t, dir); len(got) != 1 {
		t.Errorf("left behind: %v", got)
	}
}

func checkNotWritten(t *testing.T, file string, err error) {
	t.Helper()
	if err == nil || !strings.HasPrefix(err.Error(), file+" was not written: ") || strings.Contains(err.Error(), ".fairpull-") {
		t.Errorf("%s: %v", file, err)
	}
}
