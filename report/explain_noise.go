package report

import (
	"math"
	"strconv"

	"fairpull/compare"
	"fairpull/quantity"
)

// explainScatter explains the noise that the intervals rest on.
func (g *Gain) explainScatter(e *Explanation, c *compare.Comparison) {
	e.Title = "How the scatter comes into the interval"
	variance := func(name string) string {
		return group(below(symbol("a"), upright(name)), above(below(symbol("σ"), upright(name)), figureOf("2")))
	}
	e.add(paragraph{Words: g.against(c) + ". Strap the same vehicle down twice and it reads otherwise; pull twice and it reads otherwise again. The interval covers both."})
	e.section("formula", "The formula", mathOf("σ is the standard deviation at each level. The a follow from the order of the blocks alone: for setups the sum of squares of the weights of each setup taken together, for pulls the sum of w²/n over the blocks of n pulls.",
		above(symbol("SE"), figureOf("2")), sign("="), variance("setup"), sign("+"), variance("block"), sign("+"), variance("pull"), sign("+"), upright("drift, weather, loss placement")),
		paragraph{Words: "A block and its neighbour in the same setup share the setup's offset, which then drops out of the ratio. So more setups narrow the interval, and more pulls hardly do."})
	e.section("inputs", "What went in", append([]block{g.scatterTable(c)}, g.multiplierTable(c))...)
	if parts := partsBlocks(c); parts != nil {
		e.section("uncertainty", "Where the variance of the gain comes from", parts...)
	}
	var lines []string
	if g.History != nil {
		lines = append(lines, g.History.line())
	}
	e.source(append(lines, methodVariance, "The lab's own scatter: docs/history.md.", "Repeatability and reproducibility: ISO 5725-1.")...)
}

// multiplierTable works out from the weights how much of each variance counts.
func (g *Gain) multiplierTable(c *compare.Comparison) table {
	var pulls, blocks float64
	bySetup := map[string]float64{}
	for _, b := range c.Blocks {
		pulls += b.Weight * b.Weight / float64(len(b.Pulls))
		blocks += b.Weight * b.Weight
		bySetup[b.Setup] += b.Weight
	}
	setups := 0.0
	for _, w := range bySetup {
		setups += w * w
	}
	return table{Heads: []string{"Multiplier", "Value", "From"}, Numeric: []bool{false, true, false}, Caption: "How much of each variance the order of " + plural(len(c.Blocks), "block") + " in " + plural(len(bySetup), "setup") + " lets through.",
		Rows: [][]string{
			{"a of setups", fixed(setups, 4), "squares of the weights of each setup together"},
			{"a of change-overs", fixed(blocks, 4), "squares of the weights of the blocks"},
			{"a of pulls", fixed(pulls, 4), "squares of the weights over the pulls of each block"},
		}}
}

// explainDrift explains how far the rig may have drifted, and what that can do.
func (g *Gain) explainDrift(e *Explanation, c *compare.Comparison) {
	d := &c.Drift
	e.Title = "How the drift of the session was found"
	e.add(paragraph{Words: g.against(c) + ". Engines, tyres and rigs warm up: the level creeps while you measure. With the baseline before and after the candidate, a creep can be told from a gain."})
	e.add(verdict{Name: map[bool]string{true: capitalised(string(d.Answer)), false: "Not known"}[d.Known], Sentence: g.driftWords(c)})
	e.section("formula", "The formula", mathOf("β is the slope of ln torque over time, found with the gain in one model of the block means; D the change from the first block to the last. W is the sum of the weights of all blocks up to one: no drift that goes one way can move the gain by more than |D|·max|W|, and a third of its square is allowed for in the variance.",
		symbol("D"), sign("="), symbol("β"), inBrackets(below(symbol("t"), upright("last")), sign("−"), below(symbol("t"), upright("first"))), sign(","), upright("  "),
		symbol("u"), sign("="), over(group(sign("|"), symbol("D"), sign("|"), sign("·"), upright("max"), sign("|"), symbol("W"), sign("|")), root(figureOf("3")))))
	t := table{Heads: []string{"What", "Value", "Interval"}, Numeric: []bool{false, true, true}, Caption: "The drift in figures. Where it is not known nothing stands."}
	row := func(name string, v, lo, hi float64) {
		interval := "–"
		if !math.IsNaN(lo) && !math.IsNaN(hi) {
			interval = signed(percent(lo), 2) + " % to " + signed(percent(hi), 2) + " %"
		}
		value := "–"
		if !math.IsNaN(v) {
			value = signed(percent(v), 2) + " %"
		}
		t.Rows = append(t.Rows, []string{name, value, interval})
	}
	row("Change in an hour", d.PerHour, d.Lo, d.Hi)
	row("Change over the session, D", d.Change, d.ChangeLo, d.ChangeHi)
	t.Rows = append(t.Rows, []string{"p of no drift at all", map[bool]string{true: fixed(d.P, 3), false: "–"}[d.Known], ""},
		[]string{"max|W| of this order", fixed(d.MaxWeightSum, 3), ""})
	if d.Known {
		row("The gain can be off by at most", math.Abs(d.Change)*d.MaxWeightSum, math.NaN(), math.NaN())
		row("Allowed for as a standard uncertainty", math.Abs(d.Change)*d.MaxWeightSum/math.Sqrt(3), math.NaN(), math.NaN())
	}
	e.section("inputs", "What was found", t)
	if d.Gate {
		e.add(paragraph{Words: "The drift could have made more than half of the gain, so nothing is claimed."})
	}
	e.source(methodDrift)
}

