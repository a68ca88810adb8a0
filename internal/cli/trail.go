package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func trailCommand() *cobra.Command {
	const try = "fairpull trail --since 2026-03-02"
	cmd := &cobra.Command{
		Use:   "trail [CAMPAIGN]",
		Short: "Show the audit trail: who changed what, when, from what, why",
		Long: `Show the audit trail of the workspace, the latest change first: its number, when
(UTC) and by whom, what was done to what, the reason, and each place that was changed
with what stood there and what stands there now. With a campaign only its own changes
and those of its claims. Nothing of the trail is ever altered.`,
		Example: `  fairpull trail
  fairpull trail twin650-intake-cam
  fairpull trail --since 2026-03-02 --limit 20
  fairpull trail twin650-intake-cam --json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return &usageError{fmt.Errorf("trail takes one campaign, and %d arguments were given", len(args)), "fairpull trail twin650-intake-cam"}
			}
			return nil
		},
	}
	var q lab.TrailQuery
	since := cmd.Flags().String("since", "", "only changes from this day on, as in 2026-03-02 (UTC)")
	cmd.Flags().IntVar(&q.Limit, "limit", 50, fmt.Sprintf("changes of a page, at most %d", lab.MaxTrailRows))
	cmd.Flags().Int64Var(&q.Before, "after", 0, "go on where a page ended, as it said: with what is older than this number")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.trail/1 object")
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		var err error
		if q.Since, err = readDay(*since); err != nil {
			return &usageError{fmt.Errorf("--since: %w", err), try}
		}
		switch {
		case q.Limit < 1 || q.Limit > lab.MaxTrailRows:
			return &usageError{fmt.Errorf("a page has 1 to %d changes", lab.MaxTrailRows), "fairpull trail --limit 20"}
		case q.Before < 0 || q.Before == 0 && cmd.Flags().Changed("after"):
			return &usageError{fmt.Errorf("--after takes the number of a change, and %d is none", q.Before), "fairpull trail --after 12"}
		}
		if len(args) == 1 {
			q.Campaign = args[0]
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			page, err := w.Trail(ctx, q)
			if err != nil {
				return err
			}
			if !*asJSON {
				return page.Text(cmd.OutOrStdout(), report.TextOptions{Width: terminalWidth(), Color: colour(cmd.OutOrStdout())}, "--after ")
			}
			data, err := page.JSON()
			if err == nil {
				_, err = cmd.OutOrStdout().Write(data)
			}
			return err
		})
	}
	return cmd
}
