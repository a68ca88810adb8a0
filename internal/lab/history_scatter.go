package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/scatter"
)

// ScatterQuery asks for a rig's scatter.
type ScatterQuery struct {
	Dyno    string // empty: the only one that there is
	Vehicle string // empty: whatever stood on the dyno
	Class   string // of vehicles; empty: not asked
	Version string // of the program, for the report
}

// Scatter returns what the workspace knows of a dyno's scatter, with its course
// over time and the campaigns that it comes from.
func (w *Workspace) Scatter(ctx context.Context, q ScatterQuery) (*report.Scatter, error) {
	if err := w.findDyno(ctx, &q); err != nil {
		return nil, err
	}
	vehicles, err := w.findClass(ctx, &q)
	if err != nil {
		return nil, err
	}
	view, err := w.scatterOf(ctx, q, vehicles)
	if err != nil {
		return nil, err
	}
	return view, w.notInIt(ctx, q, vehicles, view)
}

// scatterOf is [Workspace.Scatter] of a dyno that is there, without what is not in
// it: that takes a look at every campaign. vehicles are those of the class that is
// asked.
func (w *Workspace) scatterOf(ctx context.Context, q ScatterQuery, vehicles []string) (*report.Scatter, error) {
	rows, err := w.store.History(ctx, store.HistoryQuery{Dyno: q.Dyno, Vehicle: q.Vehicle, Vehicles: vehicles, Limit: pastCampaigns})
	if err != nil {
		return nil, err
	}
	past := &Past{Dyno: q.Dyno, Vehicle: q.Vehicle, Class: q.Class}
	if past.Campaigns, err = readStudies(rows); err != nil {
		return nil, err
	}
	view := &report.Scatter{Dyno: q.Dyno, Vehicle: q.Vehicle, Class: q.Class, Most: pastCampaigns, Version: q.Version}
	for _, c := range past.dropUnusable() {
		view.Unusable = append(view.Unusable, report.ScatterUnusable{Campaign: c.Campaign, Why: c.Study.Unusable})
	}
	if view.Repeated, err = w.dropRepeated(ctx, past, ""); err != nil {
		return nil, err
	}
	pooled, err := past.pool(nil)
	if err != nil {
		return nil, err
	}
	view.DriftRate, view.DriftCampaigns = report.Spread{SD: pooled.DriftRateSD, DF: pooled.DriftRateDF}, pooled.DriftCampaigns
	slices.Reverse(past.Campaigns)
	if err := levelViews(view, past, pooled); err != nil {
		return nil, err
	}
	for i, sd := range pooled.Pull.SD {
		view.Repeatability[i], view.Reproducibility[i] = sd, math.Hypot(sd, pooled.Setup.SD[i])
	}
	for _, c := range past.Campaigns {
		view.Campaigns = append(view.Campaigns, report.ScatterCampaign{
			Campaign: c.Campaign, Vehicle: c.Vehicle, Result: c.Result, Started: c.Started, Curves: c.Study.Curves,
			SetupDF: c.Study.Setup.DF, BlockDF: c.Study.Block.DF, PullDF: c.Study.Pull.DF,
		})
	}
	return view, nil
}

// findDyno takes the only dyno where none is named, and refuses one that is not
// there.
func (w *Workspace) findDyno(ctx context.Context, q *ScatterQuery) error {
	dynos, err := w.store.Dynos(ctx)
	switch {
	case err != nil:
		return err
	case q.Dyno == "" && len(dynos) == 1:
		q.Dyno = dynos[0]
	case len(dynos) == 0:
		return errors.New("no campaign of the workspace names its dyno.\n  Take one in: fairpull import my-campaign")
	case q.Dyno == "":
		return fmt.Errorf("the workspace has several dynos: %s.\n  Name one: fairpull scatter --dyno %s", strings.Join(dynos, ", "), dynos[0])
	case !slices.Contains(dynos, q.Dyno):
		return fmt.Errorf("no campaign was measured on a dyno %q; the workspace has %s", q.Dyno, strings.Join(dynos, ", "))
	}
	return nil
}

// levelsOf are the levels of scatter with the names that people read.
var levelsOf = []struct {
	key, name string
	of        func(*scatter.Study) *scatter.Level
	pooled    func(*scatter.Pooled) *scatter.PooledLevel
}{
	{"setup", "setup to setup", func(s *scatter.Study) *scatter.Level { return &s.Setup }, func(p *scatter.Pooled) *scatter.PooledLevel { return &p.Setup }},
	{"block", "change-over within a setup", func(s *scatter.Study) *scatter.Level { return &s.Block }, func(p *scatter.Pooled) *scatter.PooledLevel { return &p.Block }},
	{"pull", "pull to pull", func(s *scatter.Study) *scatter.Level { return &s.Pull }, func(p *scatter.Pooled) *scatter.PooledLevel { return &p.Pull }},
}

