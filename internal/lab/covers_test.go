package lab

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/report"
)

// claimOnParts is an invented claim on a kit of a camshaft and its calibration.
func claimOnParts() campaign.Claim {
	c := campaign.Claim{ClaimHead: campaign.ClaimHead{Number: "C-0007"}, Vehicle: campaign.ClaimItem{ID: "twin650-03"}}
	c.Tested.Components = []campaign.ClaimComponent{
		{Function: "camshaft", Part: "K-218", Serial: "0417", Changed: true}, {Function: "exhaust", Part: "X-650-2"}, {Function: "mirror", Part: "M-1"},
		{Function: "injector", Part: "I-1"}, {Function: "injector", Part: "I-2"},
	}
	c.Tested.Settings = []campaign.ClaimSetting{{Key: "calibration", Value: "K-218 r3", Changed: true}}
	return c
}

func asked(parts ...string) Combination {
	var c Combination
	for _, text := range parts {
		name, is, _ := strings.Cut(text, "=")
		if name == "calibration" {
			c.Settings = append(c.Settings, campaign.Setting{Key: name, Value: is})
		} else {
			c.Components = append(c.Components, campaign.Component{Function: name, Part: is})
		}
	}
	return c
}

func pointNames(points []report.CoverPoint) string {
	var list []string
	for _, p := range points {
		list = append(list, p.Name)
	}
	return strings.Join(list, " ")
}

// Which combinations a claim covers: exactly what was tested; what differs breaks it
// by name, unless it is held neutral; what is not said stays open; what the claim is
// about is never neutral.
func TestCover(t *testing.T) {
	whole := []string{"camshaft=K-218", "exhaust=X-650-2", "mirror=M-1", "injector=I-2", "injector=I-1", "calibration=K-218 r3"}
	without := func(out ...string) []string {
		return slices.DeleteFunc(slices.Clone(whole), func(s string) bool { return slices.Contains(out, s) })
	}
	neutral := map[string]string{"mirror": "no air that matters", "camshaft": "by mistake", "calibration": "by mistake"}
	for _, c := range []struct {
		what                           string
		ask                            []string
		vehicle                        string
		held                           map[string]string
		answer, breaks, unsaid, differ string
	}{
		{"as tested", whole, "", nil, report.Covered, "", "", ""},
		{"other case and blanks", append(without("exhaust=X-650-2"), " EXHAUST = x-650-2 "), "", nil, report.Covered, "", "", ""},
		{"the same vehicle", whole, "TWIN650-03", nil, report.Covered, "", "", ""},
		{"another vehicle", whole, "single-01", nil, report.NotCovered, "vehicle", "", ""},
		{"another exhaust", append(without("exhaust=X-650-2"), "exhaust=Y-1"), "", nil, report.NotCovered, "exhaust", "", ""},
		{"one injector of two", without("injector=I-2"), "", nil, report.NotCovered, "injector", "", ""},
		{"a part more", append(slices.Clone(whole), "air filter=F-9"), "", nil, report.NotCovered, "air filter", "", ""},
		{"another calibration", append(without("calibration=K-218 r3"), "calibration=r4"), "", nil, report.NotCovered, "calibration", "", ""},
		{"exhaust not said", without("exhaust=X-650-2"), "", nil, report.CoverOpen, "", "exhaust", ""},
		{"another mirror", append(without("mirror=M-1"), "mirror=M-2"), "", nil, report.NotCovered, "mirror", "", ""},
		{"another mirror, held neutral", append(without("mirror=M-1"), "mirror=M-2"), "", neutral, report.Covered, "", "", "mirror"},
		{"no mirror, held neutral", without("mirror=M-1"), "", neutral, report.Covered, "", "", "mirror"},
		{"another camshaft, wrongly held neutral", append(without("camshaft=K-218"), "camshaft=K-300"), "", neutral, report.NotCovered, "camshaft", "", ""},
		{"another calibration, wrongly held neutral", append(without("calibration=K-218 r3"), "calibration=r4"), "", neutral, report.NotCovered, "calibration", "", ""},
	} {
		ask := asked(c.ask...)
		for i := range ask.Components { // as the command line hands them on
			ask.Components[i].Part = strings.TrimSpace(ask.Components[i].Part)
		}
		ask.Vehicle = c.vehicle
		r := coverOf(claimOnParts(), ask, c.held)
		if r.Answer != c.answer || pointNames(r.Breaks) != c.breaks || pointNames(r.Unsaid) != c.unsaid || pointNames(r.Neutral) != c.differ {
			t.Errorf("%s: %s, breaks %q, unsaid %q, neutral %q", c.what, r.Answer, pointNames(r.Breaks), pointNames(r.Unsaid), pointNames(r.Neutral))
		}
	}
}

