package report

import (
	"cmp"
	"encoding/csv"
	"io"
	"strings"
	"unicode"
)

// numberColumn is one column of a chart's numbers: words or numbers, unrounded in a file,
// and as a person reads them in a table.
type numberColumn struct {
	Name, Unit string   // in a file; Unit: empty: none
	Words      []string // in the place of Values
	Values     []float64

	Head  string   // in a table; empty: it stands in the file alone
	Shown []string // in a table; nil: Words
}

// numbers are a chart's numbers, all columns of one length.
type numbers []numberColumn

// csv writes every column, a row for each node. The names of the columns carry the
// units; a number that there is none of is an empty cell.
func (n numbers) csv(w io.Writer) error {
	var rows [][]string
	heads := make([]string, len(n))
	for j := range n {
		heads[j] = n[j].Name
		if n[j].Unit != "" {
			heads[j] += " [" + n[j].Unit + "]"
		}
	}
	rows = append(rows, heads)
	for i := range n.len() {
		row := make([]string, len(n))
		for j := range n {
			if n[j].Values == nil {
				row[j] = notFormula(n[j].Words[i])
			} else {
				row[j] = bareNumber(n[j].Values[i])
			}
		}
		rows = append(rows, row)
	}
	out := csv.NewWriter(w)
	if err := out.WriteAll(rows); err != nil {
		return err
	}
	return out.Error()
}

// notFormula keeps a spreadsheet from taking words of a log for a formula.
func notFormula(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (n numbers) len() int {
	if len(n) == 0 {
		return 0
	}
	return max(len(n[0].Words), len(n[0].Values))
}

// table returns the columns that a table has.
func (n numbers) table(caption string) table {
	t := table{Caption: caption, Long: true}
	for _, c := range n {
		if c.Head != "" {
			t.Heads, t.Numeric = append(t.Heads, c.Head), append(t.Numeric, c.Values != nil)
		}
	}
	for i := range n.len() {
		var row []string
		for _, c := range n {
			switch {
			case c.Head == "":
			case c.Shown != nil:
				row = append(row, c.Shown[i])
			default:
				row = append(row, c.Words[i])
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// numbers returns a plot's numbers: its axis, what is told of each node, and each
// series with its limits. In a table a series is worded as the crosshair reads it.
func (p *plot) numbers() numbers {
	x := numberColumn{Name: p.X.column, Unit: p.X.Unit, Values: floats(p.X.Values), Shown: p.X.Words, Head: joined(", ", capitalised(p.X.Name), p.X.Unit)}
	if p.X.Words != nil {
		x.Head = capitalised(p.X.Name)
	} else {
		for _, v := range x.Values {
			x.Shown = append(x.Shown, plain(v))
		}
	}
	out := append(numbers{x}, p.X.texts...)
	for _, panel := range p.Panels {
		for i := range panel.Series {
			s := &panel.Series[i]
			limits, unit := cmp.Or(s.limits, s.column), cmp.Or(s.unit, panel.Unit)
			out = append(out, numberColumn{Name: s.column, Unit: unit, Values: floats(s.Values), Head: capitalised(s.Name), Shown: dashed(s.Read)})
			if s.Low != nil {
				out = append(out, numberColumn{Name: limits + "_low", Unit: unit, Values: floats(s.Low)}, numberColumn{Name: limits + "_high", Unit: unit, Values: floats(s.High)})
			}
			if s.Inner != nil {
				out = append(out, numberColumn{Name: "low", Unit: unit, Values: floats(s.Inner[0])}, numberColumn{Name: "high", Unit: unit, Values: floats(s.Inner[1])})
			}
		}
	}
	return out
}

// dashed puts a dash where there is nothing to read.
func dashed(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		if out[i] = w; w == "" {
			out[i] = "–"
		}
	}
	return out
}

func floats(values []amount) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = float64(v)
	}
	return out
}

// columnName makes of a name from a file the name of a column.
func columnName(s string) string {
	return strings.Join(strings.FieldsFunc(clean(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '-' }), "_")
}