const (
	hoursPerYear      = 365.25 * 24
	scatterConfidence = 0.95
)

// levelViews fills in the levels. The course over time is that of the band mean, or
// of peak torque where a campaign has no band mean.
func levelViews(view *report.Scatter, past *Past, pooled scatter.Pooled) error {
	for _, level := range levelsOf {
		p := level.pooled(&pooled)
		l := report.ScatterLevel{
			Key: level.key, Name: level.name, Campaigns: p.Campaigns, DF: p.DF, Quoted: p.QuotedDF, Pulls: p.Pulls,
			SD: p.SD, RowSD: p.RowSD, PriorDF: p.PriorDF, HomogeneityP: p.HomogeneityP,
		}
		if err := lent(&l, p); err != nil {
			return err
		}
		var found []scatter.Found
		for i := range past.Campaigns {
			c := &past.Campaigns[i]
			m := referenceSquare(level.of(&c.Study.Study))
			if m.DF == 0 {
				continue
			}
			found = append(found, scatter.Found{Time: c.Started.Sub(past.Campaigns[0].Started).Hours() / hoursPerYear, MeanSquare: m})
			l.Points = append(l.Points, report.ScatterPoint{Campaign: c.Campaign, At: c.Started, DF: m.DF})
		}
		course, err := scatter.Trend(found, scatterConfidence)
		if err != nil {
			return err
		}
		for i, p := range course.Points {
			l.Points[i].SD, l.Points[i].Lo, l.Points[i].Hi = p.SD, p.Lo, p.Hi
		}
		l.Trend = report.ScatterTrend{Known: course.Known, PerYear: course.PerTime, Lo: course.Lo, Hi: course.Hi, P: course.P}
		view.Levels = append(view.Levels, l)
	}
	return nil
}

// lent fills in the SD that a verdict is lent, of the first figure that there is: that
// of the prior where there is one, else of the pool.
func lent(l *report.ScatterLevel, p *scatter.PooledLevel) (err error) {
	sd := firstKnown(p.PriorSD[:])
	if math.IsNaN(sd) {
		sd = firstKnown(p.RowSD[:])
	}
	if p.QuotedDF == 0 || math.IsNaN(sd) {
		return nil
	}
	l.Lent = sd
	l.LentLo, l.LentHi, err = scatter.SDLimits(sd, p.QuotedDF, scatterConfidence)
	return err
}

// referenceSquare returns the mean square of the band mean, or of the first peak
// that there is.
func referenceSquare(l *scatter.Level) scatter.MeanSquare {
	for k := range scatter.Scalars {
		if m := l.MeanSquare(k); m.DF > 0 {
			return m
		}
	}
	return scatter.MeanSquare{}
}

// notInIt lists what somebody left out, and the campaigns that have no result which
// rests on their data.
func (w *Workspace) notInIt(ctx context.Context, q ScatterQuery, vehicles []string, view *report.Scatter) error {
	asked := func(vehicle string) bool {
		if q.Class != "" {
			return slices.Contains(vehicles, vehicle)
		}
		return q.Vehicle == "" || vehicle == q.Vehicle
	}
	left, err := w.store.LeftOuts(ctx, q.Dyno)
	if err != nil {
		return err
	}
	out := map[string]bool{}
	for _, l := range left {
		if asked(l.Vehicle) {
			view.LeftOut = append(view.LeftOut, report.ScatterLeftOut{Campaign: l.Campaign, At: l.At, Who: l.Who, Why: l.Why})
			out[l.Campaign] = true
		}
	}
	for ask := (CampaignQuery{Dyno: q.Dyno, Vehicle: q.Vehicle, Limit: 1000}); ; {
		page, err := w.Campaigns(ctx, ask)
		if err != nil {
			return err
		}
		for _, c := range page.Campaigns {
			if asked(c.Vehicle) && c.Pulls > 0 && c.State != store.StateWithdrawn && !c.Current && !out[c.ID] {
				view.Waiting = append(view.Waiting, c.ID)
			}
		}
		if ask.After = page.Next; ask.After == "" {
			return nil
		}
	}
}

// LeaveOut keeps a campaign out of the lab's history from now on; by.Why is the
// reason, which stays. It returns whether anything was changed. Results that were
// kept with it stand as they are.
func (w *Workspace) LeaveOut(ctx context.Context, id string, by Author) (bool, error) {
	c, err := w.store.LeaveOut(ctx, id, by)
	return c.Changed(), unknownCampaign(err)
}

// TakeBack puts a campaign that was left out into the lab's history again, as
// LeaveOut took it out.
func (w *Workspace) TakeBack(ctx context.Context, id string, by Author) (bool, error) {
	c, err := w.store.TakeBack(ctx, id, by)
	return c.Changed(), unknownCampaign(err)
}
