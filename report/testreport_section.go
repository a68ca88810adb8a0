package report

import (
	"fmt"
	"math"
	"strings"

	"fairpull/quantity"
)

// stated returns a detail, or that it is not stated.
func stated(text string) string {
	if text = cleanTo(text, maxDetail); text == "" {
		return notStated
	}
	return text
}

// identification says who tested what for whom, where and when.
func (r *TestReport) identification() []block {
	d, c, g := r.details, r.claim, r.claim.Gain
	location := d.Location
	if location == "" && d.Address != "" {
		location = "at the laboratory's address"
	}
	items := joined("; ", g.byVehicle(), "part under test as listed under “What was compared”", c.Specimens)
	t := table{Heads: []string{"What", "As reported"}, Numeric: []bool{false, false}}
	for _, row := range [][2]string{
		{"Report", clean(d.Number) + ", of claim " + clean(c.Number)},
		{"Laboratory", stated(d.Laboratory)},
		{"Address", stated(d.Address)},
		{"Where the pulls were made", stated(location)},
		{"Customer", stated(d.Customer)},
		{"How to reach the customer", stated(d.CustomerContact)},
		{"Items", items},
		{"Condition of the items", stated(d.Condition)},
		{"Received on", stated(d.Received)},
		{"Tested on", stated(g.days())},
		{"Issued on", r.issue()},
		{"Sampling", stated(d.Sampling)},
		{"Results from external providers", stated(d.External)},
		{"Authorised by", r.authorised()},
	} {
		t.Rows = append(t.Rows, []string{row[0], row[1]})
	}
	return []block{
		heading{Level: 2, Words: "Identification", ID: "identification"}, t,
		paragraph{Words: "The results relate only to the items tested: to the vehicle, the specimens and the settings listed, in the condition in which they were received."},
		paragraph{Words: "That this report has the items which ISO/IEC 17025:2017, 7.8, asks for says nothing of an accreditation of the laboratory.", Small: true},
	}
}

// byVehicle names the vehicle.
func (g *Gain) byVehicle() string {
	vehicle := clean(g.Campaign.Vehicle.Description)
	if id := clean(g.Campaign.Vehicle.ID); id != "" {
		vehicle = strings.TrimSpace(vehicle + " (" + id + ")")
	}
	return vehicle
}

// authorised names who signed, with role, day and key.
func (r *TestReport) authorised() string {
	if len(r.claim.Signed) == 0 {
		return "nobody: the claim is not signed, and this is a draft"
	}
	var out []string
	for _, s := range r.claim.Signed {
		out = append(out, clean(s.By)+labelled(", ", clean(s.As))+", "+Day(s.At)+", key "+clean(s.Key))
	}
	return strings.Join(out, "; ")
}

// results are the comparison that the claim is about, as every report has it.
func (r *TestReport) results(l look, o documentOptions) []block {
	out := []block{heading{Level: 2, Words: "Results", ID: "results"}, paragraph{Words: cleanTo(r.claim.Sentence, 2000)}}
	return append(out, r.claim.Gain.comparisonBlocks(r.at, l, o)...)
}

// rule is the statement, the rule by which it was made, and the risk of a wrong one.
func (r *TestReport) rule() []block {
	c := r.comparison
	level := confidence(c.Confidence)
	items := []string{
		"Stated: " + strings.ToLower(Verdict(c)) + ", for the primary figure, " + metricRows[c.Primary].name + ".",
		"A gain is stated where the one-sided lower bound of the primary figure, at " + level + " confidence, lies above zero; a loss where the upper bound lies below it. The bound is the guard: it stands off the measured gain by the expanded uncertainty, and no other guard band is used.",
		"Risk: were there no gain, one would be stated in at most about " + plain(100-100*c.Confidence) + " % of campaigns. The at-least figure is too high in at most about as many; it is rounded down to 0.1 %.",
	}
	if c.SmallestGain > 0 {
		items = append(items, "No difference of interest is stated where both one-sided bounds lie within ± "+plain(100*c.SmallestGain)+" %, the smallest gain of interest.")
	}
	items = append(items, "Nothing is stated while a failed check is open, the drift of the rig is not bounded, the scatter of setups is not known, an unusual pull is not answered for, or a plan was changed after the first candidate pull.")
	if r.claim.Gain.Campaign.Plan != nil {
		items = append(items, "Question, order and rule were fixed in a plan before the first pull of the candidate.")
	} else {
		items = append(items, "There was no plan: that question and rule were fixed before the first pull of the candidate is not on record.")
	}
	return []block{heading{Level: 2, Words: "Statement and decision rule", ID: "rule"}, bullets{Items: items}}
}

