package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// claimedDemo makes a workspace with a published claim C-0001 of the demo campaign.
func claimedDemo(t *testing.T) {
	t.Helper()
	mustRun(t, "demo", "--folder", "one")
	excludePull(t, "one", "8", "oil too cold")
	mustRun(t, "import", "one")
	mustRun(t, "judge", demoID)
	makeKeys(t)
	mustRun(t, "claim", demoID, "--by", "Dora")
}

func contentOf(t *testing.T, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// The customer sheet and the test report of a claim by command line: a draft says so,
// a published claim says so; figures are those of the claim, of judge and of the JSON;
// look, details, languages; and what is refused.
func TestClaimDocumentsByCommandLine(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	claimedDemo(t)
	mustRun(t, "sheet", "C-0001", "--out", "draft.html")
	if page := contentOf(t, "draft.html"); !strings.Contains(page, "DRAFT: neither reviewed nor signed") {
		t.Error("the sheet of a draft does not say so")
	}
	mustRun(t, "claim", "C-0001", "--review", "--by", "Rita")
	mustRun(t, "claim", "C-0001", "--sign", "--key", "approver.key")
	mustRun(t, "claim", "C-0001", "--publish", "--key", "record.key")
	if err := os.WriteFile("logo.svg", []byte(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 4"><rect width="9" height="4" fill="#336699"/></svg>`), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"look.toml":    "format = \"fairpull.look/1\"\nname = \"Invented Parts\"\ncolour = \"#336699\"\nlogo = \"logo.svg\"\n",
		"details.toml": "format = \"fairpull.details/1\"\nlaboratory = \"Invented lab\"\naddress = \"1 Example Road\"\ncustomer = \"Invented Parts\"\ncustomer_contact = \"parts@maker.example\"\ncondition = \"new\"\nreceived = \"2026-03-01\"\nsampling = \"one kit from stock\"\nexternal = \"none\"\n",
		"odd.toml":     "format = \"fairpull.look/1\"\nlogo = \"../x.png\"\n",
		"wrong.toml":   "format = \"fairpull.look/1\"\nfont = \"x\"\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	out := mustRun(t, "sheet", "C-0001", "--look", "look.toml", "--out", "sheet.html", "--out", "sheet.pdf", "--out", "chart.svg", "--out", "chart.png")
	if strings.Count(out, "Wrote ") != 4 {
		t.Errorf("%s", out)
	}
	sameFigures(t)
	if page := contentOf(t, "sheet.html"); !strings.Contains(page, "Published on ") || !strings.Contains(page, "data:image/png;base64,") || !strings.Contains(page, "Invented Parts") {
		t.Error("the sheet lacks the claim's state or the maker's look")
	}
	mustRun(t, "sheet", "C-0001")
	fails(t, "exists and is not replaced", "sheet", "C-0001")
	_, _, errs := run(t, "report", "C-0001", "--out", "bare.html")
	if !strings.Contains(errs, "7.8.2.1 e: customer") {
		t.Errorf("what is missing is not said: %s", errs)
	}
	if _, _, errs := run(t, "report", "C-0001", "--details", "details.toml", "--out", "report.html", "--out", "report.pdf"); errs != "" {
		t.Errorf("a report with all details: %s", errs)
	}
	if page := contentOf(t, "report.html"); !strings.Contains(page, "Invented lab") || !strings.Contains(page, "Pull 8 (A) is not used: oil too cold") || !strings.Contains(page, "End of test report C-0001-R.") {
		t.Error("the report lacks a part")
	}
	fails(t, "no file beside", "sheet", "C-0001", "--look", "odd.toml", "--out", "x.pdf")
	fails(t, "key font is unknown", "sheet", "C-0001", "--look", "wrong.toml", "--out", "x.pdf")
	fails(t, "no picture", "report", "C-0001", "--out", "x.svg")
	fails(t, "de, en, es, fr", "sheet", "C-0001", "--language", "tlh")
	fails(t, "not the number of a claim", "sheet", demoID)
	fails(t, "fairpull claim --list", "sheet", "C-0009", "--out", "x.pdf")
	fails(t, "both of vehicle", "sheet", "C-0001", "--vehicle", "one", "--out", "x.pdf")
	mustRun(t, "claim", "C-0001", "--withdraw", "--why", "the rig was out of order")
	mustRun(t, "sheet", "C-0001", "--language", "fr", "--out", "after.html")
	if page := contentOf(t, "after.html"); !strings.Contains(page, "RETIRÉE") {
		t.Error("the sheet of a withdrawn claim does not say so")
	}
}

// sameFigures holds the at-least figure, the gain and its interval as the terminal has
// them against the claim's JSON, the gain result, and the sheets in English and German.
func sameFigures(t *testing.T) {
	t.Helper()
	var claim struct {
		Claimed struct {
			Gain    float64 `json:"gain_pct"`
			Lo      float64 `json:"lo_pct"`
			Hi      float64 `json:"hi_pct"`
			AtLeast float64 `json:"at_least_pct"`
		}
	}
	if err := json.Unmarshal([]byte(mustRun(t, "claim", "C-0001", "--json")), &claim); err != nil {
		t.Fatal(err)
	}
	f := claim.Claimed
	least := strconv.FormatFloat(math.Floor(10*f.AtLeast)/10, 'f', 1, 64)
	figures := []string{least, fmt.Sprintf("%.1f", f.Gain), fmt.Sprintf("%.1f", f.Lo), fmt.Sprintf("%.1f", f.Hi)}
	terminal := strings.Join(strings.Fields(mustRun(t, "judge", demoID, "--preview")), " ")
	mustRun(t, "sheet", "C-0001", "--language", "de", "--out", "blatt.html")
	english, german := contentOf(t, "sheet.html"), contentOf(t, "blatt.html")
	for _, figure := range figures {
		if !strings.Contains(terminal, figure+" %") {
			t.Errorf("the terminal has no %s %%", figure)
		}
		if !strings.Contains(english, figure+"\u00a0%") || !strings.Contains(german, strings.Replace(figure, ".", ",", 1)+"\u00a0%") {
			t.Errorf("the sheets have no %s %%", figure)
		}
		if svg := contentOf(t, "chart.svg"); !strings.Contains(svg, figure+"\u00a0%") {
			t.Errorf("the picture has no %s %%", figure)
		}
	}
	if !strings.Contains(terminal, "at least "+least+" %") || !strings.Contains(english, "At least "+least+"\u00a0% more torque") || !strings.Contains(german, "Mindestens "+strings.Replace(least, ".", ",", 1)+"\u00a0% mehr Drehmoment") {
		t.Errorf("the at-least figure %s is not led alike", least)
	}
}

func TestStepsByCommandLine(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	out := mustRun(t, "steps", "one", "--report", "steps.html")
	if !strings.Contains(out, "Step 1, “intake and cam kit” (B)") {
		t.Errorf("%s", out)
	}
	if _, err := os.Stat(filepath.Join("steps.html")); err != nil {
		t.Error(err)
	}
	var steps struct {
		Format string
		Ladder []struct{ Configuration string }
	}
	if err := json.Unmarshal([]byte(mustRun(t, "steps", "one", "--json")), &steps); err != nil || steps.Format != "fairpull.steps/1" || len(steps.Ladder) != 1 || steps.Ladder[0].Configuration != "B" {
		t.Errorf("%v: %+v", err, steps)
	}
	fails(t, "no candidate", "steps", "one", "--order", "X")
	fails(t, "takes one campaign", "steps")
	fails(t, "no campaign folder", "steps", "there is/none")
}
