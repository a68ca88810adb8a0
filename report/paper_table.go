package report

import (
	"math"
	"strings"

	"fairpull/report/draw"
)

// grid is a table as it stands on paper: its cells broken into lines.
type grid struct {
	size   float64 // of the type
	widths []float64
	heads  [][]string
	rows   [][][]string
}

// Space between columns, and above and below the lines of a row.
const (
	columnGap = 7.0
	rowGap    = 2.4
)

// newGrid fits t into width.
func newGrid(t table, width float64) grid {
	size := sizeTable
	if t.Long {
		size = sizeLong
	}
	return newGridIn(t, width, size)
}

// newGridIn fits t, set in a size of type, into width.
func newGridIn(t table, width, size float64) grid {
	g := grid{size: size}
	n := len(t.Heads)
	least, natural := make([]float64, n), make([]float64, n)
	measure := func(j int, s string, face draw.Face) {
		s = unbroken(s)
		natural[j] = math.Max(natural[j], draw.Width(s, g.size, face))
		for _, word := range strings.Fields(strings.ReplaceAll(s, "\u00a0", "x")) {
			least[j] = math.Max(least[j], draw.Width(word, g.size, face))
		}
	}
	for j, h := range t.Heads {
		for _, word := range strings.Fields(unbroken(h)) {
			measure(j, word, draw.Bold)
		}
	}
	for i, row := range t.Rows {
		for j, cell := range row {
			measure(j, cell, t.face(i))
		}
	}
	g.widths = columnWidths(least, natural, width-columnGap*float64(n-1))
	for j, h := range t.Heads {
		g.heads = append(g.heads, draw.Wrap(unbroken(h), g.size, draw.Bold, g.widths[j]))
	}
	for i, row := range t.Rows {
		cells := make([][]string, n)
		for j, cell := range row {
			cells[j] = draw.Wrap(unbroken(cell), g.size, t.face(i), g.widths[j])
		}
		g.rows = append(g.rows, cells)
	}
	return g
}

// face is the font of a row: bold for the primary figure.
func (t *table) face(row int) draw.Face {
	if t.Marks != nil && t.Marks[row] == "primary" {
		return draw.Bold
	}
	return draw.Regular
}

// columnWidths gives every column its natural width where they fit. Else it caps
// the wide ones at one common width, so that narrow columns keep their lines
// whole, and goes below a column's least width only where all are at theirs. A
// long word cannot take more than a third of the whole; it is broken then.
func columnWidths(least, natural []float64, width float64) []float64 {
	out := make([]float64, len(least))
	sumLeast := 0.0
	for j := range least {
		least[j] = math.Min(least[j], math.Max(width/3, width/float64(len(least))))
		natural[j] = math.Max(natural[j], least[j])
		sumLeast += least[j]
	}
	if sumLeast >= width {
		for j := range out {
			out[j] = least[j] * width / sumLeast
		}
		return out
	}
	capped := func(most float64) float64 {
		sum := 0.0
		for j := range out {
			out[j] = math.Max(least[j], math.Min(natural[j], most))
			sum += out[j]
		}
		return sum
	}
	low, high := 0.0, width
	if capped(high) > width {
		for range 40 { // halves the doubt each time: far below a hair
			if middle := (low + high) / 2; capped(middle) > width {
				high = middle
			} else {
				low = middle
			}
		}
		capped(low)
	}
	const hair = 0.01 // against a word that would break by rounding alone
	for j := range out {
		out[j] += hair
	}
	return out
}

func tallest(cells [][]string) int {
	n := 0
	for _, c := range cells {
		n = max(n, len(c))
	}
	return n
}

// table sets a table; its head comes again on every page.
func (p *paper) table(t table) {
	g := newGrid(t, p.width)
	line := g.size * 1.28
	headHeight := float64(tallest(g.heads))*line + 2*rowGap
	p.pendingGap = max(p.pendingGap, 8)
	p.room(headHeight + keep)
	p.words(t.Caption, sizeSmall, draw.Regular, paintMuted, 0)
	p.y += 2
	p.tableHead(t, g, line)
	for i, cells := range g.rows {
		p.tableRow(t, g, i, cells, line, headHeight)
	}
	p.pendingGap = 9
}

func (p *paper) tableHead(t table, g grid, line float64) {
	n := tallest(g.heads)
	p.cells(t, g, g.heads, draw.Bold, paintMuted, line)
	p.y += float64(n)*line + 2*rowGap
	p.rule(g, 0.8, paintFrame)
}

// tableRow sets one row, on a new page where it does not fit; a row taller than
// a page goes on over several.
func (p *paper) tableRow(t table, g grid, i int, cells [][]string, line, headHeight float64) {
	mark := ""
	if t.Marks != nil {
		mark = t.Marks[i]
	}
	paint := paintInk
	if mark == "unused" {
		paint = paintMuted
	}
	for from := 0; ; {
		left := tallest(cells) - from
		fits := int((p.bottom - p.y - 2*rowGap) / line)
		whole := int((p.bottom - p.top - headHeight - 2*rowGap) / line)
		if left > fits && (left <= whole || fits < 1) {
			p.turn()
			p.tableHead(t, g, line)
			fits = whole
		}
		n := min(left, fits)
		height := float64(n)*line + 2*rowGap
		if mark == "differs" {
			p.page.Add(draw.Area{Points: draw.Box(p.left, p.y, g.total(), height), Paint: paintBand})
		}
		p.cells(t, g, part(cells, from, from+n), t.face(i), paint, line)
		p.y += height
		p.rule(g, 0.4, paintGrid)
		if from += n; from >= tallest(cells) {
			return
		}
	}
}

// part returns lines from to to of every cell.
func part(cells [][]string, from, to int) [][]string {
	out := make([][]string, len(cells))
	for j, lines := range cells {
		out[j] = lines[min(from, len(lines)):min(to, len(lines))]
	}
	return out
}

func (g *grid) total() float64 {
	sum := columnGap * float64(len(g.widths)-1)
	for _, w := range g.widths {
		sum += w
	}
	return sum
}

func (p *paper) rule(g grid, width float64, paint draw.Paint) {
	p.page.Add(draw.Stroke{Points: []draw.Point{{X: p.left, Y: p.y}, {X: p.left + g.total(), Y: p.y}}, Width: width, Paint: paint})
}

// cells writes the lines of one row at the present height.
func (p *paper) cells(t table, g grid, cells [][]string, face draw.Face, paint draw.Paint, line float64) {
	x := p.left
	for j, lines := range cells {
		at, anchor := x, draw.Start
		if t.Numeric[j] {
			at, anchor = x+g.widths[j], draw.End
		}
		for k, words := range lines {
			if words != "" {
				p.page.Add(draw.Text{At: draw.Point{X: at, Y: p.y + rowGap + float64(k+1)*line - 0.28*line}, Words: words, Size: g.size, Face: face, Anchor: anchor, Paint: paint})
			}
		}
		x += g.widths[j] + columnGap
	}
}
