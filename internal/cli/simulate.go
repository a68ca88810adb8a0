package cli

import (
	"errors"
	"fmt"
	"strings"

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
  fairpull simulate --file mine.toml mine
  fairpull simulate --tuning --seed 3 tuning-session`,
		Args: func(cmd *cobra.Command, args []string) error {
			list, _ := cmd.Flags().GetBool("list")
			shows := cmd.Flags().Changed("show")
			switch {
			case list && shows:
				return &usageError{errors.New("--list and --show are two different questions"), "fairpull simulate --list"}
			case list || shows:
				return exactly(0, "--list and --show take no folder", "fairpull simulate --list")(cmd, args)
			case len(args) == 1 && args[0] == "":
				return &usageError{errors.New("the folder to write has no name"), try}
			}
			return exactly(1, "simulate takes the folder to write", try)(cmd, args)
		},
	}
	list := cmd.Flags().Bool("list", false, "list the scenarios that have names")
	show := cmd.Flags().String("show", "", "write the named scenario as TOML, to be changed and used with --file")
	name := cmd.Flags().String("scenario", "", "a scenario by name (see --list)")
	file := cmd.Flags().String("file", "", "a scenario from a TOML file (see --show)")
	tuning := cmd.Flags().Bool("tuning", false, "write logs of a session in which the mixture is mapped, for fairpull mixture")
	seed := cmd.Flags().Uint64("seed", 0, "another draw of the chance; 0: the scenario's own")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		out := cmd.OutOrStdout()
		switch {
		case *list:
			for _, s := range lab.Scenarios() {
				fmt.Fprintf(out, "%-16s %s\n", s.Name, s.About)
			}
			return nil
		case cmd.Flags().Changed("show"):
			if err := namesScenario(*show); err != nil {
				return err
			}
			text, err := lab.ScenarioText(*show)
			if err != nil {
				return err
			}
			_, err = out.Write(text)
			return err
		case *tuning && (*name != "" || *file != ""):
			return &usageError{errors.New("--tuning is a session of its own, and takes no scenario"), "fairpull simulate --tuning session"}
		case *tuning:
			if err := lab.SimulateTuning(*seed, args[0]); err != nil {
				return err
			}
			fmt.Fprintf(out, "Wrote %s: logs before and after a change of fuel, mixture loops, mixture.toml, and the truth in truth.json. Next: fairpull mixture %s/before.csv --settings %s/mixture.toml\n", args[0], args[0], args[0])
			return nil
		case (*name == "") == (*file == ""):
			return &usageError{errors.New("name one scenario: --scenario or --file"), try}
		}
		if *file == "" {
			if err := namesScenario(*name); err != nil {
				return err
			}
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

// namesScenario refuses a name that no scenario has, listing those there are.
func namesScenario(name string) error {
	if lab.NamesScenario(name) {
		return nil
	}
	var names []string
	for _, s := range lab.Scenarios() {
		names = append(names, s.Name)
	}
	return &usageError{fmt.Errorf("there is no scenario %q; there are %s", name, strings.Join(names, ", ")), "fairpull simulate --list"}
}
