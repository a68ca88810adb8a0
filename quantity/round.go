package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Places returns the number of decimal places at which two significant digits
// of the standard uncertainty u end: 2 for 0.0996, which rounds to 0.10; −1 for
// 123, which rounds to 120. It reports false unless u is finite and positive.
//
// Source: JCGM 100:2008 (GUM), 7.2.6: at most two significant digits of an
// uncertainty, and the estimate rounded to match.
func Places(u float64) (int, bool) {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0, false
	}
	return 1 - exponent(strconv.FormatFloat(u, 'e', 1, 64)), true
}

// RoundTo returns value rounded where two significant digits of its uncertainty
// end, in plain decimal notation with "-" for minus, and the uncertainty rounded
// likewise. Both are in one unit. A value that rounds to zero has no sign.
//
// It reports false, and no text, unless value is finite and u finite and
// positive: without an uncertainty no number of digits is honest.
func RoundTo(value, u float64) (v, uncertainty string, ok bool) {
	places, ok := Places(u)
	if !ok || math.IsNaN(value) || math.IsInf(value, 0) {
		return "", "", false
	}
	return decimal(value, places), decimal(u, places), true
}

// Fixed returns value with the given number of decimal places (negative: rounded
// to tens, hundreds, …), under the rules of RoundTo. It is for figures whose
// places another figure's uncertainty has fixed, such as an interval's ends. It
// reports false unless value is finite.
func Fixed(value float64, places int) (string, bool) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return "", false
	}
	return decimal(value, places), true
}

// RoundDown returns value rounded towards minus infinity at the given number of
// decimal places, 0 to 15: what may be promised of an at-least figure. A value
// that is the float64 nearest to a decimal of that many places stays as it is,
// so 0.3 at one place is 0.3. It reports false unless value is finite and
// places in range.
func RoundDown(value float64, places int) (string, bool) {
	if math.IsNaN(value) || math.IsInf(value, 0) || places < 0 || places > 15 {
		return "", false
	}
	shortest := strconv.FormatFloat(math.Abs(value), 'f', -1, 64)
	point := strings.IndexByte(shortest, '.')
	if point < 0 || len(shortest)-point-1 <= places {
		return decimal(value, places), true
	}
	kept := strings.TrimSuffix(shortest[:point+1+places], ".")
	if value > 0 {
		return kept, true
	}
	return "-" + nextUp(kept), true
}

// nextUp returns the decimal text of digits and at most one point with one unit
// of its last place added.
func nextUp(text string) string {
	digits := []byte(text)
	for i := len(digits) - 1; i >= 0; i-- {
		switch digits[i] {
		case '.':
		case '9':
			digits[i] = '0'
		default:
			digits[i]++
			return string(digits)
		}
	}
	return "1" + string(digits)
}

// decimal returns the finite value at the given decimal places, halves to even
// on the exact binary value, without exponent and without a negative zero.
func decimal(value float64, places int) string {
	var text string
	if places >= 0 {
		text = strconv.FormatFloat(value, 'f', places, 64)
	} else {
		text = strconv.FormatFloat(toTens(value, -places), 'f', -1, 64)
	}
	if strings.HasPrefix(text, "-") && strings.Trim(text, "-0.") == "" {
		return text[1:]
	}
	return text
}

// toTens returns value rounded to a multiple of 10^n, n > 0.
func toTens(value float64, n int) float64 {
	digits := exponent(strconv.FormatFloat(value, 'e', -1, 64)) - n
	if digits < 0 {
		return math.RoundToEven(value/math.Pow10(n)) * math.Pow10(n)
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(value, 'e', digits, 64), 64)
	if err != nil { // rounded up beyond the largest float64
		return value
	}
	return rounded
}

// exponent returns the decimal exponent of a number that strconv wrote in the
// format 'e'.
func exponent(text string) int {
	n, err := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:])
	if err != nil {
		panic("quantity: no exponent in " + text) // strconv always writes one
	}
	return n
}
