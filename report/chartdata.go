package report

import (
	"encoding/json"

	"fairpull/quantity"
)

// chartJSON is a chart's data for a page that draws it anew: panels one above
// the other over one axis of engine speed. Numbers are in the units shown.
type chartJSON struct {
	Format string      `json:"format"`
	X      axisJSON    `json:"x"`
	Band   []amount    `json:"band"` // the riding band; empty: the whole range
	Panels []panelJSON `json:"panels"`
}

type axisJSON struct {
	Name   string   `json:"name"`
	Unit   string   `json:"unit"`
	Values []amount `json:"values"`
}

type panelJSON struct {
	Title  string       `json:"title"`
	Unit   string       `json:"unit"`
	Low    amount       `json:"low"` // of the axis
	High   amount       `json:"high"`
	Zero   bool         `json:"zero"` // a line at zero
	Key    []keyJSON    `json:"key"`
	Series []seriesJSON `json:"series"`
}

// keyJSON explains one kind of mark: line, dashed, ribbon, limits or band.
type keyJSON struct {
	Kind  string `json:"kind"`
	Paint string `json:"paint"`
	Words string `json:"words"`
}

// seriesJSON is one curve with its limits. Read is what the crosshair says at
// each node, worded as everywhere in this package.
type seriesJSON struct {
	Name   string     `json:"name"`
	Paint  string     `json:"paint"` // baseline, candidate or gain
	Dashed bool       `json:"dashed"`
	Values []amount   `json:"values"`
	Low    []amount   `json:"low"`
	High   []amount   `json:"high"`
	Inner  [][]amount `json:"inner,omitempty"` // narrower limits, low and high: those of each speed alone
	Peak   []amount   `json:"peak,omitempty"`  // engine speed and value of the peak
	Read   []string   `json:"read"`
}

// ChartJSON returns the data of a comparison's charts, format fairpull.chart/1:
// the gain where levels is false, else torque and power of both sides.
func (g *Gain) ChartJSON(i int, levels bool, units quantity.System) ([]byte, error) {
	c := &g.Comparisons[i]
	out := chartJSON{Format: "fairpull.chart/1", X: axisJSON{Name: "engine speed", Unit: "rpm"}, Band: []amount{}}
	for j := range c.Curve {
		out.X.Values = append(out.X.Values, amount(c.Curve[j].RPM))
	}
	if band, stated := g.ridingBand(c); stated {
		out.Band = amounts(band[:])
	}
	if levels {
		for _, d := range []quantity.Dimension{quantity.Torque, quantity.Power} {
			out.Panels = append(out.Panels, g.levelPanel(newLevelSeries(c, d, units), c.Baseline, c.Candidate))
		}
	} else {
		out.Panels = []panelJSON{g.gainPanel(i)}
	}
	return json.Marshal(out)
}

func amounts(values []float64) []amount {
	out := make([]amount, len(values))
	for i, v := range values {
		out[i] = amount(v)
	}
	return out
}

func (g *Gain) gainPanel(i int) panelJSON {
	c := &g.Comparisons[i]
	s := newGainSeries(c)
	one := seriesJSON{Name: "gain", Paint: "gain", Values: amounts(s.Gain), Low: amounts(s.BandLo), High: amounts(s.BandHi),
		Inner: [][]amount{amounts(s.Lo), amounts(s.Hi)}}
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
	p := panelJSON{Title: "Gain in torque (and so in power) at the same engine speed, %", Unit: "%",
		Low: amount(s.Range.Lo), High: amount(s.Range.Hi), Zero: true, Series: []seriesJSON{one},
		Key: []keyJSON{{"line", "gain", "gain"}}}
	if s.Intervals {
		p.Key = append(p.Key, keyJSON{"ribbon", "gain", confidence(c.Confidence) + " limits for the whole riding band at once"},
			keyJSON{"limits", "gain", "at each speed alone"})
	}
	if _, name := g.bandLabel(c); name != "" {
		p.Key = append(p.Key, keyJSON{"band", "band", name})
	}
	return p
}

func (g *Gain) levelPanel(s levelSeries, baseline, candidate string) panelJSON {
	p := panelJSON{Title: g.levelTitle(s), Unit: s.Unit, Low: amount(s.Range.Lo), High: amount(s.Range.Hi)}
	for i, side := range []struct {
		id, paint    string
		values, half []float64
		dashed       bool
	}{{baseline, "baseline", s.Baseline, s.BaselineHalf, true}, {candidate, "candidate", s.Candidate, s.CandidateHalf, false}} {
		kind, mark := "line", "disc at its peak"
		if side.dashed {
			kind, mark = "dashed", "square at its peak"
		}
		p.Key = append(p.Key, keyJSON{kind, side.paint, g.shortSide(side.id) + ", " + mark})
		one := seriesJSON{Name: g.shortSide(side.id), Paint: side.paint, Dashed: side.dashed, Values: amounts(side.values)}
		for j, v := range side.values {
			one.Low = append(one.Low, amount(v-side.half[j]))
			one.High = append(one.High, amount(v+side.half[j]))
			one.Read = append(one.Read, plusMinus(v, side.half[j])+" "+s.Unit)
		}
		if peak := s.Peaks[i]; peak.RPM > 0 {
			one.Peak = []amount{amount(peak.RPM), amount(peak.Level)}
		}
		p.Series = append(p.Series, one)
	}
	return p
}
