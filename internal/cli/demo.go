package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

// demoReport is what the demo writes into the current folder.
const demoReport = "fairpull-demo.html"

func demoCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Analyse the built-in campaign: raw drum-speed logs in, a defended gain out",
		Long: `Analyse the built-in campaign, an invented one with known truth, and write
` + demoReport + ` into the current folder.`,
		Example: "  fairpull demo\n  fairpull demo --units us",
		Args:    exactly(0, "demo takes no arguments", "fairpull demo"),
	}
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.gain/1 object, unrounded")
	folder := cmd.Flags().String("folder", "", "also write the demo's campaign folder here, to look at and to change")
	units := unitsFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		analysis, err := lab.Demo(cmd.Context())
		if err != nil {
			return err
		}
		view := analysis.View(Version, system)
		if err := cmd.Context().Err(); err != nil {
			return err
		}
		if *folder != "" {
			if err := lab.WriteDemo(*folder); err != nil {
				return err
			}
		}
		// The demo's own report may be replaced: only the demo writes that name.
		if err := lab.WriteReport(view, demoReport, true, system); err != nil {
			return err
		}
		if err := writeGain(cmd.OutOrStdout(), analysis, *asJSON, system); err != nil || *asJSON {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), `
Wrote %s: open it in a browser. Next:
  fairpull demo --folder my-campaign     the same campaign as a folder, to look at
  fairpull gain my-campaign --report gain.pdf
  fairpull reduce my-campaign            each pull's curve, phases and losses
  fairpull help
`, demoReport)
		return nil
	}
	return cmd
}
