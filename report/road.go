package report

import (
	"bufio"
	"io"
	"math"
	"strconv"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// Road is what a gain means on the road: computed from the torque at the wheel, for a
// vehicle and a rider, and not measured there.
type Road struct {
	Gain      *Gain // the analysis
	Candidate string
	Claim     *Claim // nil: asked of a campaign
	Answers   []RoadAnswer
	Weighted  *RoadWeighted // nil: nothing was said of where a rider spends time
	Inputs    []RoadInput   // what went in
	Power     RoadPower
	Mass      float64 // with rider, kg
	Draws     int     // that intervals rest on
	Version   string
}

// RoadKind is a kind of question.
type RoadKind string

// The kinds of question, as the JSON spells them.
const (
	RoadRollOn  RoadKind = "roll_on"         // from one speed to a higher one in one gear: s
	RoadToSpeed RoadKind = "from_standstill" // to a speed: s
	RoadOver    RoadKind = "over_a_distance" // from standstill: s
	RoadTop     RoadKind = "top_speed"       // m/s
)

// What ends a top speed.
const (
	EndsByResistance = "resistance"
	EndsByLimiter    = "limiter"
	EndsByCurve      = "end of the curve" // nothing was measured beyond
)

// RoadFigure is a figure with its uncertainty: standard deviation, two-sided interval,
// and one-sided bounds. What is not known is NaN.
type RoadFigure struct{ Value, SE, Lo, Hi, AtLeast, AtMost float64 }

// RoadAnswer answers one question, in SI.
type RoadAnswer struct {
	Kind          RoadKind
	Gear          int // 0: that of the pulls, whose number is not known
	From, To, Way float64
	Missing       *RoadMissing // nil: there is an answer
	Interval      bool
	Unanswered    float64 // share of the draws without an answer
	Without, With RoadFigure
	Change        RoadFigure // with less without
	Ends          [2]string  // of a top speed, without and with; empty: no such question
}

// RoadMissing says why a question has no answer: an engine speed outside of what was
// measured, or a speed that is not reached.
type RoadMissing struct {
	Gear                int
	RPM, FromRPM, ToRPM float64 // asked for, and measured; RPM 0: not the reason
	Speed               float64 // m/s, at which no force is left
}

// RoadWeighted is the gain weighted by where a rider spends time; Gain is a fraction.
type RoadWeighted struct {
	Gain    RoadFigure
	Covered float64 // share of the time at engine speeds that were measured
	Source  string
	Bins    []RoadBin
}

// RoadBin is a share of the time.
type RoadBin struct{ FromRPM, ToRPM, Share float64 }

// RoadInput is something that went in, and where it comes from.
type RoadInput struct {
	What string `json:"what"`
	Is   string `json:"is"`
	From string `json:"from"`
}

// RoadPower is the power at the wheel over road speed by gear, and what the road takes:
// m/s and W.
type RoadPower struct {
	Gears       []RoadGear
	Speed, Load []float64
}

// RoadGear is the power at the wheel in one gear, with half-widths of the intervals.
type RoadGear struct {
	Gear                                        int
	Speed, Without, With, WithoutHalf, WithHalf []float64
}

func (r *Road) comparison() *compare.Comparison {
	for i := range r.Gain.Comparisons {
		if r.Gain.Comparisons[i].Candidate == r.Candidate {
			return &r.Gain.Comparisons[i]
		}
	}
	return &compare.Comparison{}
}

func (r *Road) title() string { return "On the road: " + r.Gain.title() }

func (r *Road) subtitle() string {
	c := r.comparison()
	return "What the torque of " + r.Gain.side(c.Candidate) + " over that of " + r.Gain.side(c.Baseline) + " comes to on a level road: computed from the pulls, not measured there. With " + confidence(c.Confidence) + " intervals."
}

func (r *Road) foot() string {
	campaign := "campaign " + clean(r.Gain.Campaign.ID)
	if r.Claim != nil {
		campaign = "claim " + clean(r.Claim.Number) + " of " + campaign
	}
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(r.Version)), campaign)
}

// Standing says what the figures rest on: the verdict, and of a claim how far it has
// come.
func (r *Road) Standing() string {
	s := r.Gain.Sentence(r.comparison())
	if r.Claim != nil {
		return s + " Claim " + clean(r.Claim.Number) + ": " + r.Claim.Standing()
	}
	return s
}

