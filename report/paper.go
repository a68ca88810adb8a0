package report

import (
	"fmt"
	"io"
	"time"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// sheet is a size of paper in points.
type sheet struct{ width, height float64 }

var (
	a4     = sheet{595.28, 841.89}
	letter = sheet{612, 792}
)

// PDF writes the report as a document with vector charts and its fonts within:
// on A4, or on Letter for who reads US customary units. The same report gives
// the same bytes. The file carries title, language and outline and is not
// tagged: HTML is the accessible form, and the document says so.
func (g *Gain) PDF(w io.Writer, units quantity.System) error {
	size := a4
	if units == quantity.USCustomary {
		size = letter
	}
	p := newPaper(size)
	p.write(g.document(onPaper, documentOptions{units: units}))
	p.foot(g.provenance(), "The HTML form of this report is the accessible one.")
	return draw.PDF(w, draw.Document{
		Title: g.title(), Subject: g.subject(), Creator: "Fairpull" + labelled(" ", clean(g.Version)),
		Language: "en", Created: g.lastStart(), Pages: p.pages,
	})
}

// subject is the first verdict.
func (g *Gain) subject() string {
	if len(g.Comparisons) == 0 {
		return ""
	}
	return g.Sentence(&g.Comparisons[0])
}

// lastStart is the start of the last pull: a date that stays the same however
// often the document is written.
func (g *Gain) lastStart() time.Time {
	last := time.Unix(0, 0)
	for _, p := range g.Pulls {
		if p.Started.After(last) {
			last = p.Started
		}
	}
	return last.UTC()
}

// paper fills pages from above.
type paper struct {
	size          sheet
	left, top     float64
	width, bottom float64
	pages         []draw.Picture
	page          draw.Picture
	y             float64
	pendingGap    float64 // space owed before the next block, dropped at the top of a page
}

// Sizes of type on paper, in points.
const (
	sizeTitle   = 17.0
	sizeSection = 12.5
	sizeMinor   = 10.0
	sizeText    = 9.0
	sizeSmall   = 7.8
	sizeTable   = 7.6
	sizeLong    = 6.6
	leading     = 1.38
)

func newPaper(size sheet) *paper {
	p := &paper{size: size, width: onPaper.width, top: 46, bottom: size.height - 58}
	p.left = (size.width - p.width) / 2
	p.turn()
	return p
}

// turn begins a page.
func (p *paper) turn() {
	if len(p.page.Marks) > 0 {
		p.pages = append(p.pages, p.page)
	}
	p.page = draw.Picture{Width: p.size.width, Height: p.size.height}
	p.y, p.pendingGap = p.top, 0
}

// room turns the page unless height is left on it; the owed gap is taken first.
func (p *paper) room(height float64) {
	if p.y > p.top {
		p.y += p.pendingGap
	}
	p.pendingGap = 0
	if p.y+height > p.bottom && p.y > p.top {
		p.turn()
	}
}

// keep is how much of what follows a heading must fit beneath it.
const keep = 70.0

func (p *paper) write(blocks []block) {
	for _, b := range blocks {
		switch b := b.(type) {
		case heading:
			p.heading(b)
		case verdict:
			p.verdict(b)
		case paragraph:
			size, paint := sizeText, paintInk
			if b.Small {
				size, paint = sizeSmall, paintMuted
			}
			p.words(b.Words, size, draw.Regular, paint, 0)
			p.pendingGap = 4
		case bullets:
			for _, item := range b.Items {
				p.bullet(item)
			}
		case openCheck:
			p.flag(b)
		case figure:
			p.figure(b)
		case table:
			p.table(b)
		case form:
			p.form(b)
		case together:
			p.together(b.Height)
		}
	}
	p.turn()
}

func (p *paper) heading(h heading) {
	size, gap := sizeSection, 16.0
	switch h.Level {
	case 1:
		size = sizeTitle
	case 3:
		size, gap = sizeMinor, 9
	}
	p.pendingGap = max(p.pendingGap, gap)
	p.room(size*leading + keep)
	if h.Level < 3 {
		p.page.Add(draw.Heading{Y: p.y, Words: h.Words, Level: h.Level - 1})
	}
	p.words(h.Words, size, draw.Bold, paintInk, 0)
	p.pendingGap = 5
}

// words sets a paragraph, indented by so much.
func (p *paper) words(s string, size float64, face draw.Face, paint draw.Paint, indent float64) {
	if s == "" {
		return
	}
	for _, line := range draw.Wrap(unbroken(s), size, face, p.width-indent) {
		p.room(size * leading)
		p.y += size * leading
		p.page.Add(draw.Text{At: draw.Point{X: p.left + indent, Y: p.y - 0.3*size}, Words: line, Size: size, Face: face, Paint: paint})
	}
}

func (p *paper) bullet(item string) {
	p.room(sizeText * leading)
	p.page.Add(draw.Text{At: draw.Point{X: p.left + 2, Y: p.y + sizeText*(leading-0.3)}, Words: "•", Size: sizeText, Paint: paintMuted})
	p.words(item, sizeText, draw.Regular, paintInk, 12)
	p.pendingGap = 2.5
}

// verdict sets the answer on a shaded ground with a bar at its left.
func (p *paper) verdict(v verdict) {
	const name, sentence, pad = 13.0, 11.0, 9.0
	lines := draw.Wrap(unbroken(v.Sentence), sentence, draw.Regular, p.width-3*pad)
	height := name*leading + float64(len(lines))*sentence*leading + 1.6*pad
	p.room(height)
	bar := paintFrame
	if v.Shown {
		bar = paintGain
	}
	p.page.Add(
		draw.Area{Points: draw.Box(p.left, p.y, p.width, height), Paint: paintBand},
		draw.Area{Points: draw.Box(p.left, p.y, 4, height), Paint: bar},
	)
	y := p.y + 0.8*pad + name*leading
	p.page.Add(draw.Text{At: draw.Point{X: p.left + 2*pad, Y: y - 0.3*name}, Words: v.Name, Size: name, Face: draw.Bold, Paint: paintInk})
	for _, line := range lines {
		y += sentence * leading
		p.page.Add(draw.Text{At: draw.Point{X: p.left + 2*pad, Y: y - 0.3*sentence}, Words: line, Size: sentence, Paint: paintInk})
	}
	p.y += height
	p.pendingGap = 7
}

// flag sets a check that did not pass within a frame.
func (p *paper) flag(f openCheck) {
	const pad = 5.0
	lines := draw.Wrap(unbroken(f.Mark+" "+f.Status+": "+f.Name+". "+f.Message), sizeText, draw.Regular, p.width-2*pad-6)
	height := float64(len(lines))*sizeText*leading + 1.4*pad
	p.pendingGap = max(p.pendingGap, 5)
	p.room(height)
	paint := paintWarn
	if f.Status == "fail" {
		paint = paintFail
	}
	box := draw.Box(p.left, p.y, p.width, height)
	p.page.Add(draw.Stroke{Points: append(box, box[0]), Width: 0.7, Paint: paint}, draw.Area{Points: draw.Box(p.left, p.y, 3, height), Paint: paint})
	y := p.y + 0.7*pad
	for _, line := range lines {
		y += sizeText * leading
		p.page.Add(draw.Text{At: draw.Point{X: p.left + pad + 5, Y: y - 0.3*sizeText}, Words: line, Size: sizeText, Paint: paintInk})
	}
	p.y += height
	p.pendingGap = 7
}

func (p *paper) figure(f figure) {
	lines := draw.Wrap(unbroken(f.Caption), sizeSmall, draw.Regular, p.width)
	p.pendingGap = max(p.pendingGap, 9)
	p.room(f.Picture.Height + float64(len(lines))*sizeSmall*leading)
	p.page.Add(moved(f.Picture.Marks, p.left, p.y)...)
	p.y += f.Picture.Height + 2
	p.words(f.Caption, sizeSmall, draw.Regular, paintMuted, 0)
	p.pendingGap = 9
}

// foot writes the foot of every page, now that their number is known.
func (p *paper) foot(left, note string) {
	for i := range p.pages {
		page := &p.pages[i]
		y := p.size.height - 36
		page.Add(
			draw.Stroke{Points: []draw.Point{{X: p.left, Y: y - 10}, {X: p.left + p.width, Y: y - 10}}, Width: 0.5, Paint: paintGrid},
			draw.Text{At: draw.Point{X: p.left, Y: y}, Words: draw.Fit(left, 6.6, draw.Regular, p.width-70), Size: 6.6, Paint: paintMuted},
			draw.Text{At: draw.Point{X: p.left, Y: y + 9}, Words: note, Size: 6.6, Paint: paintMuted},
			draw.Text{At: draw.Point{X: p.left + p.width, Y: y}, Words: fmt.Sprintf("page %d of %d", i+1, len(p.pages)), Size: 7.4, Anchor: draw.End, Paint: paintMuted},
		)
	}
}
