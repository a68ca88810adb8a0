package arrival

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// receiver keeps what a watch hands on and tells.
type receiver struct {
	mu     sync.Mutex
	files  []File
	events []Event
	refuse error // returned instead of taking
	came   chan struct{}
}

func newReceiver() *receiver { return &receiver{came: make(chan struct{}, 1000)} }

func (r *receiver) take(f File) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.refuse != nil {
		return r.refuse
	}
	r.files = append(r.files, f)
	r.came <- struct{}{}
	return nil
}

func (r *receiver) note(e Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.events = append(r.events, e)
	r.came <- struct{}{}
}

// until waits until what is seen is as wanted.
func (r *receiver) until(t *testing.T, what string, wanted func(files []File, events []Event) bool) {
	t.Helper()
	deadline := time.After(20 * time.Second)
	for {
		r.mu.Lock()
		ok := wanted(r.files, r.events)
		r.mu.Unlock()
		if ok {
			return
		}
		select {
		case <-r.came:
		case <-deadline:
			r.mu.Lock()
			defer r.mu.Unlock()
			t.Fatalf("%s did not come about; %d files, events %v", what, len(r.files), r.events)
		}
	}
}

func (r *receiver) setRefusal(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.refuse = err
}

func got(name string) func([]File, []Event) bool {
	return func(files []File, _ []Event) bool {
		return slices.ContainsFunc(files, func(f File) bool { return f.Name == name })
	}
}

func told(kind Kind) func([]File, []Event) bool {
	return func(_ []File, events []Event) bool {
		return slices.ContainsFunc(events, func(e Event) bool { return e.Kind == kind })
	}
}

// quick are options with short times.
func quick() Options {
	return Options{Quiet: 60 * time.Millisecond, Poll: 20 * time.Millisecond, Retry: 40 * time.Millisecond}
}

// watching watches a folder until the test ends. When it returns, the folder was
// looked at once.
func watching(t *testing.T, dir string, o Options) *receiver {
	t.Helper()
	r := newReceiver()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Watch(ctx, dir, o, r.take, r.note) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("the watch ended with %v", err)
		}
	})
	r.until(t, "the first look", told(Watching))
	r.mu.Lock()
	defer r.mu.Unlock()
	r.events = nil
	return r
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestWatchHandsOnWhatComes(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "old.csv"), "old\n")
	r := watching(t, dir, quick())
	write(t, filepath.Join(dir, "new.csv"), "new\n")
	// Written aside and renamed into place.
	write(t, filepath.Join(dir, "moved.csv.tmp"), "moved\n")
	if err := os.Rename(filepath.Join(dir, "moved.csv.tmp"), filepath.Join(dir, "moved.csv")); err != nil {
		t.Fatal(err)
	}
	r.until(t, "new.csv", got("new.csv"))
	r.until(t, "moved.csv", got("moved.csv"))
	for _, f := range r.files {
		if want := strings.TrimSuffix(f.Name, ".csv") + "\n"; string(f.Data) != want || f.Present || f.Again || f.Modified.IsZero() {
			t.Errorf("%+v, want the content %q", f, want)
		}
	}
	if len(r.files) != 2 {
		t.Errorf("%d files came: %v", len(r.files), r.files)
	}
}

func TestWatchWaitsForTheRest(t *testing.T) {
	dir := t.TempDir()
	r := watching(t, dir, quick())
	path := filepath.Join(dir, "a.csv")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r.until(t, "the note of an empty file", told(Empty))
	write := func(text string) {
		if _, err := file.WriteString(text); err != nil {
			t.Fatal(err)
		}
	}
	write("1,2\n3,")
	r.until(t, "the note of a line without end", told(Unfinished))
	write("4\n")
	r.until(t, "the whole file", got("a.csv"))
	if string(r.files[0].Data) != "1,2\n3,4\n" {
		t.Errorf("content %q", r.files[0].Data)
	}
	// Rewritten in place.
	write("5,6\n")
	r.until(t, "the file again", func(files []File, _ []Event) bool { return len(files) == 2 })
	if f := r.files[1]; !f.Again || string(f.Data) != "1,2\n3,4\n5,6\n" {
		t.Errorf("the second time %+v", f)
	}
}

func TestWatchTakesAnOpenEndWhereAskedTo(t *testing.T) {
	dir := t.TempDir()
	o := quick()
	o.OpenEnd = 100 * time.Millisecond
	r := watching(t, dir, o)
	write(t, filepath.Join(dir, "a.csv"), "1,2\n3,4")
	r.until(t, "a.csv", got("a.csv"))
	if string(r.files[0].Data) != "1,2\n3,4" {
		t.Errorf("content %q", r.files[0].Data)
	}
}

func TestWatchAFolderThatGoesAndComesBack(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "share")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	r := watching(t, dir, quick())
	write(t, filepath.Join(dir, "a.csv"), "a\n")
	r.until(t, "a.csv", got("a.csv"))
	if err := os.Rename(dir, dir+"-away"); err != nil {
		t.Fatal(err)
	}
	r.until(t, "the note that it is gone", told(FolderGone))
	write(t, filepath.Join(dir+"-away", "b.csv"), "b\n")
	if err := os.Rename(dir+"-away", dir); err != nil {
		t.Fatal(err)
	}
	r.until(t, "the note that it is back", told(FolderBack))
	r.until(t, "b.csv", got("b.csv"))
	if len(r.files) != 2 {
		t.Errorf("%d files came, want a.csv once and b.csv", len(r.files))
	}
}

