package simulate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Bounds of what one scenario may ask for.
const (
	maxConfigurations = 8
	maxBlocks         = 100
	maxPulls          = 500
	maxBumps          = 50
	maxParts          = 200
	maxFaults         = 200
	maxText           = 300
	maxRows           = 2e7   // rows or pulses of a whole campaign, if every pull took longestLog
	longestLog        = 300.0 // s
)

// ErrScenario is what errors.Is finds in every error of Validate and FromTOML.
var ErrScenario = errors.New("simulate: not a usable scenario")

// problems collects what is wrong with a scenario.
type problems struct{ list []error }

func (p *problems) add(format string, arguments ...any) {
	p.list = append(p.list, fmt.Errorf(format, arguments...))
}

// bound notes a value that is not a number within low to high.
func (p *problems) bound(key string, value, low, high float64) {
	if !(value >= low && value <= high) {
		p.add("%s is %v; it must lie within %v to %v", key, value, low, high)
	}
}

// Validate returns nil for a scenario that can be simulated, else an error that
// names every key that is wrong, its value and what is allowed; errors.Is finds
// ErrScenario in it. Whether the engine can pull the drum through the speed range
// shows only in Files.
func (s Scenario) Validate() error {
	p := &problems{}
	s.checkTexts(p)
	s.checkVehicle(p)
	s.checkEngine(p)
	s.checkDyno(p)
	s.checkLogger(p)
	s.checkWeather(p)
	s.checkScatter(p)
	s.checkBrake(p)
	if s.checkPlan(p) {
		s.checkConfigurations(p)
		s.checkFaults(p)
	}
	s.checkObjective(p)
	if len(p.list) == 0 {
		return nil
	}
	return fmt.Errorf("%w: %w", ErrScenario, errors.Join(p.list...))
}

// text notes a text that campaign.toml cannot carry.
func (p *problems) text(key, value string, required bool) {
	switch {
	case required && value == "":
		p.add("%s is missing", key)
	case len(value) > maxText:
		p.add("%s is longer than %d bytes", key, maxText)
	case !utf8.ValidString(value) || strings.ContainsFunc(value, unicode.IsControl):
		p.add("%s holds control characters or is not UTF-8", key)
	}
}

func isSlug(s string) bool {
	return s != "" && len(s) <= 64 && s[0] != '-' && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-')
	})
}

func (s *Scenario) checkTexts(p *problems) {
	for _, id := range []struct{ key, value string }{{"id", s.ID}, {"vehicle.id", s.Vehicle.ID}, {"dyno.id", s.Dyno.ID}} {
		if !isSlug(id.value) {
			p.add("%s is %q; it must be a slug of lower-case letters, digits and hyphens", id.key, id.value)
		}
	}
	p.text("title", s.Title, true)
	p.text("purpose", s.Purpose, false)
	p.text("vehicle.description", s.Vehicle.Description, false)
	p.text("vehicle.tyre_speed_symbol", s.Vehicle.TyreSpeedSymbol, false)
	for _, law := range []struct{ key, name string }{{"correction", s.Correction}, {"engine.air_law", s.Engine.AirLaw}} {
		if _, known := lawNamed(law.name); !known {
			names := make([]string, len(airLaws))
			for i := range airLaws {
				names[i] = airLaws[i].name
			}
			p.add("%s is %q; it must be one of %s", law.key, law.name, strings.Join(names, ", "))
		}
	}
}

func (s *Scenario) checkVehicle(p *problems) {
	v := &s.Vehicle
	p.bound("vehicle.mass_with_rider_kg", float64(v.MassWithRider), 0, 2000)
	p.bound("vehicle.test_gear", float64(v.TestGear), 0, 20)
	p.bound("vehicle.engine_revs_per_drum_rev", v.RevsPerDrumRev, 0.1, 100)
	p.bound("vehicle.wheel_inertia_kgm2", float64(v.WheelInertia), 0.001, 50)
	p.bound("vehicle.wheel_radius_m", float64(v.WheelRadius), 0.1, 1)
	checkLoss(p, "vehicle.loss_nm", v.Loss)
	p.bound("vehicle.tyre_pressure_pa", float64(v.TyrePressure), 160_000, 600_000)
	p.bound("vehicle.pressure_exponent", v.PressureExponent, -2, 0)
	p.bound("vehicle.slip_per_nm", v.Slip, 0, 1e-3)
	p.bound("vehicle.slip_time_s", v.SlipTime, 0.01, 1)
}

