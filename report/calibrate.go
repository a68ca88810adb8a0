package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"fairpull/quantity"
)

// CalibrationGuide says how one kind of calibration is done.
type CalibrationGuide struct {
	Kind, Title string
	Needs       []string
	Steps       []string
	Cautions    []string
}

// Text writes the guide for a terminal.
func (g *CalibrationGuide) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	para := func(indent int, text string) { writeWrapped(out, text, indent, width) }
	para(0, g.Title)
	out.WriteString("\nCautions:\n")
	for _, c := range g.Cautions {
		para(2, "- "+c)
	}
	out.WriteString("\nWhat is needed:\n")
	for _, n := range g.Needs {
		para(2, "- "+n)
	}
	out.WriteString("\nSteps:\n")
	for i, s := range g.Steps {
		para(2, fmt.Sprintf("%d. %s", i+1, s))
	}
	fmt.Fprintf(out, "\nThe readings go into a file. One to start from, with invented readings:\n  fairpull calibrate %s --example %s-readings\nThen:\n  fairpull calibrate %s %s-readings/%s.toml\n", g.Kind, g.Kind, g.Kind, g.Kind, g.Kind)
	return out.Flush()
}

// CalibrationPart is one source of a calibrated value's uncertainty.
type CalibrationPart struct {
	Name  string
	U, DF float64
	TypeA bool
}

// CalibratedValue is a value that was found, in the unit named.
type CalibratedValue struct {
	Key, Name, Unit string
	Value, U, DF    float64
	Expanded        float64 // at 95 %
	Factor          float64
	Parts           []CalibrationPart
}

// CalibrationLimit is one limit of a published rule.
type CalibrationLimit struct {
	Rule, What, Unit    string
	Measured, Low, High float64 // −Inf, +Inf: none
	Met                 bool
}

// CalibrationTable is what was read, or found of each reading.
type CalibrationTable struct {
	Caption string
	Heads   []string
	Rows    [][]string
}

// Calibrating is a calibration that was worked out from readings.
type Calibrating struct {
	Kind, Title string
	Dyno        string
	At          time.Time // zero: the readings have no date
	Note        string
	Values      []CalibratedValue
	Facts       [][2]string
	Table       *CalibrationTable
	Limits      []CalibrationLimit
	Next        []string // what is still to be done, or to be known
	Cautions    []string
	Kept        []string // what became of it in the workspace; empty: it was not kept
	Version     string
}

func (c *Calibrating) title() string { return c.Title + ": dyno " + clean(c.Dyno) }

func (c *Calibrating) subtitle() string {
	day := "without a date"
	if !c.At.IsZero() {
		day = "readings of " + Day(c.At)
	}
	return joined("; ", day, cleanTo(c.Note, 400))
}

func (c *Calibrating) foot() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(c.Version)), "dyno "+clean(c.Dyno))
}

// words writes a value with its expanded uncertainty, rounded to match.
func (v *CalibratedValue) words() string {
	n := 6
	if k, ok := quantity.Places(v.Expanded); ok {
		n = max(0, k)
	}
	unit := labelled(" ", v.Unit)
	return fixed(v.Value, n) + " ± " + fixed(v.Expanded, n) + unit + " (95 %, factor " + fixed(v.Factor, 2) + ", " + freedom(v.DF) + "); standard uncertainty " + twoFigures(v.U) + unit
}

// freedom words degrees of freedom.
func freedom(df float64) string {
	if df > 1000 {
		return "many degrees of freedom"
	}
	return degrees(math.Round(10*df)/10) + " degrees of freedom"
}

// words says whether a limit was met: "40 CFR 1066.250(d)(1): … 0.42 %, at most 1 %: met".
func (l *CalibrationLimit) words() string { return strings.Join(l.cells(), ": ") }

func (l *CalibrationLimit) cells() []string {
	unit := labelled(" ", l.Unit)
	var allowed string
	switch {
	case math.IsInf(l.Low, -1):
		allowed = "at most " + plain(l.High) + unit
	case math.IsInf(l.High, 1):
		allowed = "at least " + plain(l.Low) + unit
	case l.Low == -l.High:
		allowed = "within ± " + fourFigures(l.High) + unit
	default:
		allowed = plain(l.Low) + " to " + plain(l.High) + unit
	}
	met := "not met"
	if l.Met {
		met = "met"
	}
	return []string{l.Rule, l.What, fourFigures(l.Measured) + unit, allowed, met}
}

