// Package ingest reads campaign folders and logs: text to channels in SI units,
// with file, line and column where something cannot be read.
//
// What can be read in two ways is an error that asks, never a guess. Nothing
// outside the folder is read, and every size is bounded.
package ingest

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// Kinds of error, for [errors.Is].
var (
	ErrNotNumber    = errors.New("is not a number")
	ErrNotFinite    = errors.New("is not a finite number")
	ErrTwoReadings  = errors.New("can be read in two ways")
	ErrMissing      = errors.New("is missing")
	ErrUnknownKey   = errors.New("is no key of this table")
	ErrUnit         = errors.New("cannot be read without its unit")
	ErrRagged       = errors.New("does not fit the header")
	ErrQuote        = errors.New("holds a quotation mark that does not belong there")
	ErrTooLarge     = errors.New("is larger than it may be")
	ErrCharacters   = errors.New("is not text")
	ErrNoHeader     = errors.New("has no header that can be used")
	ErrNoData       = errors.New("has no data")
	ErrDuplicate    = errors.New("stands there twice")
	ErrOutside      = errors.New("is not a path below the folder")
	ErrNotFile      = errors.New("is not a regular file")
	ErrNotPossible  = errors.New("is not possible")
	ErrContradicted = errors.New("contradicts what is said elsewhere")
)

// SyntaxError says what could not be read, where, and what to do.
type SyntaxError struct {
	File     string
	Line     int    // from 1; 0: the file as a whole
	Column   string // name of the column, or path of the key; may be empty
	Position int    // from 1, in characters from the start of the line; 0: not told
	Text     string // the text as read; may be empty
	Err      error  // what is wrong with it
	Cure     string // what to do; may be empty
}

// Error returns one sentence: the place, the text as read, what is wrong with
// it and what to do.
func (e *SyntaxError) Error() string {
	var b strings.Builder
	b.WriteString(printable(e.File, longestShown))
	if e.Line > 0 {
		fmt.Fprintf(&b, ", line %d", e.Line)
		if e.Position > 0 {
			fmt.Fprintf(&b, ", character %d", e.Position)
		}
	}
	if e.Column != "" {
		fmt.Fprintf(&b, ", %s", printable(e.Column, longestShown))
	}
	b.WriteString(": ")
	if e.Text != "" {
		fmt.Fprintf(&b, "%q ", cut(e.Text, longestShown))
	}
	fmt.Fprintf(&b, "%v", e.Err)
	if e.Cure != "" {
		fmt.Fprintf(&b, "; %s", e.Cure)
	}
	return strings.Map(shown, b.String())
}

// shown returns a character as a terminal can be trusted with it.
func shown(r rune) rune {
	if unicode.IsPrint(r) {
		return r
	}
	return unicode.ReplacementChar
}

// Unwrap returns what is wrong.
func (e *SyntaxError) Unwrap() error { return e.Err }

// longestShown bounds, in bytes, a text that a message repeats.
const longestShown = 60

// cut returns text, shortened at a character's end where it is longer than n
// bytes.
func cut(text string, n int) string {
	if len(text) <= n {
		return text
	}
	for n > 0 && text[n]&0xC0 == 0x80 {
		n--
	}
	return text[:n] + "…"
}

// printable returns text cut to n bytes; with anything but printable characters
// in it, in quotes with those escaped.
func printable(text string, n int) string {
	text = cut(text, n)
	if quoted := fmt.Sprintf("%q", text); quoted[1:len(quoted)-1] != text {
		return quoted
	}
	return text
}

// reason is an error of a given kind in words that fit the case.
type reason struct {
	kind  error
	text  string
	cause error // nil: none
}

func (r *reason) Error() string { return r.text }

func (r *reason) Unwrap() []error {
	if r.cause == nil {
		return []error{r.kind}
	}
	return []error{r.kind, r.cause}
}

// because returns an error that is of the given kind and reads as the text.
func because(kind error, format string, args ...any) error {
	return &reason{kind: kind, text: fmt.Sprintf(format, args...)}
}

// as returns an error of the given kind that reads as its cause.
func as(kind, cause error) error {
	return &reason{kind: kind, text: cause.Error(), cause: cause}
}

// maxListed bounds the errors that are told at once.
const maxListed = 20

// Errors is several errors of one file, in the order of the file.
type Errors struct {
	List []error // at most 20
	More int     // how many more there are
}

// Error returns one error a line.
func (e *Errors) Error() string {
	lines := make([]string, 0, len(e.List)+1)
	for _, err := range e.List {
		lines = append(lines, err.Error())
	}
	if e.More > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", e.More))
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the errors listed.
func (e *Errors) Unwrap() []error { return e.List }

// add puts err on the list, or counts it.
func (e *Errors) add(err error) {
	if len(e.List) < maxListed {
		e.List = append(e.List, err)
	} else {
		e.More++
	}
}

// err returns nil for an empty list, the error itself where it is the only one.
func (e *Errors) err() error {
	switch {
	case len(e.List) == 0:
		return nil
	case len(e.List) == 1 && e.More == 0:
		return e.List[0]
	}
	return e
}
