package store

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

const roundEnv = "FAIRPULL_STORE_CHILD_ROUND" // the round that a child helps with

// workable makes campaigns with a result each and begins a round over them.
func workable(t *testing.T, s *Store, campaigns int) Round {
	t.Helper()
	for i := range campaigns {
		id := fmt.Sprintf("campaign-%03d", i)
		put(t, s, example(id, 1))
		entry, err := s.Entry(t.Context(), id, 0)
		if err != nil {
			t.Fatal(err)
		}
		r := Result{Campaign: id, Version: 1, Data: entry.Digest, Program: "0.1.0", Settings: []byte(`{}`), Body: []byte(`{}`)}
		if _, err := s.SaveResult(t.Context(), r, anna); err != nil {
			t.Fatal(err)
		}
	}
	put(t, s, example("without-a-result", 1))
	r, err := s.BeginRound(t.Context(), Round{Program: "0.2.0", Author: anna}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// answers reads what came of a round.
func answers(t *testing.T, s *Store, round string) map[string]string {
	t.Helper()
	found := map[string]string{}
	for after := ""; ; {
		list, err := s.Outcomes(t.Context(), round, after, 7)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range list {
			found[o.Campaign] = string(o.Body)
			after = o.Campaign
		}
		if len(list) < 7 {
			return found
		}
	}
}

func answer(id string) []byte { return fmt.Appendf(nil, `{"of":%q}`, id) }

func TestWork(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		r := workable(t, s, 20)
		if r.Tasks != 20 || r.Done != 0 {
			t.Fatalf("the round is %+v, want 20 tasks: one campaign has no result", r)
		}
		// A worker that fails ends the work, and what is done stays done.
		var lock sync.Mutex
		counts := map[string]int{}
		disk := errors.New("no room")
		count := func(limit int) func(context.Context, string) ([]byte, error) {
			return func(_ context.Context, id string) ([]byte, error) {
				lock.Lock()
				defer lock.Unlock()
				if len(counts) == limit {
					return nil, disk
				}
				counts[id]++
				return answer(id), nil
			}
		}
		if err := s.Work(t.Context(), r.ID, Work{Workers: 2, Do: count(8)}); !errors.Is(err, disk) {
			t.Fatalf("got %v, want the worker's error", err)
		}
		halfway, err := s.OpenRound(t.Context())
		if err != nil || halfway.ID != r.ID || halfway.Done != 8 {
			t.Fatalf("the open round is %+v, %v; want 8 done", halfway, err)
		}
		var steps []int
		last := 0
		err = s.Work(t.Context(), r.ID, Work{Workers: 2, Do: count(-1), Progress: func(done, total int) {
			if total != 20 || done < last {
				t.Errorf("progress goes from %d to %d of %d", last, done, total)
			}
			last, steps = done, append(steps, done)
		}})
		if err != nil || last != 20 || len(steps) < 2 {
			t.Fatalf("gone on with: %v, progress %v", err, steps)
		}
		for id, n := range counts {
			if n != 1 {
				t.Errorf("campaign %s was derived %d times", id, n)
			}
		}
		found := answers(t, s, r.ID)
		if len(found) != 20 || found["campaign-007"] != string(answer("campaign-007")) {
			t.Errorf("what came of it is %v", found)
		}
		if err := s.EndRound(t.Context(), r.ID); err != nil {
			t.Fatal(err)
		}
		if _, err := s.OpenRound(t.Context()); !errors.Is(err, ErrNotFound) {
			t.Errorf("after the end: %v, want ErrNotFound", err)
		}
		clean(t, s)
	})
}

