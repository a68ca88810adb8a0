package campaign

// Configuration returns the configuration with the given id, and whether there
// is one.
func (c *Campaign) Configuration(id string) (Configuration, bool) {
	for _, configuration := range c.Configurations {
		if configuration.ID == id {
			return configuration, true
		}
	}
	return Configuration{}, false
}

// Baseline returns the first configuration whose role is baseline, and whether
// there is one. A campaign without a problem has exactly one.
func (c *Campaign) Baseline() (Configuration, bool) {
	for _, configuration := range c.Configurations {
		if configuration.Role == Baseline {
			return configuration, true
		}
	}
	return Configuration{}, false
}

// Candidates returns the configurations whose role is candidate, in the order
// of the folder.
func (c *Campaign) Candidates() []Configuration {
	var candidates []Configuration
	for _, configuration := range c.Configurations {
		if configuration.Role == Candidate {
			candidates = append(candidates, configuration)
		}
	}
	return candidates
}

// Pull returns the pull of the given name, and whether there is one.
func (c *Campaign) Pull(name string) (Pull, bool) {
	for _, pull := range c.Pulls {
		if pull.Name == name {
			return pull, true
		}
	}
	return Pull{}, false
}

// PullsOf returns the pulls of one configuration, excluded ones too, in the
// order of the folder.
func (c *Campaign) PullsOf(configuration string) []Pull {
	var pulls []Pull
	for _, pull := range c.Pulls {
		if pull.Configuration == configuration {
			pulls = append(pulls, pull)
		}
	}
	return pulls
}

// Used reports whether the pull takes part in the analysis: whether no reason
// excludes it.
func (p Pull) Used() bool { return p.Excluded == "" }

// WheelInertia returns the inertia of the driven wheel with tyre, at the wheel,
// in kg·m²: the configuration's own where it states one, else the vehicle's.
// Zero: not stated.
func (c *Campaign) WheelInertia(configuration Configuration) float64 {
	if configuration.WheelInertia != 0 {
		return float64(configuration.WheelInertia)
	}
	return float64(c.Vehicle.WheelInertia)
}

// WheelRadius returns the radius of the driven tyre in m: the configuration's
// own where it states one, else the vehicle's. Zero: not stated.
func (c *Campaign) WheelRadius(configuration Configuration) float64 {
	if configuration.WheelRadius != 0 {
		return float64(configuration.WheelRadius)
	}
	return float64(c.Vehicle.WheelRadius)
}

// EngineRevsPerDrumRev returns the engine turns a drum turn in the test gear:
// the configuration's own where it states them, else the vehicle's. Zero: not
// stated.
func (c *Campaign) EngineRevsPerDrumRev(configuration Configuration) float64 {
	if configuration.EngineRevsPerDrumRev != 0 {
		return configuration.EngineRevsPerDrumRev
	}
	return c.Vehicle.EngineRevsPerDrumRev
}
