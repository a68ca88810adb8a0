package report

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"strings"
)

// Text writes the answer for a terminal: the curve with its limits first, then whether the
// sides were fuelled alike, then cells, loops, gas and delays, and the cautions.
func (m *Mixture) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	t := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	t.title(m.title())
	t.words("", m.Sentence())
	t.line("")
	m.curvePlot(t)
	for i := range m.Sides {
		s := &m.Sides[i]
		t.section("Fuelled alike? " + clean(s.Names[1]) + " and " + clean(s.Names[0]))
		t.words("  ", s.sentence(m.Confidence)+" "+s.caption())
		t.words("  ", s.shareSentence(m.Confidence))
	}
	m.gridText(t)
	if len(m.Changes) > 0 {
		t.section("Before and after")
		t.words("  ", m.changeSentence())
	}
	m.loopText(t)
	if m.Gas != nil {
		t.section("Sensor against gas")
		t.words("  ", m.gasSentence())
	}
	if len(m.Delays) > 0 {
		t.section("How late the readings were")
		for _, row := range m.delayTable().Rows {
			t.words("  ", row[0]+": "+row[3]+" s ± "+row[4]+" s (dead time "+row[1]+" s, lag "+row[2]+" s), "+row[5]+".")
		}
	}
	t.section("How to read it")
	for _, words := range m.reading() {
		t.words("  ", words)
	}
	t.section("Cautions")
	for _, words := range MixtureCautions {
		t.hanging(styleWarn, t.form("! "), words)
	}
	return out.Flush()
}

// curvePlot draws the curves in characters.
func (m *Mixture) curvePlot(t *terminal) {
	var series []mixtureSeries
	for i := range m.Curves {
		series = append(series, newMixtureSeries(m.Curves[i].Nodes, m.errorCurve()))
	}
	if len(series) == 0 || len(series[0].rpm) < 2 {
		m.curveRows(t)
		return
	}
	x, y := m.axes(series)
	p := newTextPlot(t, x, y, 14)
	shade, zero, solid, dashed := '░', '─', "⠒⠒⠒", "⠒ ⠒"
	if t.o.ASCII {
		shade, zero, solid, dashed = ':', '-', "***", "o o"
	}
	var key []string
	for i, s := range series {
		look, mark := styleGain, '*'
		isDashed := len(m.Sides) > 0 && !m.Curves[i].Candidate
		switch {
		case isDashed:
			look, mark = styleBaseline, 'o'
		case len(m.Sides) > 0:
			look = styleCandidate
		}
		if i < 2 {
			p.ribbon(s.rpm, s.allLo, s.allHi, shade, look)
		}
		p.curve(s.rpm, s.value, isDashed, mark, look)
		p.tail(s.value, cut(m.Curves[i].Name, 5))
		stroke := solid
		if isDashed {
			stroke = dashed
		}
		key = append(key, stroke+" "+cleanTo(m.Curves[i].Name, maxShortName))
	}
	if m.errorCurve() {
		p.level(0, zero)
	}
	t.line(t.styled(styleBold, m.curveTitle()))
	t.words("  ", strings.Join(key, "   ")+"   "+strings.Repeat(string(shade), 3)+" "+confidence(m.Confidence)+" limits, all engine speeds at once")
	p.write(t, [2]float64{}, "")
}

// curveRows lists a curve that is too short to draw.
func (m *Mixture) curveRows(t *terminal) {
	for i := range m.Curves {
		for k := range m.Curves[i].Nodes {
			n := &m.Curves[i].Nodes[k]
			value, interval := lambdaWords(n.Lambda, n.Lo, n.Hi)
			t.words("  ", cleanTo(m.Curves[i].Name, maxShortName)+", "+plain(n.RPM)+" rpm: lambda "+value+" ("+interval+"), "+plural(n.Visits, "visit"))
		}
	}
}

