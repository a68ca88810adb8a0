package report

import (
	"bufio"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// TextOptions say how a terminal is written to. The zero value writes 80 columns
// in SI units with Unicode characters and without colour.
type TextOptions struct {
	Width int  // columns; fewer than 80 count as 80, which the tables need; more than 160 as 160
	Color bool // ANSI colours; every colour has a second code beside it
	ASCII bool // 7-bit characters only
	Units quantity.System
}

// Text writes the report for a terminal: verdict, figures, the checks that did
// not pass, the gain curve, torque and power, checks, pulls, cautions. No string
// of a file can send the terminal a control character.
func (g *Gain) Text(w io.Writer, o TextOptions) error {
	buffered := bufio.NewWriter(w)
	t := &terminal{out: buffered, o: o, width: min(o.Width, 160)}
	if o.Width < 80 {
		t.width = 80
	}
	t.title(g.title())
	t.words("", g.byline())
	for _, line := range g.Basis() {
		t.words("", line)
	}
	for i := range g.Comparisons {
		g.comparisonText(t, i)
	}
	g.waysText(t)
	g.checksText(t)
	g.pullsText(t)
	t.section("Cautions")
	t.words("", "Work on a dyno can kill. Tyre rating and age, straps, guards, nobody in line with the wheel, exhaust extraction and a carbon monoxide alarm, hearing protection, fire extinguisher, emergency stop, cooling: the rig maker's manual, local rules and qualified people come first.")
	t.words("", "This is full throttle on one vehicle with these exact parts on one rig; it is an analysis and not a signed claim.")
	return buffered.Flush()
}

// terminal writes lines no wider than width. A bufio.Writer keeps the first
// error until Flush.
type terminal struct {
	out   *bufio.Writer
	o     TextOptions
	width int
}

// style is an ANSI code; empty is none.
type style string

const (
	styleNone      style = ""
	styleBold      style = "1"
	styleDim       style = "2"
	styleGain      style = "38;5;36"
	styleBaseline  style = "38;5;32"
	styleCandidate style = "38;5;208"
	styleWarn      style = "38;5;178"
	styleFail      style = "38;5;203"
)

func (t *terminal) styled(s style, words string) string {
	if !t.o.Color || s == styleNone || words == "" {
		return words
	}
	return "\x1b[" + string(s) + "m" + words + "\x1b[0m"
}

// line writes s and a new line.
func (t *terminal) line(s string) {
	t.out.WriteString(strings.TrimRight(t.form(strings.ReplaceAll(s, "\u00a0", " ")), " "))
	t.out.WriteByte('\n')
}

// form returns s in the characters that the terminal takes: what has no ASCII
// form becomes "?" where only ASCII is wanted.
func (t *terminal) form(s string) string {
	if !t.o.ASCII {
		return s
	}
	return strings.Map(func(r rune) rune {
		if r >= utf8.RuneSelf {
			return '?'
		}
		return r
	}, asciiForms.Replace(s))
}

var asciiForms = strings.NewReplacer("“", `"`, "”", `"`, "−", "-", "–", "-", "±", "+/-", "·", ".", "°", "deg ", "²", "2", "³", "3",
	"✓", "ok", "✗", "x", "…", "~", "’", "'", "é", "e", "ü", "ue", "ö", "oe", "ä", "ae", "ß", "ss")

// words wraps s behind an indent.
func (t *terminal) words(indent, s string) { t.hanging(styleNone, indent, s) }

// hanging wraps s behind its first words, which are in the style look; the lines
// after the first are indented by as much.
func (t *terminal) hanging(look style, first, s string) {
	first = t.form(first)
	indent := utf8.RuneCountInString(first)
	for i, line := range t.wrapped(s, t.width-indent) {
		start := strings.Repeat(" ", indent)
		if i == 0 {
			start = t.styled(look, first)
		}
		t.line(start + line)
	}
}

// title writes s in bold, wrapped.
func (t *terminal) title(s string) {
	for _, line := range t.wrapped(s, t.width) {
		t.line(t.styled(styleBold, line))
	}
}

// wrapped breaks s into lines of at most width characters, at spaces where it
// can. A number stays with its unit.
func (t *terminal) wrapped(s string, width int) []string {
	var lines []string
	var line []rune
	for _, text := range strings.Split(unbroken(s), " ") {
		word := []rune(t.form(strings.ReplaceAll(text, "\u00a0", " ")))
		if len(line) > 0 && len(line)+1+len(word) > width {
			lines, line = append(lines, string(line)), nil
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for line = append(line, word...); len(line) > width; line = line[width:] {
			lines = append(lines, string(line[:width]))
		}
	}
	return append(lines, string(line))
}

func (t *terminal) section(name string) {
	t.line("")
	t.line(t.styled(styleBold, name))
}

// padRight and padLeft fill s to n columns.
func padRight(s string, n int) string {
	return s + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s)))
}

func padLeft(s string, n int) string {
	return strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s))) + s
}

func (g *Gain) comparisonText(t *terminal, i int) {
	c := &g.Comparisons[i]
	t.line("")
	t.hanging(styleBold, strings.ToUpper(Verdict(c))+"  ", g.shortSide(c.Candidate)+" against "+g.shortSide(c.Baseline))
	t.words("", g.Sentence(c))
	t.line("")
	g.figuresText(t, c)
	for _, s := range []string{g.everywhereSentence(c), g.withAllSentence(i)} {
		if s != "" {
			t.words("  ", s)
		}
	}
	for _, k := range notPassed(g.checksFor(c.Candidate)) {
		if touchesFigure(k) {
			g.flagText(t, k)
		}
	}
	t.line("")
	g.gainPlot(t, c)
	for _, d := range []quantity.Dimension{quantity.Torque, quantity.Power} {
		t.line("")
		g.levelPlot(t, c, d)
	}
	t.line("")
	t.words("", g.restsOn(c))
}

