package ingest

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fairpull/campaign"
	"fairpull/quantity"
)

// ErrNotWritable says that a campaign holds what the format has no way to say.
var ErrNotWritable = errors.New("cannot be written so that it reads back the same")

// CampaignTOML returns campaign.toml for a campaign, in UTF-8: everything that
// docs/formats.md puts there. What is written is read back before it is
// returned; a campaign that would come back as another one, such as one with a
// text that is not UTF-8 or a setting named twice, is [ErrNotWritable].
//
// Percentages are written as the shortest number that reads back as the same
// fraction. A fraction that no percentage reads back as, which never came from
// a folder, is written as the nearest: off by one unit in its last place.
func CampaignTOML(c campaign.Campaign) ([]byte, error) {
	var w tomlWriter
	w.head(&c)
	for i := range c.Configurations {
		w.configuration(&c.Configurations[i])
	}
	w.tail(&c)
	text := w.Bytes()
	if len(text) > MaxCampaignBytes {
		return nil, fmt.Errorf("%s %w: it would be larger than %d bytes", CampaignFile, ErrNotWritable, MaxCampaignBytes)
	}
	back, r, err := readCampaign(CampaignFile, text)
	if err == nil {
		err = r.faults.err()
	}
	if err != nil {
		return nil, fmt.Errorf("%s %w: %w", CampaignFile, ErrNotWritable, err)
	}
	if !reflect.DeepEqual(*back, headAsWritten(c)) {
		return nil, fmt.Errorf("%s %w: a text of it is changed by being written", CampaignFile, ErrNotWritable)
	}
	return text, nil
}

// PullsCSV returns pulls.csv for a campaign, as comma-separated UTF-8 with its
// numbers in points, or where the cells themselves hold decimal commas, with
// semicolons and commas. It is read back as [CampaignTOML] does it; an order of
// the rows and of the columns without a meaning is kept, line numbers are not.
//
// A campaign without pulls gives the header alone, which is a form to fill in
// and cannot be read as a campaign.
func PullsCSV(c campaign.Campaign) ([]byte, error) {
	want := pullsAsWritten(c)
	var failed error
	for _, style := range []struct{ delimiter, mark byte }{{',', '.'}, {';', ','}} {
		text, err := writePulls(&c, style.delimiter, style.mark)
		if err != nil || len(c.Pulls) == 0 {
			return text, err
		}
		if len(text) > MaxPullsBytes {
			return nil, fmt.Errorf("%s %w: it would be larger than %d bytes", PullsFile, ErrNotWritable, MaxPullsBytes)
		}
		pulls, extra, err := readPulls(PullsFile, text, c.Procedure)
		if err == nil && slices.Equal(extra, c.ExtraColumns) && slices.EqualFunc(pulls, want, samePull) {
			return text, nil
		}
		if failed == nil {
			failed = err
		}
	}
	if failed == nil {
		failed = errors.New("a cell of it is changed by being written")
	}
	return nil, fmt.Errorf("%s %w: %w", PullsFile, ErrNotWritable, failed)
}

// inverse returns the shortest decimal number near guess that forward turns
// into want. Where no number does, it returns guess.
func inverse(want, guess float64, forward func(float64) float64) float64 {
	for digits := 1; digits <= 17; digits++ {
		v, err := strconv.ParseFloat(strconv.FormatFloat(guess, 'g', digits, 64), 64)
		if err == nil && forward(v) == want {
			return v
		}
	}
	below, above := guess, guess
	for range 4 {
		below, above = math.Nextafter(below, math.Inf(-1)), math.Nextafter(above, math.Inf(1))
		if forward(below) == want {
			return below
		}
		if forward(above) == want {
			return above
		}
	}
	return guess
}

func fromPercent(v float64) float64 { return v / 100 }
func fromKilo(v float64) float64    { return v * 1000 }
func fromCelsius(v float64) float64 { return float64(quantity.Celsius(v)) }

func toPercent(fraction float64) float64 { return inverse(fraction, fraction*100, fromPercent) }
func toKilo(v quantity.Pascal) float64   { return inverse(float64(v), float64(v)/1000, fromKilo) }
func toCelsius(v quantity.Kelvin) float64 {
	return inverse(float64(v), v.Celsius(), fromCelsius)
}

