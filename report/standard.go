package report

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"fairpull/quantity"
)

// CheckStandard is the control chart of a dyno's check standard: a vehicle that is kept
// unchanged to watch the rig.
type CheckStandard struct {
	Dyno, Vehicle string
	Like          string     // the campaign that says what the unchanged vehicle is
	From          time.Time  // pulls from then on count; zero: all
	BandRPM       [2]float64 // engine speeds whose mean torque is watched, 1/min
	Correction    string
	TestGear      int // 0: not stated
	NamedBy, Why  string
	NamedAt       time.Time

	Rules    StandardRules
	Checks   []StandardEntry // in order of time
	Learned  int             // good checks that centre and spread come from
	Frozen   bool            // they are enough, and the two move no more
	CentreNm float64         // NaN: no check yet
	SD       float64         // of one check, ln; NaN: too few
	Doubts   []StandardDoubt
	LeftOut  []StandardLeftOut
	Version  string // of the program
}

// StandardRules are the limits of the chart in standard deviations, and how many
// checks each takes to signal on average.
type StandardRules struct {
	Weight, Limit       float64 // of the EWMA: its weight, and the half-width of its limits
	Reference, Decision float64 // of the CUSUM
	Single              float64
	EWMA, CUSUM, One    RunLength
	Together            RunLength
}

// RunLength is an average number of checks: between false alarms, and until a lasting
// shift of one standard deviation is found. It holds for checks that are alike.
type RunLength struct{ False, ShiftOfOne float64 }

// StandardEntry is one check: a setup of the check standard. The figures of the chart
// are NaN where Judged is false.
type StandardEntry struct {
	Campaign, Setup   string
	Started           time.Time
	Pulls             int
	MeanNm            float64
	Judged            bool
	Q, EWMA, Up, Down float64
	Signals           []string // the rules that signal
}

// StandardDoubt is a stretch of time in which the rig's levels are in doubt: from the
// last good check before checks that signal to the first good one after.
type StandardDoubt struct {
	First, Last  int       // checks that signal, by their place in Checks
	Since, Until time.Time // zero: from the beginning; not ended
	Campaigns    []string  // begun within it, the earliest first
}

// Covers reports whether a campaign begun at that moment lies within the doubt.
func (d StandardDoubt) Covers(at time.Time) bool {
	return at.After(d.Since) && (d.Until.IsZero() || at.Before(d.Until))
}

// StandardLeftOut is a campaign of the vehicle that is no check, and why.
type StandardLeftOut struct{ Campaign, Reason string }

// title names the chart.
func (s *CheckStandard) title() string {
	return "Check standard of dyno " + clean(s.Dyno) + ": " + clean(s.Vehicle)
}

// subtitle says what is watched, and who said so.
func (s *CheckStandard) subtitle() string {
	t := "Watched is mean torque from " + span(s.BandRPM) + ", corrected by " + clean(s.Correction)
	if s.TestGear > 0 {
		t += ", in gear " + plain(float64(s.TestGear))
	}
	t += ", with the parts of the baseline of " + clean(s.Like)
	if !s.From.IsZero() {
		t += ", from " + day(s.From) + " on"
	}
	t += ". Named by " + clean(s.NamedBy) + " on " + day(s.NamedAt)
	if s.Why != "" {
		t += ": " + cleanTo(s.Why, 400)
	}
	return strings.TrimRight(t, ".") + "."
}

// summary is the answer: what the latest check says of the rig.
func (s *CheckStandard) summary() string {
	if len(s.Checks) == 0 {
		return "There is no check yet."
	}
	last := s.Checks[len(s.Checks)-1]
	switch {
	case len(last.Signals) > 0:
		return "The rig has changed: the check of " + day(last.Started) + " signals (" + strings.Join(last.Signals, ", ") + ")."
	case !last.Judged:
		return "There are too few checks to judge by: the third is the first that can be."
	case len(s.Doubts) > 0:
		return "The latest check, of " + day(last.Started) + ", finds the rig as it was; checks before it signalled."
	}
	return "No check signals: the latest, of " + day(last.Started) + ", finds the rig as it was."
}

