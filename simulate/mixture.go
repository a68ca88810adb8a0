package simulate

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
)

// Tuning describes the logs of a session on a braked drum in which the mixture is mapped:
// the engine is held at many speeds and openings of the throttle, and at a few of them a
// mixture loop is run. Values are SI, engine speeds in 1/min.
type Tuning struct {
	Seed    uint64
	Seconds float64 // length of one log
	Rate    float64 // Hz
	Hold    float64 // s at one place, on average

	SpeedsRPM []float64
	Openings  []float64 // of the throttle, 0 to 1

	Target, Leanest float64 // lambda wanted, and the limit that is declared
	// Error is by how much lambda is off its target, a fraction: a level, a part that
	// rises over the openings and a bump over engine speed.
	ErrorLevel, ErrorRise float64
	ErrorBump             Bump
	VisitSD               float64 // of lambda from one hold to the next, a fraction

	SensorDead, SensorLag, SensorNoise, SensorOffset float64 // s, s, 1, 1
	GasDead, GasLag, GasNoise                        float64 // s, s, fraction of a reading
	HC                                               float64 // mole fraction, as hexane
	HydrogenCarbon, OxygenCarbon                     float64 // of the fuel

	Best, Curvature float64 // torque = greatest·(1 − Curvature·(lambda − Best)²)
	TorqueNoise     float64 // SD of the brake's reading, a fraction
	LoopRPM         []float64
	LoopFrom        float64 // lambda
	LoopTo          float64
	LoopStep        float64 // s at one mixture
}

// DefaultTuning returns an invented session: lean by 4 % and more where the throttle is
// wide open about 6,000 1/min, with mixture loops at two speeds.
func DefaultTuning() Tuning {
	return Tuning{
		Seed: 1, Seconds: 1200, Rate: 50, Hold: 3,
		SpeedsRPM: []float64{2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500, 7000},
		Openings:  []float64{0.2, 0.4, 0.6, 0.8, 1},
		Target:    0.90, Leanest: 0.93, ErrorLevel: 0.01, ErrorRise: 0.02, ErrorBump: Bump{6000, 700, 0.04}, VisitSD: 0.006,
		SensorDead: 0.18, SensorLag: 0.12, SensorNoise: 0.004,
		GasDead: 4.5, GasLag: 1.2, GasNoise: 0.005, HC: 120e-6, HydrogenCarbon: 1.93, OxygenCarbon: 0.033,
		Best: 0.88, Curvature: 2.5, TorqueNoise: 0.004, LoopRPM: []float64{4000, 6000}, LoopFrom: 0.78, LoopTo: 1.0, LoopStep: 6,
	}
}

// TuningTruth is what a perfect analysis of the logs would find.
type TuningTruth struct {
	Format     string       `json:"format"`
	Cells      []TuningCell `json:"cells"`
	SensorLate float64      `json:"sensor_late_s"` // dead time and lag together
	GasLate    float64      `json:"gas_late_s"`
	Best       float64      `json:"best_lambda"`
	Curvature  float64      `json:"curvature"`
}

// TuningCell is the true mean mixture at one place.
type TuningCell struct {
	RPM     float64 `json:"rpm"`
	Opening float64 `json:"throttle"`
	Lambda  float64 `json:"lambda"`
}

// ErrTuning says that a session cannot be.
var ErrTuning = errors.New("simulate: no such tuning session")

// maxTuningRows bounds one log.
const maxTuningRows = 2_000_000

