package ingest

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fairpull/signal"
)

// How far down a file its header is looked for.
const (
	maxPreambleLines = 1000
	maxPreambleBytes = MaxLineBytes
)

// delimiters are those of the format.
var delimiters = []byte{',', ';', '\t'}

// header is the head of a log: what stands above its first data row.
type header struct {
	delimiter byte // 0: one column, nothing to tell apart
	line      int  // of the titles
	titles    []title
	unitLine  int      // 0: there is no row of units
	units     []string // as many as titles where there is such a row
	data      int      // offset of the first data row
	dataLine  int
	figures   figures // as the preamble says
}

// findHeader finds the line that names the columns, the delimiter and the row
// of units. The header is the first line in which, split by one of the
// delimiters, a column is found that makes a log of a known kind, and behind
// which (after a row of units, maybe) a number stands in such a column.
func findHeader(file string, text []byte, sources map[string]string) (*header, error) {
	var first *header
	place := unsaid
	lines := lineReader{text: text}
	for lines.number < maxPreambleLines && lines.at < maxPreambleBytes {
		line, ok := lines.next()
		if !ok {
			break
		}
		for _, delimiter := range delimiters {
			h := headerAt(line, delimiter, sources)
			if h == nil {
				continue
			}
			h.line, h.figures = lines.number, place
			h.settle(lines, text)
			if len(h.titles) == 1 {
				h.delimiter = 0
			}
			if h.data < len(text) && h.numbersAt(text) {
				return h, nil
			}
			if first == nil {
				first = h
			}
		}
		if said := figuresLine(string(cutBytes(line, 100))); said != unsaid {
			place = said
		}
	}
	if first == nil {
		return nil, noHeader(file, text, sources)
	}
	return first, nil
}

// headerAt returns the titles of a line, or nil where they make no log of a
// known kind.
func headerAt(line []byte, delimiter byte, sources map[string]string) *header {
	cells, ok := splitLine(line, delimiter)
	if !ok {
		return nil
	}
	h := &header{delimiter: delimiter}
	for _, cell := range cells {
		h.titles = append(h.titles, readTitle(cell, sources))
	}
	for h.titles[len(h.titles)-1].text == "" { // a delimiter at the line's end
		h.titles = h.titles[:len(h.titles)-1]
		if len(h.titles) == 0 {
			return nil
		}
	}
	for i := range h.titles {
		if t := &h.titles[i]; t.text == "" {
			t.text = fmt.Sprintf("column %d", i+1)
			t.base = t.text
		}
	}
	if h.has(signal.DrumSpeed) || h.has(drumPulseColumn) ||
		h.has(signal.EngineSpeed) && (h.has(signal.Power) || h.has(signal.Torque)) {
		return h
	}
	return nil
}

func (h *header) has(name string) bool {
	for i := range h.titles {
		if h.titles[i].name == name {
			return true
		}
	}
	return false
}

// settle finds where the data begin, and the row of units before them. The
// reader stands behind the line of titles.
func (h *header) settle(lines lineReader, text []byte) {
	h.data, h.dataLine = len(text), lines.number+1
	for {
		at := lines.at
		line, ok := lines.next()
		if !ok {
			return
		}
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if h.units == nil {
			if cells, ok := splitLine(line, h.delimiter); ok && h.isUnits(cells) {
				h.unitLine, h.units = lines.number, cells
				continue
			}
		}
		h.data, h.dataLine = at, lines.number
		return
	}
}

// isUnits reports whether the cells are units: at least one of a known column
// is no number, and none is one, but for "1".
func (h *header) isUnits(cells []string) bool {
	words := 0
	for i, cell := range cells {
		if i >= len(h.titles) || h.titles[i].name == "" || cell == "" || cell == "1" {
			continue
		}
		if isValue(cell) {
			return false
		}
		words++
	}
	return words > 0
}

// numbersAt reports whether the first data row holds a number in a column that
// the program knows.
func (h *header) numbersAt(text []byte) bool {
	line, _ := (&lineReader{text: text, at: h.data}).next()
	cells, ok := splitLine(line, h.delimiter)
	if !ok {
		return false
	}
	for i, cell := range cells {
		if i < len(h.titles) && h.titles[i].name != "" && isValue(cell) {
			return true
		}
	}
	return false
}

// isValue reports whether the cell is a number, a word for none, or a clock
// time.
func isValue(cell string) bool {
	if cell == "" {
		return false
	}
	if cell[0]-'0' <= 9 && strings.Contains(cell, ":") {
		return true
	}
	var m marks
	_, err := m.readNumber([]byte(cell))
	return err == nil || err == ErrNotFinite
}

