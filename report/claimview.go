package report

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"fairpull/campaign"
)

// Claim is a claim as documents, pages and the terminal show it: what it states,
// the states that it went through, and the analysis that it rests on.
type Claim struct {
	campaign.Claim
	States []campaign.ClaimEvent // oldest first; never empty
	// Gain is the analysis that the claim was drafted from, in SI; nil where only the
	// claim is shown.
	Gain *Gain
	// Signed names those who signed, in order; empty: nobody has.
	Signed []ClaimSignature
	// Record is the name of the lab's record and Index the claim's place in it;
	// empty and 0: it is not in one.
	Record string
	Index  int64
	// Founder is the fingerprint of the first key of the lab's list, with which
	// anybody can verify the dossier; empty: the lab has no keys.
	Founder string
	// By is the number of the claim that amended it; empty: none has.
	By      string
	Version string // of the program; empty: not stated
}

// ClaimSignature is one signature of a claim.
type ClaimSignature struct {
	By  string    `json:"by"`
	As  string    `json:"as"` // in which role
	At  time.Time `json:"at"`
	Key string    `json:"key"` // the key's id
}

// State returns the state that the claim is in.
func (c *Claim) State() campaign.ClaimState {
	if len(c.States) == 0 {
		return campaign.ClaimDraft
	}
	return c.States[len(c.States)-1].State
}

// Standing says in a sentence how far the claim has come and what that means for
// whoever reads it.
func (c *Claim) Standing() string {
	last := campaign.ClaimEvent{State: campaign.ClaimDraft, Who: c.DraftedBy, At: c.Drafted}
	if len(c.States) > 0 {
		last = c.States[len(c.States)-1]
	}
	on := " on " + Day(last.At)
	switch last.State {
	case campaign.ClaimReviewed:
		return "Reviewed by " + clean(last.Who) + on + ". Not signed: nothing of it may be published."
	case campaign.ClaimSigned:
		return "Signed by " + clean(last.Who) + on + ". Not published yet."
	case campaign.ClaimPublished:
		return "Published" + on + "."
	case campaign.ClaimAmended:
		return "Amended" + on + labelled(" by claim ", clean(c.By)) + labelled(": ", cleanTo(last.Why, 400)) + ". It is no longer to be used."
	case campaign.ClaimWithdrawn:
		return "Withdrawn by " + clean(last.Who) + on + labelled(": ", cleanTo(last.Why, 400)) + ". It is no longer to be used."
	}
	return "A draft by " + clean(last.Who) + on + ". Nobody has reviewed or signed it: nothing of it may be published."
}

// claimJSON is a claim with its states.
type claimJSON struct {
	campaign.Claim
	State   campaign.ClaimState   `json:"state"`
	States  []campaign.ClaimEvent `json:"states"`
	Signed  []ClaimSignature      `json:"signed"`
	Record  string                `json:"record,omitempty"`
	Index   *int64                `json:"index,omitempty"`
	Founder string                `json:"founder,omitempty"`
	By      string                `json:"amended_by,omitempty"`
}

// JSON returns the claim with its states, format fairpull.claim/1, indented.
// Numbers are not rounded.
func (c *Claim) JSON() ([]byte, error) {
	out := claimJSON{Claim: c.Claim, State: c.State(), States: c.States, Signed: c.Signed, Record: c.Record, Founder: c.Founder, By: c.By}
	if c.Record != "" {
		out.Index = &c.Index
	}
	return indented(out)
}

func indented(v any) ([]byte, error) {
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	err := encoder.Encode(v)
	return b.Bytes(), err
}

// Head writes what the claim is and how far it has come, for a terminal of the
// given width.
func (c *Claim) Head(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	c.head(out, width)
	return out.Flush()
}

func (c *Claim) head(out *bufio.Writer, width int) {
	fmt.Fprintf(out, "Claim %s: %s\n\n", clean(c.Number), clean(c.Title))
	writeWrapped(out, c.Standing(), 0, width)
	fmt.Fprintln(out)
	writeWrapped(out, cleanTo(c.Sentence, 2000), 2, width)
}

// Text writes the claim for a terminal of the given width.
func (c *Claim) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	para := func(indent int, text string) { writeWrapped(out, text, indent, width) }
	c.head(out, width)
	para(2, cleanTo(c.Specimens, 2000))
	fmt.Fprintln(out, "\nMeasured:")
	para(2, figureLine(c.Claimed, c.Confidence)+" This figure carries the claim.")
	for i := range c.Beside {
		para(2, figureLine(c.Beside[i], c.Confidence))
	}
	c.sides(para, out)
	for _, part := range []struct {
		title string
		items []string
	}{
		{"Vehicle, rig and conditions", c.facts()},
		{"Deviations", c.Deviations},
		{"Not covered", c.NotCovered},
		{"Cautions", c.Cautions},
	} {
		fmt.Fprintf(out, "\n%s:\n", part.title)
		if len(part.items) == 0 {
			fmt.Fprintln(out, "  none")
		}
		for _, item := range part.items {
			para(2, "- "+cleanTo(item, 1000))
		}
	}
	fmt.Fprintln(out, "\nStates:")
	for _, s := range c.States {
		fmt.Fprintf(out, "  %s  %-9s  %s%s\n", s.At.UTC().Format("2006-01-02 15:04"), s.State, clean(s.Who), labelled(": ", cleanTo(s.Why, 400)))
	}
	return out.Flush()
}

