package report

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"unicode"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// RawLog is a stretch of a log as it was recorded, channel by channel, in SI, over
// one axis.
type RawLog struct {
	Axis        string  // "time, s" or "engine speed, rpm"
	First, Last float64 // of the whole log
	From, To    float64 // what is shown
	Rows        int     // of the whole log
	Channels    []RawChannel
	Phases      []RawPhase // settling, pull, coast-down; none: not found
}

// RawChannel is one channel of a log, thinned to what a picture can show.
type RawChannel struct {
	Name      string             // as the log has it
	Dimension quantity.Dimension // 0: not one that the program knows by name
	Own       quantity.Unit      // the log's own unit, without a Dimension; zero: as recorded
	OwnUnit   string             // as the log spells it
	X, Y      []float64
}

// RawPhase is a stretch of a log that means something.
type RawPhase struct {
	Name     string
	From, To float64
}

// unit returns the unit that a channel is shown in: that of the person where the
// program knows what it is, else the log's own.
func (c *RawChannel) unit(units quantity.System) (quantity.Unit, string) {
	if c.Dimension != 0 {
		u := units.Unit(c.Dimension)
		return u, u.Name
	}
	if c.Own.Scale != 0 {
		return c.Own, c.Own.Name
	}
	return quantity.Unit{Scale: 1}, clean(c.OwnUnit)
}

// title names a channel with its unit: "drum speed, rpm".
func (c *RawChannel) title(units quantity.System) string {
	_, name := c.unit(units)
	return joined(", ", words(c.Name), name)
}

// shown returns the channel's values in the unit that it is shown in.
func (c *RawChannel) shown(units quantity.System) []float64 {
	u, _ := c.unit(units)
	out := make([]float64, len(c.Y))
	for i, v := range c.Y {
		out[i] = u.From(v)
	}
	return out
}

// maxRawPanels bounds the channels that are drawn without script.
const maxRawPanels = 12

// chart draws the channels one below the other over one axis, with the phases
// shaded and named.
func (r *RawLog) chart(l look, units quantity.System) draw.Picture {
	em := l.size
	p := draw.Picture{Width: l.width, ID: "raw", Title: "Channels of the log as recorded", Description: r.describe(units)}
	x := newScale(r.From, r.To, 7)
	shown := r.Channels[:min(len(r.Channels), maxRawPanels)]
	top := 2.6 * em
	for i := range shown {
		c := &shown[i]
		values := c.shown(units)
		seen := newExtent()
		seen.add(values...)
		if seen.empty() {
			seen.add(0, 1)
		}
		lo, hi := padded(seen.lo, seen.hi, 0.06)
		f := frame{picture: &p, x: x, y: newScale(lo, hi, 3), left: 5 * em, top: top, width: l.width - 6*em, height: 0.13 * l.width, size: em}
		p.Add(draw.Text{At: draw.Point{Y: top - 1.5*em}, Words: draw.Fit(c.title(units), em, draw.Bold, l.width), Size: em, Face: draw.Bold, Paint: paintInk})
		r.phases(&f, i == 0)
		f.ground([2]float64{}, "", false)
		f.line(c.X, values, 1.1, nil, paintBaseline)
		top += f.height + 3.4*em
		if i == len(shown)-1 {
			f.footTicks()
			p.Add(draw.Text{At: draw.Point{X: f.left + f.width, Y: f.top + f.height + 2.6*em}, Words: r.Axis, Size: em, Anchor: draw.End, Paint: paintMuted})
		}
	}
	p.Height = top + 0.6*em
	return p
}

// phases shades the phases behind a panel and, where named, writes their names
// above it.
func (r *RawLog) phases(f *frame, named bool) {
	for _, phase := range r.Phases {
		lo, hi := math.Max(phase.From, f.x.Lo), math.Min(phase.To, f.x.Hi)
		if !(hi > lo) {
			continue
		}
		a, b := f.at(lo, 0).X, f.at(hi, 0).X
		if phase.Name != "settling" {
			f.picture.Add(draw.Area{Points: draw.Box(a, f.top, b-a, f.height), Paint: paintBand})
		}
		for _, at := range []float64{a, b} {
			f.picture.Add(draw.Stroke{Points: []draw.Point{{X: at, Y: f.top}, {X: at, Y: f.top + f.height}}, Width: 0.9, Dash: f.dash(dashBaseline), Paint: paintFrame})
		}
		anchor, x := draw.Middle, (a+b)/2
		if phase.Name == "settling" { // it is short: its name stands to its left
			anchor, x = draw.End, b-0.3*f.size
		}
		if named {
			f.picture.Add(draw.Text{At: draw.Point{X: x, Y: f.top - 0.35*f.size}, Words: phase.Name, Size: 0.92 * f.size, Anchor: anchor, Paint: paintMuted})
		}
	}
}

