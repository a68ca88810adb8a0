package draw

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"time"
)

var red = Paint{Name: "red", R: 0xff, Alpha: 1}

// hostile is what a file could bring: markup, control characters, a change of
// writing direction, a character beyond the basic plane and an invalid byte.
const hostile = "<script>alert(1)</script> & \"q\" \x1b[31m\x00 \u202e \U0001F3CD \xff"

func everything() Picture {
	p := Picture{Width: 200, Height: 100, ID: "x", Title: hostile, Description: hostile}
	p.Add(
		Heading{Y: 5, Words: hostile},
		Area{Points: Box(10, 10, 40, 40), Paint: red.Faded(0.5)},
		Stroke{Points: []Point{{0, 0}, {100, 50}, {200, 0}}, Width: 2, Dash: []float64{4, 2}, Paint: red},
		Text{At: Point{100, 60}, Words: hostile, Size: 9, Face: Bold, Anchor: Middle, Paint: red},
		Text{At: Point{20, 90}, Words: "Größe −1.5 N·m ±", Size: 9, Anchor: End, Upwards: true, Paint: red},
		Stroke{Points: []Point{{1, 1}}, Width: 1, Paint: red},
		Area{Points: []Point{{1, 1}, {2, 2}}, Paint: red},
		Image{At: Point{150, 60}, Width: 40, Height: 20, PNG: blueDot(), Words: hostile},
	)
	return p
}

// blueDot is a picture of one blue pixel.
func blueDot() []byte {
	m := image.NewNRGBA(image.Rect(0, 0, 1, 1))
	m.Set(0, 0, color.NRGBA{B: 255, A: 255})
	var out bytes.Buffer
	if err := png.Encode(&out, m); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// An image is where it was put, in pixels and in the two vector forms; what is no
// picture is refused.
func TestImage(t *testing.T) {
	var pixels, page, paper bytes.Buffer
	if err := errors.Join(PNG(&pixels, everything(), 2), SVG(&page, everything(), false), PDF(&paper, Document{Pages: []Picture{everything(), everything()}})); err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(&pixels)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		x, y int
		blue bool
	}{{302, 122, true}, {377, 158, true}, {296, 122, false}, {384, 158, false}, {340, 164, false}} {
		if r, _, b, _ := m.At(c.x, c.y).RGBA(); (r == 0 && b == 0xffff) != c.blue {
			t.Errorf("at %d, %d the picture is blue: %v", c.x, c.y, !c.blue)
		}
	}
	if n := strings.Count(page.String(), `<image x="150" y="60" width="40" height="20"`); n != 1 {
		t.Errorf("%d images in the SVG", n)
	}
	if n := strings.Count(paper.String(), "/Subtype /Image"); n != 1 {
		t.Errorf("a picture used twice is in the PDF %d times", n)
	}
	bad := everything()
	bad.Add(Image{Width: 1, Height: 1, PNG: []byte("no")})
	if PNG(io.Discard, bad, 1) == nil || PDF(io.Discard, Document{Pages: []Picture{bad}}) == nil {
		t.Error("what is no picture was drawn")
	}
}

func TestSVGIsWellFormedAndEscaped(t *testing.T) {
	for _, inline := range []bool{false, true} {
		var b bytes.Buffer
		if err := SVG(&b, everything(), inline); err != nil {
			t.Fatal(err)
		}
		elements := map[string]int{}
		decoder := xml.NewDecoder(bytes.NewReader(b.Bytes()))
		for {
			token, err := decoder.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("inline %v: %v in %s", inline, err, b.String())
			}
			if start, ok := token.(xml.StartElement); ok {
				elements[start.Name.Local]++
			}
		}
		if elements["script"] != 0 || elements["path"] != 2 || elements["text"] != 2 || elements["title"] != 1 || elements["desc"] != 1 {
			t.Errorf("inline %v: elements %v; want 2 paths, 2 texts, a title, a description and no script", inline, elements)
		}
	}
}

func decode(t *testing.T, p Picture, scale float64) interface {
	At(x, y int) color.Color
} {
	t.Helper()
	var b bytes.Buffer
	if err := PNG(&b, p, scale); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if w, h := img.Bounds().Dx(), img.Bounds().Dy(); w != int(math.Ceil(p.Width*scale)) || h != int(math.Ceil(p.Height*scale)) {
		t.Errorf("%d by %d pixels for %g by %g points at %g", w, h, p.Width, p.Height, scale)
	}
	return img
}

