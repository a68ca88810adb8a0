package report

import (
	"errors"
	"fmt"
	"math"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// Sheet is a claim as a customer reads it, on one page, in one language.
type Sheet struct {
	claim      *Claim
	comparison *compare.Comparison
	across     *Across // nil: one vehicle
	o          SheetOptions
	l          *Language
}

// SheetOptions are what a person chooses for a sheet.
type SheetOptions struct {
	Language string // as ParseLanguage takes it; empty: en
	Paper    string // a4 or letter; empty: letter with US customary units, else a4
	Look     *Look  // nil: plain
	// Across is the same part on several vehicles; nil: only the claim's own was tested.
	Across *Across
	// Road is what the gain comes to on the road; nil: the sheet says nothing of it.
	Road *Road
}

// NewSheet returns the sheet of a claim whose analysis is known. What a sheet says is
// the claim's; a claim without a figure, and vehicles of another figure or
// confidence than the claim's, are refused.
func NewSheet(c *Claim, o SheetOptions) (*Sheet, error) {
	if c.Gain == nil {
		return nil, errors.New("a sheet needs the analysis that the claim rests on")
	}
	s := &Sheet{claim: c, o: o, across: o.Across}
	for i := range c.Gain.Comparisons {
		if c.Gain.Comparisons[i].Candidate == c.Candidate {
			s.comparison = &c.Gain.Comparisons[i]
		}
	}
	if s.comparison == nil || !s.figure().Interval || s.comparison.Verdict == compare.NotEnoughEvidence || s.comparison.Verdict == "" {
		return nil, fmt.Errorf("claim %s has no figure with an interval and a verdict, and a sheet states one", clean(c.Number))
	}
	if string(s.comparison.Verdict) != c.Verdict || percent(s.figure().AtLeast) != c.Claimed.AtLeastPct || percent(s.figure().Gain) != c.Claimed.GainPct {
		return nil, fmt.Errorf("the analysis finds something else than claim %s states", clean(c.Number))
	}
	if s.o.Language == "" {
		s.o.Language = "en"
	}
	var err error
	if s.l, err = ParseLanguage(s.o.Language); err != nil {
		return nil, err
	}
	if o.Paper != "" && o.Paper != "a4" && o.Paper != "letter" {
		return nil, fmt.Errorf("there is no paper %.20q: a4 or letter", o.Paper)
	}
	if o.Look == nil {
		plain := plainLook()
		s.o.Look = &plain
	}
	if o.Road != nil {
		if err := s.agreesWithRoad(o.Road); err != nil {
			return nil, err
		}
	}
	if a := o.Across; a != nil {
		return s, s.agrees(a)
	}
	return s, nil
}

// agrees refuses vehicles that say something else than the claim is about.
func (s *Sheet) agrees(a *Across) error {
	switch {
	case a.Metric != s.comparison.Primary || a.Confidence != s.comparison.Confidence:
		return fmt.Errorf("the vehicles are put together for %s at %s, and the claim is of %s at %s",
			acrossNames[a.Metric], confidence(a.Confidence), acrossNames[s.comparison.Primary], confidence(s.comparison.Confidence))
	case a.Result.Vehicles == 0:
		return errors.New("no vehicle has a gain that can be used")
	}
	for _, r := range a.Rows {
		if r.Campaign == s.claim.Campaign && r.Candidate == s.claim.Candidate {
			return nil
		}
	}
	return fmt.Errorf("the claim's own campaign %s is not among the vehicles", clean(s.claim.Campaign))
}

// figure is the one that carries the claim.
func (s *Sheet) figure() *compare.Figure { return s.comparison.Figure(s.comparison.Primary) }

// valid reports whether the claim is published and stands.
func (s *Sheet) valid() bool { return s.claim.State() == campaign.ClaimPublished }

// sheetView is what a sheet says, in its order; page and paper show the same.
type sheetView struct {
	Kicker, Number, State string
	Title, About          string
	Lead, Typical, Scope  string
	Meaning               string
	Notes                 []string
	Table                 table
	Left, Right           []sheetSection
	Foot                  []string
}

// sheetSection is a heading with items, the later of which a small page may leave to
// the claim, and sentences, which it may not.
type sheetSection struct {
	Head  string
	Items []string
	Said  []string
}

func (s *Sheet) view(units quantity.System) sheetView {
	l, c := s.l, s.claim
	v := sheetView{
		Kicker: l.say("page.kicker"), Number: l.say("page.claim", clean(c.Number)), State: s.state(), Title: cleanTo(c.Title, 110), About: s.about(),
		Lead: s.lead(), Typical: s.typical(), Scope: s.scope(), Meaning: l.say("lead.meaning", l.percent(plain(100*s.comparison.Confidence))),
		Notes: s.notes(), Table: s.table(units),
		Left:  append([]sheetSection{s.where()}, append(s.road(units), s.fitted(), s.held(units))...),
		Right: []sheetSection{s.differs(), s.holds(), s.verify()},
	}
	first, last := c.Gain.firstAndLastDay()
	measured := l.say("page.measured", first)
	if first != last {
		measured = l.say("page.measured_span", first, last)
	}
	v.Foot = []string{joined(" · ", v.Number, measured, l.say("page.made", clean(c.Version), clean(c.Campaign))), l.say("page.accessible")}
	if s.o.Look.Contact != "" {
		v.Foot[1] = joined(" · ", l.say("page.contact", s.o.Look.Contact), v.Foot[1])
	}
	return v
}

// table has before and after of the three figures. A figure without a gain has its
// levels alone.
func (s *Sheet) table(units quantity.System) table {
	l, c := s.l, s.comparison
	level := l.percent(plain(100 * c.Confidence))
	t := table{
		Heads:   []string{l.say("table.figure"), l.say("table.before"), l.say("table.after"), l.say("table.gain"), l.say("table.interval", level), l.say("table.least")},
		Numeric: []bool{false, true, true, true, true, true},
	}
	switch {
	case s.claim.Gain.uncorrected():
		t.Caption = l.say("table.caption_raw", level)
	case s.claim.Gain.AtCrank:
		t.Caption = l.say("table.caption_crank", s.claim.Gain.standard(), level)
	default:
		t.Caption = l.say("table.caption", s.claim.Gain.standard(), level)
	}
	for _, row := range metricRows {
		f := c.Figure(row.metric)
		if !(f.BaselineLevel > 0) || !(f.CandidateLevel > 0) {
			continue
		}
		name := l.say("table." + row.key)
		if row.metric == compare.Band {
			name = l.say("table.band", l.number(plain(c.BandRPM[0])), l.number(plain(c.BandRPM[1])))
		}
		cells := []string{
			name,
			s.level(row, f.BaselineLevel, halfOfLevel(c, row.metric, campaign.Baseline), f.BaselineRPM, units),
			s.level(row, f.CandidateLevel, halfOfLevel(c, row.metric, campaign.Candidate), f.CandidateRPM, units), "–", "–", "–",
		}
		if f.Missing == "" && f.Interval {
			g := gainTextOf(f)
			cells[3], cells[4], cells[5] = l.percent(g.Value), l.percent(g.Lo)+" – "+l.percent(g.Hi), l.percent(g.AtLeast)
		}
		t.Rows, t.Marks = append(t.Rows, cells), append(t.Marks, map[bool]string{true: "primary"}[row.metric == c.Primary])
	}
	return t
}

// level writes a level with its half-width and, for a peak, its engine speed.
func (s *Sheet) level(row metricRow, value, half, rpm float64, units quantity.System) string {
	if math.IsNaN(half) {
		half = 0
	}
	number, doubt := levelNumbers(value, value*half, row.dimension, units)
	text := s.l.number(number)
	if doubt != "" {
		text += " ± " + s.l.number(doubt)
	}
	text += " " + units.Unit(row.dimension).Name
	if row.metric != compare.Band {
		text = s.l.say("table.at", text, s.l.number(plain(rpm)))
	}
	return text
}
