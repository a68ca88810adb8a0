package road

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"fairpull/curve"
	"fairpull/quantity"
)

// Unknowns are the relative standard uncertainties of what is not known well about a
// vehicle and its baseline. Both sides of a comparison share each draw of them, so
// they cancel as far as they can. Each stands for a factor exp(u·z), z standard
// normal; 0: known.
type Unknowns struct {
	Mass     float64
	Rolling  float64 // of the constant and the linear part of the resistance
	Drag     float64 // of the square part
	Gearing  float64 // of the rolling radius, in all gears alike
	Level    float64 // of the baseline's torque, at all speeds alike
	Friction float64 // of the grip
}

func (u Unknowns) values() []float64 {
	return []float64{u.Mass, u.Rolling, u.Drag, u.Gearing, u.Level, u.Friction}
}

func (u Unknowns) validate() error {
	for i, v := range u.values() {
		if !(v >= 0 && v <= 0.5) {
			name := [...]string{"mass", "rolling resistance", "drag", "gearing", "torque level", "friction"}[i]
			return fmt.Errorf("the relative uncertainty of the %s is %g: it must lie between 0 and 0.5", name, v)
		}
	}
	return nil
}

// Estimate is a figure with its uncertainty.
type Estimate struct {
	Value float64 // from the estimates, not the mean of the draws
	SE    float64 // standard deviation of the draws
	Lo    float64 // two-sided interval at the confidence asked for
	Hi    float64
	// AtLeast and AtMost are one-sided bounds, each with that confidence.
	AtLeast, AtMost float64
}

// Comparison is a figure without and with the part, and its change, with − without,
// from the same draws.
type Comparison struct{ Without, With, Change Estimate }

// Result answers one question.
type Result struct {
	Question Question
	// Missing says why there is no figure, and of which side: an *[OutsideError] or a
	// *[NotReachedError]; nil: there is one. All figures are NaN then.
	Missing error
	// Interval is false where too many draws have no answer, as when the vehicle
	// hardly reaches the speed: then SE and bounds are NaN.
	Interval   bool
	Unanswered int // draws without an answer on one of the sides
	Draws      int
	Figure     Comparison  // in the question's unit
	Way        *Comparison // in m; nil where the question has none
	// Bounds say what ends a top speed without and with the part.
	Bounds [2]Bound
}

// Input is one comparison on the road.
type Input struct {
	Vehicle    Vehicle
	Baseline   curve.Curve // wheel torque without the part
	Gain       Gain        // at the baseline's speeds
	Unknowns   Unknowns
	Questions  []Question
	Confidence float64 // in (0, 1); zero is an error
	Draws      int     // 0: 4000; at most 200000
}

// defaultDraws leave the ends of a 95 % interval uncertain by about 3 % of its
// width.
const defaultDraws = 4000

// mostQuestions bounds the questions of one comparison.
const mostQuestions = 50

// Compare answers the questions without and with the part. The intervals come from
// simulation [JCGM-101]: draws of the gain, and draws of the unknowns that both sides
// share. The same input gives the same bytes.
//
// A question that leads outside the curve, or to a speed that the vehicle does not
// reach, comes back with Missing set and no error. An input that cannot be is an
// error.
func Compare(in Input) ([]Result, error) {
	if in.Draws == 0 {
		in.Draws = defaultDraws
	}
	if err := in.validate(); err != nil {
		return nil, err
	}
	s := newSimulation(in)
	results := make([]Result, len(in.Questions))
	for i, q := range in.Questions {
		results[i] = s.point(q)
	}
	s.run(results)
	for i := range results {
		if results[i].Missing == nil {
			s.estimate(&results[i], s.answers[i])
		}
	}
	return results, nil
}

