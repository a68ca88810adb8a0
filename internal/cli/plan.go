package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// planFlags are the flags of plan.
type planFlags struct {
	choice    lab.PlanChoice
	options   lab.PlanOptions
	rig       lab.RigTimes
	power     float64 // per cent
	judged    map[string]*float64
	setups    string
	id, out   string
	keep      bool
	why       string
	sheets    []string
	keys      []string
	reports   []string
	overwrite bool
	asJSON    bool
}

const planTry = "fairpull plan my-campaign"

func planCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "plan CAMPAIGN",
		Short: "Plan a campaign: designs with their chance and time, and the pull sheet",
		Long: `Plan a campaign before its first candidate pull: a draft of campaign.toml, a
campaign folder, or a campaign of the workspace by its id. Designs are listed
with the gain that they can show, the chance of showing the smallest gain of
interest, and their time on the rig. The scatter comes from the workspace's
history of the dyno, from [history] of the campaign, or from the flags.
--design makes one of them the plan; --out writes a campaign folder that is
ready for its pulls, --keep takes the planned campaign into the workspace, and
--sheet writes the pull sheet to print (docs/plan.md).`,
		Example: `  fairpull plan my-campaign
  fairpull plan my-campaign --power 90 --setups anew --json
  fairpull plan my-campaign --id next-kit --design A-B-A-B-A --pulls 3 --out next-kit --sheet sheet.pdf
  fairpull plan my-campaign --id blind-kit --design A-B-A-B-A --random --blind --keep --sheet rider.html --key key.html
  fairpull plan blind-kit --sheet again.pdf`,
		Args: exactly(1, "plan takes one campaign: a draft, a folder or an id", planTry),
	}
	f := &planFlags{judged: map[string]*float64{}}
	f.add(cmd)
	units := unitsFlag(cmd)
	by := byFlag(cmd)
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := f.check(cmd); err != nil {
			return err
		}
		who, err := by()
		if err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			source, err := w.PlanSource(ctx, args[0])
			if err != nil {
				return err
			}
			if source, err = source.Named(f.id); err != nil {
				return err
			}
			return f.carryOut(ctx, cmd, w, source, lab.Author{Who: who, Why: f.why}, system)
		})
	}
	return cmd
}

// add adds the flags to the command.
func (f *planFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.choice.Design, "design", "", "the design to plan: an order such as A-B-A-B-A, a number of the list, or recommended")
	flags.IntVar(&f.choice.Pulls, "pulls", 0, "pulls in a block; 0: as many as the design needs")
	flags.BoolVar(&f.choice.Random, "random", false, "draw the order of the blocks among those that bracket as well")
	flags.BoolVar(&f.choice.Blind, "blind", false, "give the rider codes in the place of configurations")
	flags.Uint64Var(&f.choice.Seed, "seed", 0, "seed of --random and --blind; 0: made of the campaign's id")
	flags.StringVar(&f.setups, "setups", "any", "strap the vehicle down anew for every block, in one setup, or any: anew, one, any")
	flags.Float64Var(&f.power, "power", 100*lab.DefaultPower, "wanted chance of showing the smallest gain of interest, %")
	flags.BoolVar(&f.options.All, "all", false, "list every number of pulls, not the least that will do")
	for _, row := range [][2]string{
		{"setup-sd", "setup to setup SD by judgement, %"}, {"setup-df", "its degrees of freedom, where it was measured"},
		{"block-sd", "SD of a change-over within a setup by judgement, %"}, {"block-df", "its degrees of freedom, where it was measured"},
		{"pull-sd", "pull to pull SD by judgement, %"}, {"pull-df", "its degrees of freedom, where it was measured"},
		{"drift", "drift to be expected of the rig, % an hour"},
	} {
		f.judged[row[0]] = flags.Float64(row[0], 0, row[1])
	}
	flags.BoolVar(&f.options.Judged.Nothing, "no-history", false, "leave aside what is known of the lab's scatter")
	weather := flags.Float64("weather", 0.5, "difference of the correction factor between the sides to be expected, %")
	f.judged["weather"] = weather
	r := lab.DefaultRig()
	flags.Float64Var(&f.rig.PullMinutes, "pull-minutes", r.PullMinutes, "minutes from pull to pull")
	flags.Float64Var(&f.rig.ChangeMinutes, "change-minutes", r.ChangeMinutes, "minutes for a change of parts")
	flags.Float64Var(&f.rig.StrapMinutes, "strap-minutes", r.StrapMinutes, "minutes to strap down")
	flags.Float64Var(&f.rig.WarmUpMinutes, "warm-up-minutes", r.WarmUpMinutes, "minutes to warm up")
	flags.IntVar(&f.rig.SettlingPulls, "settling", r.SettlingPulls, "settling pulls after a change of parts, not counted")
	flags.Float64Var(&f.options.TopRPM, "top-rpm", 0, "engine speed that pulls go to, 1/min; 0: the top of the riding band")
	flags.StringVar(&f.id, "id", "", "plan it as a new campaign of this id")
	flags.StringVar(&f.out, "out", "", "write a campaign folder that is ready for its pulls")
	flags.BoolVar(&f.keep, "keep", false, "take the planned campaign into the workspace")
	flags.StringVar(&f.why, "why", "", "the reason for --keep, which stays in the audit trail")
	flags.StringArrayVar(&f.sheets, "sheet", nil, "write the pull sheet; .html or .pdf (may be repeated)")
	flags.StringArrayVar(&f.keys, "key", nil, "of a blind plan, write the sheet for who fits the parts; .html or .pdf")
	flags.StringArrayVar(&f.reports, "report", nil, "write the designs as a document; .html or .pdf (may be repeated)")
	flags.BoolVar(&f.overwrite, "overwrite", false, "let files that exist be replaced")
	flags.BoolVar(&f.asJSON, "json", false, "write the fairpull.plan/1 object, unrounded")
}

