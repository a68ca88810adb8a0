package report

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"fairpull/quantity"
)

// Recomputation is one round in which kept results are derived again.
type Recomputation struct {
	ID        string    `json:"id"`
	Begun     time.Time `json:"begun"`
	Program   string    `json:"program"`
	Kept      bool      `json:"kept"` // results that moved are kept
	Campaigns int       `json:"campaigns"`
	Done      int       `json:"done"`
	Resumed   bool      `json:"-"` // gone on with, or joined
}

// Recomputed is what came of one campaign. Its JSON is kept in the workspace.
type Recomputed struct {
	Campaign      string        `json:"campaign"`
	Result        string        `json:"result"`         // id of the result that was derived again
	ProgramBefore string        `json:"program_before"` // that found it
	Kept          string        `json:"kept,omitempty"` // id of the result that stands beside it now
	Problem       string        `json:"problem,omitempty"`
	Verdicts      []VerdictMove `json:"verdicts,omitempty"`
	Moves         []Move        `json:"moves,omitempty"`
	More          int           `json:"more,omitempty"` // moves that are not listed
}

// VerdictMove is a verdict that is another now.
type VerdictMove struct {
	Candidate string `json:"candidate"`
	From      string `json:"from"`
	To        string `json:"to"`
}

// Move is a figure, a text or a column of a curve that is another now.
type Move struct {
	Path string   `json:"path"` // where in the gain result
	From *float64 `json:"from"` // null: there was none
	To   *float64 `json:"to"`
	// FromShown and ToShown are the figures as a report shows them.
	FromShown string `json:"from_shown,omitempty"`
	ToShown   string `json:"to_shown,omitempty"`
	// Of a column Nodes of Of moved; the figures are those farthest apart, at RPM.
	Nodes int    `json:"nodes,omitempty"`
	Of    int    `json:"of,omitempty"`
	RPM   string `json:"rpm,omitempty"`
	// Text says that the words of a text moved, and not a figure.
	Text     bool   `json:"text,omitempty"`
	FromText string `json:"from_text,omitempty"`
	ToText   string `json:"to_text,omitempty"`
}

// Moved reports whether anything is another.
func (r Recomputed) Moved() bool { return len(r.Verdicts) > 0 || len(r.Moves) > 0 }

// Shown reports whether a move can be seen where figures are rounded.
func (m Move) Shown() bool { return !m.Text && m.FromShown != m.ToShown }

// ShownMember returns a figure of the gain result as a report rounds it, of its
// member's name and, for a gain, the half-width of its interval in %. "–" is a
// figure that cannot be had.
func ShownMember(name string, value *float64, half float64) string {
	if value == nil {
		return "–"
	}
	v := *value
	switch {
	case name == "at_least_pct":
		return roundedDown(v)
	case name == "gain_pct" || name == "lo_pct" || name == "hi_pct" || name == "band_lo_pct" || name == "band_hi_pct":
		if half > 0 {
			return signed(v, places(half, gainPlaces))
		}
		return signed(v, 1)
	case strings.HasSuffix(name, "rpm") || strings.HasPrefix(name, "rpm_"):
		return fixed(v, 0)
	case name == "correction_factor":
		return fixed(v, 4)
	case strings.HasSuffix(name, "_pct") || strings.HasSuffix(name, "_per_hour") || name == "lo" || name == "hi":
		return signed(v, 2)
	case strings.HasSuffix(name, "_nm") || strings.HasSuffix(name, "_kw") || strings.HasSuffix(name, "_df"):
		return fixed(v, 1)
	}
	places, ok := quantity.Places(math.Abs(v) / 10) // three digits
	if !ok {
		return fixed(v, 1)
	}
	return fixed(v, max(0, places))
}

// Shorten returns a text of at most so many bytes, whole characters.
func Shorten(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + "…"
}

// RecomputeCounts are how many campaigns came to what.
type RecomputeCounts struct {
	Same     int `json:"same"`     // to the last digit
	Moved    int `json:"moved"`    // something is another
	Shown    int `json:"shown"`    // of these: as shown
	Verdicts int `json:"verdicts"` // of these: a verdict is another
	Problems int `json:"problems"` // could not be derived again
	Kept     int `json:"kept"`     // results kept beside the earlier ones
}

// Take counts one campaign.
func (c *RecomputeCounts) Take(r Recomputed) {
	switch {
	case r.Problem != "":
		c.Problems++
	case !r.Moved():
		c.Same++
	default:
		c.Moved++
		if r.shown() {
			c.Shown++
		}
	}
	if len(r.Verdicts) > 0 {
		c.Verdicts++
	}
	if r.Kept != "" {
		c.Kept++
	}
}

func (r Recomputed) shown() bool {
	if len(r.Verdicts) > 0 {
		return true
	}
	for i := range r.Moves {
		if r.Moves[i].Shown() {
			return true
		}
	}
	return false
}

