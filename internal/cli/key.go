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

// The environment's names for passphrases.
const (
	passphraseEnv       = "FAIRPULL_PASSPHRASE"
	newPassphraseEnv    = "FAIRPULL_NEW_PASSPHRASE"
	keeperPassphraseEnv = "FAIRPULL_KEEPER_PASSPHRASE"
)

func keyCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "key",
		Short: "The keys that sign claims: make, list, rotate, revoke",
		Long: `Keep the lab's list of keys. It begins with the keeper's key (--for keys), which
signs every entry that follows: a key for each person who signs claims (--for
approval), and one for the record (--for record), whose name is the record's. The
list, with its whole history, stands in the workspace and goes with every dossier.
A private key is a file of its owner, locked with a passphrase; it never comes into
the workspace, a backup or a dossier (docs/claims.md).`,
		Example: `  fairpull key new keys/keeper.key --for keys --name "K. Keeper" --workspace our-lab
  fairpull key new keys/anna.key --name "Anna Approver" --keeper keys/keeper.key --workspace our-lab
  fairpull key new keys/record.key --for record --name lab.example/record --keeper keys/keeper.key --workspace our-lab
  fairpull key list --workspace our-lab`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return &usageError{fmt.Errorf("key has no verb %q: new, add, list, rotate, revoke, passphrase", args[0]), "fairpull key list"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(keyNew(), keyAdd(), keyList(), keyRotate(), keyRevoke(), keyPassphrase())
	for _, c := range cmd.Commands() {
		c.SetFlagErrorFunc(flagError)
	}
	return cmd
}

// purposeFlag adds --for.
func purposeFlag(cmd *cobra.Command) *string {
	return cmd.Flags().String("for", "approval", "what the key is for: approval (a person's, to sign claims), record (its checkpoints), keys (the keeper's)")
}

func keyNew() *cobra.Command {
	const try = `fairpull key new anna.key --name "Anna Approver" --keeper keeper.key`
	cmd := &cobra.Command{
		Use: "new FILE", Short: "Make a key in a new file and put it into the list",
		Args: exactly(1, "key new takes the file to write", try),
	}
	name, purpose := cmd.Flags().String("name", "", "the person, or the record as in lab.example/record"), purposeFlag(cmd)
	file := cmd.Flags().String("passphrase-file", "", "the new key's passphrase is the first line of this file (default: $"+passphraseEnv+", else it is asked for)")
	keeper := keyFlag(cmd, "keeper", "the keeper's key, which signs the list", keeperPassphraseEnv)
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *name == "" {
			return &usageError{errors.New("a key belongs to somebody: --name is missing"), try}
		}
		who, err := by()
		if err != nil {
			return err
		}
		k := lab.NewKey{File: lab.KeyFile{Path: args[0]}, Name: *name, Purpose: *purpose}
		if cmd.Flags().Changed("keeper") || *purpose != "keys" {
			if k.Keeper, err = keeper(false); err != nil {
				return err
			}
		}
		if k.File.Passphrase, err = passphraseOf(cmd, *file, passphraseEnv, args[0], true); err != nil {
			return err
		}
		return addKey(cmd, open, k, lab.Author{Who: who})
	}
	return cmd
}

func addKey(cmd *cobra.Command, open func(func(context.Context, *lab.Workspace) error) error, k lab.NewKey, by lab.Author) error {
	return open(func(ctx context.Context, w *lab.Workspace) error {
		key, err := w.AddKey(ctx, k, by)
		if err != nil {
			return err
		}
		saidKey(cmd, "Added", key, k.File.Path)
		return nil
	})
}

// saidKey says what became of a key.
func saidKey(cmd *cobra.Command, what string, key report.Key, file string) {
	out := cmd.OutOrStdout()
	fmt.Fprintf(out, "%s key %s of %s, for %s.\n", what, key.ID, key.Name, key.Purpose)
	if file != "" {
		fmt.Fprintf(out, "The private key is in %s. Keep it, and a copy in another safe place: nobody can make it again.\n", file)
	}
	if key.Purpose == "keys" {
		fmt.Fprintf(out, "Publish its fingerprint, by which others tell this lab's claims:\n  %s\n", key.Fingerprint)
	}
}

func keyAdd() *cobra.Command {
	const try = `fairpull key add RWQ… --name "Anna Approver" --keeper keeper.key`
	cmd := &cobra.Command{
		Use: "add PUBLIC-KEY", Short: "Put a public key into the list that its owner made elsewhere",
		Args: exactly(1, "key add takes a public key of 56 characters", try),
	}
	name, purpose := cmd.Flags().String("name", "", "the person, or the record as in lab.example/record"), purposeFlag(cmd)
	keeper := keyFlag(cmd, "keeper", "the keeper's key, which signs the list", keeperPassphraseEnv)
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *name == "" {
			return &usageError{errors.New("a key belongs to somebody: --name is missing"), try}
		}
		who, err := by()
		if err != nil {
			return err
		}
		keep, err := keeper(false)
		if err != nil {
			return err
		}
		return addKey(cmd, open, lab.NewKey{Public: args[0], Name: *name, Purpose: *purpose, Keeper: keep}, lab.Author{Who: who})
	}
	return cmd
}

