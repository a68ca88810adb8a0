package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// inkBox is the rectangle that a mark covers.
type inkBox struct {
	left, right, top, bottom float64
	words                    string
}

func inkBoxes(p draw.Picture) []inkBox {
	var out []inkBox
	around := func(points []draw.Point, what string) {
		b := inkBox{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1), what}
		for _, q := range points {
			b.left, b.right = math.Min(b.left, q.X), math.Max(b.right, q.X)
			b.top, b.bottom = math.Min(b.top, q.Y), math.Max(b.bottom, q.Y)
		}
		out = append(out, b)
	}
	for _, mark := range p.Marks {
		switch m := mark.(type) {
		case draw.Stroke:
			around(m.Points, "a line")
		case draw.Area:
			around(m.Points, "an area")
		case draw.Text:
			width := draw.Width(m.Words, m.Size, m.Face)
			left := m.At.X - map[draw.Anchor]float64{draw.Start: 0, draw.Middle: width / 2, draw.End: width}[m.Anchor]
			out = append(out, inkBox{left, left + width, m.At.Y - 0.75*m.Size, m.At.Y + 0.2*m.Size, m.Words})
		}
	}
	return out
}

// Charts keep their words within the picture and off each other.
func TestChartWordsDoNotCollide(t *testing.T) {
	for _, odd := range oddities {
		g := sample()
		odd.change(g)
		for i := range g.Comparisons {
			for _, l := range []look{onScreen, onPaper} {
				for _, p := range []draw.Picture{g.gainChart(i, l), g.levelsChart(i, l, quantity.SI)} {
					checkWords(t, odd.name+", "+p.ID, p)
				}
			}
		}
	}
}

func checkWords(t *testing.T, name string, p draw.Picture) {
	t.Helper()
	var texts []inkBox
	for _, b := range inkBoxes(p) {
		if b.left < -0.5 || b.right > p.Width+0.5 || b.top < -0.5 || b.bottom > p.Height+0.5 {
			t.Errorf("%s: %q leaves the picture: %.0f–%.0f, %.0f–%.0f of %.0f by %.0f", name, b.words, b.left, b.right, b.top, b.bottom, p.Width, p.Height)
		}
		if b.words != "a line" && b.words != "an area" {
			texts = append(texts, b)
		}
	}
	for i, a := range texts {
		for _, b := range texts[:i] {
			if math.Min(a.right, b.right)-math.Max(a.left, b.left) > 0.5 && math.Min(a.bottom, b.bottom)-math.Max(a.top, b.top) > 0.5 {
				t.Errorf("%s: %q and %q overlap", name, a.words, b.words)
			}
		}
	}
}

