package cli

import (
	"os"
	"strings"
	"testing"
)

// Details are kept for the lab and for a claim, shown with what is missing, and refused
// with a line that says what to do.
func TestDetails(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	excludePull(t, "my-campaign", "8", "oil too cold")
	mustRun(t, "import", "my-campaign")
	mustRun(t, "judge", demoID)
	mustRun(t, "claim", demoID, "--by", "D. Drafter")
	write := func(name, text string) {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("lab.toml", "format = \"fairpull.details/1\"\nlaboratory = \"Example Lab\"\naddress = \"1 Example Road\"\n")
	write("own.toml", "format = \"fairpull.details/1\"\nnumber = \"TR-7\"\ncustomer = \"Example Parts\"\n")
	if out := mustRun(t, "details", "lab.toml", "--by", "Anna Test"); !strings.Contains(out, "every claim") {
		t.Errorf("%q", out)
	}
	if out := mustRun(t, "details", "lab.toml", "--by", "Anna Test"); !strings.Contains(out, "nothing was changed") {
		t.Errorf("%q", out)
	}
	mustRun(t, "details", "own.toml", "--claim", "C-0001", "--by", "Anna Test")
	code, out, errs := run(t, "details", "--claim", "C-0001")
	if code != exitDone || !strings.Contains(out, "Example Lab") || !strings.Contains(out, "TR-7") || !strings.Contains(errs, "7.8.2.1 g: condition") || strings.Contains(errs, "laboratory") {
		t.Errorf("exit %d: %q, %q", code, out, errs)
	}
	mustRun(t, "report", "C-0001", "--out", "r.html")
	if page, err := os.ReadFile("r.html"); err != nil || !strings.Contains(string(page), "Example Lab") || !strings.Contains(string(page), "TR-7") {
		t.Errorf("the report does not say it: %v", err)
	}
	for _, c := range []struct {
		code int
		want string
		args []string
	}{
		{exitUsage, "not the number of a claim", []string{"details", "--claim", "seven"}},
		{exitUsage, "takes one file", []string{"details", "a", "b"}},
		{exitUsage, "no file is given", []string{"details", "--why", "x"}},
		{exitCouldNot, "belong to one report", []string{"details", "own.toml", "--by", "Anna Test"}},
		{exitCouldNot, "not in the workspace", []string{"details", "own.toml", "--claim", "C-0099", "--by", "Anna Test"}},
	} {
		if code, _, errs := run(t, c.args...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %q", c.args, code, errs)
		}
	}
}
