package report

import (
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"fairpull/compare"
	"fairpull/quantity"
)

// textPlot is a chart in characters. Every cell holds a grid of dots, two wide
// and four high, where the terminal has Braille patterns, and one dot otherwise.
type textPlot struct {
	ascii         bool
	columns, rows int
	x, y          scale
	cells         []textCell
	tails         []string // what stands right of each row
}

// textCell is one character: the dots of lines over a ground.
type textCell struct {
	ground rune
	mark   rune  // ASCII: the last line that passes
	dots   uint8 // Braille pattern
	style  style
}

func newTextPlot(t *terminal, x, y scale, rows int) *textPlot {
	const axis, right = 8, 6
	columns := t.width - axis - right
	p := &textPlot{ascii: t.o.ASCII, columns: columns, rows: rows, x: x, y: y, cells: make([]textCell, columns*rows), tails: make([]string, rows)}
	for i := range p.cells {
		p.cells[i].ground = ' '
	}
	return p
}

// dots of a cell across and down.
func (p *textPlot) fine() (across, down int) {
	if p.ascii {
		return 1, 1
	}
	return 2, 4
}

// rpm is the engine speed at the middle of dot column i.
func (p *textPlot) rpm(i int) float64 {
	across, _ := p.fine()
	return p.x.Lo + (p.x.Hi-p.x.Lo)*(float64(i)+0.5)/float64(p.columns*across)
}

// height is the dot row of value v, counted from above; it may lie outside.
func (p *textPlot) height(v float64) int {
	_, down := p.fine()
	return int(math.Floor((p.y.Hi - v) / (p.y.Hi - p.y.Lo) * float64(p.rows*down)))
}

// interpolated returns values at the given engine speed, NaN outside or beside a
// missing node.
func interpolated(rpm, values []float64, at float64) float64 {
	for i := 1; i < len(rpm); i++ {
		if at >= rpm[i-1] && at <= rpm[i] {
			share := (at - rpm[i-1]) / (rpm[i] - rpm[i-1])
			return values[i-1] + share*(values[i]-values[i-1])
		}
	}
	return math.NaN()
}

// ribbon shades between lo and hi.
func (p *textPlot) ribbon(rpm, lo, hi []float64, shade rune, s style) {
	for column := range p.columns {
		at := p.x.Lo + (p.x.Hi-p.x.Lo)*(float64(column)+0.5)/float64(p.columns)
		low, high := interpolated(rpm, lo, at), interpolated(rpm, hi, at)
		for row := range p.rows {
			v := p.y.Hi - (p.y.Hi-p.y.Lo)*(float64(row)+0.5)/float64(p.rows)
			if v >= low && v <= high {
				p.cells[row*p.columns+column].ground = shade
				p.cells[row*p.columns+column].style = s
			}
		}
	}
}

// level draws a line across at value v, behind the curves.
func (p *textPlot) level(v float64, mark rune) {
	_, down := p.fine()
	row := p.height(v) / down
	if row < 0 || row >= p.rows {
		return
	}
	for column := range p.columns {
		p.cells[row*p.columns+column].ground = mark
		p.cells[row*p.columns+column].style = styleNone
	}
}

// curve draws values over rpm: whole, or for dashed in strokes of three dots.
// mark is its character where there are no dots.
func (p *textPlot) curve(rpm, values []float64, dashed bool, mark rune, s style) {
	across, down := p.fine()
	before, known := 0, false
	for i := range p.columns * across {
		v := interpolated(rpm, values, p.rpm(i))
		if math.IsNaN(v) || v < p.y.Lo || v > p.y.Hi {
			known = false
			continue
		}
		here := min(p.height(v), p.rows*down-1)
		if !known {
			before = here
		}
		known = true
		if dashed && i/across%2 == 1 {
			before = here
			continue
		}
		// Close the gap to the dot before, half of it from either side.
		from, to := min(here, (here+before+1)/2), max(here, (here+before)/2)
		for y := from; y <= to; y++ {
			p.dot(i, y, mark, s)
		}
		before = here
	}
}

// brailleDots numbers the dots of a Braille cell by column and row, as Unicode
// orders them from U+2800.
var brailleDots = [2][4]uint8{{0x01, 0x02, 0x04, 0x40}, {0x08, 0x10, 0x20, 0x80}}

func (p *textPlot) dot(x, y int, mark rune, s style) {
	across, down := p.fine()
	cell := &p.cells[y/down*p.columns+x/across]
	cell.style = s
	if p.ascii {
		cell.mark = mark
		return
	}
	cell.dots |= brailleDots[x%2][y%4]
}

// tail writes a label right of the end of a curve.
func (p *textPlot) tail(values []float64, label string) {
	for i := len(values) - 1; i >= 0; i-- {
		if math.IsNaN(values[i]) {
			continue
		}
		_, down := p.fine()
		row := max(0, min(p.rows-1, p.height(values[i])/down))
		for p.tails[row] != "" && row > 0 {
			row--
		}
		p.tails[row] = joined(" ", p.tails[row], label)
		return
	}
}

func (c *textCell) char() rune {
	switch {
	case c.dots != 0:
		return 0x2800 + rune(c.dots)
	case c.mark != 0:
		return c.mark
	}
	return c.ground
}

// write puts the plot out with its axes; the riding band is marked below.
func (p *textPlot) write(t *terminal, band [2]float64, bandName string) {
	labels := make([]string, p.rows)
	_, down := p.fine()
	for _, v := range p.y.Ticks() {
		if row := p.height(v) / down; row >= 0 && row < p.rows {
			labels[row] = fixed(v, p.y.Places)
		}
	}
	wall, tick := "│", "┤"
	if p.ascii {
		wall, tick = "|", "+"
	}
	for row := range p.rows {
		line := padLeft(labels[row], 6) + " "
		if labels[row] == "" {
			line += wall
		} else {
			line += tick
		}
		t.line(line + p.rowText(t, row) + " " + p.tails[row])
	}
	p.foot(t)
	p.bandLine(t, band, bandName)
}

