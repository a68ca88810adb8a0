package cli

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// mixtureFlags are what the verb mixture is asked with.
type mixtureFlags struct {
	atLoad, grid    string
	json, overwrite bool
	reports         []string
	q               lab.MixtureQuery
}

func mixtureCommand() *cobra.Command {
	const try = "fairpull mixture my-campaign"
	cmd := &cobra.Command{
		Use:   "mixture FOLDER | LOG...",
		Short: "How rich the engine ran: lambda over engine speed with its limits, and against a target",
		Long: `Find lambda over engine speed at a given load, with limits over visits: of a campaign
folder for both sides at full throttle, whether they were fuelled alike and how much of
the gain could be mixture rather than part; of logs that belong to one state of the
engine also by engine speed and load, against a target, with the change of fuel that
would close it. The delay of the sensor, or of a gas analyser, is found and taken out.
What is wanted and how to read the instruments stands in a file (docs/mixture.md),
given with --settings or lying in the campaign folder as mixture.toml.

Nothing is written to a vehicle. A lean engine under load breaks; a tuner decides.`,
		Example: `  fairpull mixture my-campaign
  fairpull simulate --tuning session
  fairpull mixture session/before.csv --settings session/mixture.toml
  fairpull mixture session/before.csv --settings session/mixture.toml --grid cells.csv --report mixture.html
  fairpull mixture session/after.csv --before session/before.csv --settings session/mixture.toml
  fairpull mixture my-campaign --loop session/loop.csv --json
  fairpull mixture session/before.csv --at-load 30-50`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return nil
			}
			return &usageError{errors.New("mixture takes a campaign folder, or logs"), try}
		},
	}
	var f mixtureFlags
	flags := cmd.Flags()
	flags.StringVar(&f.q.Settings, "settings", "", "a file that says target, fuel and instruments (default: mixture.toml of the folder)")
	flags.StringArrayVar(&f.q.Before, "before", nil, "a log from before a change, to compare with (may be repeated)")
	flags.StringArrayVar(&f.q.Loops, "loop", nil, "a log with a mixture loop: torque against lambda at a held speed (may be repeated)")
	flags.StringVar(&f.atLoad, "at-load", "", "the load at which the curve stands, in % of throttle or kPa, as 40-60 (default: full)")
	flags.Float64Var(&f.q.Confidence, "confidence", 0, "confidence of the intervals, as 0.95 (default: the campaign's, or 0.95)")
	flags.StringVar(&f.grid, "grid", "", "also write every cell of engine speed and load to this file, as CSV")
	flags.BoolVar(&f.json, "json", false, "write the fairpull.mixture-answer/1 object, unrounded")
	flags.StringArrayVar(&f.reports, "report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	flags.BoolVar(&f.overwrite, "overwrite", false, "let --grid and --report replace a file that exists")
	units := unitsFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(f.reports, f.overwrite); err != nil {
			return &usageError{err, try + " --report mixture.html"}
		}
		if f.grid != "" && !strings.HasSuffix(strings.ToLower(f.grid), ".csv") {
			return &usageError{fmt.Errorf("--grid writes CSV, and %q does not end in .csv", f.grid), "fairpull mixture pull.csv --grid cells.csv"}
		}
		if f.q.AtLoad, err = readLoads(f.atLoad); err != nil {
			return &usageError{err, "fairpull mixture pull.csv --at-load 40-60"}
		}
		if c := f.q.Confidence; cmd.Flags().Changed("confidence") && !(c > 0.5 && c < 1) {
			return &usageError{fmt.Errorf("a confidence lies between 0.5 and 1, and %g was given", c), try + " --confidence 0.95"}
		}
		f.q.What, f.q.Version = args, Version
		view, err := lab.Mixture(cmd.Context(), f.q)
		if err != nil {
			return err
		}
		return f.show(cmd, view, system)
	}
	return cmd
}

// show writes the answer and the files that were asked for.
func (f *mixtureFlags) show(cmd *cobra.Command, view *report.Mixture, system quantity.System) error {
	if f.grid != "" {
		if view.Grid == nil {
			return fmt.Errorf("%s was not written: there are no cells. A folder is compared side by side; for cells give its logs, which must have throttle or manifold_pressure", f.grid)
		}
		var cells bytes.Buffer
		if err := view.CSV(&cells); err != nil {
			return err
		}
		if err := lab.WriteFile(f.grid, cells.Bytes(), f.overwrite); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", f.grid)
	}
	for _, file := range f.reports {
		if err := lab.WriteDocument(view, file, f.overwrite, system); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	out := cmd.OutOrStdout()
	if !f.json {
		return view.Text(out, report.TextOptions{Width: terminalWidth(), Color: colour(out), Units: system})
	}
	data, err := view.JSON()
	if err != nil {
		return err
	}
	_, err = out.Write(data)
	return err
}

// readLoads reads two loads with a hyphen between them; empty is none.
func readLoads(text string) (loads [2]float64, err error) {
	if text == "" {
		return loads, nil
	}
	low, high, found := strings.Cut(text, "-")
	if found {
		var rest string
		if n, _ := fmt.Sscanf(low+" "+high+" .", "%f %f %s", &loads[0], &loads[1], &rest); n == 3 && rest == "." && loads[0] >= 0 && loads[1] > loads[0] && loads[1] <= 1000 {
			return loads, nil
		}
	}
	return [2]float64{}, fmt.Errorf("%.40q is no range of loads, the lower first, as in 40-60", text)
}
