package lab

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
)

// Bounds of what a calibration may say, those of a campaign folder.
const (
	maxDrumInertia = 1e6 // kg·m²
	maxBrakeArm    = 10  // m
)

// CheckCalibration refuses what no rig has: no value at all, an uncertainty without
// its value or as large as it, sizes that only a slip of the unit gives.
func CheckCalibration(c Calibration) error {
	if err := campaign.CheckID(c.Dyno); err != nil {
		return fmt.Errorf("the dyno's id %.80q %w", c.Dyno, err)
	}
	inertia, arm := float64(c.DrumInertia), float64(c.BrakeArm)
	switch {
	case c.ValidFrom.IsZero():
		return errors.New("a calibration holds from a date on, and none is given")
	case inertia == 0 && arm == 0 && !measuresParasitic(&c) && !measuresSensors(&c):
		return errors.New("a calibration has a drum inertia, a brake arm, a bare drum torque, the scale of a speed or a sensor, and none is given")
	case !(inertia >= 0 && inertia <= maxDrumInertia):
		return fmt.Errorf("a drum inertia of %g kg·m² is not possible", inertia)
	case !(arm >= 0 && arm <= maxBrakeArm):
		return fmt.Errorf("a brake arm of %g m is not possible", arm)
	}
	if err := checkSensors(&c); err != nil {
		return err
	}
	for _, u := range []struct {
		name        string
		value, u    float64
		unit, given string
	}{{"drum inertia", inertia, float64(c.DrumInertiaU), "kg·m²", "--inertia"}, {"brake arm", arm, float64(c.BrakeArmU), "m", "--brake-arm"}} {
		switch {
		case u.u == 0:
		case !(u.u > 0):
			return fmt.Errorf("a standard uncertainty of %g %s is not possible", u.u, u.unit)
		case u.value == 0:
			return fmt.Errorf("the %s has an uncertainty and no value (%s)", u.name, u.given)
		case u.u >= u.value:
			return fmt.Errorf("the uncertainty %g %s is not below the %s %g %s: it is the standard uncertainty in %s, not in per cent", u.u, u.unit, u.name, u.value, u.unit, u.unit)
		}
	}
	return nil
}

// checkSensors refuses scales and slopes that only a slip gives: a speed or a sensor
// that is wrong by a tenth is not calibrated but mended.
func checkSensors(c *Calibration) error {
	for _, s := range []struct {
		name  string
		value float64
	}{
		{"scale of drum speed", c.DrumSpeed.Value}, {"scale of engine speed", c.EngineSpeed.Value}, {"slope of the barometer", c.Pressure.Slope},
		{"slope of the thermometer", c.Temperature.Slope}, {"slope of the hygrometer", c.Humidity.Slope},
	} {
		if s.value != 0 && !(s.value > 0.9 && s.value < 1.1) {
			return fmt.Errorf("the %s, %g, is a tenth or more off 1: something is set wrongly, or a unit is mixed up", s.name, s.value)
		}
	}
	return nil
}

// Calibrated is what became of a calibration that was entered.
type Calibrated struct {
	Changed    bool // false: the workspace had it already
	Superseded bool // it stands in the place of one of the same moment
	NewDyno    bool // no campaign names this dyno yet
	// Affected are the campaigns whose latest kept result rests on other values for
	// pulls that this calibration applies to, in order. They are not altered.
	Affected []string
}

// Calibrate keeps a calibration of a dyno. One of the same moment is superseded,
// for which by.Why is the reason. No kept result is altered.
func (w *Workspace) Calibrate(ctx context.Context, c Calibration, by Author) (Calibrated, error) {
	var out Calibrated
	if err := CheckCalibration(c); err != nil {
		return out, err
	}
	change, err := w.store.Calibrate(ctx, c, by)
	if errors.Is(err, store.ErrRefused) && by.Why == "" {
		return out, refused("dyno %s has a calibration from this moment already, with other values: nothing was written.\n  To put this one in its place, say why: --why \"…\"", c.Dyno)
	}
	if err != nil {
		return out, err
	}
	out.Changed, out.Superseded = change.Changed(), change.Action == store.Superseded
	dynos, err := w.store.Dynos(ctx)
	if err != nil {
		return out, err
	}
	out.NewDyno = !slices.Contains(dynos, c.Dyno)
	view, err := w.Calibrations(ctx, c.Dyno)
	if err != nil {
		return out, err
	}
	for _, row := range view.Rows {
		if !row.From.Before(settledTime(c.ValidFrom)) { // the later ones may have a value of this one
			out.Affected = append(out.Affected, row.Affected...)
		}
	}
	slices.Sort(out.Affected)
	out.Affected = slices.Compact(out.Affected)
	return out, nil
}

