package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"
)

// run carries out one command line as a user would and returns what came back.
func run(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = Run(context.Background(), args, strings.NewReader(""), &out, &errs)
	return code, out.String(), errs.String()
}

func mustRun(t *testing.T, args ...string) string {
	t.Helper()
	code, out, errs := run(t, args...)
	if code != exitDone {
		t.Fatalf("fairpull %s: exit %d\n%s", strings.Join(args, " "), code, errs)
	}
	return out
}

func TestDemoShowsItsGainAndWritesItsReport(t *testing.T) {
	t.Chdir(t.TempDir())
	out := mustRun(t, "demo")
	for _, want := range []string{"gain", "at least", "coast-down", "fairpull gain my-campaign"} {
		if !strings.Contains(strings.ToLower(out), want) {
			t.Errorf("the demo's output has no %q:\n%s", want, out)
		}
	}
	page, err := os.ReadFile(demoReport)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(page, []byte("<svg")) || !bytes.Contains(page, []byte("</html>")) {
		t.Errorf("%s has no chart or no end", demoReport)
	}
	left, err := filepath.Glob(".fairpull-*")
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestSameInputSameBytes(t *testing.T) {
	t.Chdir(t.TempDir())
	if a, b := mustRun(t, "demo", "--json"), mustRun(t, "demo", "--json"); a != b {
		t.Error("demo --json differs from call to call")
	}
	mustRun(t, "demo", "--folder", "one")
	if a, b := mustRun(t, "gain", "one", "--json"), mustRun(t, "demo", "--json"); a != b {
		t.Error("the demo's folder gives another result than the demo")
	}
	for _, form := range []string{"html", "pdf", "svg", "png"} {
		mustRun(t, "gain", "one", "--report", "a."+form, "--report", "b."+form)
		a, errA := os.ReadFile("a." + form)
		b, errB := os.ReadFile("b." + form)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: %v, %v, equal: %v", form, errA, errB, bytes.Equal(a, b))
		}
	}
}

func TestWrongUsageNamesACommandThatWorks(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, args := range [][]string{
		{"gian"},
		{"gain"},
		{"gain", "a", "b"},
		{"gain", "a", "--units", "imperial"},
		{"gain", "a", "--report", "x.docx"},
		{"gain", "--nonsense"},
		{"demo", "more"},
		{"air", "--pressure", "98.2", "--temperature", "24 °C", "--humidity", "45 %"},
		{"air", "--pressure", "98.2 kPa", "--temperature", "24 kPa", "--humidity", "45 %"},
		{"air", "--pressure", "98.2 kPa", "--temperature", "24 °C"},
		{"air", "--pressure", "98.2 kPa", "--temperature", "24 °C", "--humidity", "45 %", "--dew-point", "12 °C"},
		{"simulate"},
		{"simulate", "--scenario", "demo", "--file", "x", "y"},
		{"reduce", "a", "--json", "--csv"},
		{"init"},
		{"import"},
		{"import", "a", "--supersede"},
		{"import", "a", "--workspace", ""},
		{"export", "twin650-intake-cam"},
		{"export", "twin650-intake-cam", "twin", "--version", "-1"},
		{"campaigns", "--state", "gone"},
		{"campaigns", "--limit", "0"},
		{"campaigns", ""},
		{"doctor", "more"},
		{"backup"},
		{"restore", "lab.tar"},
	} {
		code, out, errs := run(t, args...)
		if code != exitUsage || out != "" || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, "Try: fairpull") {
			t.Errorf("fairpull %s: exit %d, want %d\nstdout: %s\nstderr: %s", strings.Join(args, " "), code, exitUsage, out, errs)
		}
	}
}

func TestCouldNotLeavesNothingBehind(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.Mkdir("empty", 0o755); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"gain", "nowhere", "--report", "gain.pdf"},
		{"gain", "empty", "--report", "gain.pdf"},
		{"reduce", "nowhere"},
		{"simulate", "--file", "nowhere.toml", "out"},
		{"import", "empty", "--workspace", "nowhere"},
		{"export", "twin650-intake-cam", "out", "--workspace", "nowhere"},
		{"campaigns", "--workspace", "nowhere"},
		{"campaigns", "--workspace", "gopher://nowhere"},
		{"doctor", "--workspace", "nowhere"},
		{"backup", "lab.tar", "--workspace", "nowhere"},
		{"restore", "nowhere.tar", "out"},
	} {
		code, out, errs := run(t, args...)
		if code != exitCouldNot || out != "" || !strings.HasPrefix(errs, "fairpull: ") {
			t.Errorf("fairpull %s: exit %d, want %d\nstdout: %s\nstderr: %s", strings.Join(args, " "), code, exitCouldNot, out, errs)
		}
	}
	entries, err := os.ReadDir(".")
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