// Of a lab's claims only published ones cover anything, the nearest stands first, and
// what is held neutral is kept with its reason.
func TestCoversOfAWorkspace(t *testing.T) {
	w, keys := claimingLab(t)
	published := mustPublish(t, w, keys, mustDraft(t, w, "lab-01").Number)
	mustDraft(t, w, "lab-00")
	var c Combination
	for _, p := range published.Tested.Components {
		c.Components = append(c.Components, campaign.Component{Function: p.Function, Part: p.Part})
	}
	for _, s := range published.Tested.Settings {
		c.Settings = append(c.Settings, campaign.Setting{Key: s.Key, Value: s.Value})
	}
	view, err := w.Covers(t.Context(), c)
	if err != nil || len(view.Rows) != 1 || view.Rows[0].Answer != report.Covered {
		t.Fatalf("%+v, %v", view, err)
	}
	c.Components = append(c.Components, campaign.Component{Function: "Mirror", Part: "M-2"})
	if view, err = w.Covers(t.Context(), c); err != nil || view.Rows[0].Answer != report.NotCovered || pointNames(view.Rows[0].Breaks) != "Mirror" {
		t.Errorf("%+v, %v", view, err)
	}
	if _, err := w.SetNeutral(t.Context(), "mirror", true, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
		t.Errorf("without a reason: %v", err)
	}
	if changed, err := w.SetNeutral(t.Context(), "mirror", true, anna); err != nil || !changed {
		t.Fatal(changed, err)
	}
	if changed, err := w.SetNeutral(t.Context(), "MIRROR", true, anna); err != nil || changed {
		t.Errorf("again: %v, %v", changed, err)
	}
	if view, err = w.Covers(t.Context(), c); err != nil || view.Rows[0].Answer != report.Covered || view.Rows[0].Neutral[0].Why != anna.Why {
		t.Errorf("%+v, %v", view, err)
	}
	list, err := w.Neutrals(t.Context())
	if err != nil || len(list.Rows) != 1 || list.Rows[0].Who != anna.Who || list.Rows[0].At.IsZero() {
		t.Errorf("%+v, %v", list, err)
	}
	if changed, err := w.SetNeutral(t.Context(), "mirror", false, anna); err != nil || !changed {
		t.Error(changed, err)
	}
	if _, err := w.WithdrawClaim(t.Context(), published.Number, anna); err != nil {
		t.Fatal(err)
	}
	if view, err = w.Covers(t.Context(), c); err != nil || len(view.Rows) != 0 {
		t.Errorf("a withdrawn claim covers: %+v, %v", view, err)
	}
	for what, c := range map[string]Combination{
		"nothing": {}, "no part": asked("exhaust="), "one setting twice": asked("calibration=a", "calibration=b"),
	} {
		if _, err := w.Covers(t.Context(), c); !errors.Is(err, ErrRefused) {
			t.Errorf("%s: %v, want ErrRefused", what, err)
		}
	}
}

func TestReadCombination(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bike.toml")
	write := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("vehicle = \"twin650-03\"\ncomponents = [{ function = \"exhaust\", part = \"X-1\", serial = \"7\" }]\nsettings = { fuel = \"E10\", map = \"a\" }\n")
	c, err := ReadCombination(file)
	if err != nil || c.Vehicle != "twin650-03" || len(c.Components) != 1 || c.Components[0].Part != "X-1" || len(c.Settings) != 2 || c.Settings[0].Key != "fuel" {
		t.Errorf("%+v, %v", c, err)
	}
	for _, text := range []string{"colour = \"red\"", "{", "components = 3"} {
		write(text)
		if _, err := ReadCombination(file); !errors.Is(err, ErrRefused) {
			t.Errorf("%q: %v, want ErrRefused", text, err)
		}
	}
}
