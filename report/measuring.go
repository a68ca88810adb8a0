package report

import (
	"math"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/quantity"
)

// Measuring is a campaign as whoever is at the rig needs it: what comes next, what
// the last pull is worth, what is known so far. Where its plan is blind it names
// codes in the place of configurations.
type Measuring struct {
	Campaign campaign.Campaign
	Next     *CaptureNext // nil: nothing says what is fitted
	Problem  string       // why Next is nil
	Last     *CapturedPull
	Wrong    string // why the last pull gave no curve; empty: it gave one, or does not count
	SoFar    []SoFar
	// PullLimits are the two-sided limits of the pull-to-pull SD of SoFar, ln, at
	// the same confidence; NaN: not known.
	PullLimits [2]float64
}

// RigStep is the next thing to do, for letters that are read across a room.
type RigStep struct {
	Where   string   // Block 3 of 5
	What    string   // what is on the rig: a configuration, or a code
	Count   string   // how many pulls; empty where something is done first
	Of      string   // what the count counts: pulls left, settling pulls
	Do      []string // what to do before the first pull, a sentence each
	Confirm bool     // somebody has to say that it is done
	Done    bool     // the plan is through
}

// Step words what comes next.
func (m *Measuring) Step() RigStep {
	n := m.Next
	if n == nil {
		return RigStep{What: "Say what is fitted", Do: []string{capitalised(strings.TrimRight(clean(m.Problem), ".")) + "."}}
	}
	if n.Blocks == 0 {
		return RigStep{Where: "Not planned", What: m.fitted(n.Configuration, n.Setup)}
	}
	s := RigStep{Where: "Block " + strconv.Itoa(n.Block) + " of " + strconv.Itoa(n.Blocks), Confirm: n.Confirm, Done: n.Finished}
	sheet := PullSheet{Campaign: m.Campaign}
	s.What = sheet.name(n.Block - 1)
	switch {
	case n.Finished:
		s.Where, s.What = "The plan is through", "All blocks are measured"
	case n.Confirm:
		s.Do = sheet.before(n.Block - 1)
	case n.Settling > 0:
		s.Count, s.Of = strconv.Itoa(n.Settling), nounOf(n.Settling, "settling pull")+", not counted"
	default:
		s.Count, s.Of = strconv.Itoa(n.Left), nounOf(n.Left, "pull")+" to go in this block"
		if m.fresh() {
			s.Do = sheet.before(n.Block - 1)
		}
	}
	return s
}

// fresh reports whether the next block has no pull of any kind yet.
func (m *Measuring) fresh() bool { return len(m.Campaign.Pulls) == 0 }

func nounOf(n int, noun string) string {
	if n == 1 {
		return noun
	}
	return noun + "s"
}

// fitted names a configuration in a setup.
func (m *Measuring) fitted(id, setup string) string {
	configuration, _ := m.Campaign.Configuration(id)
	return clean(id) + labelled(" ", clean(configuration.Name)) + labelled(", setup ", clean(setup))
}

// Blind reports whether names of configurations are withheld: until a blind plan is
// through.
func (m *Measuring) Blind() bool {
	return m.Campaign.Plan != nil && m.Campaign.Plan.Blind && !m.Campaign.Progress().Finished
}

// RigPull is the last pull, and what it is worth.
type RigPull struct {
	Name    string
	Of      string // the configuration, where it is not withheld
	Status  string // pass, warn, fail or skip: as checks have it
	Verdict string // Accepted
	Why     []string
	Figures string // peak figures, corrected; empty where the plan is blind or there are none
	Used    bool
}

// LastPull words what the last pull is worth; nil where there is none.
func (m *Measuring) LastPull(units quantity.System) *RigPull {
	p := m.Last
	if p == nil {
		return nil
	}
	out := &RigPull{Name: clean(p.Name), Used: p.Excluded == ""}
	if !m.Blind() {
		out.Of = m.fitted(p.Configuration, p.Setup)
		if p.Reduced && !math.IsNaN(p.PeakTorqueNm) && !math.IsNaN(p.PeakPowerW) {
			out.Figures = "Peaks at the wheel, corrected: " + level(p.PeakTorqueNm, math.NaN(), quantity.Torque, units) + " and " + level(p.PeakPowerW, math.NaN(), quantity.Power, units) +
				". One pull has no interval: the gain has."
		}
	}
	for _, doubt := range p.Doubts {
		out.Why = append(out.Why, capitalised(clean(doubt)))
	}
	switch {
	case p.Excluded != "":
		out.Status, out.Verdict, out.Why = "skip", "Kept, not counted", []string{capitalised(clean(p.Excluded)) + "."}
	case m.Wrong != "":
		out.Status, out.Verdict, out.Why = "fail", "Something is wrong", []string{capitalised(clean(m.Wrong)) + "."}
	case !p.Accepted:
		out.Status, out.Verdict = "fail", "Something is wrong"
	case len(p.Doubts) > 0:
		out.Status, out.Verdict = "warn", "Accepted, but look"
	default:
		out.Status, out.Verdict = "pass", "Accepted"
	}
	return out
}

// RigFigure is one figure in large letters with what belongs to it.
type RigFigure struct {
	Name, Value string
	Interval    string // beside the value; empty: Note says why there is none
	Note        string
}

// whenJudged says where a verdict is found.
func (m *Measuring) whenJudged() string {
	if m.Campaign.Plan != nil && (m.Next == nil || !m.Next.Finished) {
		return "No verdict before the plan is through."
	}
	return "The verdict is said on the campaign's page."
}

