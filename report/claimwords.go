package report

import (
	"slices"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// ClaimSentence returns what a claim may say of a comparison: the at-least figure
// rounded down to 0.1, to what and over which engine speeds it applies; where the
// policy lets it, the measured gain with its interval. It returns the empty text
// for a verdict that shows nothing.
func (g *Gain) ClaimSentence(c *compare.Comparison, p campaign.ClaimPolicy) string {
	f := c.Figure(c.Primary)
	oneSided := "(" + confidence(c.Confidence) + " one-sided confidence)"
	var s string
	switch c.Verdict {
	case compare.GainShown, compare.LossShown:
		direction, least := "more", f.AtLeast
		size := percent(least)
		if c.Verdict == compare.LossShown {
			direction, least = "less", f.AtMost
			size = -percent(least)
		}
		s = "At full throttle " + g.side(c.Candidate) + " gives at least " + roundedDown(size) + " % " + direction + " " +
			g.quantityName(c.Primary) + " than " + g.side(c.Baseline) + g.scope(c, c.Primary, f) + " " + oneSided
	case compare.NoDifference:
		s = "At full throttle " + g.side(c.Candidate) + " and " + g.side(c.Baseline) + " differ by less than " +
			plain(100*c.SmallestGain) + " % in " + g.quantityName(c.Primary) + g.scope(c, c.Primary, f) + " " + oneSided
	default:
		return ""
	}
	if p.Figure == campaign.ClaimInterval && c.Verdict != compare.NoDifference {
		t := gainTextOf(f)
		s += "; measured were " + t.Value + " % " + withInterval(c, t)
	}
	return s + ". It holds for the vehicle, the parts, the settings and the conditions that this claim lists."
}

// Promises reports whether something is left of the comparison's one-sided bound
// once it is rounded down to 0.1 %.
func Promises(c *compare.Comparison) bool {
	f := c.Figure(c.Primary)
	switch c.Verdict {
	case compare.GainShown:
		return strings.Trim(roundedDown(percent(f.AtLeast)), "0.") != ""
	case compare.LossShown:
		return strings.Trim(roundedDown(-percent(f.AtMost)), "0.") != ""
	}
	return c.Verdict == compare.NoDifference
}

// ClaimFigureOf returns a figure of a comparison as a claim states it, and whether
// it has a gain with an interval.
func (g *Gain) ClaimFigureOf(c *compare.Comparison, m compare.Metric) (campaign.ClaimFigure, bool) {
	f := c.Figure(m)
	if f.Missing != "" || !f.Interval {
		return campaign.ClaimFigure{}, false
	}
	out := campaign.ClaimFigure{
		Name: metricKey(m), Words: g.quantityName(m) + g.scope(c, m, f), Unit: quantity.SI.Unit(quantity.Torque).Name,
		RPM: [2]float64{f.BaselineRPM, f.CandidateRPM}, Baseline: f.BaselineLevel, Candidate: f.CandidateLevel,
		GainPct: percent(f.Gain), LoPct: percent(f.Lo), HiPct: percent(f.Hi), AtLeastPct: percent(f.AtLeast), AtMostPct: percent(f.AtMost),
	}
	switch m {
	case compare.Band:
		out.RPM = c.BandRPM
	case compare.PeakPower:
		out.Unit, out.Baseline, out.Candidate = "kW", out.Baseline/1000, out.Candidate/1000
	}
	return out, true
}

// figureLine says a figure in a sentence, rounded as everywhere.
func figureLine(f campaign.ClaimFigure, level float64) string {
	n := places((f.HiPct-f.LoPct)/2, gainPlaces)
	write := fixed
	if f.LoPct < 0 {
		write = signed
	}
	return capitalised(f.Words) + ": " + signed(f.GainPct, n) + " % (" + confidence(level) + " interval: " + write(f.LoPct, n) + " % to " + write(f.HiPct, n) +
		" %), at least " + roundedDown(f.AtLeastPct) + " % one-sided."
}

// SpecimenSentence says how many specimens of the changed parts were tested, out
// of the configurations that have the same parts: serial numbers tell them apart.
func SpecimenSentence(changed []campaign.ClaimComponent, specimens, batches int) string {
	if len(changed) == 0 {
		return "No part was changed between the sides: the claim is about settings."
	}
	var names []string
	for _, p := range changed {
		names = append(names, clean(p.Function)+" "+componentWords(p))
	}
	s := "One specimen of what was changed was tested"
	if specimens > 1 {
		s = plural(specimens, "specimen") + " of what was changed were tested"
	}
	if batches > 1 {
		s += ", of " + strconv.Itoa(batches) + " batches"
	}
	s += ": " + strings.Join(names, "; ") + "."
	if specimens <= 1 {
		s += " How far one specimen differs from the next was not measured."
	}
	if slices.ContainsFunc(changed, func(p campaign.ClaimComponent) bool { return p.Serial == "" }) {
		s += " Where no serial number stands none was recorded."
	}
	return s
}

// ClaimLimits returns what no claim from a dynamometer covers.
func (g *Gain) ClaimLimits(c *compare.Comparison) []string {
	items := []string{
		"Other vehicles, parts and settings than those listed: fairpull covers says which combinations are.",
		"Part throttle, response, fuel consumption, emissions, noise, durability.",
		"Engine speeds outside " + span(c.BandRPM) + ", and single engine speeds within.",
		"Levels in N·m or kW: they are this rig's. What is claimed is the gain.",
		"Differences from one specimen of a part to the next.",
	}
	if g.AtCrank {
		items = append(items, "How the driveline's loss was added: the logs were reduced elsewhere and give crank figures.")
	}
	return items
}

// ClaimCautions returns what stands with every claim. Changed are the parts and
// settings that differ between the sides.
func ClaimCautions(changed []string) []string {
	caution := "Local law decides whether a vehicle with these parts may be used on public roads; emissions and noise were not measured, and nothing here says that they are as they were."
	for _, name := range changed {
		if touchesEmissions(name) {
			caution = capitalised(clean(name)) + " can bear on emissions or noise. " + caution
			break
		}
	}
	return []string{
		caution,
		"The claim is the lab's own statement of what it measured. It is no approval by an authority.",
	}
}

// emissionWords are words in the function of a part, or the name of a setting, that
// bear on emissions or noise, in the languages of the sheet. Common practice: what
// homologation rules speak of.
var emissionWords = []string{
	"exhaust", "silencer", "muffler", "header", "catal", "intake", "air filter", "airbox", "air box", "cam", "piston", "carburet", "injector",
	"throttle", "ecu", "calibration", "map", "ignition", "fuel", "lambda", "turbo", "supercharger", "cylinder", "valve", "secondary air",
	"auspuff", "schalldämpfer", "krümmer", "katalysator", "ansaug", "luftfilter", "nockenwelle", "kolben", "vergaser", "einspritz", "drossel", "zünd",
	"kraftstoff", "kennfeld", "zylinder", "ventil", "sekundärluft",
	"escape", "silencia", "admisión", "filtro de aire", "árbol de levas", "pistón", "inyec", "mariposa", "encendido", "combustible", "cilindro",
	"culata", "válvula",
	"échappement", "silencieux", "admission", "filtre à air", "arbre à cames", "injec", "papillon", "allumage", "carburant", "cylindre", "culasse",
	"soupape", "cartographie",
}

func touchesEmissions(function string) bool {
	lower := strings.ToLower(function)
	return slices.ContainsFunc(emissionWords, func(word string) bool { return strings.Contains(lower, word) })
}
