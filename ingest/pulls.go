package ingest

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"fairpull/campaign"
	"fairpull/quantity"
)

// maxPullColumns bounds the columns of pulls.csv.
const maxPullColumns = 256

// requiredColumns are those that every pulls.csv has.
var requiredColumns = []string{"pull", "started", "configuration", "setup", "log"}

// numberColumns are the columns of pulls.csv that hold a number with a meaning,
// and where in a pull it goes.
var numberColumns = map[string]func(*campaign.Pull, float64){
	"pressure_kpa": func(p *campaign.Pull, v float64) { p.Weather.Pressure = pointer(quantity.Pascal(v * 1000)) },
	"temperature_degc": func(p *campaign.Pull, v float64) {
		p.Weather.Temperature = pointer(quantity.Celsius(v))
	},
	"relative_humidity_pct": func(p *campaign.Pull, v float64) { p.Weather.RelativeHumidity = pointer(v / 100) },
	"vapour_pressure_kpa":   func(p *campaign.Pull, v float64) { p.Weather.VapourPressure = pointer(quantity.Pascal(v * 1000)) },
	"wet_bulb_degc":         func(p *campaign.Pull, v float64) { p.Weather.WetBulb = pointer(quantity.Celsius(v)) },
	"correction_factor":     func(p *campaign.Pull, v float64) { p.CorrectionFactor = v },
}

// textColumns are the other columns with a meaning.
var textColumns = map[string]func(*campaign.Pull, string){
	"pull":               func(p *campaign.Pull, text string) { p.Name = text },
	"configuration":      func(p *campaign.Pull, text string) { p.Configuration = text },
	"setup":              func(p *campaign.Pull, text string) { p.Setup = text },
	"log":                func(p *campaign.Pull, text string) { p.Log = text },
	"excluded":           func(p *campaign.Pull, text string) { p.Excluded = text },
	"correction_applied": func(p *campaign.Pull, text string) { p.CorrectionApplied = text },
	"started":            func(*campaign.Pull, string) {},
}

func pointer[T any](v T) *T { return &v }

// table is pulls.csv as text.
type table struct {
	file      string
	delimiter byte
	names     []string
	rows      []tableRow
	faults    Errors
}

type tableRow struct {
	line  int
	cells []string
}

// readPulls returns the pulls that pulls.csv names and its columns without a
// meaning to the program. The columns that procedure names must be numbers.
//
// The file has a header row and is delimited by commas, semicolons or tabs, with
// cells in quotes as in RFC 4180 where need be. Unknown columns are kept.
func readPulls(file string, data []byte, procedure []campaign.SetPoint) (pulls []campaign.Pull, extra []string, err error) {
	text, _, err := decode(file, data)
	if err != nil {
		return nil, nil, err
	}
	t, err := readTable(file, text)
	if err != nil {
		return nil, nil, err
	}
	measured := map[string]bool{}
	for _, point := range procedure {
		measured[point.Key] = true
		measured[point.Channel()] = true
	}
	pulls = make([]campaign.Pull, len(t.rows))
	for i := range pulls {
		pulls[i] = campaign.Pull{Line: t.rows[i].line, Values: map[string]string{}, Measured: map[string]float64{}}
	}
	numbers := t.readNumbers(measured)
	for column, name := range t.names {
		switch {
		case name == "":
			continue
		case textColumns[name] == nil && numberColumns[name] == nil:
			extra = append(extra, name)
		}
		for i, row := range t.rows {
			t.fill(&pulls[i], name, row.cells[column], numbers[column], i)
		}
	}
	for i := range pulls {
		t.checkRow(&pulls[i])
	}
	return pulls, extra, t.faults.err()
}

// fill puts one cell into a pull. Numbers of the column are given where it has
// any; row is the pull's place in them.
func (t *table) fill(p *campaign.Pull, name, cell string, numbers []*float64, row int) {
	set, isNumber := numberColumns[name]
	switch {
	case isNumber:
		if numbers[row] != nil {
			set(p, *numbers[row])
		}
	case name == "started":
		p.Started = t.readTime(p.Line, cell)
	case textColumns[name] != nil:
		textColumns[name](p, cell)
	default:
		p.Values[name] = cell
		if numbers != nil && numbers[row] != nil {
			p.Measured[name] = *numbers[row]
		}
	}
}

