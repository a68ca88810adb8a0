package campaign

import (
	"errors"
	"unicode"
	"unicode/utf8"
)

// Longest texts, in bytes. They bound what a hostile folder can put on a page.
const (
	MaxID   = 64   // an id, the name of a pull or a setup
	MaxText = 4096 // any other text
)

// Reasons why a text is refused.
var (
	ErrEmpty   = errors.New("is empty")
	ErrNotSlug = errors.New("is not a slug: letters a to z, digits, '-', '_' and '.', the first a letter or digit")
	ErrTooLong = errors.New("is too long")
	ErrControl = errors.New("holds a control character or is not UTF-8")
)

// CheckID returns nil where id is a slug: 1 to [MaxID] letters a to z or A to Z,
// digits, '-', '_' and '.', the first a letter or a digit. Else it returns
// [ErrEmpty], [ErrTooLong] or [ErrNotSlug].
func CheckID(id string) error {
	if id == "" {
		return ErrEmpty
	}
	if len(id) > MaxID {
		return ErrTooLong
	}
	for i := range len(id) {
		c := id[i]
		letter := 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9'
		if !letter && (i == 0 || c != '-' && c != '_' && c != '.') {
			return ErrNotSlug
		}
	}
	return nil
}

// CheckName returns nil where name can name a pull or a setup: 1 to [MaxID]
// bytes of UTF-8 without control characters and without characters that only
// steer how others are shown (Unicode category Cf), so that two names that look
// alike are alike. Else it returns [ErrEmpty], [ErrTooLong] or [ErrControl].
func CheckName(name string) error {
	switch {
	case name == "":
		return ErrEmpty
	case len(name) > MaxID:
		return ErrTooLong
	}
	return checkCharacters(name, false)
}

// CheckText returns nil where text, which may be empty, can be shown: at most
// [MaxText] bytes of UTF-8 whose only control characters are tab, line feed and
// carriage return. Else it returns [ErrTooLong] or [ErrControl].
func CheckText(text string) error {
	if len(text) > MaxText {
		return ErrTooLong
	}
	return checkCharacters(text, true)
}

// checkCharacters refuses control characters; with breaks, tabs and line ends
// are taken, and so are the characters of category Cf.
func checkCharacters(text string, breaks bool) error {
	if !utf8.ValidString(text) {
		return ErrControl
	}
	for _, r := range text {
		if !breaks && unicode.Is(unicode.Cf, r) || unicode.IsControl(r) && !(breaks && (r == '\t' || r == '\n' || r == '\r')) {
			return ErrControl
		}
	}
	return nil
}
