package ingest

import (
	"maps"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/signal"
)

// Names of the columns that become the time base of a log.
const (
	timeColumn        = "time"
	drumPulseColumn   = "drum_pulse"
	enginePulseColumn = "engine_pulse"
)

// meaning is a channel that the program knows by its name.
type meaning struct {
	dimensions []quantity.Dimension // that its unit may have; the first is the one it is kept in
	bare       bool                 // its name says the unit: a missing one is 1
}

// meanings holds every channel that the program knows by its name. A column is
// one of them only where it bears exactly this name, this name with a unit's
// ending (pressure_kpa), or where [channels] says so.
var meanings = map[string]meaning{
	timeColumn:              {dimensions: []quantity.Dimension{quantity.Time}},
	drumPulseColumn:         {dimensions: []quantity.Dimension{quantity.Time}},
	enginePulseColumn:       {dimensions: []quantity.Dimension{quantity.Time}},
	signal.DrumSpeed:        {dimensions: []quantity.Dimension{quantity.RotationalSpeed, quantity.Speed}},
	signal.EngineSpeed:      {dimensions: []quantity.Dimension{quantity.RotationalSpeed}},
	signal.Throttle:         {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.BrakeTorque:      {dimensions: []quantity.Dimension{quantity.Torque}},
	signal.BrakeForce:       {dimensions: []quantity.Dimension{quantity.Force}},
	signal.BrakeCommand:     {dimensions: []quantity.Dimension{quantity.Ratio}, bare: true},
	signal.Lambda:           {dimensions: []quantity.Dimension{quantity.Lambda}, bare: true},
	signal.AirFuelRatio:     {dimensions: []quantity.Dimension{quantity.AirFuelRatio}, bare: true},
	signal.ManifoldPressure: {dimensions: []quantity.Dimension{quantity.Pressure}},
	signal.ExhaustCO:        {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.ExhaustCO2:       {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.ExhaustHC:        {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.ExhaustO2:        {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.ExhaustNO:        {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.OilTemperature:   {dimensions: []quantity.Dimension{quantity.Temperature}},
	signal.Power:            {dimensions: []quantity.Dimension{quantity.Power}},
	signal.Torque:           {dimensions: []quantity.Dimension{quantity.Torque}},
	signal.Pressure:         {dimensions: []quantity.Dimension{quantity.Pressure}},
	signal.Temperature:      {dimensions: []quantity.Dimension{quantity.Temperature}},
	signal.RelativeHumidity: {dimensions: []quantity.Dimension{quantity.Ratio}},
	signal.VapourPressure:   {dimensions: []quantity.Dimension{quantity.Pressure}},
	signal.WetBulb:          {dimensions: []quantity.Dimension{quantity.Temperature}},
}

// knownNames returns the names of meanings, sorted.
func knownNames() []string { return slices.Sorted(maps.Keys(meanings)) }

// unit returns the unit that name spells for a channel of this meaning.
func (m meaning) unit(name string) (quantity.Unit, error) {
	var first error
	for _, dimension := range m.dimensions {
		unit, err := quantity.LookupFor(name, dimension)
		if err == nil {
			return unit, nil
		}
		if first == nil {
			first = err
		}
	}
	return quantity.Unit{}, first
}

// figures says where the figures of a curve log are taken.
type figures int

const (
	unsaid figures = iota
	wheel
	crank
)

var figureWords = map[string]figures{"wheel": wheel, "crank": crank}

// splitFigures takes a name such as power_wheel, wheel_torque or "power (crank)"
// apart into power or torque and where it is taken. Any other name comes back
// whole.
func splitFigures(name string) (string, figures) {
	words := strings.FieldsFunc(name, func(r rune) bool { return strings.ContainsRune(" _-()[]", r) })
	if len(words) != 2 {
		return name, unsaid
	}
	for _, pair := range [2][2]string{{words[0], words[1]}, {words[1], words[0]}} {
		if place := figureWords[pair[1]]; place != unsaid && (pair[0] == signal.Power || pair[0] == signal.Torque) {
			return pair[0], place
		}
	}
	return name, unsaid
}

// figuresLine reads a preamble line such as "# figures: crank".
func figuresLine(line string) figures {
	line = strings.ToLower(strings.Trim(line, " \t#/;%\"\r,"))
	if rest, found := strings.CutPrefix(line, "figures"); found {
		return figureWords[strings.Trim(rest, " \t:=;,\"")]
	}
	if rest, found := strings.CutSuffix(line, " figures"); found {
		return figureWords[rest]
	}
	return unsaid
}

// title is a header cell taken apart.
type title struct {
	text   string // the whole cell
	base   string // without its unit
	unit   string // in brackets, or by the name's ending; may be empty
	name   string // the channel, where the program knows it by name or by [channels]
	mapped bool   // by [channels]
	place  figures
}

// readTitle takes a header cell apart and names its channel.
func readTitle(cell string, sources map[string]string) title {
	t := title{text: cell, base: cell}
	if base, unit, found := cutUnit(cell); found && figureWords[unit] == unsaid {
		t.base, t.unit = base, unit
	}
	for _, name := range []string{t.text, t.base} {
		if channel, found := sources[name]; found {
			t.name, t.mapped = channel, true
			t.name, t.place = splitFigures(channel)
			return t
		}
	}
	name, place := splitFigures(t.base)
	if _, known := meanings[name]; known {
		t.name, t.place = name, place
		return t
	}
	base, unit := campaign.SplitUnit(name)
	base, place = splitFigures(base)
	if _, known := meanings[base]; known && unit != "" {
		t.name, t.place = base, place
		if t.unit == "" {
			t.unit = unit
		}
	}
	return t
}

// cutUnit splits "name [unit]" and "name (unit)".
func cutUnit(cell string) (base, unit string, found bool) {
	for _, pair := range []string{"[]", "()"} {
		if len(cell) > 0 && cell[len(cell)-1] == pair[1] {
			open := strings.LastIndexByte(cell, pair[0])
			if open > 0 {
				return strings.TrimSpace(cell[:open]), strings.TrimSpace(cell[open+1 : len(cell)-1]), true
			}
		}
	}
	return "", "", false
}

// sources returns which channel each column of [channels] gives.
func sources(channels campaign.ChannelMap) map[string]string {
	columns := make(map[string]string, len(channels))
	for _, name := range sortedNames(channels) {
		column := channels[name].Column
		if column == "" {
			column = name
		}
		columns[column] = name
	}
	return columns
}