// uncertainty has the budget of the primary figure.
func (r *TestReport) uncertainty() []block {
	c := r.comparison
	f := c.Figure(c.Primary)
	out := []block{heading{Level: 2, Words: "Measurement uncertainty", ID: "uncertainty"}}
	if f.Missing != "" || !f.Interval {
		return append(out, paragraph{Words: "The primary figure has no interval, so there is no budget."})
	}
	t := table{
		Caption: "Budget of the primary figure: standard uncertainties of the gain, in per cent of the level. Squares add up.",
		Heads:   []string{"Source", "How it was found", "Standard uncertainty, %", "Share of the variance, %"}, Numeric: []bool{false, false, true, true},
	}
	total := 0.0
	for _, row := range budgetParts {
		total += c.Parts[row.part]
	}
	for _, row := range budgetParts {
		v := c.Parts[row.part]
		share := "–"
		if total > 0 {
			share = fixed(100*v/total, 1)
		}
		t.Rows = append(t.Rows, []string{row.name, row.how, fixed(100*math.Sqrt(v), 3), share})
	}
	factor := (f.Hi - f.Gain) / f.SE
	t.Rows = append(t.Rows,
		[]string{"combined", "root of the sum of squares; " + degrees(math.Round(10*f.DF)/10) + " effective degrees of freedom", fixed(100*f.SE, 3), "100"},
		[]string{"expanded", "times " + fixed(factor, 2) + ", Student's t at " + confidence(c.Confidence), fixed(100*factor*f.SE, 3), ""})
	items := []string{
		"What bears alike on both sides, such as the drum's inertia, the scale of a sensor or the correction's formula, drops out of the gain and is not in its budget.",
		"Differences from one specimen of a part, or one vehicle, to the next are not in it.",
		"Levels in N·m or kW: their ± is scatter alone. They are this rig's and carry its calibration as well" + r.inertiaWords() + ".",
	}
	return append(out, t, bullets{Items: items})
}

// inertiaWords is the doubt of the drum's inertia, which is in every level.
func (r *TestReport) inertiaWords() string {
	d := r.claim.Gain.Campaign.Dyno
	if !(d.DrumInertia > 0) || !(d.DrumInertiaU > 0) {
		return ", whose uncertainty is not stated"
	}
	return ": the drum's inertia has a relative standard uncertainty of " + fixed(100*float64(d.DrumInertiaU)/float64(d.DrumInertia), 2) + " %"
}

func (r *TestReport) opinions() []block {
	out := []block{heading{Level: 2, Words: "Opinions and interpretations", ID: "opinions"}}
	if r.details.Opinion == "" {
		return append(out, paragraph{Words: "None."})
	}
	return append(out, paragraph{Words: "Opinion, not a result: " + cleanTo(r.details.Opinion, maxDetail)})
}

// measuredWords says what was driven.
func measuredWords(g *Gain) string {
	if g.Steady {
		return "Speeds held on the brake of a chassis dynamometer at full throttle"
	}
	return "Full-throttle pulls on a chassis dynamometer"
}

// method says by which method it was tested, with its settings.
func (r *TestReport) method(o documentOptions) []block {
	c := r.claim
	out := []block{
		heading{Level: 2, Words: "Method", ID: "method"},
		paragraph{Words: fmt.Sprintf("%s, baseline and candidate in blocks; torque from the drum's own balance, corrected for the air, compared on the logarithmic scale. Method version %d of Fairpull %s, as its documentation describes it; data of campaign %s, version %d.",
			measuredWords(c.Gain), c.Method, clean(c.Program), clean(c.Campaign), c.ClaimHead.Version)},
	}
	for _, k := range c.Gain.Calibrations {
		out = append(out, paragraph{Words: "The rig as calibrated on " + Day(k.From) + "."})
	}
	procedure := c.Gain.procedureBlocks(o)
	return append(out, procedure[1:]...) // its own heading stands above
}

// conditions are the air and the values recorded with every pull, used or not.
func (r *TestReport) conditions(units quantity.System) []block {
	g := r.claim.Gain
	facts := table{Heads: []string{"Condition", "As measured"}, Numeric: []bool{false, false}}
	for _, f := range r.claim.Conditions {
		facts.Rows = append(facts.Rows, []string{clean(f.What), cleanTo(f.Is, 400)})
	}
	out := []block{heading{Level: 2, Words: "Conditions and recorded values", ID: "conditions"}, facts}
	t := table{
		Caption: "Values that pulls were held to, as recorded with each. A dash was not recorded.",
		Heads:   []string{"Pull", "Configuration", "Setup", "Used", "Reason"}, Numeric: []bool{false, false, false, false, false}, Long: true,
	}
	var writers []func(float64) string
	for _, s := range g.Campaign.Procedure {
		name, unit, target := setPointParts(s, units)
		t.Heads, t.Numeric = append(t.Heads, strings.TrimSpace(name+" "+target+" "+unit)), append(t.Numeric, true)
		_, _, _, write := setPointShown(s, units)
		writers = append(writers, write)
	}
	for i := range g.Pulls {
		p := &g.Pulls[i]
		row, mark := []string{clean(p.Pull), clean(p.Configuration), clean(p.Setup), "yes", "–"}, ""
		if !p.Used {
			row[3], row[4], mark = "no", because(p.Reason), "unused"
		}
		said, _ := g.Campaign.Pull(p.Pull)
		for j, s := range g.Campaign.Procedure {
			cell := "–"
			if v, measured := said.Measured[s.Key]; measured {
				cell = writers[j](v)
			}
			row = append(row, cell)
		}
		t.Rows, t.Marks = append(t.Rows, row), append(t.Marks, mark)
	}
	return append(out, t)
}

// deviations are what was not as the method has it.
func (r *TestReport) deviations() []block {
	out := []block{heading{Level: 2, Words: "Deviations", ID: "deviations"}}
	if len(r.claim.Deviations) == 0 {
		return append(out, paragraph{Words: "None: nothing was added to, changed in or left out of the method."})
	}
	return append(out, bullets{Items: cleanedTo(r.claim.Deviations, 700)})
}

// map17025 is the table that says where each item of the standard stands.
func (r *TestReport) map17025() block {
	t := table{
		Caption: "Where the items stand that ISO/IEC 17025:2017 asks a test report to have.",
		Heads:   []string{"Clause", "What is asked for", "Where it stands"}, Numeric: []bool{false, false, false},
	}
	for _, item := range reportItems {
		t.Rows = append(t.Rows, []string{item.Clause, item.What, item.Title})
	}
	return t
}
