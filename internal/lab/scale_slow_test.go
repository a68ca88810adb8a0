//go:build slow

package lab

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
)

// Sizes of the invented lab. Its campaigns have nine pulls; some of them come with
// logs as a rig writes them, the others with a line each, so that the tables are
// full and the disk is not.
func scaleSize(b *testing.B, name string, otherwise int) int {
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		b.Fatalf("%s is %q", name, text)
	}
	return n
}

// processorTime is what the process has used of all processors.
func processorTime(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// residentMiB returns what the process holds in memory.
func residentMiB(b *testing.B) float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		b.Skip("the memory of a process is read from /proc")
	}
	_, rest, _ := strings.Cut(string(status), "VmRSS:")
	kib, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	if err != nil {
		b.Fatal(err)
	}
	return kib / 1024
}

// BenchmarkScale takes campaigns into a workspace of many years, judges them and
// derives them again. FAIRPULL_SCALE_AT names the place of a new workspace, such
// as an empty PostgreSQL database; without it that is a directory.
func BenchmarkScale(b *testing.B) {
	where, real := os.Getenv("FAIRPULL_SCALE_AT"), scaleSize(b, "FAIRPULL_SCALE_REAL", 500)
	if where == "" {
		where = filepath.Join(b.TempDir(), "lab")
	}
	w, err := InitWorkspace(b.Context(), where)
	if err != nil {
		b.Fatal(err)
	}
	defer w.Close()
	fillWorkspace(b, w, scaleSize(b, "FAIRPULL_SCALE_CAMPAIGNS", 10_000)-real)
	pulls := importReal(b, w, real)
	ids := make([]string, real)
	begun, used := time.Now(), processorTime(b)
	for i := range real {
		ids[i] = labScenario(i).ID
		mustJudge(b, w, ids[i], true)
	}
	tellRate(b, "judge, one after the other, with a history of 200 campaigns", pulls, begun, used)
	next := 0.0
	begun, used = time.Now(), processorTime(b)
	var memory []string
	r, err := w.Recompute(b.Context(), RecomputeOptions{Campaigns: ids, By: anna, Program: "2", Progress: func(done, total int) {
		if share := float64(done) / float64(total); share >= next {
			memory = append(memory, fmt.Sprintf("%.0f", residentMiB(b)))
			next = share + 0.1
		}
	}})
	if err != nil {
		b.Fatal(err)
	}
	tellRate(b, "recompute", pulls, begun, used)
	b.Logf("resident MiB along the way: %s", strings.Join(memory, " "))
	var counts report.RecomputeCounts
	if err := w.Recomputed(b.Context(), r.ID, func(one report.Recomputed) error { counts.Take(one); return nil }); err != nil || counts.Same != real {
		b.Fatalf("%+v, %v; want all the same", counts, err)
	}
	b.Run("JudgeOne", func(b *testing.B) {
		for b.Loop() {
			if _, err := w.Judge(b.Context(), ids[real-1], JudgeOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("OpenOne", func(b *testing.B) {
		i := 0
		for b.Loop() {
			i += 7919
			if _, err := w.store.Get(b.Context(), ids[i%real]); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// tellRate logs how fast something went, and what it used of the processors, which
// other work on the machine changes less.
func tellRate(b *testing.B, what string, pulls int, begun time.Time, used time.Duration) {
	took, used := time.Since(begun), processorTime(b)-used
	b.Logf("%s: %d pulls in %v, %.0f pulls/s; %.2f ms of processor time a pull; %.0f MiB resident", what, pulls, took.Round(10*time.Millisecond),
		float64(pulls)/took.Seconds(), 1000*used.Seconds()/float64(pulls), residentMiB(b))
}

// importReal writes campaign folders and takes them in; only the taking in counts.
func importReal(b *testing.B, w *Workspace, n int) (pulls int) {
	var took time.Duration
	bytes := int64(0)
	for i := range n {
		dir := filepath.Join(b.TempDir(), "folder")
		s := labScenario(i)
		s.Logger.Sampled.Rate = 100
		if err := s.WriteContext(b.Context(), dir); err != nil {
			b.Fatal(err)
		}
		begun := time.Now()
		r, err := w.Import(b.Context(), dir, anna, false)
		if err != nil {
			b.Fatal(err)
		}
		took += time.Since(begun)
		pulls += r.Pulls
		if i == 0 {
			for _, log := range mustLogs(b, w, s.ID) {
				bytes += int64(len(log))
			}
		}
		if err := os.RemoveAll(dir); err != nil {
			b.Fatal(err)
		}
	}
	b.Logf("import: %d pulls, logs of %d kB, in %v: %.0f pulls/s; %.0f MiB resident", pulls, bytes/1000*int64(n)/int64(pulls), took.Round(10*time.Millisecond),
		float64(pulls)/took.Seconds(), residentMiB(b))
	return pulls
}

func mustLogs(b *testing.B, w *Workspace, id string) map[string][]byte {
	r, err := w.store.Get(b.Context(), id)
	if err != nil {
		b.Fatal(err)
	}
	return r.Logs
}

// fillWorkspace puts campaigns of short logs, each with a result and a study like that of
// a real one.
func fillWorkspace(b *testing.B, w *Workspace, n int) {
	putScenario(b, w, labScenario(3000))
	like := mustJudge(b, w, labScenario(3000).ID, true).Result
	begun := time.Now()
	for i := range n {
		id := fmt.Sprintf("filled-%05d", i)
		r := store.Record{Campaign: mustEntry(b, w, labScenario(3000).ID).Campaign, Logs: map[string][]byte{}}
		r.Campaign.ID, r.Campaign.Dyno.ID = id, fmt.Sprintf("cell-%d", 2+i%3)
		r.Campaign.Vehicle.ID = fmt.Sprintf("twin-%03d", i%300)
		if i%4 == 0 {
			r.Campaign.Dyno.ID, r.Campaign.Vehicle.ID = "cell-1", "twin650-03"
		}
		r.Campaign.Pulls = append([]campaign.Pull(nil), r.Campaign.Pulls...)
		for k := range r.Campaign.Pulls {
			p := &r.Campaign.Pulls[k]
			p.Started = time.Date(2014, 1, 6, 9, 4*k, 0, 0, time.UTC).Add(time.Duration(i) * 9 * time.Hour)
			r.Logs[p.Log] = fmt.Appendf(nil, "%s %d\n", id, k)
		}
		if _, err := w.store.Put(b.Context(), r, anna); err != nil {
			b.Fatal(err)
		}
		result := like
		result.Campaign, result.Version, result.Data = id, 1, mustEntry(b, w, id).Digest
		if _, err := w.store.SaveResult(b.Context(), result, anna); err != nil {
			b.Fatal(err)
		}
	}
	b.Logf("filled %d campaigns of nine short logs, with results, in %v; %d processors", n, time.Since(begun).Round(time.Second), runtime.GOMAXPROCS(0))
}

func mustEntry(b *testing.B, w *Workspace, id string) store.Entry {
	e, err := w.store.Entry(b.Context(), id, 0)
	if err != nil {
		b.Fatal(err)
	}
	return e
}
