package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"fairpull/campaign"
	"fairpull/quantity"
)

// Table is a delimited text as it looks to somebody who has yet to say what its
// columns are.
type Table struct {
	Delimiter byte // ',', ';' or a tab
	Line      int  // of the titles, from 1
	Columns   []TableColumn
}

// TableColumn is one column of a [Table].
type TableColumn struct {
	Name  string   // of the header, without its unit; what [channels] would name
	Unit  string   // as the header or the row of units spells it; empty: not stated
	First []string // its first cells, three at most
}

// errNoTable says that a text has no columns of numbers.
var errNoTable = because(ErrNoHeader, "no line of names with rows of numbers behind it was found, split by comma, semicolon or tab")

// ReadTable returns the columns of a delimited text: the line of names that stands
// above the first two rows of numbers, with the row of units between them where
// there is one. Which column is what is not asked. Only the beginning of the text
// is read. Where two delimiters serve equally well the error is one of
// [ErrTwoReadings].
func ReadTable(name string, data []byte) (*Table, error) {
	text, _, err := decode(name, beginning(data))
	if err != nil {
		return nil, err
	}
	var best *Table
	most, equal := 0, false
	for _, delimiter := range delimiters {
		t, numbers := tableAt(text, delimiter)
		switch {
		case t == nil || numbers < most:
		case numbers == most:
			equal = true
		default:
			best, most, equal = t, numbers, false
		}
	}
	switch {
	case best == nil:
		return nil, &SyntaxError{File: name, Err: errNoTable, Cure: "export it as delimited text with the names of the columns in one line"}
	case equal:
		return nil, &SyntaxError{File: name, Line: best.Line, Err: because(ErrTwoReadings, "two delimiters split the rows into equally many numbers"), Cure: "export it with a semicolon or a tab between the columns"}
	}
	return best, nil
}

// beginning returns the first part of a file, up to a line's end: where a header
// is looked for.
func beginning(data []byte) []byte {
	if len(data) <= maxPreambleBytes {
		return data
	}
	data = data[:maxPreambleBytes]
	if end := bytes.LastIndexByte(data, '\n'); end > 0 && !bytes.HasPrefix(data, markUTF16LE) && !bytes.HasPrefix(data, markUTF16BE) {
		data = data[:end+1]
	}
	return data
}

// tableAt finds the columns with a given delimiter; nil where there are none. It
// also returns how many numbers the first row has.
func tableAt(text []byte, delimiter byte) (*Table, int) {
	lines := lineReader{text: text}
	type split struct {
		cells []string
		line  int
	}
	var before []split // the last lines that are not empty, two at most
	for lines.number < maxPreambleLines {
		line, ok := lines.next()
		if !ok {
			return nil, 0
		}
		cells, ok := splitLine(line, delimiter)
		if !ok || len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if n := numbers(cells); n >= 2 && len(before) > 0 {
			rows := append([][]string{cells}, rowsBehind(lines, delimiter)...)
			title, units := before[len(before)-1], []string(nil)
			if len(before) == 2 && areUnits(title.cells) && len(before[0].cells) >= len(title.cells)-1 {
				title, units = before[0], title.cells
			}
			if len(rows) > 1 && numbers(title.cells) == 0 && fitTitles(title.cells, rows) {
				return newTable(delimiter, title.line, title.cells, units, rows), n
			}
		}
		before = append(before, split{cells, lines.number})
		before = before[max(0, len(before)-2):]
	}
	return nil, 0
}

// rowsBehind returns the next rows, two at most.
func rowsBehind(lines lineReader, delimiter byte) [][]string {
	var rows [][]string
	for len(rows) < 2 {
		line, ok := lines.next()
		if !ok {
			return rows
		}
		if cells, ok := splitLine(line, delimiter); ok && numbers(cells) >= 2 {
			rows = append(rows, cells)
		} else if len(bytes.TrimSpace(line)) > 0 {
			return rows
		}
	}
	return rows
}

// numbers returns how many cells are numbers or clock times.
func numbers(cells []string) int {
	n := 0
	for _, cell := range cells {
		if isValue(cell) {
			n++
		}
	}
	return n
}

// fitTitles reports whether every row has as many cells as there are titles, but for
// empty ones at the end.
func fitTitles(titles []string, rows [][]string) bool {
	n := len(trimmed(titles))
	for _, row := range rows {
		if len(trimmed(row)) > n || len(row) < n-1 {
			return false
		}
	}
	return n >= 2
}

// trimmed takes the empty cells off the end.
func trimmed(cells []string) []string {
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// areUnits reports whether every cell that is not empty spells a unit.
func areUnits(cells []string) bool {
	n := 0
	for _, cell := range cells {
		cell = bareUnit(cell)
		if cell == "" || cell == "-" {
			continue
		}
		if _, err := quantity.Lookup(cell); err != nil && !errors.As(err, new(*quantity.AmbiguousUnitError)) && !isClockFormat(cell) {
			return false
		}
		n++
	}
	return n > 0
}

// bareUnit takes the brackets off a unit.
func bareUnit(cell string) string {
	for _, pair := range []string{"[]", "()"} {
		if len(cell) >= 2 && cell[0] == pair[0] && cell[len(cell)-1] == pair[1] {
			return strings.TrimSpace(cell[1 : len(cell)-1])
		}
	}
	return cell
}

// longestSample bounds a cell that is shown, in bytes.
const longestSample = 24

func newTable(delimiter byte, line int, titles, units []string, rows [][]string) *Table {
	t := &Table{Delimiter: delimiter, Line: line}
	for i, cell := range trimmed(titles) {
		c := TableColumn{Name: cell}
		if base, unit, found := cutUnit(cell); found && figureWords[unit] == unsaid {
			c.Name, c.Unit = base, unit
		}
		if c.Name == "" {
			c.Name = fmt.Sprintf("column %d", i+1)
		}
		if c.Unit == "" && i < len(units) {
			c.Unit = bareUnit(units[i])
		}
		if _, unit := campaign.SplitUnit(c.Name); c.Unit == "" {
			c.Unit = unit
		}
		for _, row := range rows {
			if i < len(row) {
				c.First = append(c.First, cut(row[i], longestSample))
			}
		}
		t.Columns = append(t.Columns, c)
	}
	return t
}
