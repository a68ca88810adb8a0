package cli

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

func judgeCommand() *cobra.Command {
	const try = "fairpull judge twin650-intake-cam"
	cmd := &cobra.Command{
		Use:   "judge CAMPAIGN",
		Short: "Analyse a campaign of the workspace with what the lab knows, and keep the result",
		Long: `Analyse a campaign of the workspace as gain does a folder, with what the lab
knows: setup, block and pull scatter from earlier campaigns on the same dyno, and
the rig as it was calibrated when each pull began. The result is kept beside the
earlier ones, with the data and the settings that it rests on; the same result
again changes nothing. Too little evidence is a verdict, and exit code 0.

With --all every campaign is judged, in the order in which they began, so that
each sees what the ones before it say of the rig.`,
		Example: `  fairpull judge twin650-intake-cam
  fairpull judge twin650-intake-cam --units us --report judged.html
  fairpull judge twin650-intake-cam --json --preview > judged.json
  fairpull judge --all`,
	}
	var f judgeFlags
	cmd.Flags().BoolVar(&f.all, "all", false, "judge every campaign of the workspace that has pulls and is not withdrawn")
	cmd.Flags().BoolVar(&f.preview, "preview", false, "keep nothing")
	cmd.Flags().BoolVar(&f.json, "json", false, "write the fairpull.gain/1 object, with --all the fairpull.judged/1 object")
	cmd.Flags().StringArrayVar(&f.reports, "report", nil, "also write a document; the ending says which: .html .pdf .svg .png (may be repeated)")
	cmd.Flags().BoolVar(&f.overwrite, "overwrite", false, "let --report replace a file that exists")
	cmd.Flags().StringVar(&f.why, "why", "", "a reason, which stays in the audit trail")
	units, by, open := unitsFlag(cmd), byFlag(cmd), withWorkspace(cmd)
	cmd.Args = func(_ *cobra.Command, args []string) error {
		switch {
		case f.all && len(args) > 0:
			return &usageError{errors.New("--all judges every campaign, and one is named"), "fairpull judge --all"}
		case !f.all && len(args) != 1:
			return &usageError{fmt.Errorf("judge takes one campaign's id, and %d arguments were given", len(args)), try}
		case f.all && len(f.reports) > 0:
			return &usageError{errors.New("--report writes one campaign's document"), try + " --report judged.html"}
		}
		return nil
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(f.reports, f.overwrite); err != nil {
			return &usageError{err, try + " --report judged.html"}
		}
		who, err := by()
		if err != nil {
			return err
		}
		o := lab.JudgeOptions{By: lab.Author{Who: who, Why: f.why}, Program: Version, Keep: !f.preview}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			if f.all {
				return judgeAll(ctx, cmd, w, o, f.json)
			}
			return judgeOne(ctx, cmd, w, args[0], o, f, system)
		})
	}
	return cmd
}

type judgeFlags struct {
	all, preview, json, overwrite bool
	reports                       []string
	why                           string
}

func judgeOne(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, id string, o lab.JudgeOptions, f judgeFlags, units quantity.System) error {
	progress := newProgress(cmd.ErrOrStderr(), "pulls")
	o.Progress = progress.report
	j, err := w.Judge(ctx, id, o)
	progress.end()
	if err != nil {
		return err
	}
	if len(f.reports) > 0 {
		if err := writeReports(cmd, j.View(Version, units), f.reports, f.overwrite, units); err != nil {
			return err
		}
	}
	if err := writeGain(cmd.OutOrStdout(), j.Analysis, f.json, units); err != nil {
		return err
	}
	switch {
	case f.preview:
		fmt.Fprintln(cmd.ErrOrStderr(), "nothing was kept")
	case j.Changed:
		fmt.Fprintf(cmd.ErrOrStderr(), "kept as result %s of version %d\n", j.Result.ID, j.Result.Version)
	default:
		fmt.Fprintf(cmd.ErrOrStderr(), "the result of %s is the same: nothing was changed\n", report.Day(j.Result.At))
	}
	return nil
}

// judgeAll judges every campaign and writes a line for each as it is done.
func judgeAll(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, o lab.JudgeOptions, asJSON bool) error {
	progress := newProgress(cmd.ErrOrStderr(), "campaigns")
	o.Progress = progress.report
	out := report.NewJudged(cmd.OutOrStdout(), asJSON)
	failed := 0
	err := w.JudgeAll(ctx, o, func(row report.JudgedRow) {
		if row.Problem != "" {
			failed++
		}
		progress.end()
		out.Line(row)
	})
	progress.end()
	if err := errors.Join(err, out.End()); err != nil {
		return err
	}
	if failed > 0 {
		return fmt.Errorf("campaigns that could not be judged: %d; the others were", failed)
	}
	return nil
}
