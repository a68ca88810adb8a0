package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
)

// RigTimes is how long things take on the rig.
type RigTimes = compare.Rig

// DefaultRig returns times on the rig and a number of settling pulls to begin with.
// They are our own, by judgement; a lab states its own.
func DefaultRig() RigTimes {
	return RigTimes{PullMinutes: 5, ChangeMinutes: 30, StrapMinutes: 10, WarmUpMinutes: 20, SettlingPulls: 2}
}

// DefaultPower is the chance that a plan should have of showing the smallest gain of
// interest.
const DefaultPower = 0.8

// PlanSetups says how often the vehicle may be strapped down.
type PlanSetups string

// The ways to strap down.
const (
	AnySetups PlanSetups = "any"
	AnewSetup PlanSetups = "anew" // for every block
	OneSetup  PlanSetups = "one"  // once, for the whole campaign
)

// PlanOptions say what to plan with.
type PlanOptions struct {
	Judged  JudgedScatter // takes the place of what is known, level by level
	Power   float64       // the chance wanted; 0: DefaultPower
	Rig     RigTimes      // the zero value: DefaultRig
	Weather float64       // difference of the correction factor between the sides that is to be expected, a fraction
	Setups  PlanSetups
	Pulls   []int // in each block, to be tried; nil: 2 to 5
	All     bool  // list every design, not one number of pulls for each order

	// TopRPM is the highest engine speed that a pull goes to, 1/min; 0: the top of the
	// riding band.
	TopRPM float64
}

// JudgedScatter is scatter by judgement; NaN: not given.
type JudgedScatter struct {
	SetupSD, SetupDF     float64 // DF 0: not measured
	BlockSD, BlockDF     float64
	PullSD, PullDF       float64
	DriftPerHour         float64
	DriftStated, Nothing bool // Nothing: leave what is known of the lab aside
}

// NotJudged gives nothing by judgement.
func NotJudged() JudgedScatter {
	nan := math.NaN()
	return JudgedScatter{SetupSD: nan, BlockSD: nan, PullSD: nan}
}

// Planning is what can be planned for the question of one campaign.
type Planning struct {
	Campaign campaign.Campaign // without pulls
	Measured bool              // the campaign has pulls of a candidate: it cannot be planned any more
	View     report.Plan

	query compare.DesignQuery
}

// ErrNoScatter says that nothing is known of the scatter that a plan rests on.
var ErrNoScatter = errors.New("nothing is known of the lab's scatter")

// Designs works out the designs for the question of a campaign, from the scatter of
// the lab: the workspace's history of the dyno, the campaign's own [history], or what
// is entered by judgement. It asks nothing of the clock: all that the workspace knows
// counts. A nil workspace knows nothing.
//
// A plan that would take the tyre past its speed rating is refused.
func (w *Workspace) Designs(ctx context.Context, source PlanSource, o PlanOptions) (*Planning, error) {
	o = o.withDefaults()
	c := source.Campaign
	if c.Objective.SmallestGain == 0 {
		return nil, fmt.Errorf("campaign %s does not say which gain is of interest, and a plan is made to show it.\n  Write smallest_gain_of_interest_pct under [objective]", c.ID)
	}
	tyre, err := planTyre(&c, o.TopRPM)
	if err != nil {
		return nil, err
	}
	known, err := w.planScatter(ctx, &c, o.Judged, o.Setups)
	if err != nil {
		return nil, err
	}
	known.Assumed.WeatherDifference = o.Weather
	p := &Planning{Campaign: c, Measured: source.Measured, query: compare.DesignQuery{
		Candidates: len(c.Candidates()), Pulls: o.Pulls, Assumed: known.Assumed, Rig: o.Rig,
		Confidence: c.Objective.Confidence, DriftLinear: c.Objective.DriftLinear,
	}}
	all, err := compare.Designs(p.query)
	if err != nil {
		return nil, refused("%v", err)
	}
	all = slices.DeleteFunc(all, func(d compare.PlannedDesign) bool { return !o.allows(d, known) })
	if len(all) == 0 {
		return nil, fmt.Errorf("%w for this way to strap down: %s.\n  Give it by judgement, as in --setup-sd 0.7 --block-sd 0.2, or measure it: six setups of the baseline serve every campaign", ErrNoScatter, known.missing())
	}
	gain := c.Objective.SmallestGain
	if !o.All {
		all = oneOfEach(all, gain, o.Power)
	}
	p.View = report.Plan{
		Campaign: c, Designs: all, Recommended: compare.Recommended(all, gain, o.Power), Wanted: o.Power,
		Rig: o.Rig, Scatter: known.PlanScatter, Tyre: tyre, Weather: o.Weather,
	}
	return p, nil
}

