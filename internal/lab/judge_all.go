package lab

import (
	"context"
	"slices"
	"sync"

	"fairpull/compare"
	"fairpull/internal/store"
	"fairpull/report"
)

// JudgeAll judges every campaign that has pulls and is not withdrawn, those on one
// dyno in the order in which they began, so that each sees what the ones before it
// say; dynos side by side. tell is called for each as it is done, never twice at
// once. One that cannot be judged does not keep the others from it: its line has
// the problem. o.Progress counts campaigns.
func (w *Workspace) JudgeAll(ctx context.Context, o JudgeOptions, tell func(report.JudgedRow)) error {
	byDyno, dynos, total, err := w.byDyno(ctx)
	if err != nil {
		return err
	}
	count := newCounter(total, o.Progress)
	o.Progress = nil
	var telling sync.Mutex
	return each(ctx, len(dynos), func(i int) error {
		for _, c := range byDyno[dynos[i]] {
			line := w.judgeLine(ctx, c, o)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			telling.Lock()
			tell(line)
			telling.Unlock()
			count.step()
		}
		return nil
	})
}

// byDyno lists the campaigns to judge by dyno, in the order in which they began.
func (w *Workspace) byDyno(ctx context.Context) (byDyno map[string][]CampaignSummary, dynos []string, total int, err error) {
	byDyno = map[string][]CampaignSummary{}
	for q := (CampaignQuery{Limit: 1000}); ; {
		page, err := w.Campaigns(ctx, q)
		if err != nil {
			return nil, nil, 0, err
		}
		for _, c := range page.Campaigns {
			if c.Pulls == 0 || c.State == store.StateWithdrawn {
				continue
			}
			if len(byDyno[c.Dyno]) == 0 {
				dynos = append(dynos, c.Dyno)
			}
			byDyno[c.Dyno] = append(byDyno[c.Dyno], c)
			total++
		}
		if q.After = page.Next; q.After == "" {
			break
		}
	}
	for _, list := range byDyno {
		slices.Reverse(list) // they are listed latest first
	}
	return byDyno, dynos, total, nil
}

func (w *Workspace) judgeLine(ctx context.Context, c CampaignSummary, o JudgeOptions) report.JudgedRow {
	line := report.JudgedRow{Campaign: c.ID}
	j, err := w.Judge(ctx, c.ID, o)
	if err != nil {
		line.Problem = firstLine(err)
		return line
	}
	line.Result, line.Changed = j.Result.ID, j.Changed
	for i := range j.Comparisons {
		c := &j.Comparisons[i]
		f := c.Figure(c.Primary)
		line.Answers = append(line.Answers, report.JudgedAnswer{Candidate: c.Candidate, Verdict: string(c.Verdict), Gain: f.Gain, Lo: f.Lo, Hi: f.Hi})
	}
	return line
}

// Verdicts are the four answers that a judgement can have.
var Verdicts = []string{
	string(compare.GainShown), string(compare.LossShown), string(compare.NoDifference), string(compare.NotEnoughEvidence),
}