// gridText lists the cells that are off their target, the worst first, and says how many
// there are.
func (m *Mixture) gridText(t *terminal) {
	if m.Grid == nil {
		return
	}
	const shown = 12
	t.section("By engine speed and " + m.loadName())
	blocks := m.gridBlocks(t.o.Units)
	t.words("  ", blocks[1].(paragraph).Words)
	var cells []*MixtureCell
	for i := range m.Grid.Cells {
		if c := &m.Grid.Cells[i]; c.Known && !math.IsNaN(c.Fuel) && c.Fuel != 0 {
			cells = append(cells, c)
		}
	}
	if len(cells) == 0 {
		t.words("  ", "No cell is shown to be off a target by its interval. --grid cells.csv writes every cell.")
		return
	}
	byError(cells)
	unit := m.loadUnit(t.o.Units)
	t.line(t.styled(styleDim, "  "+padLeft("rpm", 6)+padLeft(unit.Name, 7)+padLeft("visits", 8)+padLeft("s", 7)+padLeft("lambda", 18)+padLeft("target", 8)+padLeft("error %", 15)+padLeft("fuel %", 8)))
	for i, c := range cells {
		if i == shown {
			t.words("  ", "… and "+plural(len(cells)-shown, "cell")+" more; --grid cells.csv writes every cell.")
			break
		}
		r := m.cellRow(c, unit)
		line := "  " + padLeft(r[0], 6) + padLeft(r[1], 7) + padLeft(r[2], 8) + padLeft(r[3], 7) + padLeft(r[4], 18) + padLeft(r[6], 8) + padLeft(r[7], 15) + padLeft(r[8], 8)
		t.line(line)
		if r[9] != "" {
			t.line(t.styled(styleDim, padRight("", 19)+r[9]))
		}
	}
}

// byError sorts cells by how far they are off, the worst first.
func byError(cells []*MixtureCell) {
	for i := 1; i < len(cells); i++ {
		for k := i; k > 0 && math.Abs(cells[k].Error) > math.Abs(cells[k-1].Error); k-- {
			cells[k], cells[k-1] = cells[k-1], cells[k]
		}
	}
}

func (m *Mixture) loopText(t *terminal) {
	if len(m.Loops) == 0 {
		return
	}
	t.section("Mixture loops")
	for _, row := range m.loopTable(t.o.Units).Rows {
		t.words("  ", "At "+row[0]+" rpm torque is greatest at lambda "+row[3]+" ("+row[4]+"); it falls by "+row[5]+" ("+row[6]+") times the square of the distance in lambda. "+row[1]+" points from "+row[2]+".")
	}
}

// CSV writes every cell that was visited, unrounded, one row each; what is blank is an empty
// field. It is meant for a tuner's eyes and a spreadsheet.
func (m *Mixture) CSV(w io.Writer) error {
	out := bufio.NewWriter(w)
	load, scale := "throttle [%]", 100.0
	if m.loadName() != "throttle" {
		load, scale = "manifold_pressure [kPa]", 1e-3
	}
	out.WriteString("engine_speed [rpm]," + load + ",visits,seconds,lambda,low,high,smoothed,smoothed_low,smoothed_high,target,leanest,error [%],error_low [%],error_high [%],fuel [%],why\n")
	if m.Grid != nil {
		for i := range m.Grid.Cells {
			c := &m.Grid.Cells[i]
			fields := []string{bareNumber(c.RPM), bareNumber(c.Load * scale), strconv.Itoa(c.Visits), bareNumber(c.Seconds)}
			for _, v := range []float64{c.Lambda, c.Lo, c.Hi, c.Smooth, c.SmoothLo, c.SmoothHi, c.Target, c.Leanest, 100 * c.Error, 100 * c.ErrorLo, 100 * c.ErrorHi, 100 * c.Fuel} {
				fields = append(fields, bareNumber(v))
			}
			out.WriteString(strings.Join(append(fields, strings.ReplaceAll(c.Why, ",", ";")), ",") + "\n")
		}
	}
	return out.Flush()
}
