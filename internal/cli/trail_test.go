package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The trail says who changed what, from what and why, the latest first, in pages.
func TestTrail(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	t.Setenv("COLUMNS", "120")
	if out := mustRun(t, "trail"); !strings.Contains(out, "No change is of that time.") {
		t.Errorf("an empty workspace: %s", out)
	}
	mustRun(t, "demo", "--folder", "my-campaign")
	mustRun(t, "import", "my-campaign", "--by", "Anna Test")
	mustRun(t, "judge", demoID, "--by", "Bert Test")
	mustRun(t, "calibration", "cell-1", "--from", "2025-09-01T00:00:00+02:00", "--inertia", "15.09", "--by", "Bert Test")
	mustRun(t, "campaigns", "--close", demoID, "--why", "measured to the end", "--by", "Cleo Test")
	out := mustRun(t, "trail")
	rest := out
	for _, part := range []string{"Audit trail\n", "4  ", " UTC  Cleo Test: set state, campaign " + demoID + ", version 1\n   why: measured to the end\n", `state: "open" → "closed"`,
		"3  ", "Bert Test: calibrate, dyno cell-1", "2  ", "Bert Test: result, campaign " + demoID, "1  ", "Anna Test: import, campaign " + demoID} {
		_, after, found := strings.Cut(rest, part)
		if !found {
			t.Errorf("%q does not stand where it should:\n%s", part, out)
		}
		rest = after
	}
	if out := mustRun(t, "trail", demoID, "--limit", "2"); strings.Contains(out, "calibrate") || !strings.Contains(out, "Cleo Test") || !strings.Contains(out, "There are more: --after 2") {
		t.Errorf("a page of the campaign's: %s", out)
	}
	if out := mustRun(t, "trail", demoID, "--limit", "2", "--after", "2"); !strings.Contains(out, "import") || strings.Contains(out, "Bert") || strings.Contains(out, "There are more") {
		t.Errorf("the next page: %s", out)
	}
	if out := mustRun(t, "trail", "--since", "2999-01-01"); !strings.Contains(out, "No change is of that time.") {
		t.Errorf("since a day to come: %s", out)
	}
	var got struct {
		Format, Campaign string
		Changes          []struct {
			Seq               int64
			Who, Why, Subject string
			Differences       []struct{ Path, From, To string }
		}
		Next *int64
	}
	if err := json.Unmarshal([]byte(mustRun(t, "trail", demoID, "--json", "--limit", "1")), &got); err != nil {
		t.Fatal(err)
	}
	if got.Format != "fairpull.trail/1" || got.Campaign != demoID || len(got.Changes) != 1 || got.Next == nil || *got.Next != 4 || got.Changes[0].Seq != 4 ||
		got.Changes[0].Who != "Cleo Test" || !slices.Equal(got.Changes[0].Differences, []struct{ Path, From, To string }{{"state", `"open"`, `"closed"`}}) {
		t.Errorf("%+v", got)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"a", "b"}, exitUsage, "trail takes one campaign"},
		{[]string{"--since", "May"}, exitUsage, "is not a day"},
		{[]string{"--limit", "0"}, exitUsage, "a page has 1 to 500 changes"},
		{[]string{"--after", "0"}, exitUsage, "--after takes the number"},
		{[]string{"nobody"}, exitCouldNot, "fairpull campaigns"},
	} {
		if code, _, errs := run(t, append([]string{"trail"}, c.args...)...); code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit code %d, %q; want %d, %q", c.args, code, errs, c.code, c.says)
		}
	}
}

// A vehicle's class is in the scatter's questions, and one of vehicle and class is
// asked.
func TestScatterOfAClass(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	file := filepath.Join("my-campaign", "campaign.toml")
	text := strings.Replace(read(t, file), "[vehicle]\n", "[vehicle]\nclass = \"twin-650\"\n", 1)
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	mustRun(t, "import", "my-campaign")
	mustRun(t, "judge", demoID)
	if out := mustRun(t, "scatter", "--class", "Twin-650"); !strings.Contains(out, "Scatter of dyno cell-1 with vehicles of class twin-650") || !strings.Contains(out, demoID) {
		t.Errorf("%s", out)
	}
	for want, args := range map[string][]string{"the workspace has twin-650": {"--class", "four-1000"}, "--vehicle and --class at once": {"--class", "a", "--vehicle", "b"}} {
		if code, _, errs := run(t, append([]string{"scatter"}, args...)...); code == exitDone || !strings.Contains(errs, want) {
			t.Errorf("%v: %d, %q, want %q", args, code, errs, want)
		}
	}
}