// readTable splits the text into rows as long as the header.
func readTable(file string, text []byte) (*table, error) {
	t := &table{file: file}
	if err := t.readHeader(text); err != nil {
		return nil, err
	}
	reader := csv.NewReader(bytes.NewReader(text))
	reader.Comma, reader.FieldsPerRecord = rune(t.delimiter), -1
	for header := true; ; header = false {
		cells, err := reader.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, t.malformed(err)
		}
		line, _ := reader.FieldPos(0)
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if header || allEmpty(cells) {
			continue
		}
		if len(t.rows) == MaxPulls {
			return nil, t.at(line, "", because(ErrTooLarge, "more than %d pulls are listed", MaxPulls), "split the campaign")
		}
		if len(cells) > len(t.names) && allEmpty(cells[len(t.names):]) {
			cells = cells[:len(t.names)]
		}
		if len(cells) != len(t.names) {
			t.faults.add(t.at(line, "", because(ErrRagged, "the row has %d cells where the header has %d columns", len(cells), len(t.names)), "put a cell that holds the delimiter in quotes, and leave missing cells empty"))
			continue
		}
		t.rows = append(t.rows, tableRow{line, cells})
	}
	if len(t.rows) == 0 && len(t.faults.List) == 0 {
		return nil, t.at(0, "", because(ErrNoData, "no pull is listed"), "write one row for each pull")
	}
	return t, nil
}

// readHeader finds the delimiter and the names of the columns.
func (t *table) readHeader(text []byte) error {
	lines := lineReader{text: text}
	var line []byte
	for more := true; more && len(bytes.TrimSpace(line)) == 0; {
		line, more = lines.next()
	}
	best := 0
	for _, delimiter := range delimiters {
		cells, ok := splitLine(line, delimiter)
		if !ok {
			continue
		}
		known := 1 // a header without any known name splits somehow, too
		for _, cell := range cells {
			if textColumns[cell] != nil || numberColumns[cell] != nil {
				known++
			}
		}
		if known > best {
			best, t.delimiter, t.names = known, delimiter, cells
		}
	}
	for n := len(t.names); n > 0 && t.names[n-1] == ""; n-- {
		t.names = t.names[:n-1]
	}
	if len(t.names) == 0 {
		return t.at(0, "", because(ErrNoData, "the file has no header row"), "name the columns "+strings.Join(requiredColumns, ", ")+" in the first row")
	}
	if len(t.names) > maxPullColumns {
		return t.at(lines.number, "", because(ErrTooLarge, "the header has %d columns, and %d are the most that are read", len(t.names), maxPullColumns), "take columns out")
	}
	return t.checkHeader(lines.number)
}

func (t *table) checkHeader(line int) error {
	seen := map[string]bool{}
	for _, name := range t.names {
		if seen[name] {
			return t.at(line, "column "+printable(name, longestShown), because(ErrDuplicate, "two columns have this name"), "rename one of them, or take it out")
		}
		seen[name] = true
		if err := campaign.CheckName(name); err != nil {
			return t.at(line, "", because(ErrNoHeader, "a column's name %v", err), "name every column of the header")
		}
	}
	var faults Errors
	for _, name := range requiredColumns {
		if !seen[name] {
			others := slices.DeleteFunc(slices.Clone(t.names), func(n string) bool { return slices.Contains(requiredColumns, n) })
			cure := "the header row must name the columns " + strings.Join(requiredColumns, ", ")
			if near := nearest(name, others); near != "" {
				cure = fmt.Sprintf("is the column %s meant?", near)
			}
			faults.add(t.at(line, "column "+name, because(ErrMissing, "the column is missing"), cure))
		}
	}
	return faults.err()
}

func allEmpty(cells []string) bool {
	return !slices.ContainsFunc(cells, func(cell string) bool { return cell != "" })
}

func (t *table) at(line int, column string, err error, cure string) error {
	return &SyntaxError{File: t.file, Line: line, Column: column, Err: err, Cure: cure}
}

// malformed turns an error of the CSV reader into one of ours.
func (t *table) malformed(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return t.at(0, "", err, "")
	}
	return &SyntaxError{
		File: t.file, Line: parse.StartLine, Err: because(ErrQuote, "a quotation mark is not closed, or stands inside a cell that does not begin with one"),
		Cure: `put the whole cell in quotation marks, and write "" for one inside it`,
	}
}

// readNumbers reads the columns that hold numbers: those with a meaning and
// those that measured names. The decimal mark is found column by column, and
// where a column leaves it open, from the others. An empty cell is nil.
func (t *table) readNumbers(measured map[string]bool) map[int][]*float64 {
	numbers := map[int][]*float64{}
	found := map[int]*marks{}
	for column, name := range t.names {
		if numberColumns[name] == nil && !measured[name] {
			continue
		}
		m := &marks{}
		values := make([]*float64, len(t.rows))
		for pass := 0; pass < 2; pass++ { // the second with the mark known
			for i, row := range t.rows {
				if cell := row.cells[column]; cell != "" {
					value, err := m.readNumber([]byte(cell))
					values[i] = &value
					if err != nil && err != errWrongMark && pass == 1 {
						t.faults.add(&SyntaxError{
							File: t.file, Line: row.line, Column: "column " + name, Text: cell, Err: err,
							Cure: "write a plain number, or leave the cell empty",
						})
					}
				}
			}
		}
		numbers[column], found[column] = values, m
	}
	t.settleMarks(found)
	return numbers
}

