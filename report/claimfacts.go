package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// ClaimVehicle returns what is stated of the vehicle.
func (g *Gain) ClaimVehicle() campaign.ClaimItem {
	v := g.Campaign.Vehicle
	item := campaign.ClaimItem{ID: v.ID, Facts: []campaign.ClaimFact{}}
	add := func(there bool, what, is string) {
		if there {
			item.Facts = append(item.Facts, campaign.ClaimFact{What: what, Is: is})
		}
	}
	add(v.Description != "", "described as", v.Description)
	add(v.Class != "", "of class", v.Class)
	add(v.MassWithRider > 0, "mass with rider", plain(float64(v.MassWithRider))+" kg")
	add(v.TestGear > 0, "in gear", strconv.Itoa(v.TestGear))
	add(v.WheelRadius > 0, "driven wheel radius", plain(float64(v.WheelRadius))+" m")
	add(v.TyreSpeedSymbol != "", "tyre speed symbol", v.TyreSpeedSymbol)
	return item
}

// ClaimRig returns what is stated of the dyno, as it was calibrated.
func (g *Gain) ClaimRig() campaign.ClaimItem {
	d := g.Campaign.Dyno
	item := campaign.ClaimItem{ID: d.ID, Facts: []campaign.ClaimFact{}}
	add := func(there bool, what, is string) {
		if there {
			item.Facts = append(item.Facts, campaign.ClaimFact{What: what, Is: is})
		}
	}
	inertia := plain(float64(d.DrumInertia)) + " kg·m²"
	if d.DrumInertiaU > 0 {
		inertia += " with a standard uncertainty of " + plain(float64(d.DrumInertiaU)) + " kg·m²"
	}
	add(d.DrumInertia > 0, "drum inertia", inertia)
	add(d.DrumRadius > 0, "drum radius", plain(float64(d.DrumRadius))+" m")
	add(d.BrakeArm > 0, "brake arm", plain(float64(d.BrakeArm))+" m")
	for _, c := range g.Calibrations {
		add(true, "calibrated on", Day(c.From))
	}
	return item
}

// ClaimConditions returns when and in which air a comparison was measured, and how
// it was corrected.
func (g *Gain) ClaimConditions(c *compare.Comparison) []campaign.ClaimFact {
	pulls := g.comparedPulls(c)
	var facts []campaign.ClaimFact
	add := func(what, is string) { facts = append(facts, campaign.ClaimFact{What: what, Is: is}) }
	first, last := "", ""
	for _, p := range pulls {
		at := p.Started.Format("2006-01-02 15:04")
		if first == "" || at < first {
			first = at
		}
		last = max(last, at)
	}
	add("pulls", first+" to "+last+", local time")
	add("order", g.claimOrder(c))
	add("correction", g.standard())
	for _, row := range []struct {
		what, unit string
		places     int
		of         func(p *PullRow) float64
	}{
		{"correction factor", "", 4, func(p *PullRow) float64 { return p.CorrectionFactor }},
		{"station pressure", " kPa", 2, func(p *PullRow) float64 { return airOf(p, func() float64 { return float64(p.Air.Pressure) / 1000 }) }},
		{"intake air", " °C", 1, func(p *PullRow) float64 {
			return airOf(p, func() float64 { return quantity.SI.Unit(quantity.Temperature).From(float64(p.Air.Temperature)) })
		}},
		{"vapour pressure", " kPa", 2, func(p *PullRow) float64 { return airOf(p, func() float64 { return float64(p.Air.Vapour) / 1000 }) }},
	} {
		if lo, hi, known := rangeOf(pulls, row.of); known {
			add(row.what, fixed(lo, row.places)+" to "+fixed(hi, row.places)+row.unit)
		}
	}
	if h := g.History; h != nil && !h.Unused {
		add("scatter of the rig", "also from "+plural(h.Campaigns, "earlier campaign")+" of the lab, which the dossier holds")
	} else if h := g.Campaign.History; h != nil {
		add("scatter of the rig", "also from earlier work that the campaign states")
	}
	return facts
}

func airOf(p *PullRow, of func() float64) float64 {
	if p.Air == nil {
		return math.NaN()
	}
	return of()
}

// rangeOf returns the least and the most of a value over pulls, and whether all of
// them have it.
func rangeOf(pulls []*PullRow, of func(*PullRow) float64) (lo, hi float64, known bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range pulls {
		v := of(p)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, 0, false
		}
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi, len(pulls) > 0
}

// comparedPulls returns the pulls that a comparison rests on.
func (g *Gain) comparedPulls(c *compare.Comparison) []*PullRow {
	var pulls []*PullRow
	for i := range g.Pulls {
		in := func(b compare.Block) bool { return slices.Contains(b.Pulls, g.Pulls[i].Pull) }
		if g.Pulls[i].Used && slices.ContainsFunc(c.Blocks, in) {
			pulls = append(pulls, &g.Pulls[i])
		}
	}
	return pulls
}

// claimOrder returns the blocks as they were measured: "A×3 (s1), B×3 (s2)".
func (g *Gain) claimOrder(c *compare.Comparison) string {
	order := ""
	for i, b := range c.Blocks {
		if i > 0 {
			order += ", "
		}
		order += fmt.Sprintf("%s×%d (setup %s)", clean(b.Configuration), len(b.Pulls), clean(b.Setup))
	}
	return order
}

// ClaimProcedure returns the set points, with what was measured of them over the
// pulls that a comparison rests on.
func (g *Gain) ClaimProcedure(c *compare.Comparison) []campaign.ClaimSetPoint {
	points := []campaign.ClaimSetPoint{}
	for _, s := range g.Campaign.Procedure {
		point := campaign.ClaimSetPoint{Key: s.Key, Target: s.Target, Tolerance: s.Tolerance}
		lo, hi, known := rangeOf(g.comparedPulls(c), func(p *PullRow) float64 {
			said, there := g.Campaign.Pull(p.Pull)
			v, measured := said.Measured[s.Key]
			if !there || !measured {
				return math.NaN()
			}
			return v
		})
		if known {
			point.Least, point.Most = &lo, &hi
		}
		points = append(points, point)
	}
	return points
}

// ClaimDeviations returns what of a comparison was not as it should be: excluded
// pulls with their reasons, checks that did not pass, written answers.
func (g *Gain) ClaimDeviations(c *compare.Comparison) []string {
	items := []string{}
	for i := range g.Pulls {
		p := &g.Pulls[i]
		if !p.Used && (p.Configuration == c.Baseline || p.Configuration == c.Candidate) {
			items = append(items, "Pull "+clean(p.Pull)+" ("+clean(p.Configuration)+") is not used: "+cleanTo(p.Reason, 400)+".")
		}
	}
	for _, k := range notPassed(g.checksFor(c.Candidate)) {
		items = append(items, "Check "+clean(k.ID)+": "+cleanTo(k.Message, 600))
	}
	if answered := g.answeredSentence(c); answered != "" {
		items = append(items, capitalised(answered)+".")
	}
	return items
}