// Validate refuses a session outside the bounds of what an engine and a rig do.
func (u *Tuning) Validate() error {
	for _, b := range []struct {
		key              string
		value, low, high float64
	}{
		{"seconds", u.Seconds, 10, 36_000}, {"rate", u.Rate, 5, 1000}, {"hold", u.Hold, 0.5, 600},
		{"target", u.Target, 0.7, 1.2}, {"leanest", u.Leanest, u.Target, 1.3},
		{"error level", u.ErrorLevel, -0.2, 0.2}, {"error rise", u.ErrorRise, -0.2, 0.2}, {"error bump", u.ErrorBump.Size, -0.2, 0.2},
		{"width of the error's bump", u.ErrorBump.WidthRPM, 100, 30_000}, {"visit SD", u.VisitSD, 0, 0.1},
		{"sensor's dead time", u.SensorDead, 0, 5}, {"sensor's lag", u.SensorLag, 0, 5}, {"sensor's noise", u.SensorNoise, 0, 0.2}, {"sensor's offset", u.SensorOffset, -0.2, 0.2},
		{"gas's dead time", u.GasDead, 0, 30}, {"gas's lag", u.GasLag, 0, 30}, {"gas's noise", u.GasNoise, 0, 0.2}, {"HC", u.HC, 0, 0.02},
		{"H/C", u.HydrogenCarbon, 0.5, 4}, {"O/C", u.OxygenCarbon, 0, 1},
		{"best", u.Best, 0.7, 1.2}, {"curvature", u.Curvature, 0, 10}, {"torque noise", u.TorqueNoise, 0, 0.2},
		{"loop from", u.LoopFrom, 0.66, 1.3}, {"loop to", u.LoopTo, u.LoopFrom, 1.3}, {"loop step", u.LoopStep, 0.5, 600},
	} {
		if !(b.value >= b.low && b.value <= b.high) {
			return fmt.Errorf("%w: %s is %v; it must lie within %v to %v", ErrTuning, b.key, b.value, b.low, b.high)
		}
	}
	if len(u.SpeedsRPM) == 0 || len(u.Openings) == 0 || len(u.SpeedsRPM)*len(u.Openings) > 1000 || len(u.LoopRPM) > 20 {
		return fmt.Errorf("%w: %d speeds, %d openings and %d loops", ErrTuning, len(u.SpeedsRPM), len(u.Openings), len(u.LoopRPM))
	}
	for _, v := range append(append([]float64{}, u.SpeedsRPM...), u.LoopRPM...) {
		if !(v >= 500 && v <= 20_000) {
			return fmt.Errorf("%w: an engine speed of %v 1/min", ErrTuning, v)
		}
	}
	for _, v := range u.Openings {
		if !(v > 0 && v <= 1) {
			return fmt.Errorf("%w: a throttle open by %v", ErrTuning, v)
		}
	}
	if u.Seconds*u.Rate > maxTuningRows {
		return fmt.Errorf("%w: %.0f rows; the most are %d", ErrTuning, u.Seconds*u.Rate, maxTuningRows)
	}
	return nil
}

// errorAt is by how much lambda is off its target.
func (u *Tuning) errorAt(rpm, opening float64) float64 {
	z := (rpm - u.ErrorBump.AtRPM) / u.ErrorBump.WidthRPM
	return u.ErrorLevel + u.ErrorRise*opening + u.ErrorBump.Size*opening*math.Exp(-z*z/2)
}

// Truth returns what the logs should show. fuel is by which fraction more fuel flows
// than in the session as described: 0 before a change.
func (u *Tuning) Truth(fuel func(rpm, opening float64) float64) TuningTruth {
	t := TuningTruth{Format: "fairpull.tuning-truth/1", SensorLate: u.SensorDead + u.SensorLag, GasLate: u.GasDead + u.GasLag, Best: u.Best, Curvature: u.Curvature}
	for _, opening := range u.Openings {
		for _, rpm := range u.SpeedsRPM {
			t.Cells = append(t.Cells, TuningCell{rpm, opening, u.lambdaAt(fuel, rpm, opening)})
		}
	}
	return t
}

func (u *Tuning) lambdaAt(fuel func(rpm, opening float64) float64, rpm, opening float64) float64 {
	lambda := u.Target * (1 + u.errorAt(rpm, opening))
	if fuel != nil {
		lambda /= 1 + fuel(rpm, opening)
	}
	return lambda
}

