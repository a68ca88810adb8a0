package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/signal"
)

// column is one column of a log on its way to a channel.
type column struct {
	title   title
	name    string // of the channel
	known   bool   // by meaning, for this kind of log
	clock   bool   // holds the time of day
	skip    string // why its cells are not read; empty: they are
	unit    quantity.Unit
	spelled string // the unit as the log or [channels] spells it
	convert bool   // unit is known

	marks
	doubt  int // line of the first cell that left the decimal mark unsure; 0: none
	strays stray
	values []float64
}

// stray is the first cell of a column without a meaning that is not a number.
type stray struct {
	line, position int
	text           string
	err            error
}

// binding turns a header into columns.
type binding struct {
	file    string
	header  *header
	options LogOptions
	set     charset
	text    []byte

	kind    signal.Kind
	figures figures
	columns []column
	leftOut []signal.LeftOut
}

// bind decides what every column is.
func (b *binding) bind() error {
	b.columns = make([]column, len(b.header.titles))
	for i := range b.columns {
		c := &b.columns[i]
		c.title = b.header.titles[i]
		c.name = c.title.base
		if c.title.name != "" {
			c.name = c.title.name
		}
	}
	for _, step := range []func() error{b.findKind, b.checkNames, b.checkSources, b.bindKind, b.bindUnits} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// at returns an error that stands in the header line.
func (b *binding) at(column, text string, err error, cure string) error {
	if b.set == assumed {
		cure += "; the file is not UTF-8 and was read as windows-1252, so export it in UTF-8 if letters look wrong"
	}
	return &SyntaxError{File: b.file, Line: b.header.line, Column: column, Text: text, Err: err, Cure: cure}
}

func (b *binding) findKind() error {
	h := b.header
	switch {
	case h.has(signal.DrumSpeed) && h.has(drumPulseColumn):
		return b.at("", "", because(ErrTwoReadings, "the log has drum_speed and drum_pulse, so it could be a sampled log or a pulse log"),
			"leave out one of the two columns")
	case h.has(signal.DrumSpeed):
		b.kind = signal.Sampled
	case h.has(drumPulseColumn):
		b.kind = signal.Pulses
	default:
		b.kind = signal.Reduced
	}
	return nil
}

// checkNames refuses two columns of one name.
func (b *binding) checkNames() error {
	seen := make(map[string]string, len(b.columns))
	for i := range b.columns {
		c := &b.columns[i]
		if first, found := seen[c.name]; found {
			return b.at("", c.title.text, because(ErrDuplicate, "and %q both give %s", cut(first, longestShown), printable(c.name, longestShown)),
				"rename one of the two columns, or take it out")
		}
		seen[c.name] = c.title.text
	}
	return nil
}

// wanted returns the channels of a kind of log that [channels] must not miss.
func (b *binding) wanted() []string {
	switch b.kind {
	case signal.Sampled:
		return []string{timeColumn, signal.DrumSpeed, signal.EngineSpeed}
	case signal.Pulses:
		return []string{drumPulseColumn, enginePulseColumn}
	}
	return []string{signal.EngineSpeed, signal.Power, signal.Torque}
}

// checkSources holds [channels] against the header.
func (b *binding) checkSources() error {
	var names []string
	for i := range b.columns {
		names = append(names, b.columns[i].title.base)
	}
	for _, channel := range sortedNames(b.options.Channels) {
		source := b.options.Channels[channel]
		name, _ := splitFigures(channel)
		if source.Column == "" || b.header.has(name) {
			continue
		}
		text := fmt.Sprintf("column %s, which [channels] names for %s, is not in the header", printable(source.Column, longestShown), channel)
		if slices.Contains(b.wanted(), name) {
			return b.at("", "", because(ErrMissing, "%s", text), didYouMean(source.Column, names, "write its name as the log has it: "+listed(names)))
		}
		if b.kind != signal.Pulses && channel != drumPulseColumn && channel != enginePulseColumn {
			b.leftOut = append(b.leftOut, signal.LeftOut{Column: channel, Reason: text})
		}
	}
	if b.kind == signal.Sampled && !b.header.has(timeColumn) {
		cure := fmt.Sprintf(`name the column time, or say under [channels] of campaign.toml which it is, as in time = { column = "t", unit = "s" }; the header has %s`, listed(names))
		return b.at("", "", because(ErrMissing, "there is no time column beside drum_speed"), didYouMean(timeColumn, names, cure))
	}
	return nil
}

// listed returns up to twelve names in a row.
func listed(names []string) string {
	shown := make([]string, 0, 13)
	for _, name := range names[:min(len(names), 12)] {
		shown = append(shown, printable(name, 30))
	}
	if len(names) > 12 {
		shown = append(shown, fmt.Sprintf("and %d more", len(names)-12))
	}
	return strings.Join(shown, ", ")
}

func sortedNames(channels campaign.ChannelMap) []string {
	names := make([]string, 0, len(channels))
	for name := range channels {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// bindKind marks the columns that have a meaning in this kind of log, and those
// that have no place in it.
func (b *binding) bindKind() error {
	b.figures = b.header.figures
	for i := range b.columns {
		c := &b.columns[i]
		_, c.known = meanings[c.name]
		reducedOnly := c.name == signal.Power || c.name == signal.Torque
		pulse := c.name == drumPulseColumn || c.name == enginePulseColumn
		switch {
		case b.kind == signal.Pulses && !pulse:
			c.skip = "a pulse log has no time base for it"
		case b.kind != signal.Pulses && pulse:
			c.skip = "only a pulse log has a place for it"
		case b.kind == signal.Sampled && reducedOnly:
			c.known = false
		case b.kind == signal.Reduced && reducedOnly:
			if err := b.placeFigures(c); err != nil {
				return err
			}
		case b.kind == signal.Reduced && c.name == timeColumn:
			c.known = false
		}
		if source, found := b.source(c); found && source.DecimalMark != 0 {
			c.mark, c.sure = source.DecimalMark, true
		}
	}
	if b.kind == signal.Reduced && b.figures == unsaid {
		return b.at("", "", because(ErrTwoReadings, "the log does not say whether its figures are at the wheel or at the crank"),
			`name the columns power_wheel or power_crank, or put a line "figures: wheel" or "figures: crank" above the header`)
	}
	return nil
}

// placeFigures notes where the figures of a curve log are taken.
func (b *binding) placeFigures(c *column) error {
	place := c.title.place
	switch {
	case place == unsaid:
	case b.figures == unsaid:
		b.figures = place
	case b.figures != place:
		return b.at("", c.title.text, because(ErrContradicted, "says wheel or crank otherwise than the rest of the header"), "keep figures of one place in a log")
	}
	return nil
}

// source returns what [channels] says of the column.
func (b *binding) source(c *column) (campaign.ChannelSource, bool) {
	for _, name := range []string{c.name, c.name + "_wheel", c.name + "_crank"} {
		if source, found := b.options.Channels[name]; found && (c.title.mapped || source.Column == "") {
			return source, true
		}
	}
	return campaign.ChannelSource{}, false
}

// bindUnits finds the unit of every column that is read.
func (b *binding) bindUnits() error {
	for i := range b.columns {
		c := &b.columns[i]
		if c.skip != "" {
			continue
		}
		if err := b.bindUnit(c, i); err != nil {
			return err
		}
		if c.convert && c.known && c.unit.Dimension == quantity.Speed {
			radius := b.options.DrumRadius
			if !(radius > 0) {
				return b.at("", c.title.text, because(ErrUnit, "is a surface speed in %s, and the drum radius is not known", c.unit.Name),
					"state drum_radius_m under [dyno] of campaign.toml")
			}
			c.unit.Scale /= radius
		}
	}
	return nil
}

// bindUnit settles the unit of column i from its title, the row of units and
// [channels], which must not contradict one another.
func (b *binding) bindUnit(c *column, i int) error {
	spellings := []string{c.title.unit}
	if i < len(b.header.units) {
		row := b.header.units[i]
		if inner, found := strings.CutPrefix(row, "["); found {
			row = strings.TrimSpace(strings.TrimSuffix(inner, "]"))
		} else if inner, found := strings.CutPrefix(row, "("); found {
			row = strings.TrimSpace(strings.TrimSuffix(inner, ")"))
		}
		spellings = append(spellings, row)
	}
	if source, found := b.source(c); found {
		spellings = append(spellings, source.Unit)
	}
	for _, spelling := range spellings {
		if spelling == "" {
			continue
		}
		if c.name == timeColumn && isClockFormat(spelling) {
			c.clock, c.spelled = true, spelling
			continue
		}
		unit, err := b.lookup(c, spelling)
		if err != nil {
			return err
		}
		switch {
		case unit.Dimension == 0: // a column without a meaning, in a unit of its own
			if c.spelled == "" {
				c.spelled = spelling
			}
		case !c.convert:
			c.unit, c.convert, c.spelled = unit, true, spelling
		case unit != c.unit:
			return b.at("", c.title.text, because(ErrContradicted, "is in %s by one account and in %s by another", c.unit.Name, unit.Name),
				"state the unit once: in the header, in the row of units, or under [channels]")
		}
	}
	return b.bare(c)
}

// lookup returns the unit that a spelling means for the column; for a column
// without a meaning, no unit where it means none or more than one.
func (b *binding) lookup(c *column, spelling string) (quantity.Unit, error) {
	if !c.known {
		unit, err := quantity.Lookup(spelling)
		if err != nil {
			return quantity.Unit{}, nil
		}
		return unit, nil
	}
	unit, err := meanings[c.name].unit(spelling)
	if err != nil {
		return unit, b.at(c.name, "", as(ErrUnit, err), "write the unit in the header or under [channels] of campaign.toml")
	}
	return unit, nil
}

// bare settles a column that states no unit.
func (b *binding) bare(c *column) error {
	switch {
	case c.convert && c.clock:
		return b.at("", c.title.text, because(ErrContradicted, "is a clock time by one account and in %s by another", c.unit.Name), "state the unit once")
	case c.convert, c.clock, !c.known:
		return nil
	case meanings[c.name].bare:
		c.unit, c.convert = quantity.Unit{Name: "1", Dimension: meanings[c.name].dimensions[0], Scale: 1}, true
		return nil
	case c.name == timeColumn && b.firstCellIsClock(c):
		c.clock = true
		return nil
	}
	return b.at("", c.title.text, because(ErrUnit, "has no unit"),
		fmt.Sprintf(`write it in the header, as in "%s [%s]", or under [channels] of campaign.toml`, c.name, unitExample(c.name)))
}

// unitExample returns a unit that the channel may have, for a message.
func unitExample(name string) string {
	switch name {
	case signal.DrumSpeed:
		return "km/h"
	case signal.EngineSpeed:
		return "1/min"
	case signal.Throttle, signal.RelativeHumidity:
		return "%"
	}
	return quantity.Units(meanings[name].dimensions[0])[0].Name
}

// finish brings the values to SI. A value that is then not finite is refused.
func (c *column) finish(rows int) (badRow int) {
	c.values = c.values[:rows]
	if !c.convert || c.clock || c.unit.Scale == 1 && c.unit.Offset == 0 {
		return -1
	}
	scale, offset := c.unit.Scale, c.unit.Offset
	for i, v := range c.values {
		v = v*scale + offset
		if math.IsInf(v, 0) {
			return i
		}
		c.values[i] = v
	}
	return -1
}
