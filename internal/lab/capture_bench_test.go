package lab

import (
	"context"
	"fmt"
	"testing"

	"fairpull/campaign"
)

// BenchmarkRunning is what stands between a pull that is kept and its line: opening
// the campaign, reducing all of its pulls, checks, gain so far.
func BenchmarkRunning(b *testing.B) {
	c, logs := demoPulls(b)
	for _, n := range []int{9, 30, 90} {
		b.Run(fmt.Sprintf("%d pulls", n), func(b *testing.B) {
			w := newWorkspace(b)
			putPlanned(b, w, func(k *campaign.Campaign) { k.ID, k.Plan = c.ID, nil })
			for i := range n {
				p := c.Pulls[i%len(logs)]
				p.Name, p.Log = fmt.Sprint(i+1), fmt.Sprintf("logs/%d.csv", i+1)
				p.Setup = fmt.Sprintf("day %d, %s", i/len(logs), p.Setup)
				p.Started = c.Pulls[0].Started.AddDate(0, 0, i/len(logs)).Add(p.Started.Sub(c.Pulls[0].Started))
				if _, err := w.store.AddPull(context.Background(), c.ID, p, varied(logs[i%len(logs)], i/len(logs)), anna); err != nil {
					b.Fatal(err)
				}
			}
			for b.Loop() {
				r, err := w.running(context.Background(), c.ID, map[string]failedPull{})
				if err != nil || r.problem != nil || len(r.analysis.Comparisons) != 1 {
					b.Fatalf("%v, %v", err, r.problem)
				}
			}
		})
	}
}
