// Package cli is the command line: it reads flags, calls package lab, and lets
// package report word the answer. It computes nothing.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"fairpull/quantity"
)

// Exit codes.
const (
	exitDone     = 0
	exitCouldNot = 1
	exitUsage    = 2
)

// Version of the program, set by the linker for a release.
var Version = "0.1.0-dev"

// Run is the whole program: it carries out args and returns the exit code: 0
// done (a gain that is not shown is done, too), 1 could not, 2 wrong usage, 3
// evidence does not verify.
// Results go to stdout, warnings and progress to stderr.
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	var usage *usageError
	if errors.As(err, &usage) {
		fmt.Fprintf(stderr, "fairpull: %v. Try: %s\n", usage.err, usage.try)
		return exitUsage
	}
	if errors.Is(err, context.Canceled) {
		err = errors.New("interrupted; nothing was written")
	}
	fmt.Fprintf(stderr, "fairpull: %v\n", err)
	if errors.Is(err, errUnverified) {
		return exitUnverified
	}
	return exitCouldNot
}

// usageError is a wrong use of the command line, with a command that works.
type usageError struct {
	err error
	try string
}

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "fairpull",
		Short: "Fairpull tells what a motorcycle part does, from chassis dynamometer pulls",
		Long: `Fairpull turns raw dynamometer logs into torque and power, corrects them for
the air, compares baseline and candidate, and states the gain with an interval
that holds. Start with: fairpull demo`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       Version,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return &usageError{fmt.Errorf("there is no verb %q", args[0]), "fairpull help"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetVersionTemplate("fairpull {{.Version}}\n")
	root.AddCommand(
		demoCommand(),
		gainCommand(),
		reduceCommand(),
		steadyCommand(),
		airCommand(),
		simulateCommand(),
		initCommand(),
		importCommand(),
		exportCommand(),
		attachCommand(),
		planCommand(),
		campaignsCommand(),
		recipeCommand(),
		captureCommand(),
		serveCommand(),
		accountCommand(),
		judgeCommand(),
		scatterCommand(),
		standardCommand(),
		acrossCommand(),
		rigsCommand(),
		stepsCommand(),
		roadCommand(),
		budgetCommand(),
		mixtureCommand(),
		calibrationCommand(),
		calibrateCommand(),
		recomputeCommand(),
		claimCommand(),
		dossierCommand(),
		recordCommand(),
		trailCommand(),
		verifyCommand(),
		coversCommand(),
		sheetCommand(),
		reportCommand(),
		detailsCommand(),
		keyCommand(),
		doctorCommand(),
		backupCommand(),
		restoreCommand(),
	)
	root.SetHelpCommand(helpCommand())
	for _, c := range append(root.Commands(), root) {
		c.SetFlagErrorFunc(flagError)
	}
	return root
}

// exactly refuses another number of arguments, showing an example that works.
func exactly(n int, what, try string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == n {
			return nil
		}
		return &usageError{fmt.Errorf("%s, and %d arguments were given", what, len(args)), try}
	}
}

// unitsFlag adds --units to a command.
func unitsFlag(cmd *cobra.Command) func() (quantity.System, error) {
	name := cmd.Flags().String("units", "si", "units a person reads: si (N·m, kW, km/h, °C, kPa) or us (lbf·ft, hp, mph, °F, inHg)")
	return func() (quantity.System, error) {
		system, err := quantity.ParseSystem(*name)
		if err != nil {
			return system, &usageError{err, cmd.CommandPath() + " --units us"}
		}
		return system, nil
	}
}

// terminalWidth returns the columns to write for: COLUMNS where it is sensible,
// else 80.
func terminalWidth() int {
	var n int
	if _, err := fmt.Sscanf(os.Getenv("COLUMNS"), "%d", &n); err == nil && n >= 60 && n <= 240 {
		return n
	}
	return 80
}

// colour says whether w is a terminal that wants colour.
func colour(w io.Writer) bool {
	return terminal(w) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}
