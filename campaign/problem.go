package campaign

import (
	"fmt"
	"slices"
)

// Problem is one thing that keeps a campaign from being analysed.
type Problem struct {
	// Key is where it is: the path of a key in campaign.toml, as in
	// "objective.confidence" or "configuration[1].role", or of a column of
	// pulls.csv, as in "pulls[3].configuration". Indices count from 0.
	Key     string
	Message string // what is wrong, with the value
	Cure    string // what to do
}

// Error returns the message and the cure.
func (p Problem) Error() string { return p.Message + "; " + p.Cure }

// problems collects what is wrong.
type problems []Problem

func (p *problems) add(key, cure, format string, args ...any) {
	*p = append(*p, Problem{Key: key, Message: fmt.Sprintf(format, args...), Cure: cure})
}

// Problems returns everything that keeps the campaign from being analysed, as
// far as it can be told without the logs; nil where there is nothing.
//
// Held up: ids are slugs and unique; exactly one baseline and at least one
// candidate, each with a pull that is not excluded; every pull has a name of
// its own and a declared configuration; no log and no start time serves two used
// pulls; every number is finite and possible.
func (c *Campaign) Problems() []Problem {
	p := problems(c.DraftProblems())
	c.checkPulls(&p)
	return p
}

// DraftProblems returns everything that keeps the campaign from being planned and
// measured: what [Campaign.Problems] says of all but the pulls.
func (c *Campaign) DraftProblems() []Problem {
	var p problems
	c.checkHead(&p)
	c.checkVehicle(&p)
	c.checkDyno(&p)
	c.checkConfigurations(&p)
	c.checkProcedure(&p)
	c.checkHistory(&p)
	c.checkPlan(&p)
	return p
}

func (c *Campaign) checkHead(p *problems) {
	p.id("id", c.ID)
	p.text("title", c.Title)
	p.text("purpose", c.Purpose)
	if c.Correction == "" {
		p.add("correction.standard", `write the standard's name, as in standard = "SAE J1349", or "none"`, "no correction standard is named")
	}
	p.objective("objective", c.Objective)
}

// objective checks a question at key: the campaign's own, or the one of its plan.
func (p *problems) objective(key string, o Objective) {
	if o.BandRPM != [2]float64{} {
		lo, hi := o.BandRPM[0], o.BandRPM[1]
		p.within(key+".band_rpm", "its lower end in 1/min", lo, 0, maxRPM)
		p.within(key+".band_rpm", "its upper end in 1/min", hi, 0, maxRPM)
		if lo >= hi {
			p.add(key+".band_rpm", "write the lower engine speed first, as in [2500, 6000]",
				"the riding band runs from %g to %g 1/min", lo, hi)
		}
	}
	if !(o.SmallestGain >= 0 && o.SmallestGain < 1) {
		p.add(key+".smallest_gain_of_interest_pct", "write a percentage from 0 up to 100",
			"the smallest gain of interest is %g %%", 100*o.SmallestGain)
	}
	if !(o.Confidence > 0 && o.Confidence < 1) {
		p.add(key+".confidence", "write a fraction between 0 and 1, as in 0.95", "the confidence is %g", o.Confidence)
	}
	if !slices.Contains([]Primary{PrimaryBand, PrimaryPeakTorque, PrimaryPeakPower}, o.Primary) {
		p.add(key+".primary", `write "band", "peak_torque" or "peak_power"`, "the primary figure is %q", string(o.Primary))
	}
}

func (c *Campaign) checkVehicle(p *problems) {
	v := c.Vehicle
	if v.ID != "" {
		p.id("vehicle.id", v.ID)
	}
	p.text("vehicle.description", v.Description)
	p.text("vehicle.tyre_speed_symbol", v.TyreSpeedSymbol)
	if v.Class != "" {
		if err := CheckName(v.Class); err != nil {
			p.add("vehicle.class", fmt.Sprintf("write at most %d bytes of plain text, as in twin-650", MaxID), "the class %.80q %v", v.Class, err)
		}
	}
	p.optional("vehicle.mass_with_rider_kg", float64(v.MassWithRider), maxMass)
	p.optional("vehicle.test_gear", float64(v.TestGear), maxGear)
	p.optional("vehicle.engine_revs_per_drum_rev", v.EngineRevsPerDrumRev, maxRatio)
	p.optional("vehicle.driven_wheel_inertia_kgm2", float64(v.WheelInertia), maxWheelInertia)
	p.optional("vehicle.driven_wheel_radius_m", float64(v.WheelRadius), maxRadius)
}

func (c *Campaign) checkDyno(p *problems) {
	d := c.Dyno
	if d.ID != "" {
		p.id("dyno.id", d.ID)
	}
	p.optional("dyno.drum_inertia_kgm2", float64(d.DrumInertia), maxDrumInertia)
	p.optional("dyno.drum_inertia_u_kgm2", float64(d.DrumInertiaU), maxDrumInertia)
	if d.DrumInertia > 0 && d.DrumInertiaU >= d.DrumInertia {
		p.add("dyno.drum_inertia_u_kgm2", "write the standard uncertainty in kg·m², not in per cent",
			"the uncertainty %g kg·m² is not below the drum inertia %g kg·m²", float64(d.DrumInertiaU), float64(d.DrumInertia))
	}
	p.optional("dyno.drum_radius_m", float64(d.DrumRadius), maxRadius)
	p.optional("dyno.brake_arm_m", float64(d.BrakeArm), maxRadius)
	p.optional("dyno.pulses_per_rev", float64(d.PulsesPerRev), maxPulses)
	p.optional("dyno.engine_pulses_per_rev", d.EnginePulsesPerRev, maxPulses)
	for _, c := range d.Parasitic {
		if !(c >= -maxParasitic && c <= maxParasitic) {
			p.add("dyno.parasitic_torque_nm", "write three finite numbers, as in [1.1, 0.010, 0.0]", "a coefficient is %g", c)
		}
	}
	if d.SiteElevation != nil {
		p.within("dyno.site_elevation_m", "the elevation in m", float64(*d.SiteElevation), minElevation, maxElevation)
	}
}

func (c *Campaign) checkProcedure(p *problems) {
	for _, s := range c.Procedure {
		key := "procedure." + s.Key
		p.within(key, "the target", s.Target, -maxSetPoint, maxSetPoint)
		p.within(key, "the tolerance", s.Tolerance, 0, maxSetPoint)
	}
}

func (c *Campaign) checkHistory(p *problems) {
	if c.History == nil {
		return
	}
	h := *c.History
	for _, row := range []struct {
		name   string
		sd, df float64
	}{{"setup", h.SetupSD, h.SetupDF}, {"block", h.BlockSD, h.BlockDF}, {"pull", h.PullSD, h.PullDF}} {
		key := "history." + row.name
		if !(row.sd >= 0 && row.sd < 1) {
			p.add(key+"_sd_pct", "write a standard deviation in per cent, from 0 up to 100", "it is %g %%", 100*row.sd)
		}
		if !(row.df >= 0 && row.df <= maxDF) {
			p.add(key+"_df", "write the degrees of freedom, above 0", "they are %g", row.df)
		}
		if row.sd > 0 && row.df == 0 {
			p.add(key+"_df", "write the degrees of freedom beside "+row.name+"_sd_pct", "a standard deviation stands without its degrees of freedom")
		}
		if row.sd == 0 && row.df > 0 {
			p.add(key+"_sd_pct", "write what was measured, or leave both out", "a standard deviation of 0 counts as perfect knowledge, and no lab has measured it")
		}
	}
}
