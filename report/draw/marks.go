// Package draw holds marks on a page (lines, areas, words) and writes them as
// SVG, PNG and PDF, so that one layout serves all three.
//
// Lengths are in points (1/72 inch); x runs to the right and y downwards from
// the upper left corner. The package knows nothing of engines.
package draw

import "time"

// Point is a place on the page, in points.
type Point struct{ X, Y float64 }

// Paint is a colour with a name. The name becomes a class in SVG, where a style
// sheet may give it another colour (for a dark page, say); the other writers
// use the colour itself.
type Paint struct {
	Name    string
	R, G, B uint8
	Alpha   float64 // opacity, 0 to 1; 0 paints nothing
}

// Faded returns p at opacity alpha.
func (p Paint) Faded(alpha float64) Paint {
	p.Alpha = alpha
	return p
}

// Face is one of the two fonts of a picture.
type Face int

// The faces.
const (
	Regular Face = iota
	Bold
)

// Anchor says which part of a text stands at its place.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Mark is a Stroke, an Area, a Text, a Heading or an Image.
type Mark interface{ isMark() }

// Stroke is a line through Points. Dash holds lengths of stroke and gap in
// turn, in points; nil draws a solid line.
type Stroke struct {
	Points []Point
	Width  float64
	Dash   []float64
	Paint  Paint
}

// Area is a filled polygon; its last point joins its first.
type Area struct {
	Points []Point
	Paint  Paint
}

// Text is one line of words with its base line at At. Size is the size of the
// font in points. Upwards turns it a quarter to the left.
type Text struct {
	At      Point
	Words   string
	Size    float64
	Face    Face
	Anchor  Anchor
	Upwards bool
	Paint   Paint
}

// Heading is an entry of a document's outline at height Y of its page. It
// leaves no ink.
type Heading struct {
	Y     float64
	Words string
	Level int // 0 is the highest
}

// Image is a raster picture over the rectangle from At, as wide and high as given.
type Image struct {
	At            Point
	Width, Height float64
	PNG           []byte // the picture; it must decode
	Words         string // what it shows, for who cannot see it
}

func (Image) isMark()   {}
func (Stroke) isMark()  {}
func (Area) isMark()    {}
func (Text) isMark()    {}
func (Heading) isMark() {}

// Picture is one page of marks, drawn in order.
type Picture struct {
	Width, Height float64 // points
	ID            string  // makes the ids of an SVG unique within a page
	Title         string  // a short name, for who cannot see it
	Description   string  // what it shows, in words
	Marks         []Mark
}

// Add appends marks.
func (p *Picture) Add(marks ...Mark) { p.Marks = append(p.Marks, marks...) }

// Document is a series of pages and what is said about them.
type Document struct {
	Title, Subject, Creator string
	Language                string    // as BCP 47 writes it: en
	Created                 time.Time // stands in the file; never taken from the clock
	Pages                   []Picture
}

// Box returns the corners of a rectangle, for an Area.
func Box(x, y, width, height float64) []Point {
	return []Point{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}
}
