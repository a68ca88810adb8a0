package lab

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"fairpull/report"
)

// unknownKind says that there is no such kind of calibration.
func unknownKind(kind string) error {
	return fmt.Errorf("%.40q is no kind of calibration; there are %s", kind, strings.Join(CalibrationKinds(), ", "))
}

// IsCalibrationKind reports whether there is such a kind of calibration.
func IsCalibrationKind(kind string) bool { return slices.Contains(CalibrationKinds(), kind) }

// CalibrationGuide says how a kind of calibration is done.
func CalibrationGuide(kind string) (*report.CalibrationGuide, error) {
	g, ok := guides[kind]
	if !ok {
		return nil, unknownKind(kind)
	}
	g.Kind = kind
	return &g, nil
}

// The cautions. They do not take the place of the rig maker's manual.
const (
	cautionManual  = "The rig maker's manual, local rules and qualified people come before these steps."
	cautionTurning = "A turning drum holds the energy of a moving vehicle and does not stop by itself: guards on, nobody in line with it, nothing loose near it, a brake or an emergency stop at hand."
	cautionAdded   = "What is put on a drum is thrown off it if it is not balanced and fastened for the highest speed. Have it made and checked for that speed, and begin slowly."
	cautionWeights = "Dead weights fall: lock the drum, keep feet and hands from under them, hang them one by one on hooks that carry them, and never reach beneath the lever."
	cautionEngine  = "A running engine needs exhaust extraction, a carbon monoxide alarm, cooling and hearing protection."
)

var guides = map[string]report.CalibrationGuide{
	calibrateInertia: {
		Title:    "Drum inertia",
		Cautions: []string{cautionTurning, cautionAdded, cautionManual},
		Needs: []string{
			"an inertia that is known, such as a disc whose mass and diameters were measured, a fifth of the drum's inertia or more; or a brake torque that is known from a calibration",
			"a way to spin the bare drum up and let go of it, and the rig's own logger",
			"or the drawing of the drum, with measured sizes, for its geometry; best both ways",
		},
		Steps: []string{
			"Warm the drum up as for work, for the loss of its bearings has to be the same throughout.",
			"Spin the bare drum up to the highest speed in use, let go, and log it until it is slow.",
			"Put the known inertia on and do the same.",
			"Repeat the pair, alternating, three times or more: the scatter from one to the next is most of the uncertainty.",
			"List the logs under [[spin]], with added = true where the inertia was on. The means over one range of speeds are compared: there (I + ΔI)·α is the same torque every time.",
			"If there is a drawing, list the drum's pieces under [[ring]]: the two ways are then compared.",
		},
	},
	calibrateBareDrum: {
		Title:    "Bare drum torque",
		Cautions: []string{cautionTurning, cautionManual},
		Needs:    []string{"a drum whose inertia is known", "a way to spin the bare drum up and let go of it, and the rig's own logger"},
		Steps: []string{
			"Take the vehicle off, release the brake, and warm the drum up as for work.",
			"Spin the drum up to the highest speed in use, let go, and log it down to the lowest.",
			"Repeat it three times or more, on different days if the rig stands in the cold.",
			"List the logs under [[spin]]. The course c0 + c1·ω + c2·ω² is the mean of all.",
		},
	},
	calibrateBrake: {
		Title:    "Brake arm",
		Cautions: []string{cautionWeights, cautionManual},
		Needs:    []string{"a lever on the brake whose length from the axis was measured, level", "six weights or more, up to the largest torque in use, with their certificate", "latitude and height of the place, or its gravity"},
		Steps: []string{
			"Lock the drum. Read the force without weights (zero_before_n).",
			"Hang the weights on one by one and read the force each time, moving the brake a little before each reading.",
			"Take them off one by one and read again (falling, yes).",
			"Let the lever pull the other way and do the same (reverse, yes).",
			"Read the force without weights again (zero_after_n).",
		},
	},
	calibrateDrumSpeed: {
		Title:    "Drum speed",
		Cautions: []string{cautionTurning, cautionManual},
		Needs:    []string{"a reference for turning speed: a frequency counter on the encoder, or an optical tachometer, with its certificate", "a drive that holds the drum at a speed"},
		Steps: []string{
			"Hold the drum at four speeds or more, evenly from the lowest to the highest in use.",
			"At each write down what the rig shows and what the reference says. A counter's frequency in Hz is 60/pulses times as many rpm.",
			"A scale that is off by one pulse in the count of a turn is a wrong setting, and is said to be.",
		},
	},
	calibrateEngineSpeed: {
		Title:    "Engine speed",
		Cautions: []string{cautionEngine, cautionManual},
		Needs:    []string{"a reference for the crankshaft's speed: an optical tachometer, or the engine control's own count"},
		Steps:    []string{"Hold the engine at four speeds or more from idle to the highest in use.", "At each write down what the rig shows and what the reference says."},
	},
	calibrateBarometer: {
		Title:    "Barometer",
		Cautions: []string{cautionManual},
		Needs:    []string{"a barometer with a certificate, beside the rig's and at its height"},
		Steps:    []string{"Write down both readings, of station pressure and not reduced to sea level, on two days or more.", "With a chamber take five pressures or more over the range in use, and set with_slope = true."},
	},
	calibrateThermometer: {
		Title:    "Thermometer of the intake air",
		Cautions: []string{cautionManual},
		Needs:    []string{"a thermometer with a certificate; a bath, or the same moving air in the shade"},
		Steps:    []string{"Bring both to the same place, wait until neither moves, and write down both readings at two temperatures or more.", "With five or more over the range in use set with_slope = true."},
	},
	calibrateHygrometer: {
		Title:    "Hygrometer",
		Cautions: []string{cautionManual},
		Needs:    []string{"a hygrometer with a certificate, or closed vessels over saturated salts"},
		Steps:    []string{"Bring both to the same air, wait until neither moves, and write down both readings at two humidities or more.", "With five or more over the range in use set with_slope = true."},
	},
	calibrateCoastDown: {
		Title:    "Coast-down against the calibration",
		Cautions: []string{cautionTurning, cautionManual},
		Needs:    []string{"a rig whose inertia and bare drum torque are calibrated"},
		Steps: []string{
			"Warm the drum up as for work, spin it to the highest speed in use with nothing on it, let go, and log it.",
			"The mean force over each stretch of 10 mile/h is held against what the calibration says: 40 CFR 1066.270. Nothing is kept: it is a check, for every week.",
		},
	},
}

