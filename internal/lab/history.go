package lab

import (
	"context"
	"fmt"
	"slices"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/scatter"
)

// Past is what a workspace knows of a rig's scatter: what campaigns begun before
// a moment say of it. It is not changed once it is made.
type Past struct {
	Dyno      string
	Vehicle   string         // empty: of a class, or whatever stood on the dyno
	Class     string         // of vehicles; empty: one vehicle, or whatever stood on the dyno
	Campaigns []PastCampaign // the latest first, at most pastCampaigns
}

// PastCampaign is what one earlier campaign says.
type PastCampaign struct {
	Campaign, Vehicle string
	Started           time.Time
	Result            string // id of the kept result that says so
	Study             Study
}

const (
	// pastCampaigns bounds the campaigns of one history, the latest counting: it
	// bounds the time that a verdict takes, and a rig of long ago is another rig.
	pastCampaigns = 200
	// vehicleDF is how many degrees of freedom the campaigns of a vehicle, or of a class
	// of vehicles, must have to be its history alone, at each level that the design meets: an SD is then known to
	// about a quarter (docs/history.md).
	vehicleDF = 8
)

// PastQuery asks for a history.
type PastQuery struct {
	Dyno, Vehicle string
	Class         string    // of a vehicle of which the workspace knows none; empty: none
	Before        time.Time // campaigns begun before; zero: all
	Without       string    // a campaign that is not to be in it; empty: none
	Meets         levelsMet // what the design of the campaign meets
}

// levelsMet are the levels of scatter that a comparison meets beside that of pulls.
type levelsMet struct{ setups, blocks bool }

// met returns what the blocks of a campaign meet, as they are planned, else as they
// were measured: setups where there are several, change-overs where one of them holds
// several blocks. A campaign of one block is taken to be strapped down anew for the
// next.
func met(c *campaign.Campaign) levelsMet {
	var setups []string // of each block
	if c.Plan != nil {
		for _, b := range c.Plan.Blocks {
			setups = append(setups, b.Setup)
		}
	} else {
		used := slices.DeleteFunc(slices.Clone(c.Pulls), func(p campaign.Pull) bool { return !p.Used() })
		slices.SortStableFunc(used, func(a, b campaign.Pull) int { return a.Started.Compare(b.Started) })
		for i, p := range used {
			if i == 0 || p.Configuration != used[i-1].Configuration || p.Setup != used[i-1].Setup {
				setups = append(setups, p.Setup)
			}
		}
	}
	several := slices.ContainsFunc(setups, func(s string) bool { return s != setups[0] })
	slices.Sort(setups)
	repeated := len(slices.Compact(slices.Clone(setups))) < len(setups)
	return levelsMet{setups: several || !repeated, blocks: repeated}
}

// history returns what the workspace knows of a dyno's scatter from campaigns
// begun before a moment: those with the same vehicle where they have vehicleDF
// degrees of freedom of what the design meets, else those with the vehicles of its
// class where they have, else those of every vehicle. Nothing is known of a dyno
// without an id.
//
// No pull counts twice: of campaigns that share a log, as one that was taken in under
// two ids, the one that began last counts, and none that shares one with q.Without.
func (w *Workspace) history(ctx context.Context, q PastQuery) (*Past, error) {
	if q.Dyno == "" {
		return &Past{Vehicle: q.Vehicle}, nil
	}
	known := map[string]Study{}
	if q.Vehicle != "" {
		past, err := w.historyFrom(ctx, q, Past{Vehicle: q.Vehicle}, nil, known)
		if err != nil || past.knows(q.Meets) {
			return past, err
		}
	}
	class, vehicles, err := w.classOf(ctx, q.Vehicle, q.Class)
	if err != nil {
		return nil, err
	}
	if len(vehicles) > 0 {
		past, err := w.historyFrom(ctx, q, Past{Class: class}, vehicles, known)
		if err != nil || past.knows(q.Meets) {
			return past, err
		}
	}
	return w.historyFrom(ctx, q, Past{}, nil, known)
}

