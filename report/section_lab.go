package report

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// checkBlocks lists all checks, those that did not pass first.
func (g *Gain) checkBlocks() []block {
	t := table{
		Caption: "Every check asked of this campaign. Limits are the lab's to set.",
		Heads:   []string{"Check", "Status", "What was found", "Measured", "Limit"}, Numeric: []bool{false, false, false, true, true},
	}
	order := notPassed(g.Checks)
	for _, k := range g.Checks {
		if k.Status == campaign.Pass {
			order = append(order, k)
		}
	}
	for _, k := range order {
		limit := checkNumber(k.Limit, k.Limit, k.Unit)
		message := messageOf(k)
		if source := cleanTo(k.LimitSource, 200); source != "" && k.Status != campaign.Pass {
			message += " Limit: " + source + "."
		}
		name := clean(k.ID)
		if k.Comparison != "" && len(g.Comparisons) > 1 {
			name += ", " + g.shortSide(k.Comparison)
		}
		t.Rows = append(t.Rows, []string{name, statusMark(k.Status) + " " + string(k.Status), message, checkNumber(k.Measured, k.Limit, k.Unit), limit})
		t.Marks = append(t.Marks, string(k.Status))
	}
	return []block{heading{Level: 2, Words: "Checks", ID: "checks"}, t}
}

// checkNumber words what a check measured, to a hundredth of the size of its
// limit, or to three digits where there is no limit.
func checkNumber(v, limit *float64, unit string) string {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return "–"
	}
	s := typographic(strconv.FormatFloat(*v, 'g', 3, 64))
	if limit != nil && *limit != 0 && !math.IsInf(*limit, 0) && !math.IsNaN(*limit) {
		n := max(0, min(2-int(math.Floor(math.Log10(math.Abs(*limit)))), 9))
		s = fixed(*v, n)
		if n > 0 {
			s = strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
		}
	}
	switch unit {
	case "", "1":
		return s
	case "1/min":
		unit = "rpm"
	}
	return s + " " + clean(unit)
}

// shortNumber writes v with at most four significant digits.
func shortNumber(v float64) string { return typographic(strconv.FormatFloat(v, 'g', 4, 64)) }

// pullBlocks lists the pulls and draws each of them small.
func (g *Gain) pullBlocks(l look, o documentOptions) []block {
	blocks := []block{heading{Level: 2, Words: "Pulls", ID: "pulls"}}
	var flags []block
	for _, k := range notPassed(g.Checks) {
		if slices.Contains(k.Touches, "pulls") {
			flags = append(flags, flagOf(k))
		}
	}
	blocks = append(blocks, atMost(flags, maxFlags)...)
	blocks = append(blocks, g.pullsTable(o.units))
	if p, ok := g.smallMultiples(l, o.units); ok {
		blocks = append(blocks, figure{Picture: p, Caption: "Corrected torque of each pull over engine speed, all to one scale; the grey area is the range of all used pulls. A pull that is not used has a dotted line.", Numbers: g.multiplesNumbers(o.units)})
	}
	return blocks
}

// pullsTable lists every pull, with the reason where one is not used.
func (g *Gain) pullsTable(units quantity.System) table {
	torque, power, speed := units.Unit(quantity.Torque), units.Unit(quantity.Power), units.Unit(quantity.Speed)
	t := table{
		Caption: "Single readings, each with the scatter from pull to pull that the tables above state. No pull is left out without a reason. Turns: of the engine, for one of the drum.",
		Heads: []string{"Pull", "Started", "Configuration", "Setup, block", "Used", "Factor", "Peak torque, " + torque.Name,
			"Peak power, " + power.Name, "Coast-down loss, " + torque.Name, "at " + speed.Name, "Turns", "Notes"},
		Numeric: []bool{false, false, false, false, false, true, true, true, true, true, true, false},
	}
	for i := range g.Pulls {
		p := &g.Pulls[i]
		used, mark := "yes", ""
		notes := make([]string, 0, len(p.Notes)+1)
		if !p.Used {
			used, mark = "no", "unused"
			notes = append(notes, "not used: "+because(p.Reason))
		}
		for _, n := range p.Notes {
			notes = append(notes, cleanTo(n, 200))
		}
		place := clean(p.Setup)
		if p.Block > 0 {
			place += ", " + strconv.Itoa(p.Block)
		}
		t.Rows = append(t.Rows, []string{
			clean(p.Pull), g.started(p), clean(p.Configuration), place, used, fixed(p.CorrectionFactor, 4),
			fixed(torque.From(p.PeakTorqueNm), 1), fixed(power.From(p.PeakPowerW), 1),
			fixed(torque.From(p.CoastLossNm), 1), fixed(speed.From(p.CoastSpeedMPS), 0), fixed(p.Ratio, 3), strings.Join(notes, "; "),
		})
		t.Marks = append(t.Marks, mark)
	}
	return t
}

