package report

import (
	"bufio"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// Text writes the designs for a terminal: what is asked, the designs with what they
// promise, where their standard error comes from, the recommended one, and what was
// chosen.
func (p *Plan) Text(w io.Writer, o TextOptions) error {
	buffered := bufio.NewWriter(w)
	t := &terminal{out: buffered, o: o, width: min(max(o.Width, 80), 160)}
	t.title(p.title())
	t.words("", questionLine(p.Campaign.Objective))
	t.words("", p.scatterLine())
	if source := p.sourceLine(); source != "" {
		t.words("", source)
	}
	t.words("", p.rigLine())
	t.words("", p.tyreLine(o.Units))
	t.section("Designs")
	rows := p.designRows()
	cells := [][]string{{"", "no.", "order", "setups", "pulls", "all", "time", "chance", "detectable", "± %"}}
	for _, r := range rows {
		cells = append(cells, []string{markSign(r.Mark), r.Number, r.Order, r.Setups, r.Pulls, r.All, r.Time, r.Chance, r.Detectable, r.Half})
	}
	t.columns(cells, ".>..>>>>>>")
	t.words("", markLegend(rows)+"setups: strapped down anew for every block, or one for all; pulls: in each block; chance: of showing "+
		plain(100*p.Campaign.Objective.SmallestGain)+" %; detectable: shown with a chance of "+chanceWords(p.Wanted)+"; ±: half of the interval to be expected.")
	t.section("Where the standard error comes from, %")
	cells = [][]string{{"no.", "order", "setups", "whole"}}
	for _, part := range partNames {
		cells[0] = append(cells[0], part.name)
	}
	for _, r := range rows {
		cells = append(cells, append([]string{r.Number, r.Order, r.Setups, r.SE}, r.Parts...))
	}
	t.columns(cells, ">..>>>>>>")
	t.line("")
	t.words("", p.adviceLine())
	if p.Chosen != nil {
		t.section("Planned")
		t.words("", designName(p.Chosen)+"; "+minutesWords(p.Campaign.Plan.MinutesOnRig)+" on the rig. "+p.promiseLine(p.Chosen))
		for _, note := range p.Notes {
			t.words("", clean(note))
		}
		t.words("", "Question, order and numbers are frozen when the first pull of a candidate begins; what departs from them afterwards carries no claim.")
	}
	return buffered.Flush()
}

// markSign is the second code of a marked row.
func markSign(mark string) string {
	return map[string]string{"recommended": "*", "chosen": ">"}[mark]
}

// markLegend explains the signs that the rows have.
func markLegend(rows []designRow) string {
	s := ""
	for _, mark := range []string{"recommended", "chosen"} {
		if slices.ContainsFunc(rows, func(r designRow) bool { return r.Mark == mark }) {
			s += markSign(mark) + ": " + mark + "; "
		}
	}
	return s
}

// columns writes rows of cells under each other; a ">" in align sets a column flush
// right.
func (t *terminal) columns(rows [][]string, align string) {
	widths := make([]int, len(align))
	for _, row := range rows {
		for j, cell := range row {
			widths[j] = max(widths[j], utf8.RuneCountInString(t.form(cell)))
		}
	}
	for _, row := range rows {
		var b strings.Builder
		for j, cell := range row {
			space := strings.Repeat(" ", widths[j]-utf8.RuneCountInString(t.form(cell)))
			if align[j] == '>' {
				cell = space + cell
			} else {
				cell += space
			}
			b.WriteString(cell)
			b.WriteString("  ")
		}
		t.line(b.String())
	}
}
