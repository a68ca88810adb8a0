package store

import (
	"errors"
	"reflect"
	"slices"
	"testing"
	"time"

	"fairpull/campaign"
)

func exampleStandard() Standard {
	return Standard{
		Dyno: "cell-1", Vehicle: "twin-03", From: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), BandRPM: [2]float64{2500, 6000},
		Correction: "SAE J1349", TestGear: 4, Components: []campaign.Component{{Function: "camshaft", Part: "OEM 650-14"}}, Like: "twin",
	}
}

// A check standard is named once, superseded with a reason, retired with one, and the
// trail keeps all of it.
func TestCheckStandard(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx, first := t.Context(), exampleStandard()
		if _, err := s.StandardOf(ctx, "cell-1"); !errors.Is(err, ErrNotFound) {
			t.Fatalf("before any is named: %v, want ErrNotFound", err)
		}
		if c, err := s.SetStandard(ctx, first, Author{Who: "Anna Test"}); err != nil || c.Action != StandardSet {
			t.Fatalf("%+v, %v", c, err)
		}
		if c, err := s.SetStandard(ctx, first, anna); err != nil || c.Changed() {
			t.Errorf("the same again: %+v, %v; want no change", c, err)
		}
		got, err := s.StandardOf(ctx, "cell-1")
		if err != nil || !reflect.DeepEqual(got.Standard, first) || got.Who != "Anna Test" || got.At.IsZero() {
			t.Errorf("got %+v, %v", got, err)
		}
		second := first
		second.Vehicle = "single-01"
		if _, err := s.SetStandard(ctx, second, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("another without a reason: %v, want ErrRefused", err)
		}
		c, err := s.SetStandard(ctx, second, anna)
		if err != nil || c.Action != Superseded || !slices.Contains(c.Differences, Difference{"check standard.Vehicle", `"twin-03"`, `"single-01"`}) {
			t.Errorf("%+v, %v", c, err)
		}
		if got, err := s.StandardOf(ctx, "cell-1"); err != nil || got.Vehicle != "single-01" || got.Why != anna.Why {
			t.Errorf("got %+v, %v", got, err)
		}
		if _, err := s.RetireStandard(ctx, "cell-1", Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("retired without a reason: %v, want ErrRefused", err)
		}
		if c, err := s.RetireStandard(ctx, "cell-1", anna); err != nil || c.Action != StandardRetired {
			t.Errorf("%+v, %v", c, err)
		}
		if _, err := s.StandardOf(ctx, "cell-1"); !errors.Is(err, ErrNotFound) {
			t.Errorf("after it was retired: %v, want ErrNotFound", err)
		}
		if _, err := s.RetireStandard(ctx, "cell-1", anna); !errors.Is(err, ErrNotFound) {
			t.Errorf("retired twice: %v, want ErrNotFound", err)
		}
		trail, err := s.Changes(ctx, "dyno", "cell-1", 0, 10)
		if err != nil || len(trail) != 3 {
			t.Errorf("the trail has %d changes, %v; want 3", len(trail), err)
		}
		if _, err := s.db.ExecContext(ctx, `DELETE FROM standards`); err == nil {
			t.Error("check standards could be deleted")
		}
		if _, err := s.db.ExecContext(ctx, `UPDATE standards SET body = '{}'`); err == nil {
			t.Error("check standards could be changed")
		}
		clean(t, s)
	})
}

func TestCheckStandardRefuses(t *testing.T) {
	s := initialise(t, t.TempDir())
	for what, spoil := range map[string]func(*Standard){
		"no dyno":       func(c *Standard) { c.Dyno = "" },
		"no vehicle":    func(c *Standard) { c.Vehicle = "" },
		"no range":      func(c *Standard) { c.BandRPM = [2]float64{6000, 2500} },
		"no correction": func(c *Standard) { c.Correction = "" },
		"no text":       func(c *Standard) { c.Components[0].Part = "\xff" },
	} {
		c := exampleStandard()
		spoil(&c)
		if _, err := s.SetStandard(t.Context(), c, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("%s: %v, want ErrRefused", what, err)
		}
	}
}

// A reading is kept under its key, replaced by the next, and found by vehicle and dyno.
func TestReadings(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		put(t, s, example("twin", 2))
		for _, key := range []string{"a", "b"} {
			if err := s.KeepReading(ctx, Reading{"twin", "standard", key, []byte(`{"n":"` + key + `"}`)}); err != nil {
				t.Fatal(err)
			}
		}
		got, err := s.Readings(ctx, "standard", "cell-1", "twin-03")
		if err != nil || len(got) != 1 || got["twin"].Key != "b" || string(got["twin"].Body) != `{"n":"b"}` {
			t.Errorf("got %v, %v", got, err)
		}
		for _, other := range [][3]string{{"other", "cell-1", "twin-03"}, {"standard", "cell-2", "twin-03"}, {"standard", "cell-1", "x"}} {
			if got, err := s.Readings(ctx, other[0], other[1], other[2]); err != nil || len(got) != 0 {
				t.Errorf("%v: got %v, %v", other, got, err)
			}
		}
		if err := s.KeepReading(ctx, Reading{"twin", "standard", "c", make([]byte, maxReading+1)}); !errors.Is(err, ErrRefused) {
			t.Errorf("a reading of 1 MiB: %v, want ErrRefused", err)
		}
		if err := s.KeepReading(ctx, Reading{"nobody", "standard", "c", []byte(`{}`)}); err == nil {
			t.Error("a reading of no campaign was kept")
		}
		clean(t, s)
	})
}
