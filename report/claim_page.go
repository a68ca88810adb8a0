package report

import (
	"slices"
	"strconv"

	"fairpull/campaign"
	"fairpull/quantity"
)

// at is the index of the claim's comparison in its analysis; −1: there is none.
func (c *Claim) at() int {
	if c.Gain == nil {
		return -1
	}
	for i := range c.Gain.Comparisons {
		if c.Gain.Comparisons[i].Candidate == c.Candidate {
			return i
		}
	}
	return -1
}

// Parts returns the claim as a page of the lab shows it: what it states and how far it
// has come, then the figures, the curves, what was compared, what it holds for, and its
// states. Without the analysis behind it the curves are left out.
func (c *Claim) Parts(units quantity.System, at ChartsAt) (Lead, []Section, error) {
	return parts("Claim "+clean(c.Number)+": "+cleanTo(c.Title, 160), at.link(c.blocks(onScreen, units)))
}

// Charts returns the charts of the claim's page.
func (c *Claim) Charts(units quantity.System) *Charts {
	out := &Charts{About: "Claim " + clean(c.Number) + ": " + cleanTo(c.Title, 160) + ". " + c.Standing(), From: "campaign " + clean(c.Campaign), Version: c.Version}
	out.add(c.blocks(onScreen, units))
	return out
}

func (c *Claim) blocks(l look, units quantity.System) []block {
	ended := c.State() == campaign.ClaimAmended || c.State() == campaign.ClaimWithdrawn
	out := []block{
		verdict{Name: capitalised(clean(c.Verdict)), Shown: !ended, Sentence: cleanTo(c.Sentence, 2000)},
		paragraph{Words: cleanTo(c.Specimens, 2000)},
	}
	out = append(out, heading{Level: 2, Words: "What was measured", ID: "measured"}, paragraph{Words: figureLine(c.Claimed, c.Confidence) + " This figure carries the claim."})
	o := documentOptions{units: units}
	if i := c.at(); i >= 0 {
		out = append(out, c.Gain.figuresTable(&c.Gain.Comparisons[i], units), heading{Level: 2, Words: "Gain, torque and power", ID: "curves"})
		out = append(out, c.Gain.curveBlocks(i, l, o)...)
	} else {
		var items []string
		for _, f := range c.Beside {
			items = append(items, figureLine(f, c.Confidence))
		}
		out = append(out, bullets{Items: items})
	}
	out = append(out, heading{Level: 2, Words: "What was compared", ID: "compared"}, c.sidesTable())
	for _, part := range []struct {
		id, title string
		items     []string
	}{
		{"facts", "Vehicle, rig and conditions", c.facts()}, {"deviations", "Deviations", c.Deviations},
		{"not-covered", "What it does not cover", c.NotCovered}, {"cautions", "Cautions", c.Cautions},
	} {
		items := make([]string, 0, len(part.items))
		for _, item := range part.items {
			items = append(items, cleanTo(item, 1000))
		}
		if len(items) == 0 {
			items = []string{"None."}
		}
		out = append(out, heading{Level: 2, Words: part.title, ID: part.id}, bullets{Items: items})
	}
	out = append(append(out, heading{Level: 2, Words: "States", ID: "states"}), c.stateBlocks()...)
	if c.at() >= 0 {
		out = append(out, c.Gain.numberBlocks(o)...)
	}
	return out
}

