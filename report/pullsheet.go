package report

import (
	"bytes"
	"html/template"
	"io"
	"strconv"
	"time"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// PullSheet is what a planned campaign is measured by: printed, taken to the rig and
// filled in by hand. Its campaign has a plan.
//
// The sheet of a blind plan is the rider's: it has codes in the place of
// configurations and says nothing of parts. Key makes it the sheet of who fits them.
type PullSheet struct {
	Campaign campaign.Campaign
	Tyre     PlanTyre
	Key      bool
	Version  string // of the program; empty: not stated
}

// HTML writes the sheet as a page that stands alone and is fit to print.
func (s *PullSheet) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, s.kind()+": "+s.title(), questionLine(s.Campaign.Objective), s.foot(), s.blocks(units))
}

// PDF writes the sheet on A4, or on Letter for who reads US customary units. The same
// sheet gives the same bytes.
func (s *PullSheet) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, s.kind()+": "+s.title(), questionLine(s.Campaign.Objective), s.foot(), s.Version, s.blocks(units), units)
}

// writePage writes blocks as a page that stands alone.
func writePage(w io.Writer, title, description, foot string, blocks []block) error {
	view := pageView{Title: title, Description: description, Style: template.CSS(pageStyle), Footer: foot}
	for _, b := range blocks {
		converted, err := pageBlockOf(b)
		if err != nil {
			return err
		}
		view.Blocks = append(view.Blocks, converted)
	}
	var page bytes.Buffer
	if err := pageTemplate().Execute(&page, view); err != nil {
		return err
	}
	_, err := w.Write(page.Bytes())
	return err
}

// writePaper writes blocks as a document with a date that is always the same.
func writePaper(w io.Writer, title, subject, foot, version string, blocks []block, units quantity.System) error {
	size := a4
	if units == quantity.USCustomary {
		size = letter
	}
	p := newPaper(size)
	p.write(blocks)
	p.foot(foot, "The HTML form of this document is the accessible one.")
	return draw.PDF(w, draw.Document{
		Title: title, Subject: subject, Creator: "Fairpull" + labelled(" ", clean(version)),
		Language: "en", Created: time.Unix(0, 0).UTC(), Pages: p.pages,
	})
}

func (s *PullSheet) blind() bool { return s.Campaign.Plan.Blind && !s.Key }

// kind names the sheet.
func (s *PullSheet) kind() string {
	switch {
	case s.Key:
		return "Key, not for the rider"
	case s.blind():
		return "Pull sheet for the rider"
	}
	return "Pull sheet"
}

func (s *PullSheet) title() string {
	if t := clean(s.Campaign.Title); t != "" {
		return t
	}
	return clean(s.Campaign.ID)
}

func (s *PullSheet) foot() string {
	return s.kind() + ", campaign " + clean(s.Campaign.ID) + labelled(", Fairpull ", clean(s.Version))
}

// blocks lists the sheet: what for, cautions, what is written down once, warm-up, the
// order, then block by block what to do and the boxes to fill.
func (s *PullSheet) blocks(units quantity.System) []block {
	out := []block{
		heading{Level: 1, Words: s.kind() + ": " + s.title()},
		paragraph{Words: cleanTo(s.Campaign.Purpose, 400)},
		s.facts(units),
		heading{Level: 2, Words: "Before anything else", ID: "cautions"},
		bullets{Items: Cautions},
	}
	out = append(out, s.once()...)
	out = append(out, s.rules(units)...)
	out = append(out, s.order()...)
	for i := range s.Campaign.Plan.Blocks {
		out = append(out, s.oneBlock(i, units)...)
	}
	return append(out, s.end()...)
}

