package reduce

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/signal"
)

// SteadyRule says what counts as a held speed. The zero value is refused.
type SteadyRule struct {
	// The speed must stay within the larger of both about its mean.
	Tolerance    float64 // fraction of the speed
	ToleranceRPM float64 // of the engine, 1/min
	Settle       float64 // s after the speed came within the tolerance that are left out
	Least        float64 // s that must remain
	// Warming is the rate in K/s above which a temperature of oil, coolant, engine
	// or tyre runs away.
	Warming float64
}

// DefaultSteadyRule returns ±1 % of the speed or ±10 1/min, whichever is more, as
// ISO 1585:2020, 5.3.8 and UN R85, annex 5 have it for an engine on a bench; 2 s
// left out, 3 s at least and 0.25 K/s are common practice on a drum, where tyre and
// brake do not stand the minute that those standards wait.
func DefaultSteadyRule() SteadyRule {
	return SteadyRule{Tolerance: 0.01, ToleranceRPM: 10, Settle: 2, Least: 3, Warming: 0.25}
}

// Check refuses rules under which nothing could be held, or everything.
func (r *SteadyRule) Check() error {
	for _, limit := range []struct {
		what             string
		value, low, high float64
	}{
		{"the tolerance of the speed in %", 100 * r.Tolerance, 0.05, 10},
		{"the tolerance in 1/min", r.ToleranceRPM, 0, 500},
		{"the time left out in s", r.Settle, 0, 600},
		{"the time held in s", r.Least, 1.5, 3600},
		{"the limit of warming in K/s", r.Warming, 0.001, 100},
	} {
		if !(limit.value >= limit.low && limit.value <= limit.high) {
			return &LogError{Problem: fmt.Sprintf("%s is %v", limit.what, limit.value), Cure: fmt.Sprintf("Give a value from %v to %v.", limit.low, limit.high)}
		}
	}
	return nil
}

// Steady is what a log with a brake holds of steady points, and how the brake did.
type Steady struct {
	Points  []SteadyPoint // by time
	LeftOut []LeftOut     // what looked held and does not count
	Control Control
	Rule    string // one sentence: what counts as held

	Ratio           float64 // engine turns a drum turn: mean over the points; NaN without one
	RatioMeasured   bool    // the log has an engine speed; else Ratio is as stated
	Held, Loaded    float64 // s: within the points; under the brake altogether
	MaxSurfaceSpeed float64 // m/s, whole log; NaN without a drum radius
	Findings        []Finding
	HasThrottle     bool // the log has a throttle channel that says something
	Course          Course
}

// Course is a log at even steps of time, for a picture: engine speed in 1/min and
// brake torque in N·m at the drum, each the mean over a step. NaN where the log has
// no row.
type Course struct {
	First, Step      float64 // s: the middle of the first step, and their distance
	EngineRPM, Brake []float64
}

// SteadyPoint is one held speed. Torques are wheel figures, not corrected for the
// air.
type SteadyPoint struct {
	Found, Start, End float64 // s: the speed came within the tolerance; first and last moment used
	Rows              int     // used

	EngineRPM  float64 // mean, 1/min
	DrumSpeed  float64 // mean, rad/s
	SpeedSD    float64 // of the engine, over means of 0.1 s, 1/min
	SpeedDrift float64 // of the engine, 1/min per s: what acceleration remained

	Torque        float64 // referred to the engine, N·m
	StandardError float64 // N·m, from this log alone
	DF, Effective float64 // degrees of freedom of it; independent values that say as much
	DrumTorque    float64 // N·m at the drum: the sum of the next three
	Brake         float64
	Inertia       float64 // of the drum times the acceleration that remained
	Parasitic     float64

	// Trend is how the torque went on, N·m/s referred to the engine.
	Trend, TrendSE float64

	Throttle     float64            // mean, fraction; NaN without the channel
	FullThrottle bool               // open as far as the log ever has it; true without a channel
	Means        map[string]float64 // of every channel over the rows used, SI where the unit is known
	Warming      []Warming

	Arrival Arrival
	Hunting Hunting
	Fade    Fade
	Short   bool // fewer than five independent values: the standard error itself is a guess
}

// Limits returns the two-sided limits of the torque referred to the engine, N·m, at
// the given confidence in (0, 1): Student's, from this log alone.
func (p *SteadyPoint) Limits(confidence float64) (lo, hi float64) {
	half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: p.DF}.Quantile(0.5+confidence/2) * p.StandardError
	return p.Torque - half, p.Torque + half
}

