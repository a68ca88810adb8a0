package lab

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/scatter"
)

// invented is a campaign of reduced curves: every pull is one invented curve times
// exp of a level that the test chooses, so that what comes out is known.
type invented struct {
	id, vehicle, dyno string
	begun             time.Time
	exhaust           string // of the baseline
	part              string // of the candidate, in the place of the exhaust
	gear              int
	band              [2]float64
	blocks            []inventedBlock
}

type inventedBlock struct {
	configuration string
	levels        []float64 // ln, one for each pull
}

const inventedMean = 58.0 // N·m at level 0, at every engine speed

// folder returns the campaign as a folder in memory. Each block is its own setup.
func (v invented) folder() fstest.MapFS {
	orElse := func(text, other string) string {
		if text == "" {
			return other
		}
		return text
	}
	band := v.band
	if band == [2]float64{} {
		band = [2]float64{3000, 6000}
	}
	files := fstest.MapFS{ingest.CampaignFile: {Data: fmt.Appendf(nil, `format = "fairpull.campaign/1"
id = %q
title = "Invented"
[objective]
band_rpm = [%g, %g]
smallest_gain_of_interest_pct = 1.0
[vehicle]
id = %q
test_gear = %d
[dyno]
id = %q
[correction]
standard = "SAE J1349"
[[configuration]]
id = "A"
role = "baseline"
components = [ { function = "exhaust", part = %q }, { function = "camshaft", part = "OEM 14" } ]
[[configuration]]
id = "B"
role = "candidate"
components = [ { function = "exhaust", part = %q }, { function = "camshaft", part = "OEM 14" } ]
[history]
setup_sd_pct = 0.3
setup_df = 20
pull_sd_pct = 0.2
pull_df = 40
`, v.id, band[0], band[1], v.vehicle, max(v.gear, 4), orElse(v.dyno, "cell-1"), orElse(v.exhaust, "OEM 90"), orElse(v.part, "S-2"))}}
	rows := "pull,started,configuration,setup,log,correction_applied,correction_factor\n"
	n := 0
	for b, block := range v.blocks {
		for i, level := range block.levels {
			n++
			name := fmt.Sprintf("curves/%02d.csv", n)
			started := v.begun.Add(time.Duration(b)*time.Hour + time.Duration(i)*5*time.Minute)
			rows += fmt.Sprintf("%d,%s,%s,s%d,%s,SAE J1349,1.01\n", n, started.Format(time.RFC3339), block.configuration, b+1, name)
			var curve strings.Builder
			curve.WriteString("engine_speed [1/min],torque_wheel [N·m]\n")
			for rpm := 2500.0; rpm <= 7000; rpm += 50 {
				fmt.Fprintf(&curve, "%g,%.17g\n", rpm, math.Exp(level)*inventedMean)
			}
			files[name] = &fstest.MapFile{Data: []byte(curve.String())}
		}
	}
	files[ingest.PullsFile] = &fstest.MapFile{Data: []byte(rows)}
	return files
}

// import takes the campaign into the workspace.
func (v invented) put(t testing.TB, w *Workspace) {
	t.Helper()
	dir := t.TempDir()
	writeTree(t, dir, v.folder())
	if _, err := w.Import(t.Context(), dir, anna, false); err != nil {
		t.Fatal(err)
	}
}

// inventedDay is the day of campaign n of a series, a week apart.
func inventedDay(n int) time.Time {
	return time.Date(2026, 1, 5+7*n, 9, 0, 0, 0, time.FixedZone("", 3600))
}

// checkOn is a campaign of the vehicle that is kept unchanged: one setup of its
// baseline at a level, and one of a part.
func checkOn(n int, level float64) invented {
	return invented{
		id: fmt.Sprintf("check-%02d", n), vehicle: "single-01", begun: inventedDay(n),
		blocks: []inventedBlock{{"A", []float64{level - 0.001, level, level + 0.001}}, {"B", []float64{level + 0.03, level + 0.03}}},
	}
}

