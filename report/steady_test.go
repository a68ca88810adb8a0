package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/reduce"
)

// heldSample is one log with two points, one of which has everything to be heeded.
func heldSample() *SteadyLogs {
	good := reduce.SteadyPoint{
		Found: 1, Start: 3, End: 9, Rows: 600, EngineRPM: 4000.4, DrumSpeed: 80, Torque: 60.123, StandardError: 0.21, DF: 12, Effective: 13,
		DrumTorque: 314.8, Brake: 309, Inertia: 2.1, Parasitic: 3.7, SpeedDrift: 0.4, Throttle: 1, FullThrottle: true,
		Means: map[string]float64{"oil_temp": 363.15, "broken": math.NaN()}, Warming: []reduce.Warming{{Channel: "oil_temp", Rate: 0.05}},
	}
	bad := good
	bad.EngineRPM, bad.Start, bad.End = 5000, 12, 18
	bad.Short, bad.Trend, bad.TrendSE = true, -0.4, 0.05
	bad.Hunting = reduce.Hunting{Found: true, Amplitude: 22, Period: 1.4, P: 1e-6}
	bad.Arrival = reduce.Arrival{Known: true, StepRPM: 1000, Overshoot: 0.25, SettleTime: 1.2}
	bad.Fade = reduce.Fade{Known: true, Change: -0.08, SE: 0.01, From: 13, To: 17, RPM: 5000}
	bad.Throttle, bad.FullThrottle = 0.6, false
	return &SteadyLogs{Campaign: "held", Pulls: 2, Rule: reduce.DefaultSteadyRule(), Logs: []SteadyLog{{
		Pull: "3", Log: "logs/3\x1b[31m.csv", Configuration: "A", LeftOut: []string{"note: text"},
		Steady: &reduce.Steady{
			Points: []reduce.SteadyPoint{good, bad}, Rule: "Held: by rule.", Held: 12, Loaded: 20, Ratio: 5.236,
			LeftOut: []reduce.LeftOut{{From: 20, To: 22, RPM: 5600, Why: "held for 2.0 s"}},
			Control: reduce.Control{
				HasCommand:  true,
				Saturations: []reduce.Saturation{{From: 30, To: 33, FromRPM: 6000, ToRPM: 6400, Brake: 300, BrakeChange: -0.06, ByCommand: true}, {From: 10, To: 10.6}},
				Moves:       []reduce.Move{{Kind: reduce.MoveStep}, {Kind: reduce.MoveSweep, From: 40, To: 50, FromRPM: 6000, ToRPM: 3000, Rate: -300, Departure: 0.01}, {Kind: reduce.MoveAway, From: 30, To: 33, FromRPM: 6000, ToRPM: 6400}},
				Fades:       []reduce.Fade{{Known: true, Change: -0.12, SE: 0.01, From: 10, To: 90, RPM: 4000}},
			},
			Course: reduce.Course{First: 0.05, Step: 0.1, EngineRPM: []float64{4000, math.NaN(), 4010, 4000}, Brake: []float64{300, math.NaN(), 302, 301}},
		},
	}}}
}

// TestSteadyText: figures with their doubt, what is to be heeded, and no control
// character of a file's name.
func TestSteadyText(t *testing.T) {
	var out bytes.Buffer
	if err := heldSample().Text(&out, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(out.String()), " ")
	for _, want := range []string{
		"60.12 0.21", "2 steady points from 4000 to 5000 rpm", "hunts by ± 22 rpm every 1.4 s", "overshot by 25 % of the step (250 rpm)",
		"−8.0 % for the same command", "too short for how the torque wanders", "torque not settled", "throttle 60 %: not compared",
		"ran out of torque from 30.0 to 33.0 s (at full command", "Its torque fell by 6.0 %", "gave 12.0 % less for its command at 4000 rpm",
		"1 moment more", "6000 to 3000 rpm at −300 rpm a second", "ran away", "held for 2.0 s", "2 logs of the folder hold no steady point", "A held speed at full throttle heats",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q:\n%s", want, out.String())
		}
	}
	if strings.Contains(out.String(), "\x1b") {
		t.Error("a control character of a file's name reached the terminal")
	}
}

