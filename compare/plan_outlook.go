package compare

import (
	"errors"
	"fmt"
	"math"
)

// RestBlock is a block of a campaign that is still to be measured, or the rest of the
// block in progress: then it names the same configuration and setup.
type RestBlock struct {
	Configuration, Setup string
	Pulls                int     // still to come
	Hours                float64 // mean start, on the clock of [Pull].Hours
}

// Outlook returns what the comparison will come to once the rest is measured as well:
// the width of the interval, and the chance of showing a gain.
//
// It rests on the scatter, weather and drift known so far and never on the gain
// found so far, so that it may be acted upon: advice that looked at the estimate
// would spoil the interval. Configurations that have no block yet are refused.
func (c *Comparison) Outlook(rest []RestBlock) (Expectation, error) {
	if c.prospect.configurations == nil {
		return Expectation{}, errors.New("the comparison does not know the scatter of its pulls")
	}
	p := Planned{Assumed: c.prospect.assumed, Confidence: c.Confidence, DriftLinear: c.prospect.driftLinear}
	setups := map[string]int{}
	number := func(setup string) int {
		if _, seen := setups[setup]; !seen {
			setups[setup] = len(setups)
		}
		return setups[setup]
	}
	for _, b := range c.Blocks {
		p.Blocks = append(p.Blocks, PlannedBlock{
			Configuration: c.prospect.configurations[b.Configuration], Setup: number(b.Setup), Pulls: len(b.Pulls), Hours: b.Hours,
		})
	}
	for i, b := range rest {
		configuration, found := c.prospect.configurations[b.Configuration]
		if !found {
			return Expectation{}, fmt.Errorf("configuration %q has no block yet", b.Configuration)
		}
		last := &p.Blocks[len(p.Blocks)-1]
		if i == 0 && configuration == last.Configuration && b.Setup == c.Blocks[len(c.Blocks)-1].Setup && b.Pulls > 0 {
			all := float64(last.Pulls + b.Pulls)
			last.Hours = (last.Hours*float64(last.Pulls) + b.Hours*float64(b.Pulls)) / all
			last.Pulls += b.Pulls
			continue
		}
		p.Blocks = append(p.Blocks, PlannedBlock{configuration, number(b.Setup), b.Pulls, b.Hours})
	}
	return p.Expect(c.prospect.configurations[c.Candidate])
}

// prospect is what an outlook rests on, at the primary figure.
type prospect struct {
	assumed        Assumed
	driftLinear    bool
	configurations map[string]int // nil: pull scatter is not known
}

// prospect returns what is known so far; the zero value where pull scatter is not.
func (a *analysis) prospect(e *estimate) prospect {
	if !e.intervals {
		return prospect{}
	}
	k := prospect{assumed: a.assumed(e), driftLinear: a.in.DriftLinear, configurations: map[string]int{a.in.Baseline: 0}}
	for i, id := range a.in.Candidates {
		k.configurations[id] = i + 1
	}
	return k
}

// assumed returns what more blocks of this campaign would meet, at the primary column:
// sizes from all that is known, degrees of freedom from before the campaign, since a
// plan counts its own.
func (a *analysis) assumed(e *estimate) Assumed {
	n, k := a.noise, a.primaryColumn()
	block, _ := n.component(k, n.block, n.ownBlock, 0)
	setup, _ := n.component(k, n.setup, n.ownSetup, square(orZero(block)))
	setupBefore, blockBefore := a.grid.setupHistory(a.in.History, nil), a.grid.blockHistory(a.in.History, nil)
	if n.layout == oneSetup {
		setup, _ = n.component(k, setupBefore, level{}, square(orZero(block)))
	}
	if n.standing {
		setupBefore, blockBefore = n.without(setupBefore, blockBefore)
	}
	out := Assumed{
		Setup: Spread{math.Hypot(orZero(setup), orZero(block)), setupBefore.dfOrNone()}, SetupPulls: setupBefore.pulls(),
		Block: Spread{orZero(block), blockBefore.dfOrNone()}, BlockPulls: blockBefore.pulls(),
		Pull:          Spread{math.Sqrt(n.pull.q[k]), n.pull.df},
		LossPlacement: a.in.LossPlacement[a.in.Candidates[e.candidate-1]],
		ExponentU:     a.in.ExponentU,
		found:         true,
	}
	for b, rows := range a.rows {
		out.Pull.DF -= float64(len(rows) - 1)
		out.WeatherDifference += e.w[b] * a.blocks[b].lnFactor
	}
	out.DriftRate = a.in.History.DriftRate
	if a.design.timed {
		v := n.variances(a.design.slope)[k]
		out.DriftPerHour = math.Sqrt(max(0, square(weighted(a.design.slope, a.means)[k])-v.v))
	}
	return out
}

// without takes away the history of the level on which the campaign was found to
// stand alone.
func (n *noise) without(setup, block level) (level, level) {
	if n.layout == separate {
		return level{}, block
	}
	return setup, level{}
}

// pulls returns how many pulls are behind a mean of the level; 0: it is free of pull
// scatter, or not known.
func (l level) pulls() float64 {
	if !l.known() || l.pullShare() == 0 {
		return 0
	}
	return 1 / l.pullShare()
}
