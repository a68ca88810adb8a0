package store

import (
	"fmt"
	"testing"
)

// The version in which each configuration had its first pull stays, whatever becomes of
// that pull later.
func TestFirstPulls(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx := t.Context()
		ask := func(want string) {
			t.Helper()
			if got, err := s.FirstPulls(ctx, "twin"); err != nil || fmt.Sprint(got) != want {
				t.Errorf("got %v, %v; want %s", got, err, want)
			}
		}
		ask("map[]")
		put(t, s, example("twin", 2)) // of A
		ask("map[A:1]")
		for i := 2; i < 4; i++ {
			pull, log := examplePull("twin", i)
			if _, err := s.AddPull(ctx, "twin", pull, log, anna); err != nil {
				t.Fatal(err)
			}
		}
		ask("map[A:1 B:3]")
		if _, err := s.SetExcluded(ctx, "twin", "4", "spun", 0, anna); err != nil {
			t.Fatal(err)
		}
		ask("map[A:1 B:3]")
	})
}
