package ingest

import (
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"fairpull/campaign"
)

// Recognise returns the recipe that a file with the given name (without folders)
// and content is told by, or nil where there is none: its name fits the recipe's
// pattern, and one of its first lines, split by the recipe's delimiter, has every
// name of the recipe's header.
//
// Where several fit, the one whose channels include those of all others, told
// alike, is taken; where none does, the error is one of [ErrTwoReadings] that
// names them.
func Recognise(recipes []campaign.Recipe, name string, data []byte) (*campaign.Recipe, error) {
	var fitting []*campaign.Recipe
	for i := range recipes {
		r := &recipes[i]
		if r.Files != "" {
			if ok, err := path.Match(r.Files, name); err != nil || !ok {
				continue
			}
		}
		fitting = append(fitting, r)
	}
	if len(fitting) == 0 {
		return nil, nil
	}
	text, _, err := decode(name, beginning(data))
	if err != nil {
		return nil, err
	}
	fitting = slices.DeleteFunc(fitting, func(r *campaign.Recipe) bool { return !hasHeader(text, r) })
	if len(fitting) == 0 {
		return nil, nil
	}
	for _, r := range fitting {
		if !slices.ContainsFunc(fitting, func(other *campaign.Recipe) bool { return !includes(r, other) }) {
			return r, nil
		}
	}
	var names []string
	for _, r := range fitting {
		names = append(names, r.Name)
	}
	return nil, &SyntaxError{File: name, Err: because(ErrTwoReadings, "the recipes %s all fit, and do not say the same", strings.Join(names, ", ")), Cure: "name the one that is meant"}
}

// includes reports whether r says all that other says.
func includes(r, other *campaign.Recipe) bool {
	for channel, source := range other.Channels {
		if has, there := r.Channels[channel]; !there || has != source {
			return false
		}
	}
	return r.CorrectionApplied == other.CorrectionApplied
}

// hasHeader reports whether a line near the beginning has every name of a
// recipe's header, with or without a unit.
func hasHeader(text []byte, r *campaign.Recipe) bool {
	marks := delimiters
	if r.Delimiter != 0 {
		marks = []byte{r.Delimiter}
	}
	lines := lineReader{text: text}
	for lines.number < maxPreambleLines {
		line, ok := lines.next()
		if !ok {
			return false
		}
		for _, delimiter := range marks {
			cells, ok := splitLine(line, delimiter)
			if ok && len(cells) >= len(r.Header) && hasNames(cells, r.Header) {
				return true
			}
		}
	}
	return false
}

func hasNames(cells, names []string) bool {
	there := make(map[string]bool, 2*len(cells))
	for _, cell := range cells {
		there[cell] = true
		if base, _, found := cutUnit(cell); found {
			there[base] = true
		}
	}
	return !slices.ContainsFunc(names, func(name string) bool { return !there[name] })
}

// CheckRecipe returns what keeps a recipe from being used, its channels' units
// included; nil: nothing. A channel whose name is nearly one that has a meaning is
// taken for a slip.
func CheckRecipe(r campaign.Recipe) error {
	if err := r.Check(); err != nil {
		return err
	}
	for _, channel := range sortedNames(r.Channels) {
		base, _ := splitFigures(channel)
		if meanings[base].dimensions == nil {
			if near := nearest(channel, knownNames()); near != "" {
				return fmt.Errorf("no channel of a known meaning is called %s; did you mean %s?", printable(channel, longestShown), near)
			}
		}
		if unit := r.Channels[channel].Unit; unit != "" {
			if _, err := UnitOf(channel, unit); err != nil {
				return fmt.Errorf("channel %s: %w", channel, err)
			}
		}
	}
	return nil
}

// Partial returns a folder of a campaign that is still being measured and of the
// files that hold its logs. Whether it can be analysed is not asked.
func Partial(c campaign.Campaign, files fs.FS) *Folder {
	return &Folder{Campaign: c, files: files, close: func() error { return nil }}
}
