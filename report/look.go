package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/fyne-io/oksvg"
	"github.com/srwiley/rasterx"

	"fairpull/report/draw"
)

// Look is how a maker's customer sheet looks. The zero value is plain.
type Look struct {
	Name    string // of the maker; may be empty
	Contact string // one line; may be empty
	colour  draw.Paint
	accent  draw.Paint
	logo    []byte // PNG; nil: none
	width   float64
	height  float64
}

// Bounds of a logo. A file larger than these was not meant as one.
const (
	maxLogoBytes    = 1 << 20
	maxLogoSide     = 4000 // pixels
	logoPixels      = 900  // that a vector logo is drawn with on its longer side
	maxLogoElements = 5000
)

// Contrasts that colours need on white: of what is no text, and of text.
// Source: Web Content Accessibility Guidelines 2.2, success criteria 1.4.11, 1.4.3.
const (
	contrastOfMarks = 3.0
	contrastOfText  = 4.5
)

// NewLook returns a look. Colour, as #rrggbb, is that of the bar and, where text in it
// can be read on white, of the headings; accent is that of the curve of the part and
// needs a contrast of 3:1 on white. Either may be empty. The logo is a PNG or an SVG
// file, or nil; it is drawn anew, so that nothing of the file but its picture gets
// into a document.
func NewLook(name, contact, colour, accent string, logo []byte) (Look, error) {
	l := Look{Name: clean(name), Contact: clean(contact), colour: paintInk, accent: paintCandidate}
	for _, own := range []struct {
		what, text string
		paint      *draw.Paint
	}{{"colour", colour, &l.colour}, {"accent", accent, &l.accent}} {
		if own.text == "" {
			continue
		}
		p, err := parseColour(own.text)
		if err != nil {
			return Look{}, fmt.Errorf("the %s: %w", own.what, err)
		}
		p.Name = own.what
		*own.paint = p
	}
	if c := contrastOnWhite(l.accent); c < contrastOfMarks {
		return Look{}, fmt.Errorf("the accent %s has a contrast of %.1f to 1 on white, and a curve needs %.0f to 1: choose a darker one", accent, c, contrastOfMarks)
	}
	if logo == nil {
		return l, nil
	}
	picture, err := readLogo(logo)
	if err != nil {
		return Look{}, fmt.Errorf("the logo: %w", err)
	}
	var out bytes.Buffer
	if err := png.Encode(&out, picture); err != nil {
		return Look{}, fmt.Errorf("the logo: %w", err)
	}
	l.logo, l.width, l.height = out.Bytes(), float64(picture.Bounds().Dx()), float64(picture.Bounds().Dy())
	return l, nil
}

// plainLook is the look of a sheet without one.
func plainLook() Look { return Look{colour: paintInk, accent: paintCandidate} }

func parseColour(text string) (draw.Paint, error) {
	v, err := strconv.ParseUint(strings.TrimPrefix(text, "#"), 16, 32)
	if err != nil || len(text) != 7 || text[0] != '#' {
		return draw.Paint{}, fmt.Errorf("%.20q is no colour: write it as #rrggbb", text)
	}
	return draw.Paint{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), Alpha: 1}, nil
}

// contrastOnWhite returns the contrast ratio of a colour with white, 1 to 21.
// Source: Web Content Accessibility Guidelines 2.2, definitions of contrast ratio
// and relative luminance.
func contrastOnWhite(p draw.Paint) float64 {
	linear := func(v uint8) float64 {
		c := float64(v) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 1.05 / (0.2126*linear(p.R) + 0.7152*linear(p.G) + 0.0722*linear(p.B) + 0.05)
}

// headings is the colour of headings: the maker's where text in it can be read.
func (l *Look) headings() draw.Paint {
	if contrastOnWhite(l.colour) < contrastOfText {
		return paintInk
	}
	return l.colour
}

// readLogo reads a PNG or an SVG within bounds.
func readLogo(data []byte) (image.Image, error) {
	if len(data) > maxLogoBytes {
		return nil, fmt.Errorf("it has %d bytes, and at most %d are read", len(data), maxLogoBytes)
	}
	if !bytes.HasPrefix(data, []byte("\x89PNG")) {
		return drawnSVG(data)
	}
	config, err := png.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if config.Width < 1 || config.Height < 1 || config.Width > maxLogoSide || config.Height > maxLogoSide {
		return nil, fmt.Errorf("it has %d × %d pixels, and at most %d either way are read", config.Width, config.Height, maxLogoSide)
	}
	return png.Decode(bytes.NewReader(data))
}

// drawnSVG draws a vector logo of shapes. Elements that fetch, run or repeat
// something, and text, which would need its font, are refused.
func drawnSVG(data []byte) (picture image.Image, err error) {
	if err := plainShapes(data); err != nil {
		return nil, err
	}
	defer func() { // the reader of SVG must not take the program with it
		if r := recover(); r != nil {
			picture, err = nil, fmt.Errorf("it cannot be drawn: %v", r)
		}
	}()
	icon, err := oksvg.ReadIconStream(bytes.NewReader(data), oksvg.StrictErrorMode)
	if err != nil {
		return nil, fmt.Errorf("it cannot be drawn (%w): save it as PNG", err)
	}
	w, h := icon.ViewBox.W, icon.ViewBox.H
	if !(w > 0 && h > 0 && w/h < 20 && h/w < 20) {
		return nil, errors.New("it has no viewBox of a sensible shape")
	}
	scale := logoPixels / math.Max(w, h)
	width, height := int(math.Ceil(w*scale)), int(math.Ceil(h*scale))
	icon.SetTarget(0, 0, float64(width), float64(height))
	out := image.NewNRGBA(image.Rect(0, 0, width, height))
	scanner := rasterx.NewScannerGV(width, height, out, out.Bounds())
	icon.Draw(rasterx.NewDasher(width, height, scanner), 1)
	return out, nil
}

// shapes are the elements of SVG that a logo may have.
var shapes = map[string]bool{
	"svg": true, "g": true, "path": true, "rect": true, "circle": true, "ellipse": true, "line": true, "polyline": true, "polygon": true,
	"defs": true, "linearGradient": true, "radialGradient": true, "stop": true, "title": true, "desc": true, "style": true,
}

// plainShapes refuses an SVG that has something else than shapes, or too many.
func plainShapes(data []byte) error {
	decoder := xml.NewDecoder(bytes.NewReader(data))
	elements := 0
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("it is neither PNG nor SVG: %w", err)
		}
		switch t := token.(type) {
		case xml.Directive:
			return errors.New("it has a document type, which is not read: save it as plain SVG or as PNG")
		case xml.StartElement:
			if elements++; elements > maxLogoElements {
				return fmt.Errorf("it has more than %d elements: save it as PNG", maxLogoElements)
			}
			if !shapes[t.Name.Local] {
				return fmt.Errorf("it has an element %.30q, which is not drawn: turn it into paths, or save it as PNG", t.Name.Local)
			}
			if elements == 1 && t.Name.Local != "svg" {
				return errors.New("it is neither PNG nor SVG")
			}
		}
	}
	if elements == 0 {
		return errors.New("it is neither PNG nor SVG")
	}
	return nil
}