// sidesTable has both configurations, function by function.
func (c *Claim) sidesTable() table {
	t := table{
		Caption: "Parts by function, with serial and batch where they were written down, and settings; " + plural(c.Baseline.Pulls, "pull") + " of the baseline in " + plural(c.Baseline.Setups, "setup") + ", " + plural(c.Tested.Pulls, "pull") + " of the candidate in " + plural(c.Tested.Setups, "setup") + ".",
		Heads:   []string{"Function or setting", joined(" ", clean(c.Baseline.ID), clean(c.Baseline.Name)) + ", baseline", joined(" ", clean(c.Tested.ID), clean(c.Tested.Name)) + ", candidate"},
		Numeric: []bool{false, false, false},
	}
	var names []string
	cells := [2]map[string]string{{}, {}}
	changed := map[string]bool{}
	for i, side := range [2]campaign.ClaimSide{c.Baseline, c.Tested} {
		put := func(name, words string, other bool) {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
			cells[i][name] = joined("; ", cells[i][name], words)
			changed[name] = changed[name] || other
		}
		for _, p := range side.Components {
			put(clean(p.Function), componentWords(p), p.Changed)
		}
		for _, s := range side.Settings {
			put("setting: "+words(s.Key), clean(s.Value), s.Changed)
		}
	}
	for _, name := range names {
		row := []string{name, cells[0][name], cells[1][name]}
		for k := range row {
			if row[k] == "" {
				row[k] = "–"
			}
		}
		mark := ""
		if changed[name] {
			row[2], mark = row[2]+" (changed)", "differs"
		}
		t.Rows, t.Marks = append(t.Rows, row), append(t.Marks, mark)
	}
	return t
}

// stateBlocks are the states with who and when, the signatures and the record.
func (c *Claim) stateBlocks() []block {
	t := table{Caption: "Every state that it came into is kept.", Heads: []string{"When, UTC", "State", "Who", "Why"}, Numeric: []bool{false, false, false, false}}
	for _, s := range c.States {
		why := cleanTo(s.Why, 400)
		if why == "" {
			why = "–"
		}
		t.Rows = append(t.Rows, []string{s.At.UTC().Format("2006-01-02 15:04"), string(s.State), clean(s.Who), why})
	}
	out := []block{t}
	var items []string
	for _, s := range c.Signed {
		items = append(items, "Signed by "+clean(s.By)+" ("+clean(s.As)+") on "+Day(s.At)+" with key "+clean(s.Key)+".")
	}
	if c.Record != "" {
		items = append(items, "Leaf "+strconv.FormatInt(c.Index, 10)+" of the record "+clean(c.Record)+".")
	}
	if c.Founder != "" {
		items = append(items, "The lab's list of keys begins with "+clean(c.Founder)+".")
	}
	if len(items) > 0 {
		out = append(out, bullets{Items: items})
	}
	return out
}

// Parts returns the steps as a page of the lab shows them.
func (s *Steps) Parts(units quantity.System, at ChartsAt) (Lead, []Section, error) {
	return parts(s.title(), at.link(s.blocks(onScreen, units)))
}

// Charts returns the charts of the page of steps.
func (s *Steps) Charts(units quantity.System) *Charts {
	c := &Charts{About: s.title() + ". " + s.question(), From: "campaign " + clean(s.Gain.Campaign.ID), Version: s.Version}
	c.add(s.blocks(onScreen, units))
	return c
}

// Parts returns the answer as a page shows it, a section for each published claim, the
// nearest first.
func (c *Covers) Parts() (Lead, []Section, error) {
	var blocks []block
	if len(c.Rows) == 0 {
		blocks = append(blocks, paragraph{Words: "No claim is published: nothing is covered."})
	}
	for i := range c.Rows {
		r := &c.Rows[i]
		blocks = append(blocks, heading{Level: 2, Words: c.headOf(i), ID: "claim-" + clean(r.Number)})
		blocks = append(blocks, verdict{Name: capitalised(r.Answer), Shown: r.Answer == Covered, Sentence: cleanTo(r.Title, 200)})
		if r.Answer != NotCovered {
			blocks = append(blocks, paragraph{Words: cleanTo(r.Sentence, 2000)})
		}
		if items := r.pointWords(); len(items) > 0 {
			blocks = append(blocks, bullets{Items: items})
		}
		blocks = append(blocks, paragraph{Words: r.vehicleWords(), Small: true})
	}
	return parts("Does it cover this bike?", blocks)
}
