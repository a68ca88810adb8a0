package lab

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairpull/air"
	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/road"
)

// RoadVehicle is what a person says of the vehicle on the road; what is zero or nil is
// taken from the campaign or, with its source, from typical figures.
type RoadVehicle struct {
	Mass         float64 // kg, with rider
	TurningShare *float64
	Gears        []float64 // ratios of the gearbox, first gear first
	Gear         int       // of the pulls; 0: the campaign's
	Primary      float64   // with Final and WheelRadius: the gearing without the drum
	Final        float64
	WheelRadius  float64 // m
	LimitRPM     float64
	ShiftRPM     float64
	ShiftTime    float64 // s
	Class        string
	DragArea     *float64    // m²
	Rolling      *float64    // coefficient
	RoadLoad     *[3]float64 // N, N/(m/s), N/(m/s)²
	Density      float64     // kg/m³
	Grip         *road.Grip
	Uncertainty  RoadUncertainty
}

// RoadUncertainty are relative standard uncertainties; nil: as the program has them.
type RoadUncertainty struct{ Mass, Rolling, Drag, Gearing, Level, Friction *float64 }

// ridden is a vehicle that the road can be asked with.
type ridden struct {
	vehicle   road.Vehicle
	unknowns  road.Unknowns
	gear      int // of the pulls, an index into the gears from 1
	alone     int // that gear as people count it, where no other is known; 0: others are
	questions []road.Question
}

// noLimiter is put where nobody says at which engine speed the limiter holds: the
// measured curve ends before.
const noLimiter = 30_000

