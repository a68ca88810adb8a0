package lab

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/report"
)

// The tests start themselves again as another process, which then captures.
const (
	captureEnv         = "FAIRPULL_LAB_CAPTURE"          // the workspace
	captureCampaignEnv = "FAIRPULL_LAB_CAPTURE_CAMPAIGN" // the campaign
	captureFolderEnv   = "FAIRPULL_LAB_CAPTURE_FOLDER"   // where files arrive
	captureOnceEnv     = "FAIRPULL_LAB_CAPTURE_ONCE"     // end when all is taken
)

func TestMain(m *testing.M) {
	if where := os.Getenv(captureEnv); where != "" {
		os.Exit(captureChild(where))
	}
	os.Exit(m.Run())
}

// captureChild captures and prints the digest of each log once its pull was told.
func captureChild(where string) int {
	w, err := OpenWorkspace(context.Background(), where)
	if err == nil {
		o := CaptureOptions{
			Campaign: os.Getenv(captureCampaignEnv), From: os.Getenv(captureFolderEnv), Existing: true, Once: os.Getenv(captureOnceEnv) != "",
			Configuration: "A", Setup: "s1", Quiet: 15 * time.Millisecond, By: anna,
		}
		err = w.Capture(context.Background(), o, func(e report.Capture) {
			if e.Kind == report.CapturePull {
				fmt.Println("told " + e.Pull.Digest)
			}
		})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// spawnCapture starts this test binary again as a process that captures.
func spawnCapture(t *testing.T, where, id, dir string, once bool) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(self)
	command.Env = append(os.Environ(), captureEnv+"="+where, captureCampaignEnv+"="+id, captureFolderEnv+"="+dir)
	if once {
		command.Env = append(command.Env, captureOnceEnv+"=yes")
	}
	return command
}

// dropper drops files into a folder until it is stopped: some renamed into place,
// some written slowly, and returns what it dropped.
func dropper(t *testing.T, dir string, logs [][]byte, seed uint64, stop <-chan struct{}) map[string]bool {
	random := rand.New(rand.NewPCG(650, seed))
	dropped := map[string]bool{}
	for n := 0; ; n++ {
		select {
		case <-stop:
			return dropped
		case <-time.After(time.Duration(random.Int64N(int64(150 * time.Millisecond)))):
		}
		log := varied(logs[n%len(logs)], n/len(logs))
		name := fmt.Sprintf("run-%03d.csv", n)
		if random.IntN(2) == 0 {
			drop(t, dir, name, log)
		} else if err := slowly(filepath.Join(dir, name), log); err != nil {
			t.Error(err)
		}
		dropped[evidence.OfBytes(log).Hex()] = true
	}
}

// slowly writes a file in two pieces, the first ending within a line.
func slowly(path string, data []byte) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	cut := bytes.LastIndexByte(data[:len(data)/2], ',')
	_, err = file.Write(data[:cut])
	time.Sleep(10 * time.Millisecond)
	if err == nil {
		_, err = file.Write(data[cut:])
	}
	if closing := file.Close(); err == nil {
		err = closing
	}
	return err
}

// killCaptures kills a process that captures, again and again while files arrive,
// and accounts for every file and every pull that was told.
func killCaptures(t *testing.T, kills int) {
	const perCampaign = 5
	where := filepath.Join(t.TempDir(), "lab")
	w, err := InitWorkspace(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	_, logs := demoPulls(t)
	random := rand.New(rand.NewPCG(650, 4))
	files, told := 0, 0
	for first := 0; first < kills; first += perCampaign {
		id, dir := fmt.Sprintf("campaign-%d", first), t.TempDir()
		putPlanned(t, w, func(c *campaign.Campaign) { c.ID, c.Plan = id, nil })
		stop, done := make(chan struct{}), make(chan map[string]bool, 1)
		go func() { done <- dropper(t, dir, logs, uint64(first), stop) }()
		acknowledged := map[string]bool{}
		for range min(perCampaign, kills-first) {
			killCapture(t, random, spawnCapture(t, where, id, dir, false), acknowledged)
		}
		close(stop)
		dropped := <-done
		// What was not taken is taken when the capture is begun again.
		out, err := spawnCapture(t, where, id, dir, true).CombinedOutput()
		if err != nil {
			t.Fatalf("after the kills: %v\n%s", err, out)
		}
		account(t, w, id, dropped, acknowledged)
		files, told = files+len(dropped), told+len(acknowledged)
	}
	r, err := w.Doctor(t.Context())
	if err != nil || !r.Clean() {
		t.Errorf("the doctor finds %v, %v", r.Problems, err)
	}
	t.Logf("%d kills, %d files accounted for, %d of them told before a kill, %d left over", kills, files, told, len(r.Problems))
	if told == 0 || told == files {
		t.Errorf("%d of %d files were told before a kill: the kills come too early or too late to say anything", told, files)
	}
}

// killCapture starts a capture, kills it at a random moment and notes what it told.
// Half the moments are counted from the start of the process, half from the first
// pull that it tells.
func killCapture(t *testing.T, random *rand.Rand, command *exec.Cmd, told map[string]bool) {
	t.Helper()
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
		kill(400 * time.Millisecond)
	}
	lines := bufio.NewScanner(out)
	for heard := false; lines.Scan(); {
		digest, ok := strings.CutPrefix(lines.Text(), "told ")
		if !ok {
			continue
		}
		told[digest] = true
		if !heard && !fromStart {
			kill(150 * time.Millisecond)
		}
		heard = true
	}
	_, _ = io.Copy(io.Discard, out)
	_ = command.Wait()
	if command.ProcessState.Exited() {
		t.Fatalf("the process was to be killed and ended by itself\n%s", complaints.String())
	}
}

// account holds that each dropped file is the log of one pull, and nothing else is,
// and that each pull that was told is among them.
func account(t *testing.T, w *Workspace, id string, dropped, told map[string]bool) {
	t.Helper()
	entry := current(t, w, id)
	seen := map[string]string{}
	for _, p := range entry.Campaign.Pulls {
		digest := entry.Logs[p.Log].Hex()
		if other, twice := seen[digest]; twice {
			t.Errorf("campaign %s: pulls %s and %s have one log", id, other, p.Name)
		}
		seen[digest] = p.Name
		if !dropped[digest] {
			t.Errorf("campaign %s: pull %s has a log that nobody dropped whole", id, p.Name)
		}
	}
	for digest := range dropped {
		if seen[digest] == "" {
			t.Errorf("campaign %s: a file that was dropped is no pull: %s", id, digest)
		}
	}
	for digest := range told {
		if seen[digest] == "" {
			t.Errorf("campaign %s: a pull that was told is not there: %s", id, digest)
		}
	}
}

// A capture may be killed at any moment: no file is lost, none is taken twice, and
// what was told is there. The tag slow kills more often.
func TestKilledWhileCapturing(t *testing.T) { killCaptures(t, 25) }
