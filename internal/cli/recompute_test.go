package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestRecomputeCommand(t *testing.T) {
	t.Chdir(t.TempDir())
	place := ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	mustRun(t, "import", "one")
	if out := mustRun(t, "recompute"); !strings.Contains(out, "Derived 0 campaigns again") {
		t.Errorf("without a result it says %q", out)
	}
	if code, _, errs := run(t, "recompute", demoID); code != exitCouldNot || !strings.Contains(errs, "a result of campaign") {
		t.Errorf("a campaign without a result: exit %d: %s", code, errs)
	}
	mustRun(t, "judge", demoID)
	if out := mustRun(t, "recompute", demoID); !strings.Contains(out, "1 the same to the last digit, 0 moved") {
		t.Errorf("it says %q", out)
	}
	// A log is damaged: said, and no error.
	var log string
	err := filepath.WalkDir(filepath.Join(place, "blobs"), func(path string, entry os.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && entry.Name() != "WORKSPACE" {
			data, err := os.ReadFile(path)
			if err == nil && strings.Contains(string(data[:min(len(data), 200)]), "drum_speed") {
				log = path
			}
		}
		return err
	})
	if err != nil || log == "" {
		t.Fatalf("no log is found: %v", err)
	}
	if err := os.Remove(log); err != nil {
		t.Fatal(err)
	}
	if out := mustRun(t, "recompute"); !strings.Contains(out, "1 could not be derived") || !strings.Contains(out, "Not derived:\n  "+demoID) {
		t.Errorf("without a log it says %q", out)
	}
	var answer struct {
		Format string
		Counts map[string]int
		Result []struct{ Campaign, Problem string } `json:"results"`
	}
	if err := json.Unmarshal([]byte(mustRun(t, "recompute", "--dry-run", "--json")), &answer); err != nil {
		t.Fatal(err)
	}
	if answer.Format != "fairpull.recompute/1" || answer.Counts["problems"] != 1 || len(answer.Result) != 1 || answer.Result[0].Problem == "" {
		t.Errorf("the JSON says %+v", answer)
	}
	for _, wrong := range [][]string{{"recompute", "--join", "--json"}, {"recompute", "--join", demoID}} {
		if code, _, errs := run(t, wrong...); code != exitUsage || !strings.Contains(errs, "Try: fairpull recompute --join") {
			t.Errorf("%q: exit %d: %s", wrong, code, errs)
		}
	}
	if code, _, errs := run(t, "recompute", "--join"); code != exitCouldNot || !strings.Contains(errs, "could be joined") {
		t.Errorf("nothing to join: exit %d: %s", code, errs)
	}
}

func TestAttachCommand(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	mustRun(t, "import", "one")
	if err := os.WriteFile("strap.png", []byte("\x89PNG\r\n\x1a\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if out := mustRun(t, "attach", demoID, "--list"); out != "Nothing is attached to "+demoID+".\n" {
		t.Errorf("it says %q", out)
	}
	if out := mustRun(t, "attach", demoID, "--setup", "s1", "strap.png", "--note", "rear strap"); !strings.Contains(out, "1 of 1 files") {
		t.Errorf("it says %q", out)
	}
	list := mustRun(t, "attach", demoID, "--list")
	for _, want := range []string{"setup s1", "strap.png", "image/png", "sha256:", "rear strap"} {
		if !strings.Contains(list, want) {
			t.Errorf("the list has no %q:\n%s", want, list)
		}
	}
	mustRun(t, "export", demoID, "two")
	if out := mustRun(t, "import", "two", "--workspace", initialised(t, "other")); !strings.Contains(out, "Documents attached: 1.") {
		t.Errorf("it says %q", out)
	}
	for _, wrong := range [][]string{
		{"attach", demoID, "strap.png"},
		{"attach", demoID, "strap.png", "--setup", "s1", "--configuration", "B"},
		{"attach", demoID, "--setup", "s1"},
		{"attach", demoID, "--list", "--setup", "s1"},
		{"attach", "--list"},
	} {
		if code, _, errs := run(t, wrong...); code != exitUsage || !strings.Contains(errs, "Try: fairpull attach") {
			t.Errorf("%q: exit %d: %s", wrong, code, errs)
		}
	}
}

func initialised(t *testing.T, dir string) string {
	t.Helper()
	mustRun(t, "init", dir)
	return dir
}

func TestDoctorSweeps(t *testing.T) {
	t.Chdir(t.TempDir())
	place := ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	mustRun(t, "import", "one")
	if out := mustRun(t, "doctor", "--sweep"); !strings.Contains(out, "nothing was removed") {
		t.Errorf("it says %q", out)
	}
	left := filepath.Join(place, "blobs", "unfinished", "123")
	if err := os.WriteFile(left, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(left, time.Time{}, time.Now().Add(-25*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if out := mustRun(t, "doctor"); !strings.Contains(out, "left over  file "+left) {
		t.Errorf("it says %q", out)
	}
	if out := mustRun(t, "doctor", "--sweep"); !strings.Contains(out, "removed  file "+left) {
		t.Errorf("it says %q", out)
	}
	if _, err := os.Stat(left); !os.IsNotExist(err) {
		t.Errorf("the file is there: %v", err)
	}
}
