package cli

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
)

// TestSteadyVerb: a folder and a log on its own say the same of it, in words and in
// JSON; a page has both charts.
func TestSteadyVerb(t *testing.T) {
	t.Chdir(t.TempDir())
	mustRun(t, "simulate", "--scenario", "weak-brake", "held")
	log, err := os.ReadFile("held/logs/pull-002.csv")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("lone.csv", log, 0o644); err != nil {
		t.Fatal(err)
	}
	type result struct {
		Format string
		Logs   []struct {
			Points []struct {
				RPM    float64
				Torque float64 `json:"torque_nm"`
			}
		}
	}
	read := func(args ...string) (r result) {
		if err := json.Unmarshal([]byte(mustRun(t, args...)), &r); err != nil {
			t.Fatal(err)
		}
		return r
	}
	inside := read("steady", "held", "--pull", "2", "--json")
	alone := read("steady", "lone.csv", "--inertia", "15", "--drum-radius", "0.25", "--parasitic", "1.1,0.010,0.00004", "--json")
	if inside.Format != "fairpull.steady/1" || len(inside.Logs) != 1 || len(inside.Logs[0].Points) < 3 {
		t.Fatalf("%+v", inside)
	}
	for i, p := range inside.Logs[0].Points {
		if q := alone.Logs[0].Points[i]; p != q {
			t.Errorf("point %d: %+v in the folder, %+v on its own", i, p, q)
		}
	}
	text := mustRun(t, "steady", "held", "--pull", "2", "--report", "held.html", "--units", "us")
	for _, want := range []string{"lbf·ft", "ran away from the brake", "ran out of torque", "hunts", "heats engine"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("the text lacks %q", want)
		}
	}
	page, err := os.ReadFile("held.html")
	if err != nil || strings.Count(string(page), "<svg") != 1 {
		t.Errorf("page: %v", err)
	}
}

// TestSteadyRefusals: each says what is wrong and names a command that works.
func TestSteadyRefusals(t *testing.T) {
	bench(t)
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"steady"}, "one campaign folder or one log"},
		{[]string{"steady", "my-campaign", "--tolerance", "0"}, "the tolerance of the speed in % is 0"},
		{[]string{"steady", "my-campaign", "--least", "nan"}, "the time held in s is NaN"},
		{[]string{"steady", "my-campaign", "--inertia", "3"}, "campaign.toml"},
		{[]string{"steady", "my-campaign", "--pull", ""}, "--pull names no pull"},
		{[]string{"steady", "pull.csv"}, "the rig must be described"},
		{[]string{"steady", "pull.csv", "--inertia", "-3"}, "no rig has that"},
		{[]string{"steady", "my-campaign", "--report", "x.doc"}, "none of them"},
	} {
		if line, _ := refused(t, c.args...); !strings.Contains(line, c.says) || strings.Contains(line, "..") {
			t.Errorf("%v: %q lacks %q", c.args, line, c.says)
		}
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"steady", "my-campaign"}, "fairpull reduce my-campaign"},
		{[]string{"steady", "my-campaign", "--pull", "2"}, "brake_torque"},
		{[]string{"steady", "my-campaign", "--pull", "99"}, `no pull "99"`},
	} {
		if code, _, errs := run(t, c.args...); code != exitCouldNot || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit %d, %q lacks %q", c.args, code, errs, c.says)
		}
	}
}
