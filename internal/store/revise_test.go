package store

import (
	"errors"
	"sync"
	"testing"

	"fairpull/campaign"
)

func TestReviseMakesAVersion(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		put(t, s, example("twin", 4))
		why := Author{Who: "Anna Test", Why: "a strap slipped"}
		change, err := s.Revise(t.Context(), "twin", why, func(c *campaign.Campaign) error {
			c.Pulls[2].Excluded = "a strap slipped"
			return nil
		})
		if err != nil || change.Version != 2 || change.Action != Revised || len(change.Differences) != 1 || change.Differences[0].Path != "pull 3.Excluded" {
			t.Fatalf("change %+v, %v", change, err)
		}
		now, err := s.Get(t.Context(), "twin")
		if err != nil || now.Campaign.Pulls[2].Excluded != "a strap slipped" || len(now.Logs) != 4 {
			t.Errorf("pull %+v, %d logs, %v", now.Campaign.Pulls[2], len(now.Logs), err)
		}
		if now.PullsFile != nil || now.CampaignFile == nil {
			t.Errorf("pulls.csv says something else and is %q; campaign.toml is %q", now.PullsFile, now.CampaignFile)
		}
		first, err := s.GetVersion(t.Context(), "twin", 1)
		if err != nil || first.Campaign.Pulls[2].Excluded != "" || first.PullsFile == nil {
			t.Errorf("version 1: %+v, %v", first.Campaign.Pulls[2], err)
		}
		clean(t, s)
	})
}

func TestReviseOfTheHead(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		put(t, s, example("twin", 2))
		_, err := s.Revise(t.Context(), "twin", anna, func(c *campaign.Campaign) error {
			c.Channels["lambda"] = campaign.ChannelSource{Column: "O2"}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		now, err := s.Get(t.Context(), "twin")
		if err != nil || now.Campaign.Channels["lambda"].Column != "O2" || now.CampaignFile != nil || now.PullsFile == nil {
			t.Errorf("channels %v, campaign.toml %q, pulls.csv %q, %v", now.Campaign.Channels, now.CampaignFile, now.PullsFile, err)
		}
		clean(t, s)
	})
}

func TestReviseRefusals(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		put(t, s, example("twin", 3))
		if change, err := s.Revise(t.Context(), "twin", anna, func(*campaign.Campaign) error { return nil }); err != nil || change.Changed() {
			t.Errorf("an edit that changes nothing: %+v, %v", change, err)
		}
		mine := errors.New("no")
		for _, c := range []struct {
			name string
			by   Author
			want error
			edit func(*campaign.Campaign) error
		}{
			{"no reason", Author{Who: "Anna Test"}, ErrRefused, func(*campaign.Campaign) error { return nil }},
			{"the edit's own error", anna, mine, func(*campaign.Campaign) error { return mine }},
			{"a pull dropped", anna, ErrRefused, func(c *campaign.Campaign) error { c.Pulls = c.Pulls[:2]; return nil }},
			{"pulls reordered", anna, ErrRefused, func(c *campaign.Campaign) error { c.Pulls[0], c.Pulls[1] = c.Pulls[1], c.Pulls[0]; return nil }},
			{"another's log", anna, ErrRefused, func(c *campaign.Campaign) error { c.Pulls[0].Log = c.Pulls[1].Log; return nil }},
			{"another id", anna, ErrRefused, func(c *campaign.Campaign) error { c.ID = "other"; return nil }},
			{"no such configuration", anna, ErrRefused, func(c *campaign.Campaign) error { c.Pulls[0].Configuration = "C"; return nil }},
		} {
			if _, err := s.Revise(t.Context(), "twin", c.by, c.edit); !errors.Is(err, c.want) {
				t.Errorf("%s: %v", c.name, err)
			}
		}
		if _, err := s.Revise(t.Context(), "none", anna, func(*campaign.Campaign) error { return nil }); !errors.Is(err, ErrNotFound) {
			t.Errorf("a campaign that is not there: %v", err)
		}
		if _, err := s.SetState(t.Context(), "twin", StateClosed, anna); err != nil {
			t.Fatal(err)
		}
		_, err := s.Revise(t.Context(), "twin", anna, func(c *campaign.Campaign) error { c.Title = "x"; return nil })
		if !errors.Is(err, ErrNotOpen) {
			t.Errorf("a closed campaign: %v", err)
		}
		clean(t, s)
	})
}

// A revision loses no pull that is added at the same time.
func TestReviseWhilePullsAreAdded(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		put(t, s, example("twin", 1))
		const each = 12
		var group sync.WaitGroup
		group.Go(func() {
			for i := 1; i <= each; i++ {
				pull, log := examplePull("twin", i)
				if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); err != nil {
					t.Error(err)
				}
			}
		})
		group.Go(func() {
			for i := range each {
				_, err := s.Revise(t.Context(), "twin", anna, func(c *campaign.Campaign) error {
					c.Title += string(rune('a' + i))
					return nil
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
		group.Wait()
		r, err := s.Get(t.Context(), "twin")
		if err != nil || len(r.Campaign.Pulls) != 1+each || r.Campaign.Title != example("twin", 0).Campaign.Title+"abcdefghijkl" {
			t.Errorf("%d pulls, title %q, %v", len(r.Campaign.Pulls), r.Campaign.Title, err)
		}
		clean(t, s)
	})
}
