package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"regexp"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/compare"
	"fairpull/curve"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/road"
)

// RoadQuery asks what a gain means on the road.
type RoadQuery struct {
	// What is a claim's number, the id of a campaign of the workspace, or the path of a
	// campaign folder.
	What      string
	Candidate string // empty: the claim's, or the campaign's only one
	Vehicle   RoadVehicle
	Ask       RoadAsk
	Ride      *RoadRide // nil: nothing is said of where a rider spends time
	Units     quantity.System
	Version   string // of the program, for documents
}

// RoadAsk is what is asked, in SI. Without anything the questions are two roll-ons in
// the gear of the pulls and, where the gears are known, a start and the top speed.
type RoadAsk struct {
	RollOns []road.Question // of kind road.InGear; gear 0: that of the pulls
	To      []float64       // m/s, from standstill
	Over    []float64       // m, from standstill
	Top     bool
}

func (a RoadAsk) empty() bool {
	return len(a.RollOns) == 0 && len(a.To) == 0 && len(a.Over) == 0 && !a.Top
}

// AddRollOn asks for a roll-on, with speeds in the units of a person; gear 0 is that of
// the pulls.
func (a *RoadAsk) AddRollOn(units quantity.System, gear int, from, to float64) {
	speed := units.Unit(quantity.Speed)
	a.RollOns = append(a.RollOns, road.Question{Kind: road.InGear, Gear: gear, From: speed.SI(from), To: speed.SI(to)})
}

// AddStarts asks for times from standstill, to speeds and over distances in the units
// of a person.
func (a *RoadAsk) AddStarts(units quantity.System, to, over []float64) {
	for _, v := range to {
		a.To = append(a.To, units.Unit(quantity.Speed).SI(v))
	}
	for _, way := range over {
		a.Over = append(a.Over, units.Unit(quantity.Length).SI(way))
	}
}

// roadDraws are the courses of the gain that are drawn.
const roadDraws = 4000

var claimNumbers = regexp.MustCompile(`^C-[0-9]{4,}$`)

// Road computes what a gain means on the road. w may be nil where What is a folder.
// Figures of an engine on a bench, a part that changes the gearing and a gain without
// an interval are refused.
func Road(ctx context.Context, w *Workspace, q RoadQuery) (*report.Road, error) {
	a, claim, err := roadAnalysis(ctx, w, &q)
	if err != nil {
		return nil, err
	}
	id, err := a.chosen(q.Candidate)
	if err != nil {
		return nil, err
	}
	c := a.comparison(id)
	out := &report.Road{Gain: a.View(q.Version, a.units), Candidate: id, Claim: claim, Version: q.Version, Draws: roadDraws}
	r, err := a.ridden(c, q, out)
	if err != nil {
		return nil, err
	}
	out.Mass = float64(r.vehicle.Mass)
	courses, err := compare.Courses(a.input(usedPulls(a.Pulls), a.SpeedRPM), id, roadDraws)
	if errors.Is(err, compare.ErrNoInterval) {
		return nil, fmt.Errorf("campaign %s: %w.\n  Repeat pulls, or judge it in a workspace that has the rig's history", a.Campaign.ID, err)
	}
	if err != nil {
		return nil, err
	}
	gain := road.Gain{Ln: make([]float64, len(c.Curve)), Draws: courses}
	for i, n := range c.Curve {
		gain.Ln[i] = n.Gain
	}
	answers, err := road.Compare(road.Input{
		Vehicle: r.vehicle, Baseline: baselineCurve(c), Gain: gain, Unknowns: r.unknowns,
		Questions: r.questions, Confidence: c.Confidence, Draws: roadDraws,
	})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	for _, one := range answers {
		out.Answers = append(out.Answers, r.answer(one))
	}
	if q.Ride != nil {
		if out.Weighted, err = weighted(a.SpeedRPM, gain, q.Ride, c.Confidence); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrRefused, err)
		}
	}
	out.Power = roadPower(r.vehicle, c)
	if len(out.Power.Gears) == 1 {
		out.Power.Gears[0].Gear = r.alone
	}
	return out, nil
}