func checkLoss(p *problems, key string, c [3]float64) {
	for i, high := range []float64{500, 10, 0.1} {
		p.bound(fmt.Sprintf("%s[%d]", key, i), c[i], 0, high)
	}
}

func (s *Scenario) checkEngine(p *problems) {
	e := &s.Engine
	checkShape(p, "engine.torque", e.Torque)
	p.bound("engine.drag_nm[0]", e.Drag[0], 0, 500)
	p.bound("engine.drag_nm[1]", e.Drag[1], 0, 10)
	p.bound("engine.inertia_kgm2", float64(e.Inertia), 0, 5)
	p.bound("engine.idle_rpm", e.IdleRPM, 100, 5000)
	p.bound("engine.start_rpm", e.StartRPM, math.Max(300, e.IdleRPM), 20_000)
	p.bound("engine.close_rpm", e.CloseRPM, e.StartRPM+500, 25_000)
	p.bound("engine.exponent_error", e.ExponentError, -1, 1)
	p.bound("engine.mixture_best", e.MixtureBest, 0.5, 2)
	p.bound("engine.mixture_curvature", e.MixtureCurvature, 0, 20)
}

func checkShape(p *problems, key string, s Shape) {
	p.bound(key+".level", s.Level, -5000, 5000)
	p.bound(key+".mid_rpm", s.MidRPM, 0, 25_000)
	for _, c := range []struct {
		name  string
		value float64
	}{{"tilt", s.Tilt}, {"bend", s.Bend}, {"skew", s.Skew}} {
		p.bound(key+"."+c.name, c.value, -50, 50)
		if c.value != 0 && s.MidRPM == 0 {
			p.add("%s.%s needs mid_rpm", key, c.name)
		}
	}
	if len(s.Bumps) > maxBumps {
		p.add("%s has more than %d bumps", key, maxBumps)
		return
	}
	for i, b := range s.Bumps {
		p.bound(fmt.Sprintf("%s.bump %d at_rpm", key, i+1), b.AtRPM, 0, 30_000)
		p.bound(fmt.Sprintf("%s.bump %d width_rpm", key, i+1), b.WidthRPM, 100, 30_000)
		p.bound(fmt.Sprintf("%s.bump %d size", key, i+1), b.Size, -5000, 5000)
	}
}

func (s *Scenario) checkDyno(p *problems) {
	d := &s.Dyno
	p.bound("dyno.inertia_kgm2", float64(d.Inertia), 0.1, 10_000)
	p.bound("dyno.inertia_u_kgm2", float64(d.InertiaU), 0, float64(d.Inertia))
	p.bound("dyno.inertia_stated_kgm2", float64(d.InertiaStated), 0, 10_000)
	p.bound("dyno.radius_m", float64(d.Radius), 0.05, 2)
	checkLoss(p, "dyno.parasitic_nm", d.Parasitic)
	p.bound("dyno.site_elevation_m", float64(d.SiteElevation), -430, 5000)

	p.bound("drive.lead_s", s.Drive.Lead, 0.1, 30)
	p.bound("drive.open_time_s", s.Drive.OpenTime, 0.01, 2)
	p.bound("drive.close_time_s", s.Drive.CloseTime, 0.01, 2)
	p.bound("drive.clutch_delay_s", s.Drive.ClutchDelay, 0.01, 5)
	p.bound("drive.coast_s", s.Drive.Coast, 0, 60)
}

func (s *Scenario) checkWeather(p *problems) {
	w := &s.Weather
	p.bound("weather.pressure_pa", float64(w.Pressure), 60_000, 110_000)
	p.bound("weather.temperature_k", float64(w.Temperature), 263.15, 323.15)
	p.bound("weather.relative_humidity", w.RelativeHumidity, 0.02, 1)
	p.bound("weather.pressure_pa_per_h", w.PressureRate, -500, 500)
	p.bound("weather.temperature_k_per_h", w.TemperatureRate, -5, 5)
	p.bound("weather.relative_humidity_per_h", w.HumidityRate, -0.2, 0.2)
	p.bound("weather.pressure_walk_pa", w.PressureWalk, 0, 200)
	p.bound("weather.temperature_walk_k", w.TemperatureWalk, 0, 2)
	p.bound("weather.relative_humidity_walk", w.HumidityWalk, 0, 0.1)
	p.bound("weather.pressure_read_sd_pa", w.PressureRead, 0, 500)
	p.bound("weather.temperature_read_sd_k", w.TemperatureRead, 0, 3)
	p.bound("weather.relative_humidity_read_sd", w.HumidityRead, 0, 0.1)
}

