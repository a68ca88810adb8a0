package lab

import (
	"context"
	"fmt"
	"time"

	"fairpull/internal/store"
	"fairpull/scatter"
)

// Past is what a workspace knows of a rig's scatter: what campaigns begun before
// a moment say of it. It is not changed once it is made.
type Past struct {
	Dyno      string
	Vehicle   string         // empty: whatever stood on the dyno
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
	// vehicleDF is how many degrees of freedom, of setups and of blocks within a
	// setup together, a vehicle's own campaigns must have to be its history alone:
	// an SD is then known to about a quarter (docs/workspace.md).
	vehicleDF = 8
)

// PastQuery asks for a history.
type PastQuery struct {
	Dyno, Vehicle string
	Before        time.Time // campaigns begun before; zero: all
	Without       string    // a campaign that is not to be in it; empty: none
}

// history returns what the workspace knows of a dyno's scatter from campaigns
// begun before a moment: those with the same vehicle where they have vehicleDF
// degrees of freedom, else those of every vehicle. Nothing is known of a dyno
// without an id.
func (w *Workspace) history(ctx context.Context, q PastQuery) (*Past, error) {
	past := &Past{Dyno: q.Dyno, Vehicle: q.Vehicle}
	if q.Dyno == "" {
		return past, nil
	}
	ask := store.HistoryQuery{Dyno: q.Dyno, Vehicle: q.Vehicle, Before: q.Before, Without: q.Without, Limit: pastCampaigns}
	rows, err := w.store.History(ctx, ask)
	if err != nil {
		return nil, err
	}
	if past.Campaigns, err = readStudies(rows); err != nil {
		return nil, err
	}
	past.dropUnusable()
	if q.Vehicle == "" || past.strappedDF() >= vehicleDF {
		return past, nil
	}
	known := past.byResult()
	ask.Vehicle, past.Vehicle = "", ""
	if rows, err = w.store.History(ctx, ask); err != nil {
		return nil, err
	}
	if past.Campaigns, err = readStudiesBut(rows, known); err != nil {
		return nil, err
	}
	past.dropUnusable()
	return past, nil
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

// strappedDF returns the degrees of freedom of setups and of repeated blocks that
// the campaigns have together.
func (p *Past) strappedDF() float64 {
	var sum float64
	for i := range p.Campaigns {
		sum += p.Campaigns[i].Study.Setup.DF + p.Campaigns[i].Study.Block.DF
	}
	return sum
}

func (p *Past) byResult() map[string]Study {
	known := make(map[string]Study, len(p.Campaigns))
	for _, c := range p.Campaigns {
		known[c.Result] = c.Study
	}
	return known
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

// historyOf returns the history that the given results make, as it stood when a
// result was kept that names them.
func (w *Workspace) historyOf(ctx context.Context, dyno, vehicle string, results []string) (*Past, error) {
	rows, err := w.store.PastOf(ctx, results)
	if err != nil {
		return nil, err
	}
	campaigns, err := readStudies(rows)
	return &Past{Dyno: dyno, Vehicle: vehicle, Campaigns: campaigns}, err
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
