package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/user"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

// workspaceEnv names the workspace where no flag does.
const workspaceEnv = "FAIRPULL_WORKSPACE"

// withWorkspace adds --workspace to a command. What comes back opens the
// workspace, lets do work with it and closes it.
func withWorkspace(cmd *cobra.Command) func(do func(ctx context.Context, w *lab.Workspace) error) error {
	place := cmd.Flags().String("workspace", "", "the workspace: a directory, or postgres://…?blobs=/FOLDER (default $"+workspaceEnv+", else one in the user's data directory)")
	return func(do func(context.Context, *lab.Workspace) error) (err error) {
		where := *place
		if where == "" {
			if cmd.Flags().Changed("workspace") {
				return &usageError{errors.New("--workspace names no place"), cmd.CommandPath() + " --workspace my-lab"}
			}
			where = os.Getenv(workspaceEnv)
		}
		w, err := lab.OpenWorkspace(cmd.Context(), where)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, w.Close()) }()
		if w.Made() {
			fmt.Fprintf(cmd.ErrOrStderr(), "made the workspace %s\n", w.Place())
		}
		return do(cmd.Context(), w)
	}
}

// byFlag adds --by to a command that writes into the workspace. What comes back
// names who writes: the flag, else the user of the environment.
func byFlag(cmd *cobra.Command) func() (string, error) {
	by := cmd.Flags().String("by", "", "who does it, for the audit trail (default: the user's name)")
	return func() (string, error) {
		if *by != "" {
			return *by, nil
		}
		for _, name := range []string{"USER", "LOGNAME", "USERNAME"} {
			if who := os.Getenv(name); who != "" {
				return who, nil
			}
		}
		if account, err := user.Current(); err == nil && account.Username != "" {
			return account.Username, nil
		}
		return "", &usageError{errors.New("nobody is named for the audit trail"), cmd.CommandPath() + ` --by "A. Name"`}
	}
}

func initCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "init DIR",
		Short: "Make a workspace: a lab's memory of its campaigns",
		Long: `Make a workspace in a directory, or in an existing PostgreSQL database given as
postgres://HOST/DATABASE?blobs=/FOLDER. Other verbs use it with --workspace or
the environment variable FAIRPULL_WORKSPACE. Where neither is given they use a
workspace in the user's data directory, made the first time it is needed.`,
		Example: "  fairpull init my-lab",
		Args:    exactly(1, "init takes the place of the workspace", "fairpull init my-lab"),
		RunE: func(cmd *cobra.Command, args []string) error {
			w, err := lab.InitWorkspace(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Made the workspace %s. Name it to other verbs with --workspace or %s.\n", w.Place(), workspaceEnv)
			return w.Close()
		},
	}
}

func doctorCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "doctor",
		Short: "Look a workspace through: every row, reference, log and digest",
		Long: `Look a whole workspace through: the database itself, every reference, the digest
of every row and file, the data that each result rests on, and the audit trail.
Nothing is repaired. Exit code 1 says that something is broken; files left over
by a program that was killed are listed, and nothing is lost by them. --sweep
removes those that are older than a day, where nothing is broken.`,
		Example: "  fairpull doctor\n  fairpull doctor --workspace our-lab --sweep",
		Args:    exactly(0, "doctor takes no arguments", "fairpull doctor"),
	}
	sweep := cmd.Flags().Bool("sweep", false, "remove left-over files that are older than a day")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return open(func(ctx context.Context, w *lab.Workspace) error {
			r, err := w.Doctor(ctx)
			if err != nil {
				return err
			}
			out, broken := cmd.OutOrStdout(), 0
			fmt.Fprintf(out, "Looked at %s. Campaigns: %d, files: %d, changes: %d, version of the tables: %d.\n", w.Place(), r.Campaigns, r.Blobs, r.Changes, r.Schema)
			for _, p := range r.Problems {
				kind := "left over"
				if !p.Leftover {
					kind = "BROKEN"
					broken++
				}
				fmt.Fprintf(out, "  %s  %v\n", kind, p)
			}
			if broken > 0 {
				return fmt.Errorf("broken things in the workspace: %d.\n  Nothing was repaired; restore the newest whole backup beside it, and compare", broken)
			}
			fmt.Fprintln(out, "Nothing is broken.")
			if !*sweep {
				return nil
			}
			who, err := by()
			if err != nil {
				return err
			}
			return sweepLeftovers(ctx, cmd, w, who)
		})
	}
	return cmd
}

// sweepLeftovers removes left-over files and says which.
func sweepLeftovers(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, who string) error {
	removed, err := w.Sweep(ctx, lab.Author{Who: who})
	for _, name := range removed {
		fmt.Fprintf(cmd.OutOrStdout(), "  removed  file %s\n", name)
	}
	if err == nil && len(removed) == 0 {
		fmt.Fprintln(cmd.OutOrStdout(), "No left-over file is older than a day: nothing was removed.")
	}
	return err
}

func backupCommand() *cobra.Command {
	const try = "fairpull backup lab.tar"
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write the whole workspace to one file, and verify it",
		Long: `Write the whole workspace, as it is at one moment, to one new tar file and read
it back. Others may go on writing meanwhile. A PostgreSQL workspace is backed up
with the server's own tools (docs/workspace.md).`,
		Example: "  fairpull backup lab.tar\n  fairpull backup our-lab.tar --workspace our-lab",
		Args:    exactly(1, "backup takes the file to write", try),
	}
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return open(func(ctx context.Context, w *lab.Workspace) error {
			if err := w.Backup(ctx, args[0]); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Wrote %s, the whole of %s, and read it back.\n", args[0], w.Place())
			return nil
		})
	}
	return cmd
}

func restoreCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "restore FILE DIR",
		Short: "Make a workspace of a backup, and verify it",
		Long: `Make a workspace of a backup in a directory that has none. Every file is verified
against its digest before the workspace is there, and the doctor looks at it.`,
		Example: "  fairpull restore lab.tar restored-lab",
		Args:    exactly(2, "restore takes a backup and the directory of the new workspace", "fairpull restore lab.tar restored-lab"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := lab.RestoreWorkspace(cmd.Context(), args[0], args[1]); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Restored %s to %s; every file is what it was, and nothing is broken.\n", args[0], args[1])
			return nil
		},
	}
}
