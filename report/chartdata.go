package report

import (
	"math"
	"strings"

	"fairpull/quantity"
)

// chartFormat names the JSON form of a plot.
const chartFormat = "fairpull.chart/1"

// plot is what a chart shows in numbers, for a page that draws it anew and for its
// file of numbers: panels one above the other over one axis, in the units shown.
type plot struct {
	Format string      `json:"format"`
	X      plotAxis    `json:"x"`
	Band   []amount    `json:"band"`               // the riding band; empty: the whole range
	Lines  []plotLine  `json:"uprights,omitempty"` // through all panels
	Panels []plotPanel `json:"panels"`
}

// plotAxis is the axis that all panels share; its values do not fall.
type plotAxis struct {
	Name   string   `json:"name"`
	Unit   string   `json:"unit"`
	Ends   []amount `json:"ends,omitempty"` // of the axis; absent: the first and the last node
	Values []amount `json:"values"`
	// Words are what the crosshair says of each node, and Ticks what the axis has
	// there, in the place of values; absent: the values.
	Words []string `json:"words,omitempty"`
	Ticks []string `json:"ticks,omitempty"`

	column string         // in a file of numbers
	texts  []numberColumn // what else is told of each node
}

type plotPanel struct {
	Title  string       `json:"title"`
	Unit   string       `json:"unit"`
	Low    amount       `json:"low"` // of the axis
	High   amount       `json:"high"`
	Zero   bool         `json:"zero"` // a line at zero
	Lines  []plotLine   `json:"lines,omitempty"`
	Key    []plotKey    `json:"key"`
	Series []plotSeries `json:"series"`
}

// plotLine is a straight line at a value.
type plotLine struct {
	At     amount `json:"at"`
	Dashed bool   `json:"dashed"`
	Words  string `json:"words,omitempty"` // beside it
}

// plotKey explains one kind of mark: line, dashed, ribbon, limits (dotted), band, bar,
// disc or square.
type plotKey struct {
	Kind  string `json:"kind"`
	Paint string `json:"paint"`
	Words string `json:"words"`
}

// plotSeries is one curve or one row of marks, with its limits. Read is what the
// crosshair says at each node, worded as everywhere in this package; empty: nothing.
type plotSeries struct {
	Name   string     `json:"name"`
	Paint  string     `json:"paint"` // the name of a colour
	Dashed bool       `json:"dashed"`
	Dotted bool       `json:"dotted,omitempty"`
	Values []amount   `json:"values"`
	Low    []amount   `json:"low,omitempty"`
	High   []amount   `json:"high,omitempty"`
	Inner  [][]amount `json:"inner,omitempty"`   // narrower limits, low and high: those of each speed alone
	Peak   []amount   `json:"peak,omitempty"`    // engine speed and value of the peak
	Marks  []string   `json:"marks,omitempty"`   // at each node: disc, square or nothing
	NoLine bool       `json:"no_line,omitempty"` // marks alone
	Bars   bool       `json:"bars,omitempty"`    // limits as a bar at each mark
	Read   []string   `json:"read"`

	column string // in a file of numbers
	unit   string // empty: that of the panel
	limits string // how the columns of Low and High begin; empty: as column
}

// newPlot returns a plot over an axis of engine speed.
func newPlot(rpm []float64) *plot {
	return &plot{Format: chartFormat, X: plotAxis{Name: "engine speed", Unit: "rpm", Values: amounts(rpm), column: "engine_speed"}, Band: []amount{}}
}

// gainChartPlot is the gain of comparison i in numbers.
func (g *Gain) gainChartPlot(i int) *plot {
	p := g.comparisonPlot(i)
	p.Panels = []plotPanel{g.gainPanel(i)}
	return p
}

// levelsPlot is torque and power of both sides of comparison i in numbers.
func (g *Gain) levelsPlot(i int, units quantity.System) *plot {
	p, c := g.comparisonPlot(i), &g.Comparisons[i]
	for _, d := range []quantity.Dimension{quantity.Torque, quantity.Power} {
		p.Panels = append(p.Panels, g.levelPanel(newLevelSeries(c, d, units), c.Baseline, c.Candidate))
	}
	return p
}

