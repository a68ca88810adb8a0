package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func budgetCommand() *cobra.Command {
	const try = "fairpull budget my-campaign"
	cmd := &cobra.Command{
		Use:   "budget CAMPAIGN | FOLDER",
		Short: "What every level and every gain is uncertain of, and what drops out of a gain",
		Long: `Work out the uncertainty budget of every level (torque over the riding band, peaks) of
either side and of every gain: what calibration, sensors, correction and scatter give
each, and what drops out of the ratio of the sides. To first order as JCGM 100 (GUM)
has it and by drawing the distributions as JCGM 101 has it, side by side, with the
comparison of JCGM 101, clause 8.

Uncertainties come from the campaign, from the rig's calibrations in the workspace, and
from a file that states others (--known, docs/budget.md). What nobody has stated is
named, and not guessed.`,
		Example: `  fairpull budget my-campaign
  fairpull budget twin650-intake-cam --draws 100000 --json
  fairpull budget my-campaign --draws 100000 --report budget.html`,
		Args: exactly(1, "budget takes one campaign", try),
	}
	var q lab.BudgetQuery
	var known string
	var reports []string
	var asJSON, overwrite bool
	flags := cmd.Flags()
	flags.StringVar(&known, "known", "", "a file that states uncertainties (format fairpull.uncertainty/1)")
	flags.StringVar(&q.Candidate, "candidate", "", "one part alone, where the campaign has several candidates")
	flags.IntVar(&q.Draws, "draws", 0, "draws for each figure (default a million)")
	flags.BoolVar(&asJSON, "json", false, "write the fairpull.budget/1 object, SI and unrounded")
	flags.StringArrayVar(&reports, "report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	flags.BoolVar(&overwrite, "overwrite", false, "let --report replace a file that exists")
	units, open := unitsFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(reports, overwrite); err != nil {
			return &usageError{err, try + " --report budget.html"}
		}
		if q.Draws != 0 && (q.Draws < 10_000 || q.Draws > lab.MostBudgetDraws) {
			return &usageError{fmt.Errorf("--draws is a whole number from 10000 to %d", lab.MostBudgetDraws), try + " --draws 100000"}
		}
		if known != "" {
			if q.Known, err = lab.ReadKnown(known); err != nil {
				return err
			}
		}
		q.What, q.Units, q.Version = args[0], system, Version
		show := func(ctx context.Context, w *lab.Workspace) error {
			view, err := lab.Budget(ctx, w, q)
			if err != nil {
				return err
			}
			return present(cmd, view, reports, overwrite, asJSON, system)
		}
		return openFor(cmd.Context(), open, args, show)
	}
	return cmd
}
