package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// recipeFlags are what a person says to the verb recipe.
type recipeFlags struct {
	learn, test, retire, name, files, applied, why string
	channels                                       []string
	rig                                            lab.LogSettings
	asJSON                                         bool
}

func recipeCommand() *cobra.Command {
	const try = "fairpull recipe cell-1"
	cmd := &cobra.Command{
		Use:   "recipe DYNO",
		Short: "Teach, list and test the log formats of a dyno's logger",
		Long: `A recipe says what a dyno's logger writes: how its files are told, and which
column is which channel, in which unit. It is learned once from a file, kept with
the dyno, and used by capture. Without a flag the recipes of the dyno are listed.

--learn FILE asks for each column and shows the reduced log as proof before the
recipe is kept. With --channel nothing is asked: CHANNEL=COLUMN:UNIT, where COLUMN
is a name of the header or #NUMBER, and a decimal mark may follow, as in
--channel "drum_speed=v_Rolle:km/h:,". --test FILE reduces a log by a recipe.`,
		Example: `  fairpull recipe cell-1
  fairpull recipe cell-1 --learn pull.csv --name plain --channel time=time:s --channel drum_speed=drum_speed:km/h --channel engine_speed=#3:1/min
  fairpull recipe cell-1 --test pull.csv
  fairpull recipe cell-1 --retire plain --why "the logger was replaced"`,
		Args: exactly(1, "recipe takes the id of a dyno", try),
	}
	var f recipeFlags
	flags := cmd.Flags()
	flags.StringVar(&f.learn, "learn", "", "learn a recipe from this log")
	flags.StringVar(&f.test, "test", "", "reduce this log by the recipe that fits, or by the one of --name")
	flags.StringVar(&f.retire, "retire", "", "end the recipe of this name; needs --why")
	flags.StringVar(&f.name, "name", "", "name of the recipe (default with --learn: from the file's name)")
	flags.StringVar(&f.files, "files", "", "pattern of the names of its files, as in \"run-*.csv\" (default: any name)")
	flags.StringArrayVar(&f.channels, "channel", nil, "CHANNEL=COLUMN:UNIT, instead of being asked (may be repeated)")
	flags.StringVar(&f.applied, "correction-applied", "", "for loggers that write curves: the standard already applied, or none")
	flags.StringVar(&f.why, "why", "", "the reason, which stays in the audit trail")
	flags.BoolVar(&f.asJSON, "json", false, "list as a fairpull.recipes/1 object")
	flags.Float64Var(&f.rig.Inertia, "inertia", 0, "drum inertia for the proof, kg·m², where the workspace does not know the dyno")
	flags.Float64Var(&f.rig.Radius, "drum-radius", 0, "drum radius for the proof, m")
	flags.Float64Var(&f.rig.RevsPerDrumRev, "ratio", 0, "engine turns a drum turn for the proof, for logs without engine speed")
	units := unitsFlag(cmd)
	by := byFlag(cmd)
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := f.check(cmd, args[0]); err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			r := recipes{cmd: cmd, w: w, dyno: args[0], flags: &f, units: system}
			switch {
			case f.learn != "":
				return r.learn(ctx, by)
			case f.test != "":
				return r.test(ctx)
			case f.retire != "":
				return r.retire(ctx, by)
			}
			return r.list(ctx)
		})
	}
	return cmd
}

