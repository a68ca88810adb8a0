package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/curve"
	"fairpull/drum"
	"fairpull/report"
	"fairpull/scatter"
)

// planScatter is the scatter that a plan reckons with, and where it comes from.
type planScatter struct {
	compare.Assumed
	report.PlanScatter
}

// planScatter returns what is known of the scatter: what is entered by judgement, else
// the workspace's history where it knows setups or change-overs with more degrees of
// freedom than the campaign's own [history], else the latter. Nothing is taken from
// both.
func (w *Workspace) planScatter(ctx context.Context, c *campaign.Campaign, j JudgedScatter, setups PlanSetups) (planScatter, error) {
	var s planScatter
	var past *Past
	var pooled scatter.Pooled
	if w != nil && !j.Nothing {
		var err error
		if past, err = w.history(ctx, PastQuery{Dyno: c.Dyno.ID, Vehicle: c.Vehicle.ID, Class: c.Vehicle.Class, Without: c.ID, Meets: setups.meets()}); err != nil {
			return s, err
		}
		if pooled, err = past.pool(nil); err != nil {
			return s, err
		}
	}
	own := c.History
	switch {
	case j.Nothing:
	case past != nil && len(past.Campaigns) > 0 && (own == nil || pooled.Setup.QuotedDF+pooled.Block.QuotedDF > own.SetupDF+own.BlockDF):
		note := noteOf(past, pooled)
		s.Assumed = assumedFrom(pooled, scalarOf(c.Objective.Primary))
		note.Setup, note.Block, note.Pull = spreadOf(s.Assumed.Setup), spreadOf(s.Assumed.Block), spreadOf(s.Assumed.Pull)
		note.Instead = own
		s.History = &note
	case own != nil:
		s.Own = own
		s.Assumed = compare.Assumed{
			Setup: compare.Spread{SD: own.SetupSD, DF: own.SetupDF},
			Block: compare.Spread{SD: own.BlockSD, DF: own.BlockDF},
			Pull:  compare.Spread{SD: own.PullSD, DF: own.PullDF},
		}
	}
	s.judge(j)
	s.PlanScatter.Setup, s.PlanScatter.Block, s.PlanScatter.Pull = spreadOf(s.Assumed.Setup), spreadOf(s.Assumed.Block), spreadOf(s.Assumed.Pull)
	s.PlanScatter.DriftPerHour = s.Assumed.DriftPerHour
	if !sized(s.Assumed.Pull) || !sized(s.Assumed.Setup) && !sized(s.Assumed.Block) {
		return s, fmt.Errorf("%w: %s.\n  Give it by judgement, as in --setup-sd 0.7 --block-sd 0.2 --pull-sd 0.4, or measure it: six setups of the baseline serve every campaign", ErrNoScatter, s.missing())
	}
	return s, nil
}

// meets returns what the designs meet that may be offered. Where both ways to strap down
// may be, it is that of strapping down anew, which is what a design means by itself.
func (s PlanSetups) meets() levelsMet {
	return levelsMet{setups: s != OneSetup, blocks: s == OneSetup}
}

// judge puts what is entered by judgement in the place of what is known.
func (s *planScatter) judge(j JudgedScatter) {
	for _, row := range []struct {
		name   string
		sd, df float64
		into   *compare.Spread
		pulls  *float64
	}{
		{"setup to setup", j.SetupSD, j.SetupDF, &s.Assumed.Setup, &s.SetupPulls},
		{"change-over within a setup", j.BlockSD, j.BlockDF, &s.Assumed.Block, &s.BlockPulls},
		{"pull to pull", j.PullSD, j.PullDF, &s.Assumed.Pull, nil},
	} {
		if math.IsNaN(row.sd) {
			continue
		}
		*row.into = compare.Spread{SD: row.sd, DF: row.df}
		if row.pulls != nil {
			*row.pulls = 0
		}
		s.Judged = append(s.Judged, row.name)
	}
	if j.DriftStated {
		s.Assumed.DriftPerHour = j.DriftPerHour
		s.Judged = append(s.Judged, "drift")
	}
}

// sized says whether the size of a scatter is known, be it by judgement. A size of
// nought that was measured is one: setups then scatter no more than their pulls do.
func sized(s compare.Spread) bool { return s.SD > 0 || s.DF > 0 }

// missing names the levels whose size is not known.
func (s *planScatter) missing() string {
	var names []string
	for _, row := range []struct {
		name string
		compare.Spread
	}{{"setup to setup", s.Assumed.Setup}, {"change-over within a setup", s.Assumed.Block}, {"pull to pull", s.Assumed.Pull}} {
		if !sized(row.Spread) {
			names = append(names, row.name)
		}
	}
	return strings.Join(names, ", ") + " is not known"
}

// assumedFrom returns what a lab's history makes a plan reckon with, for one figure.
// A level without degrees of freedom, or without a size for that figure, is unknown.
// The drift to be expected is the size that it had from campaign to campaign.
func assumedFrom(p scatter.Pooled, scalar int) compare.Assumed {
	level := func(l scatter.PooledLevel) (compare.Spread, float64) {
		if sd := l.SD[scalar]; l.QuotedDF > 0 && !math.IsNaN(sd) {
			return compare.Spread{SD: sd, DF: l.QuotedDF}, l.Pulls
		}
		return compare.Spread{}, 0
	}
	var a compare.Assumed
	a.Setup, a.SetupPulls = level(p.Setup)
	a.Block, a.BlockPulls = level(p.Block)
	a.Pull, _ = level(p.Pull)
	if p.DriftRateDF > 0 {
		a.DriftRate = compare.Spread{SD: p.DriftRateSD, DF: p.DriftRateDF}
		a.DriftPerHour = p.DriftRateSD
	}
	return a
}

// scalarOf returns the place of a figure among the scalars of a history.
func scalarOf(p campaign.Primary) int {
	switch p {
	case campaign.PrimaryPeakTorque:
		return 1
	case campaign.PrimaryPeakPower:
		return 2
	}
	return 0
}

func spreadOf(s compare.Spread) report.Spread { return report.Spread(s) }

// tyreLimit returns the speed that a tyre may run, m/s.
func tyreLimit(symbol string) (float64, error) {
	limit, err := drum.TyreSpeedLimit(symbol)
	if errors.Is(err, drum.ErrSpeedSymbol) {
		return 0, fmt.Errorf("the tyre's speed symbol %.20q names no speed", symbol)
	}
	return limit, err
}

// surfaceSpeedPerRPM returns the speed of the drum's surface in m/s for an engine
// speed of 1/min, without slip.
func surfaceSpeedPerRPM(engineRevsPerDrumRev, drumRadius float64) float64 {
	return curve.RadPerSecondPerRPM / engineRevsPerDrumRev * drumRadius
}