// ink is how dark a picture is: the sum over its pixels of the share of red
// paint, in square points.
func ink(t *testing.T, p Picture, scale float64) float64 {
	t.Helper()
	img, sum := decode(t, p, scale), 0.0
	for x := range int(p.Width * scale) {
		for y := range int(p.Height * scale) {
			_, green, _, _ := img.At(x, y).RGBA()
			sum += 1 - float64(green)/0xffff
		}
	}
	return sum / scale / scale
}

// Areas are known from geometry: of a rectangle, of a half-transparent one, of a
// triangle, of straight lines, of a dashed line.
func TestPNGCoversTheAreaOfGeometry(t *testing.T) {
	for _, row := range []struct {
		name string
		mark Mark
		want float64 // square points
	}{
		{"rectangle", Area{Points: Box(10.3, 10.6, 20, 30), Paint: red}, 600},
		{"half transparent", Area{Points: Box(10, 10, 20, 30), Paint: red.Faded(0.5)}, 300},
		{"triangle", Area{Points: []Point{{10, 10}, {50, 10}, {10, 40}}, Paint: red}, 600},
		{"level line", Stroke{Points: []Point{{10, 20.5}, {60, 20.5}}, Width: 3, Paint: red}, 150},
		{"slanting line", Stroke{Points: []Point{{10, 10}, {40, 50}}, Width: 2, Paint: red}, 100},
		{"dashes of 4 and gaps of 2", Stroke{Points: []Point{{10, 20}, {70, 20}}, Width: 3, Dash: []float64{4, 2}, Paint: red}, 120},
		{"dashes round a corner", Stroke{Points: []Point{{10, 20}, {40, 20}, {40, 50}}, Width: 2, Dash: []float64{5, 5}, Paint: red}, 60},
	} {
		p := Picture{Width: 80, Height: 60}
		p.Add(row.mark)
		// 0.6 %: eight bits of coverage along the edges.
		if got := ink(t, p, 4); !(math.Abs(got/row.want-1) <= 0.006) {
			t.Errorf("%s: covers %.2f square points; geometry gives %g", row.name, got, row.want)
		}
	}
}

func TestPNGColours(t *testing.T) {
	p := Picture{Width: 30, Height: 30}
	p.Add(Area{Points: Box(5, 5, 10, 10), Paint: Paint{R: 0x00, G: 0x72, B: 0xb2, Alpha: 1}})
	img := decode(t, p, 1)
	if got := color.NRGBAModel.Convert(img.At(10, 10)); got != (color.NRGBA{0x00, 0x72, 0xb2, 0xff}) {
		t.Errorf("inside: %v; want the paint", got)
	}
	if got := color.NRGBAModel.Convert(img.At(20, 20)); got != (color.NRGBA{0xff, 0xff, 0xff, 0xff}) {
		t.Errorf("outside: %v; want white", got)
	}
}

// A text's ink lies where its anchor says, and turns with it.
func TestPNGTextAnchors(t *testing.T) {
	for _, row := range []struct {
		anchor       Anchor
		upwards      bool
		left, top    float64 // of the box that holds all ink
		right, below float64
	}{
		{Start, false, 50, 38, 50 + Width("HHH", 10, Regular), 51},
		{End, false, 50 - Width("HHH", 10, Regular), 38, 50, 51},
		{Middle, false, 50 - Width("HHH", 10, Regular)/2, 38, 50 + Width("HHH", 10, Regular)/2, 51},
		{Start, true, 38, 50 - Width("HHH", 10, Regular), 51, 50},
	} {
		p := Picture{Width: 100, Height: 100}
		p.Add(Text{At: Point{50, 50}, Words: "HHH", Size: 10, Anchor: row.anchor, Upwards: row.upwards, Paint: red})
		img := decode(t, p, 1)
		seen := 0
		for x := range 100 {
			for y := range 100 {
				if _, green, _, _ := img.At(x, y).RGBA(); green == 0xffff {
					continue
				}
				seen++
				if fx, fy := float64(x), float64(y); fx+1 < row.left || fx > row.right || fy+1 < row.top || fy > row.below {
					t.Fatalf("anchor %v, upwards %v: ink at %d, %d outside %g–%g, %g–%g", row.anchor, row.upwards, x, y, row.left, row.right, row.top, row.below)
				}
			}
		}
		if seen < 50 {
			t.Errorf("anchor %v, upwards %v: only %d pixels of ink for three letters", row.anchor, row.upwards, seen)
		}
	}
}

func TestPNGRefusesSizes(t *testing.T) {
	for _, p := range []Picture{{}, {Width: 1e6, Height: 1e6}, {Width: math.NaN(), Height: 10}, {Width: -5, Height: 10}} {
		if err := PNG(io.Discard, p, 1); err == nil {
			t.Errorf("%g by %g points was drawn; want an error", p.Width, p.Height)
		}
	}
}

