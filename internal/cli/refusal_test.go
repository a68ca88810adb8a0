package cli

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// bench makes a folder with a campaign, my-campaign, and a log on its own,
// pull.csv, and goes there.
func bench(t *testing.T) {
	t.Helper()
	t.Chdir(t.TempDir())
	mustRun(t, "demo", "--folder", "my-campaign")
	if err := os.Remove(demoReport); err != nil {
		t.Fatal(err)
	}
	log, err := os.ReadFile(filepath.Join("my-campaign", "logs", "pull-001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("pull.csv", log, 0o644); err != nil {
		t.Fatal(err)
	}
}

// refused carries out a command line that is wrong usage and returns the one
// line that says so and the command that it names.
func refused(t *testing.T, args ...string) (line, try string) {
	t.Helper()
	code, out, errs := run(t, args...)
	if code != exitUsage || out != "" || strings.Count(errs, "\n") != 1 {
		t.Errorf("fairpull %s: exit %d, want %d with one line\nstdout: %s\nstderr: %s", strings.Join(args, " "), code, exitUsage, out, errs)
	}
	line, try, found := strings.Cut(strings.TrimSpace(errs), " Try: fairpull ")
	if !found {
		t.Errorf("fairpull %s names no command: %s", strings.Join(args, " "), errs)
	}
	return line, try
}

func TestReduceRefusesWhatNoRigHas(t *testing.T) {
	bench(t)
	const inside = "my-campaign/logs/pull-001.csv"
	rig := []string{"reduce", "pull.csv", "--inertia", "15", "--drum-radius", "0.25"}
	on := func(args ...string) []string { return append(rig[:len(rig):len(rig)], args...) }
	mustRun(t, on("--parasitic", "1.2,-0.001", "--ratio", "0")...)
	for _, c := range []struct {
		args []string
		says string
	}{
		{on("--parasitic", "nan"), "--parasitic holds NaN"},
		{on("--parasitic", "1,inf"), "--parasitic holds +Inf"},
		{on("--parasitic", "1,2,3,4"), "at most three"},
		{[]string{"reduce", "pull.csv", "--inertia", "-15", "--drum-radius", "0.25"}, "--inertia is -15"},
		{[]string{"reduce", "pull.csv", "--inertia", "0", "--drum-radius", "0.25"}, "--inertia is 0"},
		{[]string{"reduce", "pull.csv", "--inertia", "nan", "--drum-radius", "0.25"}, "--inertia is NaN"},
		{[]string{"reduce", "pull.csv", "--inertia", "15", "--drum-radius", "-0.25"}, "--drum-radius is -0.25"},
		{[]string{"reduce", "pull.csv", "--inertia", "heavy"}, `--inertia is a number, and "heavy" is none`},
		{on("--ratio", "-1"), "--ratio is -1"},
		{on("--ratio", "inf"), "--ratio is +Inf"},
		{on("--wheel-inertia", "-0.6"), "--wheel-inertia is -0.6"},
		{on("--wheel-radius", "nan"), "--wheel-radius is NaN"},
		{on("--pulses-per-rev", "-60"), "--pulses-per-rev is -60"},
		{on("--engine-pulses-per-rev", "-inf"), "--engine-pulses-per-rev is -Inf"},
		{on("--brake-arm", "0"), "--brake-arm is 0"},
		{on("--pull", "1"), "--pull chooses from a campaign folder"},
		{on("--every", "0"), "--every is 0"},
		{on("--every", "-5"), "--every is -5"},
		{on("--every", "nan"), "--every is NaN"},
		{on("--every", "inf"), "--every is +Inf"},
		{[]string{"reduce", "pull.csv"}, "must be described by flags"},
		{[]string{"reduce", "pull.csv", "--drum-radius", "0.25"}, "must be described by flags"},
		{[]string{"reduce", inside, "--pull", "2"}, "--pull chooses from a campaign folder"},
		{[]string{"reduce", inside, "--inertia", "15"}, "--inertia is for a log on its own"},
		{[]string{"reduce", "my-campaign", "--inertia", "15"}, "--inertia is for a log on its own"},
		{[]string{"reduce", "my-campaign", "--pull", ""}, "--pull names no pull"},
		{[]string{"reduce", "my-campaign", "--parasitic", "1"}, "--parasitic is for a log on its own"},
	} {
		line, try := refused(t, c.args...)
		if !strings.Contains(line, c.says) {
			t.Errorf("fairpull %s: %s\nwant %q", strings.Join(c.args, " "), line, c.says)
		}
		if code, _, errs := run(t, splitWords(try)...); code != exitDone {
			t.Errorf("fairpull %s: the command that it names, %q, ends with %d: %s", strings.Join(c.args, " "), try, code, errs)
		}
	}
}

func TestReportsAreRefusedBeforeAnyWork(t *testing.T) {
	bench(t)
	if err := os.Mkdir("folder.html", 0o755); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		files []string
		says  string
	}{
		{[]string{"a.html", "a.html"}, "a.html is named twice"},
		{[]string{"a.html", "./x/../a.html"}, "named twice"},
		{[]string{"a.html", filepath.Join("my-campaign", "..", "a.html")}, "named twice"},
		{[]string{"nodir/x.html"}, "nodir/x.html cannot be written: there is no folder nodir"},
		{[]string{"pull.csv/x.html"}, "pull.csv is not a folder"},
		{[]string{"folder.html", "--overwrite"}, "folder.html is a folder"},
	} {
		// The campaign is not there: what is refused is refused before it is read.
		args := []string{"gain", "nowhere"}
		for _, file := range c.files {
			if !strings.HasPrefix(file, "--") {
				args = append(args, "--report")
			}
			args = append(args, file)
		}
		if line, _ := refused(t, args...); !strings.Contains(line, c.says) {
			t.Errorf("fairpull %s: %s\nwant %q", strings.Join(args, " "), line, c.says)
		}
	}
}

