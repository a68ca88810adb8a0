package ingest

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
)

func TestOpenDraft(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("campaign.toml", smallCampaign)
	write("draft.toml", smallCampaign)
	for _, row := range []struct {
		pulls string // "": no pulls.csv
		want  bool
	}{{"", false}, {"pull,started\n", false}, {"pull,started\n\n , ;\n", false}, {smallPulls, true}} {
		if row.pulls != "" {
			write("pulls.csv", row.pulls)
		}
		d, err := OpenDraft(dir)
		if err != nil || d.Pulls != row.want || d.Campaign.ID != "pipe-7" || string(d.Text) != smallCampaign {
			t.Errorf("with pulls.csv %q: %+v, %v; want rows %v", row.pulls, d, err, row.want)
		}
	}
	if d, err := OpenDraft(filepath.Join(dir, "draft.toml")); err != nil || d.Pulls || d.Campaign.ID != "pipe-7" {
		t.Errorf("a file: %+v, %v", d, err)
	}
	if _, err := OpenDraft(filepath.Join(dir, "none.toml")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v; want that there is none", err)
	}
	write("draft.toml", "format = 1\n")
	if _, err := OpenDraft(filepath.Join(dir, "draft.toml")); err == nil || !strings.HasPrefix(err.Error(), "draft.toml, line 1") {
		t.Errorf("%v; want the place in draft.toml", err)
	}
}

// A draft keeps its remarks when a plan is put behind it.
func TestWithPlan(t *testing.T) {
	draft := "# a remark of the lab\n" + smallCampaign
	c, err := Draft(CampaignFile, []byte(draft))
	if err != nil {
		t.Fatal(err)
	}
	c.Plan = &campaign.Plan{Blocks: []campaign.PlannedBlock{{Configuration: "A", Setup: "s1", Pulls: 2}, {Configuration: "B", Setup: "s2", Pulls: 2}}, Power: 0.8123456789}
	text, err := WithPlan([]byte(draft), c)
	if err != nil || !bytes.HasPrefix(text, []byte(draft)) || !bytes.Contains(text, []byte("[plan]")) {
		t.Errorf("%v\n%s", err, text)
	}
	c.Title = "another title"
	text, err = WithPlan([]byte(draft), c)
	if err != nil || bytes.Contains(text, []byte("remark")) || !bytes.Contains(text, []byte("another title")) {
		t.Errorf("a draft that says something else: %v\n%s", err, text)
	}
	planned, err := WithPlan(text, c)
	if err != nil || bytes.Count(planned, []byte("[plan]")) != 1 {
		t.Errorf("a draft that has a plan: %v\n%s", err, planned)
	}
}

// The form has a column for all that a folder needs: filled in, it is read.
func TestPullsForm(t *testing.T) {
	c := small(t)
	c.Procedure = []campaign.SetPoint{{Key: "oil_temp_degc", Target: 90, Tolerance: 8}, {Key: "a, key"}}
	form := string(PullsForm(c))
	const want = "pull,started,configuration,setup,log,pressure_kpa,temperature_degc,relative_humidity_pct,excluded,oil_temp_degc,\"a, key\",note\n"
	if form != want {
		t.Errorf("%q; want %q", form, want)
	}
	row := "1," + time.Date(2026, 3, 2, 14, 5, 0, 0, time.UTC).Format(time.RFC3339) + ",A,s1,logs/1.csv,98.5,21,45,,90.5,1,\n"
	pulls, extra, err := readPulls(PullsFile, []byte(form+row), c.Procedure)
	if err != nil || len(pulls) != 1 || pulls[0].Measured["oil_temp_degc"] != 90.5 || len(extra) != 3 {
		t.Errorf("filled in: %+v, %v, %v", pulls, extra, err)
	}
}
