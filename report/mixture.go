package report

import (
	"math"
	"strings"

	"fairpull/quantity"
)

// Mixture is how rich an engine ran, over engine speed and load, with what it would take
// to bring it to a target. Lambda is 1, fractions are fractions, loads are SI. What is not
// known is NaN.
type Mixture struct {
	Title      string
	Sources    []string // the logs, or the campaign
	Confidence float64
	Version    string

	Load      quantity.Dimension // Ratio: throttle opening; Pressure: manifold pressure; 0: none
	CurveLoad string             // at which load the curves stand, in words
	Curves    []MixtureCurve
	Targeted  bool // a target is declared for some of it
	Sides     []MixtureSides

	Grid    *MixtureGrid // nil: no load was logged
	Changes []MixtureChange
	Loops   []MixtureLoop
	Gas     *MixtureGas
	Delays  []MixtureDelay
	LeftOut MixtureLeftOut
	// Stoichiometric is the fuel's own air/fuel ratio; NaN: the fuel is not declared, and
	// no air/fuel ratio is shown.
	Stoichiometric float64
	Notes          []string
}

// MixtureCurve is lambda over engine speed of one side or of all logs.
type MixtureCurve struct {
	Name      string
	Candidate bool
	Nodes     []MixtureNode
}

// MixtureNode is one engine speed of a curve.
type MixtureNode struct {
	RPM                  float64
	Visits               int
	Seconds              float64
	Lambda               float64
	Lo, Hi, AllLo, AllHi float64
	Target, Leanest      float64 // Leanest 0: not declared
}

// Error is by how much lambda is off its target, a fraction: positive is lean.
func (n *MixtureNode) Error() float64 { return n.Lambda/n.Target - 1 }

// MixtureSides says how alike two sides of a campaign were fuelled.
type MixtureSides struct {
	Baseline, Candidate string // ids
	Names               [2]string
	Nodes               []MixtureSideNode
	Mean                MixtureSideNode
	BandRPM             [2]float64
	ByBlock             bool
	Limit               float64 // of the difference
	Share               *MixtureShare
	NoShare             string     // why there is none
	Gain                RoadFigure // that it is a share of: torque over the band, as a fraction
}

// MixtureSideNode is the difference of lambda at one engine speed, candidate minus
// baseline.
type MixtureSideNode struct{ RPM, Baseline, Candidate, Difference, Lo, Hi, AllLo, AllHi float64 }

// MixtureShare is how much of a gain could be the mixture, as a fraction.
type MixtureShare struct {
	Value, Lo, Hi float64 // Value is NaN for bounds
	Bounds        bool
	Source        string
}

// MixtureGrid is the mixture by engine speed and load.
type MixtureGrid struct {
	SpeedStep, LoadStep float64
	Cells               []MixtureCell // by load, then by speed
	PooledSD            float64
	PooledFreedom       int
	Effective           float64 // degrees of freedom that the smoothed values spend
	Known               int     // cells that are not blank
}

// MixtureCell is one cell; blank where Known is false.
type MixtureCell struct {
	RPM, Load                     float64
	Visits                        int
	Seconds                       float64
	Known                         bool
	Lambda, Lo, Hi                float64
	Smooth, SmoothLo, SmoothHi    float64
	Target, Leanest               float64
	Error, ErrorLo, ErrorHi, Fuel float64
	Why                           string
}

// MixtureChange is one cell before and after a change.
type MixtureChange struct {
	RPM, Load, Before, After, Target float64
	Moved, Lo, Hi                    float64 // lambda after over before, minus one
}

// MixtureLoop is the answer of torque to the mixture.
type MixtureLoop struct {
	RPM, Load, From, To                 float64
	Points                              int
	Best, BestLo, BestHi                float64
	Within                              bool
	Curvature, CurvatureLo, CurvatureHi float64
}

// MixtureGas is lambda of the gas against that of the sensor: sensor minus gas.
type MixtureGas struct {
	Difference, Lo, Hi float64
	Visits             int
	Limit              float64
	Basis              string
}

// Agrees says that sensor and gas agree within the limit, as far as is known.
func (g *MixtureGas) Agrees() bool { return math.Abs(g.Difference) <= g.Limit }

// MixtureDelay is how late a reading was, in s.
type MixtureDelay struct {
	What                string
	Dead, Lag, Total, U float64
	Steps               int
	Source              string
}

// MixtureLeftOut is what does not count, in s.
type MixtureLeftOut struct{ Unsettled, Unread, Short float64 }

// MixtureCautions stand with every answer about the mixture.
var MixtureCautions = []string{
	"A lean engine under load overheats and breaks: pistons, valves, catalyst. Knock can begin before anything is heard; listen for it with the means of a tuner and stop at its first sign.",
	"These are figures and nothing else: nothing is written to a vehicle. A qualified tuner decides what is changed, changes a little, and measures again.",
	"The sensor reads what passes it: an air leak in the exhaust reads lean, a misfire reads lean although fuel was there, and one sensor stands for all cylinders.",
	"Catalysts and emission control are built for the mixture that they came with. A change can damage them, and can make the vehicle illegal on the road; emissions law comes first.",
}