// shown reports whether the gain is shown, so that something may be promised.
func (r *Road) shown() bool {
	c := r.comparison()
	return c.Verdict == compare.GainShown && len(c.Reasons) == 0 && !r.ended()
}

// ended reports whether the claim asked of is no longer to be used.
func (r *Road) ended() bool {
	return r.Claim != nil && (r.Claim.State() == campaign.ClaimAmended || r.Claim.State() == campaign.ClaimWithdrawn)
}

// question words what was asked.
func (a *RoadAnswer) question(units quantity.System) string {
	speed, length := units.Unit(quantity.Speed), units.Unit(quantity.Length)
	gear := " in the gear of the pulls"
	if a.Gear > 0 {
		gear = " in gear " + strconv.Itoa(a.Gear)
	}
	round := func(u quantity.Unit, si float64) string { return wholeTenths(u.From(si)) }
	switch a.Kind {
	case RoadRollOn:
		return round(speed, a.From) + " to " + round(speed, a.To) + " " + speed.Name + gear
	case RoadToSpeed:
		return "from standstill to " + round(speed, a.To) + " " + speed.Name
	case RoadOver:
		return round(length, a.Way) + " " + length.Name + " from standstill"
	}
	return "top speed"
}

// wholeTenths writes a value that was asked for, to a tenth.
func wholeTenths(v float64) string { return plain(math.Round(10*v) / 10) }

// dimension is that of the answer.
func (a *RoadAnswer) dimension() quantity.Dimension {
	if a.Kind == RoadTop {
		return quantity.Speed
	}
	return quantity.Time
}

// roadNumbers are the figures of an answer, rounded to their intervals, in the unit that
// a person reads; without an interval half-widths, limits and Least are empty. Least is
// what may be promised.
type roadNumbers struct {
	Unit                                                        string
	Without, WithoutHalf, With, WithHalf, Change, Lo, Hi, Least string
}

// numbers rounds the figures of an answer that there is.
func (a *RoadAnswer) numbers(units quantity.System, shown bool) roadNumbers {
	unit := units.Unit(a.dimension())
	half := func(f RoadFigure) float64 {
		if !a.Interval {
			return math.NaN()
		}
		return (f.Hi - f.Lo) / 2
	}
	n := roadNumbers{Unit: unit.Name}
	n.Without, n.WithoutHalf = levelNumbers(a.Without.Value, half(a.Without), a.dimension(), units)
	n.With, n.WithHalf = levelNumbers(a.With.Value, half(a.With), a.dimension(), units)
	by := unit.FromDifference
	if !a.Interval {
		n.Change = signed(by(a.Change.Value), 1)
		return n
	}
	digits := places(by(half(a.Change)), 3)
	n.Change, n.Lo, n.Hi = signed(by(a.Change.Value), digits), signed(by(a.Change.Lo), digits), signed(by(a.Change.Hi), digits)
	promised := -by(a.Change.AtMost)
	if a.Kind == RoadTop {
		promised = by(a.Change.AtLeast)
	}
	if down, ok := quantity.RoundDown(promised, digits); ok && shown && !a.cut() && promised > 0 && !isZero(down) {
		n.Least = down
	}
	return n
}

// cut reports whether the end of the curve sets a top speed.
func (a *RoadAnswer) cut() bool { return a.Ends[0] == EndsByCurve || a.Ends[1] == EndsByCurve }

// roadText is an answer in words.
type roadText struct{ Without, With, Change, Interval, AtLeast, Note string }

// words words an answer in the person's units. What may be promised stands only where
// the gain is shown.
func (a *RoadAnswer) words(units quantity.System, shown bool) roadText {
	if a.Missing != nil {
		return roadText{"none", "none", "none", "–", "–", capitalised(a.missing(units)) + "."}
	}
	n := a.numbers(units, shown)
	t := roadText{
		Without: n.Without + labelled(" ± ", n.WithoutHalf) + " " + n.Unit, With: n.With + labelled(" ± ", n.WithHalf) + " " + n.Unit,
		Change: n.Change + " " + n.Unit, Interval: n.Lo + " to " + n.Hi + " " + n.Unit, AtLeast: "–",
	}
	if n.Least != "" {
		t.AtLeast = n.Least + " " + n.Unit + map[bool]string{true: " more", false: " less"}[a.Kind == RoadTop]
	}
	switch {
	case !a.Interval:
		t.Interval, t.Note = "none", "The interval is not known: in "+fixed(100*a.Unanswered, 0)+" % of the draws the question has no answer."
	case a.cut():
		t.Note = "The torque was measured up to this speed, and the vehicle may be faster."
	case a.Ends[1] == EndsByLimiter:
		t.Note = "With the part the limiter ends it."
	}
	return t
}

