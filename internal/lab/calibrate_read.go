package lab

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/drum"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/signal"
)

// Bounds of what is read for a calibration.
const (
	readingsFormat   = "fairpull.readings/1"
	maxReadingsFile  = 1 << 18
	maxReadingsTable = 1 << 20
	maxReadingsRows  = 10_000
	maxSpins         = 100
	maxRings         = 100
)

// readingsText is a file of readings: one kind of calibration, its settings, and the
// names of its logs or of its table.
type readingsText struct {
	Format string `toml:"format"`
	Kind   string `toml:"kind"`
	Dyno   string `toml:"dyno"`
	Date   string `toml:"date"`
	Note   string `toml:"note"`
	Table  string `toml:"table"` // a CSV file beside this one

	DrumRadius float64    `toml:"drum_radius_m"`
	Pulses     int        `toml:"drum_pulses_per_rev"`
	Inertia    float64    `toml:"drum_inertia_kgm2"`
	InertiaU   float64    `toml:"drum_inertia_u_kgm2"`
	InUse      inUseText  `toml:"in_use"`
	SpeedU     float64    `toml:"drum_speed_u_pct"`
	BrakeU     float64    `toml:"brake_torque_u_pct"`
	SpeedsKmh  [2]float64 `toml:"speeds_kmh"`
	SpeedsRad  [2]float64 `toml:"speeds_rad_s"`
	Added      *addedText `toml:"added"`
	Spins      []spinText `toml:"spin"`
	Rings      []ringText `toml:"ring"`
	Lever      float64    `toml:"lever_m"`
	LeverU     float64    `toml:"lever_u_m"`
	WeightsU   float64    `toml:"weights_u_pct"`
	Latitude   *float64   `toml:"latitude_deg"`
	Height     float64    `toml:"height_m"`
	Gravity    float64    `toml:"gravity_m_s2"`
	GravityU   float64    `toml:"gravity_u_m_s2"`
	ZeroBefore *float64   `toml:"zero_before_n"`
	ZeroAfter  *float64   `toml:"zero_after_n"`
	ReferenceU float64    `toml:"reference_u"`
	Resolution float64    `toml:"resolution"`
	WithSlope  bool       `toml:"with_slope"`
	StepsKmh   float64    `toml:"step_kmh"`
}

type inUseText struct {
	Inertia   float64    `toml:"drum_inertia_kgm2"`
	Arm       float64    `toml:"brake_arm_m"`
	Parasitic [3]float64 `toml:"parasitic_torque_nm"`
}

type addedText struct {
	Inertia  float64    `toml:"inertia_kgm2"`
	InertiaU float64    `toml:"inertia_u_kgm2"`
	Rings    []ringText `toml:"ring"`
}

type spinText struct {
	Log    string  `toml:"log"`
	Added  bool    `toml:"added"`
	Brake  float64 `toml:"brake_torque_nm"`
	Rising bool    `toml:"rising"`
}

type ringText struct {
	Name     string  `toml:"name"`
	Outer    float64 `toml:"outer_m"`
	OuterU   float64 `toml:"outer_u_m"`
	Inner    float64 `toml:"inner_m"`
	InnerU   float64 `toml:"inner_u_m"`
	Mass     float64 `toml:"mass_kg"`
	MassU    float64 `toml:"mass_u_kg"`
	Density  float64 `toml:"density_kgm3"`
	DensityU float64 `toml:"density_u_kgm3"`
	Length   float64 `toml:"length_m"`
	LengthU  float64 `toml:"length_u_m"`
}

func ringsOf(list []ringText) []drum.Ring {
	var out []drum.Ring
	for i, r := range list {
		name := r.Name
		if name == "" {
			name = fmt.Sprintf("ring %d", i+1)
		}
		out = append(out, drum.Ring{
			Name: name, Outer: drum.Sized{Value: r.Outer, U: r.OuterU}, Inner: drum.Sized{Value: r.Inner, U: r.InnerU}, Mass: drum.Sized{Value: r.Mass, U: r.MassU},
			Density: drum.Sized{Value: r.Density, U: r.DensityU}, Length: drum.Sized{Value: r.Length, U: r.LengthU},
		})
	}
	return out
}

// readings is a file of readings with the way to what lies beside it.
type readings struct {
	readingsText
	open func(name string, limit int) ([]byte, error)
	at   time.Time // zero: no date
}

