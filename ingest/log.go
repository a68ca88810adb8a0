package ingest

import (
	"bytes"
	"math"

	"fairpull/campaign"
	"fairpull/signal"
)

// LogOptions is what must be known of a log besides its own text.
type LogOptions struct {
	Channels   campaign.ChannelMap // what its header does not say; may be nil
	DrumRadius float64             // m, for a surface speed; 0: not known
}

// ParseLog returns the log that data hold, in SI. The name stands in errors.
//
// Delimiter (comma, semicolon, tab), decimal mark, character set, a row of units
// and lines above the header are recognised. A column is a channel with a
// meaning only where it bears exactly its name ("drum_speed [km/h]"), that name
// with a unit's ending ("oil_temp_degc"), or is named in o.Channels; it then
// must have a unit. Any other column is kept under its own name; its values are
// SI where [quantity.Lookup] knows its unit, else as written. Columns of text,
// and columns without a place in this kind of log, are named in LeftOut.
//
// An empty cell is NaN, but in time, which must be there; the words NaN and Inf
// are refused. Times are as recorded: they may repeat or step back. A time of
// day that steps back by more than half a day went through midnight, and a day
// is added. A curve log must say whether its figures are at the wheel or at the
// crank: by a column name such as power_wheel, or by a line "figures: wheel"
// above the header.
//
// Errors are *[SyntaxError].
func ParseLog(name string, data []byte, o LogOptions) (*signal.Log, error) {
	if len(data) > MaxLogBytes {
		return nil, tooLarge(name, MaxLogBytes)
	}
	text, set, err := decode(name, data)
	if err != nil {
		return nil, err
	}
	head, err := findHeader(name, text, sources(o.Channels))
	if err != nil {
		return nil, err
	}
	b := &binding{file: name, header: head, options: o, set: set, text: text}
	if err := b.bind(); err != nil {
		return nil, err
	}
	r := &rowReader{file: name, text: text, delimiter: head.delimiter, columns: b.columns, ragged: b.kind == signal.Pulses}
	if err := r.read(head.data, head.dataLine); err != nil {
		return nil, err
	}
	if err := b.settleMarks(); err != nil {
		return nil, err
	}
	return b.log(r.rows)
}

func tooLarge(name string, limit int) error {
	return &SyntaxError{File: name, Err: because(ErrTooLarge, "the file is larger than %d KiB", limit>>10), Cure: "cut it to the part that is needed"}
}

// settleMarks decides for the columns whose own cells left the decimal mark
// unsure: by the other columns of the file, where they agree.
func (b *binding) settleMarks() error {
	var points, commas bool
	for i := range b.columns {
		c := &b.columns[i]
		points = points || c.sure && c.mark == '.'
		commas = commas || c.sure && c.mark == ','
	}
	for i := range b.columns {
		c := &b.columns[i]
		if c.mark == 0 || c.sure {
			continue
		}
		agreed := c.mark == '.' && !commas && (points || b.header.delimiter == ',') ||
			c.mark == ',' && !points && commas
		if agreed {
			continue
		}
		const text = "every number of this column could be a decimal number or a whole one with its thousands set off"
		if c.known {
			return &SyntaxError{
				File: b.file, Line: c.doubt, Column: "column " + printable(c.title.text, longestShown),
				Err: because(ErrTwoReadings, text), Cure: cellCure(c, nil, ErrTwoReadings),
			}
		}
		c.skip = text
	}
	return nil
}

// log makes the log of the columns.
func (b *binding) log(rows int) (*signal.Log, error) {
	rows = b.trim(rows)
	if rows == 0 {
		return nil, &SyntaxError{File: b.file, Line: b.header.line, Err: because(ErrNoData, "no row of numbers stands behind the header"), Cure: "copy the file again from the logger"}
	}
	l := &signal.Log{Kind: b.kind, FirstLine: b.header.dataLine, AtCrank: b.figures == crank, LeftOut: b.leftOut}
	for i := range b.columns {
		c := &b.columns[i]
		if err := b.finish(c, rows); err != nil {
			return nil, err
		}
		switch {
		case c.skip != "":
			l.LeftOut = append(l.LeftOut, signal.LeftOut{Column: c.title.text, Reason: c.skip})
		case b.kind != signal.Reduced && c.name == timeColumn:
			l.Time = c.values
		case c.name == drumPulseColumn:
			l.DrumPulse = c.values
		case c.name == enginePulseColumn:
			l.EnginePulse = c.values
		default:
			l.Channels = append(l.Channels, signal.Channel{Name: c.name, Unit: c.spelled, Values: c.values})
		}
	}
	return l, b.check(l)
}