// rowText writes the cells of a row, a change of style at a time.
func (p *textPlot) rowText(t *terminal, row int) string {
	var b strings.Builder
	cells := p.cells[row*p.columns : (row+1)*p.columns]
	for i := 0; i < len(cells); {
		j := i
		var run []rune
		for j < len(cells) && cells[j].style == cells[i].style {
			run = append(run, cells[j].char())
			j++
		}
		b.WriteString(t.styled(cells[i].style, string(run)))
		i = j
	}
	return b.String()
}

// foot writes the axis of engine speed.
func (p *textPlot) foot(t *terminal) {
	floor, tick, corner := '─', '┬', "└"
	if p.ascii {
		floor, tick, corner = '-', '+', "+"
	}
	axis := []rune(strings.Repeat(string(floor), p.columns))
	numbers := []rune(strings.Repeat(" ", p.columns+6))
	for _, v := range p.x.Ticks() {
		at := p.column(v)
		axis[at] = tick
		text := []rune(plain(v))
		start := max(0, min(at-len(text)/2, len(numbers)-len(text)))
		copy(numbers[start:], text)
	}
	t.line("       " + corner + string(axis))
	unit := []rune("rpm")
	if end := len(numbers) - 3; strings.TrimSpace(string(numbers[end-1:])) == "" {
		copy(numbers[end:], unit)
	}
	t.line("        " + string(numbers))
}

func (p *textPlot) column(rpm float64) int {
	return max(0, min(p.columns-1, int((rpm-p.x.Lo)/(p.x.Hi-p.x.Lo)*float64(p.columns))))
}

// bandLine marks the riding band below the axis.
func (p *textPlot) bandLine(t *terminal, band [2]float64, name string) {
	if name == "" || band[1] < p.x.Lo || band[0] > p.x.Hi {
		return
	}
	from, to := p.column(band[0]), p.column(band[1])
	left, rule, right := "├", "─", "┤"
	if p.ascii {
		left, rule, right = "|", "-", "|"
	}
	n := to - from - 1
	if n < utf8.RuneCountInString(name)+4 {
		t.line("        " + strings.Repeat(" ", from) + left + strings.Repeat(rule, max(0, n)) + right + " " + name)
		return
	}
	before := (n - utf8.RuneCountInString(name) - 2) / 2
	after := n - before - utf8.RuneCountInString(name) - 2
	t.line("        " + strings.Repeat(" ", from) + left + strings.Repeat(rule, before) + " " + name + " " + strings.Repeat(rule, after) + right)
}

// gainPlot draws the gain with its whole-band limits, the limits at each speed
// and the line of no change.
func (g *Gain) gainPlot(t *terminal, c *compare.Comparison) {
	if len(c.Curve) < 2 {
		return
	}
	s := newGainSeries(c)
	p := newTextPlot(t, rpmScale(c), s.Range, 16)
	shade, zero, solid, dotted := '░', '─', "⠒⠒⠒", "⠒ ⠒"
	if t.o.ASCII {
		shade, zero, solid, dotted = ':', '-', "***", ". ."
	}
	p.ribbon(s.RPM, s.BandLo, s.BandHi, shade, styleGain)
	p.level(0, zero)
	p.curve(s.RPM, beside(s.Lo, s.BandLo), true, '.', styleGain)
	p.curve(s.RPM, beside(s.Hi, s.BandHi), true, '.', styleGain)
	p.curve(s.RPM, s.Gain, false, '*', styleGain)
	p.tail(s.Gain, "gain")
	t.line(t.styled(styleBold, "Gain, % at the same engine speed"))
	key := solid + " gain   no limits: no block repeats a pull"
	if s.Intervals {
		at := confidence(c.Confidence)
		key = solid + " gain   " + strings.Repeat(string(shade), 3) + " " + at + " limits, whole riding band at once   " + dotted + " outside it"
	}
	t.words("  ", key)
	band, name := g.bandLabel(c)
	p.write(t, band, name)
}

// levelPlot draws torque or power of both sides.
func (g *Gain) levelPlot(t *terminal, c *compare.Comparison, d quantity.Dimension) {
	if len(c.Curve) < 2 {
		return
	}
	s := newLevelSeries(c, d, t.o.Units)
	p := newTextPlot(t, rpmScale(c), s.Range, 11)
	solid, dashed := "⠒⠒⠒", "⠒ ⠒"
	if t.o.ASCII {
		solid, dashed = "***", "o o"
	}
	p.curve(s.RPM, s.Baseline, true, 'o', styleBaseline)
	p.curve(s.RPM, s.Candidate, false, '*', styleCandidate)
	p.tail(s.Candidate, cut(c.Candidate, 4))
	p.tail(s.Baseline, cut(c.Baseline, 4))
	t.line(t.styled(styleBold, g.levelTitle(s)))
	t.words("  ", solid+" "+g.shortSide(c.Candidate)+"   "+dashed+" "+g.shortSide(c.Baseline))
	p.write(t, [2]float64{}, "")
}

// beside returns the limits at each speed where there are none for the whole
// band: in characters, two pairs of limits over each other cannot be told apart.
func beside(limits, whole []float64) []float64 {
	out := slices.Clone(limits)
	for i, v := range whole {
		if !math.IsNaN(v) {
			out[i] = math.NaN()
		}
	}
	return out
}
