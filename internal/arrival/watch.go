package arrival

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"time"

	"github.com/fsnotify/fsnotify"
)

// Watch hands every file of a folder to take once it is whole, one after the
// other, until ctx ends; it then returns the context's error. Folders below it,
// links and hidden files are left alone.
//
// A file is whole when its size and modification time have stood still for
// o.Quiet and it ends with a line's end; what is changed afterwards is handed on
// again. What take refuses with an error is handed on again, too. Where several
// are whole at once the one modified first comes first, then the one whose name
// comes first.
//
// What comes after [Watching] is told is taken. The folder must be there when the
// watching begins. One that vanishes later,
// as a network share may, is looked for until it is back. Changes are found by
// looking; a file system that reports them only hastens that.
func Watch(ctx context.Context, dir string, o Options, take func(File) error, note func(Event)) error {
	if info, err := os.Stat(dir); err != nil {
		return err
	} else if !info.IsDir() {
		return &fs.PathError{Op: "watch", Path: dir, Err: errors.New("it is not a folder")}
	}
	w := &watch{dir: dir, options: o.withDefaults(), take: take, note: note}
	w.tracker = newTracker(w.options)
	w.notices = w.notify()
	if w.notices != nil {
		defer w.notices.Close()
	}
	for {
		started := time.Now()
		underway, err := w.look(ctx)
		if err != nil {
			return err
		}
		if o.Once && underway == 0 {
			return nil
		}
		wait := w.options.Poll
		if underway > 0 {
			wait = min(wait, w.options.Quiet/4+time.Millisecond)
		}
		// A folder that takes long to read is not read all the time.
		if err := w.wait(ctx, max(wait, 4*time.Since(started))); err != nil {
			return err
		}
	}
}

type watch struct {
	dir     string
	options Options
	tracker *tracker
	notices *fsnotify.Watcher // nil: the system reports nothing
	take    func(File) error
	note    func(Event)
	gone    bool
	begun   bool
}

// notify asks the system to report changes of the folder; nil where it cannot.
func (w *watch) notify() *fsnotify.Watcher {
	notices, err := fsnotify.NewWatcher()
	if err != nil {
		return nil
	}
	if err := notices.Add(w.dir); err != nil {
		notices.Close()
		return nil
	}
	return notices
}

// wait waits for a notice or the end of a time. Notices that come close
// together count once.
func (w *watch) wait(ctx context.Context, most time.Duration) error {
	timer := time.NewTimer(most)
	defer timer.Stop()
	var events chan fsnotify.Event
	var failures chan error
	if w.notices != nil {
		events, failures = w.notices.Events, w.notices.Errors
	}
	const together = 20 * time.Millisecond
	var soon <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-timer.C:
			return nil
		case <-soon:
			return nil
		case <-failures: // notices were lost: looking finds what they told
			return nil
		case _, open := <-events:
			if !open {
				events = nil
			} else if soon == nil {
				soon = time.After(together)
			}
		}
	}
}

// look reads the folder once, hands on what is whole and returns how many files
// are on their way.
func (w *watch) look(ctx context.Context) (underway int, err error) {
	list, err := list(w.dir)
	if err != nil {
		if w.options.Once {
			return 0, err
		}
		if !w.gone {
			w.note(Event{Kind: FolderGone, Err: err})
		}
		w.gone = true
		return 0, nil
	}
	if w.gone {
		w.gone = false
		w.note(Event{Kind: FolderBack})
		if w.notices != nil {
			_ = w.notices.Add(w.dir) // looking does without it
		}
	}
	ready, underway, left := w.tracker.look(time.Now(), list)
	if !w.begun {
		w.begun = true
		w.note(Event{Kind: Watching})
	}
	if len(left) > 0 {
		w.note(Event{Kind: Left, Names: left})
	}
	for _, s := range ready {
		if err := ctx.Err(); err != nil {
			return underway, err
		}
		stuck, err := w.handOn(s)
		if err != nil {
			return underway, err
		}
		if s.done || stuck && w.options.Once {
			underway--
		}
	}
	return underway, nil
}

// handOn hands on one file. It reports whether the file is stuck: it stands
// still and cannot be taken as it is.
func (w *watch) handOn(s *sight) (stuck bool, err error) {
	data, err := readWhole(w.dir, s.listed, w.options.MaxBytes, w.endsOpen(s))
	if errors.Is(err, errChanged) {
		return false, nil // the next look sees the change
	}
	kind := Unreadable
	if err == nil {
		file := File{Name: s.name, Data: data, Modified: s.modified, Seen: s.since, Present: s.present, Again: s.handed}
		if err = w.take(file); err == nil {
			s.done, s.handed = true, true
			return false, nil
		}
		if w.options.Once {
			return false, err
		}
		kind = NotTaken
	}
	switch {
	case errors.Is(err, errEmpty):
		kind = Empty
	case errors.Is(err, errOpenEnd):
		kind = Unfinished
	case errors.Is(err, errTooLarge):
		kind, s.done = TooLarge, true
	}
	w.tracker.again(s, time.Now())
	if s.tell(kind) {
		w.note(Event{Kind: kind, Names: []string{s.name}, Err: err})
	}
	return true, nil
}

// endsOpen reports whether the file has stood still for so long that it may end
// within a line.
func (w *watch) endsOpen(s *sight) bool {
	return w.options.OpenEnd > 0 && time.Since(s.since) >= w.options.OpenEnd
}

var errEmpty = errors.New("the file is empty")

// list returns the regular files of a folder.
func list(dir string) ([]listed, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	files := make([]listed, 0, len(entries))
	for _, e := range entries {
		if !e.Type().IsRegular() {
			continue
		}
		info, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue // it went meanwhile
		}
		if err != nil {
			return nil, err
		}
		files = append(files, listed{e.Name(), info.Size(), info.ModTime()})
	}
	return files, nil
}

// readWhole returns the content of a file that is as it was listed, before and
// after it was read.
func readWhole(dir string, as listed, most int64, endsOpen bool) ([]byte, error) {
	switch {
	case as.size == 0:
		return nil, errEmpty
	case as.size > most:
		return nil, errTooLarge
	}
	root, err := os.OpenRoot(dir) // no link leads out of it
	if err != nil {
		return nil, err
	}
	defer root.Close()
	// Asked before it is opened: opening a pipe would wait for its other end.
	if info, err := root.Lstat(as.name); err != nil || !info.Mode().IsRegular() {
		return nil, errors.Join(errNotFile, err)
	}
	file, err := root.Open(as.name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	var last [2]byte
	if _, err := file.ReadAt(last[max(0, 2-as.size):], max(0, as.size-2)); err != nil {
		return nil, errors.Join(errChanged, err)
	}
	if !endsLine(last) && !endsOpen {
		return nil, errOpenEnd
	}
	data := make([]byte, as.size)
	if _, err := io.ReadFull(file, data); err != nil {
		return nil, err
	}
	info, err := root.Lstat(as.name)
	if err != nil {
		return nil, err
	}
	if info.Size() != as.size || !info.ModTime().Equal(as.modified) {
		return nil, errChanged
	}
	return data, nil
}

// endsLine reports whether the last two bytes of a text end a line, in UTF-16 of
// either order too.
func endsLine(last [2]byte) bool {
	end := last[1]
	if end == 0 {
		end = last[0]
	}
	return end == '\n' || end == '\r'
}
