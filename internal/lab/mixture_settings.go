package lab

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"fairpull/campaign"
	"fairpull/mixture"
	"fairpull/signal"
)

// mixtureFormat is the format of a file that says what the mixture is to be and how to
// read the instruments; docs/mixture.md.
const mixtureFormat = "fairpull.mixture/1"

// MixtureFile is the name under which a campaign folder may hold such a file.
const MixtureFile = "mixture.toml"

type (
	// mixtureText is such a file.
	mixtureText struct {
		Format   string                  `toml:"format"`
		Load     string                  `toml:"load"`
		Fuel     *fuelText               `toml:"fuel"`
		Sensor   sensorText              `toml:"sensor"`
		Gas      *gasText                `toml:"gas"`
		Grid     gridText                `toml:"grid"`
		Targets  []targetText            `toml:"target"`
		Channels map[string]channelsText `toml:"channels"`
	}
	fuelText struct {
		HydrogenCarbon float64 `toml:"hydrogen_carbon"`
		OxygenCarbon   float64 `toml:"oxygen_carbon"`
	}
	sensorText struct {
		U        float64  `toml:"u_lambda"`
		Dead     *float64 `toml:"dead_s"`
		Lag      float64  `toml:"lag_s"`
		UDelay   float64  `toml:"u_delay_s"`
		AFRRatio float64  `toml:"afr_ratio"`
	}
	gasText struct {
		Basis   string   `toml:"basis"`
		HCBasis string   `toml:"hc_basis"`
		NOBasis string   `toml:"no_basis"`
		HCAs    string   `toml:"hc_as"`
		U       float64  `toml:"u_lambda"`
		Dead    *float64 `toml:"dead_s"`
		Lag     float64  `toml:"lag_s"`
		UDelay  float64  `toml:"u_delay_s"`
	}
	gridText struct {
		SpeedStep float64 `toml:"speed_step_rpm"`
		LoadStep  float64 `toml:"load_step"`
	}
	targetText struct {
		RPM     []float64 `toml:"rpm"`
		Load    []float64 `toml:"load"`
		Lambda  float64   `toml:"lambda"`
		Leanest float64   `toml:"leanest"`
	}
	channelsText struct {
		Column  string `toml:"column"`
		Unit    string `toml:"unit"`
		Decimal string `toml:"decimal"`
	}
)

// mixtureSettings is what cannot be measured. The zero value is usable: no fuel, no
// target, delays found from the logs.
type mixtureSettings struct {
	load     string // channel; empty: the one that is logged
	fuel     *mixture.Fuel
	analyser *mixture.Analyser
	basis    string // of the analyser, in words
	targets  mixture.Targets
	channels campaign.ChannelMap

	sensorU, gasU          float64
	sensorDelay, gasDelay  *mixture.Delay
	afrRatio               float64
	speedStep, loadStepPct float64 // 1/min; % or kPa; 0: the usual
}

// Bounds and usual steps of a grid. Loads are in % of throttle or in kPa.
const (
	maxMixtureFile   = 256 << 10
	usualSpeedStep   = 500.0
	usualLoadStep    = 10.0
	curveStepOfSpeed = 0.5 // of a grid's step: curves are finer
	maxTargets       = 1000
)

// readMixtureSettings reads the file; an empty name gives the zero value.
func readMixtureSettings(file string) (mixtureSettings, error) {
	if file == "" {
		return mixtureSettings{}, nil
	}
	text, err := readBounded(file, maxMixtureFile)
	if err != nil {
		return mixtureSettings{}, err
	}
	return parseMixtureSettings(filepath.Base(file), text)
}