// figuresText writes the three figures, each with its levels below it.
func (g *Gain) figuresText(t *terminal, c *compare.Comparison) {
	interval := confidence(c.Confidence) + " interval"
	t.line(t.styled(styleDim, "  "+padRight("figure", 40)+padLeft("gain", 9)+"  "+padRight(interval, 18)+padLeft("at least", 9)))
	for _, row := range metricRows {
		cells := g.figureCells(c, row, c.Figure(row.metric), t.o.Units)
		name := strings.Replace(cells[0], ", "+span(c.BandRPM), "", 1)
		line := "  " + padRight(name, 40) + padLeft(cells[3], 9) + "  "
		if f := c.Figure(row.metric); f.Missing != "" {
			t.line(line)
			t.words("    ", "no gain: "+cells[4])
		} else if line += padRight(cells[4], 18) + padLeft(cells[5], 9); row.metric == c.Primary {
			t.line(t.styled(styleBold, line))
		} else {
			t.line(line)
		}
		if cells[1] != "–" {
			t.line(t.styled(styleDim, "    "+clean(c.Baseline)+" "+cells[1]+", "+clean(c.Candidate)+" "+cells[2]))
		}
		if names := g.flagNames(c, row.key); names != "" {
			t.words("    ", names)
		}
	}
}

func (g *Gain) flagText(t *terminal, k campaign.Check) {
	f := flagOf(k)
	t.hanging(statusStyle(k.Status), "  "+f.Mark+" "+f.Status+" ", f.Name+": "+f.Message)
}

func statusStyle(s campaign.Status) style {
	switch s {
	case campaign.Fail:
		return styleFail
	case campaign.Warn:
		return styleWarn
	}
	return styleGain
}

// restsOn says in one paragraph what the interval covers.
func (g *Gain) restsOn(c *compare.Comparison) string {
	var parts []string
	for _, row := range g.scatterTable(c).Rows {
		s := strings.ToLower(row[0][:1]) + row[0][1:] + " " + row[1]
		if row[2] != "–" && row[2] != "" {
			s += " (" + row[2] + " df)"
		}
		parts = append(parts, s)
	}
	return "The interval rests on: " + strings.Join(parts, "; ") + "."
}

// checksText lists the checks by status. What was found stands beside the figure
// or the pulls that a check touches; one that touches nothing says it here.
func (g *Gain) checksText(t *terminal) {
	t.section("Checks")
	if len(g.Checks) == 0 {
		t.words("  ", "No check was asked.")
	}
	var listed []string // each id once, under the worst that it came to
	for _, status := range []campaign.Status{campaign.Fail, campaign.Warn, campaign.Pass} {
		var names []string
		for _, k := range g.Checks {
			if name := clean(k.ID); k.Status == status && !slices.Contains(listed, name) {
				names, listed = append(names, name), append(listed, name)
			}
		}
		if len(names) > 0 {
			t.hanging(statusStyle(status), "  "+statusMark(status)+" "+string(status)+" ", strings.Join(names, ", "))
		}
	}
	for _, k := range notPassed(g.Checks) {
		if !touchesFigure(k) && !slices.Contains(k.Touches, "pulls") {
			g.flagText(t, k)
		}
	}
}

// touchesFigure says whether a check stands beside a figure or a curve.
func touchesFigure(k campaign.Check) bool {
	return slices.ContainsFunc(k.Touches, func(f string) bool { return f != "pulls" })
}

func (g *Gain) pullsText(t *terminal) {
	torque, power := t.o.Units.Unit(quantity.Torque), t.o.Units.Unit(quantity.Power)
	t.section("Pulls")
	for _, k := range notPassed(g.Checks) {
		if !touchesFigure(k) && slices.Contains(k.Touches, "pulls") {
			g.flagText(t, k)
		}
	}
	t.line(t.styled(styleDim, "  "+padRight("pull", 6)+padRight("started", 13)+padRight("config", 8)+padRight("setup", 8)+padLeft("factor", 7)+
		padLeft("peak "+torque.Name, 13)+padLeft("peak "+power.Name, 9)+padLeft("loss "+torque.Name, 13)))
	for i := range g.Pulls {
		p := &g.Pulls[i]
		line := "  " + padRight(cut(p.Pull, 5), 6) + padRight(strings.ReplaceAll(g.started(p), "\u00a0", " "), 13) +
			padRight(cut(p.Configuration, 7), 8) + padRight(cut(p.Setup, 7), 8) + padLeft(fixed(p.CorrectionFactor, 4), 7) +
			padLeft(fixed(torque.From(p.PeakTorqueNm), 1), 13) + padLeft(fixed(power.From(p.PeakPowerW), 1), 9) + padLeft(lossText(p, torque), 13)
		t.line(line)
		if !p.Used {
			t.words("        ", "not used: "+because(p.Reason))
		}
		for _, note := range p.Notes {
			t.words("        ", cleanTo(note, 200))
		}
	}
}

func lossText(p *PullRow, unit quantity.Unit) string {
	if math.IsNaN(p.CoastLossNm) {
		return "–"
	}
	return fixed(unit.From(p.CoastLossNm), 1)
}

// cut shortens a name to n characters.
func cut(s string, n int) string {
	s = clean(s)
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n-1]) + "…"
}
