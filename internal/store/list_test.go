package store

import (
	"fmt"
	"slices"
	"testing"
	"time"
)

// fill puts campaigns one a day from 2026-01-01, with one pull each: every third
// on cell-2, every fourth of another vehicle, the last without a pull.
func fill(t testing.TB, s *Store, n int) {
	t.Helper()
	for i := range n {
		r := example(fmt.Sprintf("c%03d", i), 1)
		r.Campaign.Title = fmt.Sprintf("Exhaust number%d", i)
		r.Campaign.Pulls[0].Started = time.Date(2026, 1, 1+i, 10, 0, 0, 0, time.UTC)
		if i%3 == 0 {
			r.Campaign.Dyno.ID = "cell-2"
		}
		if i%4 == 0 {
			r.Campaign.Vehicle.ID = "triple-01"
			r.Campaign.Configurations[1].Components[0].Serial = "Σειρά-0999"
		}
		if i == n-1 {
			r.Campaign.Pulls, r.Logs = nil, map[string][]byte{}
		}
		put(t, s, r)
	}
}

func ids(p Page) (list []string) {
	for _, c := range p.Campaigns {
		list = append(list, c.ID)
	}
	return list
}

func TestList(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		fill(t, s, 13)
		if _, err := s.SetState(t.Context(), "c005", StateWithdrawn, anna); err != nil {
			t.Fatal(err)
		}
		day := func(n int) time.Time { return time.Date(2026, 1, n, 0, 0, 0, 0, time.UTC) }
		for name, row := range map[string]struct {
			q    Query
			want []string
		}{
			"dyno":                {Query{Dyno: "cell-2"}, []string{"c009", "c006", "c003", "c000", "c012"}},
			"vehicle":             {Query{Vehicle: "triple-01"}, []string{"c008", "c004", "c000", "c012"}},
			"dyno and vehicle":    {Query{Vehicle: "triple-01", Dyno: "cell-2"}, []string{"c000", "c012"}},
			"state":               {Query{State: StateWithdrawn}, []string{"c005"}},
			"dates":               {Query{From: day(3), To: day(5)}, []string{"c003", "c002"}},
			"whole word":          {Query{Text: "number7"}, []string{"c007"}},
			"beginning of a word": {Query{Text: "NUMB exh", Limit: 2}, []string{"c011", "c010"}},
			"id":                  {Query{Text: "c004"}, []string{"c004"}},
			"Greek serial":        {Query{Text: "ΣΕΙΡ 0999"}, []string{"c008", "c004", "c000", "c012"}},
			"middle of a word":    {Query{Text: "umber7"}, nil},
			"one word missing":    {Query{Text: "number7 turbo"}, nil},
			"wildcards mean none": {Query{Text: "%_*"}, []string{"c011", "c010", "c009", "c008", "c007", "c006", "c005", "c004", "c003", "c002", "c001", "c000", "c012"}},
			"quote":               {Query{Text: "x' OR '1'='1"}, nil},
		} {
			for _, row.q.commonFrom = range []int{0, 1} { // words looked for, and asked of each campaign
				page, err := s.List(t.Context(), row.q)
				if err != nil || !slices.Equal(ids(page), row.want) {
					t.Errorf("%s: got %v, %v; want %v", name, ids(page), err, row.want)
				}
			}
		}
		page, err := s.List(t.Context(), Query{Text: "c003"})
		if err != nil || len(page.Campaigns) != 1 {
			t.Fatalf("got %v, %v", page, err)
		}
		c := page.Campaigns[0]
		entry, err := s.Entry(t.Context(), "c003", 0)
		if err != nil || c.Digest != entry.Digest || c.Version != 1 || c.Pulls != 1 || c.Title != "Exhaust number3" || c.Result != "" ||
			!c.Started.Equal(time.Date(2026, 1, 4, 10, 0, 0, 0, time.UTC)) || c.Started != c.Ended {
			t.Errorf("the list shows %+v; the campaign is %+v, %v", c, entry, err)
		}
	})
}

// Pages are the list in parts, whatever their length.
func TestListPages(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		fill(t, s, 13)
		whole, err := s.List(t.Context(), Query{})
		if err != nil || len(whole.Campaigns) != 13 || whole.Next != "" {
			t.Fatalf("the whole list is %v, %v", ids(whole), err)
		}
		for limit := 1; limit <= 14; limit++ {
			var got []string
			for after := ""; ; {
				page, err := s.List(t.Context(), Query{Limit: limit, After: after})
				if err != nil || len(page.Campaigns) > limit {
					t.Fatalf("a page of %d is %v, %v", limit, ids(page), err)
				}
				got = append(got, ids(page)...)
				if after = page.Next; after == "" {
					break
				}
			}
			if !slices.Equal(got, ids(whole)) {
				t.Errorf("in pages of %d: %v, want %v", limit, got, ids(whole))
			}
		}
		for _, q := range []Query{{Limit: -1}, {Limit: 1001}, {After: "nonsense"}, {After: "1"}, {Text: "a b c d e f g h i j k l m n o p q"}} {
			if page, err := s.List(t.Context(), q); err == nil {
				t.Errorf("%+v gives %v, want a refusal", q, page)
			}
		}
	})
}
