package report

import (
	"bufio"
	"io"
	"math"
	"strings"

	"fairpull/quantity"
	"fairpull/reduce"
)

// SteadyLogs are the steady points of the logs of a folder, or of one log.
type SteadyLogs struct {
	Campaign string // empty for a log on its own
	Rule     reduce.SteadyRule
	Logs     []SteadyLog
	Pulls    int    // logs of the folder that are pulls and not shown
	Version  string // of the program
}

// SteadyLog is one log with its steady points: wheel figures, not corrected for the
// air.
type SteadyLog struct {
	Pull          string // empty for a log on its own
	Log           string
	Configuration string
	Excluded      string         // the reason; empty: used
	Problem       string         // why Steady is nil
	Steady        *reduce.Steady // nil: an excluded log that could not be read
	LeftOut       []string       // columns of the log that were not read, with the reason
}

// Limits of what is said of a point and of the brake.
const (
	trendErrors    = 3.0  // standard errors that a trend of torque must have
	trendPart      = 0.01 // of the torque that it must change over the point
	overshootPart  = 0.10 // of the step
	fadeErrors     = 3.0
	fadePart       = 0.03
	steadyInterval = 0.95
)

// steadyCautions are what long holds ask for besides the general cautions.
var steadyCautions = []string{
	"A held speed at full throttle heats engine, tyre, brake and exhaust far more than a pull: keep holds short, let everything cool between them, and end the hold when a temperature does not settle.",
	"A tyre that is held on a drum runs hot from inside: watch its temperature, tread and pressure, stay well below its speed rating, and stop at the first smell, vibration or loose tread.",
	"A brake that runs out of torque or fades lets the engine run away: know how the throttle is closed and where the emergency stop is before the first hold. Nobody stands in line with the wheel.",
	"The brake maker's limits of torque, power and temperature come first; so do the rig maker's manual, local rules and qualified people.",
}

// title names the log.
func (s *SteadyLog) title() string {
	if s.Pull == "" {
		return clean(s.Log)
	}
	return "Pull " + clean(s.Pull) + " (" + clean(s.Configuration) + "), " + clean(s.Log)
}

