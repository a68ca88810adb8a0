package lab

import (
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/ingest"
	"fairpull/internal/arrival"
	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/signal"
)

// incoming is a log that came in, before it is a pull.
type incoming struct {
	name   string // of its file
	data   []byte
	digest evidence.Digest
	ended  time.Time // time of day
	whole  time.Time // when it was known to be whole, with the monotonic clock
	late   bool      // it was there before anybody watched
	clock  string    // why its own time was not taken; empty: it was
	began  bool      // ended is when its first row came
}

// clocksApart is by how much the time of a file may differ from the time at which
// it was seen, before the program's own clock is taken. Our own limit.
const clocksApart = 2 * time.Minute

func (s *session) takeFile(ctx context.Context, f arrival.File) error {
	in := incoming{name: printable(f.Name), data: f.Data, digest: evidence.OfBytes(f.Data), ended: f.Modified.Round(0), late: f.Present, whole: time.Now()}
	seen := s.clock.at(f.Seen)
	if apart := in.ended.Sub(seen).Abs(); !f.Present && apart > clocksApart {
		in.clock = fmt.Sprintf("its file says %s, which is %s off: the time it arrived is taken", in.ended.Format(time.RFC3339), apart.Round(time.Second))
		in.ended = seen
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.take(ctx, in)
	var open *unrecognisedError
	if s.o.Once && errors.As(err, &open) {
		s.say(report.CaptureProblem, f.Name, open.Error())
		return nil
	}
	return err
}

func (s *session) takeLines(ctx context.Context, l arrival.Log) error {
	in := incoming{name: "line.csv", data: l.Data, digest: evidence.OfBytes(l.Data), ended: s.clock.at(l.Began), began: true, whole: time.Now()}
	s.mu.Lock()
	defer s.mu.Unlock()
	if l.Cut {
		s.say(report.CaptureProblem, "", fmt.Sprintf("The line broke off or the log was too long: it ends after %d rows and is taken as it is.", l.Rows))
	}
	return s.take(ctx, in)
}

// tries is how often a pull's name is chosen anew where another capture took it
// meanwhile.
const tries = 8

// take makes a pull of a log, or finds that the campaign has it.
func (s *session) take(ctx context.Context, in incoming) error {
	for range tries {
		entry, err := s.entry(ctx)
		if err != nil {
			return err
		}
		c := &entry.Campaign
		if name, known := pullOf(entry, in.digest); known {
			if !in.late {
				s.say(report.CaptureNotice, in.name, fmt.Sprintf("%s is pull %s already, byte for byte.", in.name, name))
			}
			return nil
		}
		log, recipe, err := s.recognise(ctx, c, in)
		if err != nil {
			return err
		}
		pull, next, err := s.compose(c, in, log, recipe)
		if err != nil {
			return err
		}
		by := Author{Who: s.o.By.Who, Why: "captured from " + in.name}
		_, err = s.w.store.AddPull(ctx, s.o.Campaign, pull, in.data, by)
		var different *store.DifferentError
		switch {
		case errors.As(err, &different):
			continue // another capture took the name: look again
		case errors.Is(err, store.ErrNotOpen), errors.Is(err, store.ErrNotFound):
			s.stop(fmt.Errorf("campaign %s is closed meanwhile: %s is not kept", s.o.Campaign, in.name))
			return err
		case err != nil:
			return err
		}
		s.taken(ctx, pull, in, next)
		return nil
	}
	return fmt.Errorf("another capture goes on taking pulls of %s", s.o.Campaign)
}

// pullOf returns the pull whose log has the digest, if there is one.
func pullOf(entry store.Entry, d evidence.Digest) (string, bool) {
	for _, p := range entry.Campaign.Pulls {
		if entry.Logs[p.Log] == d {
			return p.Name, true
		}
	}
	return "", false
}

// compose makes the row of pulls.csv that a log gets.
func (s *session) compose(c *campaign.Campaign, in incoming, log *signal.Log, recipe *campaign.Recipe) (campaign.Pull, report.CaptureNext, error) {
	next, excluded, err := s.placeOf(c)
	if err != nil {
		return campaign.Pull{}, next, err
	}
	name := nextName(c)
	started, clock := started(c, in, log)
	if was := takenAs(c, in.name); was != "" && !s.o.Rewritten && s.o.Line == "" {
		excluded = fmt.Sprintf("%s changed after it was taken as pull %s: which of the two counts is to be decided", in.name, was)
	}
	cells := map[string]string{
		"pull": name, "configuration": next.Configuration, "setup": next.Setup, "excluded": excluded,
		"log": "logs/" + name + "-" + fileName(in.name), "started": started.Format(time.RFC3339Nano),
	}
	if recipe != nil && recipe.CorrectionApplied != "" {
		cells["correction_applied"] = recipe.CorrectionApplied
	}
	s.air.into(cells, log, s.clock.now())
	s.next.into(cells)
	if clock != "" {
		cells["note"] = strings.TrimSpace(cells["note"] + " start: " + clock)
	}
	pull, err := ingest.ReadRow(cells, c.Procedure)
	return pull, next, err
}

// placeOf returns where the next pull belongs, and why it would not count.
func (s *session) placeOf(c *campaign.Campaign) (next report.CaptureNext, excluded string, err error) {
	next, err = s.whereNext(c)
	switch {
	case err != nil && len(c.Pulls) > 0:
		last := lastPull(c)
		return report.CaptureNext{Configuration: last.Configuration, Setup: last.Setup}, "nobody said what was fitted: " + firstLine(err), nil
	case err != nil:
		return next, "", err
	case next.Finished:
		return next, "beyond the plan", nil
	case next.Confirm:
		return next, fmt.Sprintf("nobody said that block %d was fitted", next.Block), nil
	case next.Settling > 0:
		return next, campaign.SettlingReason + " after a change of parts", nil
	}
	return next, "", nil
}

// lastPull returns the pull that began last.
func lastPull(c *campaign.Campaign) campaign.Pull {
	return slices.MaxFunc(c.Pulls, func(a, b campaign.Pull) int { return a.Started.Compare(b.Started) })
}

// nextName returns the number after the highest that a pull has.
func nextName(c *campaign.Campaign) string {
	highest := 0
	for _, p := range c.Pulls {
		if n, err := strconv.Atoi(p.Name); err == nil && n > highest && n < 1<<31 {
			highest = n
		}
	}
	return strconv.Itoa(highest + 1)
}

// printable returns the name of a file with what cannot stand in a text, as control
// characters, made "_".
func printable(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '_'
	}, strings.ToValidUTF8(name, "_"))
}