// historyFrom fills in the campaigns of a history: those with its vehicle, of the
// vehicles where there are some, else of all. known has the studies that were read for
// it before, by their results, and takes what is read.
func (w *Workspace) historyFrom(ctx context.Context, q PastQuery, past Past, vehicles []string, known map[string]Study) (*Past, error) {
	past.Dyno = q.Dyno
	rows, err := w.store.History(ctx, store.HistoryQuery{
		Dyno: q.Dyno, Vehicle: past.Vehicle, Vehicles: vehicles, Before: q.Before, Without: q.Without, Limit: pastCampaigns,
	})
	if err != nil {
		return nil, err
	}
	if past.Campaigns, err = readStudiesBut(rows, known); err != nil {
		return nil, err
	}
	for _, c := range past.Campaigns {
		known[c.Result] = c.Study
	}
	past.dropUnusable()
	_, err = w.dropRepeated(ctx, &past, q.Without)
	return &past, err
}

// dropUnusable takes out the campaigns whose measurement was at fault, and returns
// them.
func (p *Past) dropUnusable() (dropped []PastCampaign) {
	var kept []PastCampaign
	for _, c := range p.Campaigns {
		if c.Study.Unusable != "" {
			dropped = append(dropped, c)
		} else {
			kept = append(kept, c)
		}
	}
	p.Campaigns = kept
	return dropped
}

// dropRepeated takes out the campaigns that have a log of one before them in the list,
// or of the campaign without, and returns them with the campaign that counts.
func (w *Workspace) dropRepeated(ctx context.Context, p *Past, without string) (dropped []report.ScatterRepeated, err error) {
	ids := make([]string, 0, len(p.Campaigns)+1)
	if without != "" {
		ids = append(ids, without)
	}
	for _, c := range p.Campaigns {
		ids = append(ids, c.Campaign)
	}
	groups, err := w.store.SharedLogs(ctx, ids)
	if err != nil || len(groups) == 0 {
		return nil, err
	}
	shared := map[string][]string{}
	for _, group := range groups {
		for _, id := range group {
			shared[id] = append(shared[id], group...)
		}
	}
	counts := map[string]bool{without: true}
	var kept []PastCampaign
	for _, c := range p.Campaigns {
		at := slices.IndexFunc(shared[c.Campaign], func(id string) bool { return counts[id] && id != c.Campaign })
		if at < 0 {
			counts[c.Campaign] = true
			kept = append(kept, c)
			continue
		}
		dropped = append(dropped, report.ScatterRepeated{Campaign: c.Campaign, With: shared[c.Campaign][at]})
	}
	p.Campaigns = kept
	return dropped, nil
}

// knows reports whether the campaigns have vehicleDF degrees of freedom together at
// each level that a design meets; of setups, where nobody says what it meets.
func (p *Past) knows(meets levelsMet) bool {
	meets.setups = meets.setups || !meets.blocks
	var setups, blocks float64
	for i := range p.Campaigns {
		setups += p.Campaigns[i].Study.Setup.DF
		blocks += p.Campaigns[i].Study.Block.DF
	}
	return (!meets.setups || setups >= vehicleDF) && (!meets.blocks || blocks >= vehicleDF)
}

func readStudies(rows []store.Past) ([]PastCampaign, error) { return readStudiesBut(rows, nil) }

// readStudiesBut reads the studies of rows on all cores, but those that are known
// already by their result's id.
func readStudiesBut(rows []store.Past, known map[string]Study) ([]PastCampaign, error) {
	out := make([]PastCampaign, len(rows))
	err := each(context.Background(), len(rows), func(i int) error {
		r := &rows[i]
		out[i] = PastCampaign{Campaign: r.Campaign, Vehicle: r.Vehicle, Started: r.Started, Result: r.Result}
		study, have := known[r.Result]
		if !have {
			var err error
			if study, err = decodeStudy(r.Scatter); err != nil {
				return fmt.Errorf("history: campaign %s, result %s: %w.\n  Judge the campaign again, or leave it out: fairpull scatter --leave-out %s --why \"…\"", r.Campaign, r.Result, err, r.Campaign)
			}
		}
		out[i].Study = study
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// studies returns what the campaigns say, in their order.
func (p *Past) studies() []scatter.Study {
	out := make([]scatter.Study, len(p.Campaigns))
	for i := range p.Campaigns {
		out[i] = p.Campaigns[i].Study.Study
	}
	return out
}

// pool returns what the campaigns say together, on a grid of engine speeds.
func (p *Past) pool(grid []float64) (scatter.Pooled, error) {
	return scatter.Pool(p.studies(), grid)
}
