package web

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"fairpull/internal/lab"
)

// Bounds of the streams of events.
const (
	pollEvery    = 400 * time.Millisecond // how often the workspace is asked for changes
	beatEvery    = 20 * time.Second       // a sign of life, so that proxies keep the stream
	maxStreams   = 256
	streamsOfOne = 48 // of one account, so that nobody takes those of the others
	keptChanges  = 256
	keptAside    = 64
	changesAtOne = 100 // asked for at once
)

// watcher looks for changes of the workspace while somebody follows them,
// whichever process makes them, and wakes all who do.
type watcher struct {
	desk *lab.Desk
	log  *slog.Logger

	mu      sync.Mutex
	streams int
	of      map[string]int // streams by account, where people sign in
	running bool
	seq     int64            // of the latest change seen
	recent  []lab.ChangeNote // the last of them, oldest first
	told    int64            // how often something was told that is no change of the workspace
	aside   []lab.ChangeNote // the last of that; Seq counts told
	wake    chan struct{}    // closed when there is something new, then made anew
	done    chan struct{}    // closed when the server stops
	once    sync.Once
}

func newWatcher(desk *lab.Desk, log *slog.Logger) *watcher {
	return &watcher{desk: desk, log: log, of: map[string]int{}, wake: make(chan struct{}), done: make(chan struct{})}
}

func (w *watcher) stop() { w.once.Do(func() { close(w.done) }) }

// join counts one more who follows, and reports false where there are too many, or too
// many of one account. Where nobody signs in, account is empty.
func (w *watcher) join(ctx context.Context, account string) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.streams >= maxStreams || w.of[account] >= streamsOfOne {
		return false
	}
	w.streams++
	if account != "" {
		w.of[account]++
	}
	if !w.running {
		w.running = true
		w.recent = nil
		if seq, err := w.desk.LastChange(ctx); err == nil {
			w.seq = seq
		}
		go w.poll()
	}
	return true
}

func (w *watcher) leave(account string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.streams--
	if w.of[account]--; w.of[account] <= 0 {
		delete(w.of, account)
	}
}

func (w *watcher) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.streams
}

// poll asks for changes until nobody follows.
func (w *watcher) poll() {
	ticker := time.NewTicker(pollEvery)
	defer ticker.Stop()
	for {
		select {
		case <-w.done:
			return
		case <-ticker.C:
		}
		if w.alone() {
			return
		}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		if err := w.look(ctx); err != nil {
			w.log.Warn("looking for changes", "error", err)
		}
		cancel()
	}
}

// alone ends the polling where nobody follows.
func (w *watcher) alone() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.running = w.streams > 0
	return !w.running
}

