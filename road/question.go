package road

import (
	"fmt"
	"math"
)

// Kind is a kind of question.
type Kind string

// The kinds of question.
const (
	InGear   Kind = "roll-on"         // from From to To in one gear: s
	ToSpeed  Kind = "from standstill" // to To: s
	Distance Kind = "over a distance" // from standstill over Way: s
	Highest  Kind = "top speed"       // m/s
)

// Question is one thing to ask of the road. Fields that its kind does not name are
// zero.
type Question struct {
	Kind Kind
	Gear int     // from 1
	From float64 // m/s
	To   float64 // m/s
	Way  float64 // m
}

// Unit returns the unit of the answer, in SI.
func (q Question) Unit() string {
	if q.Kind == Highest {
		return "m/s"
	}
	return "s"
}

// The fastest speed, m/s, and the longest way, m, that may be asked for.
const (
	fastest  = 150
	furthest = 10_000
)

// validate refuses a question that the vehicle cannot be asked.
func (q Question) validate(v Vehicle) error {
	speed := func(v float64) bool { return v > 0 && v <= fastest }
	switch q.Kind {
	case InGear:
		if q.Gear < 1 || q.Gear > len(v.EnginePerMetre) {
			return fmt.Errorf("gear %d is not one of the vehicle's %d", q.Gear, len(v.EnginePerMetre))
		}
		if !speed(q.From) || !speed(q.To) || q.From >= q.To {
			return fmt.Errorf("a roll-on from %s to %s: it leads from a speed to a higher one, at most %s", speedText(q.From), speedText(q.To), speedText(fastest))
		}
	case ToSpeed:
		if !speed(q.To) {
			return fmt.Errorf("from standstill to %s: the speed must lie between 0 and %s", speedText(q.To), speedText(fastest))
		}
	case Distance:
		if !(q.Way > 0 && q.Way <= furthest) {
			return fmt.Errorf("over %g m: the distance must lie between 0 and %d m", q.Way, furthest)
		}
	case Highest:
	default:
		return fmt.Errorf("%q is no question for the road", q.Kind)
	}
	return nil
}

// reply is the answer for one vehicle and one curve: the figure in the question's
// unit and, where it has one, the way in m.
type reply struct{ figure, way float64 }

// ask answers a question that was validated.
func (d *drive) ask(q Question) (reply, error) {
	switch q.Kind {
	case InGear:
		s, err := d.rollOn(q.Gear-1, q.From, q.To)
		return reply{s.time, s.way}, err
	case Highest:
		top, err := d.top()
		return reply{top.Speed, math.NaN()}, err
	case ToSpeed:
		j, err := d.start(goal{speed: q.To, way: math.Inf(1)})
		return reply{j.Time, j.Way}, err
	}
	j, err := d.start(goal{speed: math.Inf(1), way: q.Way})
	return reply{j.Time, math.NaN()}, err
}
