package web

import (
	"errors"
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// fields reads a form, and keeps what is wrong with it by the field's name, so that
// it stands beside the field.
type fields struct {
	v     url.Values
	wrong map[string]string
}

func newFields(v url.Values) *fields { return &fields{v, map[string]string{}} }

// text returns a field without its outer blanks, on one line.
func (f *fields) text(name string) string { return strings.Join(strings.Fields(f.v.Get(name)), " ") }

// number returns a field as a number; an empty one is 0. A comma is a decimal mark.
func (f *fields) number(name string) float64 {
	typed := f.text(name)
	if typed == "" {
		return 0
	}
	plain, ok := report.EnteredValue("", typed, quantity.SI)
	v, err := strconv.ParseFloat(plain, 64)
	if !ok || err != nil {
		f.blame(name, "“"+typed+"” is no number.")
		return 0
	}
	return v
}

// within is number for a field that lies between two bounds, or is empty.
func (f *fields) within(name string, low, high float64) float64 {
	v := f.number(name)
	if f.text(name) != "" && f.wrong[name] == "" && !(v >= low && v <= high) {
		f.blame(name, fmt.Sprintf("This is a number from %g to %g.", low, high))
		return 0
	}
	return v
}

// whole is within for a whole number.
func (f *fields) whole(name string, low, high int) int {
	v := f.within(name, float64(low), float64(high))
	if v != math.Trunc(v) {
		f.blame(name, "This is a whole number.")
		return 0
	}
	return int(v)
}

// some is within for a field that is not stated where it is empty: NaN.
func (f *fields) some(name string, low, high float64) float64 {
	if f.text(name) == "" {
		return math.NaN()
	}
	return f.within(name, low, high)
}

func (f *fields) ticked(name string) bool { return f.v.Get(name) != "" }

func (f *fields) blame(name, text string) {
	if f.wrong[name] == "" {
		f.wrong[name] = text
	}
}

// take notes an error of what was asked for, beside the field that it speaks of, else
// at the top of the form, and reports whether it was one that a person can do
// something about.
func (f *fields) take(err error, fieldOf func(key string) string) bool {
	var problem campaign.Problem
	switch {
	case errors.As(err, &problem):
		f.blame(fieldOf(problem.Key), upper(problem.Message)+": "+problem.Cure+".")
	case errors.Is(err, lab.ErrRefused), errors.Is(err, lab.ErrNoScatter):
		text, _, _ := strings.Cut(err.Error(), "\n")
		f.blame("", upper(strings.TrimRight(text, "."))+".")
	default:
		return false
	}
	return true
}

func upper(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// exact writes a number as a field shows it: all its digits, and nothing for 0.
func exact(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// percents writes a fraction as a field in per cent shows it.
func percents(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(100*v, 'g', 12, 64)
}
