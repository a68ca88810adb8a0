package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestMixtureUsage: wrong usage is one line with a command that works; what cannot be done
// says so, and nothing is written.
func TestMixtureUsage(t *testing.T) {
	t.Chdir(t.TempDir())
	mustRun(t, "simulate", "--tuning", "session")
	mustRun(t, "demo", "--folder", "my-campaign")
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"mixture"}, exitUsage, "campaign folder, or logs"},
		{[]string{"mixture", "session/loop.csv", "--at-load", "60-40"}, exitUsage, "the lower first"},
		{[]string{"mixture", "session/loop.csv", "--confidence", "95"}, exitUsage, "between 0.5 and 1"},
		{[]string{"mixture", "session/loop.csv", "--grid", "cells.txt"}, exitUsage, ".csv"},
		{[]string{"mixture", "session/loop.csv", "--report", "x.doc"}, exitUsage, ".html"},
		{[]string{"mixture", "no-such.csv"}, exitCouldNot, "no-such.csv"},
		{[]string{"mixture", "my-campaign", "--grid", "cells.csv"}, exitCouldNot, "was not written"},
		{[]string{"mixture", "my-campaign", "--at-load", "40-60"}, exitCouldNot, "full throttle"},
		{[]string{"mixture", "session/loop.csv", "--settings", "session/truth.json"}, exitCouldNot, "truth.json, line 1"},
		{[]string{"simulate", "--tuning", "--scenario", "demo", "x"}, exitUsage, "--tuning"},
		{[]string{"simulate", "--tuning", "session"}, exitCouldNot, "not empty"},
	} {
		code, _, errs := run(t, c.args...)
		if code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %s; want exit %d and %q", c.args, code, errs, c.code, c.want)
		}
	}
	if _, err := os.Stat("cells.csv"); err == nil {
		t.Error("cells.csv was written although there are no cells")
	}
	mustRun(t, "mixture", "session/loop.csv", "--grid", "cells.csv")
	if code, _, errs := run(t, "mixture", "session/loop.csv", "--grid", "cells.csv"); code != exitCouldNot || !strings.Contains(errs, "--overwrite") {
		t.Errorf("a file that exists: exit %d, %s", code, errs)
	}
	left, err := filepath.Glob("*")
	if err != nil || len(left) != 4 { // cells, campaign with its report, session
		t.Errorf("left behind: %v, %v", left, err)
	}
}
