package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"fairpull/internal/lab"
)

func accountCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "account",
		Short: "Keep who may sign in to the workspace's pages",
		Long: `Keep who may sign in to the pages that serve shows on other machines. Roles, each
of which may do what those before it may: viewer looks, technician measures,
engineer plans and judges, approver signs.`,
		Example: "  fairpull account list",
		Args: func(cmd *cobra.Command, args []string) error {
			return &usageError{errors.New("account takes one of add, role, password, close, list"), "fairpull account list"}
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(accountAdd(), accountRole(), accountPassword(), accountClose(), accountList())
	return cmd
}

func accountAdd() *cobra.Command {
	cmd := &cobra.Command{
		Use: "add NAME", Short: "Make an account; the password is asked for, or read from standard input",
		Args: exactly(1, "account add takes the name of one person", "fairpull account add a-name --role engineer"),
	}
	role := roleFlag(cmd)
	return accountVerb(cmd, func(ctx context.Context, w *lab.Workspace, name string, by lab.Author) (string, error) {
		wanted, err := role()
		if err != nil {
			return "", err
		}
		password, err := askPassword(cmd)
		if err != nil {
			return "", err
		}
		return name + " may sign in as " + string(wanted) + ".", w.AddAccount(ctx, name, wanted, password, by)
	})
}

func accountRole() *cobra.Command {
	cmd := &cobra.Command{
		Use: "role NAME", Short: "Give an account another role",
		Args: exactly(1, "account role takes the name of one account", "fairpull account role a-name --role viewer"),
	}
	role := roleFlag(cmd)
	return accountVerb(cmd, func(ctx context.Context, w *lab.Workspace, name string, by lab.Author) (string, error) {
		wanted, err := role()
		if err != nil {
			return "", err
		}
		return name + " has the role " + string(wanted) + ", and signs in anew.", w.SetRole(ctx, name, wanted, by)
	})
}

func accountPassword() *cobra.Command {
	cmd := &cobra.Command{
		Use: "password NAME", Short: "Give an account another password, and open it where it was closed",
		Args: exactly(1, "account password takes the name of one account", "fairpull account password a-name"),
	}
	return accountVerb(cmd, func(ctx context.Context, w *lab.Workspace, name string, by lab.Author) (string, error) {
		password, err := askPassword(cmd)
		if err != nil {
			return "", err
		}
		return name + " has another password, and signs in anew.", w.SetPassword(ctx, name, password, by)
	})
}

func accountClose() *cobra.Command {
	cmd := &cobra.Command{
		Use: "close NAME", Short: "Let nobody sign in with an account any more",
		Args: exactly(1, "account close takes the name of one account", "fairpull account close a-name"),
	}
	return accountVerb(cmd, func(ctx context.Context, w *lab.Workspace, name string, by lab.Author) (string, error) {
		return name + " is closed. The name stays taken.", w.CloseAccount(ctx, name, by)
	})
}

// accountVerb has a command change one account of a workspace.
func accountVerb(cmd *cobra.Command, do func(ctx context.Context, w *lab.Workspace, name string, by lab.Author) (string, error)) *cobra.Command {
	open, by := withWorkspace(cmd), byFlag(cmd)
	cmd.SetFlagErrorFunc(flagError)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		who, err := by()
		if err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			done, err := do(ctx, w, args[0], lab.Author{Who: who})
			if errors.Is(err, lab.ErrUnknown) {
				return fmt.Errorf("%w.\n  Who is there: fairpull account list", err)
			}
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(cmd.OutOrStdout(), done)
			return err
		})
	}
	return cmd
}

func accountList() *cobra.Command {
	cmd := &cobra.Command{
		Use: "list", Short: "List the accounts",
		Args: exactly(0, "account list takes no arguments", "fairpull account list"),
	}
	open := withWorkspace(cmd)
	cmd.SetFlagErrorFunc(flagError)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return open(func(ctx context.Context, w *lab.Workspace) error {
			accounts, err := w.Accounts(ctx)
			if err != nil {
				return err
			}
			if len(accounts) == 0 {
				_, err := fmt.Fprintln(cmd.OutOrStdout(), "There is no account. To make one: fairpull account add NAME --role engineer")
				return err
			}
			table := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
			fmt.Fprintln(table, "name\trole\tmay sign in")
			for _, a := range accounts {
				fmt.Fprintf(table, "%s\t%s\t%s\n", a.Name, a.Role, map[bool]string{true: "yes", false: "no, closed"}[a.Open])
			}
			return table.Flush()
		})
	}
	return cmd
}

func roleFlag(cmd *cobra.Command) func() (lab.Role, error) {
	name := cmd.Flags().String("role", "", "viewer, technician, engineer or approver")
	return func() (lab.Role, error) {
		if slices.Contains(lab.Roles, lab.Role(*name)) {
			return lab.Role(*name), nil
		}
		return "", &usageError{fmt.Errorf("--role is viewer, technician, engineer or approver, and %q is none", *name), cmd.CommandPath() + " a-name --role engineer"}
	}
}

// askPassword reads a password: from a terminal twice, without showing it, else
// the first line of standard input.
func askPassword(cmd *cobra.Command) (string, error) {
	file, ok := cmd.InOrStdin().(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(cmd.InOrStdin(), 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", err
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	var said [2]string
	for i, prompt := range []string{"Password (15 characters or more): ", "Once more: "} {
		fmt.Fprint(cmd.ErrOrStderr(), prompt)
		typed, err := term.ReadPassword(int(file.Fd()))
		fmt.Fprintln(cmd.ErrOrStderr())
		if err != nil {
			return "", err
		}
		said[i] = string(typed)
	}
	if said[0] != said[1] {
		return "", errors.New("the two passwords are not the same: nothing was written")
	}
	return said[0], nil
}
