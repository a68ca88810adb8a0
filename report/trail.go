package report

import (
	"bufio"
	"io"
	"strconv"
	"strings"
	"time"
)

// Trail is a page of the audit trail: who changed what, when, from what, why.
type Trail struct {
	Campaign string        // whose trail it is, with its claims; empty: the whole workspace's
	Changes  []TrailChange // the latest first
	Next     int64         // number of the change before which the next page goes on; 0: there is none
}

// TrailFormat is the format of a trail as JSON, here and in dossiers.
const TrailFormat = "fairpull.trail/1"

// TrailChange is one change. As JSON it is a row of the format fairpull.trail/1.
type TrailChange struct {
	Seq         int64             `json:"seq"` // counts from 1 without a gap
	At          time.Time         `json:"at"`
	Who         string            `json:"who"`
	Why         string            `json:"why,omitempty"`
	Action      string            `json:"action"` // "import", "set state"
	Kind        string            `json:"kind"`   // of what was changed: "campaign"
	Subject     string            `json:"subject"`
	Version     int64             `json:"version"`        // of it after the change; 0: it has none
	From        string            `json:"from,omitempty"` // the digest before; empty: none
	To          string            `json:"to,omitempty"`
	Differences []TrailDifference `json:"differences,omitempty"`
}

// TrailDifference is one place that was changed. From and To are values as JSON, or
// the digests of files; empty: not there.
type TrailDifference struct{ Path, From, To string }

// mostDifferences bounds the differences of one change that are shown; JSON has all.
const mostDifferences = 20

// Title says whose trail it is.
func (t *Trail) Title() string {
	if t.Campaign != "" {
		return "Audit trail of campaign " + clean(t.Campaign)
	}
	return "Audit trail"
}

// None is said where there is no change.
func (t *Trail) None() string {
	if t.Campaign != "" {
		return "No change of this campaign is of that time."
	}
	return "No change is of that time."
}

// When is the moment of the change, UTC.
func (c *TrailChange) When() string { return c.At.UTC().Format("2006-01-02 15:04:05 UTC") }

// What says what was done, to what.
func (c *TrailChange) What() string {
	s := clean(c.Action) + ", " + clean(c.Kind)
	if c.Subject != c.Kind {
		s += " " + clean(c.Subject)
	}
	if c.Version > 0 {
		s += ", version " + strconv.FormatInt(c.Version, 10)
	}
	return s
}

// Reason is why it was done; empty: it was not said.
func (c *TrailChange) Reason() string { return clean(c.Why) }

// By is who did it.
func (c *TrailChange) By() string { return clean(c.Who) }

// Lines say what was there and what is there now, at most mostDifferences of them and
// then how many more there are. A change that names no place has its digests where
// they differ.
func (c *TrailChange) Lines() []string {
	var lines []string
	for _, d := range c.Differences[:min(len(c.Differences), mostDifferences)] {
		lines = append(lines, clean(d.Path)+": "+fromTo(d.From, d.To))
	}
	if more := len(c.Differences) - mostDifferences; more > 0 {
		lines = append(lines, "… and "+plural(more, "difference")+" more")
	}
	if len(lines) == 0 && c.From != c.To {
		lines = append(lines, "digest: "+fromTo(c.From, c.To))
	}
	return lines
}

func fromTo(from, to string) string {
	switch {
	case from == "":
		return clean(to)
	case to == "":
		return clean(from) + " → nothing"
	}
	return clean(from) + " → " + clean(to)
}

// Text writes the page for a terminal. more is the command that shows the next one, but
// for the number at its end.
func (t *Trail) Text(w io.Writer, o TextOptions, more string) error {
	out := bufio.NewWriter(w)
	term := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	term.title(t.Title())
	if len(t.Changes) == 0 {
		term.words("", t.None())
	}
	for i := range t.Changes {
		c := &t.Changes[i]
		term.line("")
		number := strconv.FormatInt(c.Seq, 10)
		term.hanging(styleBold, number+"  ", c.When()+"  "+c.By()+": "+c.What())
		indent := strings.Repeat(" ", len(number)+2)
		if why := c.Reason(); why != "" {
			term.hanging(styleNone, indent+"why: ", why)
		}
		for _, line := range c.Lines() {
			term.hanging(styleNone, indent+"  ", line)
		}
	}
	if t.Next > 0 {
		term.line("")
		term.line("There are more: " + more + strconv.FormatInt(t.Next, 10))
	}
	return out.Flush()
}

// JSON returns the page, format fairpull.trail/1: the changes as a dossier has them,
// the latest first, and the number to go on with; null: there are no more.
func (t *Trail) JSON() ([]byte, error) {
	out := struct {
		Format   string        `json:"format"`
		Campaign string        `json:"campaign,omitempty"`
		Changes  []TrailChange `json:"changes"`
		Next     *int64        `json:"next"`
	}{Format: TrailFormat, Campaign: t.Campaign, Changes: append([]TrailChange{}, t.Changes...)}
	if t.Next > 0 {
		out.Next = &t.Next
	}
	return indented(out)
}
