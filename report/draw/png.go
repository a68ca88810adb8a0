package draw

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	scaling "golang.org/x/image/draw"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// maxPixels bounds a picture: 64 million, a quarter of a gigabyte.
const maxPixels = 64 << 20

// PNG writes p on white at scale pixels to the point. A picture of more than
// 64 million pixels, or of no size, is refused.
func PNG(w io.Writer, p Picture, scale float64) error {
	width, height := math.Ceil(p.Width*scale), math.Ceil(p.Height*scale)
	if !(width >= 1 && height >= 1 && width*height <= maxPixels) {
		return fmt.Errorf("a picture of %g by %g pixels cannot be drawn: at most %d pixels, at least one", width, height, maxPixels)
	}
	r := raster{canvas: image.NewRGBA(image.Rect(0, 0, int(width), int(height))), scale: scale}
	for i := range r.canvas.Pix {
		r.canvas.Pix[i] = 0xff
	}
	for _, mark := range p.Marks {
		switch m := mark.(type) {
		case Stroke:
			r.stroke(m)
		case Area:
			r.area(m)
		case Text:
			r.text(m)
		case Image:
			if err := r.image(m); err != nil {
				return err
			}
		}
	}
	return png.Encode(w, r.canvas)
}

// raster fills shapes into a canvas, one at a time.
type raster struct {
	canvas *image.RGBA
	scale  float64
	filler vector.Rasterizer
	mask   image.Alpha
	shapes [][]curveTo // of the mark at hand, in pixels
	buffer sfnt.Buffer
}

// curveTo is one step of an outline: to the last point, by way of the others.
type curveTo struct {
	n int // 1 line, 2 quadratic, 3 cubic
	p [3]Point
}

func line(x, y float64) curveTo { return curveTo{n: 1, p: [3]Point{{x, y}}} }

// fill paints the shapes gathered so far and forgets them. Overlapping shapes
// of one orientation count once, so a stroke may be gathered piece by piece.
func (r *raster) fill(paint Paint) {
	defer func() { r.shapes = r.shapes[:0] }()
	box, any := r.bounds()
	if !any {
		return
	}
	r.filler.Reset(box.Dx(), box.Dy())
	dx, dy := float64(box.Min.X), float64(box.Min.Y)
	at := func(p Point) (float32, float32) { return float32(p.X - dx), float32(p.Y - dy) }
	for _, shape := range r.shapes {
		for i, step := range shape {
			x, y := at(step.p[0])
			if i == 0 {
				r.filler.MoveTo(x, y)
				continue
			}
			x2, y2 := at(step.p[1])
			x3, y3 := at(step.p[2])
			switch step.n {
			case 1:
				r.filler.LineTo(x, y)
			case 2:
				r.filler.QuadTo(x, y, x2, y2)
			case 3:
				r.filler.CubeTo(x, y, x2, y2, x3, y3)
			}
		}
		r.filler.ClosePath()
	}
	// By way of a mask: the rasterizer itself does not stop at the canvas's edge.
	size := image.Rect(0, 0, box.Dx(), box.Dy())
	if n := size.Dx() * size.Dy(); cap(r.mask.Pix) < n {
		r.mask.Pix = make([]uint8, n)
	} else {
		r.mask.Pix = r.mask.Pix[:n]
	}
	r.mask.Stride, r.mask.Rect = size.Dx(), size
	r.filler.DrawOp = draw.Src
	r.filler.Draw(&r.mask, size, image.Opaque, image.Point{})
	source := image.NewUniform(color.NRGBA{paint.R, paint.G, paint.B, uint8(math.Round(255 * paint.Alpha))})
	draw.DrawMask(r.canvas, box, source, image.Point{}, &r.mask, image.Point{}, draw.Over)
}

// bounds returns the pixels that the gathered shapes touch; false where that
// is none of the canvas.
func (r *raster) bounds() (image.Rectangle, bool) {
	lo, hi := Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, shape := range r.shapes {
		for _, step := range shape {
			for _, p := range step.p[:step.n] {
				lo = Point{math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)}
				hi = Point{math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)}
			}
		}
	}
	full := r.canvas.Bounds()
	margin := 2.0
	if !(lo.X < float64(full.Max.X) && lo.Y < float64(full.Max.Y) && hi.X > 0 && hi.Y > 0) {
		return image.Rectangle{}, false
	}
	box := image.Rect(
		int(math.Max(lo.X-margin, -margin)), int(math.Max(lo.Y-margin, -margin)),
		int(math.Min(hi.X+margin, float64(full.Max.X)))+1, int(math.Min(hi.Y+margin, float64(full.Max.Y)))+1)
	return box, true
}

func (r *raster) area(m Area) {
	if len(m.Points) < 3 || m.Paint.Alpha == 0 {
		return
	}
	r.polygon(m.Points)
	r.fill(m.Paint)
}

