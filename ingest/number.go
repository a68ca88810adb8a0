package ingest

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"strings"
)

// powersOfTen are exact in a float64 up to 10²².
var powersOfTen = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// maxExact is 2⁵³: whole numbers up to it are exact in a float64.
const maxExact = 1 << 53

// plainNumber reads digits with an optional sign and an optional decimal mark
// from text[at], which must end in a byte that is none of these. It returns the
// nearest float64, the digits before and after the mark, and the offset behind.
// An end of 0 says that the number is none of this plain form, or so long that
// the result would not be sure to be the nearest: readNumber then has to do it.
//
// A whole number up to 2⁵³ and a power of ten up to 10²² are both exact, so one
// division rounds once. Source: W. D. Clinger, How to read floating point
// numbers accurately, PLDI 1990.
func plainNumber(text []byte, at int, mark byte) (value float64, whole, fraction, end int) {
	negative := false
	switch text[at] {
	case '-':
		negative = true
		at++
	case '+':
		at++
	}
	start := at
	var digits uint64
	c := text[at]
	for c-'0' <= 9 {
		digits = digits*10 + uint64(c-'0')
		at++
		c = text[at]
	}
	whole = at - start
	if c == mark {
		at++
		start = at
		c = text[at]
		for c-'0' <= 9 {
			digits = digits*10 + uint64(c-'0')
			at++
			c = text[at]
		}
		fraction = at - start
	}
	if n := whole + fraction; n == 0 || n > 19 || digits > maxExact {
		return 0, 0, 0, 0
	}
	value = float64(digits)
	if fraction > 0 {
		value /= powersOfTen[fraction]
	}
	if negative {
		value = -value
	}
	return value, whole, fraction, at
}

// marks is what the cells of one column have said of its decimal mark.
type marks struct {
	mark byte // '.' or ','; 0: no cell had one
	sure bool // a cell, or the campaign, left no other reading
}

// Outcomes of readNumber that its callers must act on.
var (
	errMixedMarks = because(ErrTwoReadings, "takes another decimal mark than cells before it in this column")
	errWrongMark  = errors.New("the mark taken for the decimal mark groups thousands")
)

// longestNumber bounds a number in bytes: 64-bit binary written out in full by
// the wordiest exporter has 26.
const longestNumber = 64

// readNumber reads one number of a column and learns from it which sign is the
// column's decimal mark. The text is not empty and has no blanks at its ends.
//
// Digits may be grouped in threes by the sign that is not the decimal mark, a
// blank, a no-break blank or an apostrophe. "1,234" can be 1.234 or 1234: such
// a cell leaves the mark unsure, and is read as a decimal number meanwhile. A
// later cell that allows one reading only makes it sure; if it is the other one,
// errWrongMark says that the column has to be read again with m as it is now.
//
// Words such as NaN and Inf are ErrNotFinite, as is a number beyond 1.8e308.
func (m *marks) readNumber(text []byte) (float64, error) {
	if len(text) > longestNumber {
		return 0, ErrNotNumber
	}
	var number numberText
	if err := number.split(text); err != nil {
		return 0, err
	}
	decimal, sure, err := m.decide(&number)
	if err != nil {
		return 0, err
	}
	value, err := number.value(decimal)
	if err != nil {
		return 0, err
	}
	if decimal == 0 {
		return value, nil
	}
	wrong := m.mark != 0 && m.mark != decimal
	m.mark, m.sure = decimal, m.sure || sure
	if wrong {
		return value, errWrongMark
	}
	return value, nil
}

// decide returns the decimal mark that the number shows, 0 for none, and
// whether no other reading is left. It does not change m.
func (m *marks) decide(n *numberText) (decimal byte, sure bool, err error) {
	other := map[byte]byte{'.': ',', ',': '.'}
	switch {
	case n.dots == 0 && n.commas == 0:
		return 0, false, nil
	case n.dots > 0 && n.commas > 0:
		decimal, sure = n.lastMark, true
	case n.dots+n.commas > 1: // one sign, several times: it groups thousands
		decimal, sure = other[n.lastMark], true
	case !n.couldBeGroup():
		decimal, sure = n.lastMark, true
	case m.mark == 0 || m.mark == n.lastMark:
		return n.lastMark, false, nil
	case m.sure: // the column's mark is the other sign, so this one groups
		return m.mark, true, nil
	default:
		return 0, false, errMixedMarks
	}
	if m.sure && m.mark != decimal {
		return 0, false, errMixedMarks
	}
	return decimal, sure, nil
}

// numberText is a number taken apart.
type numberText struct {
	negative     bool
	body         []byte // digits, marks and blanks
	exponent     []byte // with its e; may be empty
	dots, commas int
	blanks       bool
	lastMark     byte
	lastAt       int // of lastMark in body
}

