package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func acrossCommand() *cobra.Command {
	const try = "fairpull across my-campaign"
	cmd := &cobra.Command{
		Use:   "across CAMPAIGN…",
		Short: "What one part does on several vehicles, and what the next may see",
		Long: `Put campaigns together that test the same part, each on another vehicle: the gain on
each, their mean, how much vehicles differ, and from three vehicles on the interval in
which one more vehicle's gain is to be expected. Two vehicles stand side by side; one
is shown as it is.

A campaign is one of the workspace, by its id, or a campaign folder, by its path.
Campaigns that do not fit the same components, or share a vehicle, are refused.`,
		Example: `  fairpull across my-campaign
  fairpull across twin650-intake-cam --figure peak_power --json
  fairpull across my-campaign --report vehicles.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return &usageError{errors.New("across takes campaigns, one for each vehicle"), try}
			}
			return nil
		},
	}
	var q lab.AcrossQuery
	cmd.Flags().StringVar(&q.Candidate, "candidate", "", "the candidate of the first campaign that is meant (default: its only one)")
	cmd.Flags().StringVar(&q.Figure, "figure", "", "band, peak_torque or peak_power (default: the campaigns' primary figure)")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.across/1 object, unrounded")
	reports := cmd.Flags().StringArray("report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	overwrite := cmd.Flags().Bool("overwrite", false, "let --report replace a file that exists")
	units, open := unitsFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if q.Figure != "" && !slices.Contains([]string{"band", "peak_torque", "peak_power"}, q.Figure) {
			return &usageError{fmt.Errorf("there is no figure %.40q", q.Figure), try + " --figure peak_power"}
		}
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(*reports, *overwrite); err != nil {
			return &usageError{err, try + " --report vehicles.html"}
		}
		q.Campaigns, q.Version = args, Version
		show := func(ctx context.Context, w *lab.Workspace) error {
			view, err := lab.Across(ctx, w, q)
			if err != nil {
				return err
			}
			return present(cmd, view, *reports, *overwrite, *asJSON, system)
		}
		return openFor(cmd.Context(), open, args, show)
	}
	return cmd
}
