package report

import (
	"math"
	"slices"
	"strings"

	"fairpull/report/draw"
)

// The colours. Those of data are of the palette that Okabe and Ito published for
// all kinds of colour vision (Color Universal Design, 2008); every one has a
// second code beside it: a dash, a marker, a label.
var (
	paintInk       = draw.Paint{Name: "ink", R: 0x1a, G: 0x1f, B: 0x26, Alpha: 1}
	paintMuted     = draw.Paint{Name: "muted", R: 0x55, G: 0x5e, B: 0x6b, Alpha: 1}
	paintGrid      = draw.Paint{Name: "grid", R: 0xdd, G: 0xe1, B: 0xe6, Alpha: 1}
	paintFrame     = draw.Paint{Name: "frame", R: 0x7d, G: 0x87, B: 0x92, Alpha: 1}
	paintBand      = draw.Paint{Name: "band", R: 0xf3, G: 0xf1, B: 0xea, Alpha: 1}
	paintPaper     = draw.Paint{Name: "paper", R: 0xff, G: 0xff, B: 0xff, Alpha: 1}
	paintWarn      = draw.Paint{Name: "warn", R: 0xb0, G: 0x86, B: 0x00, Alpha: 1}
	paintFail      = draw.Paint{Name: "fail", R: 0x9b, G: 0x2c, B: 0x00, Alpha: 1}
	paintBaseline  = draw.Paint{Name: "baseline", R: 0x00, G: 0x72, B: 0xb2, Alpha: 1}  // blue
	paintCandidate = draw.Paint{Name: "candidate", R: 0xd5, G: 0x5e, B: 0x00, Alpha: 1} // vermilion
	paintGain      = draw.Paint{Name: "gain", R: 0x00, G: 0x9e, B: 0x73, Alpha: 1}      // bluish green
)

// Dashes, in font sizes.
var (
	dashBaseline = []float64{0.55, 0.3}
	dashLimits   = []float64{0.12, 0.22}
)

// frame is one panel of a chart: a rectangle on the page with its two axes.
type frame struct {
	picture       *draw.Picture
	x, y          scale
	left, top     float64
	width, height float64
	size          float64 // font size, points

	// In another language: the name of the axis of engine speed, and how numbers are
	// written; empty and nil: English.
	axis  string
	write func(string) string
}

// number writes a number of an axis.
func (f *frame) number(s string) string {
	if f.write == nil {
		return s
	}
	return f.write(s)
}

// axisName names the axis of engine speed.
func (f *frame) axisName() string {
	if f.axis == "" {
		return "engine speed, rpm"
	}
	return f.axis
}

func (f *frame) at(x, y float64) draw.Point {
	return draw.Point{
		X: f.left + f.width*(x-f.x.Lo)/(f.x.Hi-f.x.Lo),
		Y: f.top + f.height*(f.y.Hi-y)/(f.y.Hi-f.y.Lo),
	}
}

// inside says whether a value lies within the vertical axis.
func (f *frame) inside(y float64) bool { return y >= f.y.Lo && y <= f.y.Hi }

// ground draws what lies below the data: riding band, grid, tick labels. The
// engine speeds are written only where numbered is true.
func (f *frame) ground(band [2]float64, bandName string, numbered bool) {
	p := f.picture
	lo, hi := math.Max(band[0], f.x.Lo), math.Min(band[1], f.x.Hi)
	if hi > lo {
		a, b := f.at(lo, 0).X, f.at(hi, 0).X
		p.Add(draw.Area{Points: draw.Box(a, f.top, b-a, f.height), Paint: paintBand})
	}
	for _, v := range f.y.Ticks() {
		at := f.at(f.x.Lo, v)
		p.Add(
			draw.Stroke{Points: []draw.Point{at, {X: f.left + f.width, Y: at.Y}}, Width: 0.6, Paint: paintGrid},
			draw.Text{At: draw.Point{X: at.X - 0.55*f.size, Y: at.Y + 0.36*f.size}, Words: f.number(fixed(v, f.y.Places)), Size: f.size, Anchor: draw.End, Paint: paintMuted},
		)
	}
	bottom := f.top + f.height
	for _, v := range f.x.Ticks() {
		at := f.at(v, f.y.Lo)
		p.Add(draw.Stroke{Points: []draw.Point{{X: at.X, Y: bottom}, {X: at.X, Y: bottom + 0.35*f.size}}, Width: 0.8, Paint: paintFrame})
		if numbered {
			p.Add(draw.Text{At: draw.Point{X: at.X, Y: bottom + 1.5*f.size}, Words: f.number(plain(v)), Size: f.size, Anchor: draw.Middle, Paint: paintMuted})
		}
	}
	p.Add(draw.Stroke{Points: []draw.Point{{X: f.left, Y: bottom}, {X: f.left + f.width, Y: bottom}}, Width: 0.8, Paint: paintFrame})
	if numbered {
		p.Add(draw.Text{At: draw.Point{X: f.left + f.width, Y: bottom + 2.75*f.size}, Words: f.axisName(), Size: f.size, Anchor: draw.End, Paint: paintMuted})
	}
	if hi > lo && bandName != "" {
		f.bandName(f.at(lo, 0).X, f.at(hi, 0).X, bandName)
	}
}