func isZero(number string) bool {
	v, err := strconv.ParseFloat(number, 64)
	return err == nil && v == 0
}

// missing says why there is no answer.
func (a *RoadAnswer) missing(units quantity.System) string {
	m := a.Missing
	gear := "the gear of the pulls"
	if m.Gear > 0 {
		gear = "gear " + strconv.Itoa(m.Gear)
	}
	if m.RPM > 0 {
		return gear + " would turn the engine at " + fixed(m.RPM, 0) + " rpm, and torque was measured from " + fixed(m.FromRPM, 0) + " to " + fixed(m.ToRPM, 0) + " rpm: other speeds or another gear can be asked for"
	}
	unit := units.Unit(quantity.Speed)
	return "not reached: in " + gear + " no force is left at " + fixed(unit.From(m.Speed), 0) + " " + unit.Name
}

// sentence words an answer for the terminal and for a sheet.
func (a *RoadAnswer) sentence(units quantity.System, shown bool) string {
	t := a.words(units, shown)
	s := capitalised(a.question(units)) + ": "
	if a.Missing != nil {
		return s + a.missing(units) + "."
	}
	s += t.Without + " without the part, " + t.With + " with it; change " + t.Change
	if a.Interval {
		s += " (" + t.Interval + ")"
	}
	if t.AtLeast != "–" {
		s += ", at least " + t.AtLeast
	}
	return s + "." + labelled(" ", t.Note)
}

// Sentences word all answers, and the weighted gain last.
func (r *Road) Sentences(units quantity.System) []string {
	var out []string
	for i := range r.Answers {
		out = append(out, r.Answers[i].sentence(units, r.shown()))
	}
	if r.Weighted != nil {
		out = append(out, r.weightedSentence())
	}
	return out
}

// weightedSentence words the gain where the rider spends time.
func (r *Road) weightedSentence() string {
	f := r.Weighted.Gain
	n := places(100*(f.Hi-f.Lo)/2, gainPlaces)
	s := "Where the rider spends time (" + cleanTo(r.Weighted.Source, 300) + ") the gain at full throttle is " + signed(100*f.Value, n) + " % on average (" +
		confidence(r.comparison().Confidence) + " interval " + signed(100*f.Lo, n) + " % to " + signed(100*f.Hi, n) + " %)"
	if down := roundedDown(100 * f.AtLeast); r.shown() && f.AtLeast > 0 && !isZero(down) {
		s += ", at least " + down + " %"
	}
	return s + ". " + fixed(100*r.Weighted.Covered, 0) + " % of that time is at engine speeds that were measured; the rest does not count."
}

// cautions say what the figures do not know.
func (r *Road) cautions() []string {
	out := []string{
		"Both sides share what is not known of the vehicle, so their difference is known better than either figure. Intervals come from " + strconv.Itoa(r.Draws) + " draws: a course of the gain over engine speed, correlated from speed to speed as the campaign's own setups, change-overs and pulls are, and a value of each figure that is not known well.",
		"Computed for full throttle on a level road in still air with the throttle open from the first moment. Part throttle, wind, slope, a rider who tucks in, and what a change of gear does to the share that the engine's own inertia takes are not in it.",
		"The driven tyre's loss on the drum is in the wheel figure and again in the rolling resistance, which moves both sides alike.",
		"Each figure that went in stands with its source. Those that were not entered are typical or judged: another vehicle and another rider have other ones.",
	}
	return append(out, ClaimCautions(nil)[0], "Speeds are for a closed course where the law sets lower ones.")
}

// Text writes the answer for a terminal.
func (r *Road) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	para := func(indent int, text string) { writeWrapped(out, text, indent, o.Width) }
	para(0, r.title())
	para(0, r.subtitle())
	out.WriteString("\n")
	para(0, r.Standing())
	out.WriteString("\n")
	for _, s := range r.Sentences(o.Units) {
		para(2, s)
	}
	out.WriteString("\nWhat went in:\n")
	for _, in := range r.Inputs {
		para(2, "- "+in.words())
	}
	out.WriteString("\n")
	for _, c := range r.cautions() {
		para(0, c)
	}
	return out.Flush()
}

func (in RoadInput) words() string {
	return clean(in.What) + ": " + cleanTo(in.Is, 300) + "; " + cleanTo(in.From, 300)
}
