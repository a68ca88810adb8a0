package report

import (
	"math"

	"fairpull/compare"
	"fairpull/quantity"
)

// waysID is the place of what both ways of measuring say.
const waysID = "held-and-accelerating"

const waysHeading = "Held on the brake and accelerating"

// waysSentences says how held torque differs from that of the pulls, and why.
func (g *Gain) waysSentences(units quantity.System) []string {
	w := g.Ways
	if w == nil {
		return nil
	}
	if w.Missing != "" {
		return []string{"Held and accelerating torque were not compared: " + w.Missing + "."}
	}
	var out []string
	for i := range w.Configurations {
		out = append(out, g.wayWords(&w.Configurations[i], units))
	}
	for i := range w.Gains {
		out = append(out, g.gainOfWaysWords(&w.Gains[i]))
	}
	return append(out, "The gains of both ways are compared as if their errors were independent, which makes the interval of their difference too wide rather than too narrow.")
}

// wayWords says the difference of one configuration with what it stands for.
func (g *Gain) wayWords(w *Way, units quantity.System) string {
	f := &w.Comparison.Band
	t := gainTextOf(f)
	direction := "more"
	if f.Gain < 0 {
		direction = "less"
	}
	s := "Held, " + g.side(w.Configuration) + " shows " + t.Size + " % " + direction + " torque at the drum than while it accelerates, as a mean over " +
		plural(len(w.Comparison.Curve), "speed") + " from " + span(w.Comparison.BandRPM) + " " + withInterval(&w.Comparison, t)
	if math.IsNaN(w.Inertia) {
		return s + "."
	}
	s += ": in a pull wheel, driveline and engine take torque to gain speed, and held they take none. That stands for " + rotatingWords(w.Inertia, w.InertiaLo, w.InertiaHi, units) + " at the drum"
	if w.WheelInertia > 0 && w.Inertia > w.WheelInertia {
		rest := w.Inertia - w.WheelInertia
		s += ", of which the stated wheel is " + rotatingWords(w.WheelInertia, math.NaN(), math.NaN(), units)
		if w.Ratio > 0 {
			by := 1 / (w.Ratio * w.Ratio)
			s += "; the rest would be " + rotatingWords(rest*by, (w.InertiaLo-w.WheelInertia)*by, (w.InertiaHi-w.WheelInertia)*by, units) + " at the crankshaft"
		}
	}
	return s + "."
}

// rotatingWords writes an inertia with its limits, which may be missing.
func rotatingWords(value, lo, hi float64, units quantity.System) string {
	u := units.Unit(quantity.Inertia)
	half := (hi - lo) / 2
	if !(half > 0) {
		return plain(math.Round(u.From(value)*1e4)/1e4) + " " + u.Name
	}
	n := places(u.From(half), 5)
	return fixed(u.From(value), n) + " " + u.Name + " (" + fixed(u.From(lo), n) + " to " + fixed(u.From(hi), n) + ")"
}

// gainOfWaysWords sets both gains of one candidate side by side.
func (g *Gain) gainOfWaysWords(w *GainOfWays) string {
	s := "The gain of " + g.side(w.Candidate) + " in torque over the band: "
	if w.Accelerating.Missing != "" || w.Held.Missing != "" {
		return s + "it is not to be had both ways."
	}
	a, b := gainTextOf(&w.Accelerating), gainTextOf(&w.Held)
	s += a.Value + " % in pulls (" + a.Interval + ") and " + b.Value + " % held (" + b.Interval + ")"
	known := !math.IsNaN(w.Lo)
	if !known {
		return s + "; without an interval of both nothing can be said of the difference."
	}
	d := gainWords(w.Difference, w.Lo, w.Hi, math.NaN(), true)
	s += "; the difference is " + d.Value + " % (" + d.Interval + ")"
	switch {
	case w.Lo > 0:
		s += ": a part of what the pulls show is torque that rotating parts no longer take to gain speed. It is felt while accelerating and not at a steady speed"
	case w.Hi < 0:
		s += ": the pulls show less than there is at a steady speed, for rotating parts take more to gain speed"
	default:
		s += ": no difference between the ways is shown"
	}
	if !math.IsNaN(w.WheelShare) && w.WheelShare != 0 {
		s += "; the wheels as stated account for " + signed(100*w.WheelShare, 2) + " %"
	}
	return s + "."
}

// waysText writes both ways for a terminal.
func (g *Gain) waysText(t *terminal) {
	if g.Ways == nil {
		return
	}
	t.section(waysHeading)
	for i := range g.heldComparisons() {
		t.hanging(styleNone, "  held: ", Verdict(&g.Held.Comparisons[i])+". "+g.Held.Sentence(&g.Held.Comparisons[i]))
	}
	for _, s := range g.waysSentences(t.o.Units) {
		t.words("  ", s)
	}
}

func (g *Gain) heldComparisons() []compare.Comparison {
	if g.Held == nil {
		return nil
	}
	return g.Held.Comparisons
}

// waysBlocks is the same for a page and for paper, with a table of the speeds.
func (g *Gain) waysBlocks(units quantity.System) []block {
	if g.Ways == nil {
		return nil
	}
	blocks := []block{heading{Level: 2, Words: waysHeading, ID: waysID}}
	for i := range g.heldComparisons() {
		c := &g.Held.Comparisons[i]
		blocks = append(blocks, paragraph{Words: "Held: " + Verdict(c) + ". " + g.Held.Sentence(c)})
		for _, k := range notPassed(g.Held.checksFor(c.Candidate)) {
			blocks = append(blocks, flagOf(k))
		}
	}
	blocks = append(blocks, bullets{Items: g.waysSentences(units)})
	for i := range g.Ways.Configurations {
		blocks = append(blocks, g.wayTable(&g.Ways.Configurations[i], units))
	}
	return blocks
}

// wayTable has the torque of one configuration both ways, speed by speed.
func (g *Gain) wayTable(w *Way, units quantity.System) table {
	torque := units.Unit(quantity.Torque)
	t := table{
		Caption: "Corrected torque of " + g.shortSide(w.Configuration) + " both ways, with the " + confidence(w.Comparison.Confidence) + " interval of the difference at each speed.",
		Heads:   []string{"rpm", "accelerating, " + torque.Name, "held, " + torque.Name, "difference", "interval"},
		Numeric: []bool{true, true, true, true, true},
	}
	for i := range w.Comparison.Curve {
		n := &w.Comparison.Curve[i]
		words := gainWords(n.Gain, n.Lo, n.Hi, n.AtLeast, n.Interval)
		t.Rows = append(t.Rows, []string{plain(n.RPM), fixed(torque.From(n.Baseline), 1), fixed(torque.From(n.Candidate), 1), words.Value + " %", words.Interval})
	}
	return t
}
