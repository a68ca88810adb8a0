package draw

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"io"
	"math"
	"strconv"
)

// fontStack names fonts of one width, so that the layout holds where the first
// is missing.
const fontStack = `'DejaVu Sans',Verdana,Geneva,sans-serif`

// SVG writes p. Where inline is true the result is meant to stand within an
// HTML page: it has no XML declaration and takes its font from the page.
func SVG(w io.Writer, p Picture, inline bool) error {
	var b bytes.Buffer
	if !inline {
		b.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
	}
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ` + number(p.Width) + " " + number(p.Height) + `"`)
	if !inline {
		b.WriteString(` width="` + number(p.Width) + `pt" height="` + number(p.Height) + `pt" font-family="` + fontStack + `"`)
	}
	id := escape(p.ID)
	b.WriteString(` role="img" aria-labelledby="` + id + `-title ` + id + `-desc">` + "\n")
	b.WriteString(`<title id="` + id + `-title">` + escape(p.Title) + "</title>\n")
	b.WriteString(`<desc id="` + id + `-desc">` + escape(p.Description) + "</desc>\n")
	for _, mark := range p.Marks {
		switch m := mark.(type) {
		case Stroke:
			svgStroke(&b, m)
		case Area:
			svgArea(&b, m)
		case Text:
			svgText(&b, m)
		case Image:
			svgImage(&b, m)
		}
	}
	b.WriteString("</svg>\n")
	_, err := w.Write(b.Bytes())
	return err
}

func svgStroke(b *bytes.Buffer, m Stroke) {
	if len(m.Points) < 2 {
		return
	}
	b.WriteString(`<path class="s-` + escape(m.Paint.Name) + `" fill="none" stroke="` + hex(m.Paint) + `" stroke-width="` + number(m.Width) + `"`)
	if m.Paint.Alpha < 1 {
		b.WriteString(` stroke-opacity="` + number(m.Paint.Alpha) + `"`)
	}
	if len(m.Dash) > 0 {
		b.WriteString(` stroke-dasharray="`)
		for i, d := range m.Dash {
			if i > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(number(d))
		}
		b.WriteByte('"')
	}
	b.WriteString(` stroke-linejoin="round" d="`)
	svgPath(b, m.Points)
	b.WriteString("\"/>\n")
}

func svgArea(b *bytes.Buffer, m Area) {
	if len(m.Points) < 3 {
		return
	}
	b.WriteString(`<path class="f-` + escape(m.Paint.Name) + `" fill="` + hex(m.Paint) + `"`)
	if m.Paint.Alpha < 1 {
		b.WriteString(` fill-opacity="` + number(m.Paint.Alpha) + `"`)
	}
	b.WriteString(` d="`)
	svgPath(b, m.Points)
	b.WriteString("Z\"/>\n")
}

func svgImage(b *bytes.Buffer, m Image) {
	b.WriteString(`<image x="` + number(m.At.X) + `" y="` + number(m.At.Y) + `" width="` + number(m.Width) + `" height="` + number(m.Height) +
		`" role="img" aria-label="` + escape(m.Words) + `" href="data:image/png;base64,` + base64.StdEncoding.EncodeToString(m.PNG) + "\"/>\n")
}

func svgPath(b *bytes.Buffer, points []Point) {
	for i, p := range points {
		letter := byte('L')
		if i == 0 {
			letter = 'M'
		}
		b.WriteByte(letter)
		b.WriteString(number(p.X) + " " + number(p.Y))
	}
}

func svgText(b *bytes.Buffer, m Text) {
	b.WriteString(`<text class="f-` + escape(m.Paint.Name) + `" fill="` + hex(m.Paint) + `" font-size="` + number(m.Size) + `"`)
	if m.Face == Bold {
		b.WriteString(` font-weight="700"`)
	}
	switch m.Anchor {
	case Middle:
		b.WriteString(` text-anchor="middle"`)
	case End:
		b.WriteString(` text-anchor="end"`)
	}
	x, y := number(m.At.X), number(m.At.Y)
	if m.Upwards {
		b.WriteString(` transform="rotate(-90 ` + x + " " + y + `)"`)
	}
	b.WriteString(` x="` + x + `" y="` + y + `">` + escape(m.Words) + "</text>\n")
}

// number writes v with at most two decimals: a hundredth of a point is finer
// than any printer.
func number(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 {
		v = 0 // no minus zero
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func hex(p Paint) string {
	const digits = "0123456789abcdef"
	out := []byte{'#'}
	for _, c := range [...]uint8{p.R, p.G, p.B} {
		out = append(out, digits[c>>4], digits[c&15])
	}
	return string(out)
}

// escape writes s for XML. Characters that XML forbids become U+FFFD.
func escape(s string) string {
	var b bytes.Buffer
	// A bytes.Buffer never fails.
	_ = xml.EscapeText(&b, []byte(s))
	return b.String()
}