func TestWorkIsInterrupted(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		r := workable(t, s, 6)
		ctx, cancel := context.WithCancel(t.Context())
		begun := time.Now()
		err := s.Work(ctx, r.ID, Work{Workers: 2, Do: func(ctx context.Context, _ string) ([]byte, error) {
			cancel()
			<-ctx.Done() // a worker hears of it
			return nil, ctx.Err()
		}})
		if !errors.Is(err, context.Canceled) || time.Since(begun) > 10*time.Second {
			t.Errorf("got %v after %v, want context.Canceled at once", err, time.Since(begun))
		}
		if got, err := s.Round(t.Context(), r.ID); err != nil || got.Done != 0 || !got.Ended.IsZero() {
			t.Errorf("the round is %+v, %v; want nothing done and still open", got, err)
		}
		err = s.Work(t.Context(), r.ID, Work{Workers: 2, Do: func(_ context.Context, id string) ([]byte, error) {
			if id == "campaign-003" {
				panic("a wild log")
			}
			return answer(id), nil
		}})
		if err == nil || !strings.Contains(err.Error(), "campaign-003: a wild log") {
			t.Errorf("a worker that panics gives %v", err)
		}
	})
}

func TestBeginRoundRefuses(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		first := workable(t, s, 3)
		for _, row := range []struct {
			campaigns []string
			want      error
			text      string
		}{
			{[]string{"campaign-001", "nowhere"}, ErrNotFound, `campaign "nowhere"`},
			{[]string{"without-a-result"}, ErrNotFound, "a result of campaign"},
		} {
			_, err := s.BeginRound(t.Context(), Round{Program: "0.2.0", Author: anna}, row.campaigns)
			if !errors.Is(err, row.want) || !strings.Contains(err.Error(), row.text) {
				t.Errorf("%v gives %v, want %q", row.campaigns, err, row.text)
			}
		}
		if _, err := s.BeginRound(t.Context(), Round{Program: "0.2.0"}, nil); !errors.Is(err, ErrRefused) {
			t.Errorf("by nobody: %v, want ErrRefused", err)
		}
		named := []string{"campaign-002", "campaign-001", "campaign-002"}
		r, err := s.BeginRound(t.Context(), Round{Program: "0.2.0", Author: anna}, named)
		if err != nil || r.Tasks != 2 {
			t.Errorf("the round is %+v, %v; want two campaigns, each once", r, err)
		}
		open, err := s.OpenRound(t.Context())
		if err != nil || open.ID != r.ID || !open.SameWork(Round{Program: "0.2.0"}, []string{"campaign-001", "campaign-002"}) ||
			open.SameWork(Round{Program: "0.2.0"}, nil) || open.SameWork(Round{Program: "0.2.0", Keep: true}, named) || first.SameWork(Round{Program: "0.3.0"}, nil) {
			t.Errorf("the open round is %+v, %v", open, err)
		}
	})
}

// helper is a child process that helps with a round and prints each campaign
// once its outcome is on the disk.
func helper(t *testing.T, where, round string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(self)
	command.Env = append(os.Environ(), childEnv+"="+where, roundEnv+"="+round)
	return command
}

// help is what the child does.
func help(ctx context.Context, where, round string) error {
	s, err := Open(ctx, where)
	if err != nil {
		return err
	}
	err = s.Work(ctx, round, Work{Workers: 2, Join: s.place.dir == "", Do: func(_ context.Context, id string) ([]byte, error) {
		time.Sleep(5 * time.Millisecond)
		fmt.Println("took " + id)
		return answer(id), nil
	}})
	return errors.Join(err, s.Close())
}