// trim returns the number of rows up to the last that holds a number.
func (b *binding) trim(rows int) int {
	for ; rows > 0; rows-- {
		for i := range b.columns {
			if c := &b.columns[i]; c.skip == "" && !math.IsNaN(c.values[rows-1]) {
				return rows
			}
		}
	}
	return 0
}

// finish brings one column to SI, or sets it aside with a reason.
func (b *binding) finish(c *column, rows int) error {
	if c.skip != "" {
		return nil
	}
	c.values = c.values[:rows]
	if empty := isEmpty(c.values); empty {
		c.skip = "it is empty"
		if c.strays.err != nil {
			c.skip = "it holds text, not numbers"
		}
		return nil
	}
	if c.strays.err != nil {
		s := c.strays
		return &SyntaxError{
			File: b.file, Line: s.line, Position: s.position, Column: "column " + printable(c.title.text, longestShown),
			Text: s.text, Err: s.err, Cure: cellCure(c, nil, s.err),
		}
	}
	if c.clock {
		unwrapMidnight(c.values)
	}
	if b.kind == signal.Pulses {
		if err := b.cutPulses(c); err != nil {
			return err
		}
	}
	if row := c.finish(len(c.values)); row >= 0 {
		return b.cellError(c, row, because(ErrNotFinite, "a number is too large for its unit"), "correct the cell")
	}
	return nil
}

// isEmpty reports whether no value is there.
func isEmpty(values []float64) bool {
	for _, v := range values {
		if !math.IsNaN(v) {
			return false
		}
	}
	return true
}

// cutPulses cuts the empty cells at the end of a pulse column. One before the
// end is refused: which pulse is missing cannot be told from a gap in a list.
func (b *binding) cutPulses(c *column) error {
	n := len(c.values)
	for math.IsNaN(c.values[n-1]) {
		n--
	}
	c.values = c.values[:n]
	for row, v := range c.values {
		if math.IsNaN(v) {
			return b.cellError(c, row, because(ErrMissing, "an empty cell stands before further pulses"), "close the gap: list the pulses of a column one below the other")
		}
	}
	return nil
}

// check refuses a log that lacks what its kind cannot do without.
func (b *binding) check(l *signal.Log) error {
	for i := range b.columns {
		c := &b.columns[i]
		needed := c.known && (c.name == timeColumn || c.name == signal.DrumSpeed && b.kind == signal.Sampled || c.name == drumPulseColumn)
		complete := c.name == timeColumn && c.known
		if b.kind == signal.Reduced && c.known && (c.name == signal.EngineSpeed || c.name == signal.Power || c.name == signal.Torque) {
			needed, complete = true, true
		}
		if needed && c.skip != "" {
			return &SyntaxError{File: b.file, Line: b.header.dataLine, Column: "column " + printable(c.title.text, longestShown), Err: because(ErrNoData, "holds no number"), Cure: "copy the file again from the logger"}
		}
		if !complete {
			continue
		}
		for row, v := range c.values {
			if math.IsNaN(v) {
				return b.cellError(c, row, because(ErrMissing, "the cell is empty"), "a row cannot be used without it: fill it in or take the row out")
			}
		}
	}
	if b.kind == signal.Pulses && len(l.DrumPulse) < 2 {
		return &SyntaxError{File: b.file, Line: b.header.dataLine, Err: because(ErrNoData, "a single drum pulse gives no speed"), Cure: "copy the file again from the logger"}
	}
	return nil
}

// cellError returns an error in the given data row of a column.
func (b *binding) cellError(c *column, row int, err error, cure string) error {
	return &SyntaxError{File: b.file, Line: b.header.dataLine + row, Column: "column " + printable(c.title.text, longestShown), Err: err, Cure: cure}
}

// firstCellIsClock reports whether the first data row has a clock time in the
// column.
func (b *binding) firstCellIsClock(c *column) bool {
	line, _ := (&lineReader{text: b.text, at: b.header.data}).next()
	cells, ok := splitLine(line, b.header.delimiter)
	for i := range b.columns {
		if ok && &b.columns[i] == c && i < len(cells) {
			return bytes.IndexByte([]byte(cells[i]), ':') >= 0
		}
	}
	return false
}
