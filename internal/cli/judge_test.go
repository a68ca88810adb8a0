package cli

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
)

// A judgement prints what gain prints of the folder, keeps its result, and says so;
// a repeat changes nothing.
func TestJudgePrintsWhatGainPrints(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	mustRun(t, "import", "one")
	code, text, errs := run(t, "judge", demoID)
	if code != exitDone || text != mustRun(t, "gain", "one") || !strings.Contains(errs, "kept as result ") {
		t.Errorf("exit %d, %s\n%s", code, errs, text)
	}
	if _, _, errs := run(t, "judge", demoID); !strings.Contains(errs, "nothing was changed") {
		t.Errorf("judged again: %s", errs)
	}
	if got := mustRun(t, "judge", demoID, "--json", "--preview"); got != mustRun(t, "gain", "one", "--json") {
		t.Error("the gain result differs from the folder's")
	}
	if _, text, errs := run(t, "judge", demoID, "--units", "us", "--preview", "--report", "g.html"); !strings.Contains(text, "lbf·ft") || !strings.Contains(errs, "nothing was kept") {
		t.Errorf("%s\n%s", errs, text)
	}
	if page, err := os.ReadFile("g.html"); err != nil || !strings.Contains(string(page), "Gain shown") {
		t.Errorf("the report: %v", err)
	}
	if out := mustRun(t, "campaigns"); !strings.Contains(out, "gain shown") {
		t.Errorf("the list shows no verdict:\n%s", out)
	}
	if code, _, errs := run(t, "judge", "nobody-knows"); code != exitCouldNot || !strings.Contains(errs, "fairpull campaigns") {
		t.Errorf("exit %d: %s", code, errs)
	}
	mustRun(t, "doctor")
}

// One campaign that cannot be judged does not keep the others from it, and makes the
// exit code 1.
func TestJudgeAllGoesOn(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	mustRun(t, "import", "one")
	mustRun(t, "simulate", "--scenario", "tyre-pressure", "bad")
	change(t, "bad/logs/pull-001.csv", "time", "no time")
	mustRun(t, "import", "bad")
	code, out, errs := run(t, "judge", "--all")
	if code != exitCouldNot || !strings.Contains(errs, "could not be judged: 1") || !strings.Contains(out, demoID+"  B gain shown") || !strings.Contains(out, "sim-tyre-pressure  not judged: ") {
		t.Errorf("exit %d: %s\n%s", code, errs, out)
	}
	var judged struct {
		Format    string
		Campaigns []struct{ Campaign, Problem string }
	}
	_, out, _ = run(t, "judge", "--all", "--json")
	if err := json.Unmarshal([]byte(out), &judged); err != nil || judged.Format != "fairpull.judged/1" || len(judged.Campaigns) != 2 {
		t.Errorf("%v in %s", err, out)
	}
	if out := strings.Join(strings.Fields(mustRun(t, "scatter")), " "); !strings.Contains(out, "sim-tyre-pressure. To judge them: fairpull judge --all") {
		t.Errorf("what was not judged is not named:\n%s", out)
	}
}

func TestHistoryVerbsRefuse(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"judge"}, "0 arguments"},
		{[]string{"judge", "a", "b"}, "2 arguments"},
		{[]string{"judge", "a", "--all"}, "--all judges every campaign"},
		{[]string{"judge", "--all", "--report", "x.html"}, "one campaign's document"},
		{[]string{"judge", "a", "--report", "x.doc"}, "none of them"},
		{[]string{"judge", "a", "--units", "stone"}, "stone"},
		{[]string{"scatter", "cell-1"}, "takes no arguments"},
		{[]string{"scatter", "--leave-out", "a"}, "needs a reason"},
		{[]string{"scatter", "--take-back", "a"}, "needs a reason"},
		{[]string{"scatter", "--take-back", "a", "--leave-out", "b", "--why", "c"}, "at once"},
		{[]string{"scatter", "--why", "c"}, "no campaign is named"},
		{[]string{"scatter", "--leave-out", "", "--why", "c"}, "no campaign is named"},
		{[]string{"scatter", "--report", "x.pdf"}, "neither"},
		{[]string{"calibration"}, "takes a dyno's id"},
		{[]string{"calibration", "cell-1", "--from", "2026-01-10"}, "none is given"},
		{[]string{"calibration", "cell-1", "--inertia", "41"}, "from a date on"},
		{[]string{"calibration", "cell-1", "--from", "10.1.2026", "--inertia", "41"}, "is neither"},
		{[]string{"calibration", "cell-1", "--from", "2026-01-10", "--inertia", "41", "--u-inertia", "42"}, "not in per cent"},
		{[]string{"calibration", "cell-1", "--from", "2026-01-10", "--inertia", "nan"}, "not possible"},
		{[]string{"calibration", "cell-1", "--from", "2026-01-10", "--parasitic", "1,2,3,4"}, "at most three"},
		{[]string{"calibration", "cell-1", "--from", "2026-01-10", "--parasitic", "1", "--u-parasitic", "-1"}, "holds -1"},
		{[]string{"calibration", "cell 1", "--from", "2026-01-10", "--inertia", "41"}, "slug"},
		{[]string{"calibration", "cell-1", "--from", "2026-01-10", "--inertia", "41", "--json"}, "--json shows"},
		{[]string{"campaigns", "--verdict", "perhaps"}, "there is no verdict"},
	} {
		if line, _ := refused(t, c.args...); !strings.Contains(line, c.says) {
			t.Errorf("fairpull %s says %q, want %q", strings.Join(c.args, " "), line, c.says)
		}
	}
}