func (s *Scenario) checkScatter(p *problems) {
	for _, level := range []struct {
		name string
		Spread
	}{{"setup", s.Scatter.Setup}, {"block", s.Scatter.Block}, {"pull", s.Scatter.Pull}} {
		p.bound("scatter."+level.name+".common", level.Common, 0, 0.05)
		p.bound("scatter."+level.name+".tilt", level.Tilt, 0, 0.05)
		p.bound("scatter."+level.name+".course", level.Course, 0, 0.05)
	}
	p.bound("scatter.setup_loss", s.Scatter.SetupLoss, 0, 0.1)
	p.bound("scatter.tyre_pressure_pa", s.Scatter.TyrePressure, 0, 10_000)
	p.bound("scatter.oil_temperature_k", s.Scatter.OilTemperature, 0, 10)
	p.bound("drift.per_hour", s.Drift.PerHour, -0.1, 0.1)
	p.bound("drift.saturating", s.Drift.Saturating, -0.2, 0.2)
	if s.Drift.Saturating != 0 {
		p.bound("drift.hours", s.Drift.Hours, 0.01, 100)
	}
	p.bound("procedure.tyre_pressure_tolerance_pa", float64(s.Procedure.TyreTolerance), 100, 100_000)
	p.bound("procedure.oil_temperature_k", float64(s.Procedure.OilTemperature), 293.15, 423.15)
	p.bound("procedure.oil_temperature_tolerance_k", float64(s.Procedure.OilTolerance), 0.1, 50)
	if h := s.History; h != nil {
		for _, pair := range []struct {
			name   string
			sd, df float64
		}{{"setup", h.SetupSD, h.SetupDF}, {"block", h.BlockSD, h.BlockDF}, {"pull", h.PullSD, h.PullDF}} {
			p.bound("history."+pair.name+"_sd", pair.sd, 0, 0.2)
			p.bound("history."+pair.name+"_df", pair.df, 0, 1e6)
			if (pair.sd == 0) != (pair.df == 0) {
				p.add("history.%s_sd and history.%s_df go together", pair.name, pair.name)
			}
		}
	}
}

// checkPlan says whether order and numbers are sane enough to look at what hangs
// on them.
func (s *Scenario) checkPlan(p *problems) bool {
	before := len(p.list)
	plan := &s.Plan
	if n := len(s.Configurations); n < 2 || n > maxConfigurations {
		p.add("there are %d configurations; there must be 2 to %d", n, maxConfigurations)
	}
	if len(plan.Order) > maxBlocks {
		p.add("plan.order has more than %d blocks", maxBlocks)
		return false
	}
	for _, letter := range plan.Order {
		if s.configuration(string(letter)) < 0 {
			p.add("plan.order: there is no configuration %q", string(letter))
		}
	}
	p.bound("plan.pulls_per_block", float64(plan.PullsPerBlock), 1, 50)
	p.bound("plan.blocks_per_setup", float64(plan.BlocksPerSetup), 1, maxBlocks)
	p.bound("plan.pull_every_s", plan.PullEvery, 10, 86_400)
	p.bound("plan.change_over_s", plan.ChangeOver, 10, 7*86_400)
	if y := plan.Start.Year(); y < 1990 || y > 2200 {
		p.add("plan.start is %v; it must lie within the years 1990 to 2200", plan.Start)
	}
	if n := s.Rows(); n > maxPulls {
		p.add("the plan comes to %d pulls; the most are %d", n, maxPulls)
	}
	return len(p.list) == before
}

