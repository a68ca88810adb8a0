package store

import (
	"errors"
	"reflect"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// same fails the test where a campaign does not come back as it went in.
func same(t testing.TB, s *Store, want Record) {
	t.Helper()
	got, err := s.Get(t.Context(), want.Campaign.ID)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("campaign %s came back changed (-want +got):\n%s", want.Campaign.ID, cmp.Diff(want, got))
	}
}

// clean fails the test where the doctor finds anything at all.
func clean(t testing.TB, s *Store) {
	t.Helper()
	report, err := s.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range report.Problems {
		t.Errorf("the doctor found: %v", p)
	}
}

func put(t testing.TB, s *Store, r Record) Change {
	t.Helper()
	c, err := s.Put(t.Context(), r, anna)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestPutGivesBackWhatItTook(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		r := example("twin-intake", 7)
		c := put(t, s, r)
		if c.Seq != 1 || c.Action != Imported || c.Version != 1 || c.From != "" || c.To == "" || c.Who != anna.Who || c.Why != anna.Why {
			t.Errorf("the import is noted as %+v", c)
		}
		same(t, s, r)
		clean(t, s)
		again, err := Open(t.Context(), where)
		if err != nil {
			t.Fatal(err)
		}
		same(t, again, r)
		if err := again.Close(); err != nil {
			t.Error(err)
		}
	})
}

func TestPutAgainChangesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		r := example("twin-intake", 4)
		put(t, s, r)
		before, err := s.Check(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for name, again := range map[string]func(Record) (Change, error){
			"put":       func(r Record) (Change, error) { return s.Put(t.Context(), r, anna) },
			"supersede": func(r Record) (Change, error) { return s.Supersede(t.Context(), r, anna) },
			"without originals": func(r Record) (Change, error) {
				r.CampaignFile, r.PullsFile = nil, nil
				return s.Put(t.Context(), r, anna)
			},
		} {
			if c, err := again(r); err != nil || c.Changed() {
				t.Errorf("%s: the same record again gives %+v, %v; want no change", name, c, err)
			}
		}
		after, err := s.Check(t.Context())
		if err != nil || !reflect.DeepEqual(before, after) {
			t.Errorf("the workspace was %+v and is %+v, %v", before, after, err)
		}
		same(t, s, r)
	})
}

func TestPutOfAChangedRecord(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		old := example("twin-intake", 4)
		put(t, s, old)
		changed := example("twin-intake", 5)
		changed.Campaign.Vehicle.MassWithRider = 290
		changed.Campaign.Pulls[1].Excluded = "clutch slipped"
		changed.Logs["logs/003.csv"] = []byte("other bytes")
		changed.Campaign.Pulls = append(changed.Campaign.Pulls[:3], changed.Campaign.Pulls[4]) // 4 leaves, 5 comes
		delete(changed.Logs, "logs/004.csv")
		changed.PullsFile = []byte("pull,started,configuration\n")

		_, err := s.Put(t.Context(), changed, anna)
		var different *DifferentError
		if !errors.As(err, &different) {
			t.Fatalf("got %v, want a DifferentError", err)
		}
		var paths []string
		for _, d := range different.Differences {
			paths = append(paths, d.Path)
		}
		want := []string{"vehicle.MassWithRider", "pull 4", "pull 2.Excluded", "pull 3 log", "pull 5", "pulls.csv"}
		if !reflect.DeepEqual(paths, want) {
			t.Errorf("differences at %q, want %q", paths, want)
		}
		if d := different.Differences[0]; d.From != "285" || d.To != "290" {
			t.Errorf("the mass differs from %s to %s, want 285 to 290", d.From, d.To)
		}
		same(t, s, old)
		clean(t, s) // not even a file was left

		if _, err := s.Supersede(t.Context(), changed, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("superseding without a reason gives %v, want ErrRefused", err)
		}
		c, err := s.Supersede(t.Context(), changed, Author{"Anna Test", "pull 2 slipped"})
		if err != nil || c.Version != 2 || c.Action != Superseded || !reflect.DeepEqual(c.Differences, different.Differences) {
			t.Errorf("superseding gives %+v, %v; want version 2 with the differences that were told", c, err)
		}
		same(t, s, changed)
		first, err := s.GetVersion(t.Context(), "twin-intake", 1)
		if err != nil || !reflect.DeepEqual(first, old) {
			t.Errorf("version 1 is no longer what it was: %v\n%s", err, cmp.Diff(old, first))
		}
		report, err := s.Check(t.Context())
		if err != nil || !report.Clean() {
			t.Errorf("the doctor finds %v, %v", report.Problems, err)
		}
		if all, err := s.Changes(t.Context(), "", "", 1, 10); err != nil || len(all) != 1 || all[0].Seq != 2 {
			t.Errorf("all changes after the first are %+v, %v", all, err)
		}
		trail, err := s.Changes(t.Context(), "campaign", "twin-intake", 0, 10)
		if err != nil || len(trail) != 2 || trail[1].From != trail[0].To || !reflect.DeepEqual(trail[1], c) {
			t.Errorf("the audit trail is %+v, %v", trail, err)
		}
	})
}
