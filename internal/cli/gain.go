package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

func gainCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "gain FOLDER",
		Short: "Analyse a campaign folder: verdict, gain with its interval, checks",
		Long: `Analyse a campaign folder (docs/formats.md): reduce every pull, correct it for
the air, compare each candidate with the baseline, and ask the checks. Nothing
but the folder is read.`,
		Example: `  fairpull gain my-campaign
  fairpull gain my-campaign --units us
  fairpull gain my-campaign --json > gain.json
  fairpull gain my-campaign --report gain.html --report gain.pdf`,
		Args: exactly(1, "gain takes one campaign folder", "fairpull gain my-campaign"),
	}
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.gain/1 object, unrounded")
	reports := cmd.Flags().StringArray("report", nil, "also write a document; the ending says which: .html .pdf .svg .png (may be repeated)")
	overwrite := cmd.Flags().Bool("overwrite", false, "let --report replace a file that exists")
	units := unitsFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(*reports, *overwrite); err != nil {
			return &usageError{err, "fairpull gain " + args[0] + " --report gain.html"}
		}
		progress := newProgress(cmd.ErrOrStderr(), "pulls")
		analysis, err := lab.Gain(cmd.Context(), args[0], progress.report)
		progress.end()
		if err != nil {
			return err
		}
		if len(*reports) > 0 {
			if err := writeReports(cmd, analysis.View(Version, system), *reports, *overwrite, system); err != nil {
				return err
			}
		}
		return writeGain(cmd.OutOrStdout(), analysis, *asJSON, system)
	}
	return cmd
}

// writeGain writes the answer of gain and demo. The gain result has the units of
// its format, whatever a person reads.
func writeGain(w io.Writer, analysis *lab.Analysis, asJSON bool, units quantity.System) error {
	if asJSON {
		data, err := analysis.View(Version, quantity.SI).JSON()
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return err
	}
	return analysis.View(Version, units).Text(w, report.TextOptions{Width: terminalWidth(), Color: colour(w), Units: units})
}

// writeReports writes all files, or none once the command is interrupted.
func writeReports(cmd *cobra.Command, view *report.Gain, files []string, overwrite bool, units quantity.System) error {
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	for _, file := range files {
		if err := lab.WriteReport(view, file, overwrite, units); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	return nil
}
