package report

import (
	"io"
	"math"
	"strconv"
	"strings"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// HTML writes the answer as one page that stands alone: the curve with its limits first.
func (m *Mixture) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, m.title(), m.Sentence(), m.foot(), m.blocks(onScreen, units))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (m *Mixture) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, m.title(), m.Sentence(), m.foot(), m.Version, m.blocks(onPaper, units), units)
}

// SVG writes the curve alone.
func (m *Mixture) SVG(w io.Writer, units quantity.System) error {
	return draw.SVG(w, m.picture(), false)
}

// PNG writes the same picture in pixels.
func (m *Mixture) PNG(w io.Writer, units quantity.System) error {
	return draw.PNG(w, m.picture(), pixelsPerPoint)
}

func (m *Mixture) picture() draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "mixture-picture", Title: m.title(), Description: m.Sentence()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(m.title(), 18, draw.Bold, paintInk)
	c.words(unbroken(m.Sentence()), 12, draw.Regular, paintInk)
	c.y += 8
	c.place(m.curveChart(onScreen))
	c.words(unbroken(MixtureCautions[0]+" "+MixtureCautions[1]), 10.5, draw.Regular, paintInk)
	c.words(m.foot(), 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin
	return p
}

func (m *Mixture) blocks(l look, units quantity.System) []block {
	out := []block{
		heading{Level: 1, Words: m.title()}, paragraph{Words: m.Sentence()},
		figure{Picture: m.curveChart(l), Caption: "The curve is the mean of visits at each engine speed; the ribbon holds for all of them at once. Engine speeds with fewer than three visits stand in the table alone. Numbers stand in the table below."},
		openCheck{Mark: statusMark("warn"), Status: "warn", Name: "caution", Message: MixtureCautions[0]},
	}
	for i := range m.Sides {
		s := &m.Sides[i]
		out = append(out, heading{Level: 2, Words: "Fuelled alike? " + clean(s.Names[1]) + " and " + clean(s.Names[0]), ID: "fuelled-alike-" + strconv.Itoa(i+1)},
			paragraph{Words: s.sentence(m.Confidence)}, paragraph{Words: s.shareSentence(m.Confidence)},
			figure{Picture: m.sideChart(i, l), Caption: s.caption()}, m.sideTable(s))
	}
	out = append(out, m.gridBlocks(units)...)
	out = append(out, m.changeBlocks(units)...)
	if len(m.Loops) > 0 {
		out = append(out, heading{Level: 2, Words: "Mixture loops", ID: "loops"}, m.loopTable(units))
	}
	if m.Gas != nil {
		out = append(out, heading{Level: 2, Words: "Sensor against gas", ID: "gas"}, m.gasBlock())
	}
	out = append(out, heading{Level: 2, Words: "The curve in numbers", ID: "curve"}, m.curveTable())
	if len(m.Delays) > 0 {
		out = append(out, heading{Level: 2, Words: "How late the readings were", ID: "delays"}, m.delayTable())
	}
	out = append(out, heading{Level: 2, Words: "How to read it", ID: "reading"}, bullets{Items: m.reading()})
	return append(out, heading{Level: 2, Words: "Cautions", ID: "cautions"}, bullets{Items: MixtureCautions})
}

// caption says what the intervals between the sides cover.
func (s *MixtureSides) caption() string {
	if s.ByBlock {
		return "The limits hold for all engine speeds at once and cover the scatter of blocks."
	}
	return "The limits hold for all engine speeds at once. There are too few blocks to know their own scatter: the limits cover the scatter from pull to pull alone."
}

// reading says what the figures rest on and what was left out.
func (m *Mixture) reading() []string {
	out := []string{m.subtitle()}
	if l := m.LeftOut; l.Unsettled+l.Unread+l.Short > 0 {
		out = append(out, "Left out: "+fixed(l.Unsettled, 1)+" s while the load had just moved, "+fixed(l.Unread, 1)+" s without a lambda that counts (sensor at its end, fuel cut), "+fixed(l.Short, 1)+" s in visits that were too short.")
	}
	if m.Grid != nil {
		out = append(out, "A cell with fewer than three visits is blank, and no neighbour fills it. Smoothing joins cells that lie next to each other as far as cross-validation finds that it predicts them better; a change of fuel is at most 5 % a pass, and never beyond the leanest limit of the target.")
	}
	return append(out, m.Notes...)
}

// interval words a value with its ends at the places that the interval carries.
func intervalWords(lo, hi float64, most int, write func(float64, int) string) (string, int) {
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return "no interval", -1
	}
	d := places((hi-lo)/2, most)
	return write(lo, d) + " to " + write(hi, d), d
}

// lambdaWords are a lambda and its interval.
func lambdaWords(v, lo, hi float64) (value, interval string) {
	interval, d := intervalWords(lo, hi, 4, fixed)
	if d < 0 {
		d = 3
	}
	return fixed(v, d), interval
}

