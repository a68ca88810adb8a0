package draw

import (
	"strings"
	"sync"
	"unicode/utf8"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// stranger stands for a character that the fonts do not have.
const stranger = '\uFFFD'

// typeface is one font, read when it is first asked for.
type typeface struct {
	data []byte

	once sync.Once
	font *sfnt.Font

	mu       sync.Mutex
	buffer   sfnt.Buffer
	advances map[rune]float64 // per em
}

var faces = [...]*typeface{
	Regular: {data: dejavusans.TTF},
	Bold:    {data: dejavusansbold.TTF},
}

// perEm is the size at which outlines and advances are read: one font unit of
// the two faces, which have 2048 to the em.
const perEm = 2048

func (f *typeface) read() *sfnt.Font {
	f.once.Do(func() {
		parsed, err := sfnt.Parse(f.data)
		if err != nil {
			panic("draw: the font within the program does not parse: " + err.Error())
		}
		f.font = parsed
		f.advances = map[rune]float64{}
	})
	return f.font
}

// advance returns the width of r per em, and false where the font lacks r.
func (f *typeface) advance(r rune) (float64, bool) {
	parsed := f.read()
	f.mu.Lock()
	defer f.mu.Unlock()
	if a, ok := f.advances[r]; ok {
		return a, a >= 0
	}
	a := -1.0
	if glyph, err := parsed.GlyphIndex(&f.buffer, r); err == nil && glyph != 0 {
		if w, err := parsed.GlyphAdvance(&f.buffer, glyph, fixed.I(perEm), font.HintingNone); err == nil {
			a = float64(w) / 64 / perEm
		}
	}
	f.advances[r] = a
	return a, a >= 0
}

// Drawable returns s with every character that face lacks, and every control
// character, replaced by U+FFFD, so that nothing vanishes unseen.
func Drawable(s string, face Face) string {
	for i := 0; i < len(s); i++ {
		if s[i] < ' ' || s[i] >= utf8.RuneSelf || s[i] == 0x7f {
			return strings.Map(func(r rune) rune {
				if r < ' ' || (r >= 0x7f && r < 0xa0) {
					return stranger
				}
				if _, ok := faces[face].advance(r); !ok {
					return stranger
				}
				return r
			}, s)
		}
	}
	return s
}

// Width returns the width of s in points at size points. Kerning is not used,
// by any of the writers.
func Width(s string, size float64, face Face) float64 {
	width := 0.0
	for _, r := range s {
		a, ok := faces[face].advance(r)
		if !ok {
			a, _ = faces[face].advance(stranger)
		}
		width += a
	}
	return width * size
}

// Wrap breaks s into lines no wider than width points: at spaces where it can,
// within a word where a word alone is wider. A no-break space does not break.
// The result has at least one line.
func Wrap(s string, size float64, face Face, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }) {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if Width(longer, size, face) <= width {
			line = longer
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line = word
		for Width(line, size, face) > width {
			head := prefix(line, size, face, width)
			if head == line {
				break
			}
			lines = append(lines, head)
			line = line[len(head):]
		}
	}
	return append(lines, line)
}

// prefix returns the longest start of s that fits into width, and never less
// than one character.
func prefix(s string, size float64, face Face, width float64) string {
	used := 0.0
	for i, r := range s {
		used += Width(string(r), size, face)
		if used > width && i > 0 {
			return s[:i]
		}
	}
	return s
}

// Fit returns s, cut short with an ellipsis where it is wider than width.
func Fit(s string, size float64, face Face, width float64) string {
	if Width(s, size, face) <= width {
		return s
	}
	return prefix(s, size, face, width-Width("…", size, face)) + "…"
}
