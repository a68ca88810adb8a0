package report

import (
	"math"
	"strconv"

	"fairpull/campaign"
	"fairpull/quantity"
)

// Parts returns the plan as a page shows it: what is recommended, then the designs
// and what they rest on.
func (p *Plan) Parts(units quantity.System, at ChartsAt) (Lead, []Section, error) {
	return parts("Plan: "+p.title(), at.link(p.blocks(onScreen, units)))
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

// Lines returns what a calibration states, as pairs of name and value.
func (r *CalibrationRow) Lines() [][2]string { return r.words() }

// VehicleWords says what is stated of a vehicle, in a person's units; empty: nothing.
func VehicleWords(v campaign.Vehicle, units quantity.System) string {
	return joined("; ", cleanTo(v.Description, 400), vehicleNumbers(v, units))
}

// Parts returns the reduction of a log that stands for itself, as a page shows it:
// the curve with its standard errors, and what was found in the log.
func (r *Reductions) Parts(units quantity.System, at ChartsAt) ([]Section, error) {
	return sections(at.link(r.blocks(units)))
}

func (r *Reductions) blocks(units quantity.System) []block {
	var blocks []block
	for i := range r.Pulls {
		one := PullPage{Reduction: r.Pulls[i], Standard: "none", Factor: 1, SlipLimit: math.NaN()}
		if one.Result == nil {
			continue
		}
		one.Pull, one.Corrected = one.Log, one.Result.Curve
		if one.Result.Coast != nil {
			one.Coasts = []PullCoast{{Pull: one.Log, This: true, Losses: one.Result.Coast}}
		}
		blocks = append(blocks, one.curveBlocks(units)...)
		blocks = append(blocks, one.coastBlocks(units)...)
		blocks = append(blocks, one.foundBlocks()...)
	}
	return blocks
}

// Parts returns the calibration as a page shows it: values with their budgets, limits of
// rules, and what is to be done. The cautions are those of the guide, and left to it.
func (c *Calibrating) Parts() (Lead, []Section, error) {
	shown := *c
	shown.Cautions = nil
	return parts(c.title(), shown.blocks())
}