func (m *Mixture) curveTable() table {
	t := table{
		Caption: "Lambda at " + m.CurveLoad + ": mean of the visits, interval at each speed alone, limits for all speeds at once.", Long: true,
		Heads:   []string{"Engine speed, rpm", "Curve", "Visits", "Seconds", "Lambda", "Interval", "Limits", "Target", "Error, %"},
		Numeric: []bool{true, false, true, true, true, false, false, true, true},
	}
	if m.showsRatio() {
		t.Heads, t.Numeric = append(t.Heads, "Air/fuel ratio"), append(t.Numeric, true)
	}
	for i := range m.Curves {
		for k := range m.Curves[i].Nodes {
			n := &m.Curves[i].Nodes[k]
			value, interval := lambdaWords(n.Lambda, n.Lo, n.Hi)
			limits, _ := intervalWords(n.AllLo, n.AllHi, 4, fixed)
			row := []string{plain(n.RPM), cleanTo(m.Curves[i].Name, maxShortName), strconv.Itoa(n.Visits), fixed(n.Seconds, 1), value, interval, limits, fixed(n.Target, 3), m.errorCell(n)}
			if m.showsRatio() {
				row = append(row, fixed(n.Lambda*m.Stoichiometric, 2))
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// showsRatio says that the fuel is declared, so that an air/fuel ratio is its own.
func (m *Mixture) showsRatio() bool { return !math.IsNaN(m.Stoichiometric) }

func (m *Mixture) errorCell(n *MixtureNode) string {
	if math.IsNaN(n.Target) {
		return "–"
	}
	return signed(100*n.Error(), places(50*(n.Hi-n.Lo)/n.Target, 2))
}

func (m *Mixture) sideTable(s *MixtureSides) table {
	t := table{
		Caption: "Mean lambda of both sides at full throttle, candidate minus baseline. The last row is over the riding band.", Long: true,
		Heads: []string{"Engine speed, rpm", "Baseline", "Candidate", "Difference", "Interval", "Limits for all speeds"}, Numeric: []bool{true, true, true, true, false, false},
	}
	row := func(name string, n MixtureSideNode) []string {
		interval, d := intervalWords(n.Lo, n.Hi, 4, signed)
		limits, _ := intervalWords(n.AllLo, n.AllHi, 4, signed)
		if d < 0 {
			d = 3
		}
		return []string{name, fixed(n.Baseline, d), fixed(n.Candidate, d), signed(n.Difference, d), interval, limits}
	}
	for _, n := range s.Nodes {
		t.Rows = append(t.Rows, row(plain(n.RPM), n))
	}
	last := row(span(s.BandRPM), s.Mean)
	last[5] = "–"
	t.Rows = append(t.Rows, last)
	return t
}

// fuelWords is a change of fuel: blank, or signed per cent.
func (c *MixtureCell) fuelWords() string {
	if math.IsNaN(c.Fuel) {
		return "–"
	}
	return signed(100*c.Fuel, 1)
}

// gridBlocks have the cells that are not blank, and say how many are.
func (m *Mixture) gridBlocks(units quantity.System) []block {
	g := m.Grid
	if g == nil {
		return nil
	}
	unit := m.loadUnit(units)
	t := table{
		Caption: "By engine speed and " + m.loadName() + ": mean of the visits ± half of its own interval, the smoothed value, its error against the target ± half of its interval, and the change of fuel that would close it. --grid writes the same as CSV.", Long: true,
		Heads:   []string{"Engine speed, rpm", capitalised(m.loadName()) + ", " + unit.Name, "Visits", "Seconds", "Lambda", "Smoothed", "Target", "Error, %", "Fuel, %", "Note"},
		Numeric: []bool{true, true, true, true, true, true, true, true, true, false},
	}
	for i := range g.Cells {
		if c := &g.Cells[i]; c.Known {
			t.Rows = append(t.Rows, m.cellRow(c, unit))
		}
	}
	summary := plural(g.Known, "cell") + " of " + strconv.Itoa(len(g.Cells)) + " that were visited have three visits or more; the rest are blank."
	if g.Known > 0 {
		summary += " From visit to visit lambda scatters by " + fixed(g.PooledSD, 4) + " (SD, " + strconv.Itoa(g.PooledFreedom) + " degrees of freedom over all cells); smoothing leaves " + fixed(g.Effective, 1) + " free values."
	}
	out := []block{heading{Level: 2, Words: "By engine speed and " + m.loadName(), ID: "grid"}, paragraph{Words: summary}}
	if len(t.Rows) > 0 {
		out = append(out, t)
	}
	return out
}

func (m *Mixture) cellRow(c *MixtureCell, unit quantity.Unit) []string {
	smooth, _ := lambdaWords(c.Smooth, c.SmoothLo, c.SmoothHi)
	row := []string{plain(c.RPM), fixed(unit.From(c.Load), 0), strconv.Itoa(c.Visits), fixed(c.Seconds, 1), withHalf(c.Lambda, (c.Hi-c.Lo)/2, 4, fixed), smooth, "–", "–", c.fuelWords(), c.note()}
	if !math.IsNaN(c.Target) {
		row[6], row[7] = fixed(c.Target, 3), withHalf(100*c.Error, 50*(c.ErrorHi-c.ErrorLo), 2, signed)
	}
	return row
}

// withHalf is a value ± half of its interval, which lies evenly about it.
func withHalf(v, half float64, most int, write func(float64, int) string) string {
	n := places(half, most)
	return write(v, n) + "\u00a0±\u00a0" + fixed(half, n)
}

// note says why a change of fuel is not simply what closes the error.
func (c *MixtureCell) note() string {
	if c.Why == "to the target" {
		return ""
	}
	return c.Why
}

func (m *Mixture) changeBlocks(units quantity.System) []block {
	if len(m.Changes) == 0 {
		return nil
	}
	unit := m.loadUnit(units)
	t := table{
		Caption: "Cells with three visits or more both before and after: lambda of each, and by how much it moved.", Long: true,
		Heads: []string{"Engine speed, rpm", capitalised(m.loadName()) + ", " + unit.Name, "Before", "After", "Target", "Moved, %", "Interval, %"}, Numeric: []bool{true, true, true, true, true, true, false},
	}
	for _, c := range m.Changes {
		words, d := intervalWords(100*c.Lo, 100*c.Hi, 2, signed)
		t.Rows = append(t.Rows, []string{plain(c.RPM), fixed(unit.From(c.Load), 0), fixed(c.Before, 3), fixed(c.After, 3), fixed(c.Target, 3), signed(100*c.Moved, max(d, 0)), words})
	}
	return []block{heading{Level: 2, Words: "Before and after", ID: "before-after"}, paragraph{Words: m.changeSentence()}, t}
}

// changeSentence sums up what a change did.
func (m *Mixture) changeSentence() string {
	moved, nearer, judged := 0, 0, 0
	for _, c := range m.Changes {
		if c.Lo > 0 || c.Hi < 0 {
			moved++
		}
		if !math.IsNaN(c.Target) {
			judged++
			if math.Abs(c.After-c.Target) < math.Abs(c.Before-c.Target) {
				nearer++
			}
		}
	}
	s := "In " + strconv.Itoa(moved) + " of " + plural(len(m.Changes), "cell") + " the mixture is shown to have moved (each at " + confidence(m.Confidence) + ")."
	if judged > 0 {
		s += " In " + strconv.Itoa(nearer) + " of " + strconv.Itoa(judged) + " it lies nearer to its target than before."
	}
	return s
}

func (m *Mixture) loopTable(units quantity.System) table {
	t := table{
		Caption: "Torque over lambda at a held engine speed and load, by a parabola: lambda of greatest torque (Fieller's interval) and by how much torque falls off it, as c in torque = greatest · (1 − c · (lambda − best)²).",
		Heads:   []string{"Engine speed, rpm", "Points", "Lambda run", "Best-torque lambda", "Interval", "c", "Interval of c"}, Numeric: []bool{true, true, false, true, false, true, false},
	}
	for _, l := range m.Loops {
		best, interval := lambdaWords(l.Best, l.BestLo, l.BestHi)
		c, d := intervalWords(l.CurvatureLo, l.CurvatureHi, 2, fixed)
		if !l.Within {
			interval += " (outside of what was run)"
		}
		t.Rows = append(t.Rows, []string{fixed(l.RPM, 0), strconv.Itoa(l.Points), fixed(l.From, 3) + " to " + fixed(l.To, 3), best, interval, fixed(l.Curvature, max(d, 0)), c})
	}
	return t
}

// gasSentence compares the two readings.
func (m *Mixture) gasSentence() string {
	g := m.Gas
	words, d := intervalWords(g.Lo, g.Hi, 4, signed)
	s := "Lambda of the sensor minus that of the gas (read " + g.Basis + ", Brettschneider) is " + signed(g.Difference, max(d, 3)) + " over " + plural(g.Visits, "visit") + " (" + confidence(m.Confidence) + " interval " + words + ")"
	if g.Agrees() {
		return s + ": they agree within " + plain(g.Limit) + "."
	}
	return s + ", more than " + plain(g.Limit) + ": one of the two reads wrongly, or air leaks in. Look at the exhaust for leaks, at the sensor, at the analyser's calibration and at the fuel's composition before anything is changed."
}

func (m *Mixture) gasBlock() block {
	if m.Gas.Agrees() {
		return paragraph{Words: m.gasSentence()}
	}
	return openCheck{Mark: statusMark("warn"), Status: "warn", Name: "sensor-and-gas", Message: m.gasSentence()}
}

func (m *Mixture) delayTable() table {
	t := table{
		Caption: "What was taken out of the readings. Dead time and lag are known together better than apart.",
		Heads:   []string{"Reading", "Dead time, s", "Lag, s", "Together, s", "Standard uncertainty, s", "From"}, Numeric: []bool{false, true, true, true, true, false},
	}
	for _, d := range m.Delays {
		n := places(d.U, 3)
		from := d.Source
		if d.Steps > 0 {
			from += ", " + plural(d.Steps, "stretch")
			from = strings.Replace(from, "stretchs", "stretches", 1)
		}
		t.Rows = append(t.Rows, []string{d.What, fixed(d.Dead, n), fixed(d.Lag, n), fixed(d.Total, n), fixed(d.U, n), from})
	}
	return t
}