// summary says in one sentence what the log holds.
func (s *SteadyLog) summary() string {
	st := s.Steady
	if st == nil {
		return "It could not be read: " + cleanTo(s.Problem, 400)
	}
	if len(st.Points) == 0 {
		return "It holds no steady point."
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i := range st.Points {
		low, high = math.Min(low, st.Points[i].EngineRPM), math.Max(high, st.Points[i].EngineRPM)
	}
	words := plural(len(st.Points), "steady point") + " at " + fixed(low, 0) + " rpm"
	if len(st.Points) > 1 {
		words = plural(len(st.Points), "steady point") + " from " + fixed(low, 0) + " to " + fixed(high, 0) + " rpm"
	}
	return words + "; " + fixed(st.Held, 1) + " s used of " + fixed(st.Loaded, 1) + " s under the brake."
}

// pointNotes says what is to be heeded of a point.
func pointNotes(p *reduce.SteadyPoint, units quantity.System) []string {
	var notes []string
	length := p.End - p.Start
	if p.Short {
		notes = append(notes, "too short for how the torque wanders: its standard error is itself a guess")
	}
	if change := p.Trend * length; math.Abs(p.Trend) > trendErrors*p.TrendSE && math.Abs(change) > trendPart*p.Torque {
		notes = append(notes, "torque not settled: "+signed(100*change/p.Torque, 1)+" % over the point")
	}
	if p.Hunting.Found {
		notes = append(notes, "hunts by ± "+fixed(p.Hunting.Amplitude, 0)+" rpm every "+fixed(p.Hunting.Period, 1)+" s")
	}
	if a := p.Arrival; a.Known && a.Overshoot > overshootPart {
		notes = append(notes, "speed overshot by "+fixed(100*a.Overshoot, 0)+" % of the step ("+fixed(math.Abs(a.Overshoot*a.StepRPM), 0)+" rpm) and settled after "+fixed(a.SettleTime, 1)+" s")
	}
	if fadeShown(&p.Fade) {
		notes = append(notes, "brake gave "+signed(100*p.Fade.Change, 1)+" % for the same command by its end: heat")
	}
	if !p.FullThrottle {
		notes = append(notes, "throttle "+fixed(100*p.Throttle, 0)+" %: not compared")
	}
	return notes
}

// fadeShown says whether a brake gave less for its command, beyond the noise.
func fadeShown(f *reduce.Fade) bool {
	return f.Known && f.Change < -fadePart && f.Change < -fadeErrors*f.SE
}

// brakeWords says how the brake did over the whole log.
func (s *SteadyLog) brakeWords(units quantity.System) []string {
	c := &s.Steady.Control
	var out []string
	out = append(out, saturationsWords(c.Saturations, units)...)
	worst := reduce.Fade{}
	for _, f := range c.Fades {
		if fadeShown(&f) && f.Change < worst.Change {
			worst = f
		}
	}
	if worst.Known {
		out = append(out, "The brake gave "+fixed(-100*worst.Change, 1)+" % less for its command at "+fixed(worst.RPM, 0)+" rpm after "+fixed(worst.To-worst.From, 0)+" s: heat fade. Let it cool, or hold for less long.")
	}
	if s.hunting() > 0 {
		out = append(out, "The loop hunts in "+plural(s.hunting(), "point")+": the mean torque is free of it, its standard error is not. A softer integral part of the controller helps.")
	}
	out = append(out, s.moveWords()...)
	if !c.HasCommand {
		out = append(out, "The log has no brake_command: a brake that fades is seen only where it saturates.")
	}
	return out
}

func (s *SteadyLog) hunting() int {
	n := 0
	for i := range s.Steady.Points {
		if s.Steady.Points[i].Hunting.Found {
			n++
		}
	}
	return n
}

// longSaturation is how long the brake must have been out of torque, in s, to be named
// apart: on the way to a speed it often is for a moment.
const longSaturation = 1.5

// saturationsWords names the long saturations and counts the others.
func saturationsWords(all []reduce.Saturation, units quantity.System) []string {
	const most = 6
	var out []string
	others := 0
	for i := range all {
		if all[i].To-all[i].From < longSaturation || len(out) == most {
			others++
			continue
		}
		out = append(out, saturationWords(&all[i], units))
	}
	if others > 0 {
		more := ""
		if len(out) > 0 {
			more = " more"
		}
		out = append(out, "The brake gave all it had at "+plural(others, "moment")+more+", most for less than "+fixed(longSaturation, 1)+" s on the way to a speed.")
	}
	return out
}

func saturationWords(x *reduce.Saturation, units quantity.System) string {
	how := "by its torque"
	if x.ByCommand {
		how = "at full command"
	}
	words := "The brake ran out of torque from " + fixed(x.From, 1) + " to " + fixed(x.To, 1) + " s (" + how + ", " + amountIn(x.Brake, quantity.Torque, units, 0) +
		" at the drum): the speed went from " + fixed(x.FromRPM, 0) + " to " + fixed(x.ToRPM, 0) + " rpm all the same."
	if x.BrakeChange < -fadePart {
		words += " Its torque fell by " + fixed(-100*x.BrakeChange, 1) + " % meanwhile: heat."
	}
	return words
}

// moveWords says how the speed was changed: steps in one sentence, sweeps one by one.
func (s *SteadyLog) moveWords() []string {
	steps, others := 0, 0
	var out []string
	for _, m := range s.Steady.Control.Moves {
		switch m.Kind {
		case reduce.MoveStep:
			steps++
		case reduce.MoveSweep:
			out = append(out, "A sweep at a set rate, "+fixed(m.FromRPM, 0)+" to "+fixed(m.ToRPM, 0)+" rpm at "+signed(m.Rate, 0)+" rpm a second from "+fixed(m.From, 1)+" to "+fixed(m.To, 1)+" s, within "+fixed(100*m.Departure, 1)+" % of a straight line.")
		case reduce.MoveAway:
			out = append(out, "The engine ran away from the brake, "+fixed(m.FromRPM, 0)+" to "+fixed(m.ToRPM, 0)+" rpm from "+fixed(m.From, 1)+" to "+fixed(m.To, 1)+" s.")
		default:
			others++
		}
	}
	const most = 6
	if len(out) > most {
		out = append(out[:most:most], "And "+plural(len(out)-most, "such change")+" more.")
	}
	if steps > 0 {
		out = append([]string{plural(steps, "step") + " from one held speed to another."}, out...)
	}
	if others > 0 {
		out = append(out, plural(others, "change")+" of speed at no set rate.")
	}
	return out
}

// leftOutWords says what looked held and does not count.
func (s *SteadyLog) leftOutWords() []string {
	var out []string
	for _, l := range s.Steady.LeftOut {
		out = append(out, fixed(l.RPM, 0)+" rpm, "+fixed(l.From, 1)+" to "+fixed(l.To, 1)+" s: "+cleanTo(l.Why, 300)+".")
	}
	for _, column := range s.LeftOut {
		out = append(out, "column "+clean(column)+".")
	}
	return out
}

// foundWords says what defects the log has.
func (s *SteadyLog) foundWords() []string {
	var out []string
	for _, f := range s.Steady.Findings {
		state := "outside the points"
		switch {
		case f.Repaired:
			state = "repaired without loss"
		case f.InPull:
			state = "within a point"
		}
		out = append(out, f.Kind+", "+clean(f.Channel)+", "+plural(f.Count, "time")+", worst at "+fixed(f.Time, 2)+" s: "+state+".")
	}
	return out
}

// Text writes what every log holds: the points with their torque and its standard
// error, how the brake did, what was left out.
func (s *SteadyLogs) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	t := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	if len(s.Logs) > 0 {
		for _, line := range s.basis(o.Units) {
			t.words("", line)
		}
	}
	for i := range s.Logs {
		t.line("")
		s.Logs[i].text(t)
	}
	if s.Pulls > 0 {
		t.line("")
		t.words("", plural(s.Pulls, "log")+" of the folder hold no steady point: see them with fairpull reduce.")
	}
	t.section("Cautions")
	for _, line := range steadyCautions {
		t.words("  ", line)
	}
	return out.Flush()
}