func TestSimulateAndHelpRefuse(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"simulate", "--scenario", "demo", ""}, "the folder to write has no name"},
		{[]string{"simulate", "--scenario", "dmeo", "out"}, `there is no scenario "dmeo"; there are demo, null,`},
		{[]string{"simulate", "--show", "dmeo"}, `there is no scenario "dmeo"`},
		{[]string{"simulate", "--show", ""}, `there is no scenario ""`},
		{[]string{"simulate", "--list", "--show", "demo"}, "--list and --show"},
		{[]string{"simulate", "--scenario", "demo", "--seed", "-1", "out"}, `--seed is a whole number from 0 to 2^64 - 1, and "-1" is none`},
		{[]string{"help", "nope"}, `there is no help on "nope"`},
		{[]string{"help", "gain", "more"}, `there is no help on "gain more"`},
	} {
		line, try := refused(t, c.args...)
		if !strings.Contains(line, c.says) {
			t.Errorf("fairpull %s: %s\nwant %q", strings.Join(c.args, " "), line, c.says)
		}
		if code, _, errs := run(t, splitWords(try)...); code != exitDone {
			t.Errorf("fairpull %s: the command that it names, %q, ends with %d: %s", strings.Join(c.args, " "), try, code, errs)
		}
	}
	if out := mustRun(t, "help", "gain"); out != mustRun(t, "gain", "--help") {
		t.Errorf("help gain differs from gain --help:\n%s", out)
	}
	if out := mustRun(t, "help"); !strings.Contains(out, "simulate") {
		t.Errorf("help does not list the verbs:\n%s", out)
	}
	if out := mustRun(t, "__complete", "help", "ga"); !strings.Contains(out, "gain") {
		t.Errorf("completion of \"help ga\" gives %q", out)
	}
}