// TestSteadyJSON: SI and unrounded, null for what is not a number, valid JSON.
func TestSteadyJSON(t *testing.T) {
	data, err := heldSample().JSON()
	if err != nil {
		t.Fatal(err)
	}
	var back struct {
		Format string
		Logs   []struct {
			Points []struct {
				Torque float64             `json:"torque_nm"`
				Lo     float64             `json:"torque_lo_nm"`
				Means  map[string]*float64 `json:"means"`
				Fade   *struct{ Change float64 }
			}
			Brake struct{ Moves []struct{ Kind string } }
		}
	}
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	p := back.Logs[0].Points[0]
	// 2.1788 is the 97.5 % quantile of Student's t with 12 degrees of freedom (any table).
	if back.Format != "fairpull.steady/1" || p.Torque != 60.123 || math.Abs(p.Lo-(60.123-2.1788*0.21)) > 1e-4 || p.Means["broken"] != nil || p.Fade != nil {
		t.Errorf("%+v", back)
	}
	if len(back.Logs[0].Brake.Moves) != 3 || back.Logs[0].Points[1].Fade.Change != -0.08 {
		t.Errorf("brake %+v", back.Logs[0])
	}
}

// TestSteadyDocuments: every form is written, with the caution in it, and without a
// course or a point too.
func TestSteadyDocuments(t *testing.T) {
	empty := heldSample()
	empty.Logs[0].Steady.Points, empty.Logs[0].Steady.Course = nil, reduce.Course{}
	for _, s := range []*SteadyLogs{heldSample(), empty, {Logs: []SteadyLog{{Log: "x", Problem: "no rows"}}}} {
		var page, paper, picture, pixels bytes.Buffer
		for _, err := range []error{s.HTML(&page, quantity.USCustomary), s.PDF(&paper, quantity.SI), s.SVG(&picture, quantity.SI), s.PNG(&pixels, quantity.SI)} {
			if err != nil {
				t.Fatal(err)
			}
		}
		if !strings.Contains(page.String(), "heats engine") || paper.Len() == 0 || pixels.Len() == 0 {
			t.Error("a document is not whole")
		}
	}
}

// TestWaysWords: the difference of both ways in words, with what it stands for, and
// nothing said where there is no interval.
func TestWaysWords(t *testing.T) {
	figure := func(gain float64) compare.Figure {
		return compare.Figure{Interval: true, Gain: gain, Lo: gain - 0.004, Hi: gain + 0.004, AtLeast: gain - 0.003}
	}
	g, c := claimSample()
	c.Band = figure(0.063)
	c.Curve = []compare.Node{{RPM: 3000, Baseline: 50, Candidate: 53, Gain: math.Log(53.0 / 50), Interval: true, Lo: 0.05, Hi: 0.066}}
	g.Ways = &Ways{
		Configurations: []Way{{Configuration: "A", Comparison: *c, Inertia: 0.98, InertiaLo: 0.92, InertiaHi: 1.04, WheelInertia: 0.39, Ratio: 5.5}},
		Gains:          []GainOfWays{{Candidate: "B", Accelerating: figure(0.011), Held: figure(0.001), Difference: 0.010, Lo: 0.004, Hi: 0.016, WheelShare: 0.0116}},
	}
	words := strings.Join(g.waysSentences(quantity.SI), " ")
	for _, want := range []string{
		"6.50 % more torque at the drum than while it accelerates", "0.980 kg·m² (0.920 to 1.040) at the drum", "the stated wheel is 0.39 kg·m²",
		"0.0195 kg·m²", "+1.11 % in pulls", "+0.10 % held", "felt while accelerating and not at a steady speed", "account for +1.16 %",
	} {
		if !strings.Contains(words, want) {
			t.Errorf("the words lack %q: %s", want, words)
		}
	}
	g.Ways.Gains[0].Lo, g.Ways.Gains[0].Hi = math.NaN(), math.NaN()
	if words := g.gainOfWaysWords(&g.Ways.Gains[0]); !strings.Contains(words, "nothing can be said") || strings.Contains(words, "felt while") {
		t.Errorf("without intervals: %s", words)
	}
	g.Ways = &Ways{Missing: "pulls and steady points share 2 engine speeds, and 5 are needed"}
	if words := strings.Join(g.waysSentences(quantity.SI), " "); !strings.Contains(words, "were not compared: pulls and steady points share 2") {
		t.Errorf("%s", words)
	}
}