// doubt says what a stretch of doubt touches, and what it does not.
func (s *CheckStandard) doubt(d StandardDoubt) string {
	t := "Levels in N·m and kW measured on this dyno "
	if d.Since.IsZero() {
		t += "up to " + day(s.Checks[d.Last].Started)
	} else {
		t += "since the last good check on " + day(d.Since)
	}
	if !d.Until.IsZero() {
		t += " and before the good one on " + day(d.Until)
	}
	t += " may be off: " + s.signalled(d) + ". Gains within a campaign are not touched: they compare pulls on the same rig."
	if len(d.Campaigns) > 0 {
		names := d.Campaigns
		if n := len(names) - maxFlags; n > 0 {
			names = append(names[:maxFlags:maxFlags], strconv.Itoa(n)+" more")
		}
		t += " Campaigns begun then: " + cleanedList(names) + "; judge them again to mark their results."
	}
	return t
}

// signalled says which checks signalled in a stretch of doubt, and by which rules.
func (s *CheckStandard) signalled(d StandardDoubt) string {
	first, last := s.Checks[d.First], s.Checks[d.Last]
	t := "the check of " + day(first.Started) + " signals (" + strings.Join(first.Signals, ", ") + ")"
	if d.Last > d.First {
		t = plural(d.Last-d.First+1, "check") + " from " + day(first.Started) + " to " + day(last.Started) + " signal (first by " + strings.Join(first.Signals, ", ") + ")"
	}
	return t
}

// basis says what the checks are held against.
func (s *CheckStandard) basis(units quantity.System) string {
	if s.Learned == 0 {
		return ""
	}
	t := "Centre " + level(s.CentreNm, math.NaN(), quantity.Torque, units)
	if !math.IsNaN(s.SD) {
		t = "Centre " + level(s.CentreNm, s.CentreNm*s.SD/math.Sqrt(float64(s.Learned)), quantity.Torque, units) + " (standard error), one check " + sdWords(s.SD)
	}
	t += ", from " + plural(s.Learned, "good check")
	if s.Frozen {
		return t + ": enough, they move no more."
	}
	return t + "; each good check moves them until there are 25."
}

// limits says how many checks each rule takes to signal.
func (s *CheckStandard) limits() []string {
	r := s.Rules
	line := func(name string, l RunLength) string {
		return name + ": a false alarm in " + fixed(l.False, 0) + " checks on average, a lasting shift of one SD found after " + fixed(l.ShiftOfOne, 1)
	}
	return []string{
		line("EWMA, weight "+plain(r.Weight)+", limits ±"+fixed(r.Limit, 2)+" SD", r.EWMA),
		line("CUSUM, reference "+plain(r.Reference)+", limit "+plain(r.Decision)+" SD", r.CUSUM),
		line("One check beyond "+plain(r.Single)+" SD", r.One),
		line("All three together (simulated)", r.Together),
	}
}

// startNote says what holds for a chart that has just begun.
const startNote = "These averages hold for a centre and spread that are known well. A chart that has just begun gives no more false alarms than that, but finds a shift late: of one SD, after five checks of learning, in one of eight cases within twenty; after twenty checks in two of three (docs/method.md, section 12)."

// away is a check's level in per cent about the centre.
func (s *CheckStandard) away(c StandardEntry) float64 {
	return percent(math.Log(c.MeanNm) - math.Log(s.CentreNm))
}

// checkStandardFormat is the format of the JSON form.
const checkStandardFormat = "fairpull.check-standard/1"