// signedWords puts the minus sign before the negative numbers of a sentence.
func signedWords(s string) string { return typographic(negative().Replace(s)) }

// fourFigures writes a number with four significant digits at most.
func fourFigures(v float64) string { return typographic(fmt.Sprintf("%.4g", v)) }

// rulesNote says what the limits are worth here.
const rulesNote = "The limits are those of the rules named, which are made for dynamometers on which emissions are tested. For other rigs they are a yardstick, and meeting them certifies nothing."

// Text writes the calibration for a terminal.
func (c *Calibrating) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	para := func(indent int, text string) { writeWrapped(out, text, indent, width) }
	para(0, c.title())
	para(0, c.subtitle())
	for i := range c.Values {
		v := &c.Values[i]
		out.WriteString("\n")
		para(0, capitalised(v.Name)+": "+v.words()+".")
		for _, p := range v.Parts {
			kind := "B"
			if p.TypeA {
				kind = "A"
			}
			fmt.Fprintf(out, "  %-38s %12s  type %s, %s\n", p.Name, twoFigures(p.U)+labelled(" ", v.Unit), kind, freedom(p.DF))
		}
	}
	if len(c.Facts) > 0 {
		out.WriteString("\n")
	}
	for _, f := range c.Facts {
		para(2, f[0]+": "+signedWords(f[1]))
	}
	if t := c.Table; t != nil {
		out.WriteString("\n")
		para(0, t.Caption)
		writeTable(out, t)
	}
	if len(c.Limits) > 0 {
		out.WriteString("\nLimits of published rules:\n")
		for i := range c.Limits {
			para(2, "- "+c.Limits[i].words())
		}
		para(0, rulesNote)
	}
	c.textEnd(out, para)
	return out.Flush()
}

// textEnd writes what became of a calibration and what is to be done.
func (c *Calibrating) textEnd(out *bufio.Writer, para func(int, string)) {
	for _, list := range []struct {
		head  string
		items []string
	}{{"Next:", c.Next}, {"Kept:", c.Kept}, {"Cautions:", c.Cautions}} {
		if len(list.items) > 0 {
			out.WriteString("\n" + list.head + "\n")
		}
		for _, s := range list.items {
			para(2, "- "+s)
		}
	}
}

// writeTable writes a table in columns.
func writeTable(out *bufio.Writer, t *CalibrationTable) {
	width := make([]int, len(t.Heads))
	all := append([][]string{t.Heads}, t.Rows...)
	for _, row := range all {
		for j, cell := range row {
			width[j] = max(width[j], len([]rune(cell)))
		}
	}
	for _, row := range all {
		line := " "
		for j, cell := range row {
			line += " " + strings.Repeat(" ", width[j]-len([]rune(cell))) + cell
		}
		fmt.Fprintln(out, line)
	}
}

// HTML writes the calibration as one page that stands alone.
func (c *Calibrating) HTML(w io.Writer, _ quantity.System) error {
	return writePage(w, c.title(), c.subtitle(), c.foot(), c.blocks())
}

// PDF writes the calibration on paper.
func (c *Calibrating) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, c.title(), c.subtitle(), c.foot(), c.Version, c.blocks(), units)
}

// SVG returns an error: a calibration is no picture.
func (c *Calibrating) SVG(io.Writer, quantity.System) error { return errNoPictureOfCalibration }

// PNG returns an error: a calibration is no picture.
func (c *Calibrating) PNG(io.Writer, quantity.System) error { return errNoPictureOfCalibration }

var errNoPictureOfCalibration = fmt.Errorf("a calibration is written as HTML or PDF")

