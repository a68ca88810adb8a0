package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"math"
)

// rowReader fills the columns of a log from its rows.
type rowReader struct {
	file      string
	text      []byte // ends in a line feed
	delimiter byte   // 0: one column
	columns   []column
	ragged    bool // a row may end early: the cells behind are missing

	line      int // of the row being read
	start     int // its offset
	emptyLine int // the first empty line behind data; 0: none
	rows      int
	again     bool // a column has to be read once more, its decimal mark now known
}

// read reads every row from offset at, which is on the given line. Columns must
// be ready to be filled.
//
// Rows are read once; where a late cell shows that a column's decimal mark was
// mistaken, all are read a second time with what is then known.
func (r *rowReader) read(at, line int) error {
	if err := r.allocate(at); err != nil {
		return err
	}
	for pass := 0; pass < 2; pass++ {
		r.line, r.rows, r.emptyLine, r.again = line, 0, 0, false
		for i := range r.columns {
			r.columns[i].doubt, r.columns[i].strays = 0, stray{}
		}
		for next := at; next < len(r.text); r.line++ {
			var err error
			r.start = next
			if next, err = r.row(next); err != nil {
				return err
			}
			if next-r.start > MaxLineBytes {
				return r.fault(nil, r.start, "", because(ErrTooLarge, "the line has %d bytes, and %d are the most that are read", next-r.start, MaxLineBytes), "export it again with one row a line")
			}
		}
		if !r.again {
			return nil
		}
	}
	return errors.New("decimal marks did not settle in two passes")
}

// allocate makes room for every row that the text can hold.
func (r *rowReader) allocate(at int) error {
	rows := bytes.Count(r.text[at:], []byte{'\n'})
	if !r.ragged { // a row has a delimiter or line end for each column, or is refused
		rows = min(rows, (len(r.text)-at)/len(r.columns)+1)
	}
	read := 0
	for i := range r.columns {
		if r.columns[i].skip == "" {
			read++
		}
	}
	if rows > MaxLogRows || read > 0 && rows > MaxLogCells/read {
		return &SyntaxError{
			File: r.file, Err: because(ErrTooLarge, "the log may hold %d rows of %d columns; the most that are read are %d rows and %d cells", rows, read, MaxLogRows, MaxLogCells),
			Cure: "cut it to the part around the pull, and keep only the channels that are needed",
		}
	}
	slab := make([]float64, rows*read)
	for i := range r.columns {
		if c := &r.columns[i]; c.skip == "" {
			c.values, slab = slab[:rows:rows], slab[rows:]
		}
	}
	return nil
}

// row reads the row at offset at and returns the offset of the next line. The
// plain form of a number is read in place; cell reads any other.
func (r *rowReader) row(at int) (next int, err error) {
	text, delimiter, row := r.text, r.delimiter, r.rows
	for i := range r.columns {
		c := &r.columns[i]
		for text[at] == ' ' {
			at++
		}
		value, whole, fraction, end := 0.0, 0, 0, 0
		if c.skip == "" {
			value, whole, fraction, end = plainNumber(text, at, c.mark)
		}
		if end == 0 || c.clock || text[end] != delimiter && text[end] != '\n' && (text[end] != '\r' || text[end+1] != '\n') {
			if value, end, err = r.cell(c, at); err != nil {
				return 0, err
			}
			if i == 0 && text[end] == '\n' && len(bytes.TrimSpace(text[r.start:end])) == 0 {
				if r.emptyLine == 0 {
					r.emptyLine = r.line
				}
				return end + 1, nil
			}
		} else if fraction > 0 && !c.sure {
			c.learn(text[at], text[at+1], whole, fraction, r.line)
		}
		if c.skip == "" {
			c.values[row] = value
		}
		if text[end] != delimiter || delimiter == 0 {
			return r.endRow(i, end)
		}
		at = end + 1
	}
	return r.surplus(at)
}

// learn notes what a number in plain form, whose first two bytes are given,
// says of the column's decimal mark.
func (m *column) learn(first, second byte, whole, fraction, line int) {
	if first == '-' || first == '+' {
		first = second
	}
	if !groupLike(first, whole, fraction) {
		m.sure = true
	} else if m.doubt == 0 {
		m.doubt = line
	}
}

