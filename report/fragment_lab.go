package report

import (
	"bytes"
	"html/template"

	"fairpull/quantity"
)

// Lead is what a page of the lab says first, before its sections, as HTML for a
// page that has [Style]. Its title is not in it: the page gives it one.
type Lead struct {
	Title string
	HTML  template.HTML
}

// Parts returns the scatter as a page shows it: what is said first, then each
// level with its chart, where it comes from, and what was left out.
func (s *Scatter) Parts(at ChartsAt) (Lead, []Section, error) {
	return parts(s.title(), at.link(s.blocks(onScreen)))
}

// Parts returns the chart of a check standard as a page shows it: what it says of
// the rig with its chart, what the rules take, and the checks in a table.
func (s *CheckStandard) Parts(units quantity.System, at ChartsAt) (Lead, []Section, error) {
	return parts(s.title(), at.link(s.blocks(onScreen, units)))
}

// parts cuts blocks into what stands before the first heading of level 2 and the
// sections that such headings begin. A heading of level 1 is left to the page.
func parts(title string, blocks []block) (Lead, []Section, error) {
	lead := Lead{Title: title}
	var first []pageBlock
	for i, b := range blocks {
		h, isHeading := b.(heading)
		if isHeading && h.Level == 2 {
			out, err := sections(blocks[i:])
			if err == nil {
				err = lead.write(first)
			}
			return lead, out, err
		}
		if isHeading && h.Level == 1 {
			continue
		}
		converted, err := pageBlockOf(b)
		if err != nil {
			return lead, nil, err
		}
		first = append(first, converted)
	}
	return lead, nil, lead.write(first)
}

func (l *Lead) write(blocks []pageBlock) error {
	var b bytes.Buffer
	if err := pageTemplate().ExecuteTemplate(&b, "blocks", blocks); err != nil {
		return err
	}
	l.HTML = template.HTML(b.String())
	return nil
}
