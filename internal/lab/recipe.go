package lab

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/reduce"
	"fairpull/report"
	"fairpull/signal"
)

// LogTable is a log as it looks to somebody who has yet to say what its columns are.
type LogTable = ingest.Table

// ReadLogTable returns the columns of the log at path, and its content.
func ReadLogTable(path string) (*LogTable, []byte, error) {
	data, err := readBounded(path, maxLogBytes)
	if err != nil {
		return nil, nil, err
	}
	table, err := ingest.ReadTable(filepath.Base(path), data)
	return table, data, err
}

// LogTableOf returns the columns of a log that somebody handed in. Where it has none
// the error is [ErrRefused].
func LogTableOf(name string, data []byte) (*LogTable, error) {
	if len(data) > maxLogBytes {
		return nil, refused("%s is larger than %d MiB: cut it to the part around the pull.", name, maxLogBytes>>20)
	}
	table, err := ingest.ReadTable(name, data)
	if err != nil {
		return nil, refused("%s", firstLine(err))
	}
	return table, nil
}

// LogChannels returns the channels that the program knows by meaning, in the order
// in which a person is asked for them.
func LogChannels() []string { return ingest.Channels() }

// CheckUnit returns what keeps a channel from being in the unit so spelled; an
// empty spelling is one where the channel needs a unit.
func CheckUnit(channel, spelling string) error {
	_, err := ingest.UnitOf(channel, spelling)
	return err
}

// RecipeOf returns the recipe that the channels make of a table: a file is told by
// the names of their columns.
func RecipeOf(name, files string, t *LogTable, channels campaign.ChannelMap) campaign.Recipe {
	r := campaign.Recipe{Name: name, Files: files, Channels: channels, Delimiter: t.Delimiter}
	for _, c := range t.Columns {
		for channel, source := range channels {
			if source.Column == c.Name || source.Column == "" && channel == c.Name {
				r.Header = append(r.Header, c.Name)
			}
		}
	}
	return r
}

// TryRecipe reduces the log at path by the recipe, on the rig as the workspace
// knows the dyno: the proof that the recipe says the truth. What rig states takes
// the place of what the workspace has, and is all there is where the workspace does
// not know the dyno. A log that the recipe does not fit is an error.
func (w *Workspace) TryRecipe(ctx context.Context, dyno string, r campaign.Recipe, path string, rig reduce.Settings) (*report.Reductions, error) {
	if err := ingest.CheckRecipe(r); err != nil {
		return nil, fmt.Errorf("the recipe: %w", err)
	}
	data, err := readBounded(path, maxLogBytes)
	if err != nil {
		return nil, err
	}
	s, err := w.rigOf(ctx, dyno, rig)
	if err != nil {
		return nil, err
	}
	return tryRecipe(r, filepath.Base(path), data, s)
}

// ProveRecipe is [Workspace.TryRecipe] for a log that somebody handed in, on a dyno
// that the workspace knows. What the log or the recipe lacks is [ErrRefused].
func (w *Workspace) ProveRecipe(ctx context.Context, dyno string, r campaign.Recipe, name string, data []byte) (*report.Reductions, error) {
	s, err := w.rigOf(ctx, dyno, reduce.Settings{})
	if err != nil {
		return nil, err
	}
	if err := ingest.CheckRecipe(r); err != nil {
		return nil, refused("the recipe: %s", firstLine(err))
	}
	proof, err := tryRecipe(r, name, data, s)
	if err != nil {
		return nil, refused("%s", firstLine(err))
	}
	return proof, nil
}

// tryRecipe reduces a log by a recipe, on the rig that the settings describe.
func tryRecipe(r campaign.Recipe, name string, data []byte, s reduce.Settings) (*report.Reductions, error) {
	found, err := ingest.Recognise([]campaign.Recipe{r}, name, data)
	if err != nil {
		return nil, err
	}
	if found == nil {
		return nil, fmt.Errorf("recipe %s does not fit %s: %s", r.Name, name, misfit(r))
	}
	log, err := ingest.ParseLog(name, data, ingest.LogOptions{Channels: r.Channels, DrumRadius: s.Radius})
	if err != nil {
		return nil, err
	}
	return reduceAlone(name, log, s)
}

// misfit says what a file of the recipe looks like.
func misfit(r campaign.Recipe) string {
	text := "a file of it has the columns " + shortList(r.Header)
	if r.Files != "" {
		text += " and a name like " + r.Files
	}
	return text
}

// rigOf returns the rig that a log is reduced on.
func (w *Workspace) rigOf(ctx context.Context, dyno string, own reduce.Settings) (reduce.Settings, error) {
	known, err := w.store.Dyno(ctx, dyno, 0)
	switch {
	case errors.Is(err, store.ErrNotFound) && own.Inertia > 0:
		return own, nil
	case errors.Is(err, store.ErrNotFound):
		return own, fmt.Errorf("the workspace knows no dyno %q, so nothing says what its drum is.\n  State it: --inertia 41.8 --drum-radius 0.2286", dyno)
	case err != nil:
		return own, err
	}
	s := settings(&campaign.Campaign{Dyno: known.Value}, "")
	for _, v := range []struct{ into, from *float64 }{
		{&s.Inertia, &own.Inertia}, {&s.Radius, &own.Radius}, {&s.RevsPerDrumRev, &own.RevsPerDrumRev},
	} {
		if *v.from != 0 {
			*v.into = *v.from
		}
	}
	return s, nil
}

