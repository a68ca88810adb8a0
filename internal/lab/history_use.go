package lab

import (
	"math"
	"slices"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/report"
	"fairpull/scatter"
)

// borrow decides which history the comparisons borrow from, once the grid and the
// used pulls are known: the workspace's where it knows the scatter that the design
// rests on with more degrees of freedom than the folder's own [history], else the
// folder's. The two are never mixed: the folder's may come from the same campaigns.
func (a *Analysis) borrow(past *Past) error {
	own := a.Campaign.History
	a.history = history(own)
	if past == nil || len(past.Campaigns) == 0 {
		return nil
	}
	pooled, err := past.pool(a.SpeedRPM)
	if err != nil {
		return err
	}
	lent := lends(pooled)
	note := noteOf(past, pooled)
	a.borrowed = &note
	if lent.nothing() || own != nil && !a.knowsMore(lent, own) {
		note.Unused = true
		return nil
	}
	note.Instead = own
	a.past, a.history = past, lent.History
	return nil
}

// knowsMore says whether what is lent has more degrees of freedom than the folder's
// own history of the scatter that the design rests on.
func (a *Analysis) knowsMore(lent loan, own *campaign.History) bool {
	setup, block, _ := lent.df()
	if a.restsOnSetups() {
		return setup > own.SetupDF
	}
	return block > own.BlockDF
}

// restsOnSetups says whether the scatter of setups bears on the comparison: not
// where all used pulls share one.
func (a *Analysis) restsOnSetups() bool {
	used := usedPulls(a.Pulls)
	return slices.ContainsFunc(used, func(p *Pull) bool { return p.Setup != used[0].Setup })
}

// loan is a pooled history in the form that a comparison takes.
type loan struct{ compare.History }

func lends(p scatter.Pooled) loan {
	l := loan{compare.History{Archive: p.Archive}}
	// A spread of drift rates that is cut at nothing bounds nothing.
	if p.DriftRateSD > 0 && p.DriftRateDF >= 1 {
		l.DriftRate = compare.Spread{SD: p.DriftRateSD, DF: p.DriftRateDF}
	}
	return l
}

// df returns the degrees of freedom of setups, of blocks within a setup and of
// pulls that the archive states.
func (l loan) df() (setup, block, pull float64) {
	if l.Archive == nil {
		return 0, 0, 0
	}
	return l.Archive.SetupDF, l.Archive.BlockDF, l.Archive.PullDF
}

func (l loan) nothing() bool {
	setup, block, pull := l.df()
	return l.DriftRate.DF == 0 && setup == 0 && block == 0 && pull == 0
}

// historyOn returns the borrowed history on another grid than the shared one.
func (a *Analysis) historyOn(grid []float64) (compare.History, error) {
	if a.past == nil || slices.Equal(grid, a.SpeedRPM) {
		return a.history, nil
	}
	pooled, err := a.past.pool(grid)
	return lends(pooled).History, err
}

// noteOf says for the report what a history is.
func noteOf(past *Past, p scatter.Pooled) report.History {
	note := report.History{Dyno: past.Dyno, Vehicle: past.Vehicle, Class: past.Class}
	for i, c := range past.Campaigns {
		if !p.Uses[i].Curve && !p.Uses[i].Scalars {
			continue
		}
		if note.Campaigns == 0 {
			note.Last = c.Started
		}
		note.First = c.Started
		note.Campaigns++
		note.Names = append(note.Names, c.Campaign)
		if c.Study.Curves {
			note.Curves++
		}
		if !p.Uses[i].Curve {
			note.OtherRange++
		}
	}
	lent := lends(p)
	setup, block, pull := lent.df()
	note.Setup = report.Spread{SD: firstKnown(p.Setup.SD[:]), DF: setup}
	note.Block = report.Spread{SD: firstKnown(p.Block.SD[:]), DF: block}
	note.Pull = report.Spread{SD: firstKnown(p.Pull.SD[:]), DF: pull}
	note.DriftRate = report.Spread{SD: lent.DriftRate.SD, DF: lent.DriftRate.DF}
	return note
}

func firstKnown(values []float64) float64 {
	for _, v := range values {
		if !math.IsNaN(v) {
			return v
		}
	}
	return math.NaN()
}

// ownHistory returns the campaign's own [history] unless the workspace's stands in
// its place.
func (a *Analysis) ownHistory() *campaign.History {
	if a.past != nil {
		return nil
	}
	return a.Campaign.History
}
