// Package arrival takes in files and lines as they arrive, and hands them on
// once they are whole: files that a logger drops in a folder, and lines that it
// sends over a serial line or a network connection.
//
// It knows bytes and names, not what they mean.
package arrival

import (
	"errors"
	"time"
)

// File is a file that arrived whole.
type File struct {
	Name     string    // within the folder
	Data     []byte    // all of it; never empty
	Modified time.Time // as the file system says
	Seen     time.Time // when this content was first seen, with the monotonic clock
	Present  bool      // it lay in the folder when watching began
	Again    bool      // another content of this name was handed on before
}

// Options say when a file is whole. A zero field has the default that is named.
type Options struct {
	// Quiet is how long size and modification time must stand still; 1 s.
	Quiet time.Duration
	// OpenEnd is how long a file that ends within a line must stand still to be
	// taken all the same; 0: it waits for its line's end for ever.
	OpenEnd time.Duration
	// Poll is how often the folder is read where nothing reports a change, as on
	// a network share; 500 ms.
	Poll time.Duration
	// Retry is how long a file that could not be read or taken is left alone
	// before it is tried again; 2 s.
	Retry time.Duration
	// MaxBytes is the largest file that is read; 256 MiB.
	MaxBytes int64
	// Existing has the files taken that lie in the folder when watching begins.
	Existing bool
	// Once ends the watching when every file has been taken or cannot be.
	Once bool
}

// withDefaults fills in what is zero.
func (o Options) withDefaults() Options {
	for _, d := range []struct {
		field *time.Duration
		value time.Duration
	}{{&o.Quiet, time.Second}, {&o.Poll, 500 * time.Millisecond}, {&o.Retry, 2 * time.Second}} {
		if *d.field <= 0 {
			*d.field = d.value
		}
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = 256 << 20
	}
	return o
}

// Kind says what an Event tells.
type Kind string

// The kinds.
const (
	Watching   Kind = "watching"    // the folder was looked at for the first time
	Left       Kind = "left"        // lay in the folder at the start and is not taken
	Unfinished Kind = "unfinished"  // stands still and ends within a line
	Empty      Kind = "empty"       // stands still and holds nothing
	TooLarge   Kind = "too large"   // is larger than Options.MaxBytes
	Unreadable Kind = "unreadable"  // cannot be read; it is tried again
	NotTaken   Kind = "not taken"   // the receiver returned an error; it is handed on again
	FolderGone Kind = "folder gone" // the folder cannot be read; it is looked for
	FolderBack Kind = "folder back" // the folder can be read again
	Broken     Kind = "broken"      // the line broke off; it is opened again
	Connected  Kind = "connected"   // the line is open
	Garbled    Kind = "garbled"     // what came over the line is no text, and was dropped
)

// Event is something that a person should hear of. Each is told once, until
// something else is.
type Event struct {
	Kind  Kind
	Names []string // of the files; nil: the folder or the line
	Err   error    // what was wrong; nil where the kind says it all
}

var (
	errChanged  = errors.New("the file changed while it was read")
	errOpenEnd  = errors.New("the file ends within a line")
	errTooLarge = errors.New("the file is too large")
	errNotFile  = errors.New("it is not a regular file")
)