// bandName writes the band's name above the panel, with a bracket over its width.
func (f *frame) bandName(a, b float64, name string) {
	y := f.top - 0.35*f.size
	f.picture.Add(
		draw.Stroke{Points: []draw.Point{{X: a, Y: f.top}, {X: a, Y: y}, {X: b, Y: y}, {X: b, Y: f.top}}, Width: 0.8, Paint: paintFrame},
		draw.Text{At: draw.Point{X: (a + b) / 2, Y: y - 0.4*f.size}, Words: draw.Fit(name, f.size, draw.Regular, f.width), Size: f.size, Anchor: draw.Middle, Paint: paintMuted},
	)
}

// line draws values over rpm, interrupted where a value is missing or beyond the
// axis.
func (f *frame) line(rpm, values []float64, width float64, dash []float64, paint draw.Paint) {
	var points []draw.Point
	flush := func() {
		if len(points) > 1 {
			f.picture.Add(draw.Stroke{Points: points, Width: width, Dash: f.dash(dash), Paint: paint})
		}
		points = nil
	}
	for i, v := range values {
		if !f.inside(v) { // NaN too
			flush()
			continue
		}
		points = append(points, f.at(rpm[i], v))
	}
	flush()
}

func (f *frame) dash(pattern []float64) []float64 {
	out := make([]float64, len(pattern))
	for i, d := range pattern {
		out[i] = d * f.size
	}
	return out
}

// ribbon fills between lo and hi wherever both are numbers, cut off at the axis.
func (f *frame) ribbon(rpm, lo, hi []float64, paint draw.Paint) {
	for start := 0; start < len(rpm); start++ {
		if math.IsNaN(lo[start]) || math.IsNaN(hi[start]) {
			continue
		}
		end := start
		for end < len(rpm) && !math.IsNaN(lo[end]) && !math.IsNaN(hi[end]) {
			end++
		}
		var points []draw.Point
		for i := start; i < end; i++ {
			points = append(points, f.at(rpm[i], f.cut(hi[i])))
		}
		for i := end - 1; i >= start; i-- {
			points = append(points, f.at(rpm[i], f.cut(lo[i])))
		}
		if end-start > 1 {
			f.picture.Add(draw.Area{Points: points, Paint: paint})
		}
		start = end
	}
}

func (f *frame) cut(v float64) float64 { return math.Max(f.y.Lo, math.Min(f.y.Hi, v)) }

// disc and square are the markers of candidate and baseline.
func (f *frame) disc(at draw.Point, paint draw.Paint) {
	const corners = 24
	points := make([]draw.Point, corners)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		points[i] = draw.Point{X: at.X + 0.36*f.size*cos, Y: at.Y + 0.36*f.size*sin}
	}
	f.marker(points, paint)
}

func (f *frame) square(at draw.Point, paint draw.Paint) {
	h := 0.32 * f.size
	f.marker(draw.Box(at.X-h, at.Y-h, 2*h, 2*h), paint)
}

func (f *frame) marker(points []draw.Point, paint draw.Paint) {
	f.picture.Add(
		draw.Area{Points: points, Paint: paint},
		draw.Stroke{Points: append(slices.Clip(points), points[0]), Width: 1, Paint: paintPaper},
	)
}

// tag is a label at the right end of a curve.
type tag struct {
	y     float64 // page height wanted
	words string
	paint draw.Paint
	dash  []float64
	width float64
}

// tags writes labels to the right of the panel, moved apart where they would
// touch and kept within the panel's height.
func (f *frame) tags(tags []tag, room float64) {
	slices.SortStableFunc(tags, func(a, b tag) int {
		switch {
		case a.y < b.y:
			return -1
		case a.y > b.y:
			return 1
		}
		return 0
	})
	x, most := f.left+f.width+0.6*f.size, 1
	heights, lines := make([]float64, len(tags)), make([][]string, len(tags))
	for i, t := range tags {
		heights[i] = t.y
		lines[i] = twoLines(t.words, f.size, room-2.6*f.size)
		most = max(most, len(lines[i]))
	}
	spread(heights, (0.2+1.15*float64(most))*f.size, f.top+0.5*f.size, f.top+f.height)
	for i, t := range tags {
		y := heights[i]
		f.picture.Add(draw.Stroke{Points: []draw.Point{{X: x, Y: y}, {X: x + 1.6*f.size, Y: y}}, Width: t.width, Dash: f.dash(t.dash), Paint: t.paint})
		for k, words := range lines[i] {
			shift := 1.15 * (float64(k) - float64(len(lines[i])-1)/2)
			f.picture.Add(draw.Text{At: draw.Point{X: x + 2*f.size, Y: y + (0.36+shift)*f.size}, Words: words, Size: f.size, Paint: paintInk})
		}
	}
}

// twoLines breaks words into at most two lines, the second cut short.
func twoLines(words string, size, width float64) []string {
	lines := draw.Wrap(words, size, draw.Regular, width)
	if len(lines) <= 2 {
		return lines
	}
	return []string{lines[0], draw.Fit(strings.Join(lines[1:], " "), size, draw.Regular, width)}
}

// spread moves sorted heights apart to at least gap, staying within lo to hi
// while there is room.
func spread(heights []float64, gap, lo, hi float64) {
	for i := range heights {
		least := lo
		if i > 0 {
			least = heights[i-1] + gap
		}
		heights[i] = math.Max(heights[i], least)
	}
	for i := len(heights) - 1; i >= 0; i-- {
		most := hi
		if i+1 < len(heights) {
			most = heights[i+1] - gap
		}
		heights[i] = math.Min(heights[i], most)
	}
}