// readReadings reads a file of readings of the kind asked for; with given the files by
// name stand in the place of those on disk.
func readReadings(file, kind string, given map[string][]byte) (*readings, error) {
	folder := filepath.Dir(file)
	r := &readings{open: func(name string, limit int) ([]byte, error) { return readBounded(filepath.Join(folder, name), limit) }}
	name := filepath.Base(file)
	if given != nil {
		name, r.open = file, func(name string, limit int) ([]byte, error) {
			data, ok := given[name]
			if !ok || len(data) > limit {
				return nil, fmt.Errorf("there is no %.80q of at most %d bytes beside the readings", name, limit)
			}
			return data, nil
		}
	}
	text, err := r.open(name, maxReadingsFile)
	if err != nil {
		return nil, err
	}
	if err := strictTOML(text, &r.readingsText); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if err := r.check(kind); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return r, nil
}

// check refuses a file of another kind, and what no calibration has.
func (r *readings) check(kind string) error {
	switch {
	case r.Format != readingsFormat:
		return fmt.Errorf("its format is %.40q; write format = %q", r.Format, readingsFormat)
	case r.Kind != kind:
		return fmt.Errorf("it has the readings of kind = %.40q, and %s was asked for", r.Kind, kind)
	case campaign.CheckID(r.Dyno) != nil:
		return fmt.Errorf("dyno = %.80q is no id of a dyno", r.Dyno)
	case len(r.Spins) > maxSpins || len(r.Rings) > maxRings:
		return fmt.Errorf("at most %d spins and %d rings", maxSpins, maxRings)
	}
	if err := campaign.CheckText(r.Note); err != nil && r.Note != "" {
		return fmt.Errorf("the note %w", err)
	}
	for _, v := range []float64{r.DrumRadius, r.Inertia, r.InertiaU, r.SpeedU, r.BrakeU, r.Lever, r.LeverU, r.WeightsU, r.Gravity, r.GravityU, r.ReferenceU, r.Resolution, r.StepsKmh, r.InUse.Inertia, r.InUse.Arm} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return fmt.Errorf("it holds %g where a size is meant", v)
		}
	}
	if r.Date == "" {
		return nil
	}
	var err error
	if r.at, err = time.Parse(time.RFC3339, r.Date); err != nil {
		if r.at, err = time.ParseInLocation(time.DateOnly, r.Date, time.Local); err != nil {
			return fmt.Errorf("date = %.40q is neither a day, as 2031-02-03, nor a moment, as 2031-02-03T08:00:00+01:00", r.Date)
		}
	}
	return nil
}

// beside returns the content of a file that lies in the folder of the readings.
func (r *readings) beside(name string, limit int) ([]byte, error) {
	if !filepath.IsLocal(filepath.FromSlash(name)) {
		return nil, fmt.Errorf("%.80q does not lie beside the readings", name)
	}
	return r.open(name, limit)
}

// table is a CSV file with numbers under names.
type table struct {
	name    string
	columns map[string][]string
	units   map[string]string // by the column's name without its unit
	rows    int
}

// readTable reads the table of the readings.
func (r *readings) readTable() (*table, error) {
	if r.Table == "" {
		return nil, errors.New(`it names no table; write table = "readings.csv"`)
	}
	data, err := r.beside(r.Table, maxReadingsTable)
	if err != nil {
		return nil, err
	}
	reader := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\uFEFF")))
	reader.TrimLeadingSpace, reader.Comment = true, '#'
	records, err := reader.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.Table, err)
	}
	if len(records) < 2 || len(records) > maxReadingsRows {
		return nil, fmt.Errorf("%s: %d rows; a row of names and 1 to %d rows are needed", r.Table, len(records), maxReadingsRows)
	}
	t := &table{name: r.Table, columns: map[string][]string{}, units: map[string]string{}, rows: len(records) - 1}
	for j, head := range records[0] {
		base, unit := campaign.SplitUnit(strings.TrimSpace(head))
		if _, twice := t.columns[base]; twice {
			return nil, fmt.Errorf("%s: the column %.40q stands twice", r.Table, base)
		}
		t.units[base] = unit
		for _, row := range records[1:] {
			t.columns[base] = append(t.columns[base], strings.TrimSpace(row[j]))
		}
	}
	return t, nil
}

// numbers returns a column in SI; the unit is that of its name, which must be of the
// dimension.
func (t *table) numbers(name string, d quantity.Dimension) ([]float64, error) {
	cells, ok := t.columns[name]
	if !ok {
		return nil, fmt.Errorf("%s: it has no column %s with its unit, as %s", t.name, name, exampleColumn(name, d))
	}
	unit, err := quantity.Lookup(t.units[name])
	if err != nil || unit.Dimension != d {
		return nil, fmt.Errorf("%s: the column %s needs a unit of %s, as %s", t.name, name, dimensionWords[d], exampleColumn(name, d))
	}
	out := make([]float64, len(cells))
	for i, cell := range cells {
		v, err := t.number(name, i, cell)
		if err != nil {
			return nil, err
		}
		out[i] = unit.SI(v)
	}
	return out, nil
}