func TestReportsAreNotReplacedUnasked(t *testing.T) {
	t.Chdir(t.TempDir())
	mustRun(t, "demo", "--folder", "one")
	if err := os.WriteFile("gain.svg", []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := run(t, "gain", "one", "--report", "gain.svg"); code == exitDone || !strings.Contains(errs, "--overwrite") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if data, err := os.ReadFile("gain.svg"); err != nil || string(data) != "mine" {
		t.Errorf("the file was changed: %q, %v", data, err)
	}
	mustRun(t, "gain", "one", "--report", "gain.svg", "--overwrite")
	if code, _, errs := run(t, "demo", "--folder", "one"); code != exitCouldNot {
		t.Errorf("a folder with something in it was written to: exit %d: %s", code, errs)
	}
}

// The gain result has exactly the keys of the example in docs/formats.md,
// section 2.
func TestGainResultHasTheKeysOfTheFormat(t *testing.T) {
	t.Chdir(t.TempDir())
	text := mustRun(t, "demo", "--json")
	doc, err := os.ReadFile(filepath.Join(repository(t), "docs", "formats.md"))
	if err != nil {
		t.Fatal(err)
	}
	example := regexp.MustCompile("(?s)```json\n(.*?)```").FindSubmatch(doc)
	if example == nil {
		t.Fatal("docs/formats.md has no JSON example")
	}
	var want, got any
	if err := json.Unmarshal(example[1], &want); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	wantKeys, gotKeys := keysOf("", want), keysOf("", got)
	for _, key := range wantKeys {
		if !slices.Contains(gotKeys, key) {
			t.Errorf("the gain result lacks %s", key)
		}
	}
	for _, key := range gotKeys {
		if !slices.Contains(wantKeys, key) {
			t.Errorf("the gain result has %s, which the format does not have", key)
		}
	}
}

// keysOf lists the paths of all keys below v, the elements of a list together.
func keysOf(path string, v any) []string {
	set := map[string]bool{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for key, value := range v {
				set[path+"."+key] = true
				walk(path+"."+key, value)
			}
		case []any:
			for _, value := range v {
				walk(path+"[]", value)
			}
		}
	}
	walk(path, v)
	var keys []string
	for key := range set {
		keys = append(keys, key)
	}
	sort.Strings(keys)
	return keys
}

// repository returns the root of the source tree, whatever folder the test has
// changed to.
func repository(t *testing.T) string {
	t.Helper()
	return root
}

var root = func() string {
	dir, err := os.Getwd()
	if err != nil {
		panic(err)
	}
	return filepath.Dir(filepath.Dir(dir))
}()

func TestAirAgreesWithTheForms(t *testing.T) {
	var air struct {
		Vapour      float64 `json:"vapour_pressure_pa"`
		Corrections []struct {
			Standard string  `json:"standard"`
			Factor   float64 `json:"factor"`
		} `json:"corrections"`
	}
	out := mustRun(t, "air", "--pressure", "1000 hPa", "--temperature", "30 °C", "--humidity", "60 %", "--json")
	if err := json.Unmarshal([]byte(out), &air); err != nil {
		t.Fatal(err)
	}
	// Worked from the printed forms with the CIPM vapour pressure (Davis 1992):
	// pv = 25.4808 hPa, pd = 974.5192 hPa.
	want := map[string]float64{"SAE J1349": 1.02876, "ISO 1585": 1.029318, "SAE J607": 1.065392, "DIN 70020": 1.030142, "none": 1}
	if d := air.Vapour - 2548.08; d > 0.02 || d < -0.02 {
		t.Errorf("vapour pressure %v Pa, want 2548.08", air.Vapour)
	}
	for _, c := range air.Corrections {
		if d := c.Factor - want[c.Standard]; !(d < 2e-5 && d > -2e-5) {
			t.Errorf("%s: factor %v, want %v", c.Standard, c.Factor, want[c.Standard])
		}
		delete(want, c.Standard)
	}
	if len(want) > 0 {
		t.Errorf("no factor for %v", want)
	}
}
