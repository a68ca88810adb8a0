package lab

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"fairpull/campaign"
	"fairpull/internal/arrival"
	"fairpull/internal/store"
	"fairpull/report"
)

// CaptureOptions say what is captured, from where, and how.
type CaptureOptions struct {
	Campaign string // of the workspace, open
	// From is the folder that the rig's logger writes to; Line is a line source
	// instead: tcp://HOST:PORT or a serial port as in /dev/ttyUSB0:115200.
	From, Line string
	// Configuration and Setup are what is on the rig, where there is no plan, or to
	// depart from it. Empty: as planned.
	Configuration, Setup string
	// Values are entered before the first pull, as a person would type them:
	// pressure_kpa=98.7 temperature_degc=21.5 relative_humidity_pct=45. May be empty.
	Values string
	// Recipe is the one to use of the dyno's; empty: the one that fits.
	Recipe string
	// KeepGoing takes the next pull after a full block for the next planned block,
	// without anybody saying that it is fitted.
	KeepGoing bool
	// Rewritten takes a file that changed after it was taken for a new pull, as from
	// a logger that always writes to the same name.
	Rewritten bool
	Existing  bool          // take the files that are in the folder already, too
	Once      bool          // end when every file that is there has been taken or cannot be
	Quiet     time.Duration // how long a file stands still before it is whole; 0: 1 s
	OpenEnd   time.Duration // after how long a file that ends within a line is taken all the same; 0: never
	Silence   time.Duration // of a line source that ends a log; 0: 3 s

	// Commands are what a person types, a line each; see [CaptureCommands]. The
	// capture ends with the word quit, not with the channel. May be nil.
	Commands <-chan string
	By       Author
}

// Check returns what is wrong with the options themselves.
func (o *CaptureOptions) check() error {
	switch {
	case (o.From == "") == (o.Line == ""):
		return errors.New("name one source of logs: a folder (--from) or a line (--line)")
	case (o.Configuration == "") != (o.Setup == ""):
		return errors.New("name both what is fitted and the strapping-down (--configuration B --setup s2), or neither where there is a plan")
	case o.Once && o.Line != "":
		return errors.New("a line has no end to wait for (--once goes with --from)")
	}
	return nil
}

// session is one capture that is going on. Files, lines and commands come from
// different goroutines and take turns.
type session struct {
	w    *Workspace
	o    CaptureOptions
	tell func(report.Capture)
	stop context.CancelCauseFunc

	mu        sync.Mutex
	clock     clock
	recipes   []campaign.Recipe
	confirmed int           // block of the plan, from 1, that somebody said is fitted
	settled   int           // block, from 1, whose settling pulls are over
	forced    *mounted      // what a person said is on the rig, plan or not
	air       enteredAir    // entered last
	next      enteredValues // for the next pull
	failed    map[string]failedPull
	started   func() // says where the campaign stands, once the source is looked at
}

// mounted is what is on the rig, in which strapping-down.
type mounted struct{ configuration, setup string }

// errStopped ends a capture that a person ends.
var errStopped = errors.New("stopped")

// Capture takes pulls into a campaign as they arrive, until ctx ends or somebody
// types quit, and tells what happens, one event after the other.
//
// A log is stored before anything is computed from it, and is told only then: what
// was told survives the end of the process. A file whose content the campaign has
// already is not taken again, so a capture that was interrupted is simply begun
// again. Several captures of one campaign at the same time do not harm each other.
func (w *Workspace) Capture(ctx context.Context, o CaptureOptions, tell func(report.Capture)) error {
	if err := o.check(); err != nil {
		return err
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	s := &session{w: w, o: o, tell: tell, stop: stop, clock: newClock(), failed: map[string]failedPull{}}
	if err := s.begin(ctx); err != nil {
		return err
	}
	var typing sync.WaitGroup
	typing.Go(func() { s.listen(ctx) })
	err := s.receive(ctx)
	cause := context.Cause(ctx)
	stop(nil)
	typing.Wait()
	switch {
	case cause != nil && !errors.Is(cause, errStopped) && !errors.Is(cause, context.Canceled):
		return cause
	case err != nil && cause == nil:
		return err
	}
	s.say(report.CaptureStopped, "", "Capture ended. What was told is kept.")
	return nil
}

// receive takes files or lines until the context ends.
func (s *session) receive(ctx context.Context) error {
	if s.o.Line == "" {
		options := arrival.Options{Quiet: s.o.Quiet, OpenEnd: s.o.OpenEnd, Existing: s.o.Existing || s.o.Once, Once: s.o.Once, MaxBytes: maxLogBytes}
		return arrival.Watch(ctx, s.o.From, options, func(f arrival.File) error { return s.takeFile(ctx, f) }, s.note)
	}
	open, err := arrival.Source(s.o.Line)
	if err != nil {
		return err
	}
	return arrival.Lines(ctx, func(ctx context.Context) (io.ReadCloser, error) { return open(ctx) },
		arrival.LineOptions{Silence: s.o.Silence}, func(l arrival.Log) error { return s.takeLines(ctx, l) }, s.note)
}

// listen carries out what a person types.
func (s *session) listen(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case line, open := <-s.o.Commands:
			if !open {
				return
			}
			s.mu.Lock()
			s.command(ctx, line)
			s.mu.Unlock()
		}
	}
}

