package lab

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"

	"fairpull/internal/store"
	"fairpull/report"
)

// RecomputeOptions say what is derived again.
type RecomputeOptions struct {
	Campaigns []string // ids; none: every campaign that has a result
	DryRun    bool     // keep nothing
	Join      bool     // only help with the recomputation that goes on
	Anew      bool     // give up a recomputation that was not finished
	By        Author
	Program   string
	// Begun is called once it is known what is to be done, and may be nil.
	Begun func(r report.Recomputation)
	// Progress counts campaigns, those of other machines too; it may be nil.
	Progress func(done, total int)
}

// Recompute derives the latest result of every campaign again: today's program,
// the same version of the data, the settings that the result names. What moved is
// kept beside the earlier result, unless o.DryRun; nothing is overwritten. What
// came of each campaign is kept too, so that a recomputation that is interrupted,
// or killed, is gone on with by the same call. Read it with [Workspace.Recomputed].
//
// A campaign that cannot be derived again is an outcome and no error. Several
// machines share the work in a PostgreSQL workspace: one begins, the others join.
func (w *Workspace) Recompute(ctx context.Context, o RecomputeOptions) (report.Recomputation, error) {
	round, resumed, err := w.round(ctx, o)
	if err != nil {
		return report.Recomputation{}, err
	}
	about := recomputation(round)
	about.Resumed = resumed
	if o.Begun != nil {
		o.Begun(about)
	}
	err = w.store.Work(ctx, round.ID, store.Work{
		Workers: runtime.GOMAXPROCS(0), Join: o.Join, Progress: o.Progress,
		Do: func(ctx context.Context, id string) ([]byte, error) { return w.recomputeOne(ctx, id, round) },
	})
	if err != nil {
		return about, err
	}
	if err := w.store.EndRound(ctx, round.ID); err != nil {
		return about, err
	}
	if round, err = w.store.Round(ctx, round.ID); err != nil {
		return about, err
	}
	if round.Done < round.Tasks {
		return about, fmt.Errorf("the recomputation was given up for another one, with %d of %d campaigns done", round.Done, round.Tasks)
	}
	done := recomputation(round)
	done.Resumed = resumed
	return done, nil
}

func recomputation(r store.Round) report.Recomputation {
	return report.Recomputation{ID: r.ID, Begun: r.Begun, Program: r.Program, Kept: r.Keep, Campaigns: r.Tasks, Done: r.Done}
}

// round returns the recomputation to work on: the one that goes on, where it is
// the same work, else a new one.
func (w *Workspace) round(ctx context.Context, o RecomputeOptions) (round store.Round, resumed bool, err error) {
	wanted := store.Round{Program: o.Program, Keep: !o.DryRun, Author: o.By}
	open, err := w.store.OpenRound(ctx)
	switch {
	case errors.Is(err, store.ErrNotFound):
		if o.Join {
			return round, false, errors.New("no recomputation goes on here that could be joined.\n  To begin one: fairpull recompute")
		}
		round, err = w.store.BeginRound(ctx, wanted, o.Campaigns)
		return round, false, unknownCampaign(err)
	case err != nil:
		return round, false, err
	case o.Join:
		if open.Program != o.Program {
			return round, false, fmt.Errorf("the recomputation that goes on is one of version %s, and this program is %s: use that version here", open.Program, o.Program)
		}
		return open, true, nil
	case open.SameWork(wanted, o.Campaigns) && !o.Anew:
		return open, true, nil
	case !o.Anew:
		return round, false, fmt.Errorf("a recomputation of %s by version %s was begun and not finished (%d of %d campaigns done), and it is another than this.\n"+
			"  To give it up and begin this one: the same command with --anew", open.Begun.Format("2006-01-02 15:04"), open.Program, open.Done, open.Tasks)
	}
	// What is asked for first: a round that cannot be begun gives up nothing.
	if round, err = w.store.BeginRound(ctx, wanted, o.Campaigns); err != nil {
		return round, false, unknownCampaign(err)
	}
	return round, false, w.store.EndRound(ctx, open.ID)
}

// recomputeTries is how often a campaign is derived again because another result
// was kept meanwhile.
const recomputeTries = 3

// recomputeOne derives one campaign again and returns what came of it, as JSON.
func (w *Workspace) recomputeOne(ctx context.Context, id string, round store.Round) ([]byte, error) {
	for try := 1; ; try++ {
		found, err := w.deriveAgain(ctx, id, round)
		if errors.Is(err, store.ErrNotLatest) && try < recomputeTries {
			continue
		}
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case errors.Is(err, store.ErrFull), errors.Is(err, store.ErrBusy):
			return nil, err
		case err != nil:
			found = report.Recomputed{Campaign: id, Result: found.Result, Problem: err.Error()}
		}
		return json.Marshal(found)
	}
}

// deriveAgain derives the latest result of a campaign again, says what is another, and
// keeps what is.
func (w *Workspace) deriveAgain(ctx context.Context, id string, round store.Round) (report.Recomputed, error) {
	found := report.Recomputed{Campaign: id}
	before, err := w.store.LatestResult(ctx, id)
	if err != nil {
		return found, err
	}
	found.Result, found.ProgramBefore = before.ID, before.Program
	now, err := w.Rederive(ctx, before)
	if err != nil {
		return found, err
	}
	if err := difference(&found, before, now); err != nil {
		return found, err
	}
	if !found.Moved() || !round.Keep {
		return found, nil
	}
	now.Program = round.Program
	if _, err := w.store.SaveResultAfter(ctx, now, before.ID, round.Author); err != nil {
		return found, err
	}
	kept, err := w.store.LatestResult(ctx, id)
	found.Kept = kept.ID
	return found, err
}

// recomputedPage is how many outcomes are held at once.
const recomputedPage = 200

// Recomputed gives what came of each campaign of a recomputation, in the order of
// their ids, until take returns an error.
func (w *Workspace) Recomputed(ctx context.Context, round string, take func(report.Recomputed) error) error {
	for after := ""; ; {
		page, err := w.store.Outcomes(ctx, round, after, recomputedPage)
		if err != nil {
			return err
		}
		for _, o := range page {
			var r report.Recomputed
			if err := json.Unmarshal(o.Body, &r); err != nil {
				return fmt.Errorf("what came of campaign %s: %w", o.Campaign, err)
			}
			if err := take(r); err != nil {
				return err
			}
			after = o.Campaign
		}
		if len(page) < recomputedPage {
			return nil
		}
	}
}
