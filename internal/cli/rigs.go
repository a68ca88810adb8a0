package cli

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func rigsCommand() *cobra.Command {
	const try = "fairpull rigs my-campaign other-rig"
	cmd := &cobra.Command{
		Use:   "rigs CAMPAIGN CAMPAIGN…",
		Short: "What several rigs read of one vehicle, and by how much they differ",
		Long: `Compare rigs by one vehicle in one configuration, a campaign on each rig: the bias of
each against the first, over the riding band and by engine speed, with its interval,
and whether the calibrations allow it. Three rigs and more are also judged together, in
the way of ISO 5725-2; what stands out is named and stays in.

A campaign is one of the workspace, by its id, or a campaign folder, by its path.
Campaigns of other vehicles, other parts or settings, or one rig twice, are refused.`,
		Example: `  fairpull simulate --scenario other-rig other-rig
  fairpull rigs my-campaign other-rig
  fairpull rigs my-campaign other-rig --configuration A --json
  fairpull rigs my-campaign other-rig --report rigs.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 {
				return &usageError{errors.New("rigs takes two campaigns or more, one for each rig"), try}
			}
			return nil
		},
	}
	var q lab.RigsQuery
	cmd.Flags().StringVar(&q.Configuration, "configuration", "", "the configuration of the first campaign that is compared (default: its baseline)")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.rigs/1 object, unrounded")
	reports := cmd.Flags().StringArray("report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	overwrite := cmd.Flags().Bool("overwrite", false, "let --report replace a file that exists")
	units, open := unitsFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(*reports, *overwrite); err != nil {
			return &usageError{err, try + " --report rigs.html"}
		}
		q.Campaigns, q.Version = args, Version
		show := func(ctx context.Context, w *lab.Workspace) error {
			view, err := lab.CompareRigs(ctx, w, q)
			if err != nil {
				return err
			}
			return present(cmd, view, *reports, *overwrite, *asJSON, system)
		}
		return openFor(cmd.Context(), open, args, show)
	}
	return cmd
}
