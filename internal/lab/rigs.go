package lab

import (
	"context"
	"time"

	"fairpull/report"
)

// RigHealth is what the overview says of one dyno.
type RigHealth struct {
	Dyno  string
	Notes []report.RigNote // check standard, calibration, scatter
}

// rigsKept is the health of the rigs as it was found last.
type rigsKept struct {
	list    []RigHealth
	changed int64 // the workspace's latest change then
	found   time.Time
}

// rigsHold is how long the health of the rigs is kept while nothing but campaigns
// changes: pulls come in by the minute, and a rig grows old by the month.
const rigsHold = time.Minute

// Rigs returns the dynos of the workspace, in order of their ids, with what is
// known of their health. What was judged or left out within the last minute may
// not be in it yet.
func (d *Desk) Rigs(ctx context.Context, now time.Time) ([]RigHealth, error) {
	changed, err := d.LastChange(ctx)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	kept := d.rigs
	d.mu.Unlock()
	age := now.Sub(kept.found) // below 0 where the clock was put back
	fresh := kept.changed == changed && age >= 0 && age < time.Hour
	if !fresh && age >= 0 && age < rigsHold {
		if fresh, err = d.onlyCampaigns(ctx, kept.changed, changed); err != nil {
			return nil, err
		}
	}
	if fresh {
		return kept.list, nil
	}
	made, err, _ := d.calls.Do("rigs", func() (any, error) { return d.Workspace.rigs(context.WithoutCancel(ctx), now) })
	if err != nil {
		return nil, err
	}
	kept = rigsKept{made.([]RigHealth), changed, now}
	d.mu.Lock()
	d.rigs = kept
	d.mu.Unlock()
	return kept.list, nil
}

// DynoIDs returns the dynos that campaigns name, in order.
func (w *Workspace) DynoIDs(ctx context.Context) ([]string, error) { return w.store.Dynos(ctx) }

// onlyCampaigns reports whether nothing but known campaigns changed.
func (w *Workspace) onlyCampaigns(ctx context.Context, from, to int64) (bool, error) {
	const most = 100
	notes, err := w.ChangesAfter(ctx, from, most)
	if err != nil || to-from >= most {
		return false, err
	}
	for _, n := range notes {
		if n.Kind != "campaign" {
			return false, nil
		}
	}
	return true, nil
}

func (w *Workspace) rigs(ctx context.Context, now time.Time) ([]RigHealth, error) {
	ids, err := w.store.Dynos(ctx)
	if err != nil {
		return nil, err
	}
	list := []RigHealth{}
	for _, id := range ids {
		rig := RigHealth{Dyno: id}
		standard, err := w.standardNote(ctx, id)
		if err != nil {
			return nil, err
		}
		calibrations, err := w.store.Calibrations(ctx, id)
		if err != nil {
			return nil, err
		}
		var latest time.Time
		for _, c := range calibrations {
			if c.ValidFrom.After(latest) && !c.ValidFrom.After(now) {
				latest = c.ValidFrom
			}
		}
		scatter, err := w.scatterOf(ctx, ScatterQuery{Dyno: id}, nil)
		if err != nil {
			return nil, err
		}
		rig.Notes = []report.RigNote{standard, report.CalibrationNote(latest, now), scatter.Note()}
		list = append(list, rig)
	}
	return list, nil
}

// standardNote says what the check standard of a dyno finds.
func (w *Workspace) standardNote(ctx context.Context, dyno string) (report.RigNote, error) {
	named, err := w.HasStandard(ctx, dyno)
	if err == nil && !named {
		return report.NoStandardNote(), nil
	}
	if err != nil {
		return report.RigNote{}, err
	}
	view, err := w.Standard(ctx, StandardQuery{Dyno: dyno})
	if err != nil {
		return report.RigNote{}, err
	}
	return view.Note(), nil
}
