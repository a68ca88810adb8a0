package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/campaign"
	"fairpull/internal/lab"
)

type coversFlags struct {
	components, settings                    []string
	from, vehicle, neutral, notNeutral, why string
	showNeutral, json                       bool
}

func coversCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "covers",
		Short: "Say which published claims cover a combination of parts and settings",
		Long: `Say which published claims apply to a combination of parts and settings, which do
not and by which component, and which tested combination is nearest. A part that
the lab holds neutral (--neutral, with a reason) breaks no cover; what a claim is
about is never neutral. What was tested and is not named stays open. Another
specimen of a part is the same part.`,
		Example: `  fairpull covers --component camshaft=K-218 --component "intake=K-218 F" --component exhaust=X-650-2 --setting "calibration=K-218 r3"
  fairpull covers --neutral mirror --why "it stands in no air that matters"
  fairpull covers --component exhaust=Y-1 --json > cover.json`,
		Args: exactly(0, "covers takes no arguments: parts are named with --component", "fairpull covers --component exhaust=X-650-2"),
	}
	var f coversFlags
	cmd.Flags().StringArrayVar(&f.components, "component", nil, "a part, as FUNCTION=PART (may be repeated)")
	cmd.Flags().StringArrayVar(&f.settings, "setting", nil, "a setting, as KEY=VALUE (may be repeated)")
	cmd.Flags().StringVar(&f.from, "from", "", "read components, settings and vehicle from a TOML file")
	cmd.Flags().StringVar(&f.vehicle, "vehicle", "", "the vehicle's id; without it only parts and settings are compared")
	cmd.Flags().StringVar(&f.neutral, "neutral", "", "hold the components of this function, or this setting, neutral (needs --why)")
	cmd.Flags().StringVar(&f.notNeutral, "not-neutral", "", "hold it neutral no longer (needs --why)")
	cmd.Flags().BoolVar(&f.showNeutral, "show-neutral", false, "list what is held neutral")
	cmd.Flags().StringVar(&f.why, "why", "", "a reason, which stays with what is held neutral")
	cmd.Flags().BoolVar(&f.json, "json", false, "write the fairpull.covers/1 object")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		c, err := f.combination()
		if err != nil {
			return err
		}
		who, err := by()
		if err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			switch {
			case f.showNeutral:
				list, err := w.Neutrals(ctx)
				if err != nil {
					return err
				}
				return list.Text(cmd.OutOrStdout(), terminalWidth())
			case f.neutral != "" || f.notNeutral != "":
				return setNeutral(ctx, cmd, w, f, who)
			}
			return writeCovers(ctx, cmd, w, c, f.json)
		})
	}
	return cmd
}

// combination reads what is asked about, and refuses what contradicts itself.
func (f *coversFlags) combination() (lab.Combination, error) {
	const try = "fairpull covers --component exhaust=X-650-2"
	var c lab.Combination
	asks := len(f.components)+len(f.settings) > 0 || f.from != "" || f.vehicle != ""
	declares := 0
	for _, set := range []bool{f.neutral != "", f.notNeutral != "", f.showNeutral} {
		if set {
			declares++
		}
	}
	switch {
	case declares > 1 || declares == 1 && (asks || f.json):
		return c, &usageError{errors.New("--neutral, --not-neutral and --show-neutral stand alone"), `fairpull covers --neutral mirror --why "…"`}
	case (f.neutral != "" || f.notNeutral != "") && f.why == "":
		return c, &usageError{errors.New("a component is held neutral for a reason: --why is missing"), `fairpull covers --neutral mirror --why "…"`}
	case declares == 1:
		return c, nil
	case f.why != "":
		return c, &usageError{errors.New("--why is the reason for --neutral or --not-neutral"), try}
	case !asks || f.from == "" && len(f.components)+len(f.settings) == 0:
		return c, &usageError{errors.New("no part is named with --component"), try}
	}
	if f.from != "" {
		var err error
		if c, err = lab.ReadCombination(f.from); err != nil {
			return c, err
		}
	}
	if f.vehicle != "" {
		c.Vehicle = f.vehicle
	}
	for _, text := range f.components {
		function, part, found := strings.Cut(text, "=")
		if !found || strings.TrimSpace(function) == "" || strings.TrimSpace(part) == "" {
			return c, &usageError{fmt.Errorf("--component is FUNCTION=PART, and %q is not", text), try}
		}
		c.Components = append(c.Components, campaign.Component{Function: strings.TrimSpace(function), Part: strings.TrimSpace(part)})
	}
	for _, text := range f.settings {
		key, value, found := strings.Cut(text, "=")
		if !found || strings.TrimSpace(key) == "" {
			return c, &usageError{fmt.Errorf("--setting is KEY=VALUE, and %q is not", text), try + ` --setting "fuel=E10 98"`}
		}
		c.Settings = append(c.Settings, campaign.Setting{Key: strings.TrimSpace(key), Value: strings.TrimSpace(value)})
	}
	return c, nil
}

func writeCovers(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, c lab.Combination, asJSON bool) error {
	view, err := w.Covers(ctx, c)
	if err != nil {
		return err
	}
	if !asJSON {
		return view.Text(cmd.OutOrStdout(), terminalWidth())
	}
	data, err := view.JSON()
	if err != nil {
		return err
	}
	_, err = cmd.OutOrStdout().Write(data)
	return err
}

func setNeutral(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, f coversFlags, who string) error {
	function, neutral := f.neutral, true
	if f.notNeutral != "" {
		function, neutral = f.notNeutral, false
	}
	changed, err := w.SetNeutral(ctx, function, neutral, lab.Author{Who: who, Why: f.why})
	if err != nil {
		return err
	}
	switch {
	case !changed:
		_, err = fmt.Fprintln(cmd.OutOrStdout(), "That holds already: nothing was changed.")
	case neutral:
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "From now on another %s breaks no cover, unless a claim is about it.\n", function)
	default:
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "From now on another %s breaks cover again.\n", function)
	}
	return err
}
