package report

import (
	"math"
	"strconv"
	"time"

	"fairpull/campaign"
)

// History says whose scatter the intervals borrow.
type History struct {
	Dyno    string
	Vehicle string // empty: of a class, or whatever stood on the dyno
	Class   string // of vehicles; empty: one vehicle, or whatever stood on the dyno
	// Campaigns is how many there are, Curves how many of them rest on curves that
	// were reduced elsewhere, OtherRange how many do not cover the range of engine
	// speeds and give no curve.
	Campaigns, Curves, OtherRange int
	Names                         []string  // of the campaigns, the latest first
	First, Last                   time.Time // when the earliest and the latest of them began

	Setup, Block, Pull Spread
	DriftRate          Spread // of drift from campaign to campaign, 1/h

	Unused  bool              // the folder's own [history] knows more and is used
	Instead *campaign.History // the folder's own in whose place this stands; nil: it has none
}

// Spread is a standard deviation, a fraction on the log scale, with its degrees of
// freedom; 0 of them: not known.
type Spread struct{ SD, DF float64 }

func (s Spread) words() string {
	return fixed(100*s.SD, 2) + " % (" + degrees(s.DF) + " df)"
}

// line says in a sentence what is borrowed, from where.
func (h *History) line() string {
	who := plural(h.Campaigns, "earlier campaign") + " on dyno " + clean(h.Dyno)
	switch {
	case h.Vehicle != "":
		who += " with vehicle " + clean(h.Vehicle)
	case h.Class != "":
		who += " with vehicles of class " + clean(h.Class)
	default:
		who += " with any vehicle"
	}
	if first, last := day(h.First), day(h.Last); first != last {
		who += ", " + first + " to " + last
	} else {
		who += ", " + first
	}
	if h.Curves > 0 {
		who += " (" + strconv.Itoa(h.Curves) + " from curves reduced elsewhere)"
	}
	var knows []string
	for _, l := range []struct {
		name string
		Spread
	}{{"setup to setup", h.Setup}, {"change-over within a setup", h.Block}, {"pull to pull", h.Pull}} {
		if l.DF > 0 && !math.IsNaN(l.SD) {
			knows = append(knows, l.name+" "+l.words())
		}
	}
	s := "History: " + who + labelled(": ", joined(", ", knows...))
	switch {
	case h.Campaigns == 0:
		return "History: the earlier campaigns on dyno " + clean(h.Dyno) + " say nothing of its scatter."
	case h.Unused:
		return s + ". It is not used: the campaign's own [history] has as many degrees of freedom or more."
	case h.Instead != nil:
		return s + ". It stands in the place of the campaign's own [history] (" + historyWords(h.Instead) + "), which knows less."
	}
	return s + "."
}

func day(t time.Time) string { return t.Format(time.DateOnly) }

// historyJSON is what the gain result says of a history taken from a workspace.
type historyJSON struct {
	Used      bool     `json:"used"`
	Dyno      string   `json:"dyno"`
	Vehicle   string   `json:"vehicle"` // empty: those of the class, or any
	Class     string   `json:"class,omitempty"`
	Campaigns []string `json:"campaigns"`
	SetupSD   amount   `json:"setup_sd_pct"`
	SetupDF   amount   `json:"setup_df"`
	BlockSD   amount   `json:"block_sd_pct"`
	BlockDF   amount   `json:"block_df"`
	PullSD    amount   `json:"pull_sd_pct"`
	PullDF    amount   `json:"pull_df"`
}

func (h *History) json() *historyJSON {
	if h == nil {
		return nil
	}
	out := &historyJSON{Used: !h.Unused, Dyno: h.Dyno, Vehicle: h.Vehicle, Class: h.Class, Campaigns: h.Names}
	for _, l := range []struct {
		Spread
		sd, df *amount
	}{{h.Setup, &out.SetupSD, &out.SetupDF}, {h.Block, &out.BlockSD, &out.BlockDF}, {h.Pull, &out.PullSD, &out.PullDF}} {
		*l.sd, *l.df = null, null
		if l.DF > 0 {
			*l.sd, *l.df = amount(100*l.SD), amount(l.DF)
		}
	}
	if out.Campaigns == nil {
		out.Campaigns = []string{}
	}
	return out
}

// pullDF returns the degrees of freedom of pulls that are lent.
func (h *History) pullDF() float64 {
	if h == nil || h.Unused {
		return 0
	}
	return h.Pull.DF
}