// Sentence is the answer in one sentence.
func (m *Mixture) Sentence() string {
	for i := range m.Sides {
		return m.Sides[i].sentence(m.Confidence)
	}
	if len(m.Curves) == 0 || len(m.Curves[0].Nodes) == 0 {
		return "There is no engine speed at which the mixture is known at " + m.CurveLoad + "."
	}
	worst, limited := -1, 0
	nodes := m.Curves[0].Nodes
	for i := range nodes {
		if math.IsNaN(nodes[i].AllLo) || math.IsNaN(nodes[i].Target) {
			continue
		}
		limited++
		if worst < 0 || math.Abs(nodes[i].Error()) > math.Abs(nodes[worst].Error()) {
			worst = i
		}
	}
	if limited == 0 {
		first, last := nodes[0], nodes[len(nodes)-1]
		return "At " + m.CurveLoad + " lambda went from " + fixed(first.Lambda, 3) + " at " + plain(first.RPM) + " rpm to " + fixed(last.Lambda, 3) + " at " + plain(last.RPM) + " rpm; " + m.untargeted()
	}
	n := &nodes[worst]
	direction := "lean"
	if n.Error() < 0 {
		direction = "rich"
	}
	lo, hi := 100*(n.AllLo/n.Target-1), 100*(n.AllHi/n.Target-1)
	d := places((hi-lo)/2, 2)
	interval := "(" + confidence(m.Confidence) + " limits, all speeds at once: " + signed(lo, d) + " % to " + signed(hi, d) + " %)"
	if lo <= 0 && hi >= 0 {
		return "At " + m.CurveLoad + " no engine speed is shown to be off its target; the greatest departure is " + signed(100*n.Error(), d) + " % at " + plain(n.RPM) + " rpm " + interval + "."
	}
	return "At " + m.CurveLoad + " the mixture is furthest off its target at " + plain(n.RPM) + " rpm: " + fixed(math.Abs(100*n.Error()), d) + " % " + direction + " " + interval + "."
}

func (m *Mixture) untargeted() string {
	if m.Targeted {
		return "no target is declared there."
	}
	return "no target is declared, so nothing is called rich or lean."
}

// sentence says whether the sides were fuelled alike.
func (s *MixtureSides) sentence(conf float64) string {
	d := places((s.Mean.Hi-s.Mean.Lo)/2, 4)
	over := " over " + span(s.BandRPM)
	if math.IsNaN(s.Mean.Lo) {
		return "Mean lambda of " + clean(s.Names[1]) + " differs from that of " + clean(s.Names[0]) + " by " + signed(s.Mean.Difference, 3) + over + "; no block repeats a pull, so there is no interval and nothing follows."
	}
	interval := " (" + confidence(conf) + " interval " + signed(s.Mean.Lo, d) + " to " + signed(s.Mean.Hi, d) + ")"
	difference := signed(s.Mean.Difference, d) + interval
	switch {
	case s.Mean.Lo > s.Limit || s.Mean.Hi < -s.Limit:
		return "The sides were not fuelled alike: mean lambda differs by " + difference + over + ", more than " + plain(s.Limit) + "."
	case s.Mean.Lo >= -s.Limit && s.Mean.Hi <= s.Limit:
		return "The sides were fuelled alike within " + plain(s.Limit) + " of lambda: it differs by " + difference + over + "."
	}
	return "Whether the sides were fuelled alike within " + plain(s.Limit) + " of lambda is not shown: it differs by " + difference + over + "."
}

// shareSentence says how much of the gain the mixture could be.
func (s *MixtureSides) shareSentence(conf float64) string {
	if s.Share == nil {
		return "How much of the gain could be mixture cannot be told: " + s.NoShare + "."
	}
	lo, hi := 100*s.Share.Lo, 100*s.Share.Hi
	d := places((hi-lo)/2, 2)
	gain := ""
	if !math.IsNaN(s.Gain.Value) {
		gain = " The gain itself is " + signed(100*s.Gain.Value, 1) + " %."
		if !math.IsNaN(s.Gain.Lo) {
			g := places(50*(s.Gain.Hi-s.Gain.Lo), 2)
			gain = " The gain itself is " + signed(100*s.Gain.Value, g) + " % (" + signed(100*s.Gain.Lo, g) + " % to " + signed(100*s.Gain.Hi, g) + " %)."
		}
	}
	if s.Share.Bounds {
		return "If nothing but the mixture differed, torque would differ by something from " + signed(lo, d) + " % to " + signed(hi, d) + " %: bounds by a published range (" + s.Share.Source + "), not measured on this engine. A mixture loop of this engine gives a figure." + gain
	}
	return "If nothing but the mixture differed, torque would differ by " + signed(100*s.Share.Value, d) + " % (" + confidence(conf) + " interval " + signed(lo, d) + " % to " + signed(hi, d) + " %), by " + s.Share.Source + "." + gain
}

// loadUnit is the unit in which a person reads the load.
func (m *Mixture) loadUnit(units quantity.System) quantity.Unit { return units.Unit(m.Load) }

// loadName names the load.
func (m *Mixture) loadName() string {
	if m.Load == quantity.Pressure {
		return "manifold pressure"
	}
	return "throttle"
}

// title names the document.
func (m *Mixture) title() string { return "Mixture: " + clean(m.Title) }

func (m *Mixture) subtitle() string {
	s := "Lambda is air over the air that burns the fuel completely: above its target is lean, below is rich. A visit is one stay of the engine at a place; intervals are over visits, not over rows."
	if !math.IsNaN(m.Stoichiometric) {
		s += " The fuel's own stoichiometric air/fuel ratio is " + fixed(m.Stoichiometric, 2) + "."
	}
	return s
}

func (m *Mixture) foot() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(m.Version)), cleanTo(strings.Join(m.Sources, ", "), 200))
}
