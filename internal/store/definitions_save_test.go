package store

import (
	"errors"
	"slices"
	"testing"
)

// A statement about a vehicle or a dyno that no campaign brought: versions go on,
// another one needs a reason, and a campaign keeps what it came with.
func TestSavedStatements(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		r := example("twin", 3)
		put(t, s, r)
		nobody := Author{Who: "Anna Test"}
		v, d := r.Campaign.Vehicle, r.Campaign.Dyno
		if c, err := s.SaveVehicle(ctx, v, nobody); err != nil || c.Changed() {
			t.Errorf("what the campaign says already: %+v, %v; want no change", c, err)
		}
		v.MassWithRider, d.DrumInertiaU = 292, 0.2
		if _, err := s.SaveVehicle(ctx, v, nobody); !errors.Is(err, ErrRefused) {
			t.Errorf("another statement without a reason: %v, want ErrRefused", err)
		}
		if c, err := s.SaveVehicle(ctx, v, anna); err != nil || c.Version != 2 || c.Kind != "vehicle" || len(c.Differences) != 1 {
			t.Errorf("another statement: %+v, %v", c, err)
		}
		if c, err := s.SaveDyno(ctx, d, anna); err != nil || c.Version != 2 || c.Kind != "dyno" || len(c.Differences) != 1 {
			t.Errorf("of the dyno: %+v, %v", c, err)
		}
		if _, err := s.SaveVehicle(ctx, r.Campaign.Vehicle, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("going back: %v, want ErrRefused", err)
		}
		if got, err := s.Vehicle(ctx, v.ID, 0); err != nil || got.Value != v {
			t.Errorf("the vehicle is %+v, %v", got, err)
		}
		if got, err := s.Get(ctx, "twin"); err != nil || got.Campaign.Vehicle != r.Campaign.Vehicle || got.Campaign.Dyno != r.Campaign.Dyno {
			t.Errorf("the campaign has %+v, %v", got.Campaign.Vehicle, err)
		}
		v.ID = "single-01"
		if c, err := s.SaveVehicle(ctx, v, nobody); err != nil || c.Version != 1 {
			t.Errorf("a new vehicle: %+v, %v", c, err)
		}
		if ids, err := s.Vehicles(ctx); err != nil || !slices.Equal(ids, []string{"single-01", "twin-03"}) {
			t.Errorf("vehicles %v, %v", ids, err)
		}
		for _, id := range []string{"", "no slug", "../x"} {
			v.ID = id
			if _, err := s.SaveVehicle(ctx, v, anna); !errors.Is(err, ErrRefused) {
				t.Errorf("the id %q: %v, want ErrRefused", id, err)
			}
		}
		clean(t, s)
	})
}