// endRow ends a row whose last cell was that of column i and ended at offset
// end. It returns the offset of the next line.
func (r *rowReader) endRow(i, end int) (next int, err error) {
	next = end + 1
	if r.text[end] == '\r' {
		next++
	}
	if r.emptyLine != 0 {
		return 0, &SyntaxError{File: r.file, Line: r.emptyLine, Err: because(ErrRagged, "an empty line stands between rows"), Cure: "take it out, or cut the file where the pull ends"}
	}
	if last := len(r.columns) - 1; i < last {
		if !r.ragged {
			return 0, r.short(i+1, next)
		}
		for j := i + 1; j <= last; j++ {
			if r.columns[j].skip == "" {
				r.columns[j].values[r.rows] = math.NaN()
			}
		}
	}
	r.rows++
	return next, nil
}

func (r *rowReader) short(cells, next int) error {
	if next >= len(r.text) {
		return r.fault(nil, r.start, "", because(ErrRagged, "the last row has %d of %d cells: the file was cut short", cells, len(r.columns)), "copy the file again, or take the last line out")
	}
	return r.fault(nil, r.start, "", because(ErrRagged, "the row has %d cells where the header has %d columns", cells, len(r.columns)), "leave missing cells empty between their delimiters")
}

// surplus ends a row that goes on behind the last column: empty cells are
// passed over, others refused.
func (r *rowReader) surplus(at int) (next int, err error) {
	line, _, _ := bytes.Cut(r.text[at:], []byte{'\n'})
	if len(bytes.Trim(line, " \r"+string(r.delimiter))) == 0 {
		return r.endRow(len(r.columns)-1, at+len(line))
	}
	cells := len(r.columns) + 1 + bytes.Count(line, []byte{r.delimiter})
	cure := "give every column a name in the header"
	if r.delimiter == ',' {
		cure = "if the comma is the decimal mark too, export with semicolons between the cells"
	}
	return 0, r.fault(nil, at, "", because(ErrRagged, "the row has %d cells where the header has %d columns", cells, len(r.columns)), cure)
}

// cell reads a cell that is no plain number. It returns NaN for an empty cell,
// and the offset of the delimiter or line feed behind it.
func (r *rowReader) cell(c *column, at int) (value float64, end int, err error) {
	if b := r.text[at]; b == '\n' || b == r.delimiter {
		return math.NaN(), at, nil
	}
	cell, end, err := takeCell(r.text, at, r.delimiter)
	if err != nil {
		return 0, end, r.fault(c, at, string(cutBytes(r.text[at:end], longestShown)), err, "take the quotation mark out or close it")
	}
	if len(cell) == 0 || c.skip != "" {
		return math.NaN(), end, nil
	}
	if c.clock {
		value, err = readClock(cell)
	} else {
		value, err = c.readNumber(cell)
	}
	switch {
	case err == errWrongMark:
		r.again, err = true, nil
	case err != nil && !c.known:
		if c.strays.err == nil {
			c.strays = stray{r.line, positionIn(r.text[r.start:at]), string(cell), err}
		}
		value, err = math.NaN(), nil
	case err != nil:
		return 0, end, r.fault(c, at, string(cell), err, cellCure(c, cell, err))
	case c.mark != 0 && !c.sure && c.doubt == 0:
		c.doubt = r.line
	}
	return value, end, err
}

// cellCure says what to do about a cell that cannot be read.
func cellCure(c *column, cell []byte, err error) string {
	switch {
	case errors.Is(err, ErrTwoReadings) && c.clock:
		return "export the time as hh:mm:ss or in seconds"
	case err == errMixedMarks:
		return "write the whole column with one decimal mark"
	case errors.Is(err, ErrTwoReadings):
		return fmt.Sprintf(`say which is the decimal mark, as in %s = { decimal = "," } under [channels] of campaign.toml`, printable(c.name, longestShown))
	case c.clock:
		return "a clock time is written hh:mm:ss, with decimals of the second behind a point or comma"
	case c.name == timeColumn && bytes.IndexByte(cell, ':') >= 0:
		return "the header says a unit of time, and this is a clock time: take the unit out of the header"
	case errors.Is(err, ErrNotFinite):
		return "leave the cell empty where nothing was measured"
	}
	return "correct the cell, or leave it empty where nothing was measured"
}

// fault returns an error at offset at of the row being read. c may be nil.
func (r *rowReader) fault(c *column, at int, text string, err error, cure string) error {
	e := &SyntaxError{File: r.file, Line: r.line, Position: positionIn(r.text[r.start:at]), Text: text, Err: err, Cure: cure}
	if c != nil {
		e.Column = "column " + printable(c.title.text, longestShown)
	}
	return e
}