// check refuses flags that contradict each other and files that cannot be written.
func (f *planFlags) check(cmd *cobra.Command) error {
	wrong := func(err error, try string) error { return &usageError{err, try} }
	if err := lab.CheckSheets(slices.Concat(f.sheets, f.keys, f.reports), f.overwrite); err != nil {
		return wrong(err, planTry+" --id next-kit --design A-B-A --sheet sheet.pdf")
	}
	chosen := f.choosing()
	changed := cmd.Flags().Changed
	for _, needs := range []struct {
		on          bool
		flag, value string
	}{
		{f.choice.Random, "random", ""}, {f.choice.Blind, "blind", ""}, {f.out != "", "out", " next-kit"},
		{f.keep, "keep", ""}, {f.choice.Pulls != 0, "pulls", " 3"}, {changed("seed"), "random --seed", " 7"},
	} {
		if needs.on && !chosen {
			return wrong(fmt.Errorf("--%s takes a design", needs.flag), planTry+" --id next-kit --design recommended --"+needs.flag+needs.value)
		}
	}
	switch f.options.Setups = lab.PlanSetups(f.setups); {
	case !slices.Contains([]lab.PlanSetups{lab.AnySetups, lab.AnewSetup, lab.OneSetup}, f.options.Setups):
		return wrong(fmt.Errorf("--setups is anew, one or any, and not %q", f.setups), planTry+" --setups anew")
	case !(f.power > 0 && f.power < 100):
		return wrong(fmt.Errorf("the wanted chance is a percentage between 0 and 100"), planTry+" --power 80")
	case f.choice.Pulls < 0:
		return wrong(errors.New("a block has 1 pull or more"), planTry+" --id next-kit --design A-B-A --pulls 3")
	case len(f.keys) > 0 && chosen && !f.choice.Blind:
		return wrong(errors.New("--key belongs to --blind: the sheet of another plan says what to fit"), planTry+" --id next-kit --design A-B-A --blind --key key.pdf")
	case changed("seed") && !f.choice.Random && !f.choice.Blind:
		return wrong(errors.New("--seed belongs to --random or --blind"), planTry+" --id next-kit --design A-B-A-B-A --random --seed 7")
	case !(f.options.TopRPM >= 0 && f.options.TopRPM <= 100_000):
		return wrong(errors.New("--top-rpm is an engine speed in 1/min"), planTry+" --top-rpm 9000")
	}
	return f.judge(cmd)
}

func (f *planFlags) choosing() bool { return f.choice.Design != "" }