func TestMarksOffThePageDoNoHarm(t *testing.T) {
	p := Picture{Width: 50, Height: 50}
	p.Add(
		Stroke{Points: []Point{{-1e5, 10}, {1e5, 10}}, Width: 1, Paint: red},
		Area{Points: Box(200, 200, 10, 10), Paint: red},
		Text{At: Point{-500, -500}, Words: "away", Size: 10, Paint: red},
	)
	if got := ink(t, p, 2); math.Abs(got-50) > 0.5 {
		t.Errorf("%.2f square points of ink; the line across has 50 on the page", got)
	}
}

func document() Document {
	return Document{Title: hostile, Subject: "s", Creator: "c", Language: "en", Created: time.Unix(1e9, 0).UTC(), Pages: []Picture{everything(), everything(), everything()}}
}

func TestPDFIsDeterministic(t *testing.T) {
	var a, b bytes.Buffer
	if err := PDF(&a, document()); err != nil {
		t.Fatal(err)
	}
	if err := PDF(&b, document()); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings of one document differ")
	}
	for _, want := range []string{"%PDF-1.", "/Lang (en)", "/FontFile2", "/ToUnicode", "/Outlines", "/Count 3", "(D:20010909014640"} {
		if !bytes.Contains(a.Bytes(), []byte(want)) {
			t.Errorf("the file lacks %q", want)
		}
	}
}

func TestDrawable(t *testing.T) {
	got := Drawable(hostile, Regular)
	if want := "<script>alert(1)</script> & \"q\" \uFFFD[31m\uFFFD "; !strings.HasPrefix(got, want) {
		t.Errorf("%q; want it to begin with %q", got, want)
	}
	if strings.ContainsRune(got, '\U0001F3CD') || strings.ContainsRune(got, 0x1b) {
		t.Errorf("%q keeps a character that cannot be drawn", got)
	}
	if s := "Ω −1.5 ± „Größe“ Ж λ"; Drawable(s, Bold) != s {
		t.Errorf("%q became %q; the font has all of it", s, Drawable(s, Bold))
	}
}

// The digits of the face are as wide as each other: 1303 of 2048 units (from
// memory, of the font's published metrics), so columns of figures line up.
func TestWidthOfDigits(t *testing.T) {
	for d := '0'; d <= '9'; d++ {
		if got := Width(string(d), 2048, Regular); math.Abs(got-1303) > 0.5 {
			t.Errorf("%c is %g units wide; want 1303", d, got)
		}
	}
	if whole, parts := Width("12 kW", 9, Bold), Width("12", 9, Bold)+Width(" kW", 9, Bold); math.Abs(whole-parts) > 1e-9 {
		t.Errorf("widths do not add up: %g and %g", whole, parts)
	}
}

func TestWrap(t *testing.T) {
	const s = "a gain of at least 5.6\u00a0% is shown, and a verylongwordwithoutanyspacewhatsoever stands here"
	for _, width := range []float64{1, 30, 60, 90, 1e4} {
		lines := Wrap(s, 9, Regular, width)
		for _, line := range lines {
			if strings.Contains(line, "5.6") && !strings.Contains(line, "5.6\u00a0%") && width >= 60 {
				t.Errorf("width %g: %q parts a number from its unit", width, line)
			}
			if Width(line, 9, Regular) > width && len([]rune(line)) > 1 {
				t.Errorf("width %g: %q is wider", width, line)
			}
		}
		if got := strings.Join(strings.Fields(strings.Join(lines, "")), ""); got != strings.Join(strings.Fields(s), "") && got != strings.ReplaceAll(s, " ", "") {
			t.Errorf("width %g: letters were lost or added: %q", width, got)
		}
	}
	if got := Wrap("", 9, Regular, 10); len(got) != 1 || got[0] != "" {
		t.Errorf("no words gave %q; want one empty line", got)
	}
}

func TestFit(t *testing.T) {
	if got := Fit("short", 9, Regular, 100); got != "short" {
		t.Errorf("%q; want it whole", got)
	}
	got := Fit("a rather long name of a configuration", 9, Regular, 60)
	if !strings.HasSuffix(got, "…") || Width(got, 9, Regular) > 60 {
		t.Errorf("%q is %.1f points wide; want an ellipsis within 60", got, Width(got, 9, Regular))
	}
}

func BenchmarkPNG(b *testing.B) {
	p := everything()
	for b.Loop() {
		if err := PNG(io.Discard, p, 2); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPDF(b *testing.B) {
	d := document()
	for b.Loop() {
		if err := PDF(io.Discard, d); err != nil {
			b.Fatal(err)
		}
	}
}