// KeepFound keeps a calibration that was found. What became of it, and which results rest on
// other values, stands in the view, too.
func (w *Workspace) KeepFound(ctx context.Context, f *FoundCalibration, by Author) (Calibrated, error) {
	if f.CannotKeep != nil {
		return Calibrated{}, declined("this calibration cannot be kept: %v", f.CannotKeep)
	}
	keep, joined, err := w.joined(ctx, f.Keep)
	if err != nil {
		return Calibrated{}, err
	}
	if joined && by.Why == "" {
		by.Why = "adds: " + f.View.Title
	}
	done, err := w.Calibrate(ctx, keep, by)
	if err != nil {
		return done, err
	}
	from := f.Keep.ValidFrom.Format("2006-01-02 15:04")
	switch {
	case !done.Changed:
		f.View.Kept = append(f.View.Kept, "The workspace had this calibration from "+from+" already: nothing was changed.")
	case done.Superseded && joined:
		f.View.Kept = append(f.View.Kept, "It joins what was calibrated from "+from+" before.")
	case done.Superseded:
		f.View.Kept = append(f.View.Kept, "It stands in the place of the calibration from "+from+", which stays in the record.")
	default:
		f.View.Kept = append(f.View.Kept, "It holds for the pulls of dyno "+f.Keep.Dyno+" from "+from+" on.")
	}
	if done.NewDyno {
		f.View.Kept = append(f.View.Kept, "No campaign names a dyno "+f.Keep.Dyno+" yet.")
	}
	if n := len(done.Affected); n > 0 {
		names := done.Affected[:min(n, 10)]
		more := ""
		if n > len(names) {
			more = fmt.Sprintf(" and %d more", n-len(names))
		}
		f.View.Kept = append(f.View.Kept, "Results kept before on other values, not altered: "+strings.Join(names, ", ")+more+". To see what moves: fairpull recompute "+strings.Join(names, " ")+" --dry-run")
	}
	return done, nil
}

// joined returns a calibration together with what one of the same moment measured
// beside it: several things are calibrated on one day. It reports whether nothing that
// was there is changed by that.
func (w *Workspace) joined(ctx context.Context, c Calibration) (Calibration, bool, error) {
	list, err := w.store.Calibrations(ctx, c.Dyno)
	if err != nil {
		return c, false, err
	}
	for _, there := range list {
		if !there.ValidFrom.Equal(settledTime(c.ValidFrom)) {
			continue
		}
		whole := inherited([]Calibration{there, c})[1]
		back := inherited([]Calibration{c, there})[1] // what was there, completed by the new
		if there.Note != "" && !strings.Contains(there.Note, c.Note) {
			whole.Note = there.Note + "; " + c.Note
		} else {
			whole.Note = there.Note
		}
		back.Note, back.ValidFrom = whole.Note, whole.ValidFrom
		return whole, back == whole, nil
	}
	return c, false, nil
}
