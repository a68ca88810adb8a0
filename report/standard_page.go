package report

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"strings"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// HTML writes the chart as one page that stands alone, in the manner of [Gain.HTML].
func (s *CheckStandard) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, s.title(), s.summary(), s.foot(), s.blocks(onScreen, units))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (s *CheckStandard) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, s.title(), s.summary(), s.foot(), s.Version, s.blocks(onPaper, units), units)
}

func (s *CheckStandard) foot() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(s.Version)), labelled("dyno ", clean(s.Dyno)))
}

// SVG writes the chart alone.
func (s *CheckStandard) SVG(w io.Writer, units quantity.System) error {
	return draw.SVG(w, s.picture(units), false)
}

// PNG writes the same picture in pixels.
func (s *CheckStandard) PNG(w io.Writer, units quantity.System) error {
	return draw.PNG(w, s.picture(units), pixelsPerPoint)
}

// picture is the chart with its title and its answer above.
func (s *CheckStandard) picture(units quantity.System) draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "check-standard", Title: s.title(), Description: s.summary()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(s.title(), 18, draw.Bold, paintInk)
	c.words(s.summary(), 12, draw.Regular, paintInk)
	c.words(s.basis(units), 10.5, draw.Regular, paintMuted)
	if len(s.Checks) > 0 {
		c.y += 8
		c.place(s.chart(onScreen))
	}
	p.Height = c.y + margin
	return p
}

// blocks lists what a page says, in the order in which a person reads.
func (s *CheckStandard) blocks(l look, units quantity.System) []block {
	blocks := []block{heading{Level: 1, Words: s.title()}, paragraph{Words: s.summary()}, paragraph{Words: s.subtitle(), Small: true}}
	for _, d := range s.Doubts {
		blocks = append(blocks, openCheck{Mark: statusMark("warn"), Status: "warn", Name: "check-standard", Message: s.doubt(d)})
	}
	if len(s.Checks) > 0 {
		blocks = append(blocks, paragraph{Words: s.basis(units)}, figure{Picture: s.chart(l), Caption: "A square is a check that signals; limits are dashed. Numbers stand in the table below.", Plot: s.plot(units), Beside: true})
	}
	blocks = append(blocks, heading{Level: 2, Words: "What the rules take", ID: "rules"}, bullets{Items: s.limits()}, paragraph{Words: startNote, Small: true})
	if len(s.Checks) > 0 {
		t := table{
			Heads:   []string{"Check", "Begun", "Campaign", "Setup", "Pulls", "Mean torque, " + units.Unit(quantity.Torque).Name, "About the centre, %", "Q", "EWMA", "Sum up", "Sum down", "Signal"},
			Numeric: []bool{true, false, false, false, true, true, true, true, true, true, true, false}, Long: true,
			Caption: "Each check is one strapping-down of the check standard. Q is how far it lies from the checks before it, in standard deviations.",
		}
		for i, c := range s.Checks {
			t.Rows = append(t.Rows, []string{
				strconv.Itoa(i + 1), day(c.Started), clean(c.Campaign), clean(c.Setup), strconv.Itoa(c.Pulls),
				fixed(units.Unit(quantity.Torque).From(c.MeanNm), 2), signed(s.away(c), 2), signed(c.Q, 2), signed(c.EWMA, 2), fixed(c.Up, 2), fixed(c.Down, 2), s.signalWords(c),
			})
		}
		blocks = append(blocks, heading{Level: 2, Words: "Checks", ID: "checks"}, t)
	}
	if len(s.LeftOut) > 0 {
		t := table{Heads: []string{"Campaign", "Why"}, Numeric: make([]bool, 2), Caption: "Campaigns of this vehicle on this dyno that are no checks."}
		for _, x := range s.LeftOut {
			t.Rows = append(t.Rows, []string{clean(x.Campaign), cleanTo(x.Reason, 400)})
		}
		blocks = append(blocks, heading{Level: 2, Words: "Left out", ID: "left-out"}, t)
	}
	return blocks
}

func (s *CheckStandard) signalWords(c StandardEntry) string {
	switch {
	case !c.Judged:
		return "not judged"
	case len(c.Signals) == 0:
		return "good"
	}
	return strings.Join(c.Signals, ", ")
}

// Text writes the chart for a terminal: the answer, what is in doubt, a row for each
// check with its place between the limits, and what the rules take.
func (s *CheckStandard) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	t := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	t.title(s.title())
	t.words("", s.summary())
	t.words("", s.subtitle())
	for _, d := range s.Doubts {
		t.hanging(styleWarn, t.form("! "), s.doubt(d))
	}
	if len(s.Checks) > 0 {
		s.checksText(t)
	}
	t.section("What the rules take")
	for _, line := range s.limits() {
		t.words("  ", line+".")
	}
	t.words("  ", startNote)
	if len(s.LeftOut) > 0 {
		t.section("Left out")
		for _, l := range s.LeftOut {
			t.words("  ", clean(l.Campaign)+": "+cleanTo(l.Reason, 400))
		}
	}
	return out.Flush()
}

// stripWidth is the width of a check's place between the limits; odd, so that there is
// a middle.
const stripWidth = 21

func (s *CheckStandard) checksText(t *terminal) {
	units := t.o.Units
	t.section("Checks")
	t.words("  ", s.basis(units))
	t.line(t.styled(styleDim, "  "+padRight("begun", 12)+padRight("campaign", 18)+padRight("setup", 6)+padLeft(units.Unit(quantity.Torque).Name, 7)+padLeft("%", 7)+"  "+padRight("EWMA", stripWidth+1)+"signal"))
	shown := s.Checks
	if n := len(shown) - mostListed; n > 0 {
		t.words("  ", "… and "+plural(n, "earlier check"))
		shown = shown[n:]
	}
	for _, c := range shown {
		line := "  " + padRight(day(c.Started), 12) + padRight(cut(c.Campaign, 17), 18) + padRight(cut(c.Setup, 5), 6) +
			padLeft(fixed(units.Unit(quantity.Torque).From(c.MeanNm), 2), 7) + padLeft(signed(s.away(c), 2), 7) + "  " + s.strip(c, t.o.ASCII) + " " + s.signalWords(c)
		if len(c.Signals) > 0 {
			line = t.styled(styleWarn, line)
		}
		t.line(line)
	}
	marks := stripMarks(t.o.ASCII)
	t.line(t.styled(styleDim, strings.Repeat(" ", 54)+"limits at "+string(marks.limit)+", centre at "+string(marks.centre)))
}

// stripMarks are the characters of a strip.
func stripMarks(ascii bool) (m struct{ centre, limit, check, signal rune }) {
	m.centre, m.limit, m.check, m.signal = '│', '¦', '●', '■'
	if ascii {
		m.centre, m.limit, m.check, m.signal = '|', ':', 'o', '#'
	}
	return m
}

// strip draws the EWMA between its limits, which stand a quarter from either end.
func (s *CheckStandard) strip(c StandardEntry, ascii bool) string {
	cells, marks := []rune(strings.Repeat(" ", stripWidth)), stripMarks(ascii)
	middle, limit := stripWidth/2, stripWidth/4+1
	cells[middle], cells[middle-limit], cells[middle+limit] = marks.centre, marks.limit, marks.limit
	if !math.IsNaN(c.EWMA) {
		at := middle + int(math.Round(float64(limit)*c.EWMA/s.Rules.Limit))
		mark := marks.check
		if len(c.Signals) > 0 {
			mark = marks.signal
		}
		cells[min(max(at, 0), stripWidth-1)] = mark
	}
	return string(cells)
}