// A process that works on a round is killed at random moments, again and again;
// another goes on, and in the end every campaign has one outcome.
func TestKilledWhileWorking(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		const campaigns, kills = 60, 5
		r := workable(t, s, campaigns)
		random := rand.New(rand.NewPCG(650, 5))
		if s.place.dir == "" { // somebody hands out
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			var group sync.WaitGroup
			defer group.Wait()
			group.Go(func() {
				err := s.Work(ctx, r.ID, Work{Workers: 1, Do: func(ctx context.Context, _ string) ([]byte, error) {
					<-ctx.Done() // this one takes a campaign and never brings it back
					return nil, ctx.Err()
				}})
				if !errors.Is(err, context.Canceled) {
					t.Error(err)
				}
			})
			defer cancel()
		}
		for range kills {
			command := helper(t, where, r.ID)
			var complaints bytes.Buffer
			command.Stderr = &complaints
			out, err := command.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := command.Start(); err != nil {
				t.Fatal(err)
			}
			stop := random.IntN(8)
			timer := time.AfterFunc(10*time.Second, func() { _ = command.Process.Kill() })
			for lines := bufio.NewScanner(out); stop > 0 && lines.Scan(); stop-- {
			}
			_ = command.Process.Kill()
			err = command.Wait()
			timer.Stop()
			if command.ProcessState.Exited() {
				t.Fatalf("the process was to be killed and ended by itself: %v\n%s", err, complaints.String())
			}
		}
		halfway, err := s.Round(t.Context(), r.ID)
		if err != nil || halfway.Done == 0 || halfway.Done == campaigns {
			t.Fatalf("after the kills the round is %+v, %v; want it begun and not done", halfway, err)
		}
		if err := s.Work(t.Context(), r.ID, Work{Workers: 2, Do: func(_ context.Context, id string) ([]byte, error) { return answer(id), nil }}); err != nil {
			t.Fatal(err)
		}
		found := answers(t, s, r.ID)
		for i := range campaigns {
			id := fmt.Sprintf("campaign-%03d", i)
			if found[id] != string(answer(id)) {
				t.Errorf("of %s came %q", id, found[id])
			}
		}
		t.Logf("%d of %d campaigns were done by processes that were killed", halfway.Done, campaigns)
		clean(t, s)
	})
}

// Two machines share a round of a PostgreSQL workspace; a directory is not shared.
func TestMachinesShareTheWork(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		r := workable(t, s, 40)
		if s.place.dir != "" {
			err := s.Work(t.Context(), r.ID, Work{Workers: 1, Join: true, Do: func(context.Context, string) ([]byte, error) { return nil, nil }})
			if !errors.Is(err, ErrNoSharing) {
				t.Errorf("got %v, want ErrNoSharing", err)
			}
			return
		}
		other := helper(t, where, r.ID)
		var out, complaints bytes.Buffer
		other.Stdout, other.Stderr = &out, &complaints
		if err := other.Start(); err != nil {
			t.Fatal(err)
		}
		var lock sync.Mutex
		var here []string
		err := s.Work(t.Context(), r.ID, Work{Workers: 2, Do: func(_ context.Context, id string) ([]byte, error) {
			time.Sleep(40 * time.Millisecond)
			lock.Lock()
			defer lock.Unlock()
			here = append(here, id)
			return answer(id), nil
		}})
		if errOther := other.Wait(); err != nil || errOther != nil {
			t.Fatalf("%v, %v\n%s", err, errOther, complaints.String())
		}
		there := strings.Fields(strings.ReplaceAll(out.String(), "took ", ""))
		all := append(slices.Clone(here), there...)
		slices.Sort(all)
		if len(here) == 0 || len(there) == 0 || len(slices.Compact(all)) != 40 || len(here)+len(there) != 40 {
			t.Errorf("%d here and %d there; want 40 together, each once", len(here), len(there))
		}
		t.Logf("%d here, %d there", len(here), len(there))
	})
}

// A machine that takes a campaign and never brings it back keeps nobody waiting
// for ever: the campaign is handed out again.
func TestLostWorkIsHandedOutAgain(t *testing.T) {
	where := freshDatabase(t)
	s := initialise(t, where)
	r := workable(t, s, 5)
	ctx, cancel := context.WithCancel(t.Context())
	took := make(chan string, 1)
	var group sync.WaitGroup
	group.Go(func() {
		err := s.Work(ctx, r.ID, Work{Workers: 1, Join: true, Do: func(ctx context.Context, id string) ([]byte, error) {
			took <- id
			<-ctx.Done()
			return nil, ctx.Err()
		}})
		if !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
	var lost string
	err := s.Work(t.Context(), r.ID, Work{Workers: 1, lost: 300 * time.Millisecond, Do: func(_ context.Context, id string) ([]byte, error) {
		if lost == "" {
			lost = <-took // do nothing until the other has one
		}
		return answer(id), nil
	}})
	cancel()
	group.Wait()
	if found := answers(t, s, r.ID); err != nil || len(found) != 5 || found[lost] != string(answer(lost)) {
		t.Errorf("what came of it is %v, %v; %s was taken and not brought back", found, err, lost)
	}
}