// settledTime is a moment as the workspace gives it back: to the microsecond, in UTC.
func settledTime(t time.Time) time.Time { return time.UnixMicro(t.UnixMicro()).UTC() }

// restOnOther lists the campaigns among those of the pulls whose latest result, by
// its settings, was not found with the calibration.
func restOnOther(c Calibration, pulls []store.PullID, settings map[string]settingsJSON) []string {
	var found []string
	for _, p := range pulls {
		s, judged := settings[p.Campaign]
		if judged && !slices.ContainsFunc(s.Calibrations, func(k calibrationSettings) bool { return k.of(c.Dyno) == c }) {
			found = append(found, p.Campaign)
		}
	}
	slices.Sort(found)
	return slices.Compact(found)
}

// latestSettings returns the settings of the latest results on a dyno by campaign.
func (w *Workspace) latestSettings(ctx context.Context, dyno string) (map[string]settingsJSON, error) {
	texts, err := w.store.LatestSettings(ctx, dyno)
	if err != nil {
		return nil, err
	}
	out := make(map[string]settingsJSON, len(texts))
	for id, text := range texts {
		if out[id], err = decodeSettings(text); err != nil {
			return nil, fmt.Errorf("campaign %s: %w", id, err)
		}
	}
	return out, nil
}

// of returns the calibration of a dyno that settings name.
func (k calibrationSettings) of(dyno string) Calibration {
	return Calibration{
		Dyno: dyno, ValidFrom: k.ValidFrom, DrumInertia: k.DrumInertia, DrumInertiaU: k.DrumInertiaU,
		BrakeArm: k.BrakeArm, BrakeArmU: k.BrakeArmU, Parasitic: k.Parasitic, ParasiticU: k.ParasiticU, Note: k.Note,
		ParasiticR: k.ParasiticR, DrumSpeed: k.DrumSpeed, EngineSpeed: k.EngineSpeed, Pressure: k.Pressure, Temperature: k.Temperature, Humidity: k.Humidity,
	}
}

// Calibrations returns the calibrations of a dyno that hold, oldest first, each
// with the number of pulls that it applies to and the campaigns whose results rest
// on other values.
func (w *Workspace) Calibrations(ctx context.Context, dyno string) (*report.Calibrations, error) {
	if err := campaign.CheckID(dyno); err != nil {
		return nil, fmt.Errorf("the dyno's id %.80q %w", dyno, err)
	}
	list, err := w.store.Calibrations(ctx, dyno)
	if err != nil {
		return nil, err
	}
	settings, err := w.latestSettings(ctx, dyno)
	if err != nil {
		return nil, err
	}
	view := &report.Calibrations{Dyno: dyno}
	whole := inherited(list)
	for i, c := range list {
		pulls, err := w.store.CalibrationPulls(ctx, dyno, c.ValidFrom)
		if err != nil {
			return nil, err
		}
		view.Rows = append(view.Rows, report.CalibrationRow{
			From: c.ValidFrom, Inertia: float64(c.DrumInertia), InertiaU: float64(c.DrumInertiaU), Arm: float64(c.BrakeArm), ArmU: float64(c.BrakeArmU),
			HasParasitic: measuresParasitic(&c), Parasitic: c.Parasitic, ParasiticU: c.ParasiticU, Note: c.Note,
			Sensors: sensorNotes(&c), Pulls: len(pulls), Affected: restOnOther(whole[i], pulls, settings),
		})
	}
	return view, nil
}
