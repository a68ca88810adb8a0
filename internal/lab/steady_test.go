package lab

import (
	"encoding/json"
	"io/fs"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/reduce"
	"fairpull/simulate"
)

// heldScenario is a small campaign of steady logs with known truth.
func heldScenario(t *testing.T, order string) simulate.Scenario {
	t.Helper()
	s, err := simulate.Named("steady")
	if err != nil {
		t.Fatal(err)
	}
	s.Plan.Order = order
	return s
}

// simulated returns the folder of a scenario with its truth.
func simulated(t *testing.T, s simulate.Scenario) (*ingest.Folder, simulate.Truth, fstest.MapFS) {
	t.Helper()
	files, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	var truth simulate.Truth
	if err := json.Unmarshal(files["truth.json"], &truth); err != nil {
		t.Fatal(err)
	}
	inside := fstest.MapFS{}
	for name, data := range files {
		inside[name] = &fstest.MapFile{Data: data, Mode: fs.FileMode(0o644)}
	}
	folder, err := ingest.Open(inside)
	if err != nil {
		t.Fatal(err)
	}
	return folder, truth, inside
}

// heldCoverage counts in how many points the 95 % limits of the torque from the log
// alone hold the scenario's truth, and adds up their departures in standard errors.
type heldCoverage struct {
	points, held, expected int
	bias                   float64
}

func (c *heldCoverage) take(t *testing.T, s simulate.Scenario) {
	folder, truth, _ := simulated(t, s)
	defer folder.Close()
	for i := range folder.Campaign.Pulls {
		view, err := steadyOfRow(folder, i, reduce.DefaultSteadyRule(), false)
		if err != nil {
			t.Fatal(err)
		}
		if view == nil {
			continue
		}
		for _, want := range truth.Pulls[i].Steady.Held {
			c.expected++
			for j := range view.Steady.Points {
				p := &view.Steady.Points[j]
				if math.Abs(p.EngineRPM-want.RPM) > 0.01*want.RPM || p.End < want.From || p.Start > want.To {
					continue
				}
				lo, hi := p.Limits(0.95)
				c.points++
				if lo <= want.UncorrectedNm && want.UncorrectedNm <= hi {
					c.held++
				}
				c.bias += (p.Torque - want.UncorrectedNm) / p.StandardError
			}
		}
	}
}

// TestSteadyTruth: from the text of a log to torque, the simulated truth lies within
// the limits as often as they say, and on neither side of them.
func TestSteadyTruth(t *testing.T) {
	var c heldCoverage
	for seed := range uint64(3) {
		s := heldScenario(t, "AB")
		s.Seed = seed + 10
		c.take(t, s)
	}
	t.Logf("%d of %d held speeds found, limits hold in %d; mean departure %.2f standard errors", c.points, c.expected, c.held, c.bias/float64(c.points))
	if c.points < c.expected*95/100 || c.held < c.points*88/100 || math.Abs(c.bias)/float64(c.points) > 0.5 {
		t.Errorf("%d of %d held speeds found, limits hold in %d, mean departure %.2f standard errors", c.points, c.expected, c.held, c.bias/float64(c.points))
	}
}

