package lab

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/quantity"
	"fairpull/report"
)

// oldCampaign writes a campaign of an old archive: wheel torque curves that another
// program reduced and corrected. Each pull is one invented curve times
// exp(offset), three pulls to a block, A B A in three setups.
func oldCampaign(t *testing.T, dir string, n int, offsets [9]float64) {
	t.Helper()
	write(t, filepath.Join(dir, "campaign.toml"), fmt.Appendf(nil, `format = "fairpull.campaign/1"
id = "old-%02d"
title = "From the old archive"
[objective]
band_rpm = [3000, 6000]
[vehicle]
id = "twin650-03"
[dyno]
id = "cell-1"
[correction]
standard = "SAE J1349"
[[configuration]]
id = "A"
role = "baseline"
[[configuration]]
id = "B"
role = "candidate"
`, n))
	rows := []string{"pull,started,configuration,setup,log,correction_applied,correction_factor"}
	begun := time.Date(2019, 4, 1+7*n, 9, 0, 0, 0, time.UTC)
	for i, offset := range offsets {
		block := i / 3
		name := fmt.Sprintf("curves/%02d-%d.csv", n, i+1)
		rows = append(rows, fmt.Sprintf("%d,%s,%s,s%d,%s,SAE J1349,1.013", i+1, begun.Add(time.Duration(i)*5*time.Minute).Format(time.RFC3339), []string{"A", "B", "A"}[block], block+1, name))
		var curve strings.Builder
		curve.WriteString("engine_speed [1/min],torque_wheel [N·m]\n")
		for rpm := 2500.0; rpm <= 7000; rpm += 50 {
			fmt.Fprintf(&curve, "%g,%.17g\n", rpm, math.Exp(offset)*(58+6*math.Sin((rpm-2500)/1800)))
		}
		write(t, filepath.Join(dir, name), []byte(curve.String()))
	}
	write(t, filepath.Join(dir, "pulls.csv"), []byte(strings.Join(rows, "\n")+"\n"))
}

// An old archive of curves comes into the workspace as campaign folders and adds
// to the lab's history, marked as curves. The pull scatter is that of the offsets:
// the pooled SD within blocks, sqrt(Σ(x − block mean)² / Σ(n − 1)), which each
// curve's scalar follows exactly as a curve is one shape times exp(offset); a study
// keeps its rows to seven digits.
func TestOldCurvesAreHistory(t *testing.T) {
	w := newWorkspace(t)
	var sum, df float64
	for n := range 3 {
		var offsets [9]float64
		for i := range offsets {
			offsets[i] = 0.004 * math.Sin(7.3*float64(n)+float64(i*i+1)) // no chance in it, and no curve twice
		}
		for block := range 3 {
			mean := (offsets[3*block] + offsets[3*block+1] + offsets[3*block+2]) / 3
			for i := range 3 {
				sum += (offsets[3*block+i] - mean) * (offsets[3*block+i] - mean)
			}
			df += 2
		}
		dir := filepath.Join(t.TempDir(), "old")
		oldCampaign(t, dir, n, offsets)
		if _, err := w.Import(t.Context(), dir, anna, false); err != nil {
			t.Fatal(err)
		}
		mustJudge(t, w, fmt.Sprintf("old-%02d", n), true)
	}
	view, err := w.Scatter(t.Context(), ScatterQuery{})
	if err != nil || len(view.Campaigns) != 3 {
		t.Fatalf("got %+v, %v; want three campaigns", view, err)
	}
	for _, c := range view.Campaigns {
		if !c.Curves {
			t.Errorf("%s is not marked as curves", c.Campaign)
		}
	}
	pull := levelNamed(t, view, "pull")
	if want := math.Sqrt(sum / df); !(math.Abs(pull.SD[0]/want-1) < 1e-6) || pull.DF != df {
		t.Errorf("the pull scatter is %.12g with %g df; the offsets have %.12g with %g", pull.SD[0], pull.DF, want, df)
	}
	putScenario(t, w, labScenario(400)) // years later, with logs, on the same dyno
	c := labScenario(400)
	if c.Dyno.ID != "cell-1" {
		t.Fatalf("the scenario's dyno is %s", c.Dyno.ID)
	}
	j := mustJudge(t, w, c.ID, true)
	var text strings.Builder
	if err := j.View("1", quantity.SI).Text(&text, report.TextOptions{Width: 200}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text.String(), "from curves reduced elsewhere") {
		t.Errorf("the report does not say that the history comes from curves:\n%s", text.String())
	}
}

func levelNamed(t *testing.T, view *report.Scatter, key string) report.ScatterLevel {
	t.Helper()
	for _, level := range view.Levels {
		if level.Key == key {
			return level
		}
	}
	t.Fatalf("no level %s in %+v", key, view.Levels)
	return report.ScatterLevel{}
}
