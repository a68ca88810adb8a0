package cli

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
)

// Wrong usage of the check standard, of across and of rigs is one line and a command that
// works, before any workspace is opened.
func TestStandardAndAcrossRefuse(t *testing.T) {
	bench(t)
	ownWorkspace(t)
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"check-standard", "--set", "--vehicle", "twin650-03"}, "of which dyno"},
		{[]string{"check-standard", "--set", "--dyno", "cell-1"}, "which vehicle"},
		{[]string{"check-standard", "--set", "--retire", "--dyno", "cell-1"}, "at once"},
		{[]string{"check-standard", "--retire", "--dyno", "cell-1"}, "needs a reason"},
		{[]string{"check-standard", "--vehicle", "twin650-03"}, "does nothing without --set"},
		{[]string{"check-standard", "--set", "--dyno", "cell-1", "--vehicle", "twin650-03", "--from", "yesterday"}, "is not a day"},
		{[]string{"check-standard", "--set", "--dyno", "cell-1", "--vehicle", "twin650-03", "--band", "6000-2500"}, "is not a range"},
		{[]string{"check-standard", "--set", "--dyno", "cell-1", "--vehicle", "twin650-03", "--band", "2500"}, "is not a range"},
		{[]string{"check-standard", "--set", "--dyno", "no slug", "--vehicle", "twin650-03"}, "the id"},
		{[]string{"check-standard", "cell-1"}, "takes no arguments"},
		{[]string{"check-standard", "--report", "chart.gif"}, "none of them"},
		{[]string{"across"}, "takes campaigns"},
		{[]string{"across", "my-campaign", "--figure", "torque"}, "no figure"},
		{[]string{"rigs", "my-campaign"}, "takes two campaigns or more"},
		{[]string{"rigs", "my-campaign", "my-campaign", "--report", "rigs.gif"}, "none of them"},
	} {
		line, try := refused(t, c.args...)
		if !strings.Contains(line, c.says) || try == "" {
			t.Errorf("%v: %s", c.args, line)
		}
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"check-standard", "--dyno", "cell-1"}, "has no check standard"},
		{[]string{"check-standard", "--dyno", "cell-1", "--vehicle", "twin650-03", "--set"}, "no campaign of vehicle"},
		{[]string{"across", "nothing"}, "is not in the workspace"},
		{[]string{"across", "my-campaign", "my-campaign"}, "both of vehicle twin650-03"},
		{[]string{"rigs", "my-campaign", "my-campaign"}, "both of dyno cell-1"},
	} {
		code, out, errs := run(t, c.args...)
		if code != exitCouldNot || out != "" || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit %d, %s%s", c.args, code, out, errs)
		}
	}
}

// Folders alone need no workspace and make none.
func TestAcrossFoldersMakesNoWorkspace(t *testing.T) {
	bench(t)
	ownWorkspace(t)
	out := mustRun(t, "across", "my-campaign", "--json")
	var got struct {
		Format   string
		Used     int
		Vehicles []struct{ Vehicle string }
		NextLo   *float64 `json:"next_vehicle_lo_pct"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || got.Format != "fairpull.across/1" || got.Used != 1 || got.Vehicles[0].Vehicle != "twin650-03" || got.NextLo != nil {
		t.Errorf("%+v, %v", got, err)
	}
	if place := os.Getenv("XDG_DATA_HOME"); place != "" {
		if entries, err := os.ReadDir(place); err == nil && len(entries) > 0 {
			t.Errorf("a workspace was made: %v", entries)
		}
	}
}