// facts says what the campaign asks, of what, on what.
func (s *PullSheet) facts(units quantity.System) table {
	c, plan := &s.Campaign, s.Campaign.Plan
	t := table{Heads: []string{"What", "Value"}, Numeric: []bool{false, false}}
	add := func(name, value string) {
		if value != "" {
			t.Rows = append(t.Rows, []string{name, value})
		}
	}
	add("Question", questionLine(c.Objective))
	add("Campaign", clean(c.ID))
	add("Vehicle", joined("; ", clean(c.Vehicle.Description), clean(c.Vehicle.ID), vehicleNumbers(c.Vehicle, units)))
	add("Dyno", clean(c.Dyno.ID))
	size := plural(len(plan.Blocks), "block") + ", " + plural(plan.TotalPulls(), "pull")
	if plan.MinutesOnRig > 0 {
		size += ", about " + minutesWords(plan.MinutesOnRig) + " on the rig"
	}
	add("Plan", size)
	if plan.Power > 0 && c.Objective.SmallestGain > 0 {
		add("Chance", "of showing a gain of "+plain(100*c.Objective.SmallestGain)+" %: "+chanceWords(plan.Power)+", if every block is measured")
	}
	add("Tyre", tyreWords(s.Tyre, units))
	return t
}

// writeDown are what is written down once a campaign, beside its specimens.
var writeDown = []string{
	"Date", "Operator", "Rider", "Checked by", "Fuel, batch", "Tyre, make and size", "Tyre, date code (age)", "Tyre, speed symbol as moulded",
	"Fan, position and distance", "Straps, anchor points", "Barometer, place and number", "Oil, filled when",
}

// once are the boxes for what is written down once.
func (s *PullSheet) once() []block {
	f := form{Columns: []formColumn{{Name: "What", Share: 2.2}, {Name: "Written down", Share: 3}, {Name: "What", Share: 2.2}, {Name: "Written down", Share: 3}}}
	half := (len(writeDown) + 1) / 2
	for i := range half {
		row := formRow{Cells: []string{writeDown[i], "", "", ""}}
		if half+i < len(writeDown) {
			row.Cells[2] = writeDown[half+i]
		}
		f.Rows = append(f.Rows, row)
	}
	out := []block{heading{Level: 2, Words: "Written down once", ID: "once"}, f}
	if !s.blind() {
		out = append(out, s.specimens())
	}
	return out
}

// specimens has a row for every part that differs between the configurations.
func (s *PullSheet) specimens() form {
	f := form{
		Caption: "The specimens that are fitted. One specimen is not the product: a claim says which it was.",
		Columns: []formColumn{{Name: "Configuration", Share: 1.6}, {Name: "Function", Share: 1.6}, {Name: "Part", Share: 2}, {Name: "Serial", Share: 1.5}, {Name: "Batch", Share: 1.5}, {Name: "State, break-in", Share: 2}},
	}
	baseline, _ := s.Campaign.Baseline()
	for _, c := range s.Campaign.Configurations {
		for _, part := range c.Components {
			if s.everywhere(part) && c.ID != baseline.ID {
				continue
			}
			f.Rows = append(f.Rows, formRow{Cells: []string{clean(c.ID), clean(part.Function), clean(part.Part), clean(part.Serial), clean(part.Batch), ""}})
		}
	}
	if len(f.Rows) == 0 {
		f.Rows = []formRow{{Cells: make([]string, len(f.Columns))}}
	}
	return f
}

// everywhere says whether every configuration has the same part.
func (s *PullSheet) everywhere(part campaign.Component) bool {
	for _, c := range s.Campaign.Configurations {
		found := false
		for _, other := range c.Components {
			found = found || other == part
		}
		if !found {
			return false
		}
	}
	return true
}

