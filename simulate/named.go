package simulate

import (
	"fmt"
	"slices"
	"strings"
)

// named are the scenarios that the command line offers.
var named = []struct {
	name    string
	meaning string
	make    func() Scenario
}{
	{"demo", "intake and cam kit on a 650 twin, A-B-A-B-A with a history: a gain of about 5 %, one pull with cold oil", Demo},
	{"null", "a part that changes nothing: no gain may be shown", nullPart},
	{"tyre-pressure", "no change of the engine, the candidate's tyre 90 kPa too hard and written down at its set point", hardTyre},
	{"lighter-wheel", "no change of the engine, a lighter wheel whose inertia nobody gives", lightWheel},
	{"wrong-gear", "the kit of the demo, one candidate pull in the next gear", gearSlip(wrongGear)},
	{"slip", "the kit of the demo, the clutch slips in one candidate pull", gearSlip(slipBurst)},
	{"sea-level", "a part that changes nothing, the baseline's barometer set to sea level at a site 420 m up", seaLevelSite},
	{"drift", "a small gain under a rig that warms up by 4 %", warmingRig},
	{"no-history", "the kit of the demo, A-B-A and nothing known of setup scatter", noHistory},
	{"pulses", "the kit of the demo, logs of 60 encoder pulses a turn with tooth errors and missed ignition pulses", pulseLogs},
	{"two-candidates", "kit and intake alone, each against the baseline", twoCandidates},
	{"mixture", "no part at all: the candidate is fuelled richer than the baseline", richer},
	{"high-rev", "a four that turns 14,000 1/min, with an exhaust that gains at the top", highRev},
	{"steady", "the kit of the demo on a braked drum: eight speeds held, no pulls", steadyKit},
	{"pulls-and-steady", "a lighter wheel, in pulls and held on the brake: it gains on the one and not on the other", bothWays},
	{"weak-brake", "the kit of the demo, held by a brake that is too small, fades and hunts", weakBrake},
	{"one-pulse", "the kit of the demo on a rig with one drum pulse a turn", onePulse},
	{"other-rig", "the vehicle and kit of the demo a week later on another dyno, whose drum inertia is stated 1.5 % too high", otherRig},
}

// Names returns the names that Named knows, in the order in which to show them.
func Names() []string {
	names := make([]string, len(named))
	for i := range named {
		names[i] = named[i].name
	}
	return names
}

// Meaning returns one line on a named scenario; empty for an unknown name.
func Meaning(name string) string {
	for i := range named {
		if named[i].name == name {
			return named[i].meaning
		}
	}
	return ""
}

// Named returns the scenario of that name. The error of an unknown name lists
// the known ones.
func Named(name string) (Scenario, error) {
	for i := range named {
		if named[i].name == name {
			s := named[i].make()
			if name != "demo" {
				s.ID = "sim-" + name
				s.Title = "Simulated: " + name
				s.Purpose = strings.ToUpper(named[i].meaning[:1]) + named[i].meaning[1:] + "."
			}
			return s, nil
		}
	}
	return Scenario{}, fmt.Errorf("%w: none is named %q; the names are %s", ErrScenario, name, strings.Join(Names(), ", "))
}

// Demo returns the demonstration campaign: an invented intake and cam kit on an
// invented 650 twin, five blocks of three pulls, re-strapped between, on a day
// that warms up. One pull was made with the oil too cold: a procedure check finds
// it, the figures hardly feel it.
func Demo() Scenario {
	s := Default()
	s.ID = "twin650-intake-cam"
	s.Title = "Intake and cam kit on the 650 twin"
	s.Purpose = "Does the kit give more torque where people ride?"
	s.Seed = 650
	s.Plan.Order = "ABABA"
	// A coast-down long enough to weigh the losses where peak power is made.
	s.Logger.Sampled.Rate = 100
	s.Drive.Coast = 16
	s.Faults = []Fault{{Name: coldPull, Pulls: []string{"8"}, Size: 0.003}}
	return s
}

// nullPart is Default with a part that changes nothing.
func nullPart() Scenario {
	s := Default()
	s.Plan.Order = "ABABA"
	s.Configurations[1].Gain = Shape{}
	return s
}

// steadyRig is nullPart on a rig that scatters so little that a share of the
// rig's would pass for a gain: all blocks in one setup.
func steadyRig() Scenario {
	s := nullPart()
	s.Plan.Order = "ABABAB"
	s.Plan.BlocksPerSetup = len(s.Plan.Order)
	s.Scatter.Block = Spread{Common: 0.0005}
	s.Scatter.Pull = Spread{Common: 0.0015, Tilt: 0.0005, Course: 0.001}
	s.Drift = Drift{}
	s.History.BlockSD = 0.0008
	s.History.PullSD = 0.0026
	return s
}

func hardTyre() Scenario {
	s := steadyRig()
	s.Faults = []Fault{{Name: tyrePressure, Configuration: "B", Size: 90_000}}
	return s
}