// roadAnalysis returns the analysis that a question is about, and the claim where it
// is about one.
func roadAnalysis(ctx context.Context, w *Workspace, q *RoadQuery) (*Analysis, *report.Claim, error) {
	if IsFolder(q.What) || !claimNumbers.MatchString(q.What) {
		a, err := analyseNamed(ctx, w, q.What)
		return a, nil, err
	}
	if w == nil {
		return nil, nil, fmt.Errorf("claim %s stands in a workspace, and none is open", q.What)
	}
	kept, err := w.store.Claim(ctx, q.What)
	if err != nil {
		return nil, nil, unknownClaim(err)
	}
	view, err := w.claimView(ctx, kept)
	if err != nil {
		return nil, nil, err
	}
	r, err := w.store.ResultOf(ctx, kept.Result)
	if err != nil {
		return nil, nil, err
	}
	if q.Candidate != "" && q.Candidate != view.Candidate {
		return nil, nil, declined("claim %s is about candidate %s, and not about %.40q", q.What, view.Candidate, q.Candidate)
	}
	q.Candidate = view.Candidate
	a, err := w.claimAnalysis(ctx, r, nil)
	return a, view, err
}

// baselineCurve is the torque at the wheel without the part, as the comparison has it.
func baselineCurve(c *compare.Comparison) curve.Curve {
	var out curve.Curve
	for _, n := range c.Curve {
		out.SpeedRPM, out.Torque = append(out.SpeedRPM, n.RPM), append(out.Torque, n.Baseline)
	}
	return out
}

// levelU is the relative standard uncertainty of the baseline's torque: that of its
// mean over the blocks, at the engine speed in the middle of the list by size, and the
// drum's inertia, which all figures are proportional to.
func (a *Analysis) levelU(c *compare.Comparison) float64 {
	var halves []float64
	for _, n := range c.Curve {
		if n.Interval {
			halves = append(halves, n.BaselineHalf)
		}
	}
	if len(halves) == 0 {
		return 0
	}
	u := median(halves) / distuv.UnitNormal.Quantile((1+c.Confidence)/2)
	d := a.Campaign.Dyno
	if d.DrumInertia > 0 {
		u = math.Hypot(u, float64(d.DrumInertiaU/d.DrumInertia))
	}
	return u
}

// drumGearing returns the engine's angle for each metre of road in the gear of the
// pulls, rad/m, from the turns that the pulls found; 0: they know none.
func (a *Analysis) drumGearing(c *compare.Comparison) (float64, error) {
	var sides [2]float64
	for i, id := range [2]string{c.Baseline, c.Candidate} {
		var turns []float64
		for _, p := range usedPulls(a.Pulls) {
			if p.Configuration == id && p.Result.Ratio > 0 && !math.IsInf(p.Result.Ratio, 0) {
				turns = append(turns, p.Result.Ratio)
			}
		}
		if len(turns) > 0 {
			sides[i] = median(turns)
		}
	}
	if sides[0] == 0 || a.Campaign.Dyno.DrumRadius <= 0 {
		return 0, nil
	}
	if r := sides[1] / sides[0]; sides[1] > 0 && math.Abs(r-1) > gearingApart {
		return 0, declined("the two sides are geared differently (%.4g and %.4g turns of the engine for one of the drum): what such a part does on the road is not the gain of torque at the same engine speed", sides[0], sides[1])
	}
	return road.FromDrum(sides[0], a.Campaign.Dyno.DrumRadius)
}

// gearingApart is from which relative difference two sides are geared differently: a
// worn tyre changes its radius by less, a tooth of a sprocket by more.
const gearingApart = 0.015