// headAsWritten returns what campaign.toml can say of a campaign, as reading
// gives it: without pulls, and with the fractions that percentages stand for.
func headAsWritten(c campaign.Campaign) campaign.Campaign {
	c.Pulls, c.ExtraColumns = nil, nil
	c.Objective.SmallestGain = fromPercent(toPercent(c.Objective.SmallestGain))
	if c.History != nil {
		h := *c.History
		for _, sd := range []*float64{&h.SetupSD, &h.BlockSD, &h.PullSD} {
			*sd = fromPercent(toPercent(*sd))
		}
		c.History = &h
	}
	c.Plan = planAsWritten(c.Plan)
	c.Procedure = noneIfEmpty(c.Procedure)
	c.Configurations = slices.Clone(noneIfEmpty(c.Configurations))
	for i := range c.Configurations {
		one := &c.Configurations[i]
		one.Components, one.Settings = noneIfEmpty(one.Components), noneIfEmpty(one.Settings)
	}
	return c
}

func noneIfEmpty[T any](list []T) []T {
	if len(list) == 0 {
		return nil
	}
	return list
}

// tomlWriter writes campaign.toml key by key: the order of settings and set
// points is part of what a campaign says, and an encoder of maps would sort it.
type tomlWriter struct{ bytes.Buffer }

func (w *tomlWriter) table(name string) { fmt.Fprintf(w, "\n%s\n", name) }

func (w *tomlWriter) key(name, value string) { fmt.Fprintf(w, "%s = %s\n", name, value) }

func (w *tomlWriter) text(name, value string) {
	if value != "" {
		w.key(name, tomlText(value))
	}
}

// number writes a number that 0 leaves unstated.
func (w *tomlWriter) number(name string, value float64) {
	if value != 0 {
		w.key(name, tomlNumber(value))
	}
}

func (w *tomlWriter) count(name string, value int) {
	if value != 0 {
		w.key(name, strconv.Itoa(value))
	}
}

func (w *tomlWriter) head(c *campaign.Campaign) {
	w.key("format", tomlText(CampaignFormat))
	w.key("id", tomlText(c.ID))
	w.text("title", c.Title)
	w.text("purpose", c.Purpose)

	w.table("[objective]")
	w.objective(c.Objective)

	v := c.Vehicle
	w.table("[vehicle]")
	w.text("id", v.ID)
	w.text("description", v.Description)
	w.number("mass_with_rider_kg", float64(v.MassWithRider))
	w.count("test_gear", v.TestGear)
	w.number("engine_revs_per_drum_rev", v.EngineRevsPerDrumRev)
	w.number("driven_wheel_inertia_kgm2", float64(v.WheelInertia))
	w.number("driven_wheel_radius_m", float64(v.WheelRadius))
	w.text("tyre_speed_symbol", v.TyreSpeedSymbol)
	w.text("class", v.Class)

	w.dyno(c.Dyno)
	w.table("[correction]")
	w.text("standard", c.Correction)
}

func (w *tomlWriter) objective(o campaign.Objective) {
	if o.BandRPM != [2]float64{} {
		w.key("band_rpm", tomlNumbers(o.BandRPM[:]))
	}
	w.number("smallest_gain_of_interest_pct", toPercent(o.SmallestGain))
	w.key("confidence", tomlNumber(o.Confidence))
	w.key("primary", tomlText(string(o.Primary)))
	if o.DriftLinear {
		w.key("drift", tomlText("linear"))
	}
}

func (w *tomlWriter) dyno(d campaign.Dyno) {
	w.table("[dyno]")
	w.text("id", d.ID)
	w.number("drum_inertia_kgm2", float64(d.DrumInertia))
	w.number("drum_inertia_u_kgm2", float64(d.DrumInertiaU))
	w.number("drum_radius_m", float64(d.DrumRadius))
	w.count("pulses_per_rev", d.PulsesPerRev)
	w.number("engine_pulses_per_rev", d.EnginePulsesPerRev)
	if d.Parasitic != [3]float64{} {
		w.key("parasitic_torque_nm", tomlNumbers(d.Parasitic[:]))
	}
	w.number("brake_arm_m", float64(d.BrakeArm))
	if d.SiteElevation != nil {
		w.key("site_elevation_m", tomlNumber(float64(*d.SiteElevation)))
	}
}

