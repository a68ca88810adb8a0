package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// From the guide to a kept calibration, as a person goes; wrong usage says a command
// that works.
func TestCalibrateFromGuideToKept(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	if out := mustRun(t, "calibrate", "brake"); !strings.Contains(out, "Dead weights fall") || !strings.Contains(out, "fairpull calibrate brake --example brake-readings") {
		t.Errorf("the guide:\n%s", out)
	}
	mustRun(t, "calibrate", "brake", "--example", "brake-readings")
	file := filepath.Join("brake-readings", "brake.toml")
	if code, _, errs := run(t, "calibrate", "brake", "--example", "brake-readings"); code != exitCouldNot || !strings.Contains(errs, "not empty") {
		t.Errorf("an example over another: %d, %s", code, errs)
	}
	var found struct {
		Values []struct {
			Value float64 `json:"value"`
		} `json:"values"`
		Kept []string `json:"kept"`
	}
	if err := json.Unmarshal([]byte(mustRun(t, "calibrate", "brake", file, "--json")), &found); err != nil || len(found.Values) != 1 || len(found.Kept) != 0 {
		t.Fatalf("%+v, %v", found, err)
	}
	if out := mustRun(t, "calibrate", "brake", file, "--keep", "--report", "brake.html"); !strings.Contains(out, "It holds for the pulls of dyno cell-9") {
		t.Errorf("kept:\n%s", out)
	}
	if page, err := os.ReadFile("brake.html"); err != nil || !strings.Contains(string(page), "Uncertainty budget") {
		t.Errorf("the page: %v", err)
	}
	if out := mustRun(t, "calibration", "cell-9"); !strings.Contains(out, "brake arm") {
		t.Errorf("the calibrations:\n%s", out)
	}
	mustRun(t, "calibrate", "barometer", "--example", "air")
	if out := mustRun(t, "calibrate", "barometer", filepath.Join("air", "barometer.toml"), "--keep"); !strings.Contains(out, "It joins what was calibrated") {
		t.Errorf("another of the same day:\n%s", out)
	}
	if out := mustRun(t, "calibration", "cell-9"); !strings.Contains(out, "barometer") || !strings.Contains(out, "+120 Pa") || !strings.Contains(out, "brake arm") {
		t.Errorf("the calibrations:\n%s", out)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), "lever_m = 0.800", "lever_m = 0.801", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := run(t, "calibrate", "brake", file, "--keep"); code != exitCouldNot || !strings.Contains(errs, "--why") {
		t.Errorf("another arm of the same day without a reason: exit %d, %s", code, errs)
	}
	if out := mustRun(t, "calibrate", "brake", file, "--keep", "--why", "lever measured again"); !strings.Contains(out, "stands in the place") {
		t.Errorf("another arm of the same day:\n%s", out)
	}
	for _, args := range [][]string{
		{"calibrate"}, {"calibrate", "luck"}, {"calibrate", "brake", "a", "b"}, {"calibrate", "brake", "--keep"}, {"calibrate", "brake", "--json"},
		{"calibrate", "brake", file, "--example", "x"}, {"calibrate", "brake", file, "--report", "x.svgz"},
	} {
		if code, _, errs := run(t, args...); code != exitUsage || !strings.Contains(errs, "fairpull calibrate") {
			t.Errorf("%q: exit %d, %s", args, code, errs)
		}
	}
	if code, _, errs := run(t, "calibrate", "brake", "none.toml"); code != exitCouldNot || !strings.Contains(errs, "none.toml") {
		t.Errorf("a file that is not there: exit %d, %s", code, errs)
	}
}

// A budget with what is stated, and wrong usage.
func TestBudgetVerb(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	text := "format = \"fairpull.uncertainty/1\"\n[[source]]\nwhat = \"drum_speed\"\nu = 0.1\nunit = \"%\"\n"
	if err := os.WriteFile("known.toml", []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out := mustRun(t, "budget", "my-campaign", "--known", "known.toml", "--draws", "10000")
	if !strings.Contains(out, "scale of drum speed") || strings.Contains(out, "not in it: bare drum torque; scale of drum speed") {
		t.Error(out)
	}
	for _, args := range [][]string{{"budget"}, {"budget", "my-campaign", "--draws", "5"}, {"budget", "my-campaign", "--report", "x"}} {
		if code, _, errs := run(t, args...); code != exitUsage || !strings.Contains(errs, "fairpull budget my-campaign") {
			t.Errorf("%q: exit %d, %s", args, code, errs)
		}
	}
	for _, args := range [][]string{{"budget", "none"}, {"budget", "my-campaign", "--candidate", "Z"}, {"budget", "my-campaign", "--known", "none.toml"}} {
		if code, _, _ := run(t, args...); code != exitCouldNot {
			t.Errorf("%q: exit %d", args, code)
		}
	}
}
