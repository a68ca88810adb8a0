package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/campaign"
	"fairpull/internal/lab"
)

func dossierCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "dossier NUMBER",
		Short: "Write everything behind a signed claim into one package that anyone can verify",
		Long: `Write the dossier of a signed claim: raw logs, campaign, settings, the studies that
were borrowed, result, report, tables, audit trail, signatures, and the proof that
it stands in the lab's record; a bag after RFC 8493, as one zip file or a folder.
Whoever gets it verifies it offline: fairpull verify DOSSIER.`,
		Example: "  fairpull dossier C-0001\n  fairpull dossier C-0001 --out claim-folder",
		Args:    exactly(1, "dossier takes the number of a claim", "fairpull dossier C-0001"),
	}
	place := cmd.Flags().String("out", "", "where to write it: a .zip file, or else a new folder (default claim-NUMBER.zip)")
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return open(func(ctx context.Context, w *lab.Workspace) error {
			d, err := w.WriteDossier(ctx, args[0], *place)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Wrote %s: %d files. To verify it: fairpull verify %s --founder %s\n", d.Place, d.Files, d.Place, d.Founder)
			switch d.State {
			case campaign.ClaimAmended, campaign.ClaimWithdrawn:
				fmt.Fprintf(cmd.ErrOrStderr(), "claim %s is %s and no longer to be used: %s\n", args[0], d.State, d.Why)
			case campaign.ClaimSigned:
				fmt.Fprintf(cmd.ErrOrStderr(), "claim %s is not published: it stands in no record yet\n", args[0])
			}
			return nil
		})
	}
	return cmd
}