type (
	checkStandardJSON struct {
		Format     string                `json:"format"`
		Dyno       string                `json:"dyno"`
		Vehicle    string                `json:"vehicle"`
		Like       string                `json:"like"`
		From       *string               `json:"from"`
		RPMLo      float64               `json:"rpm_lo"`
		RPMHi      float64               `json:"rpm_hi"`
		Correction string                `json:"correction"`
		Gear       *int                  `json:"gear"`
		NamedBy    string                `json:"named_by"`
		NamedAt    string                `json:"named_at"`
		Why        string                `json:"why"`
		Rules      standardRulesJSON     `json:"rules"`
		Learned    int                   `json:"learned_from"`
		Frozen     bool                  `json:"frozen"`
		Centre     amount                `json:"centre_nm"`
		SD         amount                `json:"sd_pct"`
		Checks     []standardEntryJSON   `json:"checks"`
		Doubts     []standardDoubtJSON   `json:"doubts"`
		LeftOut    []standardLeftOutJSON `json:"left_out"`
	}
	standardRulesJSON struct {
		Weight    amount        `json:"ewma_weight"`
		Limit     amount        `json:"ewma_limit_sd"`
		Reference amount        `json:"cusum_reference_sd"`
		Decision  amount        `json:"cusum_limit_sd"`
		Single    amount        `json:"single_limit_sd"`
		EWMA      runLengthJSON `json:"ewma_run_length"`
		CUSUM     runLengthJSON `json:"cusum_run_length"`
		One       runLengthJSON `json:"single_run_length"`
		Together  runLengthJSON `json:"together_run_length"`
	}
	runLengthJSON struct {
		False amount `json:"false_alarm"`
		Shift amount `json:"shift_of_one_sd"`
	}
	standardEntryJSON struct {
		Campaign string   `json:"campaign"`
		Setup    string   `json:"setup"`
		Started  string   `json:"started"`
		Pulls    int      `json:"pulls"`
		Mean     amount   `json:"mean_nm"`
		Away     amount   `json:"about_centre_pct"`
		Judged   bool     `json:"judged"`
		Q        amount   `json:"q"`
		EWMA     amount   `json:"ewma"`
		Up       amount   `json:"cusum_up"`
		Down     amount   `json:"cusum_down"`
		Signals  []string `json:"signals"`
	}
	standardDoubtJSON struct {
		Since     *string  `json:"since"`
		Until     *string  `json:"until"`
		Checks    int      `json:"checks"`
		Campaigns []string `json:"campaigns"`
	}
	standardLeftOutJSON struct {
		Campaign string `json:"campaign"`
		Reason   string `json:"reason"`
	}
)

// JSON returns the chart as one fairpull.check-standard/1 object, unrounded.
func (s *CheckStandard) JSON() ([]byte, error) {
	r := s.Rules
	run := func(l RunLength) runLengthJSON { return runLengthJSON{amount(l.False), amount(l.ShiftOfOne)} }
	out := checkStandardJSON{
		Format: checkStandardFormat, Dyno: s.Dyno, Vehicle: s.Vehicle, Like: s.Like, From: optionalMoment(s.From),
		RPMLo: s.BandRPM[0], RPMHi: s.BandRPM[1], Correction: s.Correction, NamedBy: s.NamedBy, NamedAt: moment(s.NamedAt), Why: s.Why,
		Rules: standardRulesJSON{
			amount(r.Weight), amount(r.Limit), amount(r.Reference), amount(r.Decision), amount(r.Single),
			run(r.EWMA), run(r.CUSUM), run(r.One), run(r.Together),
		},
		Learned: s.Learned, Frozen: s.Frozen, Centre: amount(s.CentreNm), SD: amount(100 * s.SD),
		Checks: []standardEntryJSON{}, Doubts: []standardDoubtJSON{}, LeftOut: []standardLeftOutJSON{},
	}
	if s.TestGear > 0 {
		out.Gear = &s.TestGear
	}
	for _, c := range s.Checks {
		out.Checks = append(out.Checks, standardEntryJSON{
			c.Campaign, c.Setup, moment(c.Started), c.Pulls, amount(c.MeanNm), amount(s.away(c)), c.Judged,
			amount(c.Q), amount(c.EWMA), amount(c.Up), amount(c.Down), append([]string{}, c.Signals...),
		})
	}
	for _, d := range s.Doubts {
		out.Doubts = append(out.Doubts, standardDoubtJSON{optionalMoment(d.Since), optionalMoment(d.Until), d.Last - d.First + 1, append([]string{}, d.Campaigns...)})
	}
	for _, l := range s.LeftOut {
		out.LeftOut = append(out.LeftOut, standardLeftOutJSON(l))
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}

// optionalMoment is nil for no time.
func optionalMoment(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	text := moment(t)
	return &text
}