// started is the start time of a pull by the clock of the place; the day stands
// with it where the pulls were not all made on one.
func (g *Gain) started(p *PullRow) string {
	switch first, last := g.firstAndLastDay(); {
	case p.Started.IsZero():
		return "–"
	case first == last:
		return p.Started.Format("15:04")
	}
	return p.Started.Format("2\u00a0Jan\u00a015:04")
}

// configurationBlocks sets the configurations side by side.
func (g *Gain) configurationBlocks() []block {
	blocks := []block{
		heading{Level: 2, Words: "What was compared", ID: "configurations"},
		paragraph{Words: "A gain belongs to these exact lists of parts and settings. What differs from the baseline says so."},
	}
	if len(g.Campaign.Configurations) == 0 {
		return blocks
	}
	t := table{Heads: []string{"Function or setting"}, Numeric: []bool{false}, Caption: "Parts by function, with serial and batch where they were written down, and settings."}
	var functions []string
	cells := map[string]map[string]string{} // configuration → function → words
	order := g.Campaign.Configurations
	for _, c := range order {
		t.Heads = append(t.Heads, joined(" ", clean(c.ID), clean(c.Name))+" – "+string(c.Role))
		t.Numeric = append(t.Numeric, false)
		cells[c.ID] = map[string]string{}
		for _, row := range configurationRows(c) {
			cells[c.ID][row[0]] = joined("; ", cells[c.ID][row[0]], row[1])
			if !slices.Contains(functions, row[0]) {
				functions = append(functions, row[0])
			}
		}
	}
	base := g.baselineCells(cells)
	for _, f := range functions {
		row := []string{f}
		mark := ""
		for _, c := range order {
			words := cells[c.ID][f]
			if words == "" {
				words = "–"
			}
			if c.Role == campaign.Candidate && cells[c.ID][f] != base[f] {
				words += " (differs)"
				mark = "differs"
			}
			row = append(row, words)
		}
		t.Rows = append(t.Rows, row)
		t.Marks = append(t.Marks, mark)
	}
	return append(blocks, t)
}

func (g *Gain) baselineCells(cells map[string]map[string]string) map[string]string {
	for _, c := range g.Campaign.Configurations {
		if c.Role == campaign.Baseline {
			return cells[c.ID]
		}
	}
	return nil
}

// configurationRows lists a configuration as pairs of function and words.
func configurationRows(c campaign.Configuration) [][2]string {
	var rows [][2]string
	for _, p := range c.Components {
		rows = append(rows, [2]string{clean(p.Function), joined(", ", clean(p.Part), labelled("serial ", clean(p.Serial)), labelled("batch ", clean(p.Batch)))})
	}
	for _, s := range c.Settings {
		rows = append(rows, [2]string{"setting: " + words(s.Key), clean(s.Value)})
	}
	for _, own := range []struct {
		name  string
		value float64
		unit  string
	}{
		{"driven wheel inertia", float64(c.WheelInertia), "kg·m²"}, {"driven wheel radius", float64(c.WheelRadius), "m"},
		{"engine turns a drum turn", c.EngineRevsPerDrumRev, ""},
	} {
		if own.value != 0 {
			rows = append(rows, [2]string{own.name, strings.TrimSpace(plain(own.value) + " " + own.unit)})
		}
	}
	return rows
}

// words turns a key of a file into words.
func words(key string) string { return strings.ReplaceAll(clean(key), "_", " ") }

// procedureBlocks says how it was measured.
func (g *Gain) procedureBlocks(o documentOptions) []block {
	t := table{Heads: []string{"What", "Value"}, Numeric: []bool{false, false}, Caption: "Question, vehicle, rig and procedure as the campaign states them."}
	add := func(name, value string) {
		if value != "" {
			t.Rows = append(t.Rows, []string{name, value})
		}
	}
	objective, vehicle, dyno := g.Campaign.Objective, g.Campaign.Vehicle, g.Campaign.Dyno
	add("Primary figure", metricRows[primaryMetric(objective.Primary)].name)
	if objective.SmallestGain > 0 {
		add("Smallest gain of interest", plain(100*objective.SmallestGain)+" %")
	}
	add("Vehicle", joined("; ", clean(vehicle.Description), clean(vehicle.ID), vehicleNumbers(vehicle, o.units)))
	add("Dyno", joined("; ", clean(dyno.ID), dynoNumbers(dyno, o.units)))
	add("Correction for the air", joined(". ", g.standard(), strings.TrimSuffix(cleanTo(g.Standard.Note, 300), ".")))
	for _, s := range g.Campaign.Procedure {
		add("Set point", setPointWords(s, o.units))
	}
	if h := g.Campaign.History; h != nil {
		add("Earlier work of the lab", historyWords(h))
	}
	if len(g.Campaign.ExtraColumns) > 0 {
		var names []string
		for _, c := range g.Campaign.ExtraColumns {
			names = append(names, clean(c))
		}
		add("Also written down with every pull", list(names))
	}
	return []block{heading{Level: 2, Words: "How it was measured", ID: "procedure"}, t}
}

