package draw

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
	"codeberg.org/go-pdf/fpdf"
)

// PDF writes d with its fonts within it. The same document gives the same
// bytes. The file is not tagged: it has a title, a language and an outline, and
// its text can be searched and copied, but its tables have no structure.
func PDF(w io.Writer, d Document) error {
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "pt"})
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(d.Created)
	pdf.SetModificationDate(d.Created)
	pdf.SetTitle(Drawable(d.Title, Regular), true)
	pdf.SetSubject(Drawable(d.Subject, Regular), true)
	pdf.SetCreator(Drawable(d.Creator, Regular), true)
	pdf.SetLang(d.Language)
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetLineJoinStyle("round")
	pdf.AddUTF8FontFromBytes("sans", "", dejavusans.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", dejavusansbold.TTF)
	for _, page := range d.Pages {
		pdf.AddPageFormat("P", fpdf.SizeType{Wd: page.Width, Ht: page.Height})
		for _, mark := range page.Marks {
			switch m := mark.(type) {
			case Stroke:
				pdfStroke(pdf, m)
			case Area:
				pdfArea(pdf, m)
			case Text:
				pdfText(pdf, m)
			case Image:
				pdfImage(pdf, m)
			case Heading:
				pdf.Bookmark(Drawable(m.Words, Regular), m.Level, m.Y)
			}
		}
	}
	return pdf.Output(w)
}

func pdfStroke(pdf *fpdf.Fpdf, m Stroke) {
	if len(m.Points) < 2 || m.Paint.Alpha == 0 {
		return
	}
	pdf.SetDrawColor(int(m.Paint.R), int(m.Paint.G), int(m.Paint.B))
	pdf.SetAlpha(m.Paint.Alpha, "Normal")
	pdf.SetLineWidth(m.Width)
	pdf.SetDashPattern(m.Dash, 0)
	pdfPath(pdf, m.Points)
	pdf.DrawPath("D")
}

func pdfArea(pdf *fpdf.Fpdf, m Area) {
	if len(m.Points) < 3 || m.Paint.Alpha == 0 {
		return
	}
	pdf.SetFillColor(int(m.Paint.R), int(m.Paint.G), int(m.Paint.B))
	pdf.SetAlpha(m.Paint.Alpha, "Normal")
	pdfPath(pdf, m.Points)
	pdf.ClosePath()
	pdf.DrawPath("F")
}

// pdfImage places a picture; its name is its content's, so that one used twice is
// in the file once.
func pdfImage(pdf *fpdf.Fpdf, m Image) {
	name := fmt.Sprintf("%x", sha256.Sum256(m.PNG))
	options := fpdf.ImageOptions{ImageType: "png"}
	pdf.SetAlpha(1, "Normal")
	pdf.RegisterImageOptionsReader(name, options, bytes.NewReader(m.PNG))
	pdf.ImageOptions(name, m.At.X, m.At.Y, m.Width, m.Height, false, options, 0, "")
}

func pdfPath(pdf *fpdf.Fpdf, points []Point) {
	pdf.MoveTo(points[0].X, points[0].Y)
	for _, p := range points[1:] {
		pdf.LineTo(p.X, p.Y)
	}
}

func pdfText(pdf *fpdf.Fpdf, m Text) {
	words := Drawable(m.Words, m.Face)
	x, y := m.At.X, m.At.Y
	width := Width(words, m.Size, m.Face)
	switch m.Anchor {
	case Middle:
		width /= 2
	case Start:
		width = 0
	}
	style := ""
	if m.Face == Bold {
		style = "B"
	}
	pdf.SetFont("sans", style, m.Size)
	pdf.SetTextColor(int(m.Paint.R), int(m.Paint.G), int(m.Paint.B))
	pdf.SetAlpha(m.Paint.Alpha, "Normal")
	if m.Upwards {
		pdf.TransformBegin()
		pdf.TransformRotate(90, x, y)
		pdf.Text(x-width, y, words)
		pdf.TransformEnd()
		return
	}
	pdf.Text(x-width, y, words)
}
