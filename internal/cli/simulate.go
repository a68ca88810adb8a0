package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func simulateCommand() *cobra.Command {
	const try = "fairpull simulate --scenario demo my-campaign"
	cmd := &cobra.Command{
		Use:   "simulate FOLDER",
		Short: "Write a campaign folder with known truth from a virtual vehicle and dyno",
		Long: `Write a campaign folder from a virtual vehicle and dyno, with the truth beside
it in truth.json: to learn, to try a procedure, to test the program.`,
		Example: `  fairpull simulate --scenario demo twin
  fairpull simulate --scenario tyre-pressure --seed 7 tyre
  fairpull simulate --list
  fairpull simulate --show demo > mine.toml
  fairpull simulate --file mine.toml mine`,
		Args: func(cmd *cobra.Command, args []string) error {
			list, _ := cmd.Flags().GetBool("list")
			show, _ := cmd.Flags().GetString("show")
			if list || show != "" {
				return exactly(0, "--list and --show take no folder", "fairpull simulate --list")(cmd, args)
			}
			return exactly(1, "simulate takes the folder to write", try)(cmd, args)
		},
	}
	list := cmd.Flags().Bool("list", false, "list the scenarios that have names")
	show := cmd.Flags().String("show", "", "write the named scenario as TOML, to be changed and used with --file")
	name := cmd.Flags().String("scenario", "", "a scenario by name (see --list)")
	file := cmd.Flags().String("file", "", "a scenario from a TOML file (see --show)")
	seed := cmd.Flags().Uint64("seed", 0, "another draw of the chance; 0: the scenario's own")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		out := cmd.OutOrStdout()
		switch {
		case *list:
			for _, s := range lab.Scenarios() {
				fmt.Fprintf(out, "%-16s %s\n", s.Name, s.About)
			}
			return nil
		case *show != "":
			text, err := lab.ScenarioText(*show)
			if err != nil {
				return &usageError{err, "fairpull simulate --list"}
			}
			_, err = out.Write(text)
			return err
		case (*name == "") == (*file == ""):
			return &usageError{errors.New("name one scenario: --scenario or --file"), try}
		}
		written, err := lab.Simulate(cmd.Context(), lab.SimulateRequest{Scenario: *name, File: *file, Seed: *seed, Dir: args[0]})
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "Wrote %s: %d pulls, and the truth in truth.json. Next: fairpull gain %s\n", args[0], written, args[0])
		return nil
	}
	return cmd
}
