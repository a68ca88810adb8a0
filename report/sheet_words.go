package report

import (
	"math"
	"slices"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// state says how far the claim has come.
func (s *Sheet) state() string {
	c := s.claim
	day := ""
	if len(c.States) > 0 {
		day = Day(c.States[len(c.States)-1].At)
	}
	switch c.State() {
	case campaign.ClaimReviewed:
		return s.l.say("state.reviewed")
	case campaign.ClaimSigned:
		return s.l.say("state.signed", day)
	case campaign.ClaimPublished:
		return s.l.say("state.published", day)
	case campaign.ClaimAmended:
		if c.By != "" {
			return s.l.say("state.amended_by", clean(c.By))
		}
		return s.l.say("state.amended")
	case campaign.ClaimWithdrawn:
		return s.l.say("state.withdrawn")
	}
	return s.l.say("state.draft")
}

// about says what was tested on what.
func (s *Sheet) about() string {
	name := func(side campaign.ClaimSide) string {
		if n := cleanTo(side.Name, 80); n != "" {
			return n
		}
		return clean(side.ID)
	}
	vehicle := cleanTo(s.claim.Gain.Campaign.Vehicle.Description, 80)
	if vehicle == "" {
		vehicle = clean(s.claim.Vehicle.ID)
	}
	return s.l.say("lead.about", capitalised(name(s.claim.Tested)), name(s.claim.Baseline), vehicle)
}

// lead is the at-least figure, in the words of the verdict; rounded as everywhere.
func (s *Sheet) lead() string {
	f, key := s.figure(), metricRows[s.comparison.Primary].key
	switch s.comparison.Verdict {
	case compare.GainShown:
		return s.l.say("lead.gain_"+key, s.l.percent(roundedDown(percent(f.AtLeast))))
	case compare.LossShown:
		return s.l.say("lead.loss_"+key, s.l.percent(roundedDown(-percent(f.AtMost))))
	}
	return s.l.say("lead.same_"+key, s.l.percent(plain(100*s.comparison.SmallestGain)))
}

// typical is the measured gain with its interval.
func (s *Sheet) typical() string {
	g := gainTextOf(s.figure())
	return s.l.say("lead.typical", s.l.percent(g.Value), s.l.percent(plain(100*s.comparison.Confidence)), s.l.percent(g.Lo), s.l.percent(g.Hi))
}

func (s *Sheet) scope() string {
	l, f, band := s.l, s.figure(), s.comparison.BandRPM
	switch {
	case s.comparison.Primary != compare.Band:
		return l.say("lead.scope_peak", l.number(plain(f.CandidateRPM)), l.number(plain(f.BaselineRPM)))
	case s.claim.Gain.Steady:
		return l.say("lead.scope_held", l.number(plain(band[0])), l.number(plain(band[1])))
	case s.claim.Gain.Campaign.Objective.BandRPM == [2]float64{}:
		return l.say("lead.scope_range", l.number(plain(band[0])), l.number(plain(band[1])))
	}
	return l.say("lead.scope_band", l.number(plain(band[0])), l.number(plain(band[1])))
}

// notes say what qualifies the figure: what the same view says in its own sentence.
func (s *Sheet) notes() []string {
	g, c, l := s.claim.Gain, s.comparison, s.l
	var out []string
	if g.coastSentence(c) != "" {
		share := g.CoastShares[c.Candidate]
		lo, hi := 100*share.Lo, 100*share.Hi
		n := places((hi-lo)/2, gainPlaces)
		out = append(out, l.say("note.coast", l.percent(signed(100*share.Value, n)), l.percent(plain(100*c.Confidence)), l.percent(signed(lo, n)), l.percent(signed(hi, n))))
	}
	if g.coastUnknown(c) {
		out = append(out, l.say("note.coast_unknown"))
	}
	if g.wheelSentence(c) != "" {
		out = append(out, l.say("note.wheel"))
	}
	if g.uncorrected() {
		out = append(out, l.say("note.air"))
	}
	if g.AtCrank {
		out = append(out, l.say("note.crank"))
	}
	return out
}

// stretch is consecutive nodes of one answer.
type stretch struct {
	answer int // 1: more, −1: less, 0: neither is shown
	lo, hi float64
}

// stretches cuts the riding band by what its whole-band limits show.
func (s *Sheet) stretches() []stretch {
	var out []stretch
	for i := range s.comparison.Curve {
		n := &s.comparison.Curve[i]
		if !n.Interval || math.IsNaN(n.BandLo) || math.IsNaN(n.BandHi) {
			continue
		}
		answer := 0
		switch {
		case n.BandLo > 0:
			answer = 1
		case n.BandHi < 0:
			answer = -1
		}
		if last := len(out) - 1; last >= 0 && out[last].answer == answer {
			out[last].hi = n.RPM
			continue
		}
		out = append(out, stretch{answer, n.RPM, n.RPM})
	}
	return out
}

// where says over which engine speeds it helps, and where not.
func (s *Sheet) where() sheetSection {
	l := s.l
	out := sheetSection{Head: l.say("where.head")}
	parts := s.stretches()
	if len(parts) == 0 {
		out.Said = []string{l.say("where.none")}
		return out
	}
	for _, row := range []struct {
		answer int
		key    string
	}{{1, "where.more"}, {-1, "where.less"}, {0, "where.open"}} {
		spans := s.spans(parts, row.answer)
		if len(spans) > 0 {
			out.Said = append(out.Said, l.say(row.key, l.list(spans)))
		}
	}
	out.Said = append(out.Said, l.say("where.limits", l.percent(plain(100*s.comparison.Confidence))))
	return out
}

// maxSpans bounds the stretches of one answer that are listed one by one.
const maxSpans = 6

// spans words the stretches of one answer.
func (s *Sheet) spans(parts []stretch, answer int) []string {
	l, lo, hi := s.l, math.Inf(1), 0.0
	var out []string
	for _, p := range parts {
		if p.answer != answer {
			continue
		}
		lo, hi = min(lo, p.lo), max(hi, p.hi)
		if p.lo == p.hi {
			out = append(out, l.say("where.one", l.number(plain(p.lo))))
		} else {
			out = append(out, l.say("where.span", l.number(plain(p.lo)), l.number(plain(p.hi))))
		}
	}
	if len(out) > maxSpans {
		return []string{l.say("where.many", plain(float64(len(out))), l.number(plain(lo)), l.number(plain(hi)))}
	}
	return out
}

// fitted lists what was changed, function by function.
func (s *Sheet) fitted() sheetSection {
	l, before, after := s.l, s.claim.Baseline, s.claim.Tested
	out := sheetSection{Head: l.say("fitted.head")}
	part := func(p campaign.ClaimComponent) string {
		if p.Serial != "" {
			return l.say("fitted.serial", cleanTo(p.Part, 60), cleanTo(p.Serial, 30))
		}
		return cleanTo(p.Part, 60)
	}
	same := 0
	for _, p := range after.Components {
		was := slices.IndexFunc(before.Components, func(b campaign.ClaimComponent) bool { return b.Function == p.Function })
		switch {
		case !p.Changed:
			same++
		case was >= 0:
			out.Items = append(out.Items, l.say("fitted.swap", cleanTo(p.Function, 40), part(p), part(before.Components[was])))
		default:
			out.Items = append(out.Items, l.say("fitted.added", cleanTo(p.Function, 40), part(p)))
		}
	}
	for _, p := range before.Components {
		if !slices.ContainsFunc(after.Components, func(a campaign.ClaimComponent) bool { return a.Function == p.Function }) {
			out.Items = append(out.Items, l.say("fitted.removed", cleanTo(p.Function, 40), part(p)))
		}
	}
	out.Items = append(out.Items, s.settings()...)
	if same > 0 {
		out.Said = []string{l.say("fitted.same", same)}
	}
	return out
}

// settings lists the settings that differ.
func (s *Sheet) settings() []string {
	value := func(list []campaign.ClaimSetting, key string) string {
		for _, x := range list {
			if x.Key == key {
				return cleanTo(x.Value, 60)
			}
		}
		return "–"
	}
	var out, seen []string
	for _, x := range slices.Concat(s.claim.Tested.Settings, s.claim.Baseline.Settings) {
		if x.Changed && !slices.Contains(seen, x.Key) {
			seen = append(seen, x.Key)
			out = append(out, s.l.say("fitted.swap", s.l.say("fitted.setting", words(x.Key)), value(s.claim.Tested.Settings, x.Key), value(s.claim.Baseline.Settings, x.Key)))
		}
	}
	return out
}

// held says what was held constant, and how well where that was recorded.
func (s *Sheet) held(units quantity.System) sheetSection {
	l := s.l
	out := sheetSection{Head: l.say("held.head"), Items: []string{l.say("held.vehicle")}}
	if gear := s.claim.Gain.Campaign.Vehicle.TestGear; gear > 0 {
		out.Items[0] = l.say("held.gear", plain(float64(gear)))
	}
	for _, p := range s.claim.Procedure {
		out.Items = append(out.Items, s.point(p, units))
	}
	setups := map[string]bool{}
	for _, b := range s.comparison.Blocks {
		if b.Configuration == s.comparison.Baseline || b.Configuration == s.comparison.Candidate {
			setups[b.Setup] = true
		}
	}
	out.Said = []string{capitalised(l.say("held.pulls", plain(float64(s.claim.Baseline.Pulls)), plain(float64(s.claim.Tested.Pulls)), plain(float64(len(setups))))) + "."}
	if s.comparison.Bracketed {
		out.Said = append(out.Said, l.say("held.bracketed"))
	}
	return out
}

// point words a set point in the reader's units and language.
func (s *Sheet) point(p campaign.ClaimSetPoint, units quantity.System) string {
	set := campaign.SetPoint{Key: p.Key, Target: p.Target, Tolerance: p.Tolerance}
	name := words(set.Channel())
	if key := "held." + set.Channel(); s.l.has(key) {
		name = s.l.say(key)
	}
	shown, target, tolerance, write := setPointShown(set, units)
	if p.Least == nil || p.Most == nil {
		return s.l.say("held.point", name, s.l.number(target), s.l.number(tolerance), shown)
	}
	key := "held.point_measured"
	if *p.Least < p.Target-p.Tolerance || *p.Most > p.Target+p.Tolerance {
		key = "held.point_outside"
	}
	return s.l.say(key, name, s.l.number(target), s.l.number(tolerance), shown, s.l.number(write(*p.Least)), s.l.number(write(*p.Most)))
}

// differs says why a reader's figure may be another, and by how much where several
// vehicles were tested.
func (s *Sheet) differs() sheetSection {
	l := s.l
	out := sheetSection{Head: l.say("differs.head")}
	switch a := s.across; {
	case a == nil || a.Result.Vehicles == 1:
		out.Said = []string{l.say("differs.one")}
	case a.Result.Predicted:
		r := a.Result
		next, mean := gainWords(r.Mean, r.PredictionLo, r.PredictionHi, math.NaN(), true), gainWords(r.Mean, r.Lo, r.Hi, r.AtLeast, true)
		out.Said = []string{l.say("differs.several", r.Vehicles, l.percent(next.Lo), l.percent(next.Hi), l.percent(plain(100*a.Confidence)), l.percent(mean.Value))}
	default:
		var gains []string
		for i := range a.Rows {
			if a.Rows[i].Used {
				gains = append(gains, l.percent(a.Rows[i].words().Value))
			}
		}
		out.Said = []string{l.say("differs.two", l.list(gains))}
	}
	out.Said = append(out.Said, l.say("differs.reasons"))
	return out
}

// holds says what the figures hold for: the substitution rule, the specimens, what
// nothing is said of, and the law.
func (s *Sheet) holds() sheetSection {
	l := s.l
	out := sheetSection{Head: l.say("holds.head"), Said: []string{l.say("holds.rule")}}
	if n := s.claim.SpecimensTested; n > 0 {
		out.Said = append(out.Said, l.say("holds.specimens", n))
	} else {
		out.Said = append(out.Said, l.say("holds.settings_only"))
	}
	law := "holds.law"
	if s.touchesEmissions() {
		law = "holds.law_parts"
	}
	out.Said = append(out.Said, l.say("holds.limits"), l.say(law), l.say("holds.approval"))
	return out
}

// touchesEmissions reports whether something that was changed bears on emissions or
// noise.
func (s *Sheet) touchesEmissions() bool {
	for _, side := range []campaign.ClaimSide{s.claim.Tested, s.claim.Baseline} {
		for _, p := range side.Components {
			if p.Changed && touchesEmissions(p.Function) {
				return true
			}
		}
		for _, x := range side.Settings {
			if x.Changed && touchesEmissions(x.Key) {
				return true
			}
		}
	}
	return false
}

// verify says how the claim is checked.
func (s *Sheet) verify() sheetSection {
	l := s.l
	out := sheetSection{Head: l.say("verify.head"), Said: []string{l.say("verify.how", clean(s.claim.Number))}}
	if len(s.claim.Signed) == 0 {
		out.Said = append(out.Said, l.say("verify.unsigned"))
	} else if s.claim.Founder != "" {
		out.Said = append(out.Said, l.say("verify.key", clean(s.claim.Founder)))
	}
	return out
}