func (s *Scenario) checkConfigurations(p *problems) {
	for i := range s.Configurations {
		c := &s.Configurations[i]
		key := fmt.Sprintf("configuration %d", i+1)
		if len(c.ID) != 1 || c.ID[0] < 'A' || c.ID[0] > 'Z' {
			p.add("%s: id is %q; it must be one letter, A to Z", key, c.ID)
		}
		if s.configuration(c.ID) != i {
			p.add("%s: id %q is taken", key, c.ID)
		}
		if !strings.Contains(s.Plan.Order, c.ID) {
			p.add("%s: %q has no block in plan.order", key, c.ID)
		}
		p.text(key+": name", c.Name, true)
		checkParts(p, key, c)
		checkShape(p, key+": gain", c.Gain)
		p.bound(key+": loss_change", c.LossChange, -0.9, 5)
		p.bound(key+": lambda", c.Lambda, 0.6, 1.5)
		checkShape(p, key+": lambda_course", c.LambdaCourse)
		inertia, radius, ratio := s.wheelOf(c)
		p.bound(key+": wheel_inertia_kgm2", inertia, 0.001, 50)
		p.bound(key+": wheel_radius_m", radius, 0.1, 1)
		p.bound(key+": engine_revs_per_drum_rev", ratio, 0.1, 100)
		s.checkTorque(p, key, c)
	}
}

func checkParts(p *problems, key string, c *Configuration) {
	if n := len(c.Components); n < 1 || n > maxParts {
		p.add("%s: there are %d components; there must be 1 to %d", key, n, maxParts)
	}
	for _, part := range c.Components {
		p.text(key+": component function", part.Function, true)
		p.text(key+": component part", part.Part, true)
		p.text(key+": component serial", part.Serial, false)
		p.text(key+": component batch", part.Batch, false)
	}
	if len(c.Settings) > maxParts {
		p.add("%s: there are more than %d settings", key, maxParts)
	}
	var keys []string
	for _, setting := range c.Settings {
		bare := setting.Key != "" && len(setting.Key) <= 64 && !strings.ContainsFunc(setting.Key, func(r rune) bool {
			return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '_')
		})
		if !bare || slices.Contains(keys, setting.Key) {
			p.add("%s: setting key %q is taken or not of lower-case letters, digits and _", key, setting.Key)
		}
		keys = append(keys, setting.Key)
		p.text(key+": setting "+setting.Key, setting.Value, true)
	}
}

// checkTorque notes a torque or a gain that no engine has.
func (s *Scenario) checkTorque(p *problems, key string, c *Configuration) {
	for i := range 101 {
		n := s.Engine.StartRPM*0.95 + (s.Engine.CloseRPM*1.02-s.Engine.StartRPM*0.95)*float64(i)/100
		torque, gain, lambda := s.Engine.Torque.At(n), c.Gain.At(n), s.lambda(c, nil, n)
		if !(lambda > 0.5 && lambda < 2) {
			p.add("%s: lambda is %.3g at %.0f 1/min; it must lie within 0.5 to 2", key, lambda, n)
			return
		}
		if !(torque > 0 && torque < 5000) {
			p.add("%s: engine.torque is %.3g N·m at %.0f 1/min; it must be above 0", key, torque, n)
			return
		}
		if !(gain > -0.9 && gain < 3) {
			p.add("%s: gain is %.3g at %.0f 1/min; it must lie within -0.9 to 3", key, gain, n)
			return
		}
	}
}

func (s *Scenario) checkObjective(p *problems) {
	o := &s.Objective
	s.checkBand(p)
	p.bound("objective.smallest_gain", o.SmallestGain, 0, 0.5)
	p.bound("objective.confidence", o.Confidence, 0.5, 0.9999)
	if !slices.Contains([]string{"band", "peak_torque", "peak_power"}, o.Primary) {
		p.add("objective.primary is %q; it must be band, peak_torque or peak_power", o.Primary)
	}
}

// checkBand notes a riding band that the engine is not pulled through. Where the
// pull itself has no range there is nothing to hold the band against.
func (s *Scenario) checkBand(p *problems) {
	band, start, shut := s.Objective.BandRPM, s.Engine.StartRPM, s.Engine.CloseRPM
	if band == [2]float64{} {
		p.add("objective.band_rpm is missing; write both ends of the riding band in 1/min, multiples of %d between engine.start_rpm and engine.close_rpm, as in band_rpm = [3000, 8000]", gridRPM)
		return
	}
	for i, n := range band {
		if math.Mod(n, gridRPM) != 0 {
			p.add("objective.band_rpm[%d] is %v; it must be a multiple of %d", i, n, gridRPM)
		}
	}
	if !(start+gridRPM <= shut) {
		return
	}
	p.bound("objective.band_rpm[0]", band[0], start, shut-gridRPM)
	if band[0] >= start && band[0] <= shut-gridRPM {
		p.bound("objective.band_rpm[1]", band[1], band[0]+gridRPM, shut)
	}
}

