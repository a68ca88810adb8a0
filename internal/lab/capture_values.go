package lab

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/signal"
)

// enteredValues are what a person entered for the next pull, by column of pulls.csv.
type enteredValues map[string]string

func (e enteredValues) into(cells map[string]string) { maps.Copy(cells, e) }

// enteredAir is the air that a person entered last, by column of pulls.csv. It holds until
// it is entered anew.
type enteredAir struct {
	cells map[string]string
	at    time.Time // when, time of day
}

// airColumns are the columns of pulls.csv that say what the air was, and the channel
// of a log that says the same.
var airColumns = map[string]string{
	"pressure_kpa":          signal.Pressure,
	"temperature_degc":      signal.Temperature,
	"relative_humidity_pct": signal.RelativeHumidity,
	"vapour_pressure_kpa":   signal.VapourPressure,
	"wet_bulb_degc":         signal.WetBulb,
}

var humidityColumns = []string{"relative_humidity_pct", "vapour_pressure_kpa", "wet_bulb_degc"}

// Ages of the air that was entered: from staleAir on it is to be entered anew, from
// deadAir on it is not taken any more. Our own limits.
const (
	staleAir = time.Hour
	deadAir  = 12 * time.Hour
)

// enter takes values of the air. A humidity takes the place of one that was
// entered in another way.
func (a *enteredAir) enter(cells map[string]string, at time.Time) {
	now := maps.Clone(a.cells)
	if now == nil {
		now = map[string]string{}
	}
	for _, column := range slices.Sorted(maps.Keys(cells)) {
		if slices.Contains(humidityColumns, column) {
			for _, other := range humidityColumns {
				delete(now, other)
			}
		}
		now[column] = cells[column]
	}
	a.cells, a.at = now, at
}

// into gives a row what of the air its log does not say itself.
func (a *enteredAir) into(cells map[string]string, log *signal.Log, now time.Time) {
	if now.Sub(a.at) >= deadAir {
		return
	}
	measured := func(column string) bool { return log != nil && log.Channel(airColumns[column]) != nil }
	humid := slices.ContainsFunc(humidityColumns, measured)
	for column, text := range a.cells {
		if measured(column) || humid && slices.Contains(humidityColumns, column) {
			continue
		}
		cells[column] = text
	}
}

// words says how old the air is, and whether to enter it anew; doubt that it is.
func (a *enteredAir) words(now time.Time) (words string, doubt bool) {
	age := now.Sub(a.at)
	switch {
	case age < staleAir:
		return "Air entered " + ageWords(age) + " ago.", false
	case age < deadAir:
		return "The air was entered " + ageWords(age) + " ago: enter it anew.", true
	}
	return "", false
}

func ageWords(age time.Duration) string {
	if age < time.Hour {
		return strconv.Itoa(int(max(age, 0).Minutes())) + " min"
	}
	return strconv.FormatFloat(age.Hours(), 'f', 1, 64) + " h"
}

// lastAir returns the air of the latest pull whose row gives it.
func lastAir(c *campaign.Campaign) enteredAir {
	pulls := slices.Clone(c.Pulls)
	slices.SortStableFunc(pulls, func(a, b campaign.Pull) int { return b.Started.Compare(a.Started) })
	for _, p := range pulls {
		if cells := airCells(p.Weather); len(cells) > 0 {
			return enteredAir{cells: cells, at: p.Started}
		}
	}
	return enteredAir{}
}

// airCells writes the air of a pull as the cells of its row.
func airCells(w campaign.Weather) map[string]string {
	cells := map[string]string{}
	put := func(column string, value float64) { cells[column] = strconv.FormatFloat(value, 'f', -1, 64) }
	pressure := func(column string, p *quantity.Pascal) {
		if p != nil {
			put(column, float64(*p)/1000)
		}
	}
	temperature := func(column string, t *quantity.Kelvin) {
		if t != nil {
			put(column, t.Celsius())
		}
	}
	pressure("pressure_kpa", w.Pressure)
	pressure("vapour_pressure_kpa", w.VapourPressure)
	temperature("temperature_degc", w.Temperature)
	temperature("wet_bulb_degc", w.WetBulb)
	if w.RelativeHumidity != nil {
		put("relative_humidity_pct", 100**w.RelativeHumidity)
	}
	return cells
}

// reservedColumns are those of pulls.csv that a capture fills itself.
var reservedColumns = []string{"pull", "started", "configuration", "setup", "log", "excluded"}

// parseValues reads KEY=VALUE words; a value in quotation marks may hold blanks.
func parseValues(text string) (map[string]string, error) {
	cells := map[string]string{}
	for rest := strings.TrimSpace(text); rest != ""; rest = strings.TrimSpace(rest) {
		key, after, found := strings.Cut(rest, "=")
		key = strings.TrimSpace(key)
		if !found || key == "" || strings.ContainsAny(key, " \t") {
			return nil, fmt.Errorf("%q is no value: write it as in tyre_pressure_kpa=251", rest)
		}
		var value string
		if strings.HasPrefix(after, `"`) {
			value, rest, found = strings.Cut(after[1:], `"`)
			if !found {
				return nil, fmt.Errorf("the quotation mark behind %s= is not closed", key)
			}
		} else {
			value, rest, _ = strings.Cut(after, " ")
		}
		if err := campaign.CheckName(key); err != nil {
			return nil, fmt.Errorf("the name %.40q %w", key, err)
		}
		if slices.Contains(reservedColumns, key) {
			return nil, fmt.Errorf("%s is filled in by the capture", key)
		}
		if _, twice := cells[key]; twice {
			return nil, fmt.Errorf("%s is given twice", key)
		}
		cells[key] = strings.TrimSpace(value)
	}
	if len(cells) == 0 {
		return nil, fmt.Errorf("no value is given: write one as in tyre_pressure_kpa=251")
	}
	return cells, nil
}