// settleMarks refuses columns whose decimal mark stays open.
func (t *table) settleMarks(found map[int]*marks) {
	var points, commas bool
	for _, m := range found {
		points = points || m.sure && m.mark == '.'
		commas = commas || m.sure && m.mark == ','
	}
	for column := range t.names {
		m := found[column]
		if m == nil || m.mark == 0 || m.sure {
			continue
		}
		if m.mark == '.' && !commas && (points || t.delimiter == ',') || m.mark == ',' && commas && !points {
			continue
		}
		t.faults.add(t.at(t.rows[0].line, "column "+t.names[column],
			because(ErrTwoReadings, "every number of this column could be a decimal number or a whole one with its thousands set off"),
			"write at least one of them with other than three decimals, as in 101,3250"))
	}
}

// rfc3339 is date-time of RFC 3339, section 5.6.
var rfc3339 = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d{1,9})?(Z|[+-]\d{2}:\d{2})$`)

// readTime reads a start time: RFC 3339, with its offset. A blank in place of
// the T is taken, as the note in its section 5.6 allows.
func (t *table) readTime(line int, cell string) time.Time {
	text := []byte(cell)
	if len(text) > 10 && text[10] == ' ' {
		text[10] = 'T'
	}
	text = bytes.ToUpper(text)
	if rfc3339.Match(text) { // package time is laxer than RFC 3339
		if started, err := time.Parse(time.RFC3339Nano, string(text)); err == nil {
			return started
		}
	}
	e := &SyntaxError{
		File: t.file, Line: line, Column: "column started", Text: cell, Err: because(ErrNotPossible, "is not a time as RFC 3339 has it"),
		Cure: "write date, time and offset, as in 2026-03-02T14:05:00+01:00",
	}
	if cell == "" {
		e.Err = ErrMissing
	} else if rfc3339.Match(append(text, 'Z')) {
		e.Err, e.Cure = because(ErrTwoReadings, "has no offset from UTC"), "write it behind the time, as in +01:00, or Z for UTC"
	}
	t.faults.add(e)
	return time.Time{}
}

// noReasons are words in the columns excluded and answer that say yes or no, or
// nothing, and not why.
var noReasons = []string{"no", "false", "yes", "true", "ok", "none", "nil", "null", "n/a", "na"}

// isReason says whether a text can be a reason: it has two letters at least, or
// one of a script that writes words with one, and is no mere yes or no.
func isReason(text string) bool {
	letters := 0
	for _, r := range text {
		switch {
		case unicode.Is(unicode.Han, r):
			letters += 2
		case unicode.IsLetter(r):
			letters++
		}
	}
	return letters >= 2 && !slices.Contains(noReasons, strings.ToLower(text))
}

// answerColumn holds a written answer to an open check on the pull.
const answerColumn = "answer"

// contentColumn says what a log holds: a pull or steady points.
const contentColumn = "log_content"

// checkRow refuses what one row cannot say.
func (t *table) checkRow(p *campaign.Pull) {
	fault := func(column, text string, err error, cure string) {
		t.faults.add(&SyntaxError{File: t.file, Line: p.Line, Column: "column " + column, Text: text, Err: err, Cure: cure})
	}
	if p.Excluded != "" && !isReason(p.Excluded) {
		fault("excluded", p.Excluded, because(ErrTwoReadings, "is not a reason, and this column holds the reason"),
			"write why the pull is left out, or leave the cell empty to keep it")
	}
	if answer := p.Values[answerColumn]; answer != "" && !isReason(answer) {
		fault(answerColumn, answer, because(ErrTwoReadings, "is no answer in words, and this column says why an open check does not count against the pull"),
			"write what was found about the pull, or leave the cell empty")
	}
	if content := p.Values[contentColumn]; content != "" && content != "pull" && content != "steady" {
		fault(contentColumn, content, because(ErrNotPossible, "is neither pull nor steady"), "write what the log holds, pull or steady, or leave the cell empty: the program then tells from the log")
	}
	if err := checkPath(p.Log); err != nil {
		fault("log", p.Log, err, "write the path from the folder down with / between its steps, as in logs/07.csv")
	}
}
