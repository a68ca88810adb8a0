package arrival

import (
	"bytes"
	"context"
	"errors"
	"io"
	"time"
	"unicode/utf8"
)

// LineOptions say where a log begins and ends in a stream of lines. A zero field
// has the default that is named.
type LineOptions struct {
	// Silence ends a log; 3 s.
	Silence time.Duration
	// Retry is how long to wait before a line that broke off is opened again, and
	// a log that was not taken is handed on again; 2 s.
	Retry time.Duration
	// MaxBytes is the longest log; 64 MiB. A longer one is handed on in parts.
	MaxBytes int
}

func (o LineOptions) withDefaults() LineOptions {
	if o.Silence <= 0 {
		o.Silence = 3 * time.Second
	}
	if o.Retry <= 0 {
		o.Retry = 2 * time.Second
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = 64 << 20
	}
	return o
}

// Log is a log that came as lines.
type Log struct {
	Data  []byte    // the header line and the lines behind it
	Began time.Time // when its first row came, with the monotonic clock
	Rows  int
	Cut   bool // it ended because it was too long or the line broke off
}

// longestLine bounds a line of a stream, in bytes.
const longestLine = 64 << 10

// Lines takes logs from a line source, which open opens, until ctx ends; it then
// returns the context's error. A source that ends or fails is opened again.
//
// The stream is text: a line that names the columns (and maybe one of units), then
// rows. A log ends with an empty line, with silence, or with the next line that
// names columns; a log whose columns are not named again has those of the log
// before. Rows that come
// before any names are not taken. A log that take refuses with an error is
// handed on again, before the next.
func Lines(ctx context.Context, open func(context.Context) (io.ReadCloser, error), o LineOptions, take func(Log) error, note func(Event)) error {
	o = o.withDefaults()
	c := &collector{options: o}
	told := Kind("")
	tell := func(kind Kind, err error) {
		if told != kind {
			note(Event{Kind: kind, Err: err})
		}
		told = kind
	}
	for {
		source, err := open(ctx)
		if err == nil {
			tell(Connected, nil)
			err = c.read(ctx, source, take, note)
			err = errors.Join(err, source.Close())
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		tell(Broken, err)
		if err := pause(ctx, o.Retry); err != nil {
			return err
		}
	}
}

func pause(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}

// chunk is what one read gave, or its error.
type chunk struct {
	data []byte
	err  error
}

// collector makes logs of what comes in.
type collector struct {
	options LineOptions
	header  []byte // with its lines' ends; nil: no columns were named yet
	naming  bool   // the last line was part of the header
	partial []byte // a line that has not ended
	skip    bool   // the line that is coming in is too long
	garbled bool   // told already
	log     Log
	heard   time.Time // when something came last
	ready   []Log     // ended, and not yet taken
}

// mostReady is how many logs wait to be taken before the source is left waiting.
const mostReady = 16

// read reads a source until it ends; its error is then returned.
func (c *collector) read(ctx context.Context, source io.Reader, take func(Log) error, note func(Event)) error {
	chunks := make(chan chunk)
	stop := make(chan struct{})
	defer close(stop)
	go pump(source, chunks, stop)
	var last error // why a log was not taken
	for {
		incoming := chunks
		if len(c.ready) >= mostReady {
			incoming = nil
		}
		wait := time.NewTimer(c.patience(last))
		select {
		case <-ctx.Done():
			wait.Stop()
			return ctx.Err()
		case <-wait.C:
			if time.Since(c.heard) >= c.options.Silence {
				c.end(false)
			}
		case in := <-incoming:
			wait.Stop()
			c.add(in.data, time.Now(), note)
			if in.err != nil {
				c.partial, c.skip, c.naming = nil, false, false
				c.end(len(c.log.Data) > 0)
				return errors.Join(c.giveAll(ctx, take, note), in.err)
			}
		}
		last = c.give(take, note, last)
	}
}

// pump reads a source and hands on what it gives.
func pump(source io.Reader, chunks chan<- chunk, stop <-chan struct{}) {
	for {
		buffer := make([]byte, 4096)
		n, err := source.Read(buffer)
		select {
		case chunks <- chunk{buffer[:n], err}:
		case <-stop:
			return
		}
		if err != nil {
			return
		}
	}
}

// patience is how long nothing may come before something is to be done.
func (c *collector) patience(failed error) time.Duration {
	most := time.Hour
	if failed != nil {
		most = c.options.Retry
	}
	if c.log.Rows > 0 {
		most = min(most, max(0, c.options.Silence-time.Since(c.heard)))
	}
	return most
}

// give hands on the logs that have ended. It returns the error of one that was
// not taken, which is told once.
func (c *collector) give(take func(Log) error, note func(Event), last error) error {
	for len(c.ready) > 0 {
		if err := take(c.ready[0]); err != nil {
			if last == nil {
				note(Event{Kind: NotTaken, Err: err})
			}
			return err
		}
		c.ready, last = c.ready[1:], nil
	}
	return nil
}

// giveAll hands on what is left when a source has ended, for as long as it takes.
func (c *collector) giveAll(ctx context.Context, take func(Log) error, note func(Event)) error {
	for last := c.give(take, note, nil); last != nil; last = c.give(take, note, last) {
		if err := pause(ctx, c.options.Retry); err != nil {
			return err
		}
	}
	return nil
}

// add takes in what was read at the moment now.
func (c *collector) add(data []byte, now time.Time, note func(Event)) {
	c.heard = now
	for len(data) > 0 {
		end := bytes.IndexByte(data, '\n')
		part := data
		if end >= 0 {
			part = data[:end]
		}
		if c.skip = c.skip || len(c.partial)+len(part) > longestLine; c.skip {
			c.partial = nil
		} else {
			c.partial = append(c.partial, part...)
		}
		if end < 0 {
			return
		}
		data = data[end+1:]
		line := bytes.TrimRight(c.partial, "\r")
		if c.skip || !utf8.Valid(line) || bytes.IndexByte(line, 0) >= 0 {
			if !c.garbled {
				c.garbled = true
				note(Event{Kind: Garbled})
			}
		} else {
			c.line(line, now)
		}
		c.partial, c.skip = c.partial[:0], false
	}
}

// line takes one line.
func (c *collector) line(line []byte, now time.Time) {
	switch {
	case len(bytes.TrimSpace(line)) == 0:
		c.end(false)
		c.naming = false
	case !isRow(line):
		c.end(false)
		if !c.naming || len(c.header) > longestLine {
			c.header = nil
		}
		c.header = append(append(bytes.Clone(c.header), line...), '\n')
		c.naming = true
	case c.header == nil: // rows of columns that nobody named
	default:
		if len(c.log.Data)+len(line) >= c.options.MaxBytes {
			c.end(true)
		}
		if c.log.Rows == 0 {
			c.log.Data, c.log.Began = bytes.Clone(c.header), now
		}
		c.naming = false
		c.log.Data = append(append(c.log.Data, line...), '\n')
		c.log.Rows++
	}
}

// isRow reports whether a line begins with a number, as a row does; one that
// begins with anything else names columns.
func isRow(line []byte) bool {
	line = bytes.TrimLeft(line, " \t\"+-.,")
	return len(line) > 0 && line[0] >= '0' && line[0] <= '9'
}

// end ends the log that is coming in, if there is one.
func (c *collector) end(cut bool) {
	if c.log.Rows > 0 {
		c.log.Cut = cut
		c.ready = append(c.ready, c.log)
	}
	c.log = Log{}
}
