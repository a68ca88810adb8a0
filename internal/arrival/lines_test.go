package arrival

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/creack/pty"
)

// logs keeps what a line source gave.
type logs struct {
	mu     sync.Mutex
	list   []Log
	events []Event
	refuse error
}

func (l *logs) take(log Log) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.refuse != nil {
		return l.refuse
	}
	l.list = append(l.list, log)
	return nil
}

func (l *logs) note(e Event) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.events = append(l.events, e)
}

// texts returns the logs so far.
func (l *logs) texts() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []string
	for _, log := range l.list {
		out = append(out, string(log.Data))
	}
	return out
}

func (l *logs) told(kind Kind) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
	for _, e := range l.events {
		if e.Kind == kind {
			n++
		}
	}
	return n
}

// from runs Lines on one end of a pipe, in a bubble whose time does not pass by
// itself, and calls talk with the other.
func from(t *testing.T, o LineOptions, talk func(t *testing.T, w net.Conn, l *logs)) {
	synctest.Test(t, func(t *testing.T) {
		source, rig := net.Pipe()
		l := &logs{}
		opened := false
		open := func(ctx context.Context) (io.ReadCloser, error) {
			if opened {
				<-ctx.Done()
				return nil, ctx.Err()
			}
			opened = true
			return source, nil
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- Lines(ctx, open, o, l.take, l.note) }()
		talk(t, rig, l)
		synctest.Wait()
		cancel()
		rig.Close()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("Lines ended with %v", err)
		}
	})
}

func send(t *testing.T, w io.Writer, text string) {
	t.Helper()
	if _, err := io.WriteString(w, text); err != nil {
		t.Fatal(err)
	}
}

func equal(t *testing.T, l *logs, want ...string) {
	t.Helper()
	got := l.texts()
	if len(got) != len(want) {
		t.Fatalf("%d logs %q, want %q", len(got), got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("log %d is %q, want %q", i+1, got[i], want[i])
		}
	}
}

func TestSilenceEndsALog(t *testing.T) {
	from(t, LineOptions{}, func(t *testing.T, w net.Conn, l *logs) {
		send(t, w, "time [s],drum_speed [km/h]\n0,30\n")
		time.Sleep(2900 * time.Millisecond)
		send(t, w, "0.01,31\r\n")
		time.Sleep(2900 * time.Millisecond)
		equal(t, l)
		time.Sleep(200 * time.Millisecond)
		synctest.Wait()
		equal(t, l, "time [s],drum_speed [km/h]\n0,30\n0.01,31\n")
		if l.list[0].Rows != 2 || l.list[0].Cut {
			t.Errorf("log %+v", l.list[0])
		}
		time.Sleep(time.Hour)
		equal(t, l, "time [s],drum_speed [km/h]\n0,30\n0.01,31\n")
	})
}

func TestEmptyLineAndHeaderEndALog(t *testing.T) {
	from(t, LineOptions{}, func(t *testing.T, w net.Conn, l *logs) {
		send(t, w, "9,9\ntime,drum_speed\ns,km/h\n0,30\n1,31\n\n\n0,40\n-1,41\ntime,v\n0,50\n\n")
		synctest.Wait()
		equal(t, l, "time,drum_speed\ns,km/h\n0,30\n1,31\n", "time,drum_speed\ns,km/h\n0,40\n-1,41\n", "time,v\n0,50\n")
	})
}

func TestALineInPieces(t *testing.T) {
	from(t, LineOptions{}, func(t *testing.T, w net.Conn, l *logs) {
		for _, c := range "time,v\n0.125,3e1\n\n" {
			send(t, w, string(c))
			time.Sleep(time.Second)
		}
		synctest.Wait()
		equal(t, l, "time,v\n0.125,3e1\n")
	})
}

func TestGarbleIsDroppedAndTold(t *testing.T) {
	from(t, LineOptions{}, func(t *testing.T, w net.Conn, l *logs) {
		send(t, w, "time,v\n0,30\n\xff\xfe,1\n"+strings.Repeat("9", longestLine+1)+"\n1,\x00\n1,31\n\n")
		synctest.Wait()
		equal(t, l, "time,v\n0,30\n1,31\n")
		if n := l.told(Garbled); n != 1 {
			t.Errorf("told %d times", n)
		}
	})
}

func TestALongLogIsCut(t *testing.T) {
	from(t, LineOptions{MaxBytes: 20}, func(t *testing.T, w net.Conn, l *logs) {
		send(t, w, "time,v\n0,30\n1,31\n2,32\n3,33\n\n")
		synctest.Wait()
		equal(t, l, "time,v\n0,30\n1,31\n", "time,v\n2,32\n3,33\n")
		if !l.list[0].Cut || l.list[1].Cut {
			t.Errorf("cut: %v, %v", l.list[0].Cut, l.list[1].Cut)
		}
	})
}

// A log that is refused is handed on again until it is taken; what comes meanwhile
// is kept, and the order stays.
func TestARefusedLogIsHandedOnAgain(t *testing.T) {
	from(t, LineOptions{}, func(t *testing.T, w net.Conn, l *logs) {
		l.refuse = errors.New("no room")
		send(t, w, "time,v\n0,1\n\n0,2\n\n")
		time.Sleep(time.Minute)
		equal(t, l)
		if n := l.told(NotTaken); n != 1 {
			t.Errorf("told %d times", n)
		}
		l.mu.Lock()
		l.refuse = nil
		l.mu.Unlock()
		time.Sleep(3 * time.Second)
		synctest.Wait()
		equal(t, l, "time,v\n0,1\n", "time,v\n0,2\n")
	})
}

