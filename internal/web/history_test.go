package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/internal/lab"
)

// season takes campaigns of an invented vehicle in, one a month from May 2026 on,
// and judges them. Each has four setups of two pulls whose torque is one invented
// curve times exp of a level; lift is added to the last one's.
func season(t testing.TB, s *site, campaigns int, lift float64) {
	t.Helper()
	for i := range campaigns {
		begun := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC).AddDate(0, i, 0)
		id := "season-" + begun.Format("2006-01")
		level := 0.0
		if i == campaigns-1 {
			level = lift
		}
		folder := filepath.Join(t.TempDir(), id)
		writeInvented(t, folder, id, begun, func(setup, pull int) float64 {
			return level + 0.004*math.Sin(float64(7*i+3*setup)) + 0.002*math.Cos(float64(5*i+2*setup+11*pull)) + 0.01*float64(setup%2)
		})
		if _, err := s.w.Import(t.Context(), folder, bert, false); err != nil {
			t.Fatal(err)
		}
		if _, err := s.w.Judge(t.Context(), id, lab.JudgeOptions{By: bert, Program: "test", Keep: true}); err != nil {
			t.Fatal(err)
		}
	}
}

// writeInvented writes a campaign folder of curves that were reduced elsewhere.
func writeInvented(t testing.TB, dir, id string, begun time.Time, level func(setup, pull int) float64) {
	t.Helper()
	write := func(name, text string) {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("campaign.toml", fmt.Sprintf(`format = "fairpull.campaign/1"
id = %q
title = "Invented season"
[objective]
band_rpm = [3000, 6000]
smallest_gain_of_interest_pct = 1.0
[vehicle]
id = "keeper-1"
test_gear = 4
[dyno]
id = "cell-7"
[correction]
standard = "SAE J1349"
[[configuration]]
id = "A"
role = "baseline"
components = [ { function = "exhaust", part = "OEM 90" } ]
[[configuration]]
id = "B"
role = "candidate"
components = [ { function = "exhaust", part = "S-2" } ]
[history]
setup_sd_pct = 0.5
setup_df = 10
pull_sd_pct = 0.3
pull_df = 20
`, id))
	rows := "pull,started,configuration,setup,log,correction_applied,correction_factor\n"
	n := 0
	for setup, configuration := range []string{"A", "B", "A", "B"} {
		for pull := range 2 {
			n++
			rows += fmt.Sprintf("%d,%s,%s,s%d,logs/%d.csv,SAE J1349,1.01\n", n, begun.Add(time.Duration(n)*10*time.Minute).Format(time.RFC3339), configuration, setup+1, n)
			log := "engine_speed [1/min],torque_wheel [N·m]\n"
			for rpm := 2800.0; rpm <= 6300; rpm += 50 {
				log += fmt.Sprintf("%g,%.9g\n", rpm, (58-math.Pow((rpm-4800)/1000, 2))*math.Exp(level(setup, pull)))
			}
			write(fmt.Sprintf("logs/%d.csv", n), log)
		}
	}
	write("pulls.csv", rows)
}

func TestHistoryPage(t *testing.T) {
	s := open(t, nil)
	s.get("/history").says(t, "Scatter of dyno", "No campaign is in the history yet", "1 more have no result")
	season(t, s, 4, 0)
	path := "/history?dyno=cell-7"
	s.get(path).says(t, "Scatter of dyno cell-7", "From 4 campaigns", "Setup to setup", "Pull to pull", "<svg", "season-2026-08", "cell-1", "a year")
	s.get(path+"&vehicle=nobody").says(t, "No campaign says anything of it yet.")
	if a := s.do(s.client(), http.MethodGet, path+"&class=roadster", nil); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "no vehicle of the workspace has a class") {
		t.Errorf("a class that nobody has: %d", a.status)
	}
	s.post("/vehicles", url.Values{"id": {"keeper-1"}, "gear": {"4"}, "class": {"Roadster <b>"}, "why": {"there are more of its kind"}})
	s.get(path+"&class=roadster+%3Cb%3E").says(t, "with vehicles of class Roadster &lt;b&gt;", "From 4 campaigns", "selected>Roadster &lt;b&gt;</option>", "class=roadster")

	c := s.client()
	form := url.Values{"dyno": {"cell-7"}, "campaign": {"season-2026-06"}, "why": {"  the drum's cover\nrubbed <b>  "}}
	a := s.do(c, http.MethodPost, "/history/leave-out", form)
	if a.status != http.StatusSeeOther || a.header.Get("Location") != "/history?done=left-out&dyno=cell-7" {
		t.Fatalf("leaving out: %d to %q\n%s", a.status, a.header.Get("Location"), a.body)
	}
	page := s.get(path)
	page.says(t, "From 3 campaigns", "left out by hand", "the drum&#39;s cover rubbed &lt;b&gt;", "Bert Test")
	page.saysNot(t, "rubbed <b>")
	a = s.do(c, http.MethodPost, "/history/take-back", url.Values{"dyno": {"cell-7"}, "campaign": {"season-2026-06"}, "why": {"it was another campaign"}})
	if a.status != http.StatusSeeOther {
		t.Fatalf("taking back: %d\n%s", a.status, a.body)
	}
	s.get(path+"&done=taken-back").says(t, "From 4 campaigns", "in the history again")
}

