package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// typist runs a command line and lets a test type while it runs.
type typist struct {
	t     *testing.T
	in    *io.PipeWriter
	ended chan int

	mu  sync.Mutex
	out bytes.Buffer
}

func (y *typist) Write(p []byte) (int, error) {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.out.Write(p)
}

func typing(t *testing.T, args ...string) *typist {
	t.Helper()
	in, out := io.Pipe()
	y := &typist{t: t, in: out, ended: make(chan int, 1)}
	ctx, cancel := context.WithCancel(context.Background())
	go func() { y.ended <- Run(ctx, args, in, y, y) }()
	t.Cleanup(func() { cancel(); out.Close() })
	return y
}

func (y *typist) enter(line string) {
	y.t.Helper()
	if _, err := io.WriteString(y.in, line+"\n"); err != nil {
		y.t.Fatal(err)
	}
}

// until waits until the text was written n times.
func (y *typist) until(text string, n int) {
	y.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		y.mu.Lock()
		out := y.out.String()
		y.mu.Unlock()
		if strings.Count(out, text) >= n {
			return
		}
		if time.Now().After(deadline) {
			y.t.Fatalf("%q did not come %d times:\n%s", text, n, out)
		}
	}
}

// plannedKit makes a workspace with a planned campaign and returns the demo's logs.
func plannedKit(t *testing.T) []string {
	t.Helper()
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	mustRun(t, "import", "my-campaign")
	mustRun(t, "plan", "my-campaign", "--id", "next-kit", "--design", "A-B-A", "--pulls", "1", "--settling", "0", "--keep")
	if err := os.Mkdir("out", 0o755); err != nil {
		t.Fatal(err)
	}
	logs, err := filepath.Glob(filepath.Join("my-campaign", "logs", "*.csv"))
	if err != nil || len(logs) != 15 {
		t.Fatal(logs, err)
	}
	return logs
}

// arrive puts a copy of a file into the folder that is captured.
func arrive(t *testing.T, file string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err == nil {
		err = os.WriteFile(filepath.Join("out", "x.tmp"), data, 0o644)
	}
	if err == nil {
		err = os.Rename(filepath.Join("out", "x.tmp"), filepath.Join("out", filepath.Base(file)))
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestCaptureWithSomebodyTyping(t *testing.T) {
	logs := plannedKit(t)
	y := typing(t, "capture", "next-kit", "--from", "out", "--quiet", "60ms")
	y.until("Campaign next-kit, pulls so far: 0. Taking logs from out.", 1)
	y.enter("pressure_kpa=98.9 temperature_degc=22 relative_humidity_pct=52")
	y.until("The air holds", 1)
	for i := range 3 {
		if i > 0 {
			y.enter("next block")
			y.until("1 pull of block "+string(rune('1'+i))+" of 3", 1)
		}
		y.enter("tyre_pressure_kpa=251")
		y.until("For the next pull: tyre_pressure_kpa 251.", i+1)
		arrive(t, logs[[]int{0, 3, 6}[i]])
		y.until(": accepted.", i+1)
	}
	y.until("B over A so far, band torque: +", 1)
	y.until("The plan is through", 1)
	y.enter("quit")
	if code := <-y.ended; code != exitDone {
		t.Errorf("exit %d:\n%s", code, y.out.String())
	}
	var verdict struct {
		Checks []struct{ ID, Status, Message string }
	}
	if err := json.Unmarshal([]byte(mustRun(t, "judge", "next-kit", "--json")), &verdict); err != nil {
		t.Fatal(err)
	}
	at := slices.IndexFunc(verdict.Checks, func(k struct{ ID, Status, Message string }) bool { return k.ID == "plan-changed" })
	if at < 0 || verdict.Checks[at].Status != "pass" || !strings.Contains(verdict.Checks[at].Message, "stand since") {
		t.Errorf("checks %+v; want the plan to be frozen and followed", verdict.Checks)
	}
}

// Everything is said as JSON, one object a line, on standard output alone.
func TestCaptureJSON(t *testing.T) {
	logs := plannedKit(t)
	arrive(t, logs[0])
	if err := os.WriteFile(filepath.Join("out", "notes.txt"), []byte("bread\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, errs := run(t, "capture", "next-kit", "--from", "out", "--once", "--json", "--quiet", "1ms", "--set", "pressure_kpa=98.9 temperature_degc=22 relative_humidity_pct=52")
	if code != exitDone || errs != "" {
		t.Fatalf("exit %d: %s", code, errs)
	}
	kinds := map[string]int{}
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		var event struct{ Format, Kind, Message string }
		if err := json.Unmarshal([]byte(line), &event); err != nil || event.Format != "fairpull.capture/1" || event.Message == "" {
			t.Errorf("%s: %v", line, err)
		}
		kinds[event.Kind]++
	}
	if kinds["started"] != 1 || kinds["pull"] != 1 || kinds["problem"] != 1 || kinds["stopped"] != 1 {
		t.Errorf("kinds %v:\n%s", kinds, out)
	}
}

func TestCaptureUsage(t *testing.T) {
	plannedKit(t)
	for _, args := range [][]string{
		{"capture"},
		{"capture", "next-kit"},
		{"capture", "next-kit", "--from", "out", "--line", "tcp://127.0.0.1:1"},
		{"capture", "next-kit", "--from", "out", "--configuration", "A"},
		{"capture", "next-kit", "--line", "tcp://127.0.0.1:1", "--once"},
		{"capture", "next-kit", "--from", "out", "--quiet", "-1s"},
	} {
		if code, _, errs := run(t, args...); code != exitUsage || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, "Try: fairpull capture") {
			t.Errorf("%v: exit %d: %s", args, code, errs)
		}
	}
	for _, args := range [][]string{
		{"capture", "next-kit", "--from", "not-there", "--once"},
		{"capture", "no-kit", "--from", "out", "--once"},
		{"capture", "next-kit", "--from", "out", "--once", "--set", "pressure_kpa=much"},
		{"capture", "next-kit", "--line", "/dev/ttyS0"},
	} {
		if code, _, errs := run(t, args...); code != exitCouldNot || errs == "" {
			t.Errorf("%v: exit %d: %s", args, code, errs)
		}
	}
}