// describe says in words what the chart shows.
func (r *RawLog) describe(units quantity.System) string {
	var names []string
	for i := range r.Channels {
		names = append(names, r.Channels[i].title(units))
	}
	s := "Panels one below the other over " + r.Axis + ": " + strings.Join(names, "; ") + "."
	for _, phase := range r.Phases {
		s += " " + capitalised(phase.Name) + " from " + fixed(phase.From, 2) + " to " + fixed(phase.To, 2) + " s."
	}
	return s
}

// table says what each channel has between the least and the greatest value.
func (r *RawLog) table(units quantity.System) table {
	t := table{
		Heads:   []string{"Channel", "Unit", "Least", "Greatest", "In the log as"},
		Numeric: []bool{false, false, true, true, false},
		Caption: "The log has " + plural(r.Rows, "row") + ". Least and greatest are of the whole log.",
	}
	for i := range r.Channels {
		c := &r.Channels[i]
		_, name := c.unit(units)
		seen := newExtent()
		seen.add(c.shown(units)...)
		least, greatest := "–", "–"
		if !seen.empty() {
			least, greatest = plain4(seen.lo), plain4(seen.hi)
		}
		t.Rows = append(t.Rows, []string{words(c.Name), name, least, greatest, clean(c.OwnUnit)})
	}
	return t
}

// numbers are the points that the drawing has, channel by channel: each has its own
// places on the axis.
func (r *RawLog) numbers(units quantity.System) numbers {
	name, unit, _ := strings.Cut(r.Axis, ", ")
	channel, of := numberColumn{Name: "channel", Words: []string{}}, numberColumn{Name: "unit", Words: []string{}}
	x, y := numberColumn{Name: columnName(name), Unit: unit, Values: []float64{}}, numberColumn{Name: "value", Values: []float64{}}
	for i := range r.Channels {
		c := &r.Channels[i]
		_, unit := c.unit(units)
		for j, v := range c.shown(units) {
			channel.Words, of.Words = append(channel.Words, clean(c.Name)), append(of.Words, unit)
			x.Values, y.Values = append(x.Values, c.X[j]), append(y.Values, v)
		}
	}
	return numbers{channel, of, x, y}
}

// plain4 is a reading as a table of a log shows it: four digits.
func plain4(v float64) string { return typographic(strconv.FormatFloat(v, 'g', 4, 64)) }

// The JSON form of a stretch of a log, fairpull.raw/1, in the units shown.
type (
	rawJSON struct {
		Format   string           `json:"format"`
		Axis     string           `json:"axis"`
		First    amount           `json:"first"`
		Last     amount           `json:"last"`
		From     amount           `json:"from"`
		To       amount           `json:"to"`
		Rows     int              `json:"rows"`
		Phases   []rawPhaseJSON   `json:"phases"`
		Channels []rawChannelJSON `json:"channels"`
	}
	rawPhaseJSON struct {
		Name string `json:"name"`
		From amount `json:"from"`
		To   amount `json:"to"`
	}
	rawChannelJSON struct {
		Title string    `json:"title"`
		Unit  string    `json:"unit"`
		X     []reading `json:"x"`
		Y     []reading `json:"y"`
	}
)

// reading is a number of a picture: seven digits are more than it can show. What
// is not finite is null.
type reading float64

// MarshalJSON writes seven significant digits.
func (v reading) MarshalJSON() ([]byte, error) {
	f := float64(v)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, f, 'g', 7, 64), nil
}

// JSON returns the stretch for a chart that is drawn in the browser, format
// fairpull.raw/1: each channel with its own points, in the given units.
func (r *RawLog) JSON(units quantity.System) ([]byte, error) {
	out := rawJSON{Format: "fairpull.raw/1", Axis: r.Axis, First: amount(r.First), Last: amount(r.Last), From: amount(r.From), To: amount(r.To),
		Rows: r.Rows, Phases: []rawPhaseJSON{}, Channels: []rawChannelJSON{}}
	for _, p := range r.Phases {
		out.Phases = append(out.Phases, rawPhaseJSON{p.Name, amount(p.From), amount(p.To)})
	}
	for i := range r.Channels {
		c := &r.Channels[i]
		_, unit := c.unit(units)
		out.Channels = append(out.Channels, rawChannelJSON{c.title(units), unit, readings(c.X), readings(c.shown(units))})
	}
	return json.Marshal(out)
}

func readings(values []float64) []reading {
	out := make([]reading, len(values))
	for i, v := range values {
		out[i] = reading(v)
	}
	return out
}

// Visible returns a line of a file fit to be shown as text: tabs as they are,
// other control and formatting characters as U+FFFD.
func Visible(line string) string {
	return strings.Map(func(r rune) rune {
		if r != '\t' && unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029' {
			return unicode.ReplacementChar
		}
		return r
	}, strings.ToValidUTF8(line, string(unicode.ReplacementChar)))
}