func lightWheel() Scenario {
	s := steadyRig()
	s.Vehicle.StateWheel = false
	s.Configurations[0].Components = append(s.Configurations[0].Components, Component{Function: "driven wheel", Part: "W-17 cast"})
	s.Configurations[1].Components = append(parts("C-650-1", "F-650-1", "X-650-2"), Component{Function: "driven wheel", Part: "W-17 light"})
	s.Configurations[1].Name = "light wheel"
	s.Faults = []Fault{{Name: lighterWheel, Configuration: "B", Size: 0.4}}
	return s
}

// gearSlip is the demonstration with one candidate pull spoilt.
func gearSlip(fault string) func() Scenario {
	return func() Scenario {
		s := Demo()
		s.Faults = []Fault{{Name: fault, Pulls: []string{"5"}}}
		return s
	}
}

func seaLevelSite() Scenario {
	s := nullPart()
	s.Dyno.SiteElevation = 420
	s.Weather.Pressure = 96_600
	s.Faults = []Fault{{Name: seaLevelPressure, Configuration: "A"}}
	return s
}

func warmingRig() Scenario {
	s := Default()
	s.Configurations[1].Gain = Shape{Level: 0.01}
	s.Drift = Drift{Saturating: 0.04, Hours: 0.8}
	return s
}

func noHistory() Scenario {
	s := Demo()
	s.Plan.Order = "ABA"
	s.History = nil
	s.Faults = nil
	return s
}

func pulseLogs() Scenario {
	s := Demo()
	s.Logger.Kind = PulseLog
	s.Faults = nil
	return s
}

func twoCandidates() Scenario {
	s := Demo()
	s.Plan.Order = "ABACA"
	s.Configurations = append(s.Configurations, Configuration{
		ID: "C", Name: "intake alone", Lambda: 0.88,
		Components: parts("C-650-1", "K-218 F", "X-650-2"),
		Settings:   []Setting{{"calibration", "K-218 i1"}, {"fuel", "E10 98, batch 7"}},
		Gain:       Shape{Bumps: []Bump{{6600, 1200, 0.02}}},
	})
	s.Faults = nil
	return s
}

func richer() Scenario {
	s := steadyRig()
	for i := range s.Configurations {
		s.Configurations[i].Lambda = 0.95
		s.Configurations[i].Components = parts("C-650-1", "F-650-1", "X-650-2")
	}
	s.Configurations[1].Name = "as delivered, another map"
	s.Faults = []Fault{{Name: mixtureChange, Configuration: "B", Size: -0.07}}
	return s
}

func highRev() Scenario {
	s := Demo()
	s.Faults = nil
	s.Vehicle.ID, s.Vehicle.Description = "four600-01", "600 cc four, 6-speed"
	s.Vehicle.RevsPerDrumRev = 6.6
	s.Vehicle.TyreSpeedSymbol = "W"
	s.Vehicle.Loss = [3]float64{12, 0.05, 0.0004}
	s.Engine.Torque = Shape{
		Level: 58, MidRPM: 9000, Tilt: 0.12, Bend: -0.25, Skew: -0.15,
		Bumps: []Bump{{6200, 800, -4}, {10500, 1800, 4}, {15600, 1700, -20}},
	}
	s.Engine.Inertia = 0.012
	s.Engine.Drag = [2]float64{6, 0.008}
	s.Engine.IdleRPM, s.Engine.StartRPM, s.Engine.CloseRPM = 1400, 3800, 14_000
	s.Dyno.Inertia, s.Dyno.InertiaU = 21, 0.15
	s.Drive.Coast = 6.5
	s.Objective.BandRPM = [2]float64{5500, 12_500}
	s.Logger.Sampled.EngineNoise = 12
	s.Configurations[0].Components = parts("C-600-4", "F-600-4", "X-600-1")
	s.Configurations[1] = Configuration{
		ID: "B", Name: "free-flowing exhaust", Lambda: 0.88,
		Components: parts("C-600-4", "F-600-4", "K-77 X"),
		Settings:   slices.Clone(s.Configurations[0].Settings),
		Gain:       Shape{Bumps: []Bump{{11_800, 2500, 0.05}, {6500, 700, -0.012}}},
	}
	return s
}

func onePulse() Scenario {
	s := pulseLogs()
	s.Logger.Pulses.PerRev = 1
	s.Logger.Pulses.ToothError = 0
	s.Dyno.Inertia, s.Dyno.InertiaU = 40, 0.3
	s.Drive.Coast = 12
	return s
}

// otherRig is the demonstration on a second dyno, for a comparison of the two.
func otherRig() Scenario {
	s := Demo()
	s.Seed = 21
	s.Faults = nil
	s.Dyno.ID = "cell-2"
	s.Dyno.Inertia, s.Dyno.InertiaU, s.Dyno.InertiaStated = 20, 0.15, 20.3
	s.Plan.Start = s.Plan.Start.AddDate(0, 0, 7)
	return s
}
