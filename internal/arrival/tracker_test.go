package arrival

import (
	"slices"
	"testing"
	"time"
)

// base is a moment with the monotonic clock, as the watcher has it.
var base = time.Now()

func at(seconds float64) time.Time { return base.Add(time.Duration(seconds * float64(time.Second))) }

// file is what a folder says of a file; modified is a wall time, in seconds.
func file(name string, size int64, modified float64) listed {
	return listed{name, size, time.Unix(1_800_000_000, 0).Add(time.Duration(modified * float64(time.Second)))}
}

func names(ready []*sight) []string {
	var out []string
	for _, s := range ready {
		out = append(out, s.name)
	}
	return out
}

// done notes that a file was handed on, as the watcher does.
func done(ready []*sight) {
	for _, s := range ready {
		s.done, s.handed = true, true
	}
}

func TestAFileIsWholeWhenItStandsStill(t *testing.T) {
	tr := newTracker(Options{Existing: true}.withDefaults())
	for _, step := range []struct {
		now  float64
		size int64
		want int
	}{
		{0, 100, 0}, {0.9, 100, 0}, // not yet
		{1.0, 150, 0}, // it grows: the quiet time begins anew
		{1.9, 150, 0},
		{2.0, 150, 1},
	} {
		ready, underway, _ := tr.look(at(step.now), []listed{file("a.csv", step.size, float64(step.size))})
		if len(ready) != step.want || underway != 1 {
			t.Errorf("after %v s: %d whole, %d under way; want %d and 1", step.now, len(ready), underway, step.want)
		}
	}
}

// A write that stalls for long and goes on is waited for again, from its last
// change on; so is one whose size stays and whose time does not.
func TestAWriteThatGoesOn(t *testing.T) {
	tr := newTracker(Options{Existing: true}.withDefaults())
	tr.look(at(0), []listed{file("a.csv", 100, 0)})
	if ready, _, _ := tr.look(at(60), []listed{file("a.csv", 100, 0)}); len(ready) != 1 {
		t.Fatal("the file is not ready after a minute")
	}
	for _, change := range []listed{file("a.csv", 200, 61), file("a.csv", 200, 62)} {
		if ready, _, _ := tr.look(at(61), []listed{change}); len(ready) != 0 {
			t.Errorf("%v: ready at the moment of a change", change)
		}
	}
	if ready, _, _ := tr.look(at(62), []listed{file("a.csv", 200, 62)}); len(ready) != 1 {
		t.Error("not ready a second after the last change")
	}
}

func TestOrderOfSeveral(t *testing.T) {
	tr := newTracker(Options{Existing: true}.withDefaults())
	list := []listed{file("b.csv", 1, 5), file("a.csv", 1, 5), file("z.csv", 1, 3), file("c.csv", 1, 9)}
	tr.look(at(0), list)
	ready, _, _ := tr.look(at(2), list)
	if want := []string{"z.csv", "a.csv", "b.csv", "c.csv"}; !slices.Equal(names(ready), want) {
		t.Errorf("order %v, want %v", names(ready), want)
	}
}

func TestFilesThatWereThere(t *testing.T) {
	tr := newTracker(Options{}.withDefaults())
	old := []listed{file("b.csv", 1, 0), file("a.csv", 1, 0)}
	_, _, left := tr.look(at(0), old)
	if want := []string{"a.csv", "b.csv"}; !slices.Equal(left, want) {
		t.Errorf("left %v, want %v", left, want)
	}
	// One of them was still being written; a new one comes.
	now := []listed{file("b.csv", 2, 1), file("a.csv", 1, 0), file("c.csv", 1, 1)}
	_, _, left = tr.look(at(1), now)
	ready, _, _ := tr.look(at(3), now)
	if want := []string{"b.csv", "c.csv"}; !slices.Equal(names(ready), want) || left != nil {
		t.Errorf("ready %v, left %v; want %v and none", names(ready), left, want)
	}
	done(ready)
	if ready, underway, _ := tr.look(at(9), now); len(ready) != 0 || underway != 0 {
		t.Errorf("handed on twice: %v", names(ready))
	}
	tr.look(at(9), []listed{file("b.csv", 3, 9)})
	ready, _, _ = tr.look(at(11), []listed{file("b.csv", 3, 9)})
	if len(ready) != 1 || !ready[0].handed {
		t.Errorf("a file that was rewritten: %v", names(ready))
	}
}

// The wall clock may jump to anywhere: only what has passed counts.
func TestClocksThatJump(t *testing.T) {
	tr := newTracker(Options{Existing: true}.withDefaults())
	for _, modified := range []float64{-1e9, 1e9} {
		name := "a.csv"
		if modified > 0 {
			name = "b.csv"
		}
		tr.look(at(0), []listed{file(name, 1, modified)})
		if ready, _, _ := tr.look(at(0.5), []listed{file(name, 1, modified)}); len(ready) != 0 {
			t.Errorf("modified at %g s: whole after half a second", modified)
		}
		if ready, _, _ := tr.look(at(1), []listed{file(name, 1, modified)}); len(ready) != 1 {
			t.Errorf("modified at %g s: not whole after a second", modified)
		}
	}
}

func TestWaitingGrowsBetweenTries(t *testing.T) {
	tr := newTracker(Options{Existing: true}.withDefaults())
	list := []listed{file("a.csv", 1, 0)}
	tr.look(at(0), list)
	ready, _, _ := tr.look(at(1), list)
	now, last := 1.0, 0.0
	for range 8 {
		tr.again(ready[0], at(now))
		wait := ready[0].retry.Sub(at(now)).Seconds()
		if wait < last || wait > maxRetry.Seconds() || wait < 2 {
			t.Errorf("waits %v s after %v s", wait, last)
		}
		if again, _, _ := tr.look(at(now+wait-0.01), list); len(again) != 0 {
			t.Error("tried again too early")
		}
		now += wait
		if again, _, _ := tr.look(at(now), list); len(again) != 1 {
			t.Error("not tried again")
		}
		last = wait
	}
	if last != maxRetry.Seconds() {
		t.Errorf("the wait grew to %v s, want %v", last, maxRetry)
	}
}

func TestNamesOfUnfinishedFiles(t *testing.T) {
	for _, name := range []string{".hidden", "run.csv.tmp", "run.CSV.PART", "~run.csv", "run.csv~", "a.filepart", "x.crdownload"} {
		if !unfinishedName(name) {
			t.Errorf("%s is taken", name)
		}
	}
	for _, name := range []string{"run.csv", "part-7.csv", "tmp.csv", "a.b.txt", "lock"} {
		if unfinishedName(name) {
			t.Errorf("%s is not taken", name)
		}
	}
}
