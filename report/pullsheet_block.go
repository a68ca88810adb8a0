package report

import (
	"slices"
	"strconv"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// oneBlock is a block of the plan: what to do before it, and a row for every pull.
func (s *PullSheet) oneBlock(i int, units quantity.System) []block {
	items := s.before(i)
	head := "Block " + strconv.Itoa(i+1) + ": " + s.name(i)
	forms := s.pullForms(i, units)
	height := sizeSection*leading + 16
	for _, item := range items {
		height += float64(len(draw.Wrap(unbroken(item), sizeText, draw.Regular, onPaper.width-12)))*sizeText*leading + 2.5
	}
	for _, f := range forms {
		height += formHeight(f, onPaper.width) + 9
	}
	out := []block{together{Height: height}, heading{Level: 2, Words: head, ID: "block-" + strconv.Itoa(i+1)}, bullets{Items: items}}
	for _, f := range forms {
		out = append(out, f)
	}
	return append(out, together{End: true})
}

// before says what is done before block i: straps, parts, what stays.
func (s *PullSheet) before(i int) []string {
	plan := s.Campaign.Plan
	var items []string
	switch {
	case i == 0:
		items = append(items, "Strap the vehicle down (setup "+clean(plan.Blocks[i].Setup)+").")
	case plan.SameSetup(i):
		items = append(items, "Leave the vehicle strapped: the straps are not touched between this block and the one before.")
	default:
		items = append(items, "Take the vehicle off its straps and strap it down anew (setup "+clean(plan.Blocks[i].Setup)+"), in the same place, by the same marks.")
	}
	if s.blind() {
		items = append(items, "The vehicle comes back as "+s.name(i)+".")
	} else {
		items = append(items, s.parts(i)...)
	}
	if n := plan.SettlingPulls; n > 0 && s.settles(i) {
		items = append(items, "Reset what the engine control has learned; then "+plural(n, "settling pull")+", not counted.")
	}
	return items
}

// settles says whether settling pulls come before block i: after a change of parts,
// and in a blind plan always, so that nothing can be told from them.
func (s *PullSheet) settles(i int) bool {
	blocks := s.Campaign.Plan.Blocks
	return i > 0 && (s.Campaign.Plan.Blind || blocks[i].Configuration != blocks[i-1].Configuration)
}

// parts says what to change before block i and what not to touch.
func (s *PullSheet) parts(i int) []string {
	blocks := s.Campaign.Plan.Blocks
	to, _ := s.Campaign.Configuration(blocks[i].Configuration)
	if i == 0 {
		return []string{"Fitted: " + partList(configurationRows(to)) + "."}
	}
	if blocks[i].Configuration == blocks[i-1].Configuration {
		return []string{"No part is changed: the same configuration again."}
	}
	from, _ := s.Campaign.Configuration(blocks[i-1].Configuration)
	change, keep := differenceOf(from, to)
	var items []string
	for _, one := range change {
		items = append(items, "Change "+one+".")
	}
	if len(change) == 0 {
		items = append(items, "The campaign names nothing that differs: ask before a part is changed.")
	}
	stay := "Do not touch: "
	if len(keep) > 0 {
		stay += joined("; ", keep...) + "; "
	}
	return append(items, stay+"tyre, fuel, fan, and all that is not named.")
}

// partList lists the rows of a configuration: "camshaft K-218, serial 0417".
func partList(rows [][2]string) string {
	var parts []string
	for _, row := range rows {
		parts = append(parts, row[0]+" "+row[1])
	}
	if len(parts) == 0 {
		return "as the vehicle came; the campaign names no parts"
	}
	return joined("; ", parts...)
}

// differenceOf compares two configurations, function by function and setting by
// setting: what to change, from what to what, and what stays.
func differenceOf(from, to campaign.Configuration) (change, keep []string) {
	before, after := rowsByName(from), rowsByName(to)
	var names []string
	for _, c := range []campaign.Configuration{from, to} {
		for _, row := range configurationRows(c) {
			if !slices.Contains(names, row[0]) {
				names = append(names, row[0])
			}
		}
	}
	for _, name := range names {
		a, b := joined(" and ", before[name]...), joined(" and ", after[name]...)
		switch {
		case a == b:
			keep = append(keep, name+" "+a)
		case b == "":
			change = append(change, name+": take off "+a)
		case a == "":
			change = append(change, name+": fit "+b)
		default:
			change = append(change, name+": from "+a+" to "+b)
		}
	}
	return change, keep
}

func rowsByName(c campaign.Configuration) map[string][]string {
	rows := map[string][]string{}
	for _, row := range configurationRows(c) {
		rows[row[0]] = append(rows[row[0]], row[1])
	}
	return rows
}

// setPointsAForm bounds the set points of one form: more go into another.
const setPointsAForm = 4

// pullForms are the boxes of block i, a row a pull; the set points that one form has
// no room for stand in the next.
func (s *PullSheet) pullForms(i int, units quantity.System) []form {
	var forms []form
	points := s.Campaign.Procedure
	for first := true; first || len(points) > 0; first = false {
		n := min(len(points), setPointsAForm)
		f := form{Columns: []formColumn{{Name: "Pull", Share: 1.2}, {Name: "Time", Share: 1.15}}}
		for _, point := range points[:n] {
			name, unit, target := setPointParts(point, units)
			f.Columns = append(f.Columns, formColumn{Name: name + labelled(", ", unit), Hint: target, Share: 1.6})
		}
		points = points[n:]
		if first {
			f.Columns = append(f.Columns, weatherColumns(units)...)
			f.Columns = append(f.Columns, formColumn{Name: "Log, remarks", Hint: "reason where not used", Share: 2.9})
		} else {
			f.Caption = "The same pulls, further set points."
		}
		f.Rows = s.pullRows(i, len(f.Columns))
		forms = append(forms, f)
	}
	return forms
}

// weatherColumns are for who reads the air by hand.
func weatherColumns(units quantity.System) []formColumn {
	return []formColumn{
		{Name: "Air pressure, " + units.Unit(quantity.Pressure).Name, Hint: "station", Share: 1.6},
		{Name: "Air, " + units.Unit(quantity.Temperature).Name, Hint: "intake", Share: 1.2},
		{Name: "Humidity, %", Share: 1.5},
	}
}

// warmUpRows is how many rows the first block has for warm-up pulls.
const warmUpRows = 2

// pullRows has a row for every warm-up or settling pull and every pull that counts.
func (s *PullSheet) pullRows(i, columns int) []formRow {
	plan := s.Campaign.Plan
	row := func(name string, apart bool) formRow {
		cells := make([]string, columns)
		cells[0] = name
		return formRow{Apart: apart, Cells: cells}
	}
	var rows []formRow
	if i == 0 {
		for range warmUpRows {
			rows = append(rows, row("warm", true))
		}
	}
	if s.settles(i) {
		for range plan.SettlingPulls {
			rows = append(rows, row("settle", true))
		}
	}
	number := 0
	for _, b := range plan.Blocks[:i] {
		number += b.Pulls
	}
	for range plan.Blocks[i].Pulls {
		number++
		rows = append(rows, row(strconv.Itoa(number), false))
	}
	return rows
}
