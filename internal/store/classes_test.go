package store

import (
	"errors"
	"maps"
	"slices"
	"testing"
)

// The class of a vehicle is the one stated last: a statement without one takes none
// away, and a history is asked of some vehicles at once.
func TestVehicleClasses(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		for day, id := range []string{"one", "two", "three"} {
			judged(t, s, id, day)
		}
		r := example("four", 4)
		r.Campaign.Vehicle.ID, r.Campaign.Vehicle.Class = "twin-04", "twin 650"
		put(t, s, r)
		keepResult(t, s, "four", "[4]", "gain shown")
		if got, err := s.VehicleClasses(ctx); err != nil || !maps.Equal(got, map[string]string{"twin-04": "twin 650"}) {
			t.Errorf("%v, %v", got, err)
		}
		v := r.Campaign.Vehicle
		v.Class, v.MassWithRider = "twin-650 \"A\"", 291
		if _, err := s.SaveVehicle(ctx, v, anna); err != nil {
			t.Fatal(err)
		}
		v.Class, v.MassWithRider = "", 292 // another rider; nothing is said of the class
		if _, err := s.SaveVehicle(ctx, v, anna); err != nil {
			t.Fatal(err)
		}
		v.ID, v.Description = "", `a vehicle with "Class":"x" in its words`
		nameless := example("five", 5)
		nameless.Campaign.Vehicle = v
		put(t, s, nameless)
		if got, err := s.VehicleClasses(ctx); err != nil || !maps.Equal(got, map[string]string{"twin-04": "twin-650 \"A\""}) {
			t.Errorf("%v, %v", got, err)
		}
		for _, c := range []struct {
			vehicles, want []string
		}{
			{[]string{"twin-04"}, []string{"four"}}, {[]string{"nobody"}, nil},
			{[]string{"twin-03", "nobody"}, []string{"three", "two", "one"}}, {[]string{"twin-04", "twin-03"}, []string{"three", "two", "four", "one"}},
		} {
			got := historyIDs(t, s, HistoryQuery{Dyno: "cell-1", Vehicles: c.vehicles, Limit: 10})
			slices.Sort(got)
			slices.Sort(c.want)
			if !slices.Equal(got, c.want) {
				t.Errorf("of %v: %v, want %v", c.vehicles, got, c.want)
			}
		}
		if _, err := s.History(ctx, HistoryQuery{Dyno: "cell-1", Limit: 10, Vehicles: make([]string, MaxHistoryVehicles+1)}); !errors.Is(err, ErrRefused) {
			t.Errorf("too many vehicles: %v", err)
		}
		clean(t, s)
	})
}