func (s *Scenario) checkFaults(p *problems) {
	if len(s.Faults) > maxFaults {
		p.add("there are more than %d faults", maxFaults)
		return
	}
	for i := range s.Faults {
		if err := s.checkFault(i, s.Rows()); err != nil {
			p.list = append(p.list, err)
			return
		}
	}
	for number := range s.Rows() {
		block := number / s.perBlock()
		name := strconv.Itoa(number + 1)
		carried := map[string]bool{}
		for _, f := range s.Faults {
			if !f.hits(name, string(s.Plan.Order[block]), block) {
				continue
			}
			if carried[f.Name] {
				p.add("fault %s: pull %s would carry it twice", f.Name, name)
				return
			}
			if s.isSteady(number%s.perBlock()) && !steadyFaults[f.Name] {
				p.add("fault %s: pull %s is a steady log, which cannot carry it", f.Name, name)
				return
			}
			carried[f.Name] = true
		}
	}
}

func (s *Scenario) checkLogger(p *problems) {
	l := &s.Logger
	p.bound("logger.encoder_error", l.EncoderError, 0, 0.02)
	p.bound("logger.encoder_phase_rad", l.EncoderPhase, -7, 7)
	rate := 0.0
	switch l.Kind {
	case SampledLog:
		rate = l.Sampled.Rate
		l.Sampled.check(p)
	case PulseLog:
		rate = s.Engine.CloseRPM / 60 * (float64(l.Pulses.PerRev)/s.Vehicle.RevsPerDrumRev + l.Pulses.EnginePerRev)
		l.Pulses.check(p)
	default:
		p.add("logger.kind is %q; it must be %s or %s", l.Kind, SampledLog, PulseLog)
	}
	if rows := rate * longestLog * float64(len(s.Plan.Order)*s.Plan.PullsPerBlock); rows > maxRows {
		p.add("the campaign could come to %.3g rows or pulses; the most are %.3g: fewer pulls, a lower rate or fewer pulses a turn", rows, maxRows)
	}
}

func (p *problems) step(key string, step, largest float64) {
	if _, known := decimals(step); !known || step > largest {
		p.add("%s is %v; it must be a power of ten from 1e-9 to %v", key, step, largest)
	}
}

func (l *Sampled) check(p *problems) {
	p.bound("logger.sampled.rate_hz", l.Rate, 5, 5000)
	p.bound("logger.sampled.jitter", l.Jitter, 0, 0.9)
	p.step("logger.sampled.time_step_s", l.TimeStep, 0.01)
	if !slices.Contains([]string{RadiansPerSecond, RevolutionsPerMinute, KilometresPerHour}, l.DrumUnit) {
		p.add("logger.sampled.drum_unit is %q; it must be %s, %s or %s", l.DrumUnit, RadiansPerSecond, RevolutionsPerMinute, KilometresPerHour)
	}
	p.bound("logger.sampled.drum_noise_rad_s", l.DrumNoise, 0, 10)
	p.step("logger.sampled.drum_step", l.DrumStep, 1)
	p.bound("logger.sampled.engine_noise_rpm", l.EngineNoise, 0, 500)
	p.step("logger.sampled.engine_step_rpm", l.EngineStep, 1)
	p.bound("logger.sampled.lambda_noise", l.LambdaNoise, 0, 0.2)
	p.bound("logger.sampled.lambda_time_s", l.LambdaTime, 0, 5)
	p.bound("logger.sampled.lambda_dead_s", l.LambdaDead, 0, 5)
}

func (l *Pulses) check(p *problems) {
	p.bound("logger.pulses.per_rev", float64(l.PerRev), 1, 4096)
	p.bound("logger.pulses.tooth_error", l.ToothError, 0, 0.1)
	p.step("logger.pulses.timer_step_s", l.TimerStep, 1e-3)
	p.bound("logger.pulses.drum_jitter_s", l.DrumJitter, 0, 1e-3)
	p.bound("logger.pulses.drum_missed", l.DrumMissed, 0, 0.2)
	p.bound("logger.pulses.engine_per_rev", l.EnginePerRev, 0, 64)
	if l.EnginePerRev != 0 {
		p.bound("logger.pulses.engine_per_rev", l.EnginePerRev, 0.25, 64)
	}
	p.bound("logger.pulses.engine_jitter", l.EngineJitter, 0, 0.2)
	p.bound("logger.pulses.engine_missed", l.EngineMissed, 0, 0.2)
}