// blocks are the calibration in its order.
func (c *Calibrating) blocks() []block {
	out := []block{heading{Level: 1, Words: c.title()}, paragraph{Words: c.subtitle(), Small: true}}
	for i := range c.Values {
		v := &c.Values[i]
		t := table{Caption: "Uncertainty budget. Squares add up.", Heads: []string{"Source", "Type", "Standard uncertainty" + labelled(", ", v.Unit), "Degrees of freedom"}, Numeric: []bool{false, false, true, true}}
		for _, p := range v.Parts {
			kind, df := "B", "∞"
			if p.TypeA {
				kind = "A"
			}
			if !math.IsInf(p.DF, 1) {
				df = degrees(math.Round(10*p.DF) / 10)
			}
			t.Rows = append(t.Rows, []string{p.Name, kind, twoFigures(p.U), df})
		}
		out = append(out, heading{Level: 2, Words: capitalised(v.Name)}, paragraph{Words: capitalised(v.Name) + ": " + v.words() + "."}, t)
	}
	if len(c.Facts) > 0 {
		t := table{Heads: []string{"What", "As found"}, Numeric: []bool{false, false}}
		for _, f := range c.Facts {
			t.Rows = append(t.Rows, []string{f[0], signedWords(f[1])})
		}
		out = append(out, heading{Level: 2, Words: "Beside it"}, t)
	}
	if c.Table != nil {
		numeric := make([]bool, len(c.Table.Heads))
		for j := range numeric {
			numeric[j] = j > 0
		}
		out = append(out, heading{Level: 2, Words: "Readings"}, table{Caption: c.Table.Caption, Heads: c.Table.Heads, Numeric: numeric, Rows: c.Table.Rows, Long: len(c.Table.Rows) > 20})
	}
	if len(c.Limits) > 0 {
		t := table{Caption: rulesNote, Heads: []string{"Rule", "What", "Measured", "Allowed", "Result"}, Numeric: []bool{false, false, true, true, false}}
		for i := range c.Limits {
			t.Rows = append(t.Rows, c.Limits[i].cells())
			t.Marks = append(t.Marks, map[bool]string{true: "pass", false: "warn"}[c.Limits[i].Met])
		}
		out = append(out, heading{Level: 2, Words: "Limits of published rules"}, t)
	}
	for _, list := range []struct {
		head  string
		items []string
	}{{"Next", c.Next}, {"Kept", c.Kept}, {"Cautions", c.Cautions}} {
		if len(list.items) > 0 {
			out = append(out, heading{Level: 2, Words: list.head}, bullets{Items: list.items})
		}
	}
	return out
}

// JSON returns the calibration, format fairpull.calibrating/1: values in the units
// named, unrounded.
func (c *Calibrating) JSON() ([]byte, error) {
	type part struct {
		Name  string `json:"source"`
		U     amount `json:"standard_uncertainty"`
		DF    amount `json:"degrees_of_freedom"`
		TypeA bool   `json:"type_a"`
	}
	type value struct {
		Key      string `json:"id"`
		Unit     string `json:"unit"`
		Value    amount `json:"value"`
		U        amount `json:"standard_uncertainty"`
		DF       amount `json:"degrees_of_freedom"`
		Factor   amount `json:"coverage_factor"`
		Expanded amount `json:"expanded_uncertainty"`
		Parts    []part `json:"budget"`
	}
	type limit struct {
		Rule     string `json:"rule"`
		What     string `json:"what"`
		Unit     string `json:"unit"`
		Measured amount `json:"measured"`
		Low      amount `json:"low"`
		High     amount `json:"high"`
		Met      bool   `json:"met"`
	}
	out := struct {
		Format string      `json:"format"`
		Kind   string      `json:"kind"`
		Dyno   string      `json:"dyno"`
		At     string      `json:"at,omitempty"`
		Values []value     `json:"values"`
		Facts  [][2]string `json:"facts"`
		Limits []limit     `json:"limits"`
		Next   []string    `json:"next"`
		Kept   []string    `json:"kept"`
	}{Format: "fairpull.calibrating/1", Kind: c.Kind, Dyno: c.Dyno, Values: []value{}, Facts: append([][2]string{}, c.Facts...), Limits: []limit{}, Next: append([]string{}, c.Next...), Kept: append([]string{}, c.Kept...)}
	if !c.At.IsZero() {
		out.At = moment(c.At)
	}
	for i := range c.Values {
		v := &c.Values[i]
		j := value{Key: v.Key, Unit: v.Unit, Value: amount(v.Value), U: amount(v.U), DF: amount(v.DF), Factor: amount(v.Factor), Expanded: amount(v.Expanded), Parts: []part{}}
		for _, p := range v.Parts {
			j.Parts = append(j.Parts, part{p.Name, amount(p.U), amount(p.DF), p.TypeA})
		}
		out.Values = append(out.Values, j)
	}
	for _, l := range c.Limits {
		out.Limits = append(out.Limits, limit{l.Rule, l.What, l.Unit, amount(l.Measured), amount(l.Low), amount(l.High), l.Met})
	}
	return indented(out)
}