// Figures words what is known so far: the gain of each candidate with its interval
// and how wide that will be, then the repeatability.
func (m *Measuring) Figures() []RigFigure {
	var out []RigFigure
	for _, s := range m.SoFar {
		if s.Candidate == "" {
			continue
		}
		f := RigFigure{Name: clean(s.Candidate) + " over " + clean(s.Baseline) + " so far, " + metricNames[s.Metric]}
		switch t := gainWords(s.Gain, s.Lo, s.Hi, math.NaN(), s.Interval); {
		case s.Missing != "":
			f.Value, f.Note = "–", "No figure: "+clean(s.Missing)+"."
		case !s.Interval:
			f.Value, f.Note = "–", "No interval yet, so no figure: it takes more pulls."
		default:
			f.Value, f.Interval = t.Value+"\u00a0%", wholePercents(t.Interval)
			f.Note = s.width() + " Two-sided, " + confidence(s.Confidence) + ". " + m.whenJudged()
		}
		out = append(out, f)
	}
	if len(m.SoFar) == 0 {
		return out
	}
	s := m.SoFar[0]
	f := RigFigure{Name: "Repeatability, pull to pull", Value: "–", Note: "Not known yet: it takes two pulls of a block."}
	if s.PullDF > 0 && !math.IsNaN(s.PullSD) && !math.IsNaN(m.PullLimits[0]) {
		lo, hi := m.PullLimits[0], m.PullLimits[1]
		f.Value, f.Interval = fixed(100*s.PullSD, 2)+"\u00a0%", wholePercents(fixed(100*lo, 2)+" % to "+fixed(100*hi, 2)+" %")
		f.Note = "Standard deviation within a block, with its " + confidence(s.Confidence) + " interval; " + plain(math.Round(10*s.PullDF)/10) + " degrees of freedom."
	}
	return append(out, f)
}

// RigField is a value that is written down at the rig.
type RigField struct {
	Key    string // column of pulls.csv
	Name   string
	Unit   string // the person's; empty: a bare number
	Target string // with its tolerance; empty: none
	Held   string // what holds until it is entered anew; empty: nothing
}

// wholePercents keeps numbers and their signs on one line.
func wholePercents(words string) string { return strings.ReplaceAll(words, " %", "\u00a0%") }

// airFields are what is read of the air by hand.
var airFields = []string{"pressure_kpa", "temperature_degc", "relative_humidity_pct"}

// airNames are their names on a form.
var airNames = map[string]string{"pressure_kpa": "air pressure at the station", "temperature_degc": "intake air", "relative_humidity_pct": "relative humidity"}

// Fields lists what is entered at the rig in a person's units: the set points, then
// the air. Held are the values that hold, by column.
func (m *Measuring) Fields(held map[string]string, units quantity.System) (points, air []RigField) {
	for _, p := range m.Campaign.Procedure {
		name, unit, target := setPointParts(p, units)
		points = append(points, RigField{Key: clean(p.Key), Name: capitalised(name), Unit: unit, Target: target, Held: shownValue(p.Key, held[p.Key], units)})
	}
	for _, key := range airFields {
		f := RigField{Key: key, Name: capitalised(airNames[key]), Held: shownValue(key, held[key], units)}
		if _, to, convertible := valueUnits(key, units); convertible {
			f.Unit = to.Name
		}
		air = append(air, f)
	}
	return points, air
}

// valueUnits returns the unit that a column's name says and the one that a person
// reads it in; false where the name says none.
func valueUnits(key string, units quantity.System) (from, to quantity.Unit, convertible bool) {
	_, spelling := campaign.SplitUnit(key)
	from, err := quantity.Lookup(spelling)
	if spelling == "" || err != nil {
		return from, to, false
	}
	to = units.Unit(from.Dimension)
	if from.Dimension == quantity.Pressure && strings.Contains(key, "tyre") {
		to = units.TyrePressure()
	}
	return from, to, true
}

// valueDigits is how many digits a value keeps when it is converted: more than any
// instrument at a rig shows.
const valueDigits = 7

// shownValue writes a cell of pulls.csv in a person's unit, with the unit.
func shownValue(key, cell string, units quantity.System) string {
	v, err := strconv.ParseFloat(cell, 64)
	from, to, convertible := valueUnits(key, units)
	if cell == "" || err != nil || !convertible {
		return clean(cell)
	}
	return shortNumber(to.From(from.SI(v))) + labelled(" ", to.Name)
}

// EnteredValue turns what a person typed for a column, in their units, into the
// cell of pulls.csv. A comma is a decimal mark. It reports false for what is no
// finite number.
func EnteredValue(key, typed string, units quantity.System) (string, bool) {
	typed = strings.TrimSpace(typed)
	if strings.Count(typed, ",") == 1 && !strings.Contains(typed, ".") {
		typed = strings.Replace(typed, ",", ".", 1)
	}
	typed = strings.Replace(typed, minus, "-", 1)
	v, err := strconv.ParseFloat(typed, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || strings.ContainsAny(typed, "xX_pP") {
		return "", false
	}
	from, to, convertible := valueUnits(key, units)
	if !convertible || from == to {
		return typed, true
	}
	converted := from.From(to.SI(v))
	if math.IsInf(converted, 0) || math.IsNaN(converted) {
		return "", false
	}
	return strconv.FormatFloat(converted, 'g', valueDigits, 64), true
}