// What is refused leaves the history as it was.
func TestHistoryRefuses(t *testing.T) {
	s := open(t, nil)
	season(t, s, 3, 0)
	before, err := s.w.LastChange(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		path   string
		form   url.Values
		status int
		says   string
	}{
		{"/history/leave-out", url.Values{"campaign": {"season-2026-05"}, "why": {" \n"}}, http.StatusUnprocessableEntity, "No reason is given"},
		{"/history/leave-out", url.Values{"campaign": {"none"}, "why": {"gone"}}, http.StatusNotFound, "none"},
		{"/history/take-back", url.Values{"campaign": {"none"}, "why": {"gone"}}, http.StatusNotFound, "none"},
	} {
		a := s.do(s.client(), http.MethodPost, row.path, row.form)
		if a.status != row.status || !strings.Contains(a.body, row.says) {
			t.Errorf("POST %s %v: %d, wanted %d with %q\n%.1500s", row.path, row.form, a.status, row.status, row.says, a.body)
		}
	}
	if a := s.do(s.client(), http.MethodGet, "/history?dyno=cell-99", nil); a.status != http.StatusNotFound {
		t.Errorf("a dyno that is not there: %d", a.status)
	}
	if after, err := s.w.LastChange(t.Context()); err != nil || after != before {
		t.Errorf("what was refused made change %d (was %d), %v", after, before, err)
	}
}

func TestCheckStandardPage(t *testing.T) {
	s := open(t, nil)
	season(t, s, 5, 0.05)
	s.get("/check-standards?dyno=cell-7").says(t, "Dyno cell-7 has no check standard.", "<option>keeper-1</option>", "Name one")
	c := s.client()
	post := func(path string, form url.Values, status int, says string) {
		t.Helper()
		a := s.do(c, http.MethodPost, path, form)
		if a.status != status || !strings.Contains(a.body+a.header.Get("Location"), says) {
			t.Errorf("POST %s %v: %d to %q, wanted %d with %q\n%.1500s", path, form, a.status, a.header.Get("Location"), status, says, a.body)
		}
	}
	post("/check-standards", url.Values{"dyno": {"cell-7"}}, http.StatusUnprocessableEntity, "No vehicle is named")
	post("/check-standards", url.Values{"dyno": {"cell-7"}, "vehicle": {"stranger"}}, http.StatusUnprocessableEntity, "no campaign of vehicle stranger")
	post("/check-standards", url.Values{"dyno": {"cell-7"}, "vehicle": {"keeper-1"}, "band_low": {"6000"}, "band_high": {"3000"}}, http.StatusUnprocessableEntity, "the lower one first")
	post("/check-standards", url.Values{"dyno": {"cell-7"}, "vehicle": {"keeper-1"}, "from": {"4 May"}}, http.StatusBadRequest, "2026-03-02")
	post("/check-standards/end", url.Values{"dyno": {"cell-7"}, "why": {"sold"}}, http.StatusUnprocessableEntity, "has no check standard")
	good := url.Values{"dyno": {"cell-7"}, "vehicle": {"keeper-1"}, "band_low": {"3500"}, "band_high": {"5500"}}
	post("/check-standards", good, http.StatusSeeOther, "/check-standards?done=standard-set&dyno=cell-7")
	post("/check-standards", good, http.StatusSeeOther, "done=standard-same")

	page := s.get("/check-standards?dyno=cell-7")
	page.body = strings.ReplaceAll(page.body, "\u00a0", " ")
	page.says(t, "Check standard of dyno cell-7: keeper-1", "3500 to 5500 rpm", "<svg", "EWMA", "What the rules take", "season-2026-05", "The rig has changed", "N·m")
	s.get("/check-standards?dyno=cell-7&units=us").says(t, "lbf·ft")
	good.Set("band_high", "5000")
	post("/check-standards", good, http.StatusUnprocessableEntity, "needs a reason")
	post("/check-standards/end", url.Values{"dyno": {"cell-7"}, "why": {""}}, http.StatusUnprocessableEntity, "No reason is given")
	post("/check-standards/end", url.Values{"dyno": {"cell-7"}, "why": {"sold"}}, http.StatusSeeOther, "done=standard-ended")
	s.get("/check-standards?dyno=cell-7&done=standard-ended").says(t, "has no check standard", "Its checks stay in the record.")
}

// A viewer sees both pages and changes nothing.
func TestHistoryTakesTheRole(t *testing.T) {
	s := guarded(t, nil)
	c := s.as("viewer")
	for _, path := range []string{"/history", "/check-standards"} {
		a := s.do(c, http.MethodGet, path, nil)
		if a.status != http.StatusOK || strings.Contains(a.body, `method="post" action="`+path) {
			t.Errorf("GET %s: %d, or it offers what a viewer may not do", path, a.status)
		}
	}
	for _, path := range []string{"/history/leave-out", "/history/take-back", "/check-standards", "/check-standards/end"} {
		if a := s.do(c, http.MethodPost, path, url.Values{"campaign": {demoID}, "dyno": {"cell-1"}, "vehicle": {"x"}, "why": {"because"}}); a.status != http.StatusForbidden {
			t.Errorf("POST %s as a viewer: %d", path, a.status)
		}
	}
}

// nameStandard makes the invented vehicle the check standard of its dyno.
func nameStandard(t testing.TB, s *site) {
	t.Helper()
	if _, err := s.w.SetStandard(t.Context(), lab.StandardChoice{Dyno: "cell-7", Vehicle: "keeper-1"}, bert); err != nil {
		t.Fatal(err)
	}
}
