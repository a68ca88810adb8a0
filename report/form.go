package report

import (
	"strings"

	"fairpull/report/draw"
)

// form is a table with boxes to fill by hand. An empty cell is a box.
type form struct {
	Caption string
	Columns []formColumn
	Rows    []formRow
}

// formColumn is a column of a form.
type formColumn struct {
	Name, Hint string  // the hint stands below the name: a target, a unit
	Share      float64 // of the width
}

// formRow is a row of a form; one that does not count is set apart.
type formRow struct {
	Apart bool
	Cells []string
}

// together keeps what follows, up to the one with End set, on one page where it fits
// there; Height is what it takes on paper.
type together struct {
	Height float64
	End    bool
}

func (form) isBlock()     {}
func (together) isBlock() {}

// Sizes of a form on paper, in points.
const (
	formHead = 7.0  // size of the type of a head
	formHint = 6.6  // and of the hint below it
	formCell = 8.2  // and of a printed cell
	formBox  = 21.0 // least height of a row
	formPad  = 3.0
)

// laidForm is a form as it stands on paper.
type laidForm struct {
	widths []float64
	heads  [][2][]string // name and hint
	rows   [][][]string
	head   float64   // height of the head
	tall   []float64 // of each row
}

func layForm(f form, width float64) laidForm {
	var l laidForm
	sum := 0.0
	for _, c := range f.Columns {
		sum += c.Share
	}
	for _, c := range f.Columns {
		w := width * c.Share / sum
		l.widths = append(l.widths, w)
		lines := [2][]string{draw.Wrap(unbroken(c.Name), formHead, draw.Bold, w-2*formPad), nil}
		height := float64(len(lines[0])) * formHead * leading
		if c.Hint != "" {
			lines[1] = draw.Wrap(unbroken(c.Hint), formHint, draw.Regular, w-2*formPad)
			height += float64(len(lines[1])) * formHint * leading
		}
		l.heads = append(l.heads, lines)
		l.head = max(l.head, height+2*formPad)
	}
	for _, row := range f.Rows {
		cells := make([][]string, len(f.Columns))
		tall := formBox
		for j, words := range row.Cells {
			if words != "" {
				cells[j] = draw.Wrap(unbroken(words), formCell, draw.Regular, l.widths[j]-2*formPad)
				tall = max(tall, float64(len(cells[j]))*formCell*leading+2*formPad)
			}
		}
		l.rows, l.tall = append(l.rows, cells), append(l.tall, tall)
	}
	return l
}

// formHeight returns the height that a form takes on paper.
func formHeight(f form, width float64) float64 {
	l := layForm(f, width)
	height := l.head
	for _, tall := range l.tall {
		height += tall
	}
	if f.Caption != "" {
		height += float64(len(draw.Wrap(unbroken(f.Caption), sizeSmall, draw.Regular, width))) * sizeSmall * leading
	}
	return height
}

// form sets a form; its head comes again on every page.
func (p *paper) form(f form) {
	l := layForm(f, p.width)
	p.pendingGap = max(p.pendingGap, 5)
	p.words(f.Caption, sizeSmall, draw.Regular, paintMuted, 0)
	p.room(l.head + formBox)
	p.formHead(l)
	for i := range l.rows {
		if p.y+l.tall[i] > p.bottom && p.y > p.top+l.head {
			p.turn()
			p.formHead(l)
		}
		p.formRow(l, i, f.Rows[i].Apart)
	}
	p.pendingGap = 9
}

func (p *paper) formHead(l laidForm) {
	x := p.left
	for j, lines := range l.heads {
		p.box(x, l.widths[j], l.head, true)
		y := p.y + formPad
		for _, words := range lines[0] {
			y += formHead * leading
			p.page.Add(draw.Text{At: draw.Point{X: x + formPad, Y: y - 0.3*formHead}, Words: words, Size: formHead, Face: draw.Bold, Paint: paintInk})
		}
		for _, words := range lines[1] {
			y += formHint * leading
			p.page.Add(draw.Text{At: draw.Point{X: x + formPad, Y: y - 0.3*formHint}, Words: words, Size: formHint, Paint: paintInk})
		}
		x += l.widths[j]
	}
	p.y += l.head
}

func (p *paper) formRow(l laidForm, i int, apart bool) {
	x := p.left
	for j, lines := range l.rows[i] {
		p.box(x, l.widths[j], l.tall[i], apart)
		y := p.y + formPad
		for _, words := range lines {
			y += formCell * leading
			p.page.Add(draw.Text{At: draw.Point{X: x + formPad, Y: y - 0.3*formCell}, Words: words, Size: formCell, Paint: paintInk})
		}
		x += l.widths[j]
	}
	p.y += l.tall[i]
}

// box draws the frame of a cell, shaded or not.
func (p *paper) box(x, width, height float64, shaded bool) {
	corners := draw.Box(x, p.y, width, height)
	if shaded {
		p.page.Add(draw.Area{Points: corners, Paint: paintBand})
	}
	p.page.Add(draw.Stroke{Points: append(corners, corners[0]), Width: 0.6, Paint: paintFrame})
}

// together turns the page where what follows does not fit below but fits on a page.
func (p *paper) together(height float64) {
	if height == 0 {
		return
	}
	if left := p.bottom - p.y - p.pendingGap; height > left && height <= p.bottom-p.top {
		p.turn()
	}
}

func formView(f form) pageBlock {
	name := f.Caption
	if name == "" && len(f.Columns) > 0 {
		name = f.Columns[0].Name
	}
	out := pageBlock{Kind: "form", Words: unbroken(f.Caption), Name: "Form: " + strings.TrimSuffix(name, ".")}
	for _, c := range f.Columns {
		out.Heads = append(out.Heads, pageCell{Words: unbroken(c.Name), Hint: unbroken(c.Hint)})
	}
	for _, row := range f.Rows {
		view := pageRow{}
		if row.Apart {
			view.Mark = "apart"
		}
		for j := range f.Columns {
			c := pageCell{}
			if j < len(row.Cells) {
				c = pageCell{Words: unbroken(row.Cells[j]), Head: j == 0 && row.Cells[j] != ""}
			}
			view.Cells = append(view.Cells, c)
		}
		out.Rows = append(out.Rows, view)
	}
	return out
}