// Warming is how fast a temperature went over a point, K/s.
type Warming struct {
	Channel string
	Rate    float64
}

// LeftOut is a stretch that looked held and is no point.
type LeftOut struct {
	From, To float64 // s
	RPM      float64 // of the engine
	Why      string
}

// fewValues is the effective number of values under which a standard error is
// itself a guess.
const fewValues = 5

// FindSteady returns the steady points of a sampled log with a brake, each with its
// mean torque, and how the brake kept the speed.
//
// s needs Inertia, and RevsPerDrumRev where the log has no engine speed; BrakeArm
// where the brake is logged as a force. Points are found from the speed alone:
// stretches under the brake in which it stays within the tolerance, without a drift
// that uses up half of it; the first part and what still warms up are left out.
// A log without a brake channel, or settings that give no torque, are a *LogError;
// a log that holds no point is not: Points is then empty and LeftOut says why.
func FindSteady(log *signal.Log, s Settings, rule SteadyRule) (*Steady, error) {
	if err := rule.Check(); err != nil {
		return nil, err
	}
	if !(s.Inertia > 0) || math.IsInf(s.Inertia, 0) {
		return nil, &LogError{Problem: fmt.Sprintf("the drum inertia is %g kg·m²", s.Inertia), Cure: "State drum_inertia_kgm2 of the dyno."}
	}
	if !HasBrake(log) {
		return nil, &LogError{Problem: "the log has no brake channel, so nothing in it says what held the speed",
			Cure: "Log brake_torque, or brake_force with brake_arm_m of the dyno, beside drum_speed."}
	}
	r, err := openAnew(log, &s)
	if err != nil {
		return nil, err
	}
	f := &steadyFinder{r: r, s: &s, rule: rule, out: &Steady{Ratio: math.NaN(), MaxSurfaceSpeed: math.NaN(), Rule: rule.sentence()}}
	if err := f.lay(); err != nil {
		return nil, err
	}
	f.find()
	f.measure()
	f.judgeBrake()
	f.fillCourse()
	f.summarise()
	return f.out, nil
}

// HasBrake says whether a log could hold steady points: it is sampled and has a
// brake channel.
func HasBrake(log *signal.Log) bool {
	return log.Kind == signal.Sampled && (log.Channel(signal.BrakeTorque) != nil || log.Channel(signal.BrakeForce) != nil)
}

// IsSteady says whether the log is one of steady points and not of a pull: it holds
// two speeds or more that differ by more than three times the tolerance.
func (s *Steady) IsSteady() bool {
	if len(s.Points) < 2 {
		return false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i := range s.Points {
		low, high = math.Min(low, s.Points[i].EngineRPM), math.Max(high, s.Points[i].EngineRPM)
	}
	return high > low*1.03
}

func (r *SteadyRule) sentence() string {
	return fmt.Sprintf("Held: under the brake, the speed within ±%g %% or ±%g 1/min of its mean, whichever is more, and its drift over the stretch within half of that band; "+
		"the first %g s are left out, and more while oil, coolant, engine or tyre change by more than %g K/s; at least %g s remain.",
		100*r.Tolerance, r.ToleranceRPM, r.Settle, r.Warming, r.Least)
}

// summarise fills what is said of the log as a whole.
func (f *steadyFinder) summarise() {
	out := f.out
	turns, n := 0.0, 0.0
	for i := range out.Points {
		p := &out.Points[i]
		out.Held += p.End - p.Start
		turns, n = turns+p.EngineRPM*math.Pi/30/p.DrumSpeed, n+1
	}
	if n > 0 {
		out.Ratio = turns / n
	}
	out.RatioMeasured = len(f.r.engine.time) > 0
	for _, loaded := range f.loaded {
		if loaded {
			out.Loaded += f.length
		}
	}
	if f.s.Radius > 0 {
		out.MaxSurfaceSpeed = f.s.Radius * largestMean(f.r.drum.speed)
	}
	out.Findings = findings(f.r, f.touches)
}

func (f *steadyFinder) fillCourse() {
	c := &f.out.Course
	c.First, c.Step, c.Brake = f.first+f.length/2, f.length, f.brake
	c.EngineRPM = make([]float64, len(f.speed))
	for k, v := range f.speed {
		c.EngineRPM[k] = v * f.perRPM()
	}
}

// touches reports whether a defect lies within a point.
func (f *steadyFinder) touches(e *event) bool {
	for i := range f.out.Points {
		if p := &f.out.Points[i]; e.End >= p.Start && e.Start <= p.End {
			return true
		}
	}
	return false
}
