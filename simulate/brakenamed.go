package simulate

import "slices"

// steadyKit is the kit of the demonstration on a braked drum: speeds are held and no
// pull is made.
func steadyKit() Scenario {
	s := Demo()
	s.Faults = nil
	s.Brake = DefaultBrake()
	s.Brake.Alone = true
	return s
}

// bothWays is a lighter wheel whose inertia is given, measured in pulls and held.
func bothWays() Scenario {
	s := steadyRig()
	s.Configurations[0].Components = append(s.Configurations[0].Components, Component{Function: "driven wheel", Part: "W-17 cast"})
	s.Configurations[1].Components = append(parts("C-650-1", "F-650-1", "X-650-2"), Component{Function: "driven wheel", Part: "W-17 light"})
	s.Configurations[1].Name = "light wheel"
	s.Configurations[1].WheelInertia = 0.34
	s.Brake = DefaultBrake()
	s.Plan.PullsPerBlock = 2
	return s
}

// weakBrake is steadyKit with a brake that is too small where the engine is
// strongest, loses torque as it heats, and whose loop is tuned too sharp.
func weakBrake() Scenario {
	s := steadyKit()
	s.Plan.Order = "ABA"
	b := s.Brake
	b.Logs = 1
	b.SpeedsRPM = slices.Clone(b.SpeedsRPM)
	b.Max, b.Fade, b.Lag = 335, 0.06, 0.15
	b.Proportional, b.Integral = 60, 400
	return s
}