// image scales a picture into its rectangle.
func (r *raster) image(m Image) error {
	from, err := png.Decode(bytes.NewReader(m.PNG))
	if err != nil {
		return fmt.Errorf("a picture within the picture: %w", err)
	}
	at := func(v float64) int { return int(math.Round(v * r.scale)) }
	to := image.Rect(at(m.At.X), at(m.At.Y), at(m.At.X+m.Width), at(m.At.Y+m.Height))
	scaling.CatmullRom.Scale(r.canvas, to, from, from.Bounds(), draw.Over, nil)
	return nil
}

// polygon gathers a shape given in points.
func (r *raster) polygon(points []Point) {
	shape := make([]curveTo, len(points))
	for i, p := range points {
		shape[i] = line(p.X*r.scale, p.Y*r.scale)
	}
	r.shapes = append(r.shapes, shape)
}

func (r *raster) stroke(m Stroke) {
	if len(m.Points) < 2 || m.Paint.Alpha == 0 || !(m.Width > 0) {
		return
	}
	half := m.Width / 2
	for _, piece := range dashes(m.Points, m.Dash) {
		for i := 1; i < len(piece); i++ {
			r.segment(piece[i-1], piece[i], half)
			if i+1 < len(piece) {
				r.disc(piece[i], half)
			}
		}
	}
	r.fill(m.Paint)
}

// segment gathers the rectangle about the line from a to b, always in the same
// sense of rotation.
func (r *raster) segment(a, b Point, half float64) {
	dx, dy := b.X-a.X, b.Y-a.Y
	length := math.Hypot(dx, dy)
	if length == 0 {
		return
	}
	nx, ny := -dy/length*half, dx/length*half
	r.polygon([]Point{{a.X + nx, a.Y + ny}, {a.X - nx, a.Y - ny}, {b.X - nx, b.Y - ny}, {b.X + nx, b.Y + ny}})
}

// disc gathers a round join, turning as segment does.
func (r *raster) disc(centre Point, radius float64) {
	const corners = 16
	points := make([]Point, corners)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		points[i] = Point{centre.X + radius*cos, centre.Y + radius*sin}
	}
	r.polygon(points)
}

// dashes cuts a line into its strokes.
func dashes(points []Point, pattern []float64) [][]Point {
	total := 0.0
	for _, d := range pattern {
		total += d
	}
	if !(total > 0) {
		return [][]Point{points}
	}
	var pieces [][]Point
	piece := []Point{points[0]}
	index, left := 0, pattern[0]
	for i := 1; i < len(points); i++ {
		from, to := points[i-1], points[i]
		for {
			length := math.Hypot(to.X-from.X, to.Y-from.Y)
			if length <= left {
				left -= length
				piece = append(piece, to)
				break
			}
			share := left / length
			from = Point{from.X + share*(to.X-from.X), from.Y + share*(to.Y-from.Y)}
			if index%2 == 0 {
				pieces = append(pieces, append(piece, from))
			}
			piece = []Point{from}
			index++
			left = pattern[index%len(pattern)]
		}
	}
	if index%2 == 0 && len(piece) > 1 {
		pieces = append(pieces, piece)
	}
	return pieces
}

func (r *raster) text(m Text) {
	words := Drawable(m.Words, m.Face)
	shift := 0.0
	switch m.Anchor {
	case Middle:
		shift = -Width(words, m.Size, m.Face) / 2
	case End:
		shift = -Width(words, m.Size, m.Face)
	}
	parsed := faces[m.Face].read()
	for _, letter := range words {
		r.glyph(parsed, letter, m, shift)
		advance, _ := faces[m.Face].advance(letter)
		shift += advance * m.Size
	}
	r.fill(m.Paint)
}

// glyph gathers the outlines of one letter that begins shift points after the
// place of the text.
func (r *raster) glyph(parsed *sfnt.Font, letter rune, m Text, shift float64) {
	index, err := parsed.GlyphIndex(&r.buffer, letter)
	if err != nil {
		return
	}
	segments, err := parsed.LoadGlyph(&r.buffer, index, fixed.I(perEm), nil)
	if err != nil {
		return
	}
	place := func(p fixed.Point26_6) Point {
		x := shift + float64(p.X)/64/perEm*m.Size
		y := float64(p.Y) / 64 / perEm * m.Size
		if m.Upwards {
			x, y = y, -x
		}
		return Point{(m.At.X + x) * r.scale, (m.At.Y + y) * r.scale}
	}
	for _, s := range segments {
		if s.Op == sfnt.SegmentOpMoveTo {
			start := place(s.Args[0])
			r.shapes = append(r.shapes, []curveTo{line(start.X, start.Y)})
			continue
		}
		step := curveTo{n: int(s.Op)}
		for i := range step.n {
			step.p[i] = place(s.Args[i])
		}
		last := len(r.shapes) - 1
		r.shapes[last] = append(r.shapes[last], step)
	}
}
