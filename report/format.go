package report

import (
	"math"
	"strconv"
	"strings"
	"unicode"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// minus is the sign of negative numbers in everything but JSON numbers.
const minus = "−"

// typographic puts the minus sign in the place of a leading hyphen.
func typographic(s string) string {
	if rest, negative := strings.CutPrefix(s, "-"); negative {
		return minus + rest
	}
	return s
}

// fixed returns v with the given decimal places, "–" where v is not finite.
func fixed(v float64, places int) string {
	s, ok := quantity.Fixed(v, places)
	if !ok {
		return "–"
	}
	return typographic(s)
}

// signed is fixed with a plus sign before a positive number.
func signed(v float64, places int) string {
	s := fixed(v, places)
	if v > 0 && s != "–" && strings.Trim(s, "0.") != "" {
		return "+" + s
	}
	return s
}

// roundedDown returns v cut down to one decimal place: what may be promised.
func roundedDown(v float64) string {
	s, ok := quantity.RoundDown(v, 1)
	if !ok {
		return "–"
	}
	return typographic(s)
}

// plain returns v with as many digits as it was written with, six at most.
func plain(v float64) string {
	return typographic(strconv.FormatFloat(v, 'g', 6, 64))
}

// places returns the decimal places of a figure whose uncertainty, as shown
// beside it, is u: two significant digits of u, never more than most and never
// less than none. Without an uncertainty it is one.
//
// Source: JCGM 100:2008 (GUM), 7.2.6.
func places(u float64, most int) int {
	n, ok := quantity.Places(u)
	if !ok {
		return 1
	}
	return max(0, min(n, most))
}

// gainPlaces are the most decimal places that a gain in per cent is given.
const gainPlaces = 2

// gainText is a gain in words and figures: every number in per cent, rounded to
// match the interval, and never one without the other.
type gainText struct {
	Value    string // signed: +6.7
	Size     string // without sign: 6.7
	Lo, Hi   string // signed where either is negative, so 5.5 and 7.9; empty without an interval
	AtLeast  string // rounded down to 0.1; empty without an interval
	Interval string // "5.5 % to 7.9 %", or "no interval"
}

// gainTextOf words a figure that has a gain.
func gainTextOf(f *compare.Figure) gainText {
	return gainWords(f.Gain, f.Lo, f.Hi, f.AtLeast, f.Interval)
}

// gainWords words a gain, its two-sided interval and its at-least figure, all
// on the log scale.
func gainWords(gain, lo, hi, atLeast float64, interval bool) gainText {
	g := percent(gain)
	if !interval {
		return gainText{Value: signed(g, 1), Size: fixed(math.Abs(g), 1), Interval: "no interval"}
	}
	low, high := percent(lo), percent(hi)
	n := places((high-low)/2, gainPlaces)
	write := fixed
	if low < 0 {
		write = signed
	}
	t := gainText{
		Value: signed(g, n), Size: fixed(math.Abs(g), n),
		Lo: write(low, n), Hi: write(high, n), AtLeast: roundedDown(percent(atLeast)),
	}
	t.Interval = t.Lo + " % to " + t.Hi + " %"
	return t
}

// span returns "2500 to 6000 rpm".
func span(rpm [2]float64) string { return plain(rpm[0]) + " to " + plain(rpm[1]) + " rpm" }

// confidence returns "95 %".
func confidence(c float64) string { return plain(100*c) + " %" }

// level returns an SI value of dimension d with half, the half-width of its
// interval, in the person's unit: "61.2 ± 0.6 N·m". Without a half-width it
// keeps one decimal place and says nothing of its doubt.
func level(value, half float64, d quantity.Dimension, units quantity.System) string {
	number, doubt := levelNumbers(value, half, d, units)
	if doubt == "" {
		return number + " " + units.Unit(d).Name
	}
	return number + " ± " + doubt + " " + units.Unit(d).Name
}

// levelNumbers returns the two numbers of level; the second is empty without a
// half-width.
func levelNumbers(value, half float64, d quantity.Dimension, units quantity.System) (number, doubt string) {
	unit := units.Unit(d)
	value, half = unit.From(value), unit.FromDifference(half)
	n := places(half, 2)
	if half > 0 && !math.IsInf(half, 0) {
		doubt = fixed(half, n)
	}
	return fixed(value, n), doubt
}

// maxWords bounds a string from a file within a sentence or a table.
const maxWords = 120

// clean returns a string from a file fit to be shown anywhere: control and
// formatting characters (a terminal's escapes, a change of writing direction)
// become U+FFFD, line breaks and tabs become spaces, and a very long string is
// cut with an ellipsis.
func clean(s string) string { return cleanTo(s, maxWords) }

func cleanTo(s string, most int) string {
	var b strings.Builder
	n := 0
	for _, r := range s { // an invalid byte comes as U+FFFD
		if n == most {
			b.WriteRune('…')
			break
		}
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			r = ' '
		case unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029':
			r = unicode.ReplacementChar
		}
		b.WriteRune(r)
		n++
	}
	return strings.TrimSpace(b.String())
}

// side names a configuration: “kit” (B), or B where it has no name of its own.
func (g *Gain) side(id string) string {
	name := clean(g.configuration(id).Name)
	short := clean(id)
	if name == "" || name == short {
		return short
	}
	return "“" + name + "” (" + short + ")"
}

// plural returns "1 pull" or "3 pulls".
func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// list joins words: "a", "a and b", "a, b and c".
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// maxPullsNamed bounds how many pulls a sentence names.
const maxPullsNamed = 8

// pullNames returns "pull 3", "pulls 3, 4 and 7", "pulls 1, 2, … and 12 more".
func pullNames(names []string) string {
	shown := make([]string, 0, maxPullsNamed+1)
	for i, name := range names {
		if i == maxPullsNamed {
			shown = append(shown, strconv.Itoa(len(names)-i)+" more")
			break
		}
		shown = append(shown, cleanTo(name, 24))
	}
	if len(names) == 1 {
		return "pull " + shown[0]
	}
	return "pulls " + list(shown)
}

// statusWord is a status with the mark that goes before it: shape and word tell
// it, not colour alone.
func statusMark(s campaign.Status) string {
	switch s {
	case campaign.Pass:
		return "✓"
	case campaign.Warn:
		return "!"
	}
	return "✗"
}