func (in Input) validate() error {
	switch {
	case !(in.Confidence > 0 && in.Confidence < 1):
		return fmt.Errorf("the confidence is %g: it must lie between 0 and 1, as 0.95", in.Confidence)
	case in.Draws < 100 || in.Draws > maxDraws:
		return fmt.Errorf("%d draws: give 100 to %d", in.Draws, maxDraws)
	case len(in.Questions) == 0 || len(in.Questions) > mostQuestions:
		return fmt.Errorf("%d questions: ask 1 to %d", len(in.Questions), mostQuestions)
	}
	for _, q := range in.Questions {
		if _, err := ready(in.Vehicle, in.Baseline, q); err != nil {
			return err
		}
	}
	if err := in.Unknowns.validate(); err != nil {
		return err
	}
	return in.Gain.validate(in.Baseline.SpeedRPM)
}

// simulation is one comparison under way.
type simulation struct {
	in      Input
	sides   [2]*drive // without, with
	gain    *gainDraws
	chance  *chance
	ln      []float64
	gears   []float64
	grip    Grip
	answers []answers
}

// answers are the draws of one question: figures and ways, without and with. A draw
// that has no answer on either side is NaN on both.
type answers struct{ figure, way [2][]float64 }

func newSimulation(in Input) *simulation {
	v := in.Vehicle
	s := &simulation{
		in:    in,
		sides: [2]*drive{newDrive(v, in.Baseline), newDrive(v, in.Baseline)},
		gain:  newGainDraws(in.Gain, in.Baseline.SpeedRPM),
		ln:    make([]float64, in.Baseline.Len()),
		gears: slices.Clone(v.EnginePerMetre),
	}
	r := v.Resistance
	s.chance = newChance("road", []float64{
		float64(v.Mass), v.RotatingShare, r.Constant, r.Linear, r.Square, v.LimitRPM, v.ShiftRPM, v.ShiftTime,
	}, v.EnginePerMetre, in.Unknowns.values(), in.Baseline.SpeedRPM, in.Baseline.Torque)
	for range in.Questions {
		var a answers
		for side := range a.figure {
			a.figure[side] = make([]float64, in.Draws)
			a.way[side] = make([]float64, in.Draws)
		}
		s.answers = append(s.answers, a)
	}
	return s
}

// load fills both drives: the vehicle, the baseline times level, and the gain.
func (s *simulation) load(v Vehicle, level float64, ln []float64) {
	for _, d := range s.sides {
		d.take(v)
	}
	for i, torque := range s.in.Baseline.Torque {
		s.sides[0].torque[i] = torque * level
		s.sides[1].torque[i] = torque * level * math.Exp(ln[i])
	}
}

// point answers a question with the estimates themselves.
func (s *simulation) point(q Question) Result {
	s.load(s.in.Vehicle, 1, s.in.Gain.Ln)
	r := Result{Question: q, Draws: s.in.Draws, Figure: unknown(), Way: &Comparison{}}
	*r.Way = unknown()
	sides := [2]*Estimate{&r.Figure.Without, &r.Figure.With}
	ways := [2]*Estimate{&r.Way.Without, &r.Way.With}
	for i, d := range s.sides {
		a, err := d.ask(q)
		if err != nil {
			r.Missing = fmt.Errorf("%s the part: %w", [2]string{"without", "with"}[i], err)
			r.Figure, r.Way = unknown(), nil
			return r
		}
		sides[i].Value, ways[i].Value = a.figure, a.way
		if q.Kind == Highest {
			if top, err := d.top(); err == nil {
				r.Bounds[i] = top.Bound
			}
		}
	}
	r.Figure.Change.Value = r.Figure.With.Value - r.Figure.Without.Value
	r.Way.Change.Value = r.Way.With.Value - r.Way.Without.Value
	if math.IsNaN(r.Way.Without.Value) {
		r.Way = nil
	}
	return r
}

// unknown is a comparison of which nothing is known.
func unknown() Comparison {
	none := math.NaN()
	e := Estimate{Value: none, SE: none, Lo: none, Hi: none, AtLeast: none, AtMost: none}
	return Comparison{e, e, e}
}