// begin looks at the campaign, and says where it stands.
func (s *session) begin(ctx context.Context) error {
	entry, err := s.entry(ctx)
	if err != nil {
		return err
	}
	if entry.State != store.StateOpen {
		return fmt.Errorf("campaign %s %w", s.o.Campaign, store.ErrNotOpen)
	}
	if err := s.readRecipes(ctx, entry.Campaign.Dyno.ID); err != nil {
		return err
	}
	c := &entry.Campaign
	if s.o.Configuration != "" {
		if err := checkPlace(c, s.o.Configuration, s.o.Setup); err != nil {
			return err
		}
		s.forced = &mounted{s.o.Configuration, s.o.Setup}
	}
	next, err := s.whereNext(c)
	if err != nil {
		return err
	}
	if len(c.Pulls) == 0 {
		s.confirmed = 1 // who begins a campaign has fitted what comes first
		next, err = s.whereNext(c)
		if err != nil {
			return err
		}
	}
	s.air = lastAir(c)
	if s.o.Values != "" {
		if _, err := s.enter(ctx, oneLine(s.o.Values)); err != nil {
			return err
		}
	}
	if err := s.freezePlan(ctx, c); err != nil {
		return err
	}
	s.started = func() { s.sayStarted(c, next) }
	if s.o.Line != "" {
		s.started()
	}
	return nil
}

// sayStarted says where the campaign stands.
func (s *session) sayStarted(c *campaign.Campaign, next report.CaptureNext) {
	source := s.o.From
	if s.o.Line != "" {
		source = s.o.Line
	}
	s.sayNext(report.CaptureStarted, fmt.Sprintf("Campaign %s, pulls so far: %d. Taking logs from %s. %s", c.ID, len(c.Pulls), source, s.nextWords(c, next)), next)
	if words, _ := s.air.words(s.clock.now()); words != "" {
		s.say(report.CaptureNotice, "", "The air holds until it is entered anew: "+cellWords(s.air.cells)+". "+words)
	}
	if c.Plan == nil {
		s.say(report.CaptureNotice, "", "This campaign has no plan: nothing is frozen, and nothing holds the pulls to an order. Plan first where a claim is to be made.")
	}
}

// entry reads the campaign without its files.
func (s *session) entry(ctx context.Context) (store.Entry, error) {
	entry, err := s.w.store.Entry(ctx, s.o.Campaign, 0)
	if err != nil {
		return entry, unknownCampaign(err)
	}
	return entry, nil
}

// readRecipes reads the dyno's recipes; the one that was named alone, where one was.
func (s *session) readRecipes(ctx context.Context, dyno string) error {
	list, err := s.w.store.Recipes(ctx, dyno)
	if err != nil {
		return err
	}
	if s.o.Recipe == "" {
		s.recipes = list
		return nil
	}
	for _, r := range list {
		if r.Name == s.o.Recipe {
			s.recipes = []campaign.Recipe{r}
			return nil
		}
	}
	return fmt.Errorf("dyno %s has no recipe %q.\n  What it has: fairpull recipe %s", dyno, s.o.Recipe, dyno)
}