// parseMixtureSettings takes a file's text over. Errors name the file, and line and
// column where they are known.
func parseMixtureSettings(name string, text []byte) (mixtureSettings, error) {
	var t mixtureText
	if err := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields().Decode(&t); err != nil {
		return mixtureSettings{}, fmt.Errorf("%s, %w", name, placedTOML(err))
	}
	if t.Format != mixtureFormat {
		return mixtureSettings{}, declined("%s: its format is %.40q; write format = %q", name, t.Format, mixtureFormat)
	}
	s, err := t.settings()
	if err != nil {
		return mixtureSettings{}, fmt.Errorf("%s: %w", name, err)
	}
	return s, nil
}

// placedTOML names line and column of what a TOML reader refuses.
func placedTOML(err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		row, column := unknown.Errors[0].Position()
		return declined("line %d, column %d: the key %s is unknown; docs/mixture.md has those there are", row, column, strings.Join(unknown.Errors[0].Key(), "."))
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		row, column := bad.Position()
		return declined("line %d, column %d: %v", row, column, bad)
	}
	return err
}

func (t *mixtureText) settings() (mixtureSettings, error) {
	s := mixtureSettings{load: t.Load, sensorU: t.Sensor.U, afrRatio: t.Sensor.AFRRatio, speedStep: t.Grid.SpeedStep, loadStepPct: t.Grid.LoadStep, channels: campaign.ChannelMap{}}
	if t.Load != "" && t.Load != signal.Throttle && t.Load != signal.ManifoldPressure {
		return s, declined("load is %.40q; it is %q or %q", t.Load, signal.Throttle, signal.ManifoldPressure)
	}
	for _, b := range []struct {
		key              string
		value, low, high float64
	}{
		{"sensor.u_lambda", t.Sensor.U, 0, 0.2}, {"sensor.afr_ratio", t.Sensor.AFRRatio, 0, 40}, {"grid.speed_step_rpm", t.Grid.SpeedStep, 0, 5000}, {"grid.load_step", t.Grid.LoadStep, 0, 100},
	} {
		if !(b.value >= b.low && b.value <= b.high) {
			return s, declined("%s is %g; it lies within %g to %g", b.key, b.value, b.low, b.high)
		}
	}
	if t.Fuel != nil {
		fuel := mixture.Fuel{HydrogenCarbon: t.Fuel.HydrogenCarbon, OxygenCarbon: t.Fuel.OxygenCarbon}
		if err := fuel.Validate(); err != nil {
			return s, fmt.Errorf("[fuel]: %w", err)
		}
		s.fuel = &fuel
	}
	var err error
	if s.sensorDelay, err = statedDelay("sensor", t.Sensor.Dead, t.Sensor.Lag, t.Sensor.UDelay); err != nil {
		return s, err
	}
	if t.Gas != nil {
		if err := t.Gas.fill(&s); err != nil {
			return s, err
		}
	}
	if s.targets, err = t.targets(); err != nil {
		return s, err
	}
	for name, c := range t.Channels {
		source := campaign.ChannelSource{Column: c.Column, Unit: c.Unit}
		switch c.Decimal {
		case "", ".", ",":
		default:
			return s, declined("[channels] %.40s: decimal is %.10q; it is \".\" or \",\"", name, c.Decimal)
		}
		if c.Decimal != "" {
			source.DecimalMark = c.Decimal[0]
		}
		s.channels[name] = source
	}
	return s, nil
}

// statedDelay takes a delay over that the file states; nil where it states none.
func statedDelay(table string, dead *float64, lag, u float64) (*mixture.Delay, error) {
	if dead == nil {
		if lag != 0 || u != 0 {
			return nil, declined("[%s] states a lag or an uncertainty without dead_s; give dead_s too, or leave all three to be found from the logs", table)
		}
		return nil, nil
	}
	d, err := mixture.Stated(*dead, lag, u)
	if err != nil {
		return nil, fmt.Errorf("[%s]: %w", table, err)
	}
	if u == 0 {
		return nil, declined("[%s] states a delay without its uncertainty; give u_delay_s, its standard uncertainty in s", table)
	}
	return &d, nil
}

