package report

// What the gain result says of steady points beside pulls: docs/formats.md.
type (
	heldJSON struct {
		Comparisons []comparisonJSON `json:"comparisons"`
		Checks      []checkJSON      `json:"checks"`
	}
	waysJSON struct {
		Missing        string           `json:"missing,omitempty"`
		Configurations []wayJSON        `json:"configurations"`
		Gains          []gainOfWaysJSON `json:"gains"`
	}
	wayJSON struct {
		Configuration string        `json:"configuration"`
		Difference    effectJSON    `json:"held_over_accelerating"`
		Inertia       amount        `json:"rotating_inertia_kgm2"` // at the drum
		InertiaLo     amount        `json:"rotating_inertia_lo_kgm2"`
		InertiaHi     amount        `json:"rotating_inertia_hi_kgm2"`
		WheelInertia  amount        `json:"stated_wheel_kgm2"` // at the drum
		Curve         []wayNodeJSON `json:"curve"`
	}
	wayNodeJSON struct {
		RPM          amount `json:"rpm"`
		Accelerating amount `json:"accelerating_nm"`
		Held         amount `json:"held_nm"`
		Difference   amount `json:"difference_pct"`
		Lo           amount `json:"lo_pct"`
		Hi           amount `json:"hi_pct"`
	}
	gainOfWaysJSON struct {
		Candidate    string     `json:"candidate"`
		Accelerating effectJSON `json:"accelerating"`
		Held         effectJSON `json:"held"`
		Difference   amount     `json:"difference_pct"`
		Lo           amount     `json:"lo_pct"`
		Hi           amount     `json:"hi_pct"`
		WheelShare   amount     `json:"stated_wheels_pct"`
	}
)

func (g *Gain) heldJSON() *heldJSON {
	if g.Held == nil {
		return nil
	}
	out := &heldJSON{Comparisons: []comparisonJSON{}, Checks: checksJSON(g.Held.Checks)}
	for i := range g.Held.Comparisons {
		out.Comparisons = append(out.Comparisons, g.Held.comparisonJSON(&g.Held.Comparisons[i]))
	}
	return out
}

func (w *Ways) json() *waysJSON {
	if w == nil {
		return nil
	}
	out := &waysJSON{Missing: w.Missing, Configurations: []wayJSON{}, Gains: []gainOfWaysJSON{}}
	for i := range w.Configurations {
		c := &w.Configurations[i]
		one := wayJSON{
			Configuration: c.Configuration, Difference: effect(&c.Comparison.Band), Inertia: amount(c.Inertia),
			InertiaLo: amount(c.InertiaLo), InertiaHi: amount(c.InertiaHi), WheelInertia: null, Curve: []wayNodeJSON{},
		}
		if c.WheelInertia > 0 {
			one.WheelInertia = amount(c.WheelInertia)
		}
		for j := range c.Comparison.Curve {
			n := node(&c.Comparison.Curve[j])
			one.Curve = append(one.Curve, wayNodeJSON{n.RPM, n.Baseline, n.Candidate, n.Gain, n.Lo, n.Hi})
		}
		out.Configurations = append(out.Configurations, one)
	}
	for i := range w.Gains {
		c := &w.Gains[i]
		out.Gains = append(out.Gains, gainOfWaysJSON{
			Candidate: c.Candidate, Accelerating: effect(&c.Accelerating), Held: effect(&c.Held),
			Difference: amount(percent(c.Difference)), Lo: amount(percent(c.Lo)), Hi: amount(percent(c.Hi)), WheelShare: amount(100 * c.WheelShare),
		})
	}
	return out
}
