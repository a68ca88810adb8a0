package lab

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fairpull/evidence"
	"fairpull/internal/arrival"
	"fairpull/report"
)

// watching is a folder that is watched for a campaign.
type watching struct {
	folder string
	since  time.Time
	cancel context.CancelCauseFunc
}

// errEnded ends a watched folder that a person ends.
var errEnded = errors.New("ended")

// stopWatch ends the watched folder, if there is one. The session is locked.
func (r *atRig) stopWatch(cause error) {
	if r.watch != nil {
		r.watch.cancel(cause)
	}
}

// RigWatch says which folder is watched, and how.
type RigWatch struct {
	Folder    string
	Existing  bool // take what of it the campaign does not have
	Rewritten bool // a file that changes after it was taken is a new pull
}

// Watch takes the logs that come into a folder into the campaign, until somebody
// ends it or the measuring is closed. Whether the folder may be watched is the
// caller's to say. A folder is watched for one campaign at a time.
func (m *Measuring) Watch(ctx context.Context, id, who string, o RigWatch) error {
	return m.as(ctx, id, who, func(r *atRig) error {
		if r.watch != nil {
			return refused("%s is watched already.", r.watch.folder)
		}
		entry, err := r.entry(ctx)
		if err != nil {
			return err
		}
		if err := r.freezePlan(ctx, &entry.Campaign); err != nil {
			return err
		}
		if err := m.claim(id, o.Folder); err != nil {
			return err
		}
		// What the request ends does not end the watching.
		watched, cancel := context.WithCancelCause(context.WithoutCancel(ctx))
		r.watch = &watching{o.Folder, r.clock.now(), cancel}
		r.o.From, r.o.Existing, r.o.Rewritten = o.Folder, o.Existing, o.Rewritten
		r.started = func() { r.say(report.CaptureNotice, "", "The folder "+o.Folder+" is watched.") }
		m.nudge(id)
		go m.follow(watched, r, who, o)
		return nil
	})
}

// claim notes that a folder is watched, and refuses one that is.
func (m *Measuring) claim(id, folder string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return fmt.Errorf("%w: the server is ending", ErrBusy)
	}
	if other, taken := m.folders[folder]; taken {
		return refused("%s is watched for campaign %s. End that first.", folder, other)
	}
	m.folders[folder] = id
	m.watches.Add(1)
	return nil
}

// follow takes files until the watching ends. A file that is in hand then is taken
// to its end.
func (m *Measuring) follow(ctx context.Context, r *atRig, who string, o RigWatch) {
	defer m.watches.Done()
	take := func(f arrival.File) error {
		r.mu.Lock()
		r.o.By = Author{Who: who}
		r.mu.Unlock()
		return r.takeFile(context.WithoutCancel(ctx), f)
	}
	err := arrival.Watch(ctx, o.Folder, arrival.Options{Existing: o.Existing, MaxBytes: maxLogBytes}, take, r.note)
	m.mu.Lock()
	delete(m.folders, o.Folder)
	m.mu.Unlock()
	r.mu.Lock()
	defer r.mu.Unlock()
	r.watch = nil
	cause := context.Cause(ctx)
	switch {
	case errors.Is(cause, errEnded):
		r.say(report.CaptureNotice, "", "The folder "+o.Folder+" is no longer watched.")
		return
	case cause != nil:
		err = cause
	}
	if err != nil {
		m.log(r.id, err)
		r.say(report.CaptureProblem, "", "The folder "+o.Folder+" is no longer watched: "+sentence(firstLine(err)))
	}
}

// Unwatch ends the watching of the campaign's folder.
func (m *Measuring) Unwatch(ctx context.Context, id, who string) error {
	r, err := m.at(ctx, id)
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.watch == nil {
		return refused("No folder is watched for campaign %s.", id)
	}
	r.stopWatch(errEnded)
	return nil
}

// Close ends every watched folder and waits, as long as ctx lasts, until what is in
// hand is kept. Nothing is watched afterwards.
func (m *Measuring) Close(ctx context.Context) error {
	m.mu.Lock()
	m.closed = true
	rigs := make([]*atRig, 0, len(m.rigs))
	for _, r := range m.rigs {
		rigs = append(rigs, r)
	}
	m.mu.Unlock()
	for _, r := range rigs {
		r.mu.Lock()
		r.stopWatch(errEnded)
		r.mu.Unlock()
	}
	done := make(chan struct{})
	go func() { m.watches.Wait(); close(done) }()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("a log was still being taken: %w", ctx.Err())
	}
}

// RigLog is a log that came by a form.
type RigLog struct {
	Name      string // of the file
	Data      []byte
	Ago       time.Duration // since the pull ended
	Rewritten bool          // a file of the same name is another pull
}

// longestAgo bounds how long a pull may lie back that comes by a form.
const longestAgo = 24 * time.Hour

// Take makes a pull of a log, as if it had come into a watched folder, and returns
// the pull's name. A log that the campaign has already, byte for byte, is refused
// with the pull's name, and so is one of which nothing says what its columns are.
func (m *Measuring) Take(ctx context.Context, id, who string, l RigLog) (pull string, err error) {
	switch {
	case l.Name == "" || len(l.Data) == 0:
		return "", refused("No file was chosen, or it is empty.")
	case len(l.Data) > maxLogBytes:
		return "", refused("The file is larger than %d MiB: cut it to the part around the pull.", maxLogBytes>>20)
	case !(l.Ago >= 0 && l.Ago <= longestAgo):
		return "", refused("A pull that comes by this form ended within the last 24 hours.")
	}
	err = m.as(ctx, id, who, func(r *atRig) error {
		pull, err = r.takeLog(context.WithoutCancel(ctx), l)
		return err
	})
	return pull, err
}

func (r *atRig) takeLog(ctx context.Context, l RigLog) (string, error) {
	in := incoming{name: l.Name, data: l.Data, digest: evidence.OfBytes(l.Data), ended: r.clock.now().Add(-l.Ago), whole: time.Now(),
		clock: "by when the log was handed in by form"}
	entry, err := r.entry(ctx)
	if err != nil {
		return "", err
	}
	if name, known := pullOf(entry, in.digest); known {
		return "", refused("This is pull %s already, byte for byte. Nothing was added.", name)
	}
	if err := r.freezePlan(ctx, &entry.Campaign); err != nil {
		return "", err
	}
	before := r.o.Rewritten
	r.o.Rewritten = before || l.Rewritten
	err = r.take(ctx, in)
	r.o.Rewritten = before
	var open *unrecognisedError
	if errors.As(err, &open) {
		return "", &UnknownLogError{File: l.Name, Dyno: open.dyno, Why: firstLine(open.err)}
	}
	if err != nil {
		return "", rigRefusal(err)
	}
	if entry, err = r.entry(ctx); err != nil {
		return "", err
	}
	pull, _ := pullOf(entry, in.digest)
	return pull, nil
}

// UnknownLogError says that nothing tells what the columns of a log are: a recipe of
// the dyno's logger has to be taught first.
type UnknownLogError struct{ File, Dyno, Why string }

func (e *UnknownLogError) Error() string {
	return fmt.Sprintf("%s was not taken: %s. Teach dyno %s what the columns are, then hand it in again", e.File, e.Why, e.Dyno)
}

// Is makes the error one of what cannot be kept.
func (e *UnknownLogError) Is(target error) bool { return target == ErrRefused }

// Watched lists the folders that are watched now, in order.
func (m *Measuring) Watched() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	var list []string
	for folder := range m.folders {
		list = append(list, folder)
	}
	slices.Sort(list)
	return list
}
