package ingest

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"fairpull/campaign"
	"fairpull/quantity"
)

// CampaignFormat is the format that is read, as campaign.toml names it.
const CampaignFormat = "fairpull.campaign/1"

// defaultConfidence is that of docs/formats.md.
const defaultConfidence = 0.95

// reading turns campaign.toml into a campaign and notes what is wrong.
type reading struct {
	file    string
	outline *outline
	faults  Errors
}

// readCampaign returns what campaign.toml says. Keys that the format does not
// have are refused, with the nearest one named: a misspelt key is a silent
// guess. Whether the campaign can be analysed is not asked here.
func readCampaign(file string, data []byte) (*campaign.Campaign, *reading, error) {
	text, set, err := decode(file, data)
	if err != nil {
		return nil, nil, err
	}
	if set == assumed {
		line, position := placeOf(data, firstInvalid(data))
		return nil, nil, &SyntaxError{File: file, Line: line, Position: position, Err: because(ErrCharacters, "the text is not UTF-8, which TOML must be"), Cure: "save it as UTF-8"}
	}
	r := &reading{file: file}
	outline, err := outlineOf(file, text, reflect.TypeFor[document]())
	if err != nil {
		return nil, nil, err
	}
	r.outline = outline
	var d document
	if err := toml.Unmarshal(text, &d); err != nil {
		return nil, nil, r.undecoded(err)
	}
	if d.Format != CampaignFormat {
		r.fault("format", because(ErrNotPossible, "the format is %.60q, and this program reads %q", d.Format, CampaignFormat),
			fmt.Sprintf("begin the file with format = %q", CampaignFormat))
		return nil, nil, r.faults.err()
	}
	c := &campaign.Campaign{
		ID: d.ID, Title: d.Title, Purpose: d.Purpose, Correction: d.Correction.Standard,
		Objective: r.objective("objective", d.Objective), Vehicle: r.vehicle(d.Vehicle), Dyno: r.dyno(d.Dyno),
		Procedure: r.procedure(d.Procedure), History: r.history(d.History), Plan: r.plan(d.Plan), Channels: r.channels(d.Channels),
	}
	for i, table := range d.Configuration {
		c.Configurations = append(c.Configurations, r.configuration(i, table))
	}
	return c, r, nil
}

// undecoded turns an error of the TOML library into one with its place.
func (r *reading) undecoded(err error) error {
	e := &SyntaxError{File: r.file, Err: as(ErrNotPossible, err), Cure: "see toml.io for how TOML is written"}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		e.Line, e.Position = decode.Position()
		e.Column = strings.Join(decode.Key(), ".")
	}
	return e
}

// fault notes an error at a key, or at the nearest key above it that is there.
func (r *reading) fault(path string, err error, cure string) {
	e := &SyntaxError{File: r.file, Column: withoutIndices(path), Err: err, Cure: cure}
	for at := path; at != ""; at = parent(at) {
		if place, found := r.outline.places[at]; found {
			e.Line = place.line
			if at == path {
				e.Position = place.position
			}
			break
		}
	}
	r.faults.add(e)
}

// parent returns the path without its last step.
func parent(path string) string {
	return path[:max(strings.LastIndexByte(path, '.'), strings.LastIndexByte(path, '['), 0)]
}

// positive returns the value at path, 0 where the key is absent. A stated zero
// is refused: it would pass for a key that is absent.
func (r *reading) positive(path string, value *float64) float64 {
	if value == nil {
		return 0
	}
	if *value == 0 {
		r.fault(path, because(ErrNotPossible, "it is 0"), "write a number above 0, or take the key out")
	}
	return *value
}

func (r *reading) count(path string, value *int) int {
	if value == nil {
		return 0
	}
	if *value == 0 {
		r.fault(path, because(ErrNotPossible, "it is 0"), "write a whole number above 0, or take the key out")
	}
	return *value
}

