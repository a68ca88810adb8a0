package report

import (
	"strconv"

	"fairpull/quantity"
)

// Parts returns the plan as a page shows it: what is recommended, then the designs
// and what they rest on.
func (p *Plan) Parts(units quantity.System) (Lead, []Section, error) {
	return parts("Plan: "+p.title(), p.blocks(onScreen, units))
}

// Parts returns the pull sheet as a page shows it.
func (s *PullSheet) Parts(units quantity.System) (Lead, []Section, error) {
	return parts(s.kind()+": "+s.title(), s.blocks(units))
}

// DesignOption is a design that can be chosen.
type DesignOption struct {
	Order       string
	Pulls       int
	OneSetup    bool
	Words       string // all that tells it from the others, on one line
	Recommended bool
}

// Options lists the designs that can be chosen, in order of time on the rig.
func (p *Plan) Options() []DesignOption {
	var out []DesignOption
	for i := range p.Designs {
		d := &p.Designs[i]
		r := p.designRow(i, d)
		strapped := "strapped down anew for every block"
		if d.OneSetup {
			strapped = "strapped down once"
		}
		out = append(out, DesignOption{
			Order: d.Order, Pulls: d.Pulls, OneSetup: d.OneSetup, Recommended: i == p.Recommended,
			Words: r.Order + ", " + strapped + ", " + plural(d.Pulls, "pull") + " a block (" + strconv.Itoa(designPulls(d)) + " in all), " + r.Time + ", chance " + r.Chance,
		})
	}
	return out
}
