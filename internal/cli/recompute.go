package cli

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func recomputeCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "recompute [CAMPAIGN…]",
		Short: "Derive kept results again with this program, and say what moved",
		Long: `Derive the latest result of the named campaigns, or of all, again: this program,
the same data, the settings that each result names. Every figure that moved is
reported, as shown and unrounded, verdicts first. What moved is kept beside the
earlier result; nothing is overwritten. A recomputation that was interrupted or
killed is gone on with by the same command. In a PostgreSQL workspace several
machines share the work: one begins it, the others say --join.`,
		Example: `  fairpull recompute --dry-run
  fairpull recompute twin650-intake-cam
  fairpull recompute --json > moved.json`,
	}
	var o lab.RecomputeOptions
	cmd.Flags().BoolVar(&o.DryRun, "dry-run", false, "report what moves and keep nothing")
	cmd.Flags().BoolVar(&o.Join, "join", false, "help with the recomputation that goes on (PostgreSQL)")
	cmd.Flags().BoolVar(&o.Anew, "anew", false, "give up a recomputation that was not finished and begin this one")
	why := cmd.Flags().String("why", "", "a reason, which stays with the results that are kept")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.recompute/1 object, unrounded")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if o.Join && (len(args) > 0 || o.DryRun || o.Anew || *asJSON) {
			return &usageError{errors.New("--join helps with what goes on, as that was begun, and takes nothing else"), "fairpull recompute --join"}
		}
		who, err := by()
		if err != nil {
			return err
		}
		o.Campaigns, o.Program, o.By = args, Version, lab.Author{Who: who, Why: *why}
		return open(func(ctx context.Context, w *lab.Workspace) error { return recompute(ctx, cmd, w, o, *asJSON) })
	}
	return cmd
}

func recompute(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, o lab.RecomputeOptions, asJSON bool) error {
	progress := newProgress(cmd.ErrOrStderr(), "campaigns")
	o.Progress = progress.report
	o.Begun = func(r report.Recomputation) {
		if r.Resumed {
			fmt.Fprintf(cmd.ErrOrStderr(), "going on with the recomputation of %s: %d of %d campaigns are done\n", r.Begun.Format("2006-01-02 15:04"), r.Done, r.Campaigns)
		}
	}
	r, err := w.Recompute(ctx, o)
	progress.end()
	if errors.Is(err, context.Canceled) {
		return errors.New("interrupted; what is done is kept. To go on: the same command")
	}
	if err != nil {
		return err
	}
	if o.Join {
		fmt.Fprintf(cmd.OutOrStdout(), "The recomputation is done: %d campaigns. Where it was begun it is reported.\n", r.Campaigns)
		return nil
	}
	each := func(take func(report.Recomputed) error) error { return w.Recomputed(ctx, r.ID, take) }
	if asJSON {
		return r.JSON(cmd.OutOrStdout(), each)
	}
	return r.Text(cmd.OutOrStdout(), each)
}