// Text writes what came of a recomputation: verdicts first, then the figures that
// moved as shown, then what could not be derived. each gives the campaigns and is
// called several times.
func (r *Recomputation) Text(w io.Writer, each func(take func(Recomputed) error) error) error {
	var counts RecomputeCounts
	if err := each(func(one Recomputed) error { counts.Take(one); return nil }); err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "Derived %s again with version %s: %d the same to the last digit, %d moved (%d as shown, %d in a verdict), %d could not be derived.\n",
		counted(r.Campaigns, "campaign"), clean(r.Program), counts.Same, counts.Moved, counts.Shown, counts.Verdicts, counts.Problems)
	for _, part := range []struct {
		any   bool
		title string
		write func(*bufio.Writer, *Recomputed)
	}{
		{counts.Verdicts > 0, "Verdicts that changed:", writeVerdicts},
		{counts.Moved > 0, "Figures that moved, as shown; the others by less:", writeMoves},
		{counts.Problems > 0, "Not derived:", writeProblem},
	} {
		if !part.any {
			continue
		}
		fmt.Fprintln(out, "\n"+part.title)
		if err := each(func(one Recomputed) error { part.write(out, &one); return nil }); err != nil {
			return err
		}
	}
	switch {
	case counts.Moved > 0 && r.Kept:
		fmt.Fprintf(out, "\nKept beside the earlier ones: %s. Nothing was overwritten.\n", counted(counts.Kept, "result"))
	case counts.Moved > 0:
		fmt.Fprintln(out, "\nNothing was kept.")
	}
	return out.Flush()
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func writeVerdicts(out *bufio.Writer, r *Recomputed) {
	for _, v := range r.Verdicts {
		fmt.Fprintf(out, "  %s  %s: %s → %s\n", clean(r.Campaign), clean(v.Candidate), clean(v.From), clean(v.To))
	}
}

func writeProblem(out *bufio.Writer, r *Recomputed) {
	if r.Problem != "" {
		fmt.Fprintf(out, "  %s  %s\n", clean(r.Campaign), cleanTo(r.Problem, 400))
	}
}

func writeMoves(out *bufio.Writer, r *Recomputed) {
	if r.Problem != "" || len(r.Moves) == 0 {
		return
	}
	fmt.Fprintf(out, "  %s\n", clean(r.Campaign))
	figures, texts := 0, 0
	var largest *Move
	for i := range r.Moves {
		m := &r.Moves[i]
		switch {
		case m.Shown():
			fmt.Fprintf(out, "    %-40s %s → %s%s\n", clean(m.Path), m.FromShown, m.ToShown, m.where())
		case m.Text:
			texts++
		default:
			figures++
			if largest == nil || m.share() > largest.share() {
				largest = m
			}
		}
	}
	if largest != nil {
		fmt.Fprintf(out, "    %s by less than is shown, at most %.2g of itself (%s)\n", counted(figures, "figure"), largest.share(), clean(largest.Path))
	}
	if texts > 0 {
		fmt.Fprintf(out, "    %s other than figures\n", counted(texts, "member"))
	}
	if r.More > 0 {
		fmt.Fprintf(out, "    and %d more, which are not listed\n", r.More)
	}
}

// where says how much of a column moved.
func (m *Move) where() string {
	if m.Nodes == 0 {
		return ""
	}
	return fmt.Sprintf(" at %s rpm, the farthest of %d of %d nodes", clean(m.RPM), m.Nodes, m.Of)
}

// share returns the move as a fraction of the figure.
func (m *Move) share() float64 {
	if m.From == nil || m.To == nil {
		return math.Inf(1)
	}
	return math.Abs(*m.To-*m.From) / max(math.Abs(*m.From), math.Abs(*m.To))
}

// JSON writes what came of a recomputation as one object, fairpull.recompute/1,
// campaign by campaign, so that its length does not count.
func (r *Recomputation) JSON(w io.Writer, each func(take func(Recomputed) error) error) error {
	var counts RecomputeCounts
	if err := each(func(one Recomputed) error { counts.Take(one); return nil }); err != nil {
		return err
	}
	head, err := json.Marshal(struct {
		Format string `json:"format"`
		Recomputation
		Counts RecomputeCounts `json:"counts"`
	}{"fairpull.recompute/1", *r, counts})
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	out.Write(head[:len(head)-1])
	out.WriteString(`,"results":[`)
	between := "\n"
	err = each(func(one Recomputed) error {
		text, err := json.Marshal(one)
		if err != nil {
			return err
		}
		out.WriteString(between)
		out.Write(text)
		between = ",\n"
		return nil
	})
	if err != nil {
		return err
	}
	out.WriteString("\n]}\n")
	return out.Flush()
}
