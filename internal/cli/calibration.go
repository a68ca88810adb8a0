package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
)

func calibrationCommand() *cobra.Command {
	const try = "fairpull calibration cell-1 --from 2026-01-10 --inertia 41.95 --u-inertia 0.2"
	cmd := &cobra.Command{
		Use:   "calibration DYNO",
		Short: "Show the calibrations of a dyno, or enter one",
		Long: `Show the calibrations of a dyno, or enter one that was measured. It holds from its
date until the next: pulls that began since are reduced with it by judge, in the
place of what their campaign states, and the report says what that changes.

Results that were kept before are listed where they rest on other values. They
are not altered; judge finds new ones beside them.`,
		Example: `  fairpull calibration cell-1
  fairpull calibration cell-1 --from 2025-09-01 --inertia 41.95 --u-inertia 0.2 --note "rim weights, three falls"
  fairpull calibration cell-1 --from 2025-09-10T08:00:00+02:00 --parasitic 1.1,0.010,0 --u-parasitic 0.1,0.001,0
  fairpull calibration cell-1 --json`,
		Args: exactly(1, "calibration takes a dyno's id", "fairpull calibration cell-1"),
	}
	f := calibrationFlags{}
	cmd.Flags().StringVar(&f.from, "from", "", "since when it holds: a day by this computer's clock, or a moment with its offset")
	cmd.Flags().Float64Var(&f.inertia, "inertia", 0, "drum inertia, kg·m²")
	cmd.Flags().Float64Var(&f.inertiaU, "u-inertia", 0, "its standard uncertainty, kg·m²")
	cmd.Flags().Float64Var(&f.arm, "brake-arm", 0, "arm of the brake's force, m")
	cmd.Flags().Float64Var(&f.armU, "u-brake-arm", 0, "its standard uncertainty, m")
	cmd.Flags().Float64SliceVar(&f.parasitic, "parasitic", nil, "bare drum torque c0,c1,c2 in N·m over drum speed in rad/s")
	cmd.Flags().Float64SliceVar(&f.parasiticU, "u-parasitic", nil, "their standard uncertainties")
	cmd.Flags().StringVar(&f.note, "note", "", "how it was measured, by which certificate")
	why := cmd.Flags().String("why", "", "the reason, where one of the same moment is superseded")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.calibrations/1 object")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		entered := false
		for _, name := range []string{"from", "inertia", "u-inertia", "brake-arm", "u-brake-arm", "parasitic", "u-parasitic", "note", "why"} {
			entered = entered || cmd.Flags().Changed(name)
		}
		if !entered {
			return open(func(ctx context.Context, w *lab.Workspace) error {
				return showCalibrations(ctx, cmd, w, args[0], *asJSON)
			})
		}
		c, err := f.calibration(args[0])
		if err == nil && *asJSON {
			err = errors.New("--json shows, and a calibration is entered")
		}
		if err == nil {
			err = lab.CheckCalibration(c)
		}
		if err != nil {
			return &usageError{err, try}
		}
		who, err := by()
		if err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			return enterCalibration(ctx, cmd, w, c, lab.Author{Who: who, Why: *why})
		})
	}
	return cmd
}

type calibrationFlags struct {
	from                         string
	inertia, inertiaU, arm, armU float64
	parasitic, parasiticU        []float64
	note                         string
}

func (f *calibrationFlags) calibration(dyno string) (lab.Calibration, error) {
	c := lab.Calibration{
		Dyno: dyno, DrumInertia: quantity.KilogramSquareMetre(f.inertia), DrumInertiaU: quantity.KilogramSquareMetre(f.inertiaU),
		BrakeArm: quantity.Metre(f.arm), BrakeArmU: quantity.Metre(f.armU), Note: f.note,
	}
	if f.from != "" {
		var err error
		if c.ValidFrom, err = time.Parse(time.RFC3339, f.from); err != nil {
			if c.ValidFrom, err = time.ParseInLocation(time.DateOnly, f.from, time.Local); err != nil {
				return c, fmt.Errorf("--from is a day or a moment, as in 2026-01-10 or 2026-01-10T08:00:00+01:00, and %q is neither", f.from)
			}
		}
	}
	for _, list := range []struct {
		name     string
		given    []float64
		into     *[3]float64
		negative bool
	}{{"parasitic", f.parasitic, &c.Parasitic, true}, {"u-parasitic", f.parasiticU, &c.ParasiticU, false}} {
		if len(list.given) > len(list.into) {
			return c, fmt.Errorf("--%s takes at most three numbers, and %d were given", list.name, len(list.given))
		}
		for i, v := range list.given {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 && !list.negative {
				return c, fmt.Errorf("--%s holds %g", list.name, v)
			}
			list.into[i] = v
		}
	}
	return c, nil
}

func showCalibrations(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, dyno string, asJSON bool) error {
	view, err := w.Calibrations(ctx, dyno)
	if err != nil {
		return err
	}
	if !asJSON {
		return view.Text(cmd.OutOrStdout(), time.Local)
	}
	data, err := view.JSON()
	if err != nil {
		return err
	}
	_, err = cmd.OutOrStdout().Write(data)
	return err
}

func enterCalibration(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, c lab.Calibration, by lab.Author) error {
	done, err := w.Calibrate(ctx, c, by)
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	since := c.ValidFrom.Format(time.RFC3339)
	switch {
	case !done.Changed:
		fmt.Fprintf(out, "The workspace has this calibration of %s from %s already: nothing was changed.\n", c.Dyno, since)
	case done.Superseded:
		fmt.Fprintf(out, "The calibration of %s from %s stands in the place of the one before, which stays in the record.\n", c.Dyno, since)
	default:
		fmt.Fprintf(out, "Kept the calibration of %s from %s.\n", c.Dyno, since)
	}
	if done.NewDyno {
		fmt.Fprintf(out, "No campaign names a dyno %s yet.\n", c.Dyno)
	}
	if n := len(done.Affected); n > 0 {
		names := done.Affected[:min(n, 10)]
		more := ""
		if n > len(names) {
			more = fmt.Sprintf(" and %d more", n-len(names))
		}
		fmt.Fprintf(out, "Results kept before on other values, not altered: %s%s. To judge again: fairpull judge %s\n", strings.Join(names, ", "), more, names[0])
	}
	return nil
}
