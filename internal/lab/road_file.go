package lab

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/road"
)

// roadFormat is the format of a file that says what the vehicle is on the road;
// docs/road.md.
const roadFormat = "fairpull.road/1"

// RoadRide says where a rider spends time, and where that is known from.
type RoadRide struct {
	road.Ride
	Source string
}

type (
	// roadText is such a file.
	roadText struct {
		Format       string     `toml:"format"`
		Mass         float64    `toml:"mass_kg"`
		TurningShare *float64   `toml:"turning_share"`
		Gears        []float64  `toml:"gears"`
		TestGear     int        `toml:"test_gear"`
		Primary      float64    `toml:"primary"`
		Final        float64    `toml:"final"`
		WheelRadius  float64    `toml:"wheel_radius_m"`
		Limiter      float64    `toml:"limiter_rpm"`
		Shift        float64    `toml:"shift_rpm"`
		ShiftTime    float64    `toml:"shift_s"`
		Class        string     `toml:"class"`
		DragArea     *float64   `toml:"drag_area_m2"`
		Rolling      *float64   `toml:"rolling_coefficient"`
		RoadLoad     []float64  `toml:"road_load"`
		Density      float64    `toml:"air_density_kgm3"`
		Grip         *gripText  `toml:"grip"`
		Uncertainty  doubtText  `toml:"uncertainty_pct"`
		Ask          askText    `toml:"ask"`
		Ride         *rideTable `toml:"ride"`
	}
	gripText struct {
		Friction     float64 `toml:"friction"`
		Wheelbase    float64 `toml:"wheelbase_m"`
		CentreHeight float64 `toml:"centre_height_m"`
		RearShare    float64 `toml:"rear_share"`
	}
	// doubtText has relative standard uncertainties in per cent.
	doubtText struct {
		Mass     *float64 `toml:"mass"`
		Rolling  *float64 `toml:"rolling"`
		Drag     *float64 `toml:"drag"`
		Gearing  *float64 `toml:"gearing"`
		Level    *float64 `toml:"level"`
		Friction *float64 `toml:"friction"`
	}
	askText struct {
		RollOn [][2]float64 `toml:"roll_on_kmh"`
		Gear   int          `toml:"roll_on_gear"`
		To     []float64    `toml:"to_kmh"`
		Over   []float64    `toml:"over_m"`
		Top    bool         `toml:"top_speed"`
	}
	// rideTable is a histogram, or a logger file beside this one.
	rideTable struct {
		Edges       []float64   `toml:"rpm"`
		Seconds     []float64   `toml:"seconds"`
		Log         string      `toml:"log"`
		Width       float64     `toml:"bin_rpm"`
		Time        columnTable `toml:"time"`
		EngineSpeed columnTable `toml:"engine_speed"`
	}
	columnTable struct {
		Column string `toml:"column"`
		Unit   string `toml:"unit"`
	}
)

// Bounds of the files, in bytes.
const (
	maxRoadFile = 64 << 10
	maxRideLog  = 64 << 20
)

// ReadRoad reads what a file says of vehicle, questions and ride into a query.
func ReadRoad(file string, q *RoadQuery) error {
	text, err := readBounded(file, maxRoadFile)
	if err != nil {
		return err
	}
	var t roadText
	if err := strictTOML(text, &t); err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	if t.Format != roadFormat {
		return fmt.Errorf("%s: its format is %.40q; write format = %q", file, t.Format, roadFormat)
	}
	q.Vehicle, err = t.vehicle()
	q.Ask = t.Ask.questions()
	if err == nil && t.Ride != nil {
		q.Ride, err = t.Ride.ride(filepath.Dir(file))
	}
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	return nil
}

// vehicle takes the file's figures over and refuses what is no number at all; what
// cannot be is refused by package road.
func (t *roadText) vehicle() (RoadVehicle, error) {
	v := RoadVehicle{
		Mass: t.Mass, TurningShare: t.TurningShare, Gears: t.Gears, Gear: t.TestGear,
		Primary: t.Primary, Final: t.Final, WheelRadius: t.WheelRadius,
		LimitRPM: t.Limiter, ShiftRPM: t.Shift, ShiftTime: t.ShiftTime,
		Class: t.Class, DragArea: t.DragArea, Rolling: t.Rolling, Density: t.Density,
	}
	for _, one := range []struct {
		key   string
		value float64
	}{{"mass_kg", t.Mass}, {"primary", t.Primary}, {"final", t.Final}, {"wheel_radius_m", t.WheelRadius}, {"limiter_rpm", t.Limiter}, {"shift_rpm", t.Shift}, {"shift_s", t.ShiftTime}, {"air_density_kgm3", t.Density}} {
		if !(one.value >= 0) || math.IsInf(one.value, 0) {
			return v, declined("%s is %g: it must be a positive number", one.key, one.value)
		}
	}
	if given := t.Primary > 0 || t.Final > 0 || t.WheelRadius > 0; given && !(t.Primary > 0 && t.Final > 0 && t.WheelRadius > 0 && len(t.Gears) > 0) {
		return v, declined("primary, final, wheel_radius_m and gears belong together: give all four, or the gears alone, whose ratios then start from the pulls")
	}
	if n := len(t.RoadLoad); n != 0 && n != 3 {
		return v, declined("road_load has %d numbers: it has three, in N, N/(m/s) and N/(m/s)²", n)
	} else if n == 3 {
		v.RoadLoad = &[3]float64{t.RoadLoad[0], t.RoadLoad[1], t.RoadLoad[2]}
	}
	if v.RoadLoad != nil && (v.Class != "" || v.DragArea != nil || v.Rolling != nil) {
		return v, declined("road_load says all of the resistance: leave out class, drag_area_m2 and rolling_coefficient")
	}
	if g := t.Grip; g != nil {
		v.Grip = &road.Grip{Friction: g.Friction, Wheelbase: quantity.Metre(g.Wheelbase), CentreHeight: quantity.Metre(g.CentreHeight), RearShare: g.RearShare}
	}
	hundredth := func(p *float64) *float64 {
		if p == nil {
			return nil
		}
		v := *p / 100
		return &v
	}
	u := t.Uncertainty
	v.Uncertainty = RoadUncertainty{hundredth(u.Mass), hundredth(u.Rolling), hundredth(u.Drag), hundredth(u.Gearing), hundredth(u.Level), hundredth(u.Friction)}
	return v, nil
}

