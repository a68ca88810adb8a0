package simulate

// HeldTruth is one held speed of a steady log: what the tyre hands to the drum at the
// set speed, with nothing accelerating, in the air of that log.
type HeldTruth struct {
	RPM           float64 `json:"rpm"`    // set
	From          float64 `json:"from_s"` // the set point arrives
	To            float64 `json:"to_s"`   // and goes on
	DrumNm        float64 `json:"drum_nm"`
	UncorrectedNm float64 `json:"uncorrected_nm"` // the same referred to the engine
}

// SteadyPullTruth is a steady log as it went.
type SteadyPullTruth struct {
	Held      []HeldTruth `json:"held"`
	Runaway   bool        `json:"runaway"`     // the brake could not hold
	Saturated float64     `json:"saturated_s"` // at full command
}

// SteadyTruth is what steady points show on a rig without scatter, drift or fault at
// the reference air: no rotating part takes or gives power.
type SteadyTruth struct {
	RPM            []float64                  `json:"rpm"`
	Configurations []SteadyConfigurationTruth `json:"configurations"`
	Comparisons    []SteadyComparisonTruth    `json:"comparisons"`
}

// SteadyConfigurationTruth is the wheel figure of one configuration, held.
type SteadyConfigurationTruth struct {
	ID      string    `json:"id"`
	WheelNm []float64 `json:"wheel_nm"`
}

// SteadyComparisonTruth is one candidate against the baseline, held. BandPct is of
// the mean torque over the held speeds within the riding band; null without one.
type SteadyComparisonTruth struct {
	Baseline  string    `json:"baseline"`
	Candidate string    `json:"candidate"`
	BandPct   *float64  `json:"band_pct"`
	CurvePct  []float64 `json:"curve_pct"`
}

// steadyPullTruth returns the truth of one steady log.
func (s *Scenario) steadyPullTruth(p *plannedPull, m *machine, c *steadyCourse) PullTruth {
	law, _ := lawNamed(s.Correction)
	t := s.conditionsTruth(p, m, law)
	t.FullThrottle, t.Closed = c.begin, c.closed
	t.UncorrectedNm = make([]*float64, len(s.nodes()))
	t.Steady = &SteadyPullTruth{Runaway: c.runaway, Saturated: c.saturated}
	for _, h := range s.Brake.program() {
		torque, omega := m.steadyTorque(h.rpm)
		t.Steady.Held = append(t.Steady.Held, HeldTruth{
			RPM: h.rpm, From: c.begin + h.from, To: c.begin + h.to,
			DrumNm: torque, UncorrectedNm: torque * omega * rpmPerRadian / h.rpm,
		})
	}
	return t
}

// steadyTruth returns what steady points should show; nil without a brake.
func (s *Scenario) steadyTruth() *SteadyTruth {
	if s.Brake == nil {
		return nil
	}
	t := &SteadyTruth{RPM: s.Brake.SpeedsRPM}
	for i := range s.Configurations {
		m := s.machine(s.nominal(i))
		c := SteadyConfigurationTruth{ID: s.Configurations[i].ID}
		for _, rpm := range t.RPM {
			torque, omega := m.steadyTorque(rpm)
			c.WheelNm = append(c.WheelNm, torque*omega*rpmPerRadian/rpm)
		}
		t.Configurations = append(t.Configurations, c)
	}
	for i := 1; i < len(t.Configurations); i++ {
		a, b := &t.Configurations[0], &t.Configurations[i]
		c := SteadyComparisonTruth{Baseline: a.ID, Candidate: b.ID}
		var sumA, sumB float64
		for j, rpm := range t.RPM {
			c.CurvePct = append(c.CurvePct, 100*(b.WheelNm[j]/a.WheelNm[j]-1))
			if rpm >= s.Objective.BandRPM[0] && rpm <= s.Objective.BandRPM[1] {
				sumA, sumB = sumA+a.WheelNm[j], sumB+b.WheelNm[j]
			}
		}
		c.BandPct = present(100 * (sumB/sumA - 1))
		t.Comparisons = append(t.Comparisons, c)
	}
	return t
}
