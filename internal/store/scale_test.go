//go:build slow

package store

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"
	"time"
)

// Sizes of the invented lab: 100,000 pulls.
const (
	labCampaigns = 10_000
	labPulls     = 10 // of each campaign
)

// BenchmarkLab fills a workspace with a lab of many years and asks it what a
// person asks. The logs are small: what is measured is the workspace, not the
// disk. Its own figures are logged with -v.
func BenchmarkLab(b *testing.B) {
	b.Run("SQLite", func(b *testing.B) { benchmarkLab(b, filepath.Join(b.TempDir(), "lab")) })
	b.Run("PostgreSQL", func(b *testing.B) { benchmarkLab(b, freshDatabase(b)) })
}

func benchmarkLab(b *testing.B, where string) {
	s := initialise(b, where)
	begun := time.Now()
	for i := range labCampaigns {
		fillCampaign(b, s, i)
	}
	filled := time.Since(begun)
	b.Logf("%d pulls in %d campaigns, with results, in %v: %.0f pulls/s", labCampaigns*labPulls, labCampaigns, filled.Round(time.Second),
		labCampaigns*labPulls/filled.Seconds())
	ask := func(name string, question func(i int) error) {
		b.Run(name, func(b *testing.B) {
			i := 0
			for b.Loop() {
				i += 7919 // another campaign each time
				if err := question(i % labCampaigns); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	ctx := b.Context()
	list := func(q Query) error {
		page, err := s.List(ctx, q)
		if err == nil && len(page.Campaigns) == 0 {
			err = fmt.Errorf("%+v finds nothing", q)
		}
		return err
	}
	ask("OpenWithoutLogs", func(i int) error { _, err := s.Entry(ctx, labID(i), 0); return err })
	analyse(b, s)
	ask("OpenWithLogs", func(i int) error { _, err := s.Get(ctx, labID(i)); return err })
	ask("List", func(int) error { return list(Query{}) })
	ask("ListDyno", func(i int) error { return list(Query{Dyno: fmt.Sprintf("cell-%d", i%4)}) })
	ask("ListDates", func(i int) error {
		day := labStart.AddDate(0, 0, i%3000)
		return list(Query{From: day, To: day.AddDate(0, 1, 0)})
	})
	ask("SearchRareWord", func(i int) error { return list(Query{Text: labID(i)}) })
	ask("SearchCommonWords", func(int) error { return list(Query{Text: "intake kit"}) })
	ask("SearchCommonAndDyno", func(i int) error { return list(Query{Text: "twin", Dyno: fmt.Sprintf("cell-%d", i%4)}) })
	ask("History", func(i int) error {
		past, err := s.History(ctx, HistoryQuery{Dyno: fmt.Sprintf("cell-%d", i%4), Limit: 200})
		if err == nil && len(past) != 200 {
			err = fmt.Errorf("%d campaigns", len(past))
		}
		return err
	})
	next := labPulls
	ask("AddPull", func(int) error {
		pull, log := examplePull(labID(0), next)
		next++
		_, err := s.AddPull(ctx, labID(0), pull, log, anna)
		return err
	})
	begun = time.Now()
	report, err := s.Check(ctx)
	if err != nil || !report.Clean() {
		b.Fatalf("%v, %v", report.Problems, err)
	}
	b.Logf("the doctor looked at %d campaigns, %d files and %d changes in %v", report.Campaigns, report.Blobs, report.Changes, time.Since(begun).Round(time.Second))
}

// analyse has PostgreSQL gather its statistics, as its own daemon does within a
// minute of such a load.
func analyse(b *testing.B, s *Store) {
	if s.place.dir == "" {
		if _, err := s.db.ExecContext(b.Context(), "ANALYZE"); err != nil {
			b.Fatal(err)
		}
	}
}

var labStart = time.Date(2016, 1, 4, 9, 0, 0, 0, time.UTC)

func labID(i int) string { return fmt.Sprintf("campaign-%05d", i) }

func fillCampaign(b *testing.B, s *Store, i int) {
	r := example(labID(i), labPulls)
	r.Campaign.Dyno.ID = fmt.Sprintf("cell-%d", i%4)
	r.Campaign.Vehicle.ID = fmt.Sprintf("twin-%03d", i%300)
	for n := range r.Campaign.Pulls {
		r.Campaign.Pulls[n].Started = labStart.Add(time.Duration(i)*9*time.Hour + time.Duration(n)*4*time.Minute)
	}
	c := put(b, s, r)
	entry, err := s.Entry(b.Context(), labID(i), c.Version)
	if err != nil {
		b.Fatal(err)
	}
	_, err = s.SaveResult(b.Context(), Result{
		Campaign: labID(i), Version: 1, Data: entry.Digest, Program: "0.1.0", Settings: []byte(`{}`),
		Body: fmt.Appendf(nil, `{"curve":%q}`, bytes.Repeat([]byte("x"), 20_000)), Scatter: fmt.Appendf(nil, `%q`, bytes.Repeat([]byte("r"), 8_000)),
	}, anna)
	if err != nil {
		b.Fatal(err)
	}
}