// checkPlace refuses a configuration that the campaign does not declare, and a setup
// that was left: the vehicle was unstrapped since.
func checkPlace(c *campaign.Campaign, configuration, setup string) error {
	if _, declared := c.Configuration(configuration); !declared {
		var ids []string
		for _, known := range c.Configurations {
			ids = append(ids, known.ID)
		}
		return fmt.Errorf("campaign %s declares no configuration %q; it has %s", c.ID, configuration, strings.Join(ids, ", "))
	}
	if err := campaign.CheckName(setup); err != nil {
		return fmt.Errorf("the setup %.80q %w", setup, err)
	}
	left := func(p campaign.Pull) bool { return p.Setup == setup }
	if len(c.Pulls) > 0 && lastPull(c).Setup != setup && slices.ContainsFunc(c.Pulls, left) {
		return fmt.Errorf("setup %s was left for %s, so the vehicle was unstrapped since: give this strapping-down a name of its own", setup, lastPull(c).Setup)
	}
	return nil
}

// note words what the arrival of files and lines tells.
func (s *session) note(e arrival.Event) {
	s.mu.Lock()
	defer s.mu.Unlock()
	file := ""
	if len(e.Names) == 1 {
		file = e.Names[0]
	}
	switch e.Kind {
	case arrival.Watching:
		s.started()
	case arrival.Left:
		s.say(report.CaptureNotice, "", fmt.Sprintf("In the folder already and not taken: %s. To take what of it the campaign does not have: --existing", shortList(e.Names)))
	case arrival.Unfinished:
		s.say(report.CaptureProblem, file, file+" stands still within a line: waiting for the rest of it. A logger that never ends its last line: --open-end 5s")
	case arrival.Empty:
		s.say(report.CaptureNotice, file, file+" is empty: waiting for what is to be in it.")
	case arrival.TooLarge:
		s.say(report.CaptureProblem, file, fmt.Sprintf("%s is larger than %d MiB and is not taken: cut it to the part around the pull.", file, maxLogBytes>>20))
	case arrival.Unreadable:
		s.say(report.CaptureProblem, file, fmt.Sprintf("%s cannot be read (%v): tried again until it can.", file, e.Err))
	case arrival.NotTaken:
		s.notTaken(file, e.Err)
	case arrival.FolderGone:
		s.say(report.CaptureProblem, "", fmt.Sprintf("The folder %s cannot be read (%v): is the share mounted? Looked for until it is back.", s.o.From, e.Err))
	case arrival.FolderBack:
		s.say(report.CaptureNotice, "", "The folder "+s.o.From+" is back.")
	case arrival.Broken:
		s.say(report.CaptureProblem, "", fmt.Sprintf("The line %s is not there (%v): opened again until it is.", s.o.Line, e.Err))
	case arrival.Connected:
		s.say(report.CaptureNotice, "", "The line "+s.o.Line+" is open.")
	case arrival.Garbled:
		s.say(report.CaptureProblem, "", "What comes over the line is in part no text, and such lines are dropped: look at speed and cable.")
	}
}

// notTaken words why a file was not taken; it is handed on again.
func (s *session) notTaken(file string, err error) {
	var open *unrecognisedError
	switch {
	case errors.As(err, &open):
		s.say(report.CaptureProblem, file, open.Error())
	case errors.Is(err, store.ErrFull):
		s.say(report.CaptureProblem, file, "No room is left on the disk: "+orLine(file)+" is not kept. Make room; it is tried again until it is.")
	case errors.Is(err, store.ErrBusy):
		s.say(report.CaptureProblem, file, "Another program holds the workspace: "+orLine(file)+" is not kept yet, and is tried again until it is.")
	default:
		s.say(report.CaptureProblem, file, fmt.Sprintf("%s is not kept: %v. It is tried again.", orLine(file), firstLine(err)))
	}
}

func orLine(file string) string {
	if file == "" {
		return "the log from the line"
	}
	return file
}

// shortList joins the first names of a list, and says how many more there are.
func shortList(names []string) string {
	const most = 5
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

func (s *session) say(kind report.CaptureKind, file, message string) {
	s.tell(report.Capture{Kind: kind, Campaign: s.o.Campaign, At: s.clock.now(), File: file, Message: message})
}

func (s *session) sayNext(kind report.CaptureKind, message string, next report.CaptureNext) {
	s.tell(report.Capture{Kind: kind, Campaign: s.o.Campaign, At: s.clock.now(), Message: message, Next: &next})
}

// clock gives the time of day at the start of the capture plus what has passed
// since: a clock that is set meanwhile moves nothing.
type clock struct{ start time.Time }

func newClock() clock { return clock{time.Now()} }

func (c clock) now() time.Time { return c.start.Add(time.Since(c.start)).Round(0) }

// at returns the time of day of a moment that carries the monotonic clock.
func (c clock) at(moment time.Time) time.Time {
	return c.start.Add(moment.Sub(c.start)).Round(0)
}
