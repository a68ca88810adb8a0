package report

import (
	"bytes"
	"flag"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"fairpull/quantity"
)

var update = flag.Bool("update", false, "write the golden files anew")

func text(t testing.TB, g *Gain, o TextOptions) string {
	t.Helper()
	var b bytes.Buffer
	if err := g.Text(&b, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var colourCode = regexp.MustCompile("\x1b\\[[0-9;]*m")

func TestTextKeepsToItsWidth(t *testing.T) {
	for _, odd := range oddities {
		for _, o := range []TextOptions{{Width: 80}, {Width: 80, ASCII: true}, {Width: 120, Color: true}, {Width: 40}} {
			g := sample()
			odd.change(g)
			for _, line := range strings.Split(colourCode.ReplaceAllString(text(t, g, o), ""), "\n") {
				if n := utf8.RuneCountInString(line); n > max(o.Width, 80) {
					t.Errorf("%s, %+v: %d columns: %q", odd.name, o, n, line)
				}
			}
		}
	}
}

func TestTextWithoutColourHasNoEscapes(t *testing.T) {
	for _, odd := range oddities {
		g := sample()
		odd.change(g)
		for _, r := range text(t, g, TextOptions{}) {
			if r < ' ' && r != '\n' || r == 0x7f {
				t.Fatalf("%s: the control character %q came through", odd.name, r)
			}
		}
		for _, r := range text(t, g, TextOptions{ASCII: true}) {
			if r > '~' || r < ' ' && r != '\n' {
				t.Fatalf("%s: %q is not printable ASCII", odd.name, r)
			}
		}
	}
}

// Colour adds codes and changes no character.
func TestColourChangesNothingElse(t *testing.T) {
	plainly, coloured := text(t, sample(), TextOptions{}), text(t, sample(), TextOptions{Color: true})
	if !strings.Contains(coloured, "\x1b[") {
		t.Fatal("there is no colour")
	}
	trim := regexp.MustCompile(` +\n`)
	if got := trim.ReplaceAllString(colourCode.ReplaceAllString(coloured, ""), "\n"); got != plainly {
		t.Errorf("without its codes the coloured text differs:\n%s", got)
	}
}

// The plot puts a straight line where geometry has it: value v at height
// (hi − v)/(hi − lo), speed at (x − lo)/(hi − lo).
func TestTextPlotGeometry(t *testing.T) {
	for _, ascii := range []bool{false, true} {
		term := &terminal{o: TextOptions{ASCII: ascii}, width: 64}
		p := newTextPlot(term, newScale(1000, 6000, 5), newScale(0, 10, 5), 10)
		rpm, v := []float64{1000, 6000}, []float64{0, 10}
		p.curve(rpm, v, false, '*', styleNone)
		for row := range p.rows {
			for column := range p.columns {
				cell := p.cells[row*p.columns+column]
				marked := cell.dots != 0 || cell.mark != 0
				// The diagonal passes the cell where its value range and that of
				// the column overlap.
				left, right := 10*float64(column)/float64(p.columns), 10*float64(column+1)/float64(p.columns)
				high, low := 10-float64(row), 10-float64(row+1)
				passes := right > low && left < high
				if marked && !passes && math.Min(math.Abs(right-low), math.Abs(left-high)) > 0.25 {
					t.Errorf("ascii %v: ink in row %d, column %d, where the line is not", ascii, row, column)
				}
				if !marked && left >= low && right <= high {
					t.Errorf("ascii %v: no ink in row %d, column %d, where the line runs", ascii, row, column)
				}
			}
		}
	}
}

// The golden files guard wording and layout; look at the difference before
// writing them anew with -update.
func TestTextGolden(t *testing.T) {
	for file, o := range map[string]TextOptions{"testdata/gain.txt": {}, "testdata/gain_us_ascii.txt": {ASCII: true, Units: quantity.USCustomary}} {
		got := text(t, sample(), o)
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs:\n%s", file, got)
		}
	}
}

func BenchmarkText(b *testing.B) {
	g := sample()
	for b.Loop() {
		text(b, g, TextOptions{})
	}
}