func (w *watcher) look(ctx context.Context) error {
	w.mu.Lock()
	seen := w.seq
	w.mu.Unlock()
	last, err := w.desk.LastChange(ctx)
	if err != nil || last == seen {
		return err
	}
	notes, err := w.desk.ChangesAfter(ctx, max(seen, last-changesAtOne), changesAtOne)
	if err != nil || len(notes) == 0 {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if last-changesAtOne > seen {
		w.recent = nil // some between are not known: who follows looks at everything
	}
	w.recent = append(w.recent, notes...)
	if over := len(w.recent) - keptChanges; over > 0 {
		w.recent = append([]lab.ChangeNote(nil), w.recent[over:]...)
	}
	w.seq = notes[len(notes)-1].Seq
	close(w.wake)
	w.wake = make(chan struct{})
	return nil
}

// since returns the changes after one, and what to wait for; whole is false
// where some of them are no longer known.
func (w *watcher) since(seq int64) (notes []lab.ChangeNote, latest int64, whole bool, wake <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	whole = true
	switch {
	case seq >= w.seq:
	case len(w.recent) == 0 || w.recent[0].Seq > seq+1:
		whole = false
	default:
		for _, n := range w.recent {
			if n.Seq > seq {
				notes = append(notes, n)
			}
		}
	}
	return notes, w.seq, whole, w.wake
}

// tell wakes all who follow a campaign, for what is no change of the workspace.
func (w *watcher) tell(id string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.told++
	w.aside = append(w.aside, lab.ChangeNote{Seq: w.told, Kind: "campaign", Subject: id})
	w.aside = w.aside[max(0, len(w.aside)-keptAside):]
	close(w.wake)
	w.wake = make(chan struct{})
}

// toldAfter returns what was told aside of changes after a number, each subject
// once, and the number of the latest.
func (w *watcher) toldAfter(number int64) (notes []lab.ChangeNote, latest int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, n := range w.aside {
		if n.Seq > number && !slices.ContainsFunc(notes, func(other lab.ChangeNote) bool { return other.Subject == n.Subject }) {
			notes = append(notes, n)
		}
	}
	return notes, w.told
}

// events streams what changes, until the browser goes away or the server stops.
// The parameter after, or the header that a browser sends when it comes back, is
// the place from which on to tell: the number of a change, and behind a hyphen, where
// it is known, that of what was told aside. The first event, "here", says where the
// stream begins; a change's data is kind and subject of what changed, or * where
// everything should be looked at again, and its id is the place behind it.
func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	who, _ := accountOf(r)
	if !s.watch.join(r.Context(), who.Name) {
		return &requestError{http.StatusServiceUnavailable, "Too many pages follow the workspace at once. This one does not; load it again to see what changed."}
	}
	defer s.watch.leave(who.Name)
	control := http.NewResponseController(w)
	if err := control.SetWriteDeadline(time.Time{}); err != nil {
		return fmt.Errorf("stream of events: %w", err)
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no")
	after := r.Header.Get("Last-Event-ID")
	if after == "" {
		after = r.URL.Query().Get("after")
	}
	seq, told := s.watch.place(after)
	if _, err := fmt.Fprintf(w, "retry: 2000\nevent: here\ndata: %d-%d\n\n", seq, told); err != nil || control.Flush() != nil {
		return nil
	}
	return s.stream(w, r, control, seq, told)
}

// place reads where a stream is to begin. What is not known begins now.
func (w *watcher) place(after string) (seq, told int64) {
	first, second, _ := strings.Cut(after, "-")
	seq, err := strconv.ParseInt(first, 10, 64)
	if err != nil || seq < 0 {
		_, seq, _, _ = w.since(1<<63 - 1)
	}
	told, err = strconv.ParseInt(second, 10, 64)
	if err != nil || told < 0 {
		_, told = w.toldAfter(1<<63 - 1)
	}
	return seq, told
}

func (s *Server) stream(w http.ResponseWriter, r *http.Request, control *http.ResponseController, seq, told int64) error {
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	for {
		notes, latest, whole, wake := s.watch.since(seq)
		if !whole {
			notes = []lab.ChangeNote{{Seq: latest, Kind: "*"}}
		}
		for _, n := range notes {
			seq = n.Seq
			if _, err := fmt.Fprintf(w, "id: %d-%d\nevent: change\ndata: %s %s\n\n", seq, told, n.Kind, n.Subject); err != nil {
				return nil
			}
		}
		var aside []lab.ChangeNote
		aside, told = s.watch.toldAfter(told)
		for _, n := range aside {
			if _, err := fmt.Fprintf(w, "id: %d-%d\nevent: change\ndata: %s %s\n\n", seq, told, n.Kind, n.Subject); err != nil {
				return nil
			}
		}
		if len(notes)+len(aside) > 0 && control.Flush() != nil {
			return nil
		}
		select {
		case <-wake:
		case <-beat.C:
			if _, err := fmt.Fprint(w, ": still here\n\n"); err != nil || control.Flush() != nil {
				return nil
			}
			if gone, err := s.noLongerSignedIn(r); gone || err != nil {
				return nil
			}
		case <-r.Context().Done():
			return nil
		case <-s.watch.done:
			return nil
		}
	}
}
