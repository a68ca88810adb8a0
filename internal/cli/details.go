package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func detailsCommand() *cobra.Command {
	const try = "fairpull details --claim C-0001"
	cmd := &cobra.Command{
		Use:   "details [FILE]",
		Short: "Keep what test reports say beside what was measured: laboratory, customer, items",
		Long: `Keep the details of test reports, a file of format fairpull.details/1 (docs/customer-sheet.md):
those of the lab, for every claim, or with --claim those of one claim, which go before
the lab's. With its first signature a claim's report, details and all, is fixed in its
dossier. Without a file, write what is kept, and of a claim say what is missing of what
ISO/IEC 17025:2017, 7.8, asks for.`,
		Example: `  fairpull details
  fairpull details --claim C-0001`,
	}
	claim := cmd.Flags().String("claim", "", "the number of a claim; without it the lab's")
	why := cmd.Flags().String("why", "", "a reason, which stays in the audit trail")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.Args = func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) > 1:
			return &usageError{errors.New("details takes one file, or none to see what is kept"), try}
		case *claim != "" && !claimNumber.MatchString(*claim):
			return &usageError{fmt.Errorf("%.40q is not the number of a claim, as in C-0001", *claim), "fairpull claim --list"}
		case len(args) == 0 && *why != "":
			return &usageError{errors.New("--why is the reason of a change, and no file is given"), "fairpull details details.toml --why \"…\""}
		}
		return nil
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		who, err := by()
		if err != nil {
			return err
		}
		var d report.ReportDetails
		if len(args) == 1 {
			if d, err = lab.ReadDetails(args[0]); err != nil {
				return err
			}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			if len(args) == 0 {
				return showDetails(ctx, cmd, w, *claim)
			}
			changed, err := w.SetDetails(ctx, *claim, d, lab.Author{Who: who, Why: *why})
			if err != nil {
				return err
			}
			whose := "every claim that is signed from now on"
			if *claim != "" {
				whose = "claim " + *claim
			}
			if !changed {
				_, err = fmt.Fprintln(cmd.OutOrStdout(), "That is kept already: nothing was changed.")
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "Kept for the test report of %s.\n", whose)
			return err
		})
	}
	return cmd
}

// showDetails writes what is kept, and what is missing of a claim's report.
func showDetails(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, claim string) error {
	d, fixed, err := report.ReportDetails{}, false, error(nil)
	if claim == "" {
		d, err = w.Details(ctx, "")
	} else {
		d, fixed, err = w.ReportDetails(ctx, claim)
	}
	if err != nil {
		return err
	}
	text, err := lab.DetailsTOML(d)
	if err != nil {
		return err
	}
	if fixed {
		fmt.Fprintf(cmd.ErrOrStderr(), "claim %s is signed, and this is fixed in its dossier\n", claim)
	}
	if missing := d.Missing(); claim != "" && len(missing) > 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "not stated, and ISO/IEC 17025:2017 asks for it: %s\n", strings.Join(missing, "; "))
	}
	_, err = cmd.OutOrStdout().Write(text)
	return err
}
