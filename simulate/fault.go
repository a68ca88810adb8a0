package simulate

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Fault is one thing that goes wrong, on some pulls or on one side of the
// comparison.
type Fault struct {
	Name string `toml:"name"` // one of FaultNames

	// Pulls are the names of the pulls that carry it: "1", "2", … in order of
	// time. Or Configuration is the letter whose pulls all do. Exactly one of
	// the two is given, but for cold-first-block, which needs neither.
	Pulls         []string `toml:"pulls,omitempty"`
	Configuration string   `toml:"configuration"`

	// Size is how large it is, in the fault's own unit (see Faults); 0 stands for
	// the usual size stated there.
	Size float64 `toml:"size"`

	Channel string `toml:"channel"` // stuck-channel only: drum_speed (also when empty) or engine_speed
	Fitted  string `toml:"fitted"`  // mislabelled only: the configuration that was really fitted
}

// FaultKind describes one named fault.
type FaultKind struct {
	Name    string
	Usual   float64 // size when none is given
	Unit    string  // of the size; empty: it has none
	Low     float64 // smallest size allowed
	High    float64 // largest
	Meaning string  // one line
}

// The names of the faults.
const (
	wrongGear        = "wrong-gear"
	slipBurst        = "slip-burst"
	stuckChannel     = "stuck-channel"
	gap              = "gap"
	repeatedTime     = "repeated-time"
	backwardTime     = "backward-time"
	missingPulses    = "missing-pulses"
	seaLevelPressure = "sea-level-pressure"
	tyrePressure     = "tyre-pressure"
	lighterWheel     = "lighter-wheel"
	mixtureChange    = "mixture"
	coldFirstBlock   = "cold-first-block"
	coldPull         = "cold-pull"
	earlyLift        = "early-lift"
	mislabelled      = "mislabelled"
	unusualPull      = "unusual-pull"
	weatherJump      = "weather-jump"
	missingCoast     = "missing-coast-down"
)

// What goes with a cold engine besides the torque that it lacks. Invented, of
// the size seen in the trade: common practice.
const (
	coldOil      = 15.0 // K below the set point
	warmUpTime   = 0.15 // h, time constant of the first block's warm-up
	burstWidth   = 120. // 1/min, SD of a slip burst over engine speed
	burstPlace   = 0.55 // of the way from start to closing speed
	defectPlace  = 0.45 // of the way through the pull, for defects of the log
	missingParts = 3    // places at which missing-pulses strikes
)

var faultKinds = []FaultKind{
	{wrongGear, -0.16, "1", -0.6, 1.5, "pulled in another gear: overall ratio changed by this fraction"},
	{slipBurst, 0.03, "1", 0.002, 0.3, "clutch or tyre slips for a moment: engine speed rises by this fraction"},
	{stuckChannel, 0.2, "s", 0.01, 10, "a channel holds its value for this long (sampled logs)"},
	{gap, 0.15, "s", 0.01, 10, "nothing is recorded for this long"},
	{repeatedTime, 3, "rows", 1, 1000, "this many rows carry the time stamp of the row before (sampled logs)"},
	{backwardTime, 0.02, "s", 1e-4, 10, "one time stamp goes back by this much (sampled logs)"},
	{missingPulses, 5, "pulses", 1, 1000, "this many drum pulses in a row are lost, at three places (pulse logs)"},
	{seaLevelPressure, 0, "", 0, 0, "the barometer reading typed in is reduced to sea level"},
	{tyrePressure, 60_000, "Pa", -150_000, 300_000, "the tyre is off its set pressure by this much, the set point is written down"},
	{lighterWheel, 0.25, "1", 0.01, 0.9, "the driven wheel's inertia is less by this fraction, and nobody says so"},
	{mixtureChange, -0.05, "1", -0.3, 0.3, "lambda at full throttle is shifted by this much"},
	{coldFirstBlock, 0.03, "1", 0.001, 0.3, "the first pull of the day lacks this fraction of torque; it warms up within minutes"},
	{coldPull, 0.006, "1", 0.0001, 0.3, "oil below its set point, and this fraction of torque lacking"},
	{earlyLift, 0.25, "1", 0.01, 0.9, "throttle closed early: this fraction of the speed range is missing at the top"},
	{mislabelled, 0, "", 0, 0, "another configuration was fitted than the one written down"},
	{unusualPull, -0.03, "1", -0.3, 0.3, "wheel torque off by this fraction without a cause that shows"},
	{weatherJump, 6, "K", -25, 25, "the intake air was really warmer by this much, and is written so"},
	{missingCoast, 0, "", 0, 0, "the log ends with the pull: no coast-down"},
}

// Faults returns every fault with its usual size, unit, bounds and meaning.
func Faults() []FaultKind { return slices.Clone(faultKinds) }