// explainCoast explains the part of a gain that the coast-downs say is the rig's.
func (g *Gain) explainCoast(e *Explanation, c *compare.Comparison, units quantity.System) {
	e.Title = "How the coast-down share was found"
	e.add(paragraph{Words: g.against(c) + ". After each pull the clutch lever is pulled, and drum and wheel slow down: how fast says what tyre, driveline and bearings take. If they took less on the candidate's side, part of the gain at the wheel is the rig's and not the part's."})
	if share, known := g.CoastShares[c.Candidate]; known {
		t := gainWords(math.Log1p(share.Value), math.Log1p(share.Lo), math.Log1p(share.Hi), math.NaN(), true)
		e.add(verdict{Name: t.Value + " %", Sentence: "of wheel torque; " + confidence(c.Confidence) + " interval: " + t.Interval + ". Above zero, the candidate's side lost less."})
	} else {
		e.add(paragraph{Words: "There is no such figure: one side has no coast-down."})
	}
	e.section("formula", "The formula",
		mathOf("τ is the loss at the drum, I the drum's inertia and I with the index w the driven wheel's referred to the drum, α the slowing down; the bare drum's own loss is taken off.",
			below(symbol("τ"), upright("loss")), sign("="), sign("−"), inBrackets(symbol("I"), sign("+"), below(symbol("I"), symbol("w"))), symbol("α"), sign("−"), below(symbol("τ"), upright("bare"))),
		mathOf("The losses are read at the mean speed of all coast-downs and weighted as the blocks are in the gain, over the baseline's torque at the drum.",
			upright("share"), sign("="), sign("−"), over(group(sumOver("b", group(below(symbol("w"), symbol("b")), below(symbol("τ"), upright("loss"))))), below(symbol("τ"), upright("drum")))))
	unit := units.Unit(quantity.Torque)
	t := table{Heads: []string{"Pull", "Configuration", "Block", "Mean loss, " + unit.Name, "At drum surface"}, Numeric: []bool{false, false, true, true, true}, Caption: "The coast-downs of the used pulls; how sure each is, stands on the pull's own page."}
	for i := range g.Pulls {
		p := &g.Pulls[i]
		if !p.Used || math.IsNaN(p.CoastLossNm) || p.Configuration != c.Baseline && p.Configuration != c.Candidate {
			continue
		}
		t.Rows = append(t.Rows, []string{clean(p.Pull), g.shortSide(p.Configuration), strconv.Itoa(p.Block), fixed(unit.From(p.CoastLossNm), 2), amountIn(p.CoastSpeedMPS, quantity.Speed, units, 0)})
	}
	if len(t.Rows) > 0 {
		e.section("inputs", "What went in", t)
	}
	e.section("uncertainty", "How sure it is", paragraph{Words: "Two doubts are added: what the losses scatter from pull to pull within the blocks, and two per cent of the loss for each setup (8 degrees of freedom). A share is flagged where its interval leaves zero out and it is large enough to matter; the gain is then held against the loss that the coast-downs found."})
	e.source("Coast-down with the drive disengaged: docs/method.md and docs/formats.md, check coast-down-agreement.")
}
