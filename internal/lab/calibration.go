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

// inherited returns a dyno's calibrations, oldest first, each with what it did not
// measure as the one before it has it. Not measured is a drum inertia or a brake arm
// of 0, and a bare drum torque that is 0 without uncertainty.
func inherited(list []Calibration) []Calibration {
	out := slices.Clone(list)
	for i := 1; i < len(out); i++ {
		c, before := &out[i], &out[i-1]
		if c.DrumInertia == 0 {
			c.DrumInertia, c.DrumInertiaU = before.DrumInertia, before.DrumInertiaU
		}
		if c.BrakeArm == 0 {
			c.BrakeArm, c.BrakeArmU = before.BrakeArm, before.BrakeArmU
		}
		if !measuresParasitic(c) {
			c.Parasitic, c.ParasiticU, c.ParasiticR = before.Parasitic, before.ParasiticU, before.ParasiticR
		}
		inheritSensors(c, before)
	}
	return out
}

func measuresParasitic(c *Calibration) bool {
	return c.Parasitic != [3]float64{} || c.ParasiticU != [3]float64{}
}

// rig returns the dyno as the calibration has it; what was never measured stays as
// it is.
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
			From: c.ValidFrom.In(on[0].Started.Location()), Note: c.Note, Inertia: float64(c.DrumInertia), InertiaU: float64(c.DrumInertiaU), OwnInertia: float64(own.DrumInertia),
			Arm: float64(c.BrakeArm), OwnArm: float64(own.BrakeArm), Parasitic: c.Parasitic, OwnParasitic: own.Parasitic,
			HasParasitic: measuresParasitic(c.Calibration), Sensors: sensorNotes(c.Calibration),
		}
		for _, p := range on {
			note.Pulls = append(note.Pulls, p.Name)
		}
		if note.Effect, err = levelEffect(folder, on[0], half); err != nil {
			return err
		}
		a.calibrated = append(a.calibrated, note)
	}
	a.takeApart()
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
	case own.DrumInertia == with.DrumInertia && own.Parasitic == with.Parasitic && own.BrakeArm == with.BrakeArm && !p.calibration.scalesSpeed():
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
		ID: "calibration", Status: campaign.Pass, Unit: "%", Measured: number(0), LimitSource: "one calibration in one campaign",
		Touches: []string{"band", "peak_torque", "peak_power", "curve"},
		Message: "One calibration of the rig held throughout.",
	}
	for _, p := range measured[1:] {
		if p.calibration != measured[0].calibration {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if len(k.Pulls) > 0 {
		k.Status = campaign.Warn
		size := ""
		if k.Measured = a.calibrationStep(measured); k.Measured != nil {
			size = fmt.Sprintf(", which moves torque by %.2f %%", *k.Measured)
		}
		k.Message = fmt.Sprintf("The rig was calibrated anew within this campaign: %s on another calibration than pull %s%s. What is uncertain of the values that changed no longer drops out of the gain%s. Measure both sides on one calibration.",
			onAnother(k.Pulls), measured[0].Name, size, a.inertiaDoubt())
	}
	return []campaign.Check{k}
}

// calibrationStep returns by how much, in per cent, the calibrations of the pulls move
// torque against one another; nil where the campaign states no drum inertia to hold
// them against.
func (a *Analysis) calibrationStep(pulls []*Pull) *float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range a.calibrated {
		if math.IsNaN(c.Effect) {
			return nil
		}
		lo, hi = min(lo, c.Effect), max(hi, c.Effect)
	}
	if slices.ContainsFunc(pulls, func(p *Pull) bool { return p.calibration == calibrated{} }) {
		lo, hi = min(lo, 0), max(hi, 0)
	}
	return number(100 * ((1+hi)/(1+lo) - 1))
}

func onAnother(names []string) string {
	if len(names) == 1 {
		return pullList(names) + " rests"
	}
	return pullList(names) + " rest"
}

// inertiaDoubt says how far the drum inertias of two calibrations may be apart by
// their uncertainties; empty where they have one inertia, or one states none.
func (a *Analysis) inertiaDoubt() string {
	sum, changed := 0.0, false
	for _, c := range a.calibrated {
		if !(c.Inertia > 0 && c.InertiaU > 0) {
			return ""
		}
		u := c.InertiaU / c.Inertia
		sum += u * u
		changed = changed || c.Inertia != a.calibrated[0].Inertia
	}
	if !changed {
		return ""
	}
	return fmt.Sprintf(" (by the standard uncertainties of the drum inertias %.2f %% of torque between the sides)", 100*math.Sqrt(sum))
}