// ridden puts vehicle and questions together and notes in out where each figure comes
// from.
func (a *Analysis) ridden(c *compare.Comparison, q RoadQuery, out *report.Road) (*ridden, error) {
	if usedPulls(a.Pulls)[0].AtCrank {
		return nil, declined("the figures are at the crank, and the road is driven by the wheel: there is no driveline loss to go by")
	}
	r := &ridden{}
	note := func(what, is, from string) {
		out.Inputs = append(out.Inputs, report.RoadInput{What: what, Is: is, From: from})
	}
	if err := a.roadMass(r, q.Vehicle, q.Units, note); err != nil {
		return nil, err
	}
	if err := a.roadGears(r, c, q.Vehicle, note); err != nil {
		return nil, err
	}
	if err := a.roadResistance(r, q.Vehicle, note); err != nil {
		return nil, err
	}
	a.roadLimits(r, q.Vehicle, note)
	r.unknowns.Level = a.levelU(c)
	if err := r.overrule(q.Vehicle.Uncertainty); err != nil {
		return nil, err
	}
	note("torque without the part", knownTo(r.unknowns.Level), "the campaign's own scatter, and the drum's inertia")
	var err error
	r.questions, err = r.asked(q)
	if err == nil {
		err = r.vehicle.Validate()
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	return r, nil
}

type noting func(what, is, from string)

const (
	entered       = "entered"
	typicalMemory = "typical, from memory"
	ofCampaign    = "the campaign"
)

func knownTo(u float64) string { return fmt.Sprintf("known to %.2g %% (standard uncertainty)", 100*u) }

// roadMass fills in mass and turning parts.
func (a *Analysis) roadMass(r *ridden, v RoadVehicle, units quantity.System, note noting) error {
	mass, from := v.Mass, entered
	if mass == 0 {
		mass, from = float64(a.Campaign.Vehicle.MassWithRider), ofCampaign
	}
	if mass == 0 {
		return declined("campaign %s does not say what the vehicle weighs with its rider: --mass 285", a.Campaign.ID)
	}
	r.vehicle.Mass = quantity.Kilogram(mass)
	unit := units.Unit(quantity.Mass)
	note("mass with rider", fmt.Sprintf("%.4g %s", unit.From(mass), unit.Name), from)
	share, shareFrom := 0.07, "typical of both wheels, from memory"
	if v.TurningShare != nil {
		share, shareFrom = *v.TurningShare, entered
	}
	r.vehicle.RotatingShare = share
	note("turning parts", fmt.Sprintf("%.3g %% of the mass", 100*share), shareFrom)
	return nil
}

// roadGears fills in the gearing: from the ratios and the wheel, or from the turns of
// engine and drum in the pulls, the other gears by their ratios to that gear.
func (a *Analysis) roadGears(r *ridden, c *compare.Comparison, v RoadVehicle, note noting) error {
	r.gear = v.Gear
	if r.gear == 0 {
		r.gear = a.Campaign.Vehicle.TestGear
	}
	if len(v.Gears) > 0 && v.Primary > 0 && v.Final > 0 && v.WheelRadius > 0 {
		k, err := road.FromRatios(v.Primary, v.Final, v.Gears, quantity.Metre(v.WheelRadius))
		if err != nil {
			return fmt.Errorf("%w: %w", ErrRefused, err)
		}
		r.vehicle.EnginePerMetre = k
		note("gearing", fmt.Sprintf("%d gears, primary %.4g, final %.4g, rolling radius %.4g m", len(k), v.Primary, v.Final, v.WheelRadius), entered)
		return a.knownGear(r)
	}
	k, err := a.drumGearing(c)
	if err != nil {
		return err
	}
	if k == 0 {
		return declined("the pulls of campaign %s do not say how the engine is geared to the drum: give the ratios in a file, with primary, final and wheel_radius_m (docs/road.md)", a.Campaign.ID)
	}
	r.unknowns.Gearing = 0.01
	if len(v.Gears) == 0 {
		r.vehicle.EnginePerMetre, r.alone, r.gear = []float64{k}, r.gear, 1
		note("gearing", fmt.Sprintf("%s: %.4g turns of the engine for each metre", a.pullGear(), k/(2*math.Pi)), "engine and drum speed of the pulls; other gears are not known")
		return nil
	}
	if err := a.knownGear(&ridden{gear: r.gear, vehicle: road.Vehicle{EnginePerMetre: v.Gears}}); err != nil {
		return err
	}
	for _, ratio := range v.Gears {
		r.vehicle.EnginePerMetre = append(r.vehicle.EnginePerMetre, k*ratio/v.Gears[r.gear-1])
	}
	note("gearing", fmt.Sprintf("%d gears, gear %d with %.4g turns of the engine for each metre", len(v.Gears), r.gear, k/(2*math.Pi)), "engine and drum speed of the pulls; the other gears by their ratios, which were entered")
	return nil
}

// pullGear names the gear of the pulls.
func (a *Analysis) pullGear() string {
	if g := a.Campaign.Vehicle.TestGear; g > 0 {
		return fmt.Sprintf("gear %d", g)
	}
	return "the gear of the pulls"
}

// knownGear refuses a gear of the pulls that is none of the gearbox's.
func (a *Analysis) knownGear(r *ridden) error {
	if r.gear < 1 || r.gear > len(r.vehicle.EnginePerMetre) {
		return declined("the pulls were made in gear %d, and there are ratios of %d gears: give all ratios, first gear first", r.gear, len(r.vehicle.EnginePerMetre))
	}
	return nil
}

// roadResistance fills in what holds the vehicle back.
func (a *Analysis) roadResistance(r *ridden, v RoadVehicle, note noting) error {
	r.unknowns.Drag, r.unknowns.Rolling = 0.15, 0.25
	if l := v.RoadLoad; l != nil {
		r.vehicle.Resistance = road.Resistance{Constant: l[0], Linear: l[1], Square: l[2]}
		r.unknowns.Drag, r.unknowns.Rolling = 0.03, 0.05
		note("road load", fmt.Sprintf("%.4g N + %.4g N/(m/s)·v + %.4g N/(m/s)²·v²", l[0], l[1], l[2]), entered)
		a.noteResistance(r, note, entered)
		return nil
	}
	if v.Class == "" && v.DragArea == nil {
		load, source, err := road.ByRegulation(r.vehicle.Mass)
		if err != nil {
			return declined("%w: give --drag-area and --rolling, or --class", err)
		}
		r.vehicle.Resistance = load
		note("road load", fmt.Sprintf("%.4g N + %.4g N/(m/s)²·v²", load.Constant, load.Square), source)
		a.noteResistance(r, note, "judged for a vehicle that the regulation only describes by its mass")
		return nil
	}
	area, rolling, from, err := r.areaAndRolling(v)
	if err != nil {
		return err
	}
	density, air, err := a.roadDensity(v.Density)
	if err != nil {
		return err
	}
	r.vehicle.Resistance, err = road.AirAndTyres(area, rolling, r.vehicle.Mass, density)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	note("drag area", fmt.Sprintf("%.3g m²", area), from)
	note("rolling coefficient", fmt.Sprintf("%.3g", rolling), from)
	note("density of the air", fmt.Sprintf("%.4g kg/m³", float64(density)), air)
	a.noteResistance(r, note, from)
	return nil
}

func (a *Analysis) noteResistance(r *ridden, note noting, from string) {
	note("air resistance", knownTo(r.unknowns.Drag), from)
	note("rolling resistance", knownTo(r.unknowns.Rolling), from)
}

// areaAndRolling returns drag area and rolling coefficient: those entered, the rest by
// class.
func (r *ridden) areaAndRolling(v RoadVehicle) (area, rolling float64, from string, err error) {
	from = entered
	if v.Class != "" {
		class, err := roadClass(v.Class)
		if err != nil {
			return 0, 0, "", err
		}
		area, rolling, from = class.DragArea, class.Rolling, "class “"+class.Name+"”, "+class.Source
		r.unknowns.Drag, r.unknowns.Rolling = class.DragU, class.RollingU
	}
	if v.DragArea != nil {
		area, r.unknowns.Drag = *v.DragArea, 0.05
	}
	if v.Rolling != nil {
		rolling, r.unknowns.Rolling = *v.Rolling, 0.1
	}
	switch {
	case v.Class == "" && v.Rolling == nil:
		rolling, from = 0.015, entered+"; the rolling coefficient typical, from memory"
	case v.Class != "" && (v.DragArea != nil || v.Rolling != nil):
		from += "; in part entered"
	}
	return area, rolling, from, nil
}

// RoadClasses returns the names of the kinds of motorcycle that typical figures are
// known for.
func RoadClasses() []string {
	var names []string
	for _, c := range road.Classes() {
		names = append(names, c.Name)
	}
	return names
}

// roadClass finds a kind of motorcycle by the beginning of its name.
func roadClass(name string) (road.Class, error) {
	var found []road.Class
	for _, c := range road.Classes() {
		if strings.HasPrefix(c.Name, strings.ToLower(strings.TrimSpace(name))) {
			found = append(found, c)
		}
	}
	if len(found) != 1 {
		return road.Class{}, declined("%.60q names no one kind of motorcycle: %s", name, strings.Join(RoadClasses(), "; "))
	}
	return found[0], nil
}

// roadDensity is the density of the air on the road: that of the reference air of the
// correction, since the torque is that of an engine in it.
func (a *Analysis) roadDensity(given float64) (quantity.KilogramPerCubicMetre, string, error) {
	if given != 0 {
		return quantity.KilogramPerCubicMetre(given), entered, nil
	}
	s := a.Standard
	if !s.Corrects() {
		const isa = 1.225
		return isa, "US Standard Atmosphere 1976 at sea level", nil
	}
	state, err := air.FromRelativeHumidity(s.Pressure, s.Temperature, 0)
	if err != nil {
		return 0, "", err
	}
	density, err := state.Density()
	return density, "dry air in the reference state of " + s.Name, err
}

// roadLimits fills in limiter, shifting and grip.
func (a *Analysis) roadLimits(r *ridden, v RoadVehicle, note noting) {
	r.vehicle.LimitRPM = noLimiter
	if v.LimitRPM > 0 {
		r.vehicle.LimitRPM = v.LimitRPM
		note("limiter", fmt.Sprintf("%.5g rpm", v.LimitRPM), entered)
	}
	if v.Grip != nil {
		g := *v.Grip
		r.vehicle.Grip, r.unknowns.Friction = &g, 0.1
		note("grip", fmt.Sprintf("friction %.3g, wheelbase %.4g m, centre of gravity %.3g m high, %.3g %% of the weight behind", g.Friction, float64(g.Wheelbase), float64(g.CentreHeight), 100*g.RearShare), entered)
	} else {
		note("grip", "no limit: neither does the tyre slide nor the front wheel lift", "not entered")
	}
	if len(r.vehicle.EnginePerMetre) < 2 {
		return
	}
	r.vehicle.ShiftRPM, r.vehicle.ShiftTime = v.ShiftRPM, v.ShiftTime
	at, from := "where the next gear pulls as hard", "not entered"
	if v.ShiftRPM > 0 {
		at, from = fmt.Sprintf("at %.5g rpm", v.ShiftRPM), entered
	}
	note("shifting", fmt.Sprintf("%s, %.2g s without drive", at, v.ShiftTime), from)
}

// overrule puts uncertainties that were entered in the place of the program's.
func (r *ridden) overrule(u RoadUncertainty) error {
	for _, one := range []struct {
		given *float64
		into  *float64
	}{{u.Mass, &r.unknowns.Mass}, {u.Rolling, &r.unknowns.Rolling}, {u.Drag, &r.unknowns.Drag}, {u.Gearing, &r.unknowns.Gearing}, {u.Level, &r.unknowns.Level}, {u.Friction, &r.unknowns.Friction}} {
		if one.given == nil {
			continue
		}
		if v := *one.given; !(v >= 0 && v <= 0.5) {
			return declined("a relative uncertainty is %g: it must lie between 0 and 0.5", v)
		}
		*one.into = *one.given
	}
	return nil
}

// asked returns the questions, or those that are asked where nothing is.
func (r *ridden) asked(q RoadQuery) ([]road.Question, error) {
	ask := q.Ask
	if ask.empty() {
		spans, to := [][2]float64{{60, 100}, {80, 120}}, []float64{100}
		if q.Units == quantity.USCustomary {
			spans, to = [][2]float64{{40, 60}, {50, 75}}, []float64{60}
		}
		for _, s := range spans {
			ask.AddRollOn(q.Units, 0, s[0], s[1])
		}
		if len(r.vehicle.EnginePerMetre) > 1 {
			ask.AddStarts(q.Units, to, nil)
			ask.Top = true
		}
	}
	other := func(q road.Question) bool { return q.Gear != 0 && q.Gear != r.alone }
	if len(r.vehicle.EnginePerMetre) == 1 && (len(ask.To)+len(ask.Over) > 0 || ask.Top || slices.ContainsFunc(ask.RollOns, other)) {
		return nil, declined("only the gear of the pulls is known, and a start from standstill, a top speed or another gear needs them all: --gears 2.9,2.1,1.6,1.3,1.1,1.0")
	}
	var out []road.Question
	for _, one := range ask.RollOns {
		one.Kind = road.InGear
		if one.Gear == 0 || len(r.vehicle.EnginePerMetre) == 1 {
			one.Gear = r.gear
		}
		out = append(out, one)
	}
	for _, v := range ask.To {
		out = append(out, road.Question{Kind: road.ToSpeed, To: v})
	}
	for _, way := range ask.Over {
		out = append(out, road.Question{Kind: road.Distance, Way: way})
	}
	if ask.Top {
		out = append(out, road.Question{Kind: road.Highest})
	}
	return out, nil
}
