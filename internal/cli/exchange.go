package cli

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func importCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "import FOLDER",
		Short: "Take a campaign folder into the workspace, logs byte for byte",
		Long: `Take a campaign folder into the workspace: campaign.toml, pulls.csv and every log
byte for byte. The same folder again changes nothing. One that says something
else than the workspace is not taken: what differs is listed. With --supersede
and a reason it becomes the campaign's new version, and the old one stays.`,
		Example: `  fairpull import my-campaign
  fairpull import my-campaign --workspace our-lab --by "A. Name"
  fairpull import my-campaign --supersede --why "oil temperature of pull 4 was noted wrongly"`,
		Args: exactly(1, "import takes one campaign folder", "fairpull import my-campaign"),
	}
	supersede := cmd.Flags().Bool("supersede", false, "take a folder that differs as the campaign's new version; needs --why")
	why := cmd.Flags().String("why", "", "the reason, which stays in the audit trail")
	by := byFlag(cmd)
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *supersede && *why == "" {
			return &usageError{errors.New("--supersede needs a reason"), "fairpull import " + args[0] + ` --supersede --why "…"`}
		}
		who, err := by()
		if err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			r, err := w.Import(ctx, args[0], lab.Author{Who: who, Why: *why}, *supersede)
			if err != nil {
				return err
			}
			out := cmd.OutOrStdout()
			switch {
			case !r.Changed:
				fmt.Fprintf(out, "%s is in the workspace already and says the same: nothing was changed.\n", r.Campaign)
			case r.Superseded:
				fmt.Fprintf(out, "Took %s in as version %d, %d pulls. The versions before it stay.\n", r.Campaign, r.Version, r.Pulls)
			default:
				fmt.Fprintf(out, "Took %s into %s, %d pulls.\n", r.Campaign, w.Place(), r.Pulls)
			}
			if r.Attached > 0 {
				fmt.Fprintf(out, "Documents attached: %d.\n", r.Attached)
			}
			return nil
		})
	}
	return cmd
}

func exportCommand() *cobra.Command {
	const try = "fairpull export twin650-intake-cam exported"
	cmd := &cobra.Command{
		Use:   "export CAMPAIGN DIR",
		Short: "Write a campaign of the workspace as a folder, logs byte for byte",
		Long: `Write a campaign of the workspace as a campaign folder. Logs come out byte for
byte, and so do campaign.toml and pulls.csv where the workspace has them as they
came; else they are written anew and say the same.`,
		Example: `  fairpull export twin650-intake-cam exported
  fairpull export twin650-intake-cam first --version 1`,
		Args: exactly(2, "export takes a campaign's id and the folder to write", try),
	}
	version := cmd.Flags().Int64("version", 0, "an earlier version of the campaign, from 1; 0: the latest")
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *version < 0 {
			return &usageError{errors.New("versions count from 1"), try + " --version 1"}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			pulls, err := w.Export(ctx, args[0], *version, args[1])
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Wrote %s: %d pulls. Next: fairpull gain %s\n", args[1], pulls, args[1])
			return nil
		})
	}
	return cmd
}
