package report

import (
	"bufio"
	"fmt"
	"io"
	"time"

	"fairpull/campaign"
)

// Answers to whether a claim covers a combination of parts and settings.
const (
	Covered    = "covered"     // the claim applies to it as it stands
	CoverOpen  = "open"        // it applies if what was not said is as tested
	NotCovered = "not covered" // something differs that the lab does not hold neutral
)

// CoverPoint is one component, setting or the vehicle in which a combination and a
// claim agree or not.
type CoverPoint struct {
	Kind   string `json:"kind"` // component, setting or vehicle
	Name   string `json:"name"`
	Tested string `json:"tested"` // empty: there was none
	Asked  string `json:"asked"`  // empty: there is none, or it was not said
	Why    string `json:"why,omitempty"`
}

// words says a point in half a line: "exhaust: X-650-2 was tested, Y-1 is asked about".
func (p *CoverPoint) words() string {
	name := clean(p.Name)
	if p.Kind == "vehicle" {
		name = "vehicle"
	}
	switch {
	case p.Tested == "":
		return name + ": " + clean(p.Asked) + " is asked about, and none was tested"
	case p.Asked == "":
		return name + ": " + clean(p.Tested) + " was tested, and nothing is said of it"
	}
	return name + ": " + clean(p.Tested) + " was tested, " + clean(p.Asked) + " is asked about"
}

// CoverRow is how one published claim stands to a combination.
type CoverRow struct {
	Number   string       `json:"number"`
	Answer   string       `json:"answer"` // covered, open or not covered
	Title    string       `json:"title"`
	Sentence string       `json:"sentence"`
	Vehicle  string       `json:"vehicle"`
	Breaks   []CoverPoint `json:"breaks"`  // what it is not covered by
	Unsaid   []CoverPoint `json:"unsaid"`  // what was tested and not said of the combination
	Neutral  []CoverPoint `json:"neutral"` // what differs and is held neutral, with the reason
}

// Covers says which of a lab's published claims cover a combination of parts and
// settings, the nearest first.
type Covers struct {
	Components []campaign.Component
	Settings   []campaign.Setting
	Vehicle    string // empty: not said
	Rows       []CoverRow
}

// JSON returns the answer, format fairpull.covers/1. A claim's at-least figure holds
// for what its answer says covered; the nearest tested combination is the first row.
func (c *Covers) JSON() ([]byte, error) {
	type component struct {
		Function string `json:"function"`
		Part     string `json:"part"`
	}
	type setting struct {
		Key   string `json:"key"`
		Value string `json:"value"`
	}
	components, settings := []component{}, []setting{}
	for _, p := range c.Components {
		components = append(components, component{p.Function, p.Part})
	}
	for _, s := range c.Settings {
		settings = append(settings, setting{s.Key, s.Value})
	}
	rows := []CoverRow{}
	var covered []string
	for _, r := range c.Rows {
		for _, points := range []*[]CoverPoint{&r.Breaks, &r.Unsaid, &r.Neutral} {
			if *points == nil {
				*points = []CoverPoint{}
			}
		}
		rows = append(rows, r)
		if r.Answer == Covered {
			covered = append(covered, r.Number)
		}
	}
	if covered == nil {
		covered = []string{}
	}
	return indented(struct {
		Format     string      `json:"format"`
		Components []component `json:"components"`
		Settings   []setting   `json:"settings"`
		Vehicle    string      `json:"vehicle,omitempty"`
		Covered    []string    `json:"covered"`
		Claims     []CoverRow  `json:"claims"`
	}{"fairpull.covers/1", components, settings, c.Vehicle, covered, rows})
}

// Text writes the answer for a terminal of the given width.
func (c *Covers) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	if len(c.Rows) == 0 {
		fmt.Fprintln(out, "No claim is published: nothing is covered.")
		return out.Flush()
	}
	for i := range c.Rows {
		r := &c.Rows[i]
		if i > 0 {
			fmt.Fprintln(out)
		}
		writeWrapped(out, c.headOf(i)+": "+clean(r.Title), 0, width)
		if r.Answer != NotCovered {
			writeWrapped(out, cleanTo(r.Sentence, 2000), 2, width)
		}
		for _, words := range r.pointWords() {
			writeWrapped(out, words, 2, width)
		}
		writeWrapped(out, r.vehicleWords(), 2, width)
	}
	return out.Flush()
}

// vehicleWords says whose figure the claim's is.
func (r *CoverRow) vehicleWords() string {
	return "Tested on vehicle " + clean(r.Vehicle) + ": its figure is that vehicle's, and another one of the kind may gain more or less."
}

// headOf says how claim i stands to the combination.
func (c *Covers) headOf(i int) string {
	r := &c.Rows[i]
	head := map[string]string{
		Covered: "covers it", CoverOpen: "covers it if what was not said is as tested", NotCovered: "does not cover it",
	}[r.Answer]
	if i == 0 && r.Answer == NotCovered {
		head += "; it is the nearest that was tested"
	}
	return "Claim " + clean(r.Number) + " " + head
}

// pointWords says each point in which the combination and the claim do not agree, with a
// mark: what breaks cover, what was not said, what is held neutral.
func (r *CoverRow) pointWords() []string {
	var out []string
	for _, group := range []struct {
		points []CoverPoint
		mark   string
	}{{r.Breaks, "✗ "}, {r.Unsaid, "? "}, {r.Neutral, "✓ "}} {
		for k := range group.points {
			p := &group.points[k]
			out = append(out, group.mark+p.words()+labelled("; held neutral: ", cleanTo(p.Why, 400)))
		}
	}
	return out
}

// NeutralRow is a component or setting that a lab holds neutral.
type NeutralRow struct {
	Function string    `json:"function"`
	Why      string    `json:"why"`
	Who      string    `json:"who"`
	At       time.Time `json:"at"`
}

// Neutrals is what a lab holds neutral.
type Neutrals struct{ Rows []NeutralRow }

// Text writes the list for a terminal of the given width.
func (n *Neutrals) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	if len(n.Rows) == 0 {
		fmt.Fprintln(out, "Nothing is held neutral: any difference breaks cover.")
	}
	for _, r := range n.Rows {
		writeWrapped(out, "- "+clean(r.Function)+": "+cleanTo(r.Why, 400)+" ("+clean(r.Who)+", "+Day(r.At)+")", 0, width)
	}
	return out.Flush()
}