func (w *tomlWriter) configuration(c *campaign.Configuration) {
	w.table("[[configuration]]")
	w.key("id", tomlText(c.ID))
	w.key("role", tomlText(string(c.Role)))
	w.text("name", c.Name)
	if len(c.Components) > 0 {
		w.WriteString("components = [\n")
		for _, part := range c.Components {
			fmt.Fprintf(w, "  { function = %s, part = %s", tomlText(part.Function), tomlText(part.Part))
			for _, more := range [][2]string{{"serial", part.Serial}, {"batch", part.Batch}} {
				if more[1] != "" {
					fmt.Fprintf(w, ", %s = %s", more[0], tomlText(more[1]))
				}
			}
			w.WriteString(" },\n")
		}
		w.WriteString("]\n")
	}
	w.number("driven_wheel_inertia_kgm2", float64(c.WheelInertia))
	w.number("driven_wheel_radius_m", float64(c.WheelRadius))
	w.number("engine_revs_per_drum_rev", c.EngineRevsPerDrumRev)
	if len(c.Settings) > 0 {
		w.table("[configuration.settings]")
		for _, setting := range c.Settings {
			w.key(tomlKey(setting.Key), tomlText(setting.Value))
		}
	}
}

// tail writes procedure, history, plan and channels.
func (w *tomlWriter) tail(c *campaign.Campaign) {
	if len(c.Procedure) > 0 {
		w.table("[procedure]")
		for _, point := range c.Procedure {
			w.key(tomlKey(point.Key), fmt.Sprintf("{ target = %s, tolerance = %s }", tomlNumber(point.Target), tomlNumber(point.Tolerance)))
		}
	}
	if h := c.History; h != nil {
		w.table("[history]")
		for _, row := range []struct {
			name   string
			sd, df float64
		}{{"setup", h.SetupSD, h.SetupDF}, {"block", h.BlockSD, h.BlockDF}, {"pull", h.PullSD, h.PullDF}} {
			if row.sd != 0 || row.df != 0 {
				w.key(row.name+"_sd_pct", tomlNumber(toPercent(row.sd)))
				w.key(row.name+"_df", tomlNumber(row.df))
			}
		}
		if h.Assumed {
			w.key("assumed", "true")
		}
	}
	w.plan(c.Plan)
	if c.Channels == nil {
		return
	}
	w.table("[channels]")
	for _, name := range slices.Sorted(maps.Keys(c.Channels)) {
		source := c.Channels[name]
		var parts []string
		for _, part := range [][2]string{{"column", source.Column}, {"unit", source.Unit}} {
			if part[1] != "" {
				parts = append(parts, part[0]+" = "+tomlText(part[1]))
			}
		}
		if source.DecimalMark != 0 {
			parts = append(parts, "decimal = "+tomlText(string(rune(source.DecimalMark))))
		}
		w.key(tomlKey(name), "{ "+strings.Join(parts, ", ")+" }")
	}
}