// objective reads the question at path: the campaign's own, or that of its plan.
func (r *reading) objective(path string, t objectiveTable) campaign.Objective {
	o := campaign.Objective{Confidence: defaultConfidence, Primary: campaign.PrimaryBand}
	if _, stated := r.outline.places[path+".band_rpm"]; stated {
		if len(t.BandRPM) != 2 || t.BandRPM[0] == 0 && t.BandRPM[1] == 0 {
			r.fault(path+".band_rpm", because(ErrNotPossible, "the riding band has not two ends"), "write two engine speeds in 1/min, as in [2500, 6000]")
		} else {
			o.BandRPM = [2]float64(t.BandRPM)
		}
	}
	if t.SmallestGain != nil {
		o.SmallestGain = *t.SmallestGain / 100
	}
	if t.Confidence != nil {
		o.Confidence = *t.Confidence
	}
	if t.Primary != nil {
		o.Primary = campaign.Primary(*t.Primary)
	}
	if t.Drift != nil {
		o.DriftLinear = *t.Drift == "linear"
		if *t.Drift != "linear" && *t.Drift != "any" {
			r.fault(path+".drift", because(ErrNotPossible, "the drift is %.60q", *t.Drift), `write "any" or "linear"`)
		}
	}
	return o
}

func (r *reading) vehicle(t vehicleTable) campaign.Vehicle {
	return campaign.Vehicle{
		ID: t.ID, Description: t.Description, TyreSpeedSymbol: t.TyreSymbol, Class: t.Class,
		MassWithRider:        quantity.Kilogram(r.positive("vehicle.mass_with_rider_kg", t.MassWithRider)),
		TestGear:             r.count("vehicle.test_gear", t.TestGear),
		EngineRevsPerDrumRev: r.positive("vehicle.engine_revs_per_drum_rev", t.RevsPerRev),
		WheelInertia:         quantity.KilogramSquareMetre(r.positive("vehicle.driven_wheel_inertia_kgm2", t.WheelInertia)),
		WheelRadius:          quantity.Metre(r.positive("vehicle.driven_wheel_radius_m", t.WheelRadius)),
	}
}

func (r *reading) dyno(t dynoTable) campaign.Dyno {
	d := campaign.Dyno{
		ID:                 t.ID,
		DrumInertia:        quantity.KilogramSquareMetre(r.positive("dyno.drum_inertia_kgm2", t.Inertia)),
		DrumInertiaU:       quantity.KilogramSquareMetre(r.positive("dyno.drum_inertia_u_kgm2", t.InertiaU)),
		DrumRadius:         quantity.Metre(r.positive("dyno.drum_radius_m", t.Radius)),
		PulsesPerRev:       r.count("dyno.pulses_per_rev", t.Pulses),
		EnginePulsesPerRev: r.positive("dyno.engine_pulses_per_rev", t.EnginePulses),
		BrakeArm:           quantity.Metre(r.positive("dyno.brake_arm_m", t.BrakeArm)),
	}
	if _, stated := r.outline.places["dyno.parasitic_torque_nm"]; stated {
		if len(t.Parasitic) != len(d.Parasitic) {
			r.fault("dyno.parasitic_torque_nm", because(ErrNotPossible, "it has %d coefficients", len(t.Parasitic)), "write three, c0, c1 and c2, as in [1.1, 0.010, 0.0]")
		} else {
			d.Parasitic = [3]float64(t.Parasitic)
		}
	}
	if t.Elevation != nil {
		elevation := quantity.Metre(*t.Elevation)
		d.SiteElevation = &elevation
	}
	return d
}

func (r *reading) configuration(i int, t configurationTable) campaign.Configuration {
	path := fmt.Sprintf("configuration[%d]", i)
	c := campaign.Configuration{
		ID: t.ID, Role: campaign.Role(t.Role), Name: t.Name,
		WheelInertia:         quantity.KilogramSquareMetre(r.positive(path+".driven_wheel_inertia_kgm2", t.WheelInertia)),
		WheelRadius:          quantity.Metre(r.positive(path+".driven_wheel_radius_m", t.WheelRadius)),
		EngineRevsPerDrumRev: r.positive(path+".engine_revs_per_drum_rev", t.RevsPerRev),
	}
	for _, part := range t.Components {
		c.Components = append(c.Components, campaign.Component(part))
	}
	for _, key := range r.keysOf(path+".settings", slices.Collect(maps.Keys(t.Settings))) {
		c.Settings = append(c.Settings, campaign.Setting{Key: key, Value: r.outline.places[path+".settings."+key].text})
	}
	return c
}

