package cli

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func reduceCommand() *cobra.Command {
	const try = "fairpull reduce my-campaign"
	cmd := &cobra.Command{
		Use:   "reduce FOLDER|LOG",
		Short: "Reduce pulls: phases, curve with standard errors, slip, coast-down loss",
		Long: `Reduce the pulls of a campaign folder, or one log. A log inside a campaign
folder takes its settings from there; one on its own needs them as flags.
Figures are wheel figures, not corrected for the air.`,
		Example: `  fairpull reduce my-campaign
  fairpull reduce my-campaign --pull 4
  fairpull reduce my-campaign --csv > curves.csv
  fairpull reduce my-campaign/logs/01.csv --json
  fairpull reduce pull.csv --inertia 41.8 --drum-radius 0.2286 --ratio 3.71`,
		Args: exactly(1, "reduce takes one campaign folder or one log", try),
	}
	var s lab.LogSettings
	only := cmd.Flags().String("pull", "", "only the pull of this name")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.reduction/1 object, SI and unrounded")
	asCSV := cmd.Flags().Bool("csv", false, "write one row a node, SI and unrounded")
	each := cmd.Flags().Float64("every", 250, "distance of the lines of the text's table, rpm")
	cmd.Flags().Float64Var(&s.Inertia, "inertia", 0, "drum inertia, kg·m² (log on its own)")
	cmd.Flags().Float64Var(&s.Radius, "drum-radius", 0, "drum radius, m (log on its own)")
	cmd.Flags().Float64Var(&s.RevsPerDrumRev, "ratio", 0, "engine turns a drum turn; 0: estimated from the log")
	cmd.Flags().Float64Var(&s.WheelInertia, "wheel-inertia", 0, "driven wheel and tyre, at the wheel, kg·m²; 0: not known")
	cmd.Flags().Float64Var(&s.WheelRadius, "wheel-radius", 0, "driven tyre, m; 0: not known")
	cmd.Flags().IntVar(&s.PulsesPerRev, "pulses-per-rev", 0, "drum encoder pulses a turn (pulse logs)")
	cmd.Flags().Float64Var(&s.EnginePulsesPerRev, "engine-pulses-per-rev", 0, "ignition pulses a crankshaft turn (pulse logs)")
	cmd.Flags().Float64Var(&s.BrakeArm, "brake-arm", 0, "brake arm, m (logs with a brake force)")
	parasitic := cmd.Flags().Float64Slice("parasitic", nil, "bare drum torque c0,c1,c2 over drum speed in rad/s, N·m")
	units := unitsFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if len(*parasitic) > len(s.Parasitic) {
			return &usageError{errors.New("--parasitic takes at most three numbers"), "fairpull reduce pull.csv --parasitic 1.1,0.01,0"}
		}
		copy(s.Parasitic[:], *parasitic)
		if *asJSON && *asCSV {
			return &usageError{errors.New("--json and --csv cannot both be written to one output"), try + " --json"}
		}
		result, err := reductions(cmd, args[0], *only, s)
		switch {
		case err != nil:
			return err
		case *asJSON:
			return writeJSON(cmd, result.JSON)
		case *asCSV:
			return result.CSV(cmd.OutOrStdout())
		}
		return result.Text(cmd.OutOrStdout(), report.ReductionOptions{Units: system, EachRPM: *each})
	}
	return cmd
}

func reductions(cmd *cobra.Command, path, only string, s lab.LogSettings) (*report.Reductions, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	folder := path
	if !info.IsDir() {
		var found bool
		if s.Inertia > 0 {
			return lab.ReduceLog(path, s)
		}
		if folder, only, found = lab.FolderOf(path); !found {
			return nil, &usageError{
				fmt.Errorf("%s is in no campaign folder that names it, so the rig must be described by flags", path),
				strings.Join([]string{"fairpull reduce", path, "--inertia 41.8 --drum-radius 0.2286"}, " "),
			}
		}
	}
	progress := newProgress(cmd.ErrOrStderr(), "pulls")
	defer progress.end()
	return lab.ReduceFolder(cmd.Context(), folder, only, progress.report)
}