// checkLevels are levels of twelve weeks, ln: 0.2 % of scatter without chance, and from
// week 8 to 10 the rig reads 2 % high.
func checkLevels() []float64 {
	levels := []float64{0.001, -0.002, 0.002, 0.0005, -0.0015, 0.0025, -0.001, 0.0008, 0.021, 0.0195, 0.0205, -0.0005}
	return levels
}

func checkedWorkspace(t *testing.T) *Workspace {
	w := newWorkspace(t)
	for n, level := range checkLevels() {
		checkOn(n, level).put(t, w)
	}
	changed, err := w.SetStandard(t.Context(), StandardChoice{Dyno: "cell-1", Vehicle: "single-01"}, anna)
	if err != nil || !changed {
		t.Fatal(changed, err)
	}
	return w
}

// The chart of the workspace is that of the levels that the campaigns were made with:
// each setup a point, the mean of its pulls.
func TestStandardChart(t *testing.T) {
	w := checkedWorkspace(t)
	view, err := w.Standard(t.Context(), StandardQuery{})
	if err != nil {
		t.Fatal(err)
	}
	want, err := scatter.Control(checkLevels(), scatter.KnownSD{}, scatter.DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	if len(view.Checks) != 12 || view.Dyno != "cell-1" || view.Like != "check-00" || view.NamedBy != anna.Who {
		t.Fatalf("%d checks: %+v", len(view.Checks), view)
	}
	for i, c := range view.Checks {
		p := want.Points[i]
		if c.Campaign != fmt.Sprintf("check-%02d", i) || c.Setup != "s1" || c.Pulls != 3 || !c.Started.Equal(inventedDay(i)) {
			t.Errorf("check %d is %+v", i, c)
		}
		near(t, fmt.Sprintf("level %d", i), c.MeanNm, inventedMean*math.Exp(checkLevels()[i]), 1e-9)
		if c.Judged != p.Judged || c.Judged && math.Abs(c.Q-p.Q) > 1e-6 {
			t.Errorf("check %d: Q %v, want %v", i, c.Q, p.Q)
		}
	}
	if len(view.Doubts) != 1 {
		t.Fatalf("doubts %+v", view.Doubts)
	}
	d := view.Doubts[0]
	if d.First != 8 || d.Last != 10 || !d.Since.Equal(inventedDay(7)) || !d.Until.Equal(inventedDay(11)) || !slices.Equal(d.Campaigns, []string{"check-08", "check-09", "check-10"}) {
		t.Errorf("the doubt is %+v", d)
	}
	near(t, "centre", view.CentreNm, inventedMean*math.Exp(want.Centre), 1e-9)
	near(t, "run length", view.Rules.EWMA.False, 370, 1e-2)
}

// A campaign on the dyno while the check standard signals is told so, with the gain
// untouched; one before is told that the rig was good; both are kept with the result,
// and so re-derived.
func TestStandardReachesTheReader(t *testing.T) {
	w := checkedWorkspace(t)
	for n, id := range map[int]string{5: "before", 9: "within", 11: "after"} {
		v := invented{
			id: id, vehicle: "twin-02", begun: inventedDay(n).AddDate(0, 0, 2),
			blocks: []inventedBlock{{"A", []float64{0.02, 0.021}}, {"B", []float64{0.05, 0.051}}, {"A", []float64{0.0205, 0.0192}}},
		}
		v.put(t, w)
	}
	for id, want := range map[string]campaign.Status{"before": campaign.Pass, "within": campaign.Warn, "after": campaign.Pass} {
		j := mustJudge(t, w, id, true)
		k := checkOf(t, j.Analysis, "check-standard")
		if k.Status != want {
			t.Errorf("%s: %+v", id, k)
		}
		if verdict := j.Comparisons[0].Verdict; verdict != "gain shown" || slices.Contains(k.Withholds, "B") {
			t.Errorf("%s: the check touches the gain: %q %v, %+v", id, verdict, j.Comparisons[0].Reasons, k)
		}
		if want == campaign.Warn {
			for _, words := range []string{"single-01", "signalled on 2026-03-02", "since the last good check on 2026-02-23", "The gain is not touched"} {
				if !strings.Contains(k.Message, words) {
					t.Errorf("the message lacks %q: %s", words, k.Message)
				}
			}
			var page bytes.Buffer
			if err := j.View("1", quantity.SI).HTML(&page, quantity.SI); err != nil || !strings.Contains(page.String(), "check-standard") {
				t.Errorf("the page does not show it, %v", err)
			}
		}
		again, err := w.Rederive(t.Context(), j.Result)
		if err != nil || !bytes.Equal(again.Body, j.Result.Body) {
			t.Errorf("%s: re-derived, it is another result, %v", id, err)
		}
	}
	// Before the chart can say anything there is no check.
	if _, said, err := w.standardCheck(t.Context(), "cell-1", inventedDay(1)); said || err != nil {
		t.Error("two checks judged a campaign", err)
	}
	if _, said, err := w.standardCheck(t.Context(), "cell-9", inventedDay(9)); said || err != nil {
		t.Error("a dyno without a check standard has a check", err)
	}
}

// A campaign whose vehicle is not the unchanged one is no check, and says why; one whose
// candidate has the same parts gives two.
func TestStandardLeavesOut(t *testing.T) {
	w := checkedWorkspace(t)
	other := checkOn(20, 0)
	other.id, other.exhaust = "other-exhaust", "X-9"
	geared := checkOn(21, 0)
	geared.id, geared.gear = "other-gear", 5
	same := checkOn(22, 0)
	same.id, same.part = "twice-the-same", "OEM 90"
	narrow := checkOn(23, 0)
	narrow.id, narrow.begun = "elsewhere", inventedDay(23)
	narrow.dyno = "cell-2"
	for _, v := range []invented{other, geared, same, narrow} {
		v.put(t, w)
	}
	if _, err := w.Standard(t.Context(), StandardQuery{}); err == nil || !strings.Contains(err.Error(), "2 dynos") {
		t.Errorf("two dynos and none named: %v", err)
	}
	view, err := w.Standard(t.Context(), StandardQuery{Dyno: "cell-1"})
	if err != nil {
		t.Fatal(err)
	}
	if len(view.Checks) != 14 || view.Checks[12].Campaign != "twice-the-same" || view.Checks[13].Setup != "s2" {
		t.Errorf("%d checks, the last %+v", len(view.Checks), view.Checks[len(view.Checks)-1])
	}
	want := []report.StandardLeftOut{
		{Campaign: "other-exhaust", Reason: "its baseline has another exhaust: X-9 in the place of OEM 90"},
		{Campaign: "other-gear", Reason: "it was measured in gear 5, the check standard in gear 4"},
	}
	if !slices.Equal(view.LeftOut, want) {
		t.Errorf("left out %+v", view.LeftOut)
	}
	// From a day on, and over other engine speeds.
	if _, err := w.SetStandard(t.Context(), StandardChoice{Dyno: "cell-1", Vehicle: "single-01", From: inventedDay(10), BandRPM: [2]float64{2500, 7000}}, anna); err != nil {
		t.Fatal(err)
	}
	if view, err = w.Standard(t.Context(), StandardQuery{Dyno: "cell-1"}); err != nil || len(view.Checks) != 4 || view.Like != "check-10" {
		t.Errorf("%d checks from week 10 on, like %s, %v", len(view.Checks), view.Like, err)
	}
	if _, err := w.SetStandard(t.Context(), StandardChoice{Dyno: "cell-1", Vehicle: "single-01", BandRPM: [2]float64{2000, 7000}}, anna); err != nil {
		t.Fatal(err)
	}
	if view, err = w.Standard(t.Context(), StandardQuery{Dyno: "cell-1"}); err != nil || len(view.Checks) != 0 || !strings.Contains(view.LeftOut[0].Reason, "does not cover 2000 to 7000 rpm") {
		t.Errorf("%d checks of engine speeds that no pull has, %+v, %v", len(view.Checks), view.LeftOut, err)
	}
}

// What was read once is read from the workspace the next time, and anew after the
// campaign has changed.
func TestStandardReadsOnce(t *testing.T) {
	w := checkedWorkspace(t)
	if _, err := w.Standard(t.Context(), StandardQuery{}); err != nil {
		t.Fatal(err)
	}
	before, err := w.store.Readings(t.Context(), standardKind, "cell-1", "single-01")
	if err != nil || len(before) != 12 {
		t.Fatalf("%d readings are kept, %v", len(before), err)
	}
	better := checkOn(3, 0.004)
	dir := t.TempDir()
	writeTree(t, dir, better.folder())
	if _, err := w.Import(t.Context(), dir, anna, true); err != nil {
		t.Fatal(err)
	}
	view, err := w.Standard(t.Context(), StandardQuery{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "the level of the new version", view.Checks[3].MeanNm, inventedMean*math.Exp(0.004), 1e-9)
	after, err := w.store.Readings(t.Context(), standardKind, "cell-1", "single-01")
	if err != nil {
		t.Fatal(err)
	}
	for id, r := range after {
		if same := r.Key == before[id].Key; same == (id == "check-03") {
			t.Errorf("%s: read again %v", id, !same)
		}
	}
	if report, err := w.Doctor(t.Context()); err != nil || !report.Clean() {
		t.Errorf("the doctor: %+v, %v", report.Problems, err)
	}
}

func TestStandardRefuses(t *testing.T) {
	w := newWorkspace(t)
	if _, err := w.Standard(t.Context(), StandardQuery{}); err == nil || !strings.Contains(err.Error(), "fairpull import") {
		t.Errorf("an empty workspace: %v", err)
	}
	checkOn(0, 0).put(t, w)
	for want, choice := range map[string]StandardChoice{
		"no campaign of vehicle twin-09": {Dyno: "cell-1", Vehicle: "twin-09"},
		"is not in the workspace":        {Dyno: "cell-1", Vehicle: "single-01", Like: "nothing"},
		"not of twin-09 on cell-1":       {Dyno: "cell-1", Vehicle: "twin-09", Like: "check-00"},
	} {
		if _, err := w.SetStandard(t.Context(), choice, anna); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", choice, err, want)
		}
	}
	if _, err := w.Standard(t.Context(), StandardQuery{}); err == nil || !strings.Contains(err.Error(), "--set") {
		t.Errorf("no check standard: %v", err)
	}
	if err := w.RetireStandard(t.Context(), "cell-1", anna); err == nil || !strings.Contains(err.Error(), "no check standard") {
		t.Errorf("retired before it was named: %v", err)
	}
	if _, err := w.SetStandard(t.Context(), StandardChoice{Dyno: "cell-1", Vehicle: "single-01"}, anna); err != nil {
		t.Fatal(err)
	}
	if _, err := w.SetStandard(t.Context(), StandardChoice{Dyno: "cell-1", Vehicle: "single-01", From: inventedDay(-1)}, Author{Who: "Anna Test"}); err == nil || !strings.Contains(err.Error(), "--why") {
		t.Errorf("another without a reason: %v", err)
	}
	if err := w.RetireStandard(t.Context(), "cell-1", anna); err != nil {
		t.Error(err)
	}
}

// writeTree writes files in memory below a directory.
func writeTree(t testing.TB, dir string, files fstest.MapFS) {
	t.Helper()
	if err := os.CopyFS(dir, files); err != nil {
		t.Fatal(err)
	}
}

// near fails unless got is within a relative tolerance of want.
func near(t testing.TB, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, relative)
	}
}
