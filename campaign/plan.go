package campaign

import (
	"fmt"
	"time"
)

// Plan is what a campaign intends to measure, written before the effect can be
// seen. It is frozen at the first pull of a candidate: what departs from it
// afterwards is the check plan-changed.
type Plan struct {
	Blocks []PlannedBlock // in the order of measuring
	Seed   uint64         // of the random order and of the codes; 0: the order was chosen
	Blind  bool           // the rider is not told which configuration is fitted

	// What the design was chosen with, kept for the record; SDs are fractions on
	// the log scale.
	Assumed       Assumptions
	Power         float64 // chance of showing the smallest gain of interest; 0: not computed
	Detectable    float64 // gain that is shown with the power wanted, a fraction; 0: not computed
	MinutesOnRig  float64 // 0: not stated
	SettlingPulls int     // pulls after a change of parts that are not counted

	// Frozen is when the first candidate pull began; zero: not yet. Objective and
	// Correction are the campaign's as they were then.
	Frozen     time.Time
	Objective  Objective
	Correction string
}

// PlannedBlock is consecutive pulls of one configuration in one setup.
type PlannedBlock struct {
	Configuration string
	Setup         string // blocks of one name share a strapping-down
	Pulls         int
}

// Assumptions are the scatter that a design was chosen with. A zero DF means
// that it was entered by judgement.
type Assumptions struct {
	SetupSD, SetupDF float64
	BlockSD, BlockDF float64
	PullSD, PullDF   float64
	DriftPerHour     float64 // expected of the rig, a fraction an hour
}

// Bounds of a plan: far above any session on a rig.
const (
	MaxPlannedBlocks = 64
	MaxPlannedPulls  = 100 // of one block
	MaxSettlingPulls = 20
	MaxPlanSeed      = 1<<53 - 1 // whole in every JSON reader
	maxMinutes       = 100_000.0
)

// Frozen returns the campaign as it is from its first candidate pull on: its plan
// carries the moment that pull began and the objective of that moment. The second
// result is false, and the campaign comes back as it is, where there is no plan,
// no candidate pull, or the plan is frozen already. The receiver is not modified.
func (c Campaign) Frozen() (Campaign, bool) {
	first, found := c.FirstCandidatePull()
	if c.Plan == nil || !found || !c.Plan.Frozen.IsZero() {
		return c, false
	}
	plan := *c.Plan
	plan.Frozen, plan.Objective, plan.Correction = first.Started, c.Objective, c.Correction
	c.Plan = &plan
	return c, true
}

// FirstCandidatePull returns the pull of a candidate that began first, whether it
// is used or excluded, and whether there is one.
func (c *Campaign) FirstCandidatePull() (Pull, bool) {
	var first Pull
	found := false
	for _, p := range c.Pulls {
		configuration, _ := c.Configuration(p.Configuration)
		if configuration.Role == Candidate && (!found || p.Started.Before(first.Started)) {
			first, found = p, true
		}
	}
	return first, found
}

// TotalPulls returns the number of pulls that are planned to count.
func (p *Plan) TotalPulls() int {
	n := 0
	for _, b := range p.Blocks {
		n += b.Pulls
	}
	return n
}

// SameSetup reports whether block i is measured in the strapping-down of the
// block before it. It is false for the first block.
func (p *Plan) SameSetup(i int) bool { return i > 0 && p.Blocks[i].Setup == p.Blocks[i-1].Setup }

func (c *Campaign) checkPlan(p *problems) {
	if c.Plan == nil {
		return
	}
	plan := c.Plan
	c.checkPlannedBlocks(p, plan)
	if plan.Seed > MaxPlanSeed {
		p.add("plan.seed", fmt.Sprintf("write a whole number from 1 to %d", uint64(MaxPlanSeed)), "the seed is %d", plan.Seed)
	}
	if !(plan.Power >= 0 && plan.Power <= 1) {
		p.add("plan.power_pct", "write a percentage from 0 to 100", "the chance is %g %%", 100*plan.Power)
	}
	if !(plan.Detectable >= 0 && plan.Detectable < 1) {
		p.add("plan.detectable_pct", "write a percentage from 0 up to 100", "the detectable gain is %g %%", 100*plan.Detectable)
	}
	p.optional("plan.minutes_on_rig", plan.MinutesOnRig, maxMinutes)
	p.within("plan.settling_pulls", "the number of settling pulls", float64(plan.SettlingPulls), 0, MaxSettlingPulls)
	a := plan.Assumed
	p.scatter("plan.assumed.setup", a.SetupSD, a.SetupDF)
	p.scatter("plan.assumed.block", a.BlockSD, a.BlockDF)
	p.scatter("plan.assumed.pull", a.PullSD, a.PullDF)
	p.within("plan.assumed.drift_pct_per_hour", "the drift", a.DriftPerHour, -1, 1)
	switch frozen := !plan.Frozen.IsZero(); {
	case frozen:
		p.objective("plan.objective", plan.Objective)
		p.text("plan.correction", plan.Correction)
		if plan.Correction == "" {
			p.add("plan.correction", "write the standard that [correction] named at that moment", "the plan is frozen, and the correction of that moment is missing")
		}
	case plan.Objective != (Objective{}):
		p.add("plan.objective", "write frozen, the moment that the first candidate pull began, or take [plan.objective] out",
			"an objective stands in a plan that is not frozen")
	case plan.Correction != "":
		p.add("plan.correction", "write frozen, the moment that the first candidate pull began, or take the key out",
			"a correction stands in a plan that is not frozen")
	}
}

// scatter checks an assumed standard deviation; without degrees of freedom it was
// entered by judgement.
func (p *problems) scatter(key string, sd, df float64) {
	if !(sd >= 0 && sd < 1) {
		p.add(key+"_sd_pct", "write a standard deviation in per cent, from 0 up to 100", "it is %g %%", 100*sd)
	}
	if !(df >= 0 && df <= maxDF) {
		p.add(key+"_df", "write the degrees of freedom, or leave them out where it was entered by judgement", "they are %g", df)
	}
}

func (c *Campaign) checkPlannedBlocks(p *problems, plan *Plan) {
	if len(plan.Blocks) == 0 || len(plan.Blocks) > MaxPlannedBlocks {
		p.add("plan.blocks", fmt.Sprintf("write 1 to %d blocks", MaxPlannedBlocks), "the plan has %d blocks", len(plan.Blocks))
		return
	}
	left := map[string]bool{} // setups that another has followed
	for i, b := range plan.Blocks {
		key := fmt.Sprintf("plan.blocks[%d]", i)
		p.name(key+".setup", b.Setup)
		if _, declared := c.Configuration(b.Configuration); !declared {
			p.add(key+".configuration", "write the id of a [[configuration]]", "configuration %.80q is not declared", b.Configuration)
		}
		if b.Pulls < 1 || b.Pulls > MaxPlannedPulls {
			p.add(key+".pulls", fmt.Sprintf("write a whole number from 1 to %d", MaxPlannedPulls), "the block has %d pulls", b.Pulls)
		}
		if i == 0 {
			continue
		}
		before := plan.Blocks[i-1]
		switch {
		case before.Setup != b.Setup:
			left[before.Setup] = true
			if left[b.Setup] {
				p.add(key+".setup", "give every strapping-down a name of its own", "setup %.80q comes back after another: the vehicle was unstrapped between", b.Setup)
			}
		case before.Configuration == b.Configuration:
			p.add(key, "make one block of the two, or strap anew between them", "the block repeats the configuration of the one before it in the same setup")
		}
	}
}