// number reads one cell.
func (t *table) number(name string, row int, cell string) (float64, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s, row %d: %.40q in column %s is not a number", t.name, row+1, cell, name)
	}
	return v, nil
}

// flags returns a column of yes and no; one that there is none of is no throughout.
func (t *table) flags(name string) ([]bool, error) {
	out := make([]bool, t.rows)
	for i, cell := range t.columns[name] {
		switch strings.ToLower(cell) {
		case "yes":
			out[i] = true
		case "no", "":
		default:
			return nil, fmt.Errorf("%s, row %d: %.40q in column %s is neither yes nor no", t.name, i+1, cell, name)
		}
	}
	return out, nil
}

var dimensionWords = map[quantity.Dimension]string{
	quantity.Mass: "mass", quantity.Force: "force", quantity.RotationalSpeed: "turning speed", quantity.Speed: "speed", quantity.Pressure: "pressure",
	quantity.Temperature: "temperature", quantity.Ratio: "per cent",
}

func exampleColumn(name string, d quantity.Dimension) string {
	return name + map[quantity.Dimension]string{
		quantity.Mass: "_kg", quantity.Force: "_n", quantity.RotationalSpeed: "_rpm", quantity.Speed: "_kmh", quantity.Pressure: "_hpa",
		quantity.Temperature: "_degc", quantity.Ratio: "_pct",
	}[d]
}

// record reads the log of a spin, cut to where the drum slows by itself (or gains
// speed): from the highest speed on, or up to it.
func (r *readings) record(s spinText) (drum.Record, error) {
	data, err := r.beside(s.Log, maxLogBytes)
	if err != nil {
		return drum.Record{}, err
	}
	log, err := ingest.ParseLog(s.Log, data, ingest.LogOptions{DrumRadius: r.DrumRadius})
	if err != nil {
		return drum.Record{}, err
	}
	out := drum.Record{Rising: s.Rising}
	switch log.Kind {
	case signal.Sampled:
		out.Time, out.Speed = log.Time, log.Channel(signal.DrumSpeed)
		if out.Speed == nil {
			return out, fmt.Errorf("%s has no drum speed", s.Log)
		}
		out.Brake = log.Channel(signal.BrakeTorque)
	case signal.Pulses:
		if r.Pulses < 1 {
			return out, fmt.Errorf("%s is a log of pulses: the readings must say drum_pulses_per_rev", s.Log)
		}
		out.Time = log.DrumPulse
		for i := range out.Time {
			out.Angle = append(out.Angle, 2*math.Pi*float64(i)/float64(r.Pulses))
		}
	default:
		return out, fmt.Errorf("%s is a curve, and a coast-down is needed", s.Log)
	}
	if out, err = cut(out); err != nil {
		return out, fmt.Errorf("%s: %w", s.Log, err)
	}
	return out, nil
}

// cut keeps what comes after the highest speed, or before it in a record that rises,
// less a fiftieth at either end, where a clutch or a hand may still be at work.
func cut(r drum.Record) (drum.Record, error) {
	speed := r.Speed
	if speed == nil {
		speed = make([]float64, len(r.Time))
		for i := 1; i < len(r.Time); i++ {
			speed[i] = (r.Angle[i] - r.Angle[i-1]) / (r.Time[i] - r.Time[i-1])
		}
	}
	if len(speed) < 40 {
		return r, fmt.Errorf("%d rows are too few", len(speed))
	}
	top := 0
	for i, v := range speed {
		if math.IsNaN(v) {
			return r, fmt.Errorf("row %d has no drum speed", i+1)
		}
		if i > 0 && !(r.Time[i] > r.Time[i-1]) {
			return r, fmt.Errorf("the time of row %d does not rise", i+1)
		}
		if v > speed[top] {
			top = i
		}
	}
	from, to := top, len(speed)
	if r.Rising {
		from, to = 0, top+1
	}
	trim := (to - from) / 50
	from, to = from+trim, to-trim
	if to-from < 30 {
		return r, fmt.Errorf("the highest speed is at row %d, which leaves %d rows", top+1, to-from)
	}
	r.Time = r.Time[from:to]
	for _, series := range []*[]float64{&r.Speed, &r.Angle, &r.Brake} {
		if *series != nil {
			*series = (*series)[from:to]
		}
	}
	for i, v := range r.Brake {
		if math.IsNaN(v) {
			return r, fmt.Errorf("row %d has no brake torque", from+i+1)
		}
	}
	return r, nil
}
