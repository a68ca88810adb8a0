package ingest

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fairpull/campaign"
)

// plan draws a plan for half of the campaigns: any order of blocks that can be
// measured, frozen or not.
func (d drawn) plan(c *campaign.Campaign) {
	if !rapid.Bool().Draw(d.T, "planned") {
		return
	}
	p := &campaign.Plan{
		Blind: rapid.Bool().Draw(d.T, "blind"), Power: d.maybe("power", 99) / 100, Detectable: d.maybe("detectable", 50) / 100,
		MinutesOnRig: d.maybe("minutes", 900), SettlingPulls: rapid.IntRange(0, 20).Draw(d.T, "settling"),
		Seed: rapid.Uint64Range(0, campaign.MaxPlanSeed).Draw(d.T, "seed"),
	}
	setup := ""
	for i := range rapid.IntRange(1, 6).Draw(d.T, "blocks") {
		one := c.Configurations[rapid.IntRange(0, len(c.Configurations)-1).Draw(d.T, "which")].ID
		if i == 0 || one == p.Blocks[i-1].Configuration || rapid.Bool().Draw(d.T, "anew") {
			setup = d.name("setup") + string(rune('a'+i))
		}
		p.Blocks = append(p.Blocks, campaign.PlannedBlock{Configuration: one, Setup: setup, Pulls: rapid.IntRange(1, 9).Draw(d.T, "pulls")})
	}
	a := &p.Assumed
	for _, row := range [][2]*float64{{&a.SetupSD, &a.SetupDF}, {&a.BlockSD, &a.BlockDF}, {&a.PullSD, &a.PullDF}} {
		*row[0], *row[1] = d.maybe("assumed", 50)/100, d.maybe("assumed df", 100)
	}
	a.DriftPerHour = -d.maybe("drift", 5) / 100
	if rapid.Bool().Draw(d.T, "frozen") {
		p.Frozen = time.Unix(rapid.Int64Range(1e9, 2e9).Draw(d.T, "at"), rapid.Int64Range(0, 999999999).Draw(d.T, "ns")).In(time.FixedZone("", 3600))
		p.Objective, p.Correction = c.Objective, c.Correction
		p.Objective.SmallestGain = d.maybe("gain then", 99) / 100
	}
	c.Plan = p
}

const plannedText = `
[plan]
blocks = [
  { configuration = "A", setup = "s1", pulls = 3 },
  { configuration = "B", setup = "s2", pulls = 3 },
]
`

func TestPlanRefusals(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		want           refusal
	}{
		{"a misspelt key", "blocks", "bloks", refusal{16, ErrUnknownKey, "did you mean blocks?"}},
		{"a misspelt key of a block", "setup = \"s2\"", "set_up = \"s2\"", refusal{18, ErrUnknownKey, "plan.blocks.set_up: is no key of this table; did you mean setup?"}},
		{"no blocks", "blocks = [", "blocks = []\nmore = [", refusal{17, ErrUnknownKey, "plan.more"}},
		{"an empty plan", plannedText, "\n[plan]\n", refusal{15, ErrNotPossible, "the plan has 0 blocks"}},
		{"an undeclared configuration", `"B", setup`, `"C", setup`, refusal{18, ErrNotPossible, `configuration "C" is not declared`}},
		{"no setup", `setup = "s2", `, "", refusal{18, ErrNotPossible, "is empty"}},
		{"no pulls", `"s2", pulls = 3`, `"s2"`, refusal{18, ErrMissing, "pulls = 3"}},
		{"a block of no pull", `"s2", pulls = 3`, `"s2", pulls = 0`, refusal{18, ErrNotPossible, "0 pulls"}},
		{"pulls as text", `"s2", pulls = 3`, `"s2", pulls = "3"`, refusal{18, ErrNotPossible, "a whole number"}},
		{"one block twice", `"B", setup = "s2"`, `"A", setup = "s1"`, refusal{18, ErrNotPossible, "make one block of the two"}},
		{"a setup that comes back", "]\n", "  { configuration = \"B\", setup = \"s1\", pulls = 3 },\n]\n", refusal{19, ErrNotPossible, "unstrapped between"}},
		{"a negative seed", "[plan]", "[plan]\nseed = -1", refusal{16, ErrNotPossible, "it is -1"}},
		{"a seed that no reader has whole", "[plan]", "[plan]\nseed = 9007199254740992", refusal{16, ErrNotPossible, "9007199254740991"}},
		{"a power above one", "[plan]", "[plan]\npower_pct = 120", refusal{16, ErrNotPossible, "120 %"}},
		{"a power that is none", "[plan]", "[plan]\npower_pct = nan", refusal{16, ErrNotPossible, "NaN"}},
		{"minutes without end", "[plan]", "[plan]\nminutes_on_rig = inf", refusal{16, ErrNotPossible, "+Inf"}},
		{"many settling pulls", "[plan]", "[plan]\nsettling_pulls = 21", refusal{16, ErrNotPossible, "21"}},
		{"a moment without its offset", "[plan]", "[plan]\nfrozen = \"2026-03-02T14:05:00\"", refusal{16, ErrNotPossible, "offset"}},
		{"a moment as TOML has it", "[plan]", "[plan]\nfrozen = 2026-03-02T14:05:00Z", refusal{16, ErrNotPossible, "a date or time where a text in quotes is wanted"}},
		{"frozen without its objective", "[plan]", "[plan]\nfrozen = \"2026-03-02T14:05:00Z\"", refusal{15, ErrMissing, "[plan.objective]"}},
		{"frozen without its correction", "]\n", "]\nfrozen = \"2026-03-02T14:05:00Z\"\n[plan.objective]\nconfidence = 0.9\n", refusal{15, ErrNotPossible, "the correction of that moment"}},
		{"a correction that is not frozen", "[plan]", "[plan]\ncorrection = \"SAE J1349\"", refusal{16, ErrNotPossible, "not frozen"}},
		{"an objective that is not frozen", "]\n", "]\n[plan.objective]\nconfidence = 0.9\n", refusal{20, ErrNotPossible, "not frozen"}},
		{"a frozen objective with a slip", "]\n", "]\nfrozen = \"2026-03-02T14:05:00Z\"\n[plan.objective]\nconfidnce = 0.9\n", refusal{22, ErrUnknownKey, "did you mean confidence?"}},
		{"a frozen confidence in per cent", "]\n", "]\nfrozen = \"2026-03-02T14:05:00Z\"\ncorrection = \"none\"\n[plan.objective]\nconfidence = 90\n", refusal{23, ErrNotPossible, "the confidence is 90"}},
		{"an assumed scatter beyond all", "]\n", "]\n[plan.assumed]\nsetup_sd_pct = 100\n", refusal{21, ErrNotPossible, "100 %"}},
		{"an assumed scatter of nought", "]\n", "]\n[plan.assumed]\nsetup_sd_pct = 0\n", refusal{21, ErrNotPossible, "it is 0"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(plannedText, c.old) {
				t.Fatalf("the plan does not hold %q", c.old)
			}
			at := strings.LastIndex(plannedText, c.old)
			text := smallCampaign + plannedText[:at] + c.new + plannedText[at+len(c.old):]
			_, err := Draft(CampaignFile, []byte(text))
			c.want.check(t, err)
			if _, folder := Open(smallFolder(map[string]string{CampaignFile: text})); folder == nil {
				t.Error("a folder that says so was opened")
			}
		})
	}
}