// TestSteadyGain: a campaign of steady points goes through gain, is recognised without
// a word in pulls.csv, and its gain holds the truth of steady points.
func TestSteadyGain(t *testing.T) {
	folder, truth, _ := simulated(t, heldScenario(t, "ABABA"))
	defer folder.Close()
	a, err := Analyse(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !a.allSteady || a.Held != nil || len(a.SpeedRPM) != 8 {
		t.Fatalf("steady %v, held apart %v, speeds %v", a.allSteady, a.Held != nil, a.SpeedRPM)
	}
	want := math.Log1p(*truth.Steady.Comparisons[0].BandPct / 100)
	band := a.Comparisons[0].Band
	if !(band.Lo <= want && want <= band.Hi) || a.Comparisons[0].Verdict != "gain shown" {
		t.Errorf("band gain %.4f (%.4f to %.4f), the truth is %.4f; verdict %q", band.Gain, band.Lo, band.Hi, want, a.Comparisons[0].Verdict)
	}
	for i, n := range a.Comparisons[0].Curve {
		if at := math.Log1p(truth.Steady.Comparisons[0].CurvePct[i] / 100); n.RPM != truth.Steady.RPM[i] || math.Abs(n.Gain-at) > 3.5*n.SE {
			t.Errorf("%v rpm: gain %.4f ± %.4f, the truth is %.4f", n.RPM, n.Gain, n.SE, at)
		}
	}
	if missing := a.Comparisons[0].PeakTorque.Missing; !strings.Contains(missing, "too far") {
		t.Errorf("peak between held speeds: %q", missing)
	}
	view := a.View("test", quantity.SI)
	if s := view.Sentence(&view.Comparisons[0]); !strings.Contains(s, "held on the brake") {
		t.Errorf("the sentence does not say that speeds were held: %s", s)
	}
	data, err := view.JSON()
	if err != nil || !strings.Contains(string(data), `"steady": true`) {
		t.Errorf("the gain result does not say that speeds were held: %v", err)
	}
}

// TestBothWays: a lighter wheel gains in pulls and not at a held speed; what the
// difference of the ways stands for is the inertia that the scenario turns.
func TestBothWays(t *testing.T) {
	s, err := simulate.Named("pulls-and-steady")
	if err != nil {
		t.Fatal(err)
	}
	folder, truth, _ := simulated(t, s)
	defer folder.Close()
	a, err := Analyse(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a.allSteady || a.Held == nil || a.Ways == nil || a.Ways.Missing != "" {
		t.Fatalf("ways %+v", a.Ways)
	}
	for i, way := range a.Ways.Configurations {
		c := truth.Configurations[i]
		want := c.WheelInertiaAtDrum + c.EngineInertiaAtDrum
		// Half a per cent of the wheel figure is about a tenth of this inertia.
		if !(way.InertiaLo <= want && want <= way.InertiaHi) || way.InertiaHi-way.InertiaLo > 0.4 {
			t.Errorf("%s: rotating inertia %.3f (%.3f to %.3f) kg·m², turned are %.3f", way.Configuration, way.Inertia, way.InertiaLo, way.InertiaHi, want)
		}
	}
	g := a.Ways.Gains[0]
	want := math.Log1p(*truth.Comparisons[0].Gain.BandPct/100) - math.Log1p(*truth.Steady.Comparisons[0].BandPct/100)
	if !(g.Lo > 0) || !(g.Lo <= want && want <= g.Hi) {
		t.Errorf("accelerating less held %.4f (%.4f to %.4f), the truth is %.4f", g.Difference, g.Lo, g.Hi, want)
	}
	if math.Abs(g.WheelShare-want) > 0.002 {
		t.Errorf("the stated wheels account for %.4f, the truth is %.4f", g.WheelShare, want)
	}
	view := a.View("test", quantity.SI)
	if len(view.Pulls) != s.Rows() || view.Held == nil {
		t.Errorf("%d rows in the record, want %d", len(view.Pulls), s.Rows())
	}
	for i := 1; i < len(view.Pulls); i++ {
		if view.Pulls[i].Started.Before(view.Pulls[i-1].Started) {
			t.Errorf("row %s is out of order", view.Pulls[i].Pull)
		}
	}
}

// withContent adds the column log_content to pulls.csv, filled for the named pulls.
func withContent(files fstest.MapFS, content map[string]string) {
	lines := strings.Split(strings.TrimSpace(string(files["pulls.csv"].Data)), "\n")
	for i, line := range lines {
		name, _, _ := strings.Cut(line, ",")
		cell := content[name]
		if i == 0 {
			cell = "log_content"
		}
		lines[i] = strings.TrimRight(line, "\r") + "," + cell
	}
	files["pulls.csv"] = &fstest.MapFile{Data: []byte(strings.Join(lines, "\n") + "\n")}
}

// TestLogContent: pulls.csv may say what a log holds; a word that is not so is an
// error with its place, and a row that nothing is compared with is named.
func TestLogContent(t *testing.T) {
	s, err := simulate.Named("no-history")
	if err != nil {
		t.Fatal(err)
	}
	_, _, files := simulated(t, s)
	for _, row := range []struct {
		content map[string]string
		words   []string
	}{
		{map[string]string{"2": "steady"}, []string{"pull 2", "logs/pull-002.csv", "brake_torque"}},
		{map[string]string{"2": "held"}, []string{"pulls.csv", "line 3", "log_content", "steady"}},
	} {
		spoilt := fstest.MapFS{}
		for name, file := range files {
			spoilt[name] = file
		}
		withContent(spoilt, row.content)
		folder, err := ingest.Open(spoilt)
		if err == nil {
			_, err = Analyse(t.Context(), folder, Options{})
			folder.Close()
		}
		if err == nil {
			t.Errorf("%v: no error", row.content)
			continue
		}
		for _, word := range row.words {
			if !strings.Contains(err.Error(), word) {
				t.Errorf("%v: %v; want %q in it", row.content, err, word)
			}
		}
	}
}

// TestOneSidedSteady: steady logs of one side only are left aside, and that is said.
func TestOneSidedSteady(t *testing.T) {
	s, err := simulate.Named("pulls-and-steady")
	if err != nil {
		t.Fatal(err)
	}
	s.Plan.Order, s.Brake.Logs = "ABA", 1
	_, _, files := simulated(t, s)
	rows := strings.Split(strings.TrimSpace(string(files["pulls.csv"].Data)), "\n")
	rows[6] = "" // the steady log of B
	kept := strings.Join(append(rows[:6:6], rows[7:]...), "\n") + "\n"
	files["pulls.csv"] = &fstest.MapFile{Data: []byte(kept)}
	folder, err := ingest.Open(files)
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	a, err := Analyse(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for _, k := range a.Checks {
		found = found || k.ID == "one-sided" && strings.Contains(k.Message, "left aside")
	}
	if a.Held != nil || !found {
		t.Errorf("steady logs of one side: compared %v, said %v", a.Held != nil, found)
	}
}

// TestHeldSpeedsDiffer: logs that hold other speeds have none in common, and the error
// says what to do.
func TestHeldSpeedsDiffer(t *testing.T) {
	s := heldScenario(t, "AB")
	s.Brake.SpeedsRPM = []float64{3000, 4000, 5000, 6000}
	folder, _, _ := simulated(t, s)
	defer folder.Close()
	if _, err := Analyse(t.Context(), folder, Options{}); err == nil || !strings.Contains(err.Error(), "fairpull steady") || !strings.Contains(err.Error(), "4 speeds in common") {
		t.Errorf("four held speeds: %v", err)
	}
}

// TestHeldBand: a speed at the band's end that one log lacks takes the band figure
// away, and the check names the log.
func TestHeldBand(t *testing.T) {
	s := heldScenario(t, "AB")
	folder, _, files := simulated(t, s)
	folder.Close()
	// Cut the last hold, at 6500, out of the second log.
	lines := strings.Split(string(files["logs/pull-002.csv"].Data), "\n")
	files["logs/pull-002.csv"] = &fstest.MapFile{Data: []byte(strings.Join(lines[:71*100], "\n") + "\n")}
	folder, err := ingest.Open(files)
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	a, err := Analyse(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range a.Checks {
		if k.ID == "band-not-covered" {
			if len(k.Pulls) != 1 || k.Pulls[0] != "2" || !strings.Contains(k.Message, "6000 rpm") || a.Comparisons[0].Band.Missing == "" {
				t.Errorf("pulls %v: %s", k.Pulls, k.Message)
			}
			return
		}
	}
	t.Error("the band is not covered, and no check says so")
}