// reduceAlone reduces a log that stands for itself.
func reduceAlone(name string, log *signal.Log, s reduce.Settings) (*report.Reductions, error) {
	r := report.Reduction{Log: name, Radius: s.Radius, LeftOut: leftOutWords(log.LeftOut)}
	s.NodesRPM = gridNodes([2]float64{})
	var err error
	if log.Kind == signal.Reduced {
		r.Result, err = reduce.FromCurve(log, s)
	} else {
		var phases reduce.Phases
		if phases, err = reduce.Find(log, s); err == nil {
			s.HalfWidthRPM = WindowHalfWidth(phases.HighRPM - phases.LowRPM)
			r.HalfWidthRPM = s.HalfWidthRPM
			r.Result, err = reduce.Reduce(log, s, phases)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return &report.Reductions{Pulls: []report.Reduction{r}}, nil
}

// Recipes returns the recipes of a dyno, by name.
func (w *Workspace) Recipes(ctx context.Context, dyno string) ([]campaign.Recipe, error) {
	if err := campaign.CheckID(dyno); err != nil {
		return nil, fmt.Errorf("the dyno's id %.80q %w", dyno, err)
	}
	return w.store.Recipes(ctx, dyno)
}

// Recipe returns the dyno's recipe of that name; with an empty name the one that
// the file at path is told by. It is an error where there is none.
func (w *Workspace) Recipe(ctx context.Context, dyno, name, path string) (campaign.Recipe, error) {
	list, err := w.store.Recipes(ctx, dyno)
	if err != nil {
		return campaign.Recipe{}, err
	}
	if name != "" {
		at := slices.IndexFunc(list, func(r campaign.Recipe) bool { return r.Name == name })
		if at < 0 {
			return campaign.Recipe{}, fmt.Errorf("dyno %s has no recipe %q.\n  What it has: fairpull recipe %s", dyno, name, dyno)
		}
		return list[at], nil
	}
	data, err := readBounded(path, maxLogBytes)
	if err != nil {
		return campaign.Recipe{}, err
	}
	found, err := ingest.Recognise(list, filepath.Base(path), data)
	if err != nil {
		return campaign.Recipe{}, err
	}
	if found == nil {
		return campaign.Recipe{}, fmt.Errorf("no recipe of dyno %s fits %s.\n  Learn one from it: fairpull recipe %s --learn %s", dyno, filepath.Base(path), dyno, path)
	}
	return *found, nil
}

// KeepRecipe keeps a recipe of a dyno's logger. The same again changes nothing;
// another of that name takes its place, which needs a reason.
func (w *Workspace) KeepRecipe(ctx context.Context, dyno string, r campaign.Recipe, by Author) (changed bool, err error) {
	if err := ingest.CheckRecipe(r); err != nil {
		return false, fmt.Errorf("the recipe: %w", err)
	}
	change, err := w.store.SaveRecipe(ctx, dyno, r, by)
	if errors.Is(err, store.ErrRefused) && by.Why == "" {
		list, errList := w.store.Recipes(ctx, dyno)
		if errList == nil && slices.ContainsFunc(list, func(known campaign.Recipe) bool { return known.Name == r.Name }) {
			return false, refused("dyno %s has a recipe %s already, which says something else: nothing was kept.\n  To put this one in its place: --why \"…\"; to keep both: another --name", dyno, r.Name)
		}
	}
	return change.Changed(), err
}

// RetireRecipe ends a recipe, for a reason that stays.
func (w *Workspace) RetireRecipe(ctx context.Context, dyno, name string, by Author) error {
	_, err := w.store.RetireRecipe(ctx, dyno, name, by)
	return err
}

// RecipeName makes a recipe's name of a file's.
func RecipeName(path string) string {
	base := filepath.Base(path)
	base = strings.TrimSuffix(base, filepath.Ext(base))
	name := strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z', r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '-'
	}, base)
	name = strings.Trim(name, "-_.")
	if name = name[:min(len(name), campaign.MaxID)]; campaign.CheckID(name) != nil {
		return "logger"
	}
	return name
}

// RecipeWords says in one line each what a recipe's channels are.
func RecipeWords(r campaign.Recipe) []string {
	var words []string
	for _, channel := range LogChannels() {
		if source, has := r.Channels[channel]; has {
			words = append(words, channelWords(channel, source))
		}
	}
	for _, channel := range sortedKeys(r.Channels) {
		if !slices.Contains(LogChannels(), channel) {
			words = append(words, channelWords(channel, r.Channels[channel]))
		}
	}
	return words
}

func sortedKeys(m campaign.ChannelMap) []string {
	var keys []string
	for key := range m {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}

func channelWords(channel string, source campaign.ChannelSource) string {
	text := channel + " = " + source.Column
	if source.Column == "" {
		text = channel
	}
	if source.Unit != "" {
		if unit, err := quantity.Lookup(source.Unit); err == nil && unit.Name != source.Unit {
			text += " in " + source.Unit + " (" + unit.Name + ")"
		} else {
			text += " in " + source.Unit
		}
	}
	if source.DecimalMark != 0 {
		text += ", decimal mark " + string(rune(source.DecimalMark))
	}
	return text
}
