package cli

import (
	"fmt"
	"io"
	"os"
	"time"
)

// progress shows how far long work has come: on a terminal only, and only once
// it has taken a while.
type progress struct {
	w     io.Writer
	what  string
	begun time.Time
	last  time.Time
	shown bool
}

func newProgress(w io.Writer, what string) *progress {
	now := time.Now()
	return &progress{w: w, what: what, begun: now, last: now}
}

const (
	progressAfter = time.Second
	progressEvery = 200 * time.Millisecond
)

// report is called by the lab, never by two goroutines at once.
func (p *progress) report(done, total int) {
	now := time.Now()
	if now.Sub(p.begun) < progressAfter || now.Sub(p.last) < progressEvery || !terminal(p.w) {
		return
	}
	p.last, p.shown = now, true
	fmt.Fprintf(p.w, "\r%s: %d of %d steps ", p.what, done, total)
}

// end clears the line.
func (p *progress) end() {
	if p.shown {
		fmt.Fprint(p.w, "\r\033[K")
	}
}

func terminal(w io.Writer) bool {
	file, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := file.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
