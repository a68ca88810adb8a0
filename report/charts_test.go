package report

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"fairpull/quantity"
)

// A file has a row for each node, an empty cell where there is no number, and no cell
// that a spreadsheet takes for a formula.
func TestNumbersAsFile(t *testing.T) {
	n := numbers{
		{Name: "channel", Words: []string{"=HYPERLINK(\"http://x.example\")", "+1", "-a, b", "@x", "plain"}},
		{Name: "torque", Unit: "N·m", Values: []float64{1.0 / 3, math.NaN(), math.Inf(1), -2, 0}},
	}
	var b bytes.Buffer
	if err := n.csv(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"channel", "torque [N·m]"}, {"'=HYPERLINK(\"http://x.example\")", "0.3333333333333333"}, {"'+1", ""}, {"'-a, b", ""}, {"'@x", "-2"}, {"plain", "0"}}
	if !slices.EqualFunc(rows, want, slices.Equal) {
		t.Errorf("rows %q, want %q", rows, want)
	}
}

// The name of a column holds nothing that needs quoting, whatever a file calls it.
func TestColumnName(t *testing.T) {
	for name, want := range map[string]string{"A-B-A, anew, 3 h 10 min": "A-B-A_anew_3_h_10_min", "=1+1": "1_1", "drum surface": "drum_surface", "\"x\"\n": "x", "Größe": "Größe"} {
		if got := columnName(name); got != want {
			t.Errorf("%q is named %q, want %q", name, got, want)
		}
	}
}

// A chart that is not there is said to be so in every form, and one that is only drawn
// has no data to draw anew.
func TestNoSuchChart(t *testing.T) {
	charts := sample().Charts(quantity.SI)
	if len(charts.Names()) < 3 {
		t.Fatalf("charts %v", charts.Names())
	}
	var b bytes.Buffer
	for form, err := range map[string]error{"svg": charts.SVG(&b, "none"), "png": charts.PNG(&b, "none"), "csv": charts.CSV(&b, "none"), "json": charts.JSON(&b, "none"), "json of a drawing": charts.JSON(&b, "pulls-small")} {
		if !errors.Is(err, ErrNoChart) {
			t.Errorf("%s: %v", form, err)
		}
	}
	if b.Len() > 0 {
		t.Errorf("%d bytes were written", b.Len())
	}
}

// Words of a campaign stand on a drawing as words.
func TestChartDrawingEscapes(t *testing.T) {
	g := sample()
	g.Campaign.Title = "<script>alert(1)</script>"
	var b bytes.Buffer
	if err := g.Charts(quantity.SI).SVG(&b, "gain-1"); err != nil {
		t.Fatal(err)
	}
	if text := b.String(); strings.Contains(text, "<script") || !strings.Contains(text, "&lt;script") {
		t.Errorf("the drawing holds the title as markup: %v", strings.Contains(text, "<script"))
	}
}

// A drawing that stands alone leads to no table.
func TestDrawingLeadsToNoTable(t *testing.T) {
	for words, want := range map[string]string{
		"A square signals; limits are dashed. Numbers stand in the table below.": "A square signals; limits are dashed.",
		"At 5.6 % it ends. The numbers stand in a table of this report.":         "At 5.6 % it ends.",
		"Numbers stand in the tables at the end.":                                "",
		"The ribbon is twice the standard error.":                                "The ribbon is twice the standard error.",
	} {
		if got := alone(words); got != want {
			t.Errorf("%q stands alone as %q, want %q", words, got, want)
		}
	}
}
