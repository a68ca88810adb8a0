package ingest

import (
	"slices"
	"strings"
	"unicode"

	"fairpull/campaign"
	"fairpull/signal"
)

// Channels returns the names of the channels that the program knows by meaning,
// in the order in which a person is asked for them, those without which there is
// no log first.
func Channels() []string {
	first := []string{
		timeColumn, signal.DrumSpeed, signal.EngineSpeed, signal.Throttle, signal.Lambda, signal.AirFuelRatio, signal.OilTemperature,
		signal.ManifoldPressure, signal.BrakeTorque, signal.BrakeForce, signal.Pressure, signal.Temperature,
		signal.RelativeHumidity, signal.VapourPressure, signal.WetBulb,
	}
	for _, name := range knownNames() {
		if !slices.Contains(first, name) {
			first = append(first, name)
		}
	}
	return first
}

// spoken are names that loggers give to channels, in lower case and letters only
// (common practice).
var spoken = map[string][]string{
	timeColumn:              {"time", "t", "zeit", "zeitstempel", "timestamp", "sec", "seconds", "temps", "tiempo", "tempo"},
	signal.DrumSpeed:        {"drumspeed", "drum", "roller", "rollerspeed", "roll", "rolle", "vrolle", "rollengeschwindigkeit", "speed", "v", "geschwindigkeit", "vitesse", "velocidad"},
	signal.EngineSpeed:      {"enginespeed", "engine", "rpm", "revs", "n", "nmot", "drehzahl", "motordrehzahl", "regime", "giri"},
	signal.Throttle:         {"throttle", "throttleposition", "tps", "drosselklappe", "gas"},
	signal.Lambda:           {"lambda", "lam", "λ"},
	signal.AirFuelRatio:     {"afr", "airfuelratio"},
	signal.OilTemperature:   {"oiltemp", "oiltemperature", "toil", "toel", "töl", "öltemperatur", "oeltemperatur"},
	signal.ManifoldPressure: {"manifoldpressure", "map", "saugrohrdruck"},
	signal.BrakeTorque:      {"braketorque", "bremsmoment"},
	signal.BrakeForce:       {"brakeforce", "bremskraft"},
	signal.Pressure:         {"pressure", "baro", "barometer", "stationpressure", "luftdruck"},
	signal.Temperature:      {"temperature", "airtemp", "airtemperature", "intaketemp", "iat", "lufttemperatur", "ansauglufttemperatur"},
	signal.RelativeHumidity: {"relativehumidity", "humidity", "rh", "luftfeuchte"},
}

// Propose returns the column that the channel most likely is, and whether there
// is one alone: by its name, else by a unit that no other column has. It is what
// to offer a person who decides, and never an answer.
func (t *Table) Propose(channel string) (column int, ok bool) {
	m, known := meanings[channel]
	if !known {
		return 0, false
	}
	fits := func(c TableColumn) bool {
		if c.Unit == "" || channel == timeColumn && isClockFormat(c.Unit) {
			return true
		}
		_, err := m.unit(c.Unit)
		return err == nil
	}
	byName := t.only(func(c TableColumn) bool { return named(c.Name, channel) && fits(c) })
	if len(byName) > 0 {
		return byName[0], len(byName) == 1
	}
	if !slices.Contains([]string{timeColumn, signal.DrumSpeed, signal.EngineSpeed}, channel) {
		return 0, false
	}
	byUnit := t.only(func(c TableColumn) bool { return c.Unit != "" && fits(c) && !otherName(c.Name, channel) })
	if len(byUnit) != 1 {
		return 0, false
	}
	return byUnit[0], true
}

// only returns the columns that are as wanted.
func (t *Table) only(wanted func(TableColumn) bool) []int {
	var found []int
	for i, c := range t.Columns {
		if wanted(c) {
			found = append(found, i)
		}
	}
	return found
}

// named reports whether a column's name is one that the channel goes by.
func named(column, channel string) bool {
	base, _ := campaign.SplitUnit(column)
	return column == channel || base == channel || slices.Contains(spoken[channel], letters(column)) || slices.Contains(spoken[channel], letters(base))
}

// otherName reports whether a column's name is that of another channel.
func otherName(column, channel string) bool {
	for name := range meanings {
		if name != channel && named(column, name) {
			return true
		}
	}
	return false
}

func letters(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
}

// UnitOf returns the spelling of the unit that the channel may be stated in, and
// an error that names the unit where it may not. Empty is taken where the channel
// needs no unit.
func UnitOf(channel, spelling string) (string, error) {
	base, _ := splitFigures(channel)
	m, known := meanings[base]
	spelling = strings.TrimSpace(spelling)
	switch {
	case !known, spelling == "" && m.bare, channel == timeColumn && isClockFormat(spelling):
		return spelling, nil
	case spelling == "":
		return "", because(ErrUnit, "%s is stated without its unit", channel)
	}
	if _, err := m.unit(spelling); err != nil {
		return "", because(ErrUnit, "%v; a unit of %s is %s", err, channel, unitExample(base))
	}
	return spelling, nil
}