func TestWatchGoesOnAfterARefusal(t *testing.T) {
	dir := t.TempDir()
	r := watching(t, dir, quick())
	full := errors.New("no room")
	r.setRefusal(full)
	write(t, filepath.Join(dir, "a.csv"), "a\n")
	r.until(t, "the note that it was not taken", told(NotTaken))
	time.Sleep(150 * time.Millisecond) // it is refused again, and not told again
	r.mu.Lock()
	if n := len(r.events); n != 1 || !errors.Is(r.events[0].Err, full) {
		t.Errorf("%d events: %v", n, r.events)
	}
	r.mu.Unlock()
	r.setRefusal(nil)
	r.until(t, "a.csv", got("a.csv"))
}

func TestWatchLeavesAloneWhatIsNoFile(t *testing.T) {
	dir, outside := t.TempDir(), t.TempDir()
	write(t, filepath.Join(outside, "secret.csv"), "secret\n")
	o := quick()
	o.MaxBytes = 10
	r := watching(t, dir, o)
	if err := os.Symlink(filepath.Join(outside, "secret.csv"), filepath.Join(dir, "link.csv")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "folder.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(dir, "pipe.csv"), 0o644); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "large.csv"), strings.Repeat("x\n", 6))
	write(t, filepath.Join(dir, "z.csv"), "z\n")
	r.until(t, "z.csv", got("z.csv"))
	r.until(t, "the note of the large file", told(TooLarge))
	if len(r.files) != 1 {
		t.Errorf("came: %v", r.files)
	}
}

func TestWatchAnUnreadableFile(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root can read every file")
	}
	dir := t.TempDir()
	r := watching(t, dir, quick())
	path := filepath.Join(dir, "a.csv")
	if err := os.WriteFile(path, []byte("a\n"), 0); err != nil {
		t.Fatal(err)
	}
	r.until(t, "the note that it cannot be read", told(Unreadable))
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	r.until(t, "a.csv", got("a.csv"))
}

func TestWatchOnce(t *testing.T) {
	dir := t.TempDir()
	for i := range 5 {
		write(t, filepath.Join(dir, fmt.Sprintf("%d.csv", i)), "x\n")
	}
	write(t, filepath.Join(dir, "open.csv"), "x\ny")
	o := quick()
	o.Once, o.Existing = true, true
	r := newReceiver()
	if err := Watch(t.Context(), dir, o, r.take, r.note); err != nil {
		t.Fatal(err)
	}
	if len(r.files) != 5 || !told(Unfinished)(nil, r.events) {
		t.Errorf("%d files, events %v", len(r.files), r.events)
	}
	r.refuse = errors.New("no room")
	if err := Watch(t.Context(), dir, o, r.take, r.note); !errors.Is(err, r.refuse) {
		t.Errorf("a refusal is answered with %v", err)
	}
}

func TestWatchRefusesWhatIsNoFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	write(t, file, "x")
	for _, dir := range []string{file, file + "-not-there"} {
		if err := Watch(t.Context(), dir, Options{}, nil, nil); err == nil {
			t.Errorf("%s is watched", dir)
		}
	}
}

// A file that a writer goes on with, in pieces and with pauses, is handed on once,
// whole, or again with what came later: the last content handed on is all of it.
func TestWatchManyWriters(t *testing.T) {
	dir := t.TempDir()
	r := watching(t, dir, quick())
	const writers = 8
	var group sync.WaitGroup
	for i := range writers {
		group.Go(func() {
			file, err := os.Create(filepath.Join(dir, fmt.Sprintf("%d.csv", i)))
			if err != nil {
				t.Error(err)
				return
			}
			defer file.Close()
			for part := range 5 {
				if _, err := fmt.Fprintf(file, "%d,", part); err != nil {
					t.Error(err)
				}
				time.Sleep(time.Duration(i) * 7 * time.Millisecond)
				if _, err := fmt.Fprintf(file, "%d\n", i); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	for i := range writers {
		want := fmt.Sprintf("0,%d\n1,%d\n2,%d\n3,%d\n4,%d\n", i, i, i, i, i)
		r.until(t, fmt.Sprintf("all of %d.csv", i), func(files []File, _ []Event) bool {
			return slices.ContainsFunc(files, func(f File) bool { return f.Name == fmt.Sprintf("%d.csv", i) && string(f.Data) == want })
		})
	}
	for _, f := range r.files {
		if !bytes.HasSuffix(f.Data, []byte("\n")) {
			t.Errorf("%s came with half a line: %q", f.Name, f.Data)
		}
	}
}

func TestEndsLine(t *testing.T) {
	for last, want := range map[[2]byte]bool{{'x', '\n'}: true, {'x', '\r'}: true, {'\n', 0}: true, {0, '\n'}: true, {'x', 'y'}: false, {'x', 0}: false, {0, 0}: false} {
		if endsLine(last) != want {
			t.Errorf("%q: %v", last, !want)
		}
	}
}

// A file that is there when the folder is read and cannot be read is told once, and
// tried again.
func TestAFileThatCannotBeRead(t *testing.T) {
	r := newReceiver()
	w := &watch{dir: t.TempDir(), options: quick().withDefaults(), take: r.take, note: r.note}
	w.tracker = newTracker(w.options)
	s := &sight{listed: listed{"gone.csv", 3, time.Now()}, since: time.Now()}
	for range 2 {
		if stuck, err := w.handOn(s); err != nil || !stuck || s.done {
			t.Errorf("stuck %v, %v, done %v", stuck, err, s.done)
		}
	}
	if len(r.events) != 1 || r.events[0].Kind != Unreadable || r.events[0].Err == nil || !s.retry.After(time.Now()) {
		t.Errorf("events %v, tried again at %v", r.events, s.retry)
	}
}