// keysOf sorts the keys of a table into the order of the file.
func (r *reading) keysOf(table string, keys []string) []string {
	rank := func(key string) int {
		place := r.outline.places[table+"."+key]
		return place.line<<20 + place.position
	}
	slices.SortFunc(keys, func(a, b string) int { return rank(a) - rank(b) })
	return keys
}

func (r *reading) procedure(table map[string]setPoint) []campaign.SetPoint {
	var points []campaign.SetPoint
	for _, key := range r.keysOf("procedure", slices.Collect(maps.Keys(table))) {
		t := table[key]
		if t.Target == nil || t.Tolerance == nil {
			r.fault("procedure."+key, because(ErrMissing, "the target or the tolerance is missing"), "write both, as in { target = 250, tolerance = 7 }")
			continue
		}
		points = append(points, campaign.SetPoint{Key: key, Target: *t.Target, Tolerance: *t.Tolerance})
	}
	return points
}

func (r *reading) history(t *historyTable) *campaign.History {
	if t == nil {
		return nil
	}
	h := &campaign.History{Assumed: t.Assumed}
	for _, row := range []struct {
		name     string
		sd, df   *float64
		toSD, to *float64
	}{
		{"setup", t.SetupSD, t.SetupDF, &h.SetupSD, &h.SetupDF},
		{"block", t.BlockSD, t.BlockDF, &h.BlockSD, &h.BlockDF},
		{"pull", t.PullSD, t.PullDF, &h.PullSD, &h.PullDF},
	} {
		if (row.sd == nil) != (row.df == nil) {
			r.fault("history", because(ErrMissing, "%s_sd_pct and %s_df belong together, and one is missing", row.name, row.name), "write both, or neither")
			continue
		}
		if row.sd != nil {
			*row.toSD = *row.sd / 100
			*row.to = r.positive("history."+row.name+"_df", row.df)
		}
	}
	return h
}

func (r *reading) channels(table map[string]channelTable) campaign.ChannelMap {
	if table == nil {
		return nil
	}
	channels := campaign.ChannelMap{}
	columns := map[string]string{}
	for _, name := range r.keysOf("channels", slices.Collect(maps.Keys(table))) {
		t, path := table[name], "channels."+name
		source := campaign.ChannelSource{Column: strings.TrimSpace(t.Column), Unit: strings.TrimSpace(t.Unit)}
		switch t.Decimal {
		case "":
		case ".", ",":
			source.DecimalMark = t.Decimal[0]
		default:
			r.fault(path+".decimal", because(ErrNotPossible, "the decimal mark is %.60q", t.Decimal), `write "." or ","`)
		}
		if base, _ := splitFigures(name); meanings[base].dimensions == nil {
			if near := nearest(name, knownNames()); near != "" {
				r.fault(path, because(ErrUnknownKey, "no channel of a known meaning has this name"), "did you mean "+near+"?")
			}
		}
		r.channelUnit(path, name, source.Unit)
		if source.Column != "" {
			if other, taken := columns[source.Column]; taken {
				r.fault(path+".column", because(ErrDuplicate, "the column is that of %s already", other), "name a column for each channel")
			}
			columns[source.Column] = name
		}
		channels[name] = source
	}
	return channels
}

// channelUnit refuses a unit that the channel cannot have.
func (r *reading) channelUnit(path, name, unit string) {
	if unit == "" || name == timeColumn && isClockFormat(unit) {
		return
	}
	base, _ := splitFigures(name)
	m, known := meanings[base]
	if !known {
		return
	}
	if _, err := m.unit(unit); err != nil {
		r.fault(path+".unit", as(ErrUnit, err), "write a unit of the channel")
	}
}