// answer takes an answer over for the view.
func (v *ridden) answer(r road.Result) report.RoadAnswer {
	q := r.Question
	gear := func(index int) int {
		if len(v.vehicle.EnginePerMetre) == 1 {
			return v.alone
		}
		return index
	}
	out := report.RoadAnswer{
		Kind: roadKinds[q.Kind], Gear: gear(q.Gear), From: q.From, To: q.To, Way: q.Way,
		Interval: r.Interval, Unanswered: float64(r.Unanswered) / float64(r.Draws),
		Without: report.RoadFigure(r.Figure.Without), With: report.RoadFigure(r.Figure.With), Change: report.RoadFigure(r.Figure.Change),
		Ends: [2]string{roadEnds[r.Bounds[0]], roadEnds[r.Bounds[1]]},
	}
	if r.Missing == nil {
		return out
	}
	out.Missing = &report.RoadMissing{}
	var outside *road.OutsideError
	var short *road.NotReachedError
	switch {
	case errors.As(r.Missing, &outside):
		*out.Missing = report.RoadMissing{Gear: gear(outside.Gear), RPM: outside.RPM, FromRPM: outside.From, ToRPM: outside.To}
	case errors.As(r.Missing, &short):
		*out.Missing = report.RoadMissing{Gear: gear(short.Gear), Speed: short.Speed}
	}
	return out
}

// What package report calls the kinds of question and what ends a top speed.
var (
	roadKinds = map[road.Kind]report.RoadKind{road.InGear: report.RoadRollOn, road.ToSpeed: report.RoadToSpeed, road.Distance: report.RoadOver, road.Highest: report.RoadTop}
	roadEnds  = map[road.Bound]string{road.ByResistance: report.EndsByResistance, road.ByEngineSpeed: report.EndsByLimiter, road.ByCurve: report.EndsByCurve}
)

// weighted weighs the gain by where a rider spends time.
func weighted(speedRPM []float64, gain road.Gain, r *RoadRide, confidence float64) (*report.RoadWeighted, error) {
	w, err := road.WeightedGain(speedRPM, gain, r.Ride, confidence, roadDraws)
	if err != nil {
		return nil, err
	}
	out := &report.RoadWeighted{Gain: report.RoadFigure(w.Gain), Covered: w.Covered, Source: r.Source}
	total := 0.0
	for _, v := range r.Ride.Weight {
		total += v
	}
	for i, v := range r.Ride.Weight {
		if v > 0 {
			out.Bins = append(out.Bins, report.RoadBin{FromRPM: r.Ride.EdgesRPM[i], ToRPM: r.Ride.EdgesRPM[i+1], Share: v / total})
		}
	}
	return out, nil
}

// roadPower is the power at the wheel over road speed in each gear, and what the road
// takes, for the picture.
func roadPower(v road.Vehicle, c *compare.Comparison) report.RoadPower {
	var out report.RoadPower
	fastest := 0.0
	for i, k := range v.EnginePerMetre {
		g := report.RoadGear{Gear: i + 1}
		for _, n := range c.Curve {
			if n.RPM > v.LimitRPM {
				break
			}
			omega := n.RPM * curve.RadPerSecondPerRPM
			g.Speed = append(g.Speed, omega/k)
			g.Without, g.With = append(g.Without, n.Baseline*omega), append(g.With, n.Candidate*omega)
			g.WithoutHalf = append(g.WithoutHalf, n.Baseline*omega*math.Expm1(n.BaselineHalf))
			g.WithHalf = append(g.WithHalf, n.Candidate*omega*math.Expm1(n.CandidateHalf))
			fastest = max(fastest, omega/k)
		}
		out.Gears = append(out.Gears, g)
	}
	const points = 80
	for i := range points + 1 {
		speed := fastest * float64(i) / points
		out.Speed = append(out.Speed, speed)
		out.Load = append(out.Load, v.Resistance.At(speed)*speed)
	}
	return out
}
