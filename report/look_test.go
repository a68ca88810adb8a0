package report

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image/png"
	"slices"
	"strings"
	"testing"

	"fairpull/report/draw"
)

// Contrast ratios with white as the Web Content Accessibility Guidelines define them:
// black has 21, white 1 (stated there); #767676 is the lightest grey that passes 4.5
// and #777777 does not, #949494 the lightest that passes 3 and #959595 does not (from
// memory, often quoted).
func TestContrastOnWhite(t *testing.T) {
	at := func(text string) float64 {
		p, err := parseColour(text)
		if err != nil {
			t.Fatal(err)
		}
		return contrastOnWhite(p)
	}
	if c := at("#000000"); !(c > 20.999 && c < 21.001) {
		t.Errorf("black: %g", c)
	}
	if c := at("#ffffff"); c != 1 {
		t.Errorf("white: %g", c)
	}
	if !(at("#767676") >= 4.5) || at("#777777") >= 4.5 || !(at("#949494") >= 3) || at("#959595") >= 3 {
		t.Errorf("greys: %g %g %g %g", at("#767676"), at("#777777"), at("#949494"), at("#959595"))
	}
}

const drawnLogo = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50"><title>mark</title><rect x="0" y="0" width="50" height="50" fill="#ff0000"/><g><path d="M50 0 L100 0 L100 50 Z" fill="#0000ff"/></g></svg>`

// A vector logo is drawn: its shapes are where they should be, on a clear ground; a
// PNG comes out with its pixels and nothing that stood beside them.
func TestLogo(t *testing.T) {
	l, err := NewLook("Maker", "", "", "", []byte(drawnLogo))
	if err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(bytes.NewReader(l.logo))
	if err != nil || l.width != logoPixels || l.height != logoPixels/2 {
		t.Fatalf("%v, %g × %g", err, l.width, l.height)
	}
	for _, c := range []struct {
		x, y       int
		r, b, a, _ uint32
	}{{100, 200, 0xffff, 0, 0xffff, 0}, {800, 100, 0, 0xffff, 0xffff, 0}, {480, 400, 0, 0, 0, 0}} {
		if r, _, b, a := m.At(c.x, c.y).RGBA(); r != c.r || b != c.b || a != c.a {
			t.Errorf("at %d, %d: %x %x %x", c.x, c.y, r, b, a)
		}
	}
	plain := pngOf(t, 40, 30)
	const words = "tEXtComment\x00secret"
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(words)-4))
	chunk = binary.BigEndian.AppendUint32(append(chunk, words...), crc32.ChecksumIEEE([]byte(words)))
	const header = 33 // signature and first chunk
	plain = slices.Concat(plain[:header], chunk, plain[header:])
	if l, err = NewLook("", "", "", "", plain); err != nil || l.width != 40 || l.height != 30 {
		t.Errorf("a PNG: %v, %g × %g", err, l.width, l.height)
	}
	if bytes.Contains(l.logo, []byte("secret")) {
		t.Error("a comment of the file is in the logo")
	}
}

func TestLookRefuses(t *testing.T) {
	svg := func(inner string) []byte { return []byte(`<svg viewBox="0 0 10 10">` + inner + `</svg>`) }
	big := pngOf(t, 4001, 1)
	for _, c := range []struct {
		colour, accent string
		logo           []byte
		says           string
	}{
		{"red", "", nil, "#rrggbb"}, {"#12345", "", nil, "#rrggbb"}, {"", "#ffff00", nil, "darker"}, {"#+12345", "", nil, "#rrggbb"},
		{"", "", []byte("GIF89a"), "neither PNG nor SVG"}, {"", "", []byte{}, "neither"}, {"", "", big, "4001"},
		{"", "", make([]byte, maxLogoBytes+1), "bytes"}, {"", "", pngOf(t, 20, 20)[:60], ""},
		{"", "", svg(`<script>1</script>`), "script"}, {"", "", svg(`<image href="http://example.org/x.png"/>`), "image"},
		{"", "", svg(`<use href="#a"/>`), "use"}, {"", "", svg(`<text>Hi</text>`), "paths"}, {"", "", svg(`<foreignObject/>`), "foreignObject"},
		{"", "", []byte(`<!DOCTYPE svg [<!ENTITY a "aaaa">]><svg viewBox="0 0 1 1"/>`), "document type"},
		{"", "", []byte(`<svg viewBox="0 0 1000 1"><rect width="1" height="1"/></svg>`), "shape"}, {"", "", []byte(`<svg></svg>`), "shape"},
		{"", "", svg(strings.Repeat("<g/>", maxLogoElements)), "elements"}, {"", "", []byte(`<html/>`), "html"}, {"", "", svg(`<path d="M0 0 L`), ""},
		{"", "", svg(`<path d="M nonsense 5 Q"/>`), "PNG"},
	} {
		if _, err := NewLook("", "", c.colour, c.accent, c.logo); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q %q %.60q: the error %v does not say %q", c.colour, c.accent, c.logo, err, c.says)
		}
	}
}

// No text takes the program with it: what is no logo is refused.
func FuzzLogo(f *testing.F) {
	f.Add([]byte(drawnLogo))
	f.Add([]byte(`<svg viewBox="0 0 9 9"><defs><linearGradient id="a"><stop offset="0"/></linearGradient></defs><circle r="4" fill="url(#a)"/></svg>`))
	f.Add([]byte(`<svg viewBox="0 0 9 9"><path d="A 1 1 0 0 1 1e308 1e308z" stroke-width="1e9" stroke="#fff"/></svg>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := NewLook("", "", "", "", data)
		if err == nil && l.logo != nil && !(l.width >= 1 && l.height >= 1) {
			t.Errorf("a logo of %g by %g", l.width, l.height)
		}
	})
}

// The colours of a plain sheet can be told from its white.
func TestLookPaints(t *testing.T) {
	for i, p := range []draw.Paint{plainLook().colour, plainLook().accent} {
		if contrastOnWhite(p) < contrastOfMarks {
			t.Error(fmt.Sprint("plain colour ", i, " is too light"))
		}
	}
}