// setPointWords words a set point in the person's units; one whose key names no
// known unit stays a bare number.
func setPointWords(s campaign.SetPoint, units quantity.System) string {
	name, unit, target := setPointParts(s, units)
	return strings.TrimSpace(name + " " + target + " " + unit)
}

// setPointParts returns the name of a set point, its unit, and its target with the
// tolerance.
func setPointParts(s campaign.SetPoint, units quantity.System) (name, unitName, target string) {
	name = words(s.Channel())
	if _, err := quantity.Lookup(s.Unit()); err != nil {
		name = words(s.Key)
	}
	unitName, value, tolerance, _ := setPointShown(s, units)
	return name, unitName, value + " ± " + tolerance
}

// setPointShown returns the unit in which a person reads a set point, empty for one
// whose key names none; its target and tolerance in that; and what writes a measured
// value, in the key's unit, with as many digits.
func setPointShown(s campaign.SetPoint, units quantity.System) (unitName, target, tolerance string, write func(float64) string) {
	unit, err := quantity.Lookup(s.Unit())
	if err != nil {
		return "", plain(s.Target), plain(s.Tolerance), plain
	}
	shown := units.Unit(unit.Dimension)
	if unit.Dimension == quantity.Pressure && strings.Contains(s.Key, "tyre") {
		shown = units.TyrePressure()
	}
	value, size := shown.From(unit.SI(s.Target)), shown.FromDifference(unit.SIDifference(s.Tolerance))
	if shown.Scale == unit.Scale || size == 0 { // as the person wrote it
		return shown.Name, shortNumber(value), shortNumber(size), func(v float64) string { return shortNumber(shown.From(unit.SI(v))) }
	}
	places := max(0, 1-int(math.Floor(math.Log10(size))))
	return shown.Name, fixed(value, places), fixed(size, places), func(v float64) string { return fixed(shown.From(unit.SI(v)), places) }
}

func primaryMetric(p campaign.Primary) compare.Metric {
	switch p {
	case campaign.PrimaryPeakTorque:
		return compare.PeakTorque
	case campaign.PrimaryPeakPower:
		return compare.PeakPower
	}
	return compare.Band
}

func vehicleNumbers(v campaign.Vehicle, units quantity.System) string {
	var parts []string
	if v.MassWithRider > 0 {
		parts = append(parts, amountIn(float64(v.MassWithRider), quantity.Mass, units, 0)+" with rider")
	}
	if v.TestGear > 0 {
		parts = append(parts, "gear "+strconv.Itoa(v.TestGear))
	}
	if v.WheelInertia > 0 {
		parts = append(parts, "driven wheel "+plain(float64(v.WheelInertia))+" kg·m²")
	}
	if s := clean(v.Class); s != "" {
		parts = append(parts, "class "+s)
	}
	if s := clean(v.TyreSpeedSymbol); s != "" {
		parts = append(parts, "tyre speed symbol "+s)
	}
	return strings.Join(parts, ", ")
}

func dynoNumbers(d campaign.Dyno, units quantity.System) string {
	var parts []string
	if d.DrumInertia > 0 {
		s := "drum inertia " + plain(float64(d.DrumInertia))
		if d.DrumInertiaU > 0 {
			s += " ± " + plain(float64(d.DrumInertiaU)) + " (standard uncertainty)"
		}
		parts = append(parts, s+" kg·m²")
	}
	if d.DrumRadius > 0 {
		parts = append(parts, "drum radius "+plain(float64(d.DrumRadius))+" m")
	}
	if d.SiteElevation != nil {
		parts = append(parts, "site at "+amountIn(float64(*d.SiteElevation), quantity.Length, units, 0))
	}
	return strings.Join(parts, ", ")
}

func historyWords(h *campaign.History) string {
	var parts []string
	for _, row := range []struct {
		name   string
		sd, df float64
	}{{"setup to setup", h.SetupSD, h.SetupDF}, {"block to block in one setup", h.BlockSD, h.BlockDF}, {"pull to pull", h.PullSD, h.PullDF}} {
		if row.df > 0 {
			parts = append(parts, row.name+" "+plain(100*row.sd)+" % ("+plain(row.df)+" degrees of freedom)")
		}
	}
	if h.Assumed {
		parts = append(parts, "assumed by judgement, not measured")
	}
	return strings.Join(parts, ", ")
}
