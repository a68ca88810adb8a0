//go:build linux

package lab

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"fairpull/report"
)

// A disk that is full: it is said once, nothing is written by half, and the capture
// goes on by itself when there is room.
func TestCaptureOnAFullDisk(t *testing.T) {
	disk, dir := t.TempDir(), t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=6m"); err != nil {
		t.Skipf("a disk of a few megabytes cannot be made here (%v): this test wants to be root", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	w, err := InitWorkspace(t.Context(), filepath.Join(disk, "lab"))
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	drop(t, dir, "0.csv", logs[0])
	session.event(report.CapturePull)
	ballast := filepath.Join(disk, "ballast")
	fill(t, ballast)
	drop(t, dir, "1.csv", logs[1])
	session.until("No room is left on the disk: 1.csv is not kept")
	if n := len(current(t, w, c.ID).Campaign.Pulls); n != 1 {
		t.Errorf("%d pulls are there, want the first", n)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if e := session.event(report.CapturePull); !e.Pull.Accepted || e.File != "1.csv" {
		t.Errorf("with room again: %s", e.Message)
	}
	session.enter("quit")
	if err := session.wait(); err != nil {
		t.Fatal(err)
	}
	mustBeSound(t, w)
}

// fill fills a disk with one file.
func fill(t *testing.T, path string) {
	t.Helper()
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for block := make([]byte, 64<<10); err == nil; {
		_, err = file.Write(block)
	}
	for block := make([]byte, 512); ; {
		if _, err := file.Write(block); err != nil {
			return
		}
	}
}