func TestScenarioWithoutBandSaysWhatToWrite(t *testing.T) {
	t.Chdir(t.TempDir())
	lines := strings.Split(mustRun(t, "simulate", "--show", "demo"), "\n")
	var kept []string
	for _, line := range lines {
		if !strings.HasPrefix(line, "band_rpm") {
			kept = append(kept, line)
		}
	}
	if len(kept) != len(lines)-1 {
		t.Fatalf("%d lines begin with band_rpm", len(lines)-len(kept))
	}
	if err := os.WriteFile("mine.toml", []byte(strings.Join(kept, "\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	code, _, errs := run(t, "simulate", "--file", "mine.toml", "out")
	if code != exitCouldNot || !strings.Contains(errs, "band_rpm = [3000, 8000]") || strings.Contains(errs, "must lie within") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

// A pipe that nobody writes into is refused, not waited for.
func TestPipesAreNotWaitedFor(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("needs pipes")
	}
	t.Chdir(t.TempDir())
	if out, err := exec.Command("mkfifo", "pipe").CombinedOutput(); err != nil {
		t.Fatalf("mkfifo: %v %s", err, out)
	}
	for _, args := range [][]string{
		{"reduce", "pipe", "--inertia", "15", "--drum-radius", ".25"},
		{"simulate", "--file", "pipe", "out"},
	} {
		done := make(chan struct{})
		go func() {
			defer close(done)
			if code, _, errs := run(t, args...); code != exitCouldNot || !strings.Contains(errs, "pipe is not a regular file") {
				t.Errorf("fairpull %s: exit %d: %s", strings.Join(args, " "), code, errs)
			}
		}()
		select {
		case <-done:
		case <-time.After(20 * time.Second):
			t.Fatalf("fairpull %s waits for the pipe", strings.Join(args, " "))
		}
	}
}

// An interrupted simulate, gain or demo ends with 1 and leaves nothing behind.
func TestInterruptedLeavesNothingBehind(t *testing.T) {
	bench(t)
	before, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, args := range [][]string{
		{"simulate", "--scenario", "demo", "out"},
		{"gain", "my-campaign", "--report", "gain.html"},
		{"demo", "--folder", "out"},
	} {
		var out, errs strings.Builder
		code := Run(ctx, args, strings.NewReader(""), &out, &errs)
		if code != exitCouldNot || out.String() != "" || errs.String() != "fairpull: interrupted; nothing was written\n" {
			t.Errorf("fairpull %s: exit %d\nstdout: %s\nstderr: %s", strings.Join(args, " "), code, &out, &errs)
		}
	}
	cmd := gainCommand()
	cmd.SetContext(ctx)
	if err := writeReports(cmd, nil, []string{"late.html"}, false, 0); err != context.Canceled {
		t.Errorf("an interrupt just before the reports: %v", err)
	}
	if after, err := os.ReadDir("."); err != nil || len(after) != len(before) {
		t.Errorf("left behind: %v, %v", after, err)
	}
}

// The elevation beside a station pressure tells whether that was reduced to sea
// level. By the barometric formula of the US Standard Atmosphere 1976, equation
// 33a, there are 101,325 Pa·(1 − 0.0065·300/288.15)^5.25588 = 97,773 Pa at 300 m.
func TestAirPressureAgainstElevation(t *testing.T) {
	const sentence = "it looks reduced to sea level"
	air := func(pressure string, more ...string) (text string, object struct {
		Elevation *float64 `json:"elevation_m"`
		Standard  *float64 `json:"standard_atmosphere_pa"`
		Warnings  []string `json:"warnings"`
	}) {
		args := append([]string{"air", "--pressure", pressure, "--temperature", "24 °C", "--humidity", "45 %"}, more...)
		if err := json.Unmarshal([]byte(mustRun(t, append(args, "--json")...)), &object); err != nil {
			t.Fatal(err)
		}
		return mustRun(t, args...), object
	}
	for _, c := range []struct {
		pressure string
		warns    bool
	}{{"1013.2 hPa", true}, {"1007.8 hPa", true}, {"1007.6 hPa", false}, {"977.7 hPa", false}, {"950 hPa", false}} {
		text, object := air(c.pressure, "--elevation", "300 m")
		if strings.Contains(text, sentence) != c.warns || !strings.Contains(text, "97.77 kPa at 300 m") {
			t.Errorf("%s at 300 m: a warning is due: %v\n%s", c.pressure, c.warns, text)
		}
		if (len(object.Warnings) == 1 && strings.Contains(object.Warnings[0], sentence)) != c.warns || object.Warnings == nil {
			t.Errorf("%s at 300 m: a warning is due: %v; JSON has %q", c.pressure, c.warns, object.Warnings)
		}
		if object.Elevation == nil || *object.Elevation != 300 || object.Standard == nil || *object.Standard < 97770 || *object.Standard > 97776 {
			t.Errorf("%s at 300 m: elevation %v, standard %v", c.pressure, object.Elevation, object.Standard)
		}
	}
	if text, object := air("1013.2 hPa"); strings.Contains(text, sentence) || len(object.Warnings) > 0 || object.Elevation != nil || object.Standard != nil {
		t.Errorf("without an elevation: %+v\n%s", object, text)
	}
	if line, _ := refused(t, "air", "--pressure", "98 kPa", "--elevation", "300", "--temperature", "24 °C", "--humidity", "45 %"); !strings.Contains(line, "elevation") {
		t.Errorf("an elevation without a unit: %s", line)
	}
	if line, _ := refused(t, "air", "--pressure", "98 kPa", "--elevation", "90 km", "--temperature", "24 °C", "--humidity", "45 %"); !strings.Contains(line, "elevation") {
		t.Errorf("an elevation above any site: %s", line)
	}
}