// questions takes over what a file asks, in SI.
func (t *askText) questions() RoadAsk {
	a := RoadAsk{Top: t.Top}
	for _, s := range t.RollOn {
		a.AddRollOn(quantity.SI, t.Gear, s[0], s[1])
	}
	a.AddStarts(quantity.SI, t.To, t.Over)
	return a
}

// ride returns the histogram that a file has, or that of the logger file which it
// names.
func (t *rideTable) ride(dir string) (*RoadRide, error) {
	if t.Log != "" {
		if len(t.Edges)+len(t.Seconds) > 0 {
			return nil, declined("under [ride] stands both a histogram and a log: one of the two")
		}
		if !filepath.IsLocal(t.Log) {
			return nil, declined("the log %.80q is no file beside this one", t.Log)
		}
		return rideOf(filepath.Join(dir, t.Log), t.Width, campaign.ChannelSource{Column: t.Time.Column, Unit: t.Time.Unit}, campaign.ChannelSource{Column: t.EngineSpeed.Column, Unit: t.EngineSpeed.Unit})
	}
	r := &RoadRide{Ride: road.Ride{EdgesRPM: t.Edges, Weight: t.Seconds}, Source: "a histogram that was entered"}
	return r, r.Validate()
}

// rideBins is the width of the bins of a logger file, 1/min.
const rideBins = 250

// RideOfLog reads where a rider spends time from a logger file with columns time and
// engine_speed.
func RideOfLog(file string) (*RoadRide, error) {
	return rideOf(file, 0, campaign.ChannelSource{}, campaign.ChannelSource{})
}

func rideOf(file string, width float64, time, engineSpeed campaign.ChannelSource) (*RoadRide, error) {
	if width == 0 {
		width = rideBins
	}
	data, err := readBounded(file, maxRideLog)
	if err != nil {
		return nil, err
	}
	log, err := ingest.ParseRide(filepath.Base(file), data, time, engineSpeed)
	if err != nil {
		return nil, err
	}
	speed := make([]float64, len(log.EngineSpeed))
	for i, omega := range log.EngineSpeed {
		speed[i] = omega / (2 * math.Pi / 60)
	}
	ride, pauses, err := road.FromSeries(log.Time, speed, width)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	r := &RoadRide{Ride: ride, Source: "the log " + filepath.Base(file)}
	if pauses > 0 {
		r.Source += fmt.Sprintf(", %.0f s of pauses left out", pauses)
	}
	return r, nil
}

// ParseRide reads a histogram as FROM-TO=TIME, comma-separated, engine speeds in 1/min
// and times in any unit: "2000-3000=20,3000-4000=35". Bins that are left out have no
// time.
func ParseRide(text string) (*RoadRide, error) {
	r := &RoadRide{Source: "a histogram that was entered"}
	for part := range strings.SplitSeq(text, ",") {
		span, weight, _ := strings.Cut(part, "=")
		from, to, _ := strings.Cut(span, "-")
		var v [3]float64
		for i, s := range []string{from, to, weight} {
			var err error
			if v[i], err = strconv.ParseFloat(strings.TrimSpace(s), 64); err != nil {
				return nil, declined("%.60q is no part of a histogram: write 2000-3000=20,3000-4000=35, engine speeds and time", part)
			}
		}
		if n := len(r.EdgesRPM); n == 0 {
			r.EdgesRPM = []float64{v[0]}
		} else if last := r.EdgesRPM[n-1]; v[0] > last {
			r.EdgesRPM, r.Weight = append(r.EdgesRPM, v[0]), append(r.Weight, 0)
		} else if v[0] < last {
			return nil, declined("the parts of the histogram overlap, or do not stand in order: %g comes after %g", v[0], last)
		}
		r.EdgesRPM, r.Weight = append(r.EdgesRPM, v[1]), append(r.Weight, v[2])
	}
	if err := r.Validate(); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	return r, nil
}
