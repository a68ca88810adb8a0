package cli

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func scatterCommand() *cobra.Command {
	const try = "fairpull scatter"
	cmd := &cobra.Command{
		Use:   "scatter",
		Short: "Show how far the lab's own results scatter, with its trend and where it comes from",
		Long: `Show what the workspace knows of a dyno's scatter: pull to pull, change-over within
a setup, setup to setup, each with its degrees of freedom, how alike the campaigns
are, its trend over time and the campaigns that it comes from. New campaigns on
the dyno are judged by it: by the part of their own vehicle where that is known
well enough, else of its class of vehicles, else by all.

A campaign is left out with a reason, and taken back with one; both stay in the
audit trail. Results that were kept before stand as they are.`,
		Example: `  fairpull scatter
  fairpull scatter --dyno cell-1 --vehicle twin650-03 --json
  fairpull scatter --report scatter.html
  fairpull scatter --leave-out twin650-intake-cam --why "a strap was loose"
  fairpull scatter --take-back twin650-intake-cam --why "it was another campaign"`,
		Args: exactly(0, "scatter takes no arguments", try),
	}
	var q lab.ScatterQuery
	cmd.Flags().StringVar(&q.Dyno, "dyno", "", "the dyno, by its id (default: the only one)")
	cmd.Flags().StringVar(&q.Vehicle, "vehicle", "", "only campaigns with this vehicle, by its id")
	cmd.Flags().StringVar(&q.Class, "class", "", "only campaigns with vehicles of this class, as in twin-650")
	leave := cmd.Flags().String("leave-out", "", "leave a campaign out of the lab's history; needs --why")
	back := cmd.Flags().String("take-back", "", "take back a campaign that was left out; needs --why")
	why := cmd.Flags().String("why", "", "the reason, which stays in the audit trail")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.history/1 object, unrounded")
	reports := cmd.Flags().StringArray("report", nil, "also write a document: .html or .svg (may be repeated)")
	overwrite := cmd.Flags().Bool("overwrite", false, "let --report replace a file that exists")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if *leave != "" || *back != "" {
			return markScatter(cmd, open, by, *leave, *back, *why)
		}
		if cmd.Flags().Changed("leave-out") || cmd.Flags().Changed("take-back") || *why != "" {
			return &usageError{errors.New("no campaign is named that is left out or taken back"), try + ` --leave-out twin650-intake-cam --why "…"`}
		}
		if q.Vehicle != "" && q.Class != "" {
			return &usageError{errors.New("--vehicle and --class at once"), try + " --vehicle twin650-03"}
		}
		if err := lab.CheckScatterReports(*reports, *overwrite); err != nil {
			return &usageError{err, try + " --report scatter.html"}
		}
		q.Version = Version
		return open(func(ctx context.Context, w *lab.Workspace) error {
			view, err := w.Scatter(ctx, q)
			if err != nil {
				return err
			}
			for _, file := range *reports {
				if err := lab.WriteScatterReport(view, file, *overwrite); err != nil {
					return err
				}
				fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
			}
			return writeScatter(cmd.OutOrStdout(), view, *asJSON)
		})
	}
	return cmd
}

func writeScatter(w io.Writer, view *report.Scatter, asJSON bool) error {
	if !asJSON {
		return view.Text(w, report.TextOptions{Width: terminalWidth(), Color: colour(w)})
	}
	data, err := view.JSON()
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

// markScatter leaves a campaign out of the history, or takes one back.
func markScatter(cmd *cobra.Command, open func(func(context.Context, *lab.Workspace) error) error, by func() (string, error), leave, back, why string) error {
	verb, id := "leave-out", leave
	if leave == "" {
		verb, id = "take-back", back
	}
	switch {
	case leave != "" && back != "":
		return &usageError{errors.New("--leave-out and --take-back at once"), "fairpull scatter --leave-out " + leave + ` --why "…"`}
	case why == "":
		return &usageError{fmt.Errorf("--%s needs a reason", verb), "fairpull scatter --" + verb + " " + id + ` --why "…"`}
	}
	who, err := by()
	if err != nil {
		return err
	}
	return open(func(ctx context.Context, w *lab.Workspace) error {
		mark, done, same := w.LeaveOut, "is left out of the lab's history from now on", "was left out already"
		if verb == "take-back" {
			mark, done, same = w.TakeBack, "is in the lab's history again", "was not left out"
		}
		changed, err := mark(ctx, id, lab.Author{Who: who, Why: why})
		if err != nil {
			return err
		}
		if !changed {
			done = same + ": nothing was changed"
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s %s.\n", id, done)
		return nil
	})
}
