package cli

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func recordCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "record",
		Short: "Show the lab's record, write a checkpoint of it, prove that it only grew",
		Long: `Show the lab's append-only record. --out writes its latest checkpoint, a few lines that
others can keep: with --key signed anew as the record stands, else the one that the
latest published claim brought. With --since it writes the proof that the record only
grew since an earlier checkpoint, which is a file or is taken out of a dossier; anybody
verifies that offline: fairpull verify growth.json --since OLD.`,
		Example: `  fairpull record
  fairpull record --out old.checkpoint
  fairpull record --since old.checkpoint --key record.key --out growth.json`,
		Args: exactly(0, "record takes no arguments", "fairpull record"),
	}
	since := cmd.Flags().String("since", "", "an earlier checkpoint, or a dossier that has one")
	place := cmd.Flags().String("out", "", "write the checkpoint into this file, with --since the proof")
	overwrite := cmd.Flags().Bool("overwrite", false, "let --out replace a file that exists")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.record/1 object")
	key := keyFlag(cmd, "key", "the record's private key, which signs it as it stands", passphraseEnv)
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		named := cmd.Flags().Changed("key")
		switch {
		case *place == "" && (*since != "" || named):
			return &usageError{errors.New("--since and --key belong to --out: nothing says where to write to"), "fairpull record --since old.checkpoint --out growth.json"}
		case *place != "" && *asJSON:
			return &usageError{errors.New("--json shows the record, and --out writes a file"), "fairpull record --json"}
		}
		var file lab.KeyFile
		if named {
			var err error
			if file, err = key(false); err != nil {
				return err
			}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			if *place == "" {
				return showRecord(ctx, cmd, w, *asJSON)
			}
			data, err := w.Checkpoint(ctx, file)
			if *since != "" {
				data, err = w.ProveGrowth(ctx, *since, file)
			}
			if err != nil {
				return err
			}
			if err := lab.WriteFile(*place, data, *overwrite); err != nil {
				return err
			}
			next := "others keep it, and ask for the proof: fairpull record --since " + *place + " --out growth.json"
			if *since != "" {
				next = "to verify it: fairpull verify " + *place + " --since " + *since
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "Wrote %s; %s\n", *place, next)
			return err
		})
	}
	return cmd
}

func showRecord(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, asJSON bool) error {
	r, err := w.RecordView(ctx)
	if err != nil {
		return err
	}
	if !asJSON {
		return r.Text(cmd.OutOrStdout())
	}
	data, err := r.JSON()
	if err == nil {
		_, err = cmd.OutOrStdout().Write(data)
	}
	return err
}
