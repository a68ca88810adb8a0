package store

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// spawn starts this test binary again as a process that adds pulls.
func spawn(t *testing.T, where, id string, first, count int) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(self)
	command.Env = append(os.Environ(), childEnv+"="+where, campaignEnv+"="+id,
		firstEnv+"="+strconv.Itoa(first), countEnv+"="+strconv.Itoa(count))
	return command
}

// killOnce has a process add pulls, kills it at a random moment, and returns the
// names that it acknowledged. Half the moments are counted from the start of the
// process, half from its first acknowledgement.
func killOnce(t *testing.T, random *rand.Rand, where, id string, first int) []string {
	t.Helper()
	command := spawn(t, where, id, first, 10_000)
	var complaints bytes.Buffer
	command.Stderr = &complaints
	out, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	kill := func(within time.Duration) {
		moment := time.Duration(random.Int64N(int64(within)))
		time.AfterFunc(moment, func() { _ = command.Process.Kill() }) // SIGKILL; Wait says how it ended
	}
	fromStart := random.IntN(2) == 0
	if fromStart {
		kill(150 * time.Millisecond)
	}
	lines := bufio.NewScanner(out)
	var acknowledged []string
	for lines.Scan() {
		if name, ok := strings.CutPrefix(lines.Text(), "acknowledged "); ok {
			acknowledged = append(acknowledged, name)
		}
		if len(acknowledged) == 1 && !fromStart {
			kill(60 * time.Millisecond)
		}
	}
	err = command.Wait()
	if command.ProcessState.Exited() {
		t.Fatalf("the process was to be killed and ended by itself: %v\n%s", err, complaints.String())
	}
	return acknowledged
}

// killMany kills a process that adds pulls, again and again, and accounts for
// every pull that was acknowledged.
func killMany(t *testing.T, kills int) {
	where := filepath.Join(t.TempDir(), "lab")
	s := initialise(t, where)
	random := rand.New(rand.NewPCG(650, 3))
	acknowledged := map[string][]string{} // pulls by campaign
	cut := 0
	for kill := range kills {
		id := "campaign-" + strconv.Itoa(kill/10) // several kills a campaign
		if kill%10 == 0 {
			put(t, s, example(id, 0))
		}
		entry, err := s.Entry(t.Context(), id, 0)
		if err != nil {
			t.Fatal(err)
		}
		before := len(entry.Campaign.Pulls)
		acknowledged[id] = append(acknowledged[id], killOnce(t, random, where, id, before)...)
		entry, err = s.Entry(t.Context(), id, 0)
		if err != nil {
			t.Fatalf("after kill %d: %v", kill+1, err)
		}
		if len(entry.Campaign.Pulls) > len(acknowledged[id]) {
			cut++
			// Committed and not heard of: it is there whole, and counted with
			// the rest from here on.
			for _, p := range entry.Campaign.Pulls[len(acknowledged[id]):] {
				acknowledged[id] = append(acknowledged[id], p.Name)
			}
		}
	}
	total := 0
	for id, names := range acknowledged {
		r, err := s.Get(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Campaign.Pulls) != len(names) {
			t.Errorf("campaign %s has %d pulls, %d are accounted for", id, len(r.Campaign.Pulls), len(names))
		}
		for i, p := range r.Campaign.Pulls {
			want, log := examplePull(id, i)
			if p.Name != want.Name || i < len(names) && p.Name != names[i] || !bytes.Equal(r.Logs[p.Log], log) {
				t.Errorf("campaign %s: pull %d is %s with the log %q", id, i+1, p.Name, r.Logs[p.Log])
			}
		}
		total += len(names)
	}
	report, err := s.Check(t.Context())
	if err != nil || !report.Clean() || len(report.Problems) > 2*kills {
		t.Errorf("after %d kills the doctor finds %v, %v", kills, report.Problems, err)
	}
	t.Logf("%d kills, %d pulls accounted for, %d of them committed and not heard of, %d files left over", kills, total, cut, len(report.Problems))
}

// An acknowledged pull survives the end of the process that took it. Kills
// under the tag slow are more.
func TestKilledWhileAddingPulls(t *testing.T) { killMany(t, 50) }

// Several processes add to one campaign and to their own at the same time.
func TestProcessesShareAWorkspace(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		put(t, s, example("shared", 0))
		const processes, each = 3, 8
		var group sync.WaitGroup
		errs := make(chan error, processes)
		for n := range processes {
			command := spawn(t, where, "shared", n*each, each)
			group.Go(func() {
				out, err := command.CombinedOutput()
				if err != nil || bytes.Count(out, []byte("acknowledged")) != each {
					errs <- fmt.Errorf("process %d: %w\n%s", n, err, out)
				}
			})
		}
		group.Wait()
		close(errs)
		for err := range errs {
			t.Error(err)
		}
		r, err := s.Get(t.Context(), "shared")
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Campaign.Pulls) != processes*each {
			t.Errorf("%d pulls are there, %d were acknowledged", len(r.Campaign.Pulls), processes*each)
		}
		for _, p := range r.Campaign.Pulls {
			i, err := strconv.Atoi(p.Name)
			if err != nil {
				t.Fatal(err)
			}
			if _, log := examplePull("shared", i-1); !bytes.Equal(r.Logs[p.Log], log) {
				t.Errorf("pull %s has the log %q", p.Name, r.Logs[p.Log])
			}
		}
		clean(t, s)
	})
}

// A second writer that waits too long is told so, and nothing of it is written.
func TestBusyIsSaid(t *testing.T) {
	where := filepath.Join(t.TempDir(), "lab")
	s := initialise(t, where)
	put(t, s, example("twin", 1))
	if _, err := s.db.Exec("PRAGMA busy_timeout = 50"); err != nil {
		t.Fatal(err)
	}
	s.db.SetMaxOpenConns(1) // the one that waits 50 ms only
	other, err := Open(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	tx, err := other.db.BeginTx(t.Context(), nil) // takes the write lock
	if err != nil {
		t.Fatal(err)
	}
	pull, log := examplePull("twin", 1)
	if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); !errors.Is(err, ErrBusy) {
		t.Errorf("got %v, want ErrBusy", err)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); err != nil {
		t.Errorf("once the other had gone: %v", err)
	}
	clean(t, s)
}