// judge reads what is entered by judgement.
func (f *planFlags) judge(cmd *cobra.Command) error {
	j := lab.NotJudged()
	j.Nothing = f.options.Judged.Nothing
	for _, row := range []struct {
		name   string
		sd, df *float64
	}{{"setup", &j.SetupSD, &j.SetupDF}, {"block", &j.BlockSD, &j.BlockDF}, {"pull", &j.PullSD, &j.PullDF}} {
		sd, df := *f.judged[row.name+"-sd"], *f.judged[row.name+"-df"]
		switch {
		case cmd.Flags().Changed(row.name+"-df") && !cmd.Flags().Changed(row.name+"-sd"):
			return &usageError{fmt.Errorf("--%s-df belongs to --%s-sd", row.name, row.name), planTry + " --" + row.name + "-sd 0.5 --" + row.name + "-df 12"}
		case !cmd.Flags().Changed(row.name + "-sd"):
			continue
		case !(sd > 0 && sd < 100) || !(df >= 0) || math.IsInf(df, 0):
			return &usageError{fmt.Errorf("--%s-sd is a standard deviation in per cent above 0, --%s-df degrees of freedom", row.name, row.name), planTry + " --" + row.name + "-sd 0.5"}
		}
		*row.sd, *row.df = sd/100, df
	}
	drift, weather := *f.judged["drift"], *f.judged["weather"]
	if !(math.Abs(drift) < 100) || !(weather >= 0 && weather < 100) {
		return &usageError{errors.New("--drift and --weather are percentages below 100"), planTry + " --drift 0.5"}
	}
	j.DriftPerHour, j.DriftStated = drift/100, cmd.Flags().Changed("drift")
	f.options.Judged, f.options.Weather, f.options.Power, f.options.Rig = j, weather/100, f.power/100, f.rig
	return nil
}

// carryOut lists the designs, makes one the plan, and writes what was asked for.
func (f *planFlags) carryOut(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, source lab.PlanSource, by lab.Author, units quantity.System) error {
	c := source.Campaign
	if !f.choosing() && len(f.sheets)+len(f.keys) > 0 && (c.Plan == nil || len(f.reports) == 0) {
		tyre, err := lab.SheetTyre(&c, f.options.TopRPM)
		if err != nil {
			return err
		}
		return f.writeSheets(cmd, lab.PullSheets{Units: units, Tyre: tyre}, source)
	}
	planning, err := w.Designs(ctx, source, f.options)
	if err != nil {
		return err
	}
	planning.View.Version = Version
	if f.choosing() {
		choice := f.choice
		choice.OneSetup = f.options.Setups == lab.OneSetup
		if choice.Design == "recommended" {
			choice.Design = ""
		}
		if err := planning.Choose(choice); err != nil {
			return err
		}
	}
	if err := f.show(cmd, &planning.View, units); err != nil {
		return err
	}
	source.Campaign = planning.Campaign
	for _, file := range f.reports {
		if err := lab.WritePlanReport(&planning.View, file, f.overwrite, units); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	if err := f.writeSheets(cmd, lab.PullSheets{Units: units, Tyre: planning.View.Tyre}, source); err != nil {
		return err
	}
	return f.writeCampaign(ctx, cmd, w, source, by)
}

func (f *planFlags) show(cmd *cobra.Command, view *report.Plan, units quantity.System) error {
	if f.asJSON {
		data, err := view.JSON()
		if err != nil {
			return err
		}
		_, err = cmd.OutOrStdout().Write(data)
		return err
	}
	return view.Text(cmd.OutOrStdout(), report.TextOptions{Width: terminalWidth(), Color: colour(cmd.OutOrStdout()), Units: units})
}

func (f *planFlags) writeSheets(cmd *cobra.Command, o lab.PullSheets, source lab.PlanSource) error {
	if len(f.sheets)+len(f.keys) == 0 {
		return nil
	}
	o.Sheet, o.Key, o.Overwrite, o.Version = f.sheets, f.keys, f.overwrite, Version
	if err := lab.WritePullSheets(source.Campaign, o); err != nil {
		return err
	}
	for _, file := range slices.Concat(f.sheets, f.keys) {
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	return nil
}

// writeCampaign writes the folder and takes the campaign into the workspace, where
// that is asked for.
func (f *planFlags) writeCampaign(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, source lab.PlanSource, by lab.Author) error {
	if f.out != "" {
		if err := lab.WritePlanned(f.out, source.Campaign, source.Draft); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s, ready for its pulls\n", f.out)
	}
	if f.keep {
		if err := w.KeepPlanned(ctx, source.Campaign, by); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "took %s into %s\n", source.Campaign.ID, w.Place())
	}
	return nil
}
