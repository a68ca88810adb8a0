package lab

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairpull/campaign"
)

// sameOnEveryRig returns the id that the configuration has in each campaign, or what
// keeps the campaigns apart.
func sameOnEveryRig(analyses []*Analysis, wanted string) ([]string, error) {
	first := analyses[0].Campaign
	base, err := chosenConfiguration(first, wanted)
	if err != nil {
		return nil, err
	}
	ids := []string{base.ID}
	dynos := map[string]string{first.Dyno.ID: first.ID}
	crank := usedPulls(analyses[0].Pulls)[0].AtCrank
	if first.Vehicle.ID == "" || first.Dyno.ID == "" {
		return nil, fmt.Errorf("campaign %s does not say which vehicle was on which dyno: both need their ids", first.ID)
	}
	for _, a := range analyses[1:] {
		c := a.Campaign
		other, twice := dynos[c.Dyno.ID]
		switch {
		case c.Dyno.ID == "":
			return nil, fmt.Errorf("campaign %s does not say which dyno it was made on: rigs are told apart by their ids", c.ID)
		case twice:
			return nil, fmt.Errorf("campaigns %s and %s are both of dyno %s: a rig takes part once, so name one of them", other, c.ID, c.Dyno.ID)
		case c.Vehicle.ID != first.Vehicle.ID:
			return nil, fmt.Errorf("campaign %s is of vehicle %s and campaign %s of vehicle %s: rigs are compared by one vehicle", first.ID, first.Vehicle.ID, c.ID, orNone(c.Vehicle.ID))
		case usedPulls(a.Pulls)[0].AtCrank != crank:
			return nil, fmt.Errorf("one of the campaigns %s and %s gives wheel figures and the other crank figures: they cannot be compared", first.ID, c.ID)
		case a.allSteady != analyses[0].allSteady:
			return nil, fmt.Errorf("one of the campaigns %s and %s has steady points and the other pulls: rotating parts take torque in the one and not in the other", first.ID, c.ID)
		case c.Objective.BandRPM != first.Objective.BandRPM:
			return nil, fmt.Errorf("the riding band of campaign %s is %s, that of campaign %s %s: put the same in both", first.ID, ridingBandWords(first), c.ID, ridingBandWords(c))
		case c.Objective.Confidence != first.Objective.Confidence:
			return nil, fmt.Errorf("campaign %s asks for a confidence of %g and campaign %s for %g: put the same in both", first.ID, first.Objective.Confidence, c.ID, c.Objective.Confidence)
		}
		dynos[c.Dyno.ID] = c.ID
		id, err := sameConfiguration(c, base, first.ID)
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

func orNone(id string) string {
	if id == "" {
		return "without an id"
	}
	return id
}

func ridingBandWords(c *campaign.Campaign) string {
	if c.Objective.BandRPM == [2]float64{} {
		return "not stated"
	}
	return fmt.Sprintf("%g to %g rpm", c.Objective.BandRPM[0], c.Objective.BandRPM[1])
}

// chosenConfiguration returns the one that is asked for, or the baseline.
func chosenConfiguration(c *campaign.Campaign, wanted string) (campaign.Configuration, error) {
	var ids []string
	for _, k := range c.Configurations {
		if k.ID == wanted || wanted == "" && k.Role == campaign.Baseline {
			return k, nil
		}
		ids = append(ids, k.ID)
	}
	return campaign.Configuration{}, fmt.Errorf("campaign %s has no configuration %.40q; it has %s", c.ID, wanted, strings.Join(ids, ", "))
}

// sameConfiguration returns the configuration of a campaign that has the same
// components and settings as base, or says in what the nearest one differs.
func sameConfiguration(c *campaign.Campaign, base campaign.Configuration, other string) (string, error) {
	var found []string
	var apart []string
	for _, k := range c.Configurations {
		d := configurationsApart(base, k)
		if len(d) == 0 {
			if k.ID == base.ID {
				return k.ID, nil
			}
			found = append(found, k.ID)
		}
		if apart == nil || len(d) < len(apart) {
			apart = d
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", fmt.Errorf("campaign %s has no configuration like %s of campaign %s.\n  The nearest differs in: %s.\n  Rigs are compared by one vehicle in one configuration", c.ID, base.ID, other, strings.Join(apart, "; "))
	}
	return "", fmt.Errorf("campaign %s has the configuration %s of campaign %s more than once, as %s: give one of them the same id", c.ID, base.ID, other, strings.Join(found, " and "))
}

// configurationsApart says in what two configurations differ. A serial or a batch that
// only one of them states is no difference.
func configurationsApart(a, b campaign.Configuration) []string {
	var out []string
	unlike := func(x, y string) bool { return x != "" && y != "" && x != y }
	same := func(x, y campaign.Component) bool {
		return x.Function == y.Function && x.Part == y.Part && !unlike(x.Serial, y.Serial) && !unlike(x.Batch, y.Batch)
	}
	for _, x := range a.Components {
		if !slices.ContainsFunc(b.Components, func(y campaign.Component) bool { return same(x, y) }) {
			out = append(out, x.Function+" "+joinedWords(x.Part, x.Serial))
		}
	}
	for _, y := range b.Components {
		if !slices.ContainsFunc(a.Components, func(x campaign.Component) bool { return same(x, y) }) {
			out = append(out, y.Function+" "+joinedWords(y.Part, y.Serial))
		}
	}
	values := func(list []campaign.Setting) map[string]string {
		m := map[string]string{}
		for _, s := range list {
			m[s.Key] = s.Value
		}
		return m
	}
	x, y := values(a.Settings), values(b.Settings)
	for _, s := range slices.Concat(a.Settings, b.Settings) {
		if words := "setting " + s.Key; x[s.Key] != y[s.Key] && !slices.Contains(out, words) {
			out = append(out, words)
		}
	}
	return out
}

func joinedWords(words ...string) string {
	return strings.TrimSpace(strings.Join(words, " "))
}

// differences says in what the campaigns differ that a bias of rigs should not hold.
func differences(analyses []*Analysis) []string {
	var out []string
	first := analyses[0].Campaign
	for _, a := range analyses[1:] {
		c := a.Campaign
		pair := "campaigns " + first.ID + " and " + c.ID
		if a.Standard.Name != analyses[0].Standard.Name {
			out = append(out, fmt.Sprintf("The %s correct for the air by %s and by %s: what the standards differ is in the bias. Put the same under [correction].", pair, correctionWords(analyses[0]), correctionWords(a)))
		}
		if c.Vehicle.TestGear != first.Vehicle.TestGear {
			out = append(out, fmt.Sprintf("The %s were made in gear %d and in gear %d: the losses between engine and drum differ with it.", pair, first.Vehicle.TestGear, c.Vehicle.TestGear))
		}
		if x, y := airFactor(analyses[0]), airFactor(a); math.Abs(math.Log(y/x)) > airApart {
			out = append(out, fmt.Sprintf("The air differed: the correction factor is %.3f in campaign %s and %.3f in campaign %s. The doubt of the correction's exponent is in the interval.", x, first.ID, y, c.ID))
		}
		if x, y := float64(first.Dyno.DrumInertia), float64(c.Dyno.DrumInertia); x > 0 && y > 0 && math.Abs(math.Log(y/x)) > inertiaApart {
			out = append(out, fmt.Sprintf("The drums have %.3g and %.3g kg·m²: on the heavier one the engine gains speed more slowly, and its own rotating parts take less of the torque. That is in the bias, and no fault of either rig.", x, y))
		}
		for _, words := range setPointsApart(first, c) {
			out = append(out, fmt.Sprintf("The %s differ in what the pulls are held to: %s.", pair, words))
		}
	}
	return out
}

// airApart is the difference of correction factors, ln, from which it is said: judged.
const airApart = 0.01

// inertiaApart is the difference of drum inertias, ln, from which it is said: judged.
const inertiaApart = 0.1

func correctionWords(a *Analysis) string {
	if !a.Standard.Corrects() {
		return "no standard"
	}
	return a.Standard.Name
}

// airFactor is the mean correction factor of a campaign's used pulls.
func airFactor(a *Analysis) float64 {
	sum, n := 0.0, 0.0
	for _, p := range usedPulls(a.Pulls) {
		sum += math.Log(p.Factor)
		n++
	}
	return math.Exp(sum / n)
}

// setPointsApart says which set points differ, tyre pressure among them.
func setPointsApart(a, b *campaign.Campaign) []string {
	of := func(c *campaign.Campaign) map[string]float64 {
		m := map[string]float64{}
		for _, s := range c.Procedure {
			m[s.Key] = s.Target
		}
		return m
	}
	x, y := of(a), of(b)
	var out []string
	for _, s := range slices.Concat(a.Procedure, b.Procedure) {
		v, inA := x[s.Key]
		u, inB := y[s.Key]
		words := fmt.Sprintf("%s %g and %g", s.Key, v, u)
		switch {
		case inA && !inB:
			words = fmt.Sprintf("%s is stated in %s only", s.Key, a.ID)
		case inB && !inA:
			words = fmt.Sprintf("%s is stated in %s only", s.Key, b.ID)
		case v == u:
			continue
		}
		if !slices.Contains(out, words) {
			out = append(out, words)
		}
	}
	return out
}
