package lab

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/demo"
	"fairpull/report"
)

func TestCaptureTakesWhatCannotBeReducedToo(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	lines := bytes.SplitAfter(logs[0], []byte("\n"))
	drop(t, dir, "tiny.csv", bytes.Join(lines[:40], nil))
	if e := session.event("pull"); e.Pull.Accepted || e.Pull.Reduced || !strings.Contains(e.Message, "WRONG") {
		t.Errorf("a log without a pull: %+v: %s", e.Pull, e.Message)
	}
	drop(t, dir, "torn.csv", append(bytes.Clone(logs[1]), "9,9,x\n"...))
	if e := session.event("pull"); e.Pull.Accepted || !strings.Contains(e.Message, "torn.csv") {
		t.Errorf("a log that cannot be read: %s", e.Message)
	}
	// The others go on without them.
	drop(t, dir, "good.csv", logs[2])
	if e := session.event("pull"); !e.Pull.Accepted || e.Pull.Name != "3" {
		t.Errorf("a good pull behind two bad ones: %+v: %s", e.Pull, e.Message)
	}
	entry := current(t, w, c.ID)
	if len(entry.Campaign.Pulls) != 3 || len(entry.Logs) != 3 {
		t.Errorf("%d pulls, %d logs; want 3", len(entry.Campaign.Pulls), len(entry.Logs))
	}
	// What is no log is not taken, and what helps is said.
	drop(t, dir, "notes.txt", []byte("bought bread\nand butter\n"))
	if e := session.until("is not taken"); e.Kind != report.CaptureProblem || !strings.Contains(e.Message, "fairpull recipe cell-1 --learn") {
		t.Errorf("%s: %s", e.Kind, e.Message)
	}
}

// A file whose name is no text is taken like any other.
func TestCaptureTakesAFileOfAnyName(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	drop(t, dir, "a\n\x1b[31m\xff.csv", logs[0])
	if e := session.event("pull"); e.File != "a__[31m_.csv" || e.Pull.Log != "logs/1-a___31m_.csv" {
		t.Errorf("%q as %q: %s", e.File, e.Pull.Log, e.Message)
	}
	drop(t, dir, "a\n\x1b[31m\xff.csv", varied(logs[0], 1))
	if e := session.event("pull"); !strings.Contains(e.Pull.Excluded, "a__[31m_.csv changed after it was taken as pull 1") {
		t.Errorf("rewritten: %+v", e.Pull)
	}
}

func TestCaptureKnowsWhatItHas(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	first := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	drop(t, dir, "a.csv", logs[0])
	first.event("pull")
	drop(t, dir, "copy.csv", logs[0])
	first.until("copy.csv is pull 1 already, byte for byte")
	// Rewritten in place: the log that was taken stays, and the other is kept.
	drop(t, dir, "a.csv", varied(logs[0], 1))
	if e := first.event("pull"); e.Pull.Name != "2" || !strings.Contains(e.Pull.Excluded, "a.csv changed after it was taken as pull 1") {
		t.Errorf("a file that was rewritten: %+v: %s", e.Pull, e.Message)
	}
	first.enter("quit")
	first.wait()

	// Begun again: files that came meanwhile are taken when asked for, none twice.
	drop(t, dir, "b.csv", logs[1])
	second := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	second.until("In the folder already and not taken: a.csv, b.csv, copy.csv")
	second.enter("quit")
	second.wait()
	third := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true, Existing: true})
	if e := third.event("pull"); e.File != "b.csv" || e.Pull.Name != "3" {
		t.Errorf("taken: %+v", e)
	}
	third.enter("quit")
	third.wait()
	record, err := w.store.Get(t.Context(), c.ID)
	if err != nil || len(record.Campaign.Pulls) != 3 || !bytes.Equal(record.Logs[record.Campaign.Pulls[0].Log], logs[0]) {
		t.Errorf("%d pulls, %v", len(record.Campaign.Pulls), err)
	}
	mustBeSound(t, w)
}

// A logger that always writes to one name, where it is said that it does.
func TestCaptureOneNameForAll(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true, Rewritten: true})
	for i := range 2 {
		drop(t, dir, "last.csv", logs[i])
		if e := session.event("pull"); !e.Pull.Accepted {
			t.Errorf("pull %d: %s", i+1, e.Message)
		}
	}
}