// Files returns a folder of a session in memory: before.csv, after.csv with the fuel
// that brings every place to its target within the 5 % of one pass, loop.csv with the
// mixture loops, mixture.toml that says what is wanted and how to read the analyser, and
// truth.json.
func (u Tuning) Files() (map[string][]byte, error) {
	if err := u.Validate(); err != nil {
		return nil, err
	}
	closing := func(rpm, opening float64) float64 { return clamp(u.errorAt(rpm, opening), -0.05, 0.05) }
	truth, err := json.MarshalIndent(map[string]TuningTruth{"before": u.Truth(nil), "after": u.Truth(closing)}, "", " ")
	if err != nil {
		return nil, fmt.Errorf("simulate: truth: %w", err)
	}
	return map[string][]byte{
		"before.csv": u.Map(nil, 1), "after.csv": u.Map(closing, 2), "loop.csv": u.Loop(),
		"mixture.toml": u.settings(), truthFile: append(truth, '\n'),
	}, nil
}

// settings is the file that tells the analysis what cannot be measured.
func (u *Tuning) settings() []byte {
	return fmt.Appendf(nil, `format = "fairpull.mixture/1"
load = "throttle"

[fuel]
hydrogen_carbon = %g
oxygen_carbon = %g

[gas]
basis = "dry"
hc_as = "hexane"

[[target]]
lambda = %g
leanest = %g
`, u.HydrogenCarbon, u.OxygenCarbon, u.Target, u.Leanest)
}

// Map returns the log of one mapping of the mixture: holds in random order.
func (u *Tuning) Map(fuel func(rpm, opening float64) float64, stream uint64) []byte {
	w := u.newWalk(stream)
	for w.t < u.Seconds {
		rpm := u.SpeedsRPM[w.r.IntN(len(u.SpeedsRPM))]
		opening := u.Openings[w.r.IntN(len(u.Openings))]
		off := 1 + u.VisitSD*w.r.NormFloat64()
		w.hold(rpm, opening, off, u.Hold*(0.7+0.6*w.r.Float64()), func(rpm, opening float64) float64 { return u.lambdaAt(fuel, rpm, opening) })
	}
	return w.text()
}

// Loop returns the log of the mixture loops: wide open at fixed speeds, the mixture
// stepped from rich to lean and back.
func (u *Tuning) Loop() []byte {
	w := u.newWalk(3)
	const steps = 9
	for _, rpm := range u.LoopRPM {
		for i := range 2*steps - 1 {
			part := float64(i) / (steps - 1)
			if part > 1 {
				part = 2 - part
			}
			lambda := u.LoopFrom + part*(u.LoopTo-u.LoopFrom)
			w.hold(rpm, 1, 1, u.LoopStep, func(float64, float64) float64 { return lambda })
		}
	}
	return w.text()
}

// tuningWalk drives a session and records it.
type tuningWalk struct {
	*Tuning
	r            *rand.Rand
	t            float64
	rpm, opening float64
	off          float64   // what lambda is multiplied by at this stay
	lambdas      []float64 // true, at every row
	gases        []exhaust
	sensor       float64
	analyser     exhaust
	columns      []channel
}

// columns of a tuning log: sixteen with the time.
var tuningColumns = []struct {
	header   string
	decimals int
}{
	{"time [s]", 3}, {"drum_speed [rad/s]", 3}, {"engine_speed [1/min]", 1}, {"throttle [%]", 1}, {"manifold_pressure [kPa]", 1}, {"lambda", 3},
	{"exhaust_co [%]", 3}, {"exhaust_co2 [%]", 3}, {"exhaust_hc [ppm]", 0}, {"exhaust_o2 [%]", 3}, {"brake_torque [N·m]", 2},
	{"oil_temp [degC]", 1}, {"coolant_temp [degC]", 1}, {"fuel_pressure [kPa]", 1}, {"ignition_advance", 1}, {"battery_voltage", 2},
}

func (u *Tuning) newWalk(stream uint64) *tuningWalk {
	w := &tuningWalk{Tuning: u, r: rand.New(rand.NewPCG(u.Seed, stream)), rpm: u.SpeedsRPM[0], opening: u.Openings[0], off: 1}
	for _, c := range tuningColumns {
		w.columns = append(w.columns, channel{header: c.header, decimals: c.decimals})
	}
	return w
}