// split takes text apart; it refuses what holds anything but digits, marks,
// blanks between digits, a sign in front and an exponent.
func (n *numberText) split(text []byte) error {
	body := text
	switch {
	case body[0] == '+':
		body = body[1:]
	case body[0] == '-':
		n.negative, body = true, body[1:]
	case bytes.HasPrefix(body, []byte("\u2212")):
		n.negative, body = true, body[len("\u2212"):]
	}
	if isInfinite(body) {
		return ErrNotFinite
	}
	if at := bytes.IndexAny(body, "eE"); at >= 0 {
		n.exponent = body[at:]
		body = body[:at]
		if !isExponent(n.exponent) {
			return ErrNotNumber
		}
	}
	n.body = body
	digits := 0
	for i, c := range body {
		switch {
		case c-'0' <= 9:
			digits++
		case c == '.':
			n.dots, n.lastMark, n.lastAt = n.dots+1, c, i
		case c == ',':
			n.commas, n.lastMark, n.lastAt = n.commas+1, c, i
		case c == ' ' || c == '\'' || c >= 0x80:
			n.blanks = true
		default:
			return ErrNotNumber
		}
	}
	if digits == 0 {
		return ErrNotNumber
	}
	return nil
}

// couldBeGroup reports whether the only mark of the number could set off
// thousands: one to three digits without a leading zero before it, exactly
// three behind.
func (n *numberText) couldBeGroup() bool {
	return groupLike(n.body[0], n.lastAt, len(n.body)-n.lastAt-1) && len(n.exponent) == 0 && !n.blanks
}

// groupLike reports whether a mark behind whole digits, of which first is the
// first, and before fraction digits could set off thousands.
func groupLike(first byte, whole, fraction int) bool {
	return fraction == 3 && whole >= 1 && whole <= 3 && first != '0'
}

// value returns the number, given its decimal mark (0 for none).
func (n *numberText) value(decimal byte) (float64, error) {
	var buffer [longestNumber + 2]byte
	out := buffer[:0]
	if n.negative {
		out = append(out, '-')
	}
	whole, fraction, marked := n.body, []byte(nil), false
	if decimal != 0 {
		whole, fraction, marked = bytes.Cut(n.body, []byte{decimal})
	}
	out, ok := ungroup(out, whole)
	if !ok {
		return 0, ErrNotNumber
	}
	if marked {
		out = append(out, '.')
		for _, c := range fraction {
			if c-'0' > 9 {
				return 0, ErrNotNumber
			}
		}
		out = append(out, fraction...)
	}
	out = append(out, n.exponent...)
	value, err := strconv.ParseFloat(string(out), 64)
	if err != nil || math.IsInf(value, 0) {
		return 0, ErrNotFinite
	}
	return value, nil
}

// groupSigns are what may stand between groups of three digits.
var groupSigns = []string{".", ",", " ", "'", "\u00a0", "\u202f", "\u2009", "\u2019"}

// ungroup appends the digits of whole to out. It refuses groups of another size
// than three, a first group of none or more than three, and mixed signs.
func ungroup(out, whole []byte) ([]byte, bool) {
	run, groups := 0, 0
	sign := ""
	for i := 0; i < len(whole); {
		if whole[i]-'0' <= 9 {
			out = append(out, whole[i])
			run++
			i++
			continue
		}
		found := signAt(whole[i:])
		if found == "" || sign != "" && found != sign || run < 1 || run > 3 || groups > 0 && run != 3 {
			return out, false
		}
		sign, run = found, 0
		groups++
		i += len(found)
	}
	return out, groups == 0 || run == 3
}

func signAt(text []byte) string {
	for _, sign := range groupSigns {
		if bytes.HasPrefix(text, []byte(sign)) {
			return sign
		}
	}
	return ""
}

// isInfinite reports whether text is a word for what is not a number or not
// finite.
func isInfinite(text []byte) bool {
	if len(text) < 3 || len(text) > 9 {
		return false
	}
	word := strings.TrimPrefix(strings.ToLower(string(text)), "1.#")
	switch strings.TrimRight(word, "0") {
	case "nan", "inf", "infinity", "qnan", "snan", "ind":
		return true
	}
	return false
}

// isExponent reports whether text is e or E, an optional sign and digits.
func isExponent(text []byte) bool {
	digits := text[1:]
	if len(digits) > 0 && (digits[0] == '+' || digits[0] == '-') {
		digits = digits[1:]
	}
	if len(digits) == 0 {
		return false
	}
	for _, c := range digits {
		if c-'0' > 9 {
			return false
		}
	}
	return true
}