// noHeader returns the error for a text without a header of a known kind. It
// shows the names of the line that looks most like one, and the name in it that
// is nearest to one that was looked for.
func noHeader(file string, text []byte, sources map[string]string) error {
	lines := lineReader{text: text}
	var best []string
	bestLine, widest := 0, 0
	for lines.number < maxPreambleLines && lines.at < maxPreambleBytes {
		line, ok := lines.next()
		if !ok {
			break
		}
		for _, delimiter := range delimiters {
			widest = max(widest, bytes.Count(line, []byte{delimiter})+1)
			cells, ok := splitLine(line, delimiter)
			if ok && len(cells) > max(len(best), 1) && !isValue(cells[0]) && !isValue(cells[len(cells)-1]) {
				best, bestLine = cells, lines.number
			}
		}
	}
	switch {
	case len(bytes.TrimSpace(text)) == 0:
		return &SyntaxError{File: file, Err: because(ErrNoData, "the file is empty"), Cure: "copy it again from the logger"}
	case widest > MaxLogColumns:
		return &SyntaxError{File: file, Err: because(ErrTooLarge, "a line has %d columns, and %d are the most that are read", widest, MaxLogColumns), Cure: "export only the channels that were recorded"}
	}
	e := &SyntaxError{
		File: file, Line: bestLine,
		Err:  because(ErrNoHeader, "no header was found that names drum_speed, drum_pulse, or engine_speed with power or torque"),
		Cure: `name the columns so, or say in campaign.toml which they are, as in drum_speed = { column = "v", unit = "km/h" } under [channels]`,
	}
	if best != nil {
		e.Text = strings.Join(best[:min(len(best), 8)], " | ")
		e.Err = because(ErrNoHeader, "names no drum_speed, no drum_pulse, and no engine_speed with power or torque")
	}
	wanted := []string{signal.DrumSpeed, drumPulseColumn}
	for _, column := range slices.Sorted(maps.Keys(sources)) {
		channel := sources[column]
		if slices.Contains(wanted, channel) && column != channel {
			e.Cure = fmt.Sprintf("[channels] names the column %s for %s: correct it there, or name the column %s", printable(column, longestShown), channel, channel)
			wanted = append(wanted, column)
		}
	}
	for _, cell := range best {
		if t := readTitle(cell, nil); nearest(t.base, wanted) != "" {
			e.Cure = fmt.Sprintf("is the column %s meant to be %s? Then name it so, or under [channels] of campaign.toml", printable(t.base, longestShown), printable(nearest(t.base, wanted), longestShown))
		}
	}
	return e
}

// lineReader walks over the lines of a text.
type lineReader struct {
	text   []byte
	at     int // behind the line read last
	number int // of the line read last, from 1
}

// next returns the next line without its end.
func (r *lineReader) next() ([]byte, bool) {
	if r.at >= len(r.text) {
		return nil, false
	}
	line, _, _ := bytes.Cut(r.text[r.at:], []byte{'\n'})
	r.at += len(line) + 1
	r.number++
	return bytes.TrimSuffix(line, []byte{'\r'}), true
}

// splitLine returns the cells of a line, blanks at their ends and quotation
// marks taken off. It does not take a line that is too long, has more cells than
// a log may, or a quotation mark where none belongs.
func splitLine(line []byte, delimiter byte) ([]string, bool) {
	if len(line) > MaxLineBytes || bytes.Count(line, []byte{delimiter}) >= MaxLogColumns {
		return nil, false
	}
	ended := append(bytes.Clone(line), '\n')
	var cells []string
	for at := 0; ; {
		cell, end, err := takeCell(ended, at, delimiter)
		if err != nil {
			return nil, false
		}
		cells = append(cells, string(cell))
		if ended[end] != delimiter {
			return cells, true
		}
		at = end + 1
	}
}

// takeCell returns the cell at text[at] without blanks around it and without
// quotation marks, and the offset of the delimiter or line feed that ends it.
// The text must end in a line feed.
func takeCell(text []byte, at int, delimiter byte) (cell []byte, end int, err error) {
	start := at
	for text[start] == ' ' || text[start] == '\t' && delimiter != '\t' {
		start++
	}
	if text[start] == '"' {
		return takeQuoted(text, start+1, delimiter)
	}
	end = start
	for text[end] != '\n' && (text[end] != delimiter || delimiter == 0) {
		end++
	}
	cell = bytes.TrimRight(text[start:end], " \t\r")
	if bytes.IndexByte(cell, '"') >= 0 {
		return nil, end, because(ErrQuote, "holds a quotation mark inside a cell that does not begin with one")
	}
	return cell, end, nil
}

// takeQuoted is takeCell behind an opening quotation mark. Two marks stand for
// one, as in RFC 4180, section 2, rule 7. A line feed inside is refused: no
// number has one.
func takeQuoted(text []byte, at int, delimiter byte) (cell []byte, end int, err error) {
	end = at
	doubled := false
	for ; ; end++ {
		if text[end] == '\n' {
			return nil, end, because(ErrQuote, "opens a quotation mark that is not closed in this line")
		}
		if text[end] == '"' {
			if text[end+1] != '"' {
				break
			}
			doubled = true
			end++
		}
	}
	cell = text[at:end]
	if doubled {
		cell = bytes.ReplaceAll(cell, []byte(`""`), []byte(`"`))
	}
	end++
	for text[end] == ' ' || text[end] == '\r' || text[end] == '\t' && delimiter != '\t' {
		end++
	}
	if text[end] != '\n' && (text[end] != delimiter || delimiter == 0) {
		return nil, end, because(ErrQuote, "goes on behind its closing quotation mark")
	}
	return bytes.TrimSpace(cell), end, nil
}

func cutBytes(b []byte, n int) []byte { return b[:min(n, len(b))] }
