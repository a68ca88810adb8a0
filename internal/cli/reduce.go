package cli

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
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
		if *asJSON && *asCSV {
			return &usageError{errors.New("--json and --csv cannot both be written to one output"), try + " --json"}
		}
		if !(*each > 0) || math.IsInf(*each, 0) {
			return &usageError{fmt.Errorf("--every is %v, and a distance in rpm is above 0", *each), try + " --every 500"}
		}
		if *only == "" && cmd.Flags().Changed("pull") {
			return &usageError{errors.New("--pull names no pull"), "fairpull reduce " + args[0]}
		}
		if err := checkRig(cmd, *parasitic); err != nil {
			return &usageError{err, loneLog(args[0])}
		}
		copy(s.Parasitic[:], *parasitic)
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

// rigFlags describe the rig of a log that stands on its own. Those that are 0
// where they are not known may be said to be 0.
var rigFlags = []struct {
	name   string
	mayBe0 bool
}{
	{"inertia", false}, {"drum-radius", false}, {"ratio", true}, {"wheel-inertia", true}, {"wheel-radius", true},
	{"pulses-per-rev", false}, {"engine-pulses-per-rev", false}, {"brake-arm", false}, {"parasitic", true},
}

// checkRig refuses values that no rig has.
func checkRig(cmd *cobra.Command, parasitic []float64) error {
	for _, flag := range rigFlags {
		if !cmd.Flags().Changed(flag.name) || flag.name == "parasitic" {
			continue
		}
		text := cmd.Flags().Lookup(flag.name).Value.String()
		value, err := strconv.ParseFloat(text, 64)
		if err != nil || !(value > 0 || flag.mayBe0 && value == 0) || math.IsInf(value, 0) {
			return fmt.Errorf("--%s is %s, and no rig has that", flag.name, text)
		}
	}
	if len(parasitic) > len(lab.LogSettings{}.Parasitic) {
		return errors.New("--parasitic takes at most three numbers")
	}
	for _, c := range parasitic {
		if math.IsNaN(c) || math.IsInf(c, 0) {
			return fmt.Errorf("--parasitic holds %v, and no rig has that", c)
		}
	}
	return nil
}

// loneLog is a command that reduces a log on its own.
func loneLog(path string) string {
	return strings.Join([]string{"fairpull reduce", path, "--inertia 41.8 --drum-radius 0.2286 --parasitic 1.1,0.01,0"}, " ")
}

// rigGiven returns the first flag of the rig that is given, and whether one is.
func rigGiven(cmd *cobra.Command) (name string, given bool) {
	for _, flag := range rigFlags {
		if cmd.Flags().Changed(flag.name) {
			return flag.name, true
		}
	}
	return "", false
}

// reductions reduces what path names. A flag that would have no effect on it is
// refused.
func reductions(cmd *cobra.Command, path, only string, s lab.LogSettings) (*report.Reductions, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	folder, inFolder := path, info.IsDir()
	try := "fairpull reduce " + path
	if !info.IsDir() {
		var pull string
		if folder, pull, inFolder = lab.FolderOf(path); !inFolder {
			try = loneLog(path)
		}
		if cmd.Flags().Changed("pull") {
			return nil, &usageError{fmt.Errorf("--pull chooses from a campaign folder, and %s is one log", path), try}
		}
		only = pull
	}
	flag, given := rigGiven(cmd)
	switch {
	case inFolder && given:
		return nil, &usageError{fmt.Errorf("--%s is for a log on its own, and the rig of this one is in %s", flag, filepath.Join(folder, "campaign.toml")), try}
	case !inFolder && !cmd.Flags().Changed("inertia"):
		return nil, &usageError{fmt.Errorf("%s is in no campaign folder that names it, so the rig must be described by flags", path), try}
	case !inFolder:
		return lab.ReduceLog(path, s)
	}
	progress := newProgress(cmd.ErrOrStderr(), "pulls")
	defer progress.end()
	return lab.ReduceFolder(cmd.Context(), folder, only, progress.report)
}