// While nothing is taken, a log that is still coming in is not cut in pieces.
func TestARefusalDoesNotEndWhatComesIn(t *testing.T) {
	from(t, LineOptions{Silence: 10 * time.Second}, func(t *testing.T, w net.Conn, l *logs) {
		l.refuse = errors.New("no room")
		send(t, w, "time,v\n0,1\n\n0,2\n")
		time.Sleep(6 * time.Second) // three tries
		l.mu.Lock()
		l.refuse = nil
		l.mu.Unlock()
		send(t, w, "1,3\n")
		time.Sleep(20 * time.Second)
		equal(t, l, "time,v\n0,1\n", "time,v\n0,2\n1,3\n")
	})
}

// reading runs Lines until the test ends and waits for n logs.
func reading(t *testing.T, name string, o LineOptions) *logs {
	t.Helper()
	open, err := Source(name)
	if err != nil {
		t.Fatal(err)
	}
	l := &logs{}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Lines(ctx, open, o, l.take, l.note) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("Lines ended with %v", err)
		}
	})
	return l
}

func waitFor(t *testing.T, what string, is func() bool) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !is(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s did not come about", what)
		}
	}
}

// A logger that sends over a network, breaks off within a log and comes back.
func TestLinesOverTCP(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	l := reading(t, "tcp://"+listener.Addr().String(), LineOptions{Retry: 20 * time.Millisecond})
	for i := range 2 {
		rig, err := listener.Accept()
		if err != nil {
			t.Fatal(err)
		}
		send(t, rig, fmt.Sprintf("time,v\n0,%d\n\n1,%d\n2,", i, i))
		rig.Close()
		waitFor(t, "the log that broke off", func() bool { return len(l.texts()) == 2*i+2 })
	}
	equal(t, l, "time,v\n0,0\n", "time,v\n1,0\n", "time,v\n0,1\n", "time,v\n1,1\n")
	if l.list[0].Cut || !l.list[1].Cut {
		t.Errorf("cut: %v, %v; want the second", l.list[0].Cut, l.list[1].Cut)
	}
	if l.told(Connected) != 2 || l.told(Broken) < 1 {
		t.Errorf("events %v", l.events)
	}
}

// A pair of pseudo-terminals is a serial line with a logger at its other end.
func TestLinesOverASerialPort(t *testing.T) {
	rig, port, err := pty.Open()
	if err != nil {
		t.Skipf("this system gives no pseudo-terminal: %v", err)
	}
	defer rig.Close()
	defer port.Close()
	l := reading(t, port.Name()+":115200", LineOptions{Silence: 100 * time.Millisecond})
	waitFor(t, "the open port", func() bool { return l.told(Connected) == 1 })
	var want strings.Builder
	want.WriteString("time,drum_speed\n")
	send(t, rig, "time,drum_speed\n")
	for i := range 500 {
		line := fmt.Sprintf("%.2f,%.1f\n", float64(i)/100, 30+float64(i)/10)
		send(t, rig, line)
		want.WriteString(line)
	}
	waitFor(t, "the log", func() bool { return len(l.texts()) == 1 })
	equal(t, l, want.String())
	send(t, rig, "0,99\n\n")
	waitFor(t, "the second log", func() bool { return len(l.texts()) == 2 })
	equal(t, l, want.String(), "time,drum_speed\n0,99\n")
}

func TestSourceRefusals(t *testing.T) {
	for _, name := range []string{"", "tcp://", "tcp://host", "http://host:1", "/dev/ttyUSB0", "/dev/ttyUSB0:fast", "/dev/ttyUSB0:-1", ":9600"} {
		if _, err := Source(name); err == nil {
			t.Errorf("%q is taken", name)
		}
	}
	open, err := Source("/dev/no-such-port:9600")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := open(t.Context()); err == nil || !strings.Contains(err.Error(), "no-such-port") {
		t.Errorf("a port that is not there: %v", err)
	}
}

// Whatever comes in, in whatever pieces, a log is a header and at least one row of
// text, and no longer than it may be.
func FuzzCollector(f *testing.F) {
	f.Add("time,v\n0,1\n1,2\n\n0,3\ntime,w\n", 3)
	f.Add("\xff\n0,1\n\x00a\n5\n", 1)
	f.Fuzz(func(t *testing.T, text string, piece int) {
		c := &collector{options: LineOptions{MaxBytes: 64}.withDefaults()}
		piece = max(1, piece%100)
		for rest := text; rest != ""; rest = rest[min(piece, len(rest)):] {
			c.add([]byte(rest[:min(piece, len(rest))]), base, func(Event) {})
		}
		c.end(true)
		for _, log := range c.ready {
			lines := strings.Split(strings.TrimSuffix(string(log.Data), "\n"), "\n")
			rows := 0
			for _, line := range lines {
				if isRow([]byte(line)) {
					rows++
				}
			}
			if rows != log.Rows || rows == 0 || isRow([]byte(lines[0])) || strings.ContainsRune(string(log.Data), 0) || log.Began.IsZero() {
				t.Errorf("%q in pieces of %d gave %d rows of %q", text, piece, log.Rows, log.Data)
			}
		}
	})
}
