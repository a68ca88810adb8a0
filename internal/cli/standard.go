package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fairpull/campaign"
	"fairpull/internal/lab"
)

const standardTry = "fairpull check-standard --dyno cell-1 --vehicle twin650-03 --set"

func standardCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "check-standard",
		Short: "Watch a dyno with a vehicle that is kept unchanged: its control chart",
		Long: `Show the control chart of a dyno's check standard: a vehicle that is kept unchanged
to watch the rig. Every strapping-down of it is one check. A signal puts the levels
in doubt that were measured since the last good check; gains within a campaign are
not touched.

--set names the vehicle. Its parts, gear, correction and riding band come from its
first campaign on the dyno, or from the one that --like names; --from starts the
chart anew from a day on. To name another needs --why; --retire ends it.`,
		Example: `  ` + standardTry + `
  fairpull check-standard
  fairpull check-standard --dyno cell-1 --json
  fairpull check-standard --report standard.html
  fairpull check-standard --dyno cell-1 --vehicle twin650-03 --set --band 3000-5500 --why "where people ride"
  fairpull check-standard --dyno cell-1 --retire --why "the vehicle was sold"`,
		Args: exactly(0, "check-standard takes no arguments", "fairpull check-standard"),
	}
	var q lab.StandardQuery
	var choice lab.StandardChoice
	f := cmd.Flags()
	f.StringVar(&q.Dyno, "dyno", "", "the dyno, by its id (default: the only one)")
	f.StringVar(&choice.Vehicle, "vehicle", "", "with --set: the vehicle, by its id")
	f.StringVar(&choice.Like, "like", "", "with --set: the campaign whose baseline is the unchanged vehicle")
	from := f.String("from", "", "with --set: the day from which on pulls count, as in 2026-03-02")
	band := f.String("band", "", "with --set: the engine speeds to watch in rpm, as in 2500-6000")
	set := f.Bool("set", false, "name the vehicle as the dyno's check standard")
	retire := f.Bool("retire", false, "end the dyno's check standard; needs --why")
	why := f.String("why", "", "the reason, which stays in the audit trail")
	asJSON := f.Bool("json", false, "write the fairpull.check-standard/1 object, unrounded")
	reports := f.StringArray("report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	overwrite := f.Bool("overwrite", false, "let --report replace a file that exists")
	units, by, open := unitsFlag(cmd), byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if *set || *retire {
			return changeStandard(cmd, open, by, q.Dyno, choice, *from, *band, *why, *set && *retire, *set)
		}
		for _, flag := range []string{"vehicle", "like", "from", "band", "why"} {
			if f.Changed(flag) {
				return &usageError{fmt.Errorf("--%s does nothing without --set or --retire", flag), standardTry}
			}
		}
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(*reports, *overwrite); err != nil {
			return &usageError{err, "fairpull check-standard --report standard.html"}
		}
		q.Version = Version
		return open(func(ctx context.Context, w *lab.Workspace) error {
			view, err := w.Standard(ctx, q)
			if err != nil {
				return err
			}
			return present(cmd, view, *reports, *overwrite, *asJSON, system)
		})
	}
	return cmd
}

// changeStandard names a check standard or ends it.
func changeStandard(cmd *cobra.Command, open func(func(context.Context, *lab.Workspace) error) error, by func() (string, error), dyno string, choice lab.StandardChoice, from, band, why string, both, set bool) error {
	const retireTry = `fairpull check-standard --dyno cell-1 --retire --why "…"`
	var err error
	choice.Dyno = dyno
	switch {
	case both:
		return &usageError{errors.New("--set and --retire at once"), standardTry}
	case dyno == "":
		return &usageError{errors.New("say of which dyno, with --dyno"), standardTry}
	case set && choice.Vehicle == "":
		return &usageError{errors.New("say which vehicle, with --vehicle"), standardTry}
	case !set && why == "":
		return &usageError{errors.New("--retire needs a reason"), retireTry}
	}
	for _, id := range []string{dyno, choice.Vehicle, choice.Like} {
		if err := campaign.CheckID(id); id != "" && err != nil {
			return &usageError{fmt.Errorf("the id %.80q %w", id, err), standardTry}
		}
	}
	if choice.From, err = readDay(from); err != nil {
		return &usageError{err, standardTry + " --from 2026-03-02"}
	}
	if choice.BandRPM, err = readBand(band); err != nil {
		return &usageError{err, standardTry + " --band 2500-6000"}
	}
	who, err := by()
	if err != nil {
		return err
	}
	author := lab.Author{Who: who, Why: why}
	return open(func(ctx context.Context, w *lab.Workspace) error {
		if !set {
			if err := w.RetireStandard(ctx, dyno, author); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Dyno %s has no check standard from now on.\n", dyno)
			return nil
		}
		changed, err := w.SetStandard(ctx, choice, author)
		if err != nil {
			return err
		}
		done := "is the check standard of dyno"
		if !changed {
			done = "is the check standard already, with the same choice, of dyno"
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s %s %s. To see its chart: fairpull check-standard --dyno %s\n", choice.Vehicle, done, dyno, dyno)
		return nil
	})
}

// readDay reads a day, or a moment with its offset; empty is none.
func readDay(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	for _, form := range []string{time.DateOnly, time.RFC3339} {
		if t, err := time.Parse(form, text); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("%.40q is not a day, as in 2026-03-02", text)
}

// readBand reads two engine speeds with a hyphen between them; empty is none.
func readBand(text string) (band [2]float64, err error) {
	if text == "" {
		return band, nil
	}
	low, high, found := strings.Cut(text, "-")
	if found {
		var rest string
		if n, _ := fmt.Sscanf(low+" "+high+" .", "%f %f %s", &band[0], &band[1], &rest); n == 3 && rest == "." && band[0] > 0 && band[1] > band[0] && band[1] <= 30000 {
			return band, nil
		}
	}
	return [2]float64{}, fmt.Errorf("%.40q is not a range of engine speeds, the lower first, as in 2500-6000", text)
}
