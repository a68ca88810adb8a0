package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Wrong usage says what is wrong and names a command that works.
func TestPlanUsage(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	for _, row := range []struct{ args, says string }{
		{"", "plan takes one campaign"},
		{"my-campaign other", "2 arguments"},
		{"my-campaign --setups two", `anew, one or any, and not "two"`},
		{"my-campaign --random", "--random takes a design"},
		{"my-campaign --blind", "--blind takes a design"},
		{"my-campaign --keep", "--keep takes a design"},
		{"my-campaign --out x", "--out takes a design"},
		{"my-campaign --pulls 3", "--pulls takes a design"},
		{"my-campaign --seed 3", "takes a design"},
		{"my-campaign --design ABA --seed 3", "--seed belongs to"},
		{"my-campaign --design ABA --pulls -1", "1 pull or more"},
		{"my-campaign --design ABA --key k.html", "--key belongs to --blind"},
		{"my-campaign --power 0", "between 0 and 100"},
		{"my-campaign --power NaN", "between 0 and 100"},
		{"my-campaign --setup-df 3", "--setup-df belongs to --setup-sd"},
		{"my-campaign --pull-sd -1", "above 0"},
		{"my-campaign --pull-sd NaN", "above 0"},
		{"my-campaign --drift 200", "below 100"},
		{"my-campaign --weather Inf", "below 100"},
		{"my-campaign --top-rpm -1", "engine speed"},
		{"my-campaign --sheet s.png", "neither"},
		{"my-campaign --report my-campaign/none/r.pdf", "no folder"},
	} {
		code, out, errs := run(t, append([]string{"plan"}, splitWords(row.args)...)...)
		if code != exitUsage || out != "" || !strings.Contains(errs, row.says) {
			t.Errorf("plan %s: exit %d, %q; want 2 and %q", row.args, code, errs, row.says)
			continue
		}
		_, try, found := strings.Cut(errs, "Try: fairpull ")
		if !found {
			t.Errorf("plan %s: %q names no command", row.args, errs)
			continue
		}
		if code, _, errs := run(t, splitWords(strings.TrimSpace(try))...); code != exitDone {
			t.Errorf("%s: exit %d: %s", try, code, errs)
		}
		for _, made := range []string{"next-kit", "sheet.pdf", "key.pdf"} {
			if err := os.RemoveAll(made); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// What cannot be done is said, and nothing is written.
func TestPlanRefusals(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	for _, row := range []struct{ args, says string }{
		{"none", "neither a file, nor a folder, nor a campaign"},
		{"my-campaign --design ABA --out late", "--id twin650-intake-cam-2"},
		{"my-campaign --no-history", "nothing is known of the lab's scatter"},
		{"my-campaign --sheet s.html", "has no plan"},
		{"my-campaign --id next --design ABX", "not an order of blocks"},
		{"my-campaign --id no/slug --design ABA", "not a slug"},
		{"my-campaign --pull-minutes 0", "a pull takes 0 minutes"},
	} {
		code, _, errs := run(t, append([]string{"plan"}, splitWords(row.args)...)...)
		if code != exitCouldNot || !strings.Contains(errs, row.says) {
			t.Errorf("plan %s: exit %d, %q; want 1 and %q", row.args, code, errs, row.says)
		}
		for _, file := range []string{"late", "s.html", "k.html"} {
			if _, err := os.Stat(file); err == nil {
				t.Errorf("plan %s wrote %s", row.args, file)
			}
		}
	}
}

// A plan is made, kept, printed, exported, and its JSON agrees with its campaign.toml.
func TestPlanFromDraftToSheet(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	text, err := os.ReadFile(filepath.Join("my-campaign", "campaign.toml"))
	if err != nil {
		t.Fatal(err)
	}
	draft := "# our remark\n" + strings.Replace(string(text), "twin650-intake-cam", "next-kit", 1)
	if err := os.WriteFile("draft.toml", []byte(draft), 0o644); err != nil {
		t.Fatal(err)
	}
	out := mustRun(t, "plan", "draft.toml", "--design", "abba", "--pulls", "4", "--setups", "anew", "--blind", "--out", "next", "--keep",
		"--sheet", "rider.html", "--key", "key.pdf", "--report", "plan.html", "--json")
	var got struct {
		Format  string
		Designs []struct{ Number int }
		Blocks  []struct {
			Configuration, Setup, Code string
			Pulls                      int
		}
		Seed  uint64
		Blind bool
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Format != "fairpull.plan/1" || len(got.Blocks) != 4 || got.Blocks[1].Configuration != "B" || got.Blocks[1].Pulls != 4 || got.Blocks[1].Code == "" || got.Seed == 0 || !got.Blind {
		t.Errorf("%+v", got)
	}
	toml, err := os.ReadFile(filepath.Join("next", "campaign.toml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"# our remark\n", `{ configuration = "B", setup = "s2", pulls = 4 }`, "blind = true"} {
		if !strings.Contains(string(toml), want) {
			t.Errorf("campaign.toml lacks %q", want)
		}
	}
	mustRun(t, "plan", "next-kit", "--sheet", "again.html")
	mustRun(t, "plan", "next", "--sheet", "third.html")
	for _, file := range []string{"again.html", "third.html"} {
		if a, b := read(t, "rider.html"), read(t, file); a != b {
			t.Errorf("%s differs from the rider's first sheet", file)
		}
	}
	if code, _, errs := run(t, "plan", "next-kit", "--sheet", "rider.html"); code != exitUsage || !strings.Contains(errs, "--overwrite") {
		t.Errorf("a sheet was replaced: %d, %s", code, errs)
	}
	if strings.Contains(read(t, "rider.html"), "K-218") {
		t.Error("the rider's sheet names a part")
	}
	mustRun(t, "export", "next-kit", "exported")
	if !strings.Contains(read(t, filepath.Join("exported", "campaign.toml")), "[plan]") {
		t.Error("the exported campaign has no plan")
	}
}

func read(t *testing.T, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
