package lab

import (
	"context"
	"fmt"

	"fairpull/quantity"
	"fairpull/report"
	"fairpull/signal"
)

// Explain says how a figure of a campaign came about, the campaign being looked at
// as the settings say. A figure that the campaign does not have is [ErrUnknown].
func (d *Desk) Explain(ctx context.Context, id string, q report.Question, as LookSettings, units quantity.System) (*report.Explanation, *Look, error) {
	look, err := d.Look(ctx, id, as)
	if err != nil {
		return nil, nil, err
	}
	if look.Analysis == nil {
		return nil, look, look.Problem
	}
	var e *report.Explanation
	if q.Figure == report.ExplainPull {
		e, err = d.explainPull(ctx, id, q, as, look, units)
	} else {
		e, err = look.View("", units).Explain(q, units)
	}
	if err != nil {
		return nil, look, fmt.Errorf("campaign %s has no figure of that name, or it is not one that can be explained: it is %w", id, ErrUnknown)
	}
	return e, look, nil
}

// explainPull explains torque and power of a pull at one engine speed.
func (d *Desk) explainPull(ctx context.Context, id string, q report.Question, as LookSettings, look *Look, units quantity.System) (*report.Explanation, error) {
	name := q.Pull
	if name == "" {
		name = usedPulls(look.Analysis.Pulls)[0].Name
	}
	page, _, err := d.PullPage(ctx, id, name, as)
	if err != nil {
		return nil, err
	}
	p := look.Analysis.pull(name)
	if p == nil || p.Result == nil {
		return nil, report.ErrNoFigure
	}
	rig := p.calibration.rig(look.Campaign.Dyno)
	means := p.Result.Means
	_, torque := means[signal.BrakeTorque]
	_, force := means[signal.BrakeForce]
	return page.Explain(q.RPM, report.RigNumbers{
		Inertia: float64(rig.DrumInertia), InertiaU: float64(rig.DrumInertiaU), Parasitic: rig.Parasitic, Brake: torque || force,
	}, units)
}