// check refuses flags that do not go together.
func (f *recipeFlags) check(cmd *cobra.Command, dyno string) error {
	verbs := 0
	for _, verb := range []string{"learn", "test", "retire"} {
		if cmd.Flags().Changed(verb) {
			verbs++
			if cmd.Flags().Lookup(verb).Value.String() == "" {
				return &usageError{fmt.Errorf("--%s names nothing", verb), "fairpull recipe " + dyno + " --learn pull.csv"}
			}
		}
	}
	switch {
	case verbs > 1:
		return &usageError{errors.New("--learn, --test and --retire are three things to do"), "fairpull recipe " + dyno + " --test pull.csv"}
	case f.learn == "" && (len(f.channels) > 0 || f.files != "" || f.applied != ""):
		return &usageError{errors.New("--channel, --files and --correction-applied go with --learn"), "fairpull recipe " + dyno + " --learn pull.csv"}
	case f.retire != "" && f.why == "":
		return &usageError{errors.New("--retire needs a reason"), "fairpull recipe " + dyno + " --retire " + f.retire + ` --why "…"`}
	case f.asJSON && verbs > 0:
		return &usageError{errors.New("--json goes with the list"), "fairpull recipe " + dyno + " --json"}
	}
	return nil
}

// recipes carries out the verb recipe.
type recipes struct {
	cmd   *cobra.Command
	w     *lab.Workspace
	dyno  string
	flags *recipeFlags
	units quantity.System
}

func (r *recipes) list(ctx context.Context) error {
	list, err := r.w.Recipes(ctx, r.dyno)
	if err != nil {
		return err
	}
	out := r.cmd.OutOrStdout()
	if r.flags.asJSON {
		return report.RecipesJSON(out, r.dyno, list)
	}
	if len(list) == 0 {
		fmt.Fprintf(out, "Dyno %s has no recipe. Learn one from a log: fairpull recipe %s --learn FILE\n", r.dyno, r.dyno)
		return nil
	}
	for _, recipe := range list {
		describeRecipe(out, recipe)
	}
	return nil
}

func describeRecipe(out io.Writer, r campaign.Recipe) {
	files := "any name"
	if r.Files != "" {
		files = r.Files
	}
	fmt.Fprintf(out, "%s: files of %s, split by %s\n", r.Name, files, delimiterWord(r.Delimiter))
	for _, line := range lab.RecipeWords(r) {
		fmt.Fprintf(out, "  %s\n", line)
	}
	if r.CorrectionApplied != "" {
		fmt.Fprintf(out, "  correction applied already: %s\n", r.CorrectionApplied)
	}
}

func delimiterWord(d byte) string {
	switch d {
	case ',':
		return "comma"
	case ';':
		return "semicolon"
	case '\t':
		return "tab"
	}
	return "comma, semicolon or tab"
}

func (r *recipes) retire(ctx context.Context, by func() (string, error)) error {
	who, err := by()
	if err != nil {
		return err
	}
	if err := r.w.RetireRecipe(ctx, r.dyno, r.flags.retire, lab.Author{Who: who, Why: r.flags.why}); err != nil {
		return err
	}
	fmt.Fprintf(r.cmd.OutOrStdout(), "Recipe %s of dyno %s is retired. Campaigns keep the channels that they took from it.\n", r.flags.retire, r.dyno)
	return nil
}

func (r *recipes) test(ctx context.Context) error {
	recipe, err := r.w.Recipe(ctx, r.dyno, r.flags.name, r.flags.test)
	if err != nil {
		return err
	}
	describeRecipe(r.cmd.OutOrStdout(), recipe)
	fmt.Fprintln(r.cmd.OutOrStdout())
	return r.prove(ctx, recipe, r.flags.test)
}

// prove reduces a log by the recipe and shows what comes out.
func (r *recipes) prove(ctx context.Context, recipe campaign.Recipe, path string) error {
	proof, err := r.w.TryRecipe(ctx, r.dyno, recipe, path, r.flags.rig.Settings)
	if err != nil {
		return err
	}
	return proof.Text(r.cmd.OutOrStdout(), report.ReductionOptions{Units: r.units, EachRPM: 500})
}

