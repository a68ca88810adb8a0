package cli

import (
	"context"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func stepsCommand() *cobra.Command {
	const try = "fairpull steps my-campaign"
	cmd := &cobra.Command{
		Use:   "steps CAMPAIGN",
		Short: "What each step of a kit adds, and what its parts do alone and together",
		Long: `Read a campaign with several candidates as a ladder (stock → step 1 → step 2 …):
each step over the one before it and over stock, with intervals that know that they
share one baseline. Where the candidates are combinations of parts, also what each
part does by itself, and which help one another or take from one another.

A campaign is one of the workspace, by its id, or a campaign folder, by its path.
The ladder is that of the parts, where each candidate holds all that the one before
it changes; --order names another.`,
		Example: `  fairpull steps my-campaign
  fairpull steps twin650-intake-cam --json
  fairpull steps my-campaign --order B --report steps.html`,
		Args: exactly(1, "steps takes one campaign", try),
	}
	var q lab.StepsQuery
	cmd.Flags().StringSliceVar(&q.Order, "order", nil, "the ladder, candidates from first step to last: B,C,D")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.steps/1 object, unrounded")
	reports := cmd.Flags().StringArray("report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	overwrite := cmd.Flags().Bool("overwrite", false, "let --report replace a file that exists")
	units, open := unitsFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(*reports, *overwrite); err != nil {
			return &usageError{err, try + " --report steps.html"}
		}
		q.Campaign, q.Version = args[0], Version
		show := func(ctx context.Context, w *lab.Workspace) error {
			view, err := lab.Steps(ctx, w, q)
			if err != nil {
				return err
			}
			return present(cmd, view, *reports, *overwrite, *asJSON, system)
		}
		return openFor(cmd.Context(), open, args, show)
	}
	return cmd
}