func html(t *testing.T, g *Gain) string {
	t.Helper()
	var b bytes.Buffer
	if err := g.HTML(&b, quantity.SI); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What a page needs to be read without eyes and without a network (WCAG 2.2:
// 1.1.1, 1.3.1, 2.4.1, 2.4.2, 3.1.1).
func TestPageIsAccessible(t *testing.T) {
	page := html(t, sample())
	for _, want := range []string{`<html lang="en">`, "<title>Fairpull report: Intake and cam kit", `<main id="start">`, `href="#start"`, `name="viewport"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if n := strings.Count(page, "<h1"); n != 1 {
		t.Errorf("%d headings of the first level; want one", n)
	}
	ids := map[string]int{}
	for _, m := range regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		ids[m[1]]++
	}
	for id, n := range ids {
		if n != 1 {
			t.Errorf("the id %q stands %d times", id, n)
		}
	}
	links := regexp.MustCompile(`(?:href="#|labelledby=")([^"]+)"`).FindAllStringSubmatch(page, -1)
	if len(links) < 8 {
		t.Errorf("only %d links and labels were seen", len(links))
	}
	for _, m := range links {
		for _, id := range strings.Fields(m[1]) {
			if ids[id] != 1 {
				t.Errorf("%q is pointed at and does not exist", id)
			}
		}
	}
	if n, tables := strings.Count(page, "<caption>"), strings.Count(page, "<table"); n != tables || tables < 6 {
		t.Errorf("%d captions for %d tables; want at least six, one each", n, tables)
	}
	if n, charts := strings.Count(page, `<svg`), strings.Count(page, `role="img"`); n != charts || n != 3 {
		t.Errorf("%d charts, %d of them with a role; want three of three", n, charts)
	}
	for _, outside := range []string{"http://", "https://", "src=", "<script", "@import", "url(", "<link"} {
		if strings.Contains(strings.ReplaceAll(page, `xmlns="http://www.w3.org/2000/svg"`, ""), outside) {
			t.Errorf("the page reaches outside itself: %s", outside)
		}
	}
}

// Contrast of WCAG 2.2: words 4.5 (1.4.3), curves 3 (1.4.11), light and dark.
// Relative luminance as its glossary defines it.
func TestPageContrast(t *testing.T) {
	parts := strings.Split(pageStyle, "@media (prefers-color-scheme: dark)")
	variable := regexp.MustCompile(`--([a-z]+): (#[0-9a-f]{6})`)
	for scheme, source := range map[string]string{"light": parts[0], "dark": parts[1][:strings.Index(parts[1], "* {")]} {
		colours := map[string]string{}
		for _, m := range variable.FindAllStringSubmatch(source, -1) {
			colours[m[1]] = m[2]
		}
		for name, least := range map[string]float64{"ink": 7, "muted": 4.5, "link": 4.5, "fail": 4.5, "warn": 4.5, "pass": 4.5, "baseline": 3, "candidate": 3, "gain": 3, "frame": 3} {
			for _, ground := range []string{"paper", "raised", "band"} {
				if ground == "band" && least > 4 || ground == "raised" && least == 3 {
					continue
				}
				if got := contrast(t, colours[name], colours[ground]); !(got >= least) {
					t.Errorf("%s: %s %s on %s %s has contrast %.2f; want %g", scheme, name, colours[name], ground, colours[ground], got, least)
				}
			}
		}
	}
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	luminance := func(colour string) float64 {
		if len(colour) != 7 {
			t.Fatalf("%q is no colour", colour)
		}
		sum := 0.0
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			n, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			v := float64(n) / 255
			if v <= 0.04045 {
				v /= 12.92
			} else {
				v = math.Pow((v+0.055)/1.055, 2.4)
			}
			sum += weight * v
		}
		return sum
	}
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// The palette as Okabe and Ito print it (Color Universal Design, 2008), in
// red, green and blue of 0 to 255.
func TestPaletteOfOkabeAndIto(t *testing.T) {
	for _, row := range []struct {
		name    string
		paint   draw.Paint
		r, g, b uint8
	}{{"blue", paintBaseline, 0, 114, 178}, {"vermilion", paintCandidate, 213, 94, 0}, {"bluish green", paintGain, 0, 158, 115}} {
		if row.paint.R != row.r || row.paint.G != row.g || row.paint.B != row.b {
			t.Errorf("%s is %d, %d, %d; the palette has %d, %d, %d", row.name, row.paint.R, row.paint.G, row.paint.B, row.r, row.g, row.b)
		}
		if css := fmt.Sprintf("--%s: #%02x%02x%02x", row.paint.Name, row.r, row.g, row.b); strings.Count(pageStyle, css) != 2 {
			t.Errorf("the style sheet has %q %d times; want it for light pages and for print", css, strings.Count(pageStyle, css))
		}
	}
}

// Without colour the two sides still differ: by dash and by marker.
func TestSidesDifferWithoutColour(t *testing.T) {
	g := sample()
	dashes := map[string]bool{}
	for _, mark := range g.levelsChart(0, onScreen, quantity.SI).Marks {
		if s, ok := mark.(draw.Stroke); ok && len(s.Points) > 20 && (s.Paint.Name == "baseline" || s.Paint.Name == "candidate") {
			dashes[s.Paint.Name] = len(s.Dash) > 0
		}
	}
	if len(dashes) != 2 || !dashes["baseline"] || dashes["candidate"] {
		t.Errorf("dashed: %v; want the baseline alone", dashes)
	}
}

// figuresOf rounds what the JSON says as docs/architecture.md has it: two
// digits of half the interval, the at-least figure down to 0.1.
func figuresOf(t *testing.T, g *Gain) []string {
	t.Helper()
	data, err := g.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var read struct {
		Comparisons []struct {
			Sentence string
			Band     struct {
				Gain    float64 `json:"gain_pct"`
				Lo      float64 `json:"lo_pct"`
				Hi      float64 `json:"hi_pct"`
				AtLeast float64 `json:"at_least_pct"`
			}
		}
	}
	if err := json.Unmarshal(data, &read); err != nil {
		t.Fatal(err)
	}
	b := read.Comparisons[0].Band
	half := (b.Hi - b.Lo) / 2
	n := int(math.Max(0, 1-math.Floor(math.Log10(half))))
	return []string{
		fmt.Sprintf("%.*f %% to %.*f %%", n, b.Lo, n, b.Hi), fmt.Sprintf("+%.*f %%", n, b.Gain),
		fmt.Sprintf("%.1f %%", math.Floor(b.AtLeast*10)/10), read.Comparisons[0].Sentence,
	}
}

var blanks = regexp.MustCompile(`\s+`)

// oneLine makes texts comparable that were broken into lines at different places.
func oneLine(s string) string {
	return blanks.ReplaceAllString(strings.NewReplacer("\u00a0", " ", "&#34;", `"`, "&#39;", "'", "&#43;", "+").Replace(s), " ")
}

// Terminal, page, picture and paper show the figures of the JSON, in any units.
func TestSameFiguresEverywhere(t *testing.T) {
	g := sample()
	for _, units := range []quantity.System{quantity.SI, quantity.USCustomary} {
		written := outputs(t, g, units)
		p := newPaper(a4)
		p.write(g.document(onPaper, documentOptions{units: units}))
		var paper strings.Builder
		for _, page := range p.pages {
			for _, mark := range page.Marks {
				if text, ok := mark.(draw.Text); ok {
					paper.WriteString(text.Words + " ")
				}
			}
		}
		written["paper"] = paper.String()
		for _, form := range []string{"text", "html", "paper"} {
			for _, figure := range figuresOf(t, g) {
				if !strings.Contains(oneLine(written[form]), figure) {
					t.Errorf("%s in %v lacks %q", form, units, figure)
				}
			}
		}
		torque := map[quantity.System]string{quantity.SI: "58.10 ± 0.66 N·m", quantity.USCustomary: "42.85 ± 0.49 lbf·ft"}[units]
		for _, form := range []string{"text", "html", "paper"} {
			if !strings.Contains(oneLine(written[form]), torque) {
				t.Errorf("%s in %v lacks the level %q", form, units, torque)
			}
		}
		if strings.Contains(written["text"], "N·m") == (units == quantity.USCustomary) {
			t.Errorf("the text in %v mixes units", units)
		}
	}
}

// A check that did not pass stands in the row of the figure that it touches.
func TestOpenCheckStandsBesideItsFigure(t *testing.T) {
	g := sample()
	rows := g.figuresTable(&g.Comparisons[0], quantity.SI).Rows
	if !strings.Contains(rows[0][0], "! setups") || strings.Contains(rows[1][0], "setups") {
		t.Errorf("rows are named %q and %q; the check setups touches the band alone", rows[0][0], rows[1][0])
	}
	for _, row := range rows {
		if strings.Contains(row[0], "coast-down") {
			t.Errorf("a check that passed stands in %q", row[0])
		}
	}
}

// The PDF is the same file however often it is written.
func TestPDFTwiceIsTheSame(t *testing.T) {
	var a, b bytes.Buffer
	if err := sample().PDF(&a, quantity.SI); err != nil {
		t.Fatal(err)
	}
	if err := sample().PDF(&b, quantity.SI); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings of one report differ")
	}
}

// A row that is taller than a page goes on over several, and loses no line.
func TestTallRowGoesOnOverPages(t *testing.T) {
	note := strings.Repeat("word ", 6000)
	p := newPaper(a4)
	p.write([]block{table{Caption: "c", Heads: []string{"a", "b"}, Numeric: []bool{false, false}, Rows: [][]string{{"x", note}}}})
	n := 0
	for _, page := range p.pages {
		for _, mark := range page.Marks {
			if text, ok := mark.(draw.Text); ok {
				n += strings.Count(text.Words, "word")
			}
		}
	}
	if n != 6000 || len(p.pages) < 2 {
		t.Errorf("%d words on %d pages; want 6000 on more than one", n, len(p.pages))
	}
}

func BenchmarkHTML(b *testing.B) {
	g := sample()
	for b.Loop() {
		if err := g.HTML(&bytes.Buffer{}, quantity.SI); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPDF(b *testing.B) {
	g := sample()
	for b.Loop() {
		if err := g.PDF(&bytes.Buffer{}, quantity.SI); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPNG(b *testing.B) {
	g := sample()
	for b.Loop() {
		if err := g.PNG(&bytes.Buffer{}, quantity.SI); err != nil {
			b.Fatal(err)
		}
	}
}

// A person meets the verdict first, then the gain, then torque and power, then
// the checks, then the pulls; cautions and limits are never missing.
func TestOrderOfTheDocument(t *testing.T) {
	page := html(t, sample())
	at := -1
	for _, mark := range []string{`class="verdict shown"`, `id="gain-1-title"`, `id="levels-1-title"`, `id="checks"`, `id="pulls"`, `id="configurations"`, `id="procedure"`, `id="limits"`, `id="cautions"`, `id="numbers"`} {
		next := strings.Index(page, mark)
		if next <= at {
			t.Errorf("%s stands at %d, not after %d", mark, next, at)
		}
		at = next
	}
	for _, caution := range Cautions {
		if !strings.Contains(oneLine(page), caution) {
			t.Errorf("the page lacks the caution %q", caution)
		}
	}
}

// What differs from the baseline says so, a part left out too.
func TestConfigurationsSayWhatDiffers(t *testing.T) {
	g := sample()
	for _, b := range g.configurationBlocks() {
		rows, ok := b.(table)
		if !ok {
			continue
		}
		for _, row := range rows.Rows {
			differs := strings.Contains(row[2], "(differs)")
			if want := row[0] != "exhaust"; differs != want {
				t.Errorf("%s: %q against %q; marked as different: %v", row[0], row[2], row[1], differs)
			}
		}
		return
	}
	t.Error("there is no table of configurations")
}