// tomlText returns a basic string of TOML 1.0.0: quotes, backslashes and
// whatever cannot be seen are escaped.
func tomlText(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == ' ' || unicode.IsPrint(r):
			b.WriteRune(r)
		case r <= 0xFFFF:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			fmt.Fprintf(&b, `\U%08X`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// tomlKey returns a bare key where the text is one, else a quoted one.
func tomlKey(text string) string {
	bare := text != "" && !strings.ContainsFunc(text, func(r rune) bool {
		return !('a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9' || r == '-' || r == '_')
	})
	if bare {
		return text
	}
	return tomlText(text)
}

// tomlNumber returns the shortest number that reads back as v, which the format
// takes for whole or decimal as it comes. Numbers that are not finite are
// refused where they are read back.
func tomlNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func tomlNumbers(values []float64) string {
	var parts []string
	for _, v := range values {
		parts = append(parts, tomlNumber(v))
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

// writtenColumn is a column of pulls.csv that has a meaning. It is written where
// it is required or a pull has something there.
type writtenColumn struct {
	name string
	cell func(p *campaign.Pull) string
}

// writtenColumns returns the columns with a meaning, their numbers with the
// given decimal mark.
func writtenColumns(mark byte) []writtenColumn {
	number := func(v float64) string { return cellNumber(v, mark) }
	kilo := func(v *quantity.Pascal) string {
		if v == nil {
			return ""
		}
		return number(toKilo(*v))
	}
	celsius := func(v *quantity.Kelvin) string {
		if v == nil {
			return ""
		}
		return number(toCelsius(*v))
	}
	return []writtenColumn{
		{"pull", func(p *campaign.Pull) string { return p.Name }},
		{"started", func(p *campaign.Pull) string { return p.Started.Format(time.RFC3339Nano) }},
		{"configuration", func(p *campaign.Pull) string { return p.Configuration }},
		{"setup", func(p *campaign.Pull) string { return p.Setup }},
		{"log", func(p *campaign.Pull) string { return p.Log }},
		{"pressure_kpa", func(p *campaign.Pull) string { return kilo(p.Weather.Pressure) }},
		{"temperature_degc", func(p *campaign.Pull) string { return celsius(p.Weather.Temperature) }},
		{"relative_humidity_pct", func(p *campaign.Pull) string {
			if p.Weather.RelativeHumidity == nil {
				return ""
			}
			return number(toPercent(*p.Weather.RelativeHumidity))
		}},
		{"vapour_pressure_kpa", func(p *campaign.Pull) string { return kilo(p.Weather.VapourPressure) }},
		{"wet_bulb_degc", func(p *campaign.Pull) string { return celsius(p.Weather.WetBulb) }},
		{"excluded", func(p *campaign.Pull) string { return p.Excluded }},
		{"correction_applied", func(p *campaign.Pull) string { return p.CorrectionApplied }},
		{"correction_factor", func(p *campaign.Pull) string {
			if p.CorrectionFactor == 0 {
				return ""
			}
			return number(p.CorrectionFactor)
		}},
	}
}

// cellNumber writes a number that can be read in one way only: one with three
// decimals, which might be thousands, gets a fourth.
func cellNumber(v float64, mark byte) string {
	text := strconv.FormatFloat(v, 'g', -1, 64)
	if at := strings.IndexByte(text, '.'); at >= 0 && len(text)-at == 4 {
		text += "0"
	}
	return strings.Replace(text, ".", string(rune(mark)), 1)
}

func writePulls(c *campaign.Campaign, delimiter, mark byte) ([]byte, error) {
	columns := slices.DeleteFunc(writtenColumns(mark), func(column writtenColumn) bool {
		return !slices.Contains(requiredColumns, column.name) &&
			!slices.ContainsFunc(c.Pulls, func(p campaign.Pull) bool { return column.cell(&p) != "" })
	})
	var text bytes.Buffer
	w := csv.NewWriter(&text)
	w.Comma = rune(delimiter)
	row := make([]string, 0, len(columns)+len(c.ExtraColumns))
	for _, column := range columns {
		row = append(row, column.name)
	}
	if err := w.Write(append(row, c.ExtraColumns...)); err != nil {
		return nil, err
	}
	for i := range c.Pulls {
		row = row[:0]
		for _, column := range columns {
			row = append(row, column.cell(&c.Pulls[i]))
		}
		for _, name := range c.ExtraColumns {
			row = append(row, c.Pulls[i].Values[name])
		}
		if err := w.Write(row); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return text.Bytes(), w.Error()
}

// pullsAsWritten returns the pulls as pulls.csv can say them: the numbers that
// its units stand for, and an empty cell where a pull has nothing in a column.
func pullsAsWritten(c campaign.Campaign) []campaign.Pull {
	pulls := slices.Clone(c.Pulls)
	for i := range pulls {
		p := &pulls[i]
		for _, v := range []**quantity.Pascal{&p.Weather.Pressure, &p.Weather.VapourPressure} {
			if *v != nil {
				*v = pointer(quantity.Pascal(fromKilo(toKilo(**v))))
			}
		}
		for _, v := range []**quantity.Kelvin{&p.Weather.Temperature, &p.Weather.WetBulb} {
			if *v != nil {
				*v = pointer(quantity.Celsius(toCelsius(**v)))
			}
		}
		if v := p.Weather.RelativeHumidity; v != nil {
			p.Weather.RelativeHumidity = pointer(fromPercent(toPercent(*v)))
		}
		values := map[string]string{}
		for _, name := range c.ExtraColumns {
			values[name] = ""
		}
		maps.Copy(values, p.Values)
		p.Values = values
	}
	return pulls
}

// samePull reports whether two pulls say the same: their lines may differ, and
// a start is a moment and an offset, however the zone is called.
func samePull(a, b campaign.Pull) bool {
	_, offsetA := a.Started.Zone()
	_, offsetB := b.Started.Zone()
	same := a.Started.Equal(b.Started) && offsetA == offsetB && maps.Equal(a.Measured, b.Measured)
	a.Started, a.Line, a.Measured = time.Time{}, 0, nil
	b.Started, b.Line, b.Measured = time.Time{}, 0, nil
	return same && reflect.DeepEqual(a, b)
}