func (c *Claim) sides(para func(int, string), out *bufio.Writer) {
	for _, side := range []struct {
		what string
		side campaign.ClaimSide
	}{{"Baseline", c.Baseline}, {"Candidate", c.Tested}} {
		fmt.Fprintf(out, "\n%s %s, %s (%s in %s):\n", side.what, clean(side.side.ID), clean(side.side.Name), plural(side.side.Pulls, "pull"), plural(side.side.Setups, "setup"))
		for _, p := range side.side.Components {
			para(2, clean(p.Function)+": "+componentWords(p)+changedWords(p.Changed))
		}
		for _, s := range side.side.Settings {
			para(2, clean(s.Key)+" = "+clean(s.Value)+changedWords(s.Changed))
		}
	}
}

func changedWords(changed bool) string {
	if changed {
		return "  (changed)"
	}
	return ""
}

func componentWords(p campaign.ClaimComponent) string {
	return clean(p.Part) + labelled(", serial ", clean(p.Serial)) + labelled(", batch ", clean(p.Batch))
}

// facts are the lines on vehicle, rig, procedure and conditions.
func (c *Claim) facts() []string {
	var lines []string
	for _, item := range []struct {
		what string
		item campaign.ClaimItem
	}{{"Vehicle", c.Vehicle}, {"Rig", c.Rig}} {
		line := item.what + " " + clean(item.item.ID)
		for _, f := range item.item.Facts {
			line += "; " + clean(f.What) + " " + clean(f.Is)
		}
		lines = append(lines, line)
	}
	for _, s := range c.Procedure {
		lines = append(lines, SetPointWords(s))
	}
	for _, f := range c.Conditions {
		lines = append(lines, clean(f.What)+": "+cleanTo(f.Is, 400))
	}
	return lines
}

// SetPointWords says what pulls were held to and what was measured:
// "tyre_pressure_kpa 250 ± 7, measured 247.2 to 255.2".
func SetPointWords(s campaign.ClaimSetPoint) string {
	line := clean(s.Key) + " " + plain(s.Target) + " ± " + plain(s.Tolerance)
	if s.Least == nil || s.Most == nil {
		return line + ", not recorded pull by pull"
	}
	return line + ", measured " + plain(*s.Least) + " to " + plain(*s.Most)
}

// writeWrapped writes text in lines of at most width columns.
func writeWrapped(out *bufio.Writer, text string, indent, width int) {
	margin := strings.Repeat(" ", indent)
	line := margin
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(word)) > width && strings.TrimSpace(line) != "" {
			fmt.Fprintln(out, line)
			line = margin
			if strings.HasPrefix(text, "- ") {
				line += "  "
			}
		}
		if strings.TrimSpace(line) != "" {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(out, line)
}

// ClaimRow is one line of the list of claims.
type ClaimRow struct {
	Number   string              `json:"number"`
	State    campaign.ClaimState `json:"state"`
	Since    time.Time           `json:"since"`
	Campaign string              `json:"campaign"`
	Amends   string              `json:"amends,omitempty"`
	By       string              `json:"amended_by,omitempty"`
	Title    string              `json:"title"`
	Sentence string              `json:"sentence"`
}

// Claims is the list of a lab's claims.
type Claims struct{ Rows []ClaimRow }

// JSON returns the list, format fairpull.claims/1.
func (c *Claims) JSON() ([]byte, error) {
	rows := c.Rows
	if rows == nil {
		rows = []ClaimRow{}
	}
	return indented(struct {
		Format string     `json:"format"`
		Claims []ClaimRow `json:"claims"`
	}{"fairpull.claims/1", rows})
}

// Text writes the list for a terminal of the given width.
func (c *Claims) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	if len(c.Rows) == 0 {
		fmt.Fprintln(out, "There is no claim. To draft one: fairpull claim CAMPAIGN")
	}
	for _, r := range c.Rows {
		fmt.Fprintf(out, "%s  %-9s  %s  %s%s%s\n", clean(r.Number), r.State, Day(r.Since), clean(r.Title), labelled(", amends ", clean(r.Amends)), labelled(", amended by ", clean(r.By)))
		writeWrapped(out, cleanTo(r.Sentence, 2000), 2, width)
	}
	return out.Flush()
}
