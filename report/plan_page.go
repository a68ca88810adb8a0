package report

import (
	"io"
	"strconv"

	"fairpull/quantity"
)

// HTML writes the plan as a page that stands alone: the designs, what they promise,
// the chance of showing a gain drawn over its size, and the order that was chosen.
func (p *Plan) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, "Plan: "+p.title(), p.adviceLine(), p.foot(), p.blocks(onScreen, units))
}

// PDF writes the plan on A4, or on Letter for who reads US customary units. The same
// plan gives the same bytes.
func (p *Plan) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, "Plan: "+p.title(), p.adviceLine(), p.foot(), p.Version, p.blocks(onPaper, units), units)
}

func (p *Plan) foot() string {
	return "Plan, campaign " + clean(p.Campaign.ID) + labelled(", Fairpull ", clean(p.Version))
}

func (p *Plan) blocks(l look, units quantity.System) []block {
	out := []block{
		heading{Level: 1, Words: "Plan: " + p.title()},
		paragraph{Words: cleanTo(p.Campaign.Purpose, 400)},
		paragraph{Words: questionLine(p.Campaign.Objective)},
	}
	out = append(out, p.answer()...)
	out = append(out, heading{Level: 2, Words: "Designs", ID: "designs"}, p.designsTable())
	if len(p.curves()) > 0 {
		out = append(out, figure{Picture: p.chanceChart(l), Caption: "Where a line crosses the upright one stands its chance of showing the smallest gain of interest. A larger gain is shown more surely, a smaller one less.", Plot: p.chancePlot(), Beside: true}, p.chanceTable())
	}
	out = append(out,
		heading{Level: 2, Words: "Where the standard error comes from", ID: "parts"}, p.partsTable(),
		heading{Level: 2, Words: "What the plan rests on", ID: "assumed"},
	)
	assumed := []string{p.scatterLine()}
	for _, more := range []string{p.sourceLine(), p.rigLine(), p.tyreLine(units),
		"Weather: the factor is taken to differ by " + plain(100*p.Weather) + " % between the sides.",
		"Nothing in a plan depends on the gain that will be found. Chances come out up to four points high where degrees of freedom are few: leave some to spare."} {
		if more != "" {
			assumed = append(assumed, more)
		}
	}
	out = append(out, bullets{Items: assumed})
	return append(out, cautionBlocks()...)
}

// answer says what is recommended and what was chosen, with its order of blocks.
func (p *Plan) answer() []block {
	if p.Chosen == nil {
		v := verdict{Name: "No design is recommended", Sentence: p.adviceLine()}
		if d := p.chosen(); d != nil {
			v = verdict{Name: "Recommended: " + d.Order, Shown: true, Sentence: p.adviceLine() + " " + p.promiseLine(d)}
		}
		return []block{v}
	}
	plan := p.Campaign.Plan
	out := []block{verdict{
		Name: "Planned: " + p.Chosen.Order, Shown: true,
		Sentence: capitalised(designName(p.Chosen)) + "; " + minutesWords(plan.MinutesOnRig) + " on the rig. " + p.promiseLine(p.Chosen),
	}}
	for _, note := range p.Notes {
		out = append(out, paragraph{Words: clean(note)})
	}
	t := table{
		Caption: "Order of blocks. It is frozen, with the question, when the first pull of a candidate begins; what departs from it afterwards carries no claim.",
		Heads:   []string{"Block", "Configuration", "Setup", "Pulls"}, Numeric: []bool{false, false, false, true},
	}
	sheet := PullSheet{Campaign: p.Campaign, Key: plan.Blind}
	for i, b := range plan.Blocks {
		t.Rows = append(t.Rows, []string{strconv.Itoa(i + 1), sheet.name(i), sheet.setup(i), strconv.Itoa(b.Pulls)})
	}
	return append(out, t)
}