func faultKind(name string) (FaultKind, bool) {
	i := slices.IndexFunc(faultKinds, func(k FaultKind) bool { return k.Name == name })
	if i < 0 {
		return FaultKind{}, false
	}
	return faultKinds[i], true
}

// describe returns the meaning with the usual size.
func (k FaultKind) describe() string {
	if k.Unit == "" {
		return k.Meaning
	}
	return strings.TrimSuffix(fmt.Sprintf("%s; usual size %v %s", k.Meaning, k.Usual, k.Unit), " 1")
}

// faultNames lists the names for a message.
func faultNames() string {
	names := make([]string, len(faultKinds))
	for i, k := range faultKinds {
		names[i] = k.Name
	}
	return strings.Join(names, ", ")
}

// faultSet is what the faults of one pull come to.
type faultSet map[string]Fault

// size returns the size of a fault that the pull carries, and 0 otherwise.
func (s faultSet) size(name string) float64 {
	return s[name].Size
}

func (s faultSet) has(name string) bool {
	_, has := s[name]
	return has
}

// names returns the names of the faults in alphabetical order.
func (s faultSet) names() []string {
	names := make([]string, 0, len(s))
	for name := range s {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// hits says whether a pull with that name, configuration and block carries f.
func (f *Fault) hits(pull, configuration string, block int) bool {
	if f.Name == coldFirstBlock && len(f.Pulls) == 0 && f.Configuration == "" {
		return block == 0
	}
	return slices.Contains(f.Pulls, pull) || f.Configuration == configuration
}

// faultsOf returns the faults of the pull with the given name, configuration and
// block, with their sizes filled in.
func (s *Scenario) faultsOf(pull, configuration string, block int) faultSet {
	set := faultSet{}
	for _, f := range s.Faults {
		if !f.hits(pull, configuration, block) {
			continue
		}
		if kind, _ := faultKind(f.Name); f.Size == 0 {
			f.Size = kind.Usual
		}
		set[f.Name] = f
	}
	return set
}

// checkFault returns what is wrong with fault i.
func (s *Scenario) checkFault(i int, pulls int) error {
	f := s.Faults[i]
	where := fmt.Sprintf("fault %d (%s)", i+1, f.Name)
	kind, known := faultKind(f.Name)
	if !known {
		return fmt.Errorf("fault %d: no fault is named %q; the names are %s", i+1, f.Name, faultNames())
	}
	if (len(f.Pulls) > 0) == (f.Configuration != "") && !(f.Name == coldFirstBlock && f.Configuration == "" && len(f.Pulls) == 0) {
		return fmt.Errorf("%s: give either pulls or a configuration", where)
	}
	for _, name := range f.Pulls {
		if !isPullName(name, pulls) {
			return fmt.Errorf("%s: there is no pull %q; they are 1 to %d", where, name, pulls)
		}
	}
	if f.Configuration != "" && s.configuration(f.Configuration) < 0 {
		return fmt.Errorf("%s: there is no configuration %q", where, f.Configuration)
	}
	if f.Size != 0 && !(f.Size >= kind.Low && f.Size <= kind.High) {
		return fmt.Errorf("%s: size %v is outside %v to %v %s", where, f.Size, kind.Low, kind.High, kind.Unit)
	}
	if counted := kind.Unit == "rows" || kind.Unit == "pulses"; counted && f.Size != math.Trunc(f.Size) {
		return fmt.Errorf("%s: size %v is not a whole number of %s", where, f.Size, kind.Unit)
	}
	return s.checkFaultKind(f, where)
}

// checkFaultKind holds the rules that only some faults have.
func (s *Scenario) checkFaultKind(f Fault, where string) error {
	sampled := s.Logger.Kind == SampledLog
	switch f.Name {
	case stuckChannel, repeatedTime, backwardTime:
		if !sampled {
			return fmt.Errorf("%s: only sampled logs can carry it", where)
		}
	case missingPulses:
		if sampled {
			return fmt.Errorf("%s: only pulse logs can carry it", where)
		}
	case mislabelled:
		if s.configuration(f.Fitted) < 0 {
			return fmt.Errorf("%s: fitted must name the configuration that was really there, not %q", where, f.Fitted)
		}
	}
	if f.Name != mislabelled && f.Fitted != "" {
		return fmt.Errorf("%s: fitted belongs to mislabelled only", where)
	}
	channel := f.Channel == "" || f.Channel == "drum_speed" || f.Channel == "engine_speed" && s.Logger.Sampled.EngineSpeed
	if !channel || f.Channel != "" && f.Name != stuckChannel {
		return fmt.Errorf("%s: channel %q cannot be stuck", where, f.Channel)
	}
	return nil
}