// drumRatio is engine turns a drum turn of the invented rig.
const drumRatio = 5.5

// approach is the time in s in which speed and throttle move to the next place.
const approach = 0.6

// hold moves to a place and stays there; off is what lambda is multiplied by there.
func (w *tuningWalk) hold(rpm, opening, off, seconds float64, lambda func(rpm, opening float64) float64) {
	fromRPM, fromOpening, fromOff, began := w.rpm, w.opening, w.off, w.t
	wanderRPM, wanderOpening := newWander(w.r, 15, 0.3, 1/w.Rate), newWander(w.r, 0.002, 0.3, 1/w.Rate)
	for w.t < began+approach+seconds {
		part := clamp((w.t-began)/approach, 0, 1)
		w.rpm, w.opening, w.off = fromRPM+part*(rpm-fromRPM), fromOpening+part*(opening-fromOpening), fromOff+part*(off-fromOff)
		n, o := w.rpm+wanderRPM.next(w.r), clamp(w.opening+wanderOpening.next(w.r), 0.01, 1)
		w.record(n, o, lambda(n, o)*w.off)
		w.t += 1 / w.Rate
	}
}

// record appends one row.
func (w *tuningWalk) record(rpm, opening, lambda float64) {
	u := w.Tuning
	w.lambdas = append(w.lambdas, lambda)
	w.gases = append(w.gases, fuelAtoms{u.HydrogenCarbon, u.OxygenCarbon}.burn(lambda, u.HC))
	i := len(w.lambdas) - 1
	ago := func(dead float64, rows int) int { return max(0, i-rows-int(math.Round(dead*u.Rate))) }
	seen, before := w.lambdas[ago(u.SensorDead, 0)], w.lambdas[ago(u.SensorDead, 1)]
	drawn, drawnBefore := w.gases[ago(u.GasDead, 0)], w.gases[ago(u.GasDead, 1)]
	if i == 0 {
		w.sensor, w.analyser = seen, drawn
	}
	w.sensor = follow(w.sensor, before, seen, u.SensorLag, u.Rate)
	a := &w.analyser
	for _, g := range [][3]*float64{{&a.co, &drawnBefore.co, &drawn.co}, {&a.co2, &drawnBefore.co2, &drawn.co2}, {&a.hc, &drawnBefore.hc, &drawn.hc}, {&a.o2, &drawnBefore.o2, &drawn.o2}} {
		*g[0] = follow(*g[0], *g[1], *g[2], u.GasLag, u.Rate)
	}
	noisy := func(v float64) float64 { return math.Max(0, v*(1+u.GasNoise*w.r.NormFloat64())) }
	off := lambda - u.Best
	torque := 55 * opening * (1 - u.Curvature*off*off) * drumRatio * (1 + u.TorqueNoise*w.r.NormFloat64())
	for k, v := range []float64{
		w.t, rpm / rpmPerRadian / drumRatio, rpm, 100 * opening, 30 + 68*opening, w.sensor + u.SensorOffset + u.SensorNoise*w.r.NormFloat64(),
		100 * noisy(a.co), 100 * noisy(a.co2), 1e6 * noisy(a.hc), 100 * noisy(a.o2), torque,
		92, 84, 350 + w.r.NormFloat64(), 20 + rpm/400, 14.1 + 0.02*w.r.NormFloat64(),
	} {
		w.columns[k].values = append(w.columns[k].values, v)
	}
}

// follow is one step of a first-order lag behind an input that runs from one value to the
// next; half-way stands for it, which is right to second order of the step.
func follow(value, from, to, lag, rate float64) float64 {
	if lag <= 0 {
		return to
	}
	return value + ((from+to)/2-value)*-math.Expm1(-1/(rate*lag))
}

func (w *tuningWalk) text() []byte { return formatChannels(w.columns, [2]float64{}) }
