package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func steadyCommand() *cobra.Command {
	const try = "fairpull steady held"
	cmd := &cobra.Command{
		Use:   "steady FOLDER|LOG",
		Short: "Find speeds that a brake held: mean torque with its standard error, brake quality",
		Long: `Find the steady points of logs with a brake channel (brake_torque, or brake_force
with the brake's arm): held speeds, each with its mean torque, a standard error
that knows that samples hang together, what the drum's remaining acceleration
took, and how the brake kept the speed: overshoot, hunting, saturation, fade,
steps and sweeps. Figures are wheel figures, not corrected for the air; gain
compares them as it does pulls.`,
		Example: `  fairpull simulate --scenario steady held
  fairpull steady held
  fairpull steady held --pull 3 --json
  fairpull steady held --report held.html --report held.png
  fairpull steady held/logs/pull-001.csv --tolerance 0.5 --least 5
  fairpull gain held`,
		Args: exactly(1, "steady takes one campaign folder or one log", try),
	}
	var s lab.LogSettings
	rule := lab.DefaultSteadyRule()
	f := cmd.Flags()
	only := f.String("pull", "", "only the log of the pull of this name")
	asJSON := f.Bool("json", false, "write the fairpull.steady/1 object, SI and unrounded")
	reports := f.StringArray("report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	overwrite := f.Bool("overwrite", false, "let --report replace a file that exists")
	tolerance := f.Float64("tolerance", 100*rule.Tolerance, "how far the speed may be off its mean, %")
	f.Float64Var(&rule.ToleranceRPM, "tolerance-rpm", rule.ToleranceRPM, "the same in rpm of the engine; the larger of both counts")
	f.Float64Var(&rule.Settle, "settle", rule.Settle, "time left out after the speed came within the tolerance, s")
	f.Float64Var(&rule.Least, "least", rule.Least, "time that must remain, s")
	f.Float64Var(&rule.Warming, "warming", rule.Warming, "rate of oil, coolant, engine or tyre temperature that is too fast, K/s")
	f.Float64Var(&s.Inertia, "inertia", 0, "drum inertia, kg·m² (log on its own)")
	f.Float64Var(&s.Radius, "drum-radius", 0, "drum radius, m (log on its own)")
	f.Float64Var(&s.RevsPerDrumRev, "ratio", 0, "engine turns a drum turn; 0: found from the log")
	f.Float64Var(&s.BrakeArm, "brake-arm", 0, "brake arm, m (logs with a brake force)")
	parasitic := f.Float64Slice("parasitic", nil, "bare drum torque c0,c1,c2 over drum speed in rad/s, N·m")
	units := unitsFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if *only == "" && f.Changed("pull") {
			return &usageError{errors.New("--pull names no pull"), "fairpull steady " + args[0]}
		}
		rule.Tolerance = lab.Percent(*tolerance)
		if err := lab.CheckSteadyRule(rule); err != nil {
			return &usageError{err, "fairpull steady " + args[0]}
		}
		if err := checkRig(cmd, *parasitic); err != nil {
			return &usageError{err, loneSteady(args[0])}
		}
		if err := lab.CheckReports(*reports, *overwrite); err != nil {
			return &usageError{err, "fairpull steady " + args[0] + " --report steady.html"}
		}
		copy(s.Parasitic[:], *parasitic)
		view, err := steadyLogs(cmd, args[0], *only, s, rule)
		if err != nil {
			return err
		}
		view.Version = Version
		for _, file := range *reports {
			if err := lab.WriteDocument(view, file, *overwrite, system); err != nil {
				return err
			}
			fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
		}
		if *asJSON {
			return writeJSON(cmd, view.JSON)
		}
		out := cmd.OutOrStdout()
		return view.Text(out, report.TextOptions{Width: terminalWidth(), Color: colour(out), Units: system})
	}
	return cmd
}

// loneSteady is a command that finds the steady points of a log on its own.
func loneSteady(path string) string {
	return strings.Join([]string{"fairpull steady", path, "--inertia 41.8 --drum-radius 0.2286 --parasitic 1.1,0.01,0"}, " ")
}

// steadyLogs looks at what path names. A flag that would have no effect on it is
// refused.
func steadyLogs(cmd *cobra.Command, path, only string, s lab.LogSettings, rule lab.SteadyRule) (*report.SteadyLogs, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	folder, inFolder := path, info.IsDir()
	try := "fairpull steady " + path
	if !info.IsDir() {
		var pull string
		if folder, pull, inFolder = lab.FolderOf(path); !inFolder {
			try = loneSteady(path)
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
		return lab.SteadyLog(path, s, rule)
	}
	progress := newProgress(cmd.ErrOrStderr(), "logs")
	defer progress.end()
	return lab.SteadyFolder(cmd.Context(), folder, only, rule, progress.report)
}