// TestPlanExample reads the example of docs/formats.md as it stands there.
func TestPlanExample(t *testing.T) {
	document, err := os.ReadFile("../docs/formats.md")
	if err != nil {
		t.Fatal(err)
	}
	_, example, found := strings.Cut(string(document), "```toml\n[plan]")
	example, _, closed := strings.Cut(example, "```")
	if !found || !closed {
		t.Fatal("docs/formats.md holds no example of a plan")
	}
	c, err := Draft(CampaignFile, []byte(smallCampaign+"\n[plan]"+example))
	if err != nil {
		t.Fatal(err)
	}
	want := &campaign.Plan{
		Blocks: []campaign.PlannedBlock{{Configuration: "A", Setup: "s1", Pulls: 3}, {Configuration: "B", Setup: "s2", Pulls: 3}, {Configuration: "A", Setup: "s3", Pulls: 3}},
		Seed:   41, Blind: true, Power: fromPercent(82), Detectable: fromPercent(1.9), MinutesOnRig: 150, SettlingPulls: 2,
		Assumed:   campaign.Assumptions{SetupSD: fromPercent(0.7), SetupDF: 12, BlockSD: fromPercent(0.2), BlockDF: 8, PullSD: fromPercent(0.4), PullDF: 60, DriftPerHour: fromPercent(0.3)},
		Frozen:    time.Date(2026, 3, 2, 14, 5, 0, 0, time.FixedZone("", 3600)),
		Objective: campaign.Objective{BandRPM: [2]float64{2500, 6000}, SmallestGain: 0.02, Confidence: 0.95, Primary: campaign.PrimaryBand}, Correction: "SAE J1349",
	}
	if diff := cmp.Diff(want, c.Plan, sameMeaning); diff != "" {
		t.Errorf("the example reads otherwise (-want +got):\n%s", diff)
	}
}

// A draft needs no pull; all else is asked of it.
func TestDraft(t *testing.T) {
	c, err := Draft("draft.toml", []byte(smallCampaign))
	if err != nil || c.ID != "pipe-7" || c.Pulls != nil || c.Plan != nil {
		t.Errorf("%+v, %v", c, err)
	}
	if _, err := Draft("draft.toml", []byte(strings.Replace(smallCampaign, "pipe-7", "pipe 7", 1))); err == nil || !strings.HasPrefix(err.Error(), "draft.toml, line 2") {
		t.Errorf("%v; want the place in draft.toml", err)
	}
	if _, err := Draft("draft.toml", make([]byte, MaxCampaignBytes+1)); !errors.Is(err, ErrTooLarge) {
		t.Errorf("%v; want too large", err)
	}
}

// A seed that TOML has no whole number for is not written.
func TestPlanNotWritable(t *testing.T) {
	c := small(t)
	c.Plan = &campaign.Plan{Blocks: []campaign.PlannedBlock{{Configuration: "A", Setup: "s1", Pulls: 1}}, Seed: 1 << 63}
	if text, err := CampaignTOML(c); !errors.Is(err, ErrNotWritable) {
		t.Errorf("%v\n%s", err, text)
	}
}