// basis says what the figures are.
func (s *SteadyLogs) basis(units quantity.System) []string {
	rule := ""
	for i := range s.Logs {
		if s.Logs[i].Steady != nil {
			rule = s.Logs[i].Steady.Rule
		}
	}
	return []string{
		"Wheel figures referred to the engine, not corrected for the air; ± one standard error from the log alone, which knows that neighbouring samples hang together.",
		rule,
		"Torque at the drum is the brake's, what the drum takes to accelerate at the rate that remained, and the bare drum's own loss; 'drum' is the middle one of these, referred to the engine.",
	}
}

func (s *SteadyLog) text(t *terminal) {
	t.title(s.title())
	if s.Excluded != "" {
		t.words("  ", "excluded: "+cleanTo(s.Excluded, 200))
	}
	t.words("  ", s.summary())
	if s.Steady == nil {
		return
	}
	units := t.o.Units
	if len(s.Steady.Points) > 0 {
		t.columns(s.rows(units), ">>>>>>>>>")
	}
	for i := range s.Steady.Points {
		p := &s.Steady.Points[i]
		if notes := pointNotes(p, units); len(notes) > 0 {
			t.hanging(styleWarn, "  ! "+fixed(p.EngineRPM, 0)+" rpm: ", strings.Join(notes, "; "))
		}
	}
	for _, part := range []struct {
		name  string
		lines []string
	}{{"brake", s.brakeWords(units)}, {"left out", s.leftOutWords()}, {"found", s.foundWords()}} {
		for _, line := range part.lines {
			t.hanging(styleNone, "  "+part.name+strings.Repeat(" ", 10-len(part.name)), line)
		}
	}
}

// steadyHeads are the columns of the table of points.
func steadyHeads(units quantity.System) []string {
	torque := units.Unit(quantity.Torque).Name
	return []string{"rpm", "from s", "used s", "out s", torque, "±", "drum " + torque, units.Unit(quantity.Power).Name, "rpm/s"}
}

// rows has one row a point, with the heads above.
func (s *SteadyLog) rows(units quantity.System) [][]string {
	torque, power := units.Unit(quantity.Torque), units.Unit(quantity.Power)
	rows := [][]string{steadyHeads(units)}
	for i := range s.Steady.Points {
		p := &s.Steady.Points[i]
		value, doubt := numbersOrBlank(p.Torque, p.StandardError, torque)
		perDrum := p.Torque / p.DrumTorque
		rows = append(rows, []string{
			fixed(p.EngineRPM, 0), fixed(p.Start, 1), fixed(p.End-p.Start, 1), fixed(p.Start-p.Found, 1), value, doubt,
			signed(torque.From(p.Inertia*perDrum), 2), fixed(power.From(p.Torque*p.EngineRPM*math.Pi/30), 2), signed(p.SpeedDrift, 2),
		})
	}
	return rows
}