// run draws and asks.
func (s *simulation) run(results []Result) {
	for n := range s.in.Draws {
		v, level := s.vehicle()
		s.gain.draw(s.ln)
		s.load(v, level, s.ln)
		for i, r := range results {
			if r.Missing == nil {
				s.answers[i].take(n, s.sides, r.Question)
			}
		}
	}
}

// take asks both sides for draw n.
func (a *answers) take(n int, sides [2]*drive, q Question) {
	var got [2]reply
	var err error
	for i, d := range sides {
		var e error
		got[i], e = d.ask(q)
		err = errors.Join(err, e)
	}
	for i, g := range got {
		if err != nil {
			g = reply{math.NaN(), math.NaN()}
		}
		a.figure[i][n], a.way[i][n] = g.figure, g.way
	}
}

// vehicle draws the unknowns.
func (s *simulation) vehicle() (Vehicle, float64) {
	u, v := s.in.Unknowns, s.in.Vehicle
	factor := func(u float64) float64 { return math.Exp(u * s.chance.normal()) }
	mass := factor(u.Mass)
	v.Mass = quantity.Kilogram(float64(v.Mass) * mass)
	// A tyre's rolling resistance grows with what it carries.
	rolling := factor(u.Rolling) * mass
	v.Resistance.Constant *= rolling
	v.Resistance.Linear *= rolling
	v.Resistance.Square *= factor(u.Drag)
	gearing := factor(u.Gearing)
	for i, k := range s.in.Vehicle.EnginePerMetre {
		s.gears[i] = k * gearing
	}
	v.EnginePerMetre = s.gears
	level, friction := factor(u.Level), factor(u.Friction)
	if v.Grip != nil {
		s.grip = *v.Grip
		s.grip.Friction *= friction
		v.Grip = &s.grip
	}
	return v, level
}

// estimate turns the draws of a question into its figures.
func (s *simulation) estimate(r *Result, a answers) {
	for _, x := range a.figure[0] {
		if math.IsNaN(x) {
			r.Unanswered++
		}
	}
	// A draw without an answer counts as beyond either end of an interval, so the
	// interval errs on the wide side; where such draws fill a tail there is none.
	tail := (1 - s.in.Confidence) / 2
	if float64(r.Unanswered) >= tail*float64(r.Draws-1) {
		return
	}
	r.Interval = true
	r.Figure.spread(a.figure, s.in.Confidence)
	if r.Way != nil {
		r.Way.spread(a.way, s.in.Confidence)
	}
}

// spread fills in the uncertainties from the draws of both sides.
func (c *Comparison) spread(draws [2][]float64, confidence float64) {
	change := make([]float64, len(draws[0]))
	for i := range change {
		change[i] = draws[1][i] - draws[0][i]
	}
	c.Without.spread(draws[0], confidence)
	c.With.spread(draws[1], confidence)
	c.Change.spread(change, confidence)
}

// spread fills in standard deviation and bounds. Draws are sorted in place, those
// without an answer first.
func (e *Estimate) spread(draws []float64, confidence float64) {
	slices.Sort(draws) // NaN first
	missing := 0
	for missing < len(draws) && math.IsNaN(draws[missing]) {
		missing++
	}
	answered := draws[missing:]
	mean, m2 := 0.0, 0.0
	for i, x := range answered {
		delta := x - mean
		mean += delta / float64(i+1)
		m2 += delta * (x - mean)
	}
	e.SE = math.Sqrt(m2 / float64(len(answered)-1))
	last := float64(len(draws) - 1)
	low := func(p float64) float64 { return interpolated(answered, p*last-float64(missing)) }
	high := func(p float64) float64 { return interpolated(answered, p*last) }
	e.Lo, e.Hi = low((1-confidence)/2), high((1+confidence)/2)
	e.AtLeast, e.AtMost = low(1-confidence), high(confidence)
}

// interpolated returns the value at place x of sorted values, counted from 0.
func interpolated(sorted []float64, x float64) float64 {
	i := max(0, min(int(x), len(sorted)-2))
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}