// rules say how every pull is made.
func (s *PullSheet) rules(units quantity.System) []block {
	c, plan := &s.Campaign, s.Campaign.Plan
	warm := "Warm engine, driveline and tyre until "
	for _, point := range c.Procedure {
		name, unit, target := setPointParts(point, units)
		warm += name + " holds " + target + labelled(" ", unit) + ", "
	}
	warm += "and make warm-up pulls until two in a row agree. They do not count. What is not warm creeps upwards and passes for a gain."
	pull := "Every pull: "
	if c.Vehicle.TestGear > 0 {
		pull += "gear " + strconv.Itoa(c.Vehicle.TestGear) + ", "
	}
	pull += "full throttle from well below the riding band"
	if c.Objective.BandRPM[1] > 0 {
		pull += " (" + span(c.Objective.BandRPM) + ") to above it"
	}
	pull += "; then pull the clutch lever and let the drum run down with the log on until it is slow. The coast-down tells the engine's change from a change of tyre and straps."
	items := []string{warm, pull}
	if plan.SettlingPulls > 0 {
		items = append(items, "After every change of parts: reset what the engine control has learned, by its maker's manual, and make "+
			plural(plan.SettlingPulls, "settling pull")+". They do not count; one that is logged has “"+campaign.SettlingReason+"” as its reason.")
	}
	items = append(items,
		"Before every pull each set point is within its tolerance, and is written down. Time between pulls is the same.",
		"A pull that went wrong is written down with its reason and made again in the same block. No pull is left out for its figure.",
		"The order stands. Stopping early, a block or pull more, or another question after the first pull of a candidate is a change of the plan, and the campaign then carries no claim.")
	if s.blind() {
		items = append(items, "You are not told what is fitted. Stay away while the vehicle is changed, and do not look at figures before the end.")
	}
	if s.Key {
		items = append(items, "This sheet is not for the rider. Between blocks of one configuration act as for a change: take the vehicle out of sight, and reset as always.")
	}
	return []block{heading{Level: 2, Words: "How every pull is made", ID: "rules"}, bullets{Items: items}}
}

// order lists the blocks.
func (s *PullSheet) order() []block {
	plan := s.Campaign.Plan
	f := form{Columns: []formColumn{{Name: "Block", Share: 0.7}, {Name: "Configuration", Share: 3}, {Name: "Setup", Share: 2.2}, {Name: "Pulls", Share: 1.4}, {Name: "Begun at", Share: 1.2}, {Name: "Ended at", Share: 1.2}}}
	if s.blind() {
		f.Columns[1] = formColumn{Name: "Code", Share: 1.2}
	}
	first := 1
	for i, b := range plan.Blocks {
		numbers := strconv.Itoa(first)
		if b.Pulls > 1 {
			numbers += " to " + strconv.Itoa(first+b.Pulls-1)
		}
		first += b.Pulls
		f.Rows = append(f.Rows, formRow{Cells: []string{strconv.Itoa(i + 1), s.name(i), s.setup(i), numbers, "", ""}})
	}
	out := []block{heading{Level: 2, Words: "Order of blocks", ID: "order"}}
	if s.Key {
		f.Columns[1].Name = "Code and configuration"
	}
	return append(out, f)
}

// name names block i for who reads the sheet.
func (s *PullSheet) name(i int) string {
	id := s.Campaign.Plan.Blocks[i].Configuration
	configuration, _ := s.Campaign.Configuration(id)
	whole := clean(id) + labelled(" ", clean(configuration.Name))
	switch {
	case s.blind():
		return s.Campaign.Plan.Codes()[i]
	case s.Key && s.Campaign.Plan.Blind:
		return s.Campaign.Plan.Codes()[i] + ": " + whole
	}
	return whole
}

func (s *PullSheet) setup(i int) string {
	name := clean(s.Campaign.Plan.Blocks[i].Setup)
	if s.Campaign.Plan.SameSetup(i) {
		return name + ", left strapped"
	}
	return name + ", strapped down anew"
}

// end has the boxes for who measured and who checked.
func (s *PullSheet) end() []block {
	f := form{Columns: []formColumn{{Name: "At the end", Share: 2.4}, {Name: "Name", Share: 2}, {Name: "Date", Share: 1.2}, {Name: "Signature", Share: 2}}}
	for _, who := range []string{"Measured as written here", "Sheet and logs compared"} {
		f.Rows = append(f.Rows, formRow{Cells: []string{who, "", "", ""}})
	}
	return []block{
		heading{Level: 2, Words: "At the end", ID: "end"},
		paragraph{Words: "Keep the logs as the logger wrote them, and this sheet with them. The rig maker's manual, the rules of the place and qualified people come before anything that is printed here."},
		f,
	}
}