// Two captures of one campaign from one folder take every file once.
func TestTwoCapturesOfOneCampaign(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	sessions := []*capturing{
		capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true}),
		capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true}),
	}
	for i, log := range logs {
		drop(t, dir, fmt.Sprintf("%02d.csv", i), log)
	}
	deadline := time.Now().Add(60 * time.Second)
	for len(current(t, w, c.ID).Campaign.Pulls) < len(logs) && time.Now().Before(deadline) {
		time.Sleep(20 * time.Millisecond)
	}
	for _, s := range sessions {
		s.enter("quit")
		if err := s.wait(); err != nil {
			t.Error(err)
		}
	}
	entry := current(t, w, c.ID)
	seen := map[string]bool{}
	for i, p := range entry.Campaign.Pulls {
		digest := entry.Logs[p.Log].Hex()
		if seen[digest] {
			t.Errorf("the log of pull %s is there twice", p.Name)
		}
		seen[digest] = true
		if p.Name != fmt.Sprint(i+1) {
			t.Errorf("pull %d is called %s", i+1, p.Name)
		}
	}
	if len(seen) != len(logs) {
		t.Errorf("%d logs are there, %d were dropped", len(seen), len(logs))
	}
	mustBeSound(t, w)
}

// The times of files that were there are kept, so that a folder taken in at once
// comes to the gain of the folder that it is.
func TestCaptureKeepsTheTimesOfFiles(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	for i, log := range logs {
		path := filepath.Join(dir, fmt.Sprintf("%02d.csv", i))
		drop(t, dir, filepath.Base(path), log)
		parsed, err := ingest.ParseLog("a", log, ingest.LogOptions{DrumRadius: 0.25})
		if err != nil {
			t.Fatal(err)
		}
		end := c.Pulls[i].Started.Add(length(parsed))
		if err := os.Chtimes(path, end, end); err != nil {
			t.Fatal(err)
		}
	}
	var events []report.Capture
	err := w.Capture(t.Context(), CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true, Once: true, Quiet: time.Millisecond, By: anna},
		func(e report.Capture) { events = append(events, e) })
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range current(t, w, c.ID).Campaign.Pulls {
		if !p.Started.Equal(c.Pulls[i].Started) || p.Excluded != "" || p.Values["note"] != "" {
			t.Errorf("pull %s: %v, want the start %v", p.Name, p, c.Pulls[i].Started)
		}
	}
	last := events[len(events)-1]
	if last.Kind != report.CaptureStopped {
		t.Errorf("the last event is %+v", last)
	}
	j := mustJudge(t, w, c.ID, false)
	folder, err := ingest.Open(demo.Campaign())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	folder.Campaign.Correction = "none"
	want, err := Analyse(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := j.Comparisons[0].Band, want.Comparisons[0].Band; got != want {
		t.Errorf("band figure %+v, want the folder's %+v", got, want)
	}
}

func TestCaptureClocks(t *testing.T) {
	_, logs := demoPulls(t)
	log, err := ingest.ParseLog("a", logs[0], ingest.LogOptions{DrumRadius: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	c := &campaign.Campaign{}
	at, doubt := started(c, incoming{ended: noon}, log)
	if want := noon.Add(-length(log)).Truncate(time.Millisecond); !at.Equal(want) || doubt != "" || length(log) < 10*time.Second {
		t.Errorf("began at %v (%s), want %v", at, doubt, want)
	}
	if at, _ := started(c, incoming{ended: noon, began: true}, log); !at.Equal(noon) {
		t.Errorf("a line's log began at %v, want %v", at, noon)
	}
	// The clock was set back behind the last pull.
	c.Pulls = []campaign.Pull{{Name: "6", Started: noon.Add(time.Hour)}}
	at, doubt = started(c, incoming{ended: noon}, log)
	if !at.Equal(noon.Add(time.Hour+time.Second)) || !strings.Contains(doubt, "not after pull 6") {
		t.Errorf("began at %v (%s)", at, doubt)
	}
}
