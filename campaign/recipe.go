package campaign

import (
	"errors"
	"fmt"
	"maps"
	"path"
	"slices"
)

// Recipe is what a dyno's logger writes: how its files are told from others and
// which column is which channel. It is learned once from a file and kept with
// the dyno.
type Recipe struct {
	Name string // a slug, unique for the dyno
	// Files is a pattern of package path's Match for the names of files; empty: any.
	Files string
	// Header are the names in the header line that a file must have to be one of
	// these, in any order; never empty.
	Header []string
	// Channels says where each channel comes from, as in a campaign folder.
	Channels ChannelMap
	// Delimiter is ',', ';' or a tab; zero: any of them.
	Delimiter byte
	// CorrectionApplied is the standard that a logger of curves has applied already,
	// or "none"; empty for raw logs.
	CorrectionApplied string
}

// Bounds of a recipe.
const (
	maxRecipeHeader = 4096
	maxPattern      = 256
)

// Check returns what keeps the recipe from being used; nil: nothing. Whether its
// channels have a meaning is not asked here.
func (r Recipe) Check() error {
	if err := CheckID(r.Name); err != nil {
		return fmt.Errorf("its name %.80q %w", r.Name, err)
	}
	if _, err := path.Match(r.Files, ""); err != nil || len(r.Files) > maxPattern || CheckText(r.Files) != nil {
		return fmt.Errorf("%.80q is no pattern for the names of files, as in run-*.csv", r.Files)
	}
	if len(r.Header) == 0 || len(r.Header) > maxRecipeHeader {
		return errors.New("it names no column that a file must have, or too many")
	}
	if len(r.Channels) > maxRecipeHeader {
		return errors.New("it names too many channels")
	}
	if r.Delimiter != 0 && r.Delimiter != ',' && r.Delimiter != ';' && r.Delimiter != '\t' {
		return fmt.Errorf("%q is no delimiter: comma, semicolon or tab", r.Delimiter)
	}
	texts := append(slices.Clone(r.Header), r.CorrectionApplied)
	columns := map[string]string{}
	for _, channel := range slices.Sorted(maps.Keys(r.Channels)) {
		source := r.Channels[channel]
		if channel == "" {
			return errors.New("a channel of it has no name")
		}
		if source.DecimalMark != 0 && source.DecimalMark != '.' && source.DecimalMark != ',' {
			return fmt.Errorf("channel %.80s: %q is no decimal mark", channel, source.DecimalMark)
		}
		if other, taken := columns[source.Column]; taken && source.Column != "" {
			return fmt.Errorf("column %.80q is said to be %.80s and %.80s", source.Column, other, channel)
		}
		columns[source.Column] = channel
		texts = append(texts, channel, source.Column, source.Unit)
	}
	for _, text := range texts {
		if err := CheckText(text); err != nil {
			return fmt.Errorf("%.80q %w", text, err)
		}
	}
	return nil
}

// Merge returns the channels of a campaign with those of a recipe added. Where
// both speak of a channel or of a column and do not say the same, the error names
// it: a campaign reads all of its logs by one account. Neither map is modified.
func (m ChannelMap) Merge(with ChannelMap) (ChannelMap, error) {
	merged := maps.Clone(m)
	if merged == nil && len(with) > 0 {
		merged = ChannelMap{}
	}
	columns := map[string]string{}
	for channel, source := range m {
		columns[source.column(channel)] = channel
	}
	for _, channel := range slices.Sorted(maps.Keys(with)) {
		source := with[channel]
		if has, there := m[channel]; there && has != source {
			return nil, fmt.Errorf("channel %s is %s by one account and %s by the other", channel, has.describe(channel), source.describe(channel))
		}
		if other, taken := columns[source.column(channel)]; taken && other != channel {
			return nil, fmt.Errorf("column %q is %s by one account and %s by the other", source.column(channel), other, channel)
		}
		merged[channel] = source
	}
	return merged, nil
}

// column returns the name of the column that a channel comes from.
func (s ChannelSource) column(channel string) string {
	if s.Column == "" {
		return channel
	}
	return s.Column
}

func (s ChannelSource) describe(channel string) string {
	text := fmt.Sprintf("column %q", s.column(channel))
	if s.Unit != "" {
		text += " in " + s.Unit
	}
	if s.DecimalMark != 0 {
		text += fmt.Sprintf(" with the decimal mark %q", s.DecimalMark)
	}
	return text
}
