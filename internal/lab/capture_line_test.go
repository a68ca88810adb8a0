package lab

import (
	"bytes"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"fairpull/report"
)

// lineLog is a log as a logger sends it, from a log of the demo: it ends with an
// empty line.
func lineLog(log []byte) []byte { return append(bytes.Clone(log), '\n') }

// Pulls that come over a network line go the way of those that come as files, and
// each begins when its first row came.
func TestCaptureFromTCP(t *testing.T) {
	w := newWorkspace(t)
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	session := capture(t, w, CaptureOptions{Campaign: c.ID, Line: "tcp://" + listener.Addr().String(), KeepGoing: true})
	rig, err := listener.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer rig.Close()
	session.until("is open")
	before := time.Now()
	for i := range 4 {
		if _, err := rig.Write(lineLog(logs[i])); err != nil {
			t.Fatal(err)
		}
		e := session.event(report.CapturePull)
		if !e.Pull.Accepted || e.Pull.Log != fmt.Sprintf("logs/%d-line.csv", i+1) || e.Pull.Started.Before(before.Add(-time.Second)) {
			t.Errorf("pull %d: %+v: %s", i+1, e.Pull, e.Message)
		}
	}
	// The line breaks off within a pull: what came is kept and said.
	if _, err := rig.Write(logs[4][:len(logs[4])/2]); err != nil {
		t.Fatal(err)
	}
	rig.Close()
	session.until("The line broke off or the log was too long")
	session.event(report.CapturePull)
	session.until("opened again until it is")
	record, err := w.store.Get(t.Context(), c.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 4 {
		if !bytes.Equal(record.Logs[record.Campaign.Pulls[i].Log], logs[i]) {
			t.Errorf("the log of pull %d is not what was sent", i+1)
		}
	}
	mustBeSound(t, w)
}

// The same over a pair of pseudo-terminals, which is a serial line to the program.
func TestCaptureFromASerialLine(t *testing.T) {
	w := newWorkspace(t)
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	rig, port, err := pty.Open()
	if err != nil {
		t.Skipf("this system gives no pseudo-terminal: %v", err)
	}
	defer rig.Close()
	defer port.Close()
	session := capture(t, w, CaptureOptions{Campaign: c.ID, Line: port.Name() + ":115200", KeepGoing: true, Silence: 300 * time.Millisecond})
	session.until("is open")
	for i := range 2 {
		if _, err := rig.Write(logs[i]); err != nil { // silence ends it
			t.Fatal(err)
		}
		if e := session.event(report.CapturePull); !e.Pull.Accepted {
			t.Errorf("pull %d: %s", i+1, e.Message)
		}
	}
	record, err := w.store.Get(t.Context(), c.ID)
	if err != nil || !bytes.Equal(record.Logs["logs/1-line.csv"], logs[0]) || !strings.HasPrefix(string(logs[0]), "time [s],") {
		t.Errorf("the log is not what was sent (%v)", err)
	}
}
