package report

import (
	"html/template"
	"strings"
)

// formula is a formula as a browser sets it, with what its letters mean. The
// letters are this package's own: no text of a file is ever in one.
type formula struct {
	MathML template.HTML
	Words  string
}

func (formula) isBlock() {}

// mathOf puts parts into one formula of MathML Core.
func mathOf(words string, parts ...string) formula {
	return formula{template.HTML(`<math display="block"><mrow>` + strings.Join(parts, "") + `</mrow></math>`), words}
}

// The pieces of a formula.
func symbol(s string) string          { return "<mi>" + s + "</mi>" }
func figureOf(s string) string        { return "<mn>" + s + "</mn>" }
func sign(s string) string            { return "<mo>" + s + "</mo>" }
func upright(s string) string         { return "<mtext>" + strings.ReplaceAll(s, " ", "\u00a0") + "</mtext>" }
func group(parts ...string) string    { return "<mrow>" + strings.Join(parts, "") + "</mrow>" }
func below(base, index string) string { return "<msub>" + base + index + "</msub>" }
func above(base, power string) string { return "<msup>" + base + power + "</msup>" }
func over(a, b string) string         { return "<mfrac>" + a + b + "</mfrac>" }
func root(parts ...string) string     { return "<msqrt>" + strings.Join(parts, "") + "</msqrt>" }
func sumOver(index, of string) string {
	return "<munder><mo>∑</mo>" + symbol(index) + "</munder>" + of
}
func inBrackets(parts ...string) string { return group(sign("("), group(parts...), sign(")")) }