// longestFileName bounds the name of a log within the campaign, in bytes.
const longestFileName = 80

// fileName returns the name of a file as a part of a path on every system.
func fileName(name string) string {
	name = strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '.' || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, printable(name))
	for len(name) > longestFileName {
		_, size := firstRune(name)
		name = name[size:]
	}
	return name
}

func firstRune(text string) (r rune, size int) {
	for i, c := range text {
		if i > 0 {
			return r, i
		}
		r = c
	}
	return r, len(text)
}

// takenAs returns the pull that was made of a file of the given name, the latest
// where there are several; empty: none.
func takenAs(c *campaign.Campaign, name string) string {
	found := ""
	for _, p := range c.Pulls {
		if path.Base(p.Log) == p.Name+"-"+fileName(name) {
			found = p.Name
		}
	}
	return found
}

// started returns when a pull began: its log's end less its length. A pull is
// taken after those that are there, so one whose time is not after theirs begins a
// second after the last. What is doubtful about it is returned in words.
func started(c *campaign.Campaign, in incoming, log *signal.Log) (at time.Time, doubt string) {
	at, doubt = in.ended, in.clock
	if !in.began {
		at = at.Add(-length(log))
	}
	at = at.Truncate(time.Millisecond)
	if len(c.Pulls) == 0 {
		return at, doubt
	}
	last := lastPull(c)
	if at.After(last.Started) {
		return at, doubt
	}
	behind := fmt.Sprintf("%s is not after pull %s, so it is put one second behind that", at.Format(time.RFC3339), last.Name)
	return last.Started.Add(time.Second), strings.TrimPrefix(doubt+"; "+behind, "; ")
}

// length returns how long a log lasts; 0 where it has no time base.
func length(log *signal.Log) time.Duration {
	if log == nil {
		return 0
	}
	t := log.Time
	if log.Kind == signal.Pulses {
		t = log.DrumPulse
	}
	if len(t) < 2 {
		return 0
	}
	seconds := t[len(t)-1] - t[0]
	if !(seconds > 0 && seconds < 24*3600) {
		return 0
	}
	return time.Duration(seconds * float64(time.Second))
}

// taken tells of a pull that is on the disk.
func (s *session) taken(ctx context.Context, pull campaign.Pull, in incoming, was report.CaptureNext) {
	s.next = enteredValues{}
	if !was.Confirm && pull.Used() {
		s.confirmed = max(s.confirmed, was.Block)
	}
	event := report.Capture{Kind: report.CapturePull, Campaign: s.o.Campaign, File: in.name, Pull: newCaptured(pull, in)}
	entry, err := s.entry(ctx)
	if err == nil {
		err = s.freezePlan(ctx, &entry.Campaign)
	}
	if err != nil {
		event.At, event.Message = s.clock.now(), fmt.Sprintf("Pull %s is kept. What it says could not be looked at: %v", pull.Name, firstLine(err))
		s.tell(event)
		return
	}
	s.judge(ctx, entry, was, &event)
	if next, err := s.whereNext(&entry.Campaign); err == nil {
		event.Next = &next
		event.Message += " " + s.nextWords(&entry.Campaign, next)
	} else {
		event.Message += " " + capital(firstLine(err)) + "."
	}
	event.At, event.Pull.Seconds = s.clock.now(), time.Since(in.whole).Seconds()
	s.tell(event)
}
