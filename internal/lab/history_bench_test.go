package lab

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/simulate"
)

// fillHistory puts n small campaigns on cell-1 into the workspace, each with a
// result that has a study of 15 rows and 94 columns, begun a day after the other
// from the given day on. Every other one has another vehicle.
func fillHistory(tb testing.TB, w *Workspace, n int, from time.Time) {
	tb.Helper()
	body := fmt.Appendf(nil, "{\"as long as a gain result\": %q}", strings.Repeat("x", 44_000))
	for i := range n {
		id := fmt.Sprintf("past-%05d", i)
		r := store.Record{Logs: map[string][]byte{"log.csv": []byte(id)}}
		r.Campaign.ID, r.Campaign.Title = id, "invented"
		r.Campaign.Dyno.ID, r.Campaign.Vehicle.ID = "cell-1", []string{"twin650-03", "four600-01"}[i%2]
		r.Campaign.Configurations = []campaign.Configuration{{ID: "A", Role: campaign.Baseline}, {ID: "B", Role: campaign.Candidate}}
		r.Campaign.Pulls = []campaign.Pull{{Name: "1", Started: from.AddDate(0, 0, i), Configuration: "A", Setup: "s1", Log: "log.csv"}}
		if _, err := w.store.Put(context.Background(), r, anna); err != nil {
			tb.Fatal(err)
		}
		entry, err := w.store.Entry(context.Background(), id, 0)
		if err != nil {
			tb.Fatal(err)
		}
		study, err := encodeStudy(studyOf(float64(i)))
		if err != nil {
			tb.Fatal(err)
		}
		_, err = w.store.SaveResult(context.Background(), store.Result{
			Campaign: id, Version: 1, Data: entry.Digest, Program: "1", Verdict: "gain shown",
			Settings: []byte(`{"format":"fairpull.settings/1"}`), Body: body, Scatter: study,
		}, anna)
		if err != nil {
			tb.Fatal(err)
		}
	}
}

// BenchmarkHistory is the history of a new campaign in a workspace of 1,000
// campaigns on the same dyno, read and pooled on its grid (10,000 with the tag
// slow); then the longest list and a whole verdict of nine pulls with that history.
func BenchmarkHistory(b *testing.B) {
	w, err := InitWorkspace(context.Background(), filepath.Join(b.TempDir(), "lab"))
	if err != nil {
		b.Fatal(err)
	}
	defer w.Close()
	s := simulate.Demo()
	s.Plan.Order, s.Faults, s.History = "ABA", nil, nil
	s.Logger.Sampled.Rate, s.Drive.Coast = 4000/11.25, 3.6
	begun := time.Now()
	fillHistory(b, w, historyCampaigns, s.Plan.Start.AddDate(0, 0, -historyCampaigns-1))
	b.Logf("filled with %d campaigns in %v", historyCampaigns, time.Since(begun).Round(time.Second))
	putScenario(b, w, s)
	grid := studyOf(0).SpeedRPM
	ask := func(name string, q PastQuery) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				past, err := w.history(context.Background(), q)
				if err != nil {
					b.Fatal(err)
				}
				if p, err := past.pool(grid); err != nil || len(past.Campaigns) != pastCampaigns || p.Archive == nil {
					b.Fatalf("%d campaigns, %v", len(past.Campaigns), err)
				}
			}
		})
	}
	ask("SameVehicle", PastQuery{Dyno: "cell-1", Vehicle: "twin650-03", Before: s.Plan.Start})
	ask("OtherVehicle", PastQuery{Dyno: "cell-1", Vehicle: "new-01", Before: s.Plan.Start})
	b.Run("JudgeNinePulls", func(b *testing.B) {
		for b.Loop() {
			if _, err := w.Judge(context.Background(), s.ID, JudgeOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("Scatter", func(b *testing.B) {
		for b.Loop() {
			if _, err := w.Scatter(context.Background(), ScatterQuery{Dyno: "cell-1"}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
