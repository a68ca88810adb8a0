package report

import (
	"fmt"
	"strconv"

	"fairpull/quantity"
)

// maxSheetRoad bounds the answers that a sheet repeats.
const maxSheetRoad = 3

// agreesWithRoad refuses a computation about something else than the claim.
func (s *Sheet) agreesWithRoad(r *Road) error {
	if r.Claim == nil || r.Claim.Number != s.claim.Number || r.Candidate != s.claim.Candidate {
		return fmt.Errorf("the figures for the road are not of claim %s", clean(s.claim.Number))
	}
	return nil
}

// road says what the gain comes to on the road, as far as that is known with an
// interval; nothing unless it was asked for.
func (s *Sheet) road(units quantity.System) []sheetSection {
	if s.o.Road == nil {
		return nil
	}
	l := s.l
	out := sheetSection{Head: l.say("road.head")}
	for i := range s.o.Road.Answers {
		a := &s.o.Road.Answers[i]
		if a.Missing != nil || !a.Interval || a.cut() || len(out.Said) == maxSheetRoad {
			continue
		}
		n := a.numbers(units, s.o.Road.shown())
		level := func(value, half string) string { return l.number(value) + " ± " + l.number(half) + " " + n.Unit }
		out.Said = append(out.Said, l.say("road.answer", s.roadQuestion(a, units), level(n.With, n.WithHalf), level(n.Without, n.WithoutHalf),
			l.number(n.Change)+" "+n.Unit, l.percent(plain(100*s.comparison.Confidence)), l.number(n.Lo), l.number(n.Hi)+" "+n.Unit))
	}
	if len(out.Said) == 0 {
		out.Said = []string{l.say("road.none")}
		return []sheetSection{out}
	}
	mass := units.Unit(quantity.Mass)
	out.Said = append(out.Said, l.say("road.how", l.number(fixed(mass.From(s.o.Road.Mass), 0))+" "+mass.Name))
	return []sheetSection{out}
}

// roadQuestion words what was asked in the sheet's language.
func (s *Sheet) roadQuestion(a *RoadAnswer, units quantity.System) string {
	l, speed, length := s.l, units.Unit(quantity.Speed), units.Unit(quantity.Length)
	number := func(u quantity.Unit, si float64) string { return l.number(wholeTenths(u.From(si))) }
	switch {
	case a.Kind == RoadRollOn && a.Gear > 0:
		return l.say("road.roll_on", number(speed, a.From), number(speed, a.To)+" "+speed.Name, strconv.Itoa(a.Gear))
	case a.Kind == RoadRollOn:
		return l.say("road.roll_on_tested", number(speed, a.From), number(speed, a.To)+" "+speed.Name)
	case a.Kind == RoadToSpeed:
		return l.say("road.to_speed", number(speed, a.To)+" "+speed.Name)
	case a.Kind == RoadOver:
		return l.say("road.over", number(length, a.Way)+" "+length.Name)
	}
	return l.say("road.top")
}