// hydrocarbons are the molecules that analysers count HC as, by their atoms of carbon.
var hydrocarbons = map[string]float64{"hexane": 6, "propane": 3, "methane": 1, "carbon": 1}

func (g *gasText) fill(s *mixtureSettings) error {
	bases := map[string]mixture.Basis{"": 0, "dry": mixture.Dry, "wet": mixture.Wet}
	a := mixture.Analyser{}
	for _, b := range []struct {
		key, value string
		to         *mixture.Basis
	}{{"basis", g.Basis, &a.Gases}, {"hc_basis", g.HCBasis, &a.HCBasis}, {"no_basis", g.NOBasis, &a.NOBasis}} {
		basis, known := bases[b.value]
		if !known || b.key == "basis" && basis == 0 {
			return declined("[gas] %s is %.20q; it is \"dry\" (behind a cooler) or \"wet\" (hot)", b.key, b.value)
		}
		*b.to = basis
	}
	var known bool
	if a.HCCarbons, known = hydrocarbons[g.HCAs]; !known {
		return declined("[gas] hc_as is %.20q; it is \"hexane\", \"propane\" or \"carbon\", as the analyser is set", g.HCAs)
	}
	if !(g.U >= 0 && g.U <= 0.2) {
		return declined("[gas] u_lambda is %g; it lies within 0 to 0.2", g.U)
	}
	s.analyser, s.gasU, s.basis = &a, g.U, g.Basis
	if g.HCBasis != "" && g.HCBasis != g.Basis {
		s.basis += ", HC " + g.HCBasis
	}
	if g.NOBasis != "" && g.NOBasis != g.Basis {
		s.basis += ", NO " + g.NOBasis
	}
	var err error
	s.gasDelay, err = statedDelay("gas", g.Dead, g.Lag, g.UDelay)
	return err
}

// targets takes the targets over; loads stay in % or kPa until the load is known.
func (t *mixtureText) targets() (mixture.Targets, error) {
	if len(t.Targets) > maxTargets {
		return nil, declined("there are %d targets; %d are the most", len(t.Targets), maxTargets)
	}
	var out mixture.Targets
	for i, one := range t.Targets {
		target := mixture.Target{Lambda: one.Lambda, Leanest: one.Leanest}
		for _, span := range []struct {
			key  string
			list []float64
			to   *[2]float64
		}{{"rpm", one.RPM, &target.SpeedRPM}, {"load", one.Load, &target.Load}} {
			switch len(span.list) {
			case 0:
			case 2:
				*span.to = [2]float64{span.list[0], span.list[1]}
			default:
				return nil, declined("target %d: %s has %d numbers; it has two, the lower first", i+1, span.key, len(span.list))
			}
		}
		if err := target.Validate(); err != nil {
			return nil, fmt.Errorf("target %d: %w", i+1, err)
		}
		out = append(out, target)
	}
	return out, nil
}

// inSI returns the targets with their loads in SI, and the step of the load.
func (s *mixtureSettings) inSI(load string) (mixture.Targets, float64) {
	step := s.loadStepPct
	if step == 0 {
		step = usualLoadStep
	}
	scale := 0.01
	if load == signal.ManifoldPressure {
		scale = 1000
	}
	out := make(mixture.Targets, len(s.targets))
	for i, t := range s.targets {
		t.Load[0], t.Load[1] = t.Load[0]*scale, t.Load[1]*scale
		out[i] = t
	}
	return out, step * scale
}

// steps returns the step of engine speed of grid and curve, 1/min.
func (s *mixtureSettings) steps() (grid, curve float64) {
	grid = s.speedStep
	if grid == 0 {
		grid = usualSpeedStep
	}
	return grid, grid * curveStepOfSpeed
}

// stoichiometric returns the fuel's own ratio; NaN where no fuel is declared.
func (s *mixtureSettings) stoichiometric() float64 {
	if s.fuel == nil {
		return math.NaN()
	}
	return s.fuel.StoichiometricRatio()
}