func (o PlanOptions) withDefaults() PlanOptions {
	if o.Power == 0 {
		o.Power = DefaultPower
	}
	if o.Rig == (RigTimes{}) {
		o.Rig = DefaultRig()
	}
	if o.Setups == "" {
		o.Setups = AnySetups
	}
	return o
}

// allows says whether a design may be offered: strapped down as the lab can, and
// resting on scatter of a known size.
func (o PlanOptions) allows(d compare.PlannedDesign, known planScatter) bool {
	if d.OneSetup {
		return o.Setups != AnewSetup && sized(known.Assumed.Block)
	}
	return o.Setups != OneSetup && sized(known.Assumed.Setup)
}

// oneOfEach keeps one number of pulls for each order and way to strap down: the least
// that shows the gain with the wanted chance, else the one with the best chance.
func oneOfEach(designs []compare.PlannedDesign, gain, wanted float64) []compare.PlannedDesign {
	type kind struct {
		order    string
		oneSetup bool
	}
	best := map[kind]int{}
	chances := make([]float64, len(designs))
	for i, d := range designs { // in order of time, so of pulls
		chances[i] = d.Chance(gain)
		k := kind{d.Order, d.OneSetup}
		if at, seen := best[k]; !seen || chances[at] < wanted && chances[i] > chances[at] {
			best[k] = i
		}
	}
	var out []compare.PlannedDesign
	for i, d := range designs {
		if best[kind{d.Order, d.OneSetup}] == i {
			out = append(out, d)
		}
	}
	return out
}

// planTyre holds the fastest pull of a plan to the tyre's speed rating. It returns an
// error where the tyre would be run past it.
func planTyre(c *campaign.Campaign, topRPM float64) (report.PlanTyre, error) {
	t := report.PlanTyre{Symbol: c.Vehicle.TyreSpeedSymbol, TopRPM: max(topRPM, c.Objective.BandRPM[1]), Speed: math.NaN(), Limit: math.NaN(), MostRPM: math.NaN()}
	if t.Symbol == "" {
		t.Unchecked = "the vehicle's tyre_speed_symbol is not stated"
		return t, nil
	}
	limit, err := tyreLimit(t.Symbol)
	if err != nil {
		t.Unchecked = err.Error()
		return t, nil
	}
	t.Limit = limit
	for _, configuration := range c.Configurations {
		perDrumRev := c.EngineRevsPerDrumRev(configuration)
		if perDrumRev == 0 || c.Dyno.DrumRadius == 0 {
			t.Unchecked = "engine_revs_per_drum_rev or drum_radius_m is not stated"
			return t, nil
		}
		perRPM := surfaceSpeedPerRPM(perDrumRev, float64(c.Dyno.DrumRadius))
		t.MostRPM = leastOf(t.MostRPM, limit/perRPM)
		t.Speed = greatestOf(t.Speed, t.TopRPM*perRPM)
	}
	if t.TopRPM == 0 {
		t.Speed, t.Unchecked = math.NaN(), "neither the riding band nor the top of a pull is stated"
		return t, nil
	}
	if t.Speed > limit {
		kmh := quantity.SI.Unit(quantity.Speed)
		return t, refused("at %.0f rpm the drum surface runs %.0f %s, and a tyre of speed symbol %s may run %.0f %s: nothing was planned.\n  Choose a lower gear, pulls that end below %.0f rpm, or a tyre with a higher rating",
			t.TopRPM, kmh.From(t.Speed), kmh.Name, t.Symbol, kmh.From(limit), kmh.Name, math.Floor(t.MostRPM))
	}
	return t, nil
}

func leastOf(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	return min(a, b)
}

func greatestOf(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	return max(a, b)
}