func keyList() *cobra.Command {
	cmd := &cobra.Command{
		Use: "list", Short: "List the keys, with those that have ended",
		Args: exactly(0, "key list takes no arguments", "fairpull key list"),
	}
	asJSON := cmd.Flags().Bool("json", false, "write the list as a file that others verify with, format fairpull.keys/1")
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return open(func(ctx context.Context, w *lab.Workspace) error {
			keys, err := w.Keys(ctx)
			if err != nil {
				return err
			}
			if *asJSON {
				_, err := cmd.OutOrStdout().Write(keys.File)
				return err
			}
			return keys.Text(cmd.OutOrStdout())
		})
	}
	return cmd
}

func keyRotate() *cobra.Command {
	const try = `fairpull key rotate 0123456789ABCDEF --new anna-2.key --keeper keeper.key --why "…"`
	cmd := &cobra.Command{
		Use: "rotate KEY", Short: "Put a new key in the place of one, which ends then",
		Args: exactly(1, "key rotate takes the id of a key", try),
	}
	path := cmd.Flags().String("new", "", "the file of the new key")
	public := cmd.Flags().String("public", "", "the new public key, where its owner made it elsewhere")
	file := cmd.Flags().String("passphrase-file", "", "the new key's passphrase is the first line of this file (default: $"+passphraseEnv+", else it is asked for)")
	why := cmd.Flags().String("why", "", "a reason, which stays in the list")
	keeper := keyFlag(cmd, "keeper", "the keeper's key, which signs the list", keeperPassphraseEnv)
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if (*path == "") == (*public == "") {
			return &usageError{errors.New("one of --new and --public says the new key"), try}
		}
		who, err := by()
		if err != nil {
			return err
		}
		k := lab.NewKey{File: lab.KeyFile{Path: *path}, Public: *public}
		if k.Keeper, err = keeper(false); err != nil {
			return err
		}
		if *path != "" {
			if k.File.Passphrase, err = passphraseOf(cmd, *file, passphraseEnv, *path, true); err != nil {
				return err
			}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			key, err := w.RotateKey(ctx, args[0], k, lab.Author{Who: who, Why: *why})
			if err != nil {
				return err
			}
			saidKey(cmd, "Rotated to", key, *path)
			return nil
		})
	}
	return cmd
}

func keyRevoke() *cobra.Command {
	const try = `fairpull key revoke 0123456789ABCDEF --keeper keeper.key --why "left the lab"`
	cmd := &cobra.Command{
		Use: "revoke KEY", Short: "End a key, for a reason",
		Args: exactly(1, "key revoke takes the id of a key", try),
	}
	compromised := cmd.Flags().Bool("compromised", false, "somebody else may have had it: its signatures hold only where a trusted time stamp proves them older")
	why := cmd.Flags().String("why", "", "the reason, which stays in the list")
	keeper := keyFlag(cmd, "keeper", "the keeper's key, which signs the list", keeperPassphraseEnv)
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *why == "" {
			return &usageError{errors.New("a key is revoked for a reason: --why is missing"), try}
		}
		who, err := by()
		if err != nil {
			return err
		}
		keep, err := keeper(false)
		if err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			key, err := w.RevokeKey(ctx, args[0], *compromised, keep, lab.Author{Who: who, Why: *why})
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Revoked key %s of %s: %s\n", key.ID, key.Name, key.Standing())
			if !*compromised {
				return nil
			}
			signed, err := w.SignedWith(ctx, key.ID)
			if err == nil && len(signed) > 0 {
				fmt.Fprintf(cmd.OutOrStdout(), "It signed %s. Without a trusted time stamp that is older, no dossier of these verifies any more:\nwithdraw them (fairpull claim %s --withdraw --why \"…\") and have them drafted and signed anew.\n", strings.Join(signed, ", "), signed[0])
			}
			return err
		})
	}
	return cmd
}

func keyPassphrase() *cobra.Command {
	cmd := &cobra.Command{
		Use: "passphrase FILE", Short: "Lock a key with another passphrase",
		Args: exactly(1, "key passphrase takes a key's file", "fairpull key passphrase anna.key"),
	}
	old := cmd.Flags().String("passphrase-file", "", "the old passphrase is the first line of this file (default: $"+passphraseEnv+", else it is asked for)")
	fresh := cmd.Flags().String("new-passphrase-file", "", "the new one is the first line of this file (default: $"+newPassphraseEnv+", else it is asked for)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		was, err := passphraseOf(cmd, *old, passphraseEnv, args[0], false)
		if err != nil {
			return err
		}
		next, err := passphraseOf(cmd, *fresh, newPassphraseEnv, args[0], true)
		if err != nil {
			return err
		}
		if err := lab.ChangePassphrase(lab.KeyFile{Path: args[0], Passphrase: was}, next); err != nil {
			return fmt.Errorf("%s: %w", args[0], err)
		}
		fmt.Fprintf(cmd.OutOrStdout(), "The key in %s has another passphrase now; copies of the file have the old one.\n", args[0])
		return nil
	}
	return cmd
}
