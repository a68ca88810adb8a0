package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

// exitUnverified is the exit code where evidence does not verify.
const exitUnverified = 3

// errUnverified says that a dossier did not verify; what failed was written already.
var errUnverified = errors.New("it does not verify")

func verifyCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "verify DOSSIER | PROOF",
		Short: "Verify a dossier offline, and derive every figure again from its raw logs",
		Long: `Verify a dossier, a zip file or a folder, offline and without a workspace: every
byte, the signatures, the place in the lab's record; then derive every figure again
from the raw logs with the settings kept, and compare at the rounding that is
shown. Exit code 3 says that something does not hold, and what.

A proof that the lab's record only grew (fairpull record --since) is verified alike:
--since names the checkpoint that you kept, or the dossier that has it.

Whose keys they are is known only by what the lab publishes: --founder, the
fingerprint of its first key, or --keys, its list of keys as it is today.`,
		Example: "  fairpull verify claim-C-0001.zip\n  fairpull verify claim-C-0001.zip --json > verified.json\n  fairpull verify growth.json --since old.checkpoint",
		Args:    exactly(1, "verify takes a dossier", "fairpull verify claim-C-0001.zip"),
	}
	var t lab.DossierTrust
	cmd.Flags().StringVar(&t.Founder, "founder", "", "fingerprint of the first key of the lab's list, as the lab publishes it")
	cmd.Flags().StringVar(&t.KeysFile, "keys", "", "the lab's list of keys as it stands today, a file of fairpull key list --json")
	cmd.Flags().StringVar(&t.Origin, "record", "", "the name of the lab's record, as in lab.example/record")
	cmd.Flags().StringVar(&t.StampRoots, "stamp-roots", "", "certificates of trusted time-stamping services, a PEM file")
	since := cmd.Flags().String("since", "", "of a proof that the record only grew: the checkpoint that was kept, or a dossier that has it")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.verification/1 object")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		growth := lab.IsGrowth(args[0])
		if *since != "" && !growth {
			return &usageError{fmt.Errorf("--since belongs to a proof that the record only grew, and %s is none", args[0]), "fairpull verify growth.json --since old.checkpoint"}
		}
		verify := func() (*report.Verification, error) { return lab.VerifyDossier(cmd.Context(), args[0], t, Version) }
		if growth {
			verify = func() (*report.Verification, error) { return lab.VerifyGrowth(args[0], *since, t) }
		}
		v, err := verify()
		if err != nil {
			return err
		}
		if *asJSON {
			data, err := v.JSON()
			if err == nil {
				_, err = cmd.OutOrStdout().Write(data)
			}
			if err != nil {
				return err
			}
		} else if err := v.Text(cmd.OutOrStdout(), terminalWidth()); err != nil {
			return err
		}
		if !v.Verified {
			return fmt.Errorf("%s: %w", args[0], errUnverified)
		}
		return nil
	}
	return cmd
}
