package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
)

// calibrateFlags are what the verb calibrate is asked with.
type calibrateFlags struct {
	example, why            string
	keep, asJSON, overwrite bool
	reports                 []string
}

func calibrateCommand() *cobra.Command {
	const try = "fairpull calibrate inertia"
	cmd := &cobra.Command{
		Use:   "calibrate KIND [FILE]",
		Short: "Calibrate the rig, step by step, from readings or logs, with an uncertainty budget",
		Long: `Guide through a calibration of the rig and work it out from a file of readings:
` + wrappedKinds() + `.

Without a file the steps are printed, with the cautions. --example writes a file of
readings to start from, with invented readings. With a file the value is worked out,
with its uncertainty budget, the limits of published rules, and what is still to be
done. --keep keeps it in the workspace: from its date on the pulls of that dyno are
reduced with it; results kept before are not altered, and are named. See
docs/calibration.md; to enter a value from a certificate: fairpull calibration.`,
		Example: `  fairpull calibrate inertia
  fairpull calibrate inertia --example inertia-readings
  fairpull calibrate inertia inertia-readings/inertia.toml
  fairpull calibrate inertia inertia-readings/inertia.toml --keep
  fairpull calibrate brake --example brake-readings
  fairpull calibrate brake brake-readings/brake.toml --json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return &usageError{errors.New("calibrate takes the kind of calibration and, if there are readings, their file"), try}
			}
			if !lab.IsCalibrationKind(args[0]) {
				return &usageError{fmt.Errorf("%.40q is no kind of calibration; there are %s", args[0], strings.Join(lab.CalibrationKinds(), ", ")), try}
			}
			return nil
		},
	}
	var f calibrateFlags
	flags := cmd.Flags()
	flags.StringVar(&f.example, "example", "", "write a file of readings to start from to this new folder")
	flags.BoolVar(&f.keep, "keep", false, "keep the calibration in the workspace")
	flags.StringVar(&f.why, "why", "", "why it stands in the place of one of the same moment")
	flags.BoolVar(&f.asJSON, "json", false, "write the fairpull.calibrating/1 object, unrounded")
	flags.StringArrayVar(&f.reports, "report", nil, "also write a document: .html or .pdf (may be repeated)")
	flags.BoolVar(&f.overwrite, "overwrite", false, "let --report replace a file that exists")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		switch {
		case f.example != "":
			if len(args) > 1 || f.keep {
				return &usageError{errors.New("--example writes readings, and takes none"), try + " --example inertia-readings"}
			}
			if err := lab.WriteCalibrationExample(args[0], f.example); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Wrote invented readings to %s. Next: fairpull calibrate %s %s/%s.toml\n", f.example, args[0], f.example, args[0])
			return nil
		case len(args) == 1:
			if f.keep || f.asJSON || len(f.reports) > 0 {
				return &usageError{errors.New("without a file of readings there is nothing to keep or to write"), try + " --example inertia-readings"}
			}
			guide, err := lab.CalibrationGuide(args[0])
			if err != nil {
				return err
			}
			return guide.Text(cmd.OutOrStdout(), terminalWidth())
		}
		if err := lab.CheckReports(f.reports, f.overwrite); err != nil {
			return &usageError{err, try + " inertia-readings/inertia.toml --report inertia.html"}
		}
		if !f.keep && !cmd.Flags().Changed("workspace") {
			return f.work(cmd.Context(), cmd, nil, lab.Author{}, args)
		}
		author := lab.Author{Why: f.why}
		if f.keep {
			var err error
			if author.Who, err = by(); err != nil {
				return err
			}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error { return f.work(ctx, cmd, w, author, args) })
	}
	return cmd
}

// wrappedKinds lists the kinds for the help, in lines that fit.
func wrappedKinds() string {
	kinds := lab.CalibrationKinds()
	return strings.Join(kinds[:5], ", ") + ",\n" + strings.Join(kinds[5:], ", ")
}

// work works a calibration out, and keeps it where that was asked for. w is nil where no
// workspace is needed.
func (f *calibrateFlags) work(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, by lab.Author, args []string) error {
	q := lab.CalibrateQuery{Kind: args[0], File: args[1], Version: Version}
	if w != nil {
		dyno, at, err := lab.DynoOfReadings(q)
		if err != nil {
			return err
		}
		if q.InUse, err = w.CalibrationInUse(ctx, dyno, at); err != nil {
			return err
		}
	}
	found, err := lab.FindCalibration(q)
	if err != nil {
		return err
	}
	if f.keep {
		if _, err := w.KeepFound(ctx, found, by); err != nil {
			return err
		}
	}
	for _, file := range f.reports {
		if err := lab.WriteDocument(found.View, file, f.overwrite, quantity.SI); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	if f.asJSON {
		return writeJSON(cmd, found.View.JSON)
	}
	return found.View.Text(cmd.OutOrStdout(), terminalWidth())
}
