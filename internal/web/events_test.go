package web

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"fairpull/internal/lab"
)

// follow opens the stream of events and returns its lines.
func (s *site) follow(after string) (lines <-chan string, leave func()) {
	s.t.Helper()
	ctx, cancel := context.WithCancel(s.t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.http.URL+"/events"+after, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	if got := response.Header.Get("Content-Type"); response.StatusCode != http.StatusOK || got != "text/event-stream" || response.Header.Get("Content-Encoding") != "" {
		s.t.Fatalf("%d, %q, %v", response.StatusCode, got, response.Header)
	}
	out := make(chan string, 100)
	go func() {
		defer close(out)
		defer response.Body.Close()
		scan := bufio.NewScanner(response.Body)
		for scan.Scan() {
			out <- scan.Text()
		}
	}()
	return out, cancel
}

// wants waits for a line.
func wants(t *testing.T, lines <-chan string, want string) {
	t.Helper()
	timeout := time.After(10 * time.Second)
	for {
		select {
		case line, open := <-lines:
			if !open {
				t.Fatalf("the stream ended before %q", want)
			}
			if line == want {
				return
			}
		case <-timeout:
			t.Fatalf("no %q within 10 s", want)
		}
	}
}

func (s *site) excludePull(pull string) {
	s.t.Helper()
	if err := s.w.Exclude(s.t.Context(), demoID, pull, "strap slipped", 0, bert.Who); err != nil {
		s.t.Fatal(err)
	}
}

func TestEvents(t *testing.T) {
	s := open(t, nil)
	lines, leave := s.follow("?after=1")
	wants(t, lines, "retry: 2000")
	wants(t, lines, "event: here")
	wants(t, lines, "data: 1-0")
	s.excludePull("1")
	wants(t, lines, "id: 2-0")
	wants(t, lines, "data: campaign "+demoID)
	// What is told aside is told once to whoever stays, and to one who comes back.
	s.watch.tell("kit")
	wants(t, lines, "id: 2-1")
	wants(t, lines, "data: campaign kit")
	heard, leaveHeard := s.follow("?after=2-0")
	wants(t, heard, "data: 2-0")
	wants(t, heard, "data: campaign kit")
	leaveHeard()
	// One who comes back hears what was missed.
	again, leaveAgain := s.follow("?after=1")
	wants(t, again, "data: campaign "+demoID)
	leaveAgain()
	leave()
	for range 100 {
		if s.watch.count() == 0 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if n := s.watch.count(); n != 0 {
		t.Errorf("%d streams are left", n)
	}
	// Changes of which nothing is known any more: look at everything.
	s.excludePull("4")
	s.watch.mu.Lock()
	s.watch.recent, s.watch.running = nil, false
	s.watch.mu.Unlock()
	late, leaveLate := s.follow("?after=1")
	defer leaveLate()
	wants(t, late, "data: * ")
}

// Many changes at once, as when campaigns come from another workspace, leave no page
// with an old state: what is not told one by one is told as everything.
func TestManyChangesAtOnce(t *testing.T) {
	s := open(t, nil)
	first := s.lastChange()
	if !s.watch.join(t.Context(), "") {
		t.Fatal("refused")
	}
	defer s.watch.leave("")
	s.watch.stop() // the test looks itself
	s.watch.mu.Lock()
	s.watch.seq, s.watch.recent = first, []lab.ChangeNote{{Seq: first, Kind: "campaign", Subject: demoID}}
	s.watch.mu.Unlock()
	s.excludePull("1")
	for i := range changesAtOne + 5 {
		if _, err := s.w.SetNeutral(t.Context(), "oil filter", i%2 == 0, bert); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.watch.look(t.Context()); err != nil {
		t.Fatal(err)
	}
	if notes, latest, whole, _ := s.watch.since(first); whole || latest != s.lastChange() {
		t.Errorf("told %d changes up to %d of %d, whole %v", len(notes), latest, s.lastChange(), whole)
	}
}

func TestTooManyStreams(t *testing.T) {
	s := open(t, nil)
	for range maxStreams {
		if !s.watch.join(t.Context(), "") {
			t.Fatal("refused too early")
		}
	}
	if a := s.do(s.client(), http.MethodGet, "/events", nil); a.status != http.StatusServiceUnavailable {
		t.Errorf("one more: %d", a.status)
	}
	for range maxStreams {
		s.watch.leave("")
	}
}

// One account leaves streams to the others.
func TestTooManyStreamsOfOne(t *testing.T) {
	s := guarded(t, nil)
	for range streamsOfOne {
		if !s.watch.join(t.Context(), "viewer") {
			t.Fatal("refused too early")
		}
	}
	if a := s.do(s.as("viewer"), http.MethodGet, "/events", nil); a.status != http.StatusServiceUnavailable {
		t.Errorf("one more of the same: %d", a.status)
	}
	if !s.watch.join(t.Context(), "technician") {
		t.Error("another account is refused")
	}
	s.watch.leave("technician")
	s.watch.leave("viewer")
	if !s.watch.join(t.Context(), "viewer") {
		t.Error("refused though one has gone")
	}
	for range streamsOfOne {
		s.watch.leave("viewer")
	}
	if n := s.watch.count(); n != 0 || len(s.watch.of) != 0 {
		t.Errorf("%d streams are counted, by account %v", n, s.watch.of)
	}
}

// Stopping lets an answer come to its end, and ends the streams.
func TestServeStops(t *testing.T) {
	s := open(t, nil)
	listener, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, listener) }()
	s.http.URL = "http://" + listener.Addr().String()
	lines, leave := s.follow("")
	defer leave()
	wants(t, lines, "retry: 2000")
	if a := s.do(s.client(), http.MethodGet, "/", nil, "X-Long", strings.Repeat("y", 2*maxHeaderBytes)); a.status != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("a header of %d bytes: %d", 2*maxHeaderBytes, a.status)
	}
	begun := make(chan answer, 1)
	go func() { begun <- s.do(s.client(), http.MethodGet, campaignPath, nil) }()
	time.Sleep(30 * time.Millisecond)
	cancel()
	select {
	case err := <-served:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(graceTime):
		t.Fatal("the server did not stop")
	}
	if a := <-begun; a.status != http.StatusOK || !strings.Contains(a.body, "</html>") {
		t.Errorf("what was asked for before: %d, %d bytes", a.status, len(a.body))
	}
	for range lines {
	}
}

// heap returns the bytes in use after everything unused is gone.
func heap() uint64 {
	for range 3 {
		runtime.GC()
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// Ten who watch one campaign while it changes cost no more memory after twenty
// changes than after five.
func TestTenViewersInConstantMemory(t *testing.T) {
	s := open(t, nil)
	const viewers = 10
	var streams []<-chan string
	for range viewers {
		lines, leave := s.follow("?after=1")
		defer leave()
		streams = append(streams, lines)
	}
	before := uint64(0)
	for round := range 20 {
		var err error
		if round%2 == 0 {
			err = s.w.Exclude(t.Context(), demoID, "2", "strap slipped", 0, bert.Who)
		} else {
			err = s.w.Restore(t.Context(), demoID, "2", "it was another", 0, bert.Who)
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, lines := range streams {
			wants(t, lines, "data: campaign "+demoID)
			s.get(campaignPath)
		}
		if round == 4 {
			before = heap()
		}
	}
	if after := heap(); after > before+4<<20 {
		t.Errorf("%d bytes after 5 changes, %d after 20", before, after)
	} else {
		t.Logf("%d KiB after 5 changes, %d KiB after 20", before>>10, after>>10)
	}
}
