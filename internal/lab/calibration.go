package lab

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/signal"
)

// Calibration is what was measured of a dyno, from a date on.
type Calibration = store.Calibration

// calibrated is a calibration as an analysis uses it; nil leaves the campaign's
// own rig.
type calibrated struct{ *Calibration }

// calibrationAt returns the calibration that holds at a moment, of a list with the
// oldest first.
func calibrationAt(list []Calibration, at time.Time) calibrated {
	for i := len(list) - 1; i >= 0; i-- {
		if !list[i].ValidFrom.After(at) {
			return calibrated{&list[i]}
		}
	}
	return calibrated{}
}

// rig returns the dyno as the calibration has it. What was not measured stays as
// it is: a drum inertia or a brake arm of 0, and a parasitic torque that is 0
// without uncertainty.
func (c calibrated) rig(d campaign.Dyno) campaign.Dyno {
	if c.Calibration == nil {
		return d
	}
	if c.DrumInertia > 0 {
		d.DrumInertia, d.DrumInertiaU = c.DrumInertia, c.DrumInertiaU
	}
	if c.BrakeArm > 0 {
		d.BrakeArm = c.BrakeArm
	}
	if measuresParasitic(c.Calibration) {
		d.Parasitic = c.Parasitic
	}
	return d
}

func measuresParasitic(c *Calibration) bool {
	return c.Parasitic != [3]float64{} || c.ParasiticU != [3]float64{}
}

// of returns the campaign on the rig as the calibration has it.
func (c calibrated) of(own *campaign.Campaign) *campaign.Campaign {
	if c.Calibration == nil {
		return own
	}
	on := *own
	on.Dyno = c.rig(own.Dyno)
	return &on
}

// reduce reduces the pulls on the rig as it was calibrated when each began, and
// notes which calibrations that were.
func (a *Analysis) reduce(ctx context.Context, folder *ingest.Folder, o Options) error {
	pulls, half, err := reducePulls(ctx, folder, o.Calibrations, o.Progress)
	if err != nil {
		return err
	}
	a.Pulls = pulls
	used := usedPulls(pulls)
	a.Campaign.Dyno = used[0].calibration.rig(a.Campaign.Dyno)
	own := folder.Campaign.Dyno
	for i := range o.Calibrations {
		c := calibrated{&o.Calibrations[i]}
		on := slices.DeleteFunc(slices.Clone(used), func(p *Pull) bool { return p.calibration != c || p.Kind == signal.Reduced })
		if len(on) == 0 {
			continue
		}
		note := report.Calibration{
			From: c.ValidFrom, Note: c.Note, Inertia: float64(c.DrumInertia), InertiaU: float64(c.DrumInertiaU), OwnInertia: float64(own.DrumInertia),
			Arm: float64(c.BrakeArm), OwnArm: float64(own.BrakeArm), Parasitic: c.Parasitic, OwnParasitic: own.Parasitic,
			HasParasitic: measuresParasitic(c.Calibration),
		}
		for _, p := range on {
			note.Pulls = append(note.Pulls, p.Name)
		}
		if note.Effect, err = levelEffect(folder, on[0], half); err != nil {
			return err
		}
		a.calibrated = append(a.calibrated, note)
	}
	return nil
}

// levelEffect returns by what fraction the calibration raises the mean torque of a
// pull above what the campaign's own rig gives: the pull is reduced a second time
// for that. It is NaN where the campaign states no drum inertia.
func levelEffect(folder *ingest.Folder, p *Pull, half float64) (float64, error) {
	own := folder.Campaign.Dyno
	with := p.calibration.rig(own)
	switch {
	case own.DrumInertia == 0:
		return math.NaN(), nil
	case own.DrumInertia == with.DrumInertia && own.Parasitic == with.Parasitic && own.BrakeArm == with.BrakeArm:
		return 0, nil
	}
	again := reduction{pull: &Pull{Pull: p.Pull, Used: true}, settings: settings(&folder.Campaign, p.Configuration)}
	err := again.find(folder)
	if err == nil {
		again.settings.NodesRPM, again.settings.HalfWidthRPM = p.Result.Curve.SpeedRPM, half
		err = again.reduce()
	}
	if err != nil {
		return math.NaN(), &PullError{Pull: p.Name, Err: err}
	}
	var sum, before float64
	for i, rpm := range again.pull.Result.Curve.SpeedRPM {
		if at, found := slices.BinarySearch(p.Result.Curve.SpeedRPM, rpm); found {
			sum, before = sum+p.Result.Curve.Torque[at], before+again.pull.Result.Curve.Torque[i]
		}
	}
	return sum/before - 1, nil
}

// checkCalibrations asks whether one calibration of the rig held throughout. A
// gain is a ratio, from which the drum inertia drops out only then.
func (a *Analysis) checkCalibrations() []campaign.Check {
	if len(a.calibrated) == 0 {
		return nil
	}
	var measured []*Pull
	for _, p := range usedPulls(a.Pulls) {
		if p.Kind != signal.Reduced {
			measured = append(measured, p)
		}
	}
	k := campaign.Check{
		ID: "calibration", Status: campaign.Pass, Unit: "1", Measured: number(1), Limit: number(1), LimitSource: "one calibration in one campaign",
		Touches: []string{"band", "peak_torque", "peak_power", "curve"},
		Message: "One calibration of the rig held throughout.",
	}
	for _, p := range measured[1:] {
		if p.calibration != measured[0].calibration {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if len(k.Pulls) > 0 {
		k.Status, k.Measured = campaign.Warn, number(float64(a.ways(measured)))
		k.Message = fmt.Sprintf("The rig was calibrated anew within this campaign: %s on another calibration than pull %s. What is uncertain of the drum inertia no longer drops out of the gain%s. Measure both sides on one calibration.",
			onAnother(k.Pulls), measured[0].Name, a.inertiaDoubt())
	}
	return []campaign.Check{k}
}

// ways counts the calibrations that pulls were reduced with, none counting as one.
func (a *Analysis) ways(pulls []*Pull) int {
	seen := map[calibrated]bool{}
	for _, p := range pulls {
		seen[p.calibration] = true
	}
	return len(seen)
}

func onAnother(names []string) string {
	if len(names) == 1 {
		return pullList(names) + " rests"
	}
	return pullList(names) + " rest"
}

// inertiaDoubt says how far the drum inertias of the calibrations may be apart by
// their uncertainties; empty where one states none.
func (a *Analysis) inertiaDoubt() string {
	sum := 0.0
	for _, c := range a.calibrated {
		if !(c.Inertia > 0 && c.InertiaU > 0) {
			return ""
		}
		u := c.InertiaU / c.Inertia
		sum += u * u
	}
	if len(a.calibrated) < 2 {
		return ""
	}
	return fmt.Sprintf(" (by their standard uncertainties %.2f %% of torque between the sides)", 100*math.Sqrt(sum))
}