// comparisonPlot is the axis of comparison i with its riding band.
func (g *Gain) comparisonPlot(i int) *plot {
	c := &g.Comparisons[i]
	rpm := make([]float64, len(c.Curve))
	for j := range c.Curve {
		rpm[j] = c.Curve[j].RPM
	}
	p := newPlot(rpm)
	if band, stated := g.ridingBand(c); stated {
		p.Band = amounts(band[:])
	}
	return p
}

func amounts(values []float64) []amount {
	out := make([]amount, len(values))
	for i, v := range values {
		out[i] = amount(v)
	}
	return out
}

func (g *Gain) gainPanel(i int) plotPanel {
	c := &g.Comparisons[i]
	s := newGainSeries(c)
	one := plotSeries{Name: "gain", Paint: "gain", Values: amounts(s.Gain), Low: amounts(s.BandLo), High: amounts(s.BandHi),
		Inner: [][]amount{amounts(s.Lo), amounts(s.Hi)}, column: "gain", limits: "whole_band"}
	for j := range c.Curve {
		gain, at, whole := nodeCells(&c.Curve[j])
		words := gain + " %"
		if c.Curve[j].Interval {
			words += "; at this speed " + at + " %"
		}
		if whole != "–" {
			words += "; whole band " + whole + " %"
		}
		one.Read = append(one.Read, words)
	}
	p := plotPanel{Title: "Gain in torque (and so in power) at the same engine speed, %", Unit: "%",
		Low: amount(s.Range.Lo), High: amount(s.Range.Hi), Zero: true, Series: []plotSeries{one},
		Key: []plotKey{{"line", "gain", "gain"}}}
	if s.Intervals {
		p.Key = append(p.Key, plotKey{"ribbon", "gain", confidence(c.Confidence) + " limits for the whole riding band at once"},
			plotKey{"limits", "gain", "at each speed alone"})
	}
	if _, name := g.bandLabel(c); name != "" {
		p.Key = append(p.Key, plotKey{"band", "band", name})
	}
	return p
}

func (g *Gain) levelPanel(s levelSeries, baseline, candidate string) plotPanel {
	p := plotPanel{Title: g.levelTitle(s), Unit: s.Unit, Low: amount(s.Range.Lo), High: amount(s.Range.Hi)}
	for i, side := range []struct {
		id, paint    string
		values, half []float64
		dashed       bool
	}{{baseline, "baseline", s.Baseline, s.BaselineHalf, true}, {candidate, "candidate", s.Candidate, s.CandidateHalf, false}} {
		kind, mark := "line", "disc at its peak"
		if side.dashed {
			kind, mark = "dashed", "square at its peak"
		}
		p.Key = append(p.Key, plotKey{kind, side.paint, g.shortSide(side.id) + ", " + mark})
		one := levelPlotSeries(g.shortSide(side.id), side.paint, side.values, side.half, s.Unit)
		one.Dashed, one.column = side.dashed, side.paint+"_"+strings.ToLower(s.Name)
		if peak := s.Peaks[i]; peak.RPM > 0 {
			one.Peak = []amount{amount(peak.RPM), amount(peak.Level)}
		}
		p.Series = append(p.Series, one)
	}
	return p
}

// levelPlotSeries is a level with the half-width of its interval, NaN without one.
func levelPlotSeries(name, paint string, values, half []float64, unit string) plotSeries {
	one := plotSeries{Name: name, Paint: paint, Values: amounts(values)}
	for j, v := range values {
		h := half[j]
		one.Low, one.High = append(one.Low, amount(v-h)), append(one.High, amount(v+h))
		words := plusMinus(v, h)
		if !math.IsNaN(v) {
			words += " " + unit
		}
		one.Read = append(one.Read, words)
	}
	return one
}