// learn makes a recipe of a log: asked for column by column, or as the flags say.
func (r *recipes) learn(ctx context.Context, by func() (string, error)) error {
	who, err := by()
	if err != nil {
		return err
	}
	table, _, err := lab.ReadLogTable(r.flags.learn)
	if err != nil {
		return err
	}
	if r.flags.name == "" {
		r.flags.name = lab.RecipeName(r.flags.learn)
	}
	asked := len(r.flags.channels) == 0
	talk := &dialogue{in: newLines(r.cmd.InOrStdin()), out: r.cmd.OutOrStdout(), table: table}
	var channels campaign.ChannelMap
	if asked {
		channels, err = talk.channels(r.flags.learn)
	} else {
		channels, err = r.said(table)
	}
	if err != nil {
		return err
	}
	recipe := lab.RecipeOf(r.flags.name, r.flags.files, table, channels)
	recipe.CorrectionApplied = r.flags.applied
	if err := r.prove(ctx, recipe, r.flags.learn); err != nil {
		return fmt.Errorf("%w\n  Nothing was kept", err)
	}
	if asked {
		if yes, err := talk.agree(fmt.Sprintf("Is that what the rig did? Keep it as recipe %s of dyno %s?", recipe.Name, r.dyno)); err != nil || !yes {
			return errors.Join(err, errors.New("nothing was kept"))
		}
	}
	changed, err := r.w.KeepRecipe(ctx, r.dyno, recipe, lab.Author{Who: who, Why: r.flags.why})
	if err != nil {
		return err
	}
	out := r.cmd.OutOrStdout()
	fmt.Fprintln(out)
	if !changed {
		fmt.Fprintf(out, "Dyno %s has this recipe already: nothing was changed.\n", r.dyno)
		return nil
	}
	fmt.Fprintf(out, "Kept for dyno %s:\n", r.dyno)
	describeRecipe(out, recipe)
	return nil
}

// said reads the flags --channel.
func (r *recipes) said(t *lab.LogTable) (campaign.ChannelMap, error) {
	wrong := func(format string, args ...any) error {
		return &usageError{fmt.Errorf(format, args...), "fairpull recipe " + r.dyno + " --learn " + r.flags.learn + " --channel time=Zeit:ms --channel drum_speed=v_Rolle:km/h"}
	}
	channels := campaign.ChannelMap{}
	for _, text := range r.flags.channels {
		channel, rest, found := strings.Cut(text, "=")
		if !found || channel == "" {
			return nil, wrong("--channel %q is not CHANNEL=COLUMN:UNIT", text)
		}
		parts := strings.Split(rest, ":")
		if len(parts) > 3 || len(parts) == 3 && parts[2] != "," && parts[2] != "." {
			return nil, wrong("--channel %q is not CHANNEL=COLUMN:UNIT, with a decimal mark behind it at most", text)
		}
		at, err := columnOf(t, parts[0])
		if err != nil {
			return nil, wrong("--channel %s: %w", channel, err)
		}
		source := campaign.ChannelSource{Column: t.Columns[at].Name}
		if len(parts) > 1 {
			source.Unit = parts[1]
		}
		if err := lab.CheckUnit(channel, orElse(source.Unit, t.Columns[at].Unit)); err != nil {
			return nil, wrong("--channel %s: %w", channel, err)
		}
		if len(parts) > 2 {
			source.DecimalMark = parts[2][0]
		}
		if _, twice := channels[channel]; twice {
			return nil, wrong("channel %s is given twice", channel)
		}
		channels[channel] = source
	}
	return channels, nil
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// columnOf finds a column by its name or #NUMBER.
func columnOf(t *lab.LogTable, text string) (int, error) {
	if number, isNumber := strings.CutPrefix(text, "#"); isNumber {
		if n, err := strconv.Atoi(number); err == nil && n >= 1 && n <= len(t.Columns) {
			return n - 1, nil
		}
	}
	found := -1
	var names []string
	for i, c := range t.Columns {
		names = append(names, c.Name)
		if c.Name != text {
			continue
		}
		if found >= 0 {
			return 0, fmt.Errorf("two columns are called %q", text)
		}
		found = i
	}
	if found < 0 {
		return 0, fmt.Errorf("the log has no column %q; it has %s", text, strings.Join(names, ", "))
	}
	return found, nil
}
