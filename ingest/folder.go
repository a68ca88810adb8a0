package ingest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"syscall"
	"unicode"

	"fairpull/campaign"
	"fairpull/signal"
)

// Names of the two files that every campaign folder has.
const (
	CampaignFile = "campaign.toml"
	PullsFile    = "pulls.csv"
)

// Folder is an open campaign folder. Its methods may be called at the same time
// by several goroutines.
type Folder struct {
	Campaign campaign.Campaign

	files fs.FS
	close func() error
}

// OpenDir opens the campaign folder at path. Nothing outside the folder is ever
// read: neither a path that leads out of it nor a link that does is followed.
// A path that is no folder is the system's error; others are as those of
// [Open]. The folder must be closed.
func OpenDir(path string) (*Folder, error) {
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, err
	}
	folder, err := Open(root.FS())
	if err != nil {
		return nil, errors.Join(err, root.Close())
	}
	folder.close = root.Close
	return folder, nil
}

// Open reads campaign.toml and pulls.csv from the root of files and checks that
// the campaign can be analysed, as far as that can be told without the logs:
// everything that [campaign.Campaign.Problems] says, and that the log of every
// used pull is there. Confining what is read to the folder is up to files.
//
// Errors are *[SyntaxError], or *[Errors] where several are told at once.
func Open(files fs.FS) (*Folder, error) {
	data, err := readFile(files, CampaignFile, MaxCampaignBytes)
	if err != nil {
		return nil, err
	}
	c, r, err := readCampaign(CampaignFile, data)
	if err != nil {
		return nil, err
	}
	data, err = readFile(files, PullsFile, MaxPullsBytes)
	if err != nil {
		return nil, err
	}
	c.Pulls, c.ExtraColumns, err = readPulls(PullsFile, data, c.Procedure)
	if err != nil {
		return nil, joinFaults(&r.faults, err)
	}
	r.problems(c)
	for i := range c.Pulls {
		if p := &c.Pulls[i]; p.Used() {
			if err := checkFile(files, p.Log); err != nil {
				r.faults.add(&SyntaxError{File: PullsFile, Line: p.Line, Column: "column log", Text: p.Log, Err: err, Cure: "put the log there, or correct its path"})
			}
		}
	}
	if err := r.faults.err(); err != nil {
		return nil, err
	}
	return &Folder{Campaign: *c, files: files, close: func() error { return nil }}, nil
}

// joinFaults puts err, which may be a list itself, behind what is on the list.
func joinFaults(faults *Errors, err error) error {
	if list, ok := err.(*Errors); ok {
		for _, one := range list.List {
			faults.add(one)
		}
		faults.More += list.More
	} else {
		faults.add(err)
	}
	return faults.err()
}

// problems notes what keeps the campaign from being analysed, each at its place
// in campaign.toml or pulls.csv. What has been noted at a place already is not
// noted again.
func (r *reading) problems(c *campaign.Campaign) { r.noteProblems(c, c.Problems()) }

func (r *reading) noteProblems(c *campaign.Campaign, problems []campaign.Problem) {
	noted := map[string]bool{}
	for _, err := range r.faults.List {
		noted[err.(*SyntaxError).Column] = true
	}
	for _, p := range problems {
		var row int
		if n, _ := fmt.Sscanf(p.Key, "pulls[%d]", &row); n == 1 && row < len(c.Pulls) {
			e := &SyntaxError{File: PullsFile, Line: c.Pulls[row].Line, Err: because(ErrNotPossible, "%s", p.Message), Cure: p.Cure}
			if _, column, found := strings.Cut(p.Key, "."); found {
				e.Column = "column " + column
			}
			r.faults.add(e)
		} else if !noted[withoutIndices(p.Key)] {
			r.fault(p.Key, because(ErrNotPossible, "%s", p.Message), p.Cure)
		}
	}
}

// Close lets the folder go.
func (f *Folder) Close() error { return f.close() }

// Bytes returns a file of the folder as it is, for its hash or a copy. The name
// is a slash-separated path below the folder.
func (f *Folder) Bytes(name string) ([]byte, error) { return readFile(f.files, name, MaxLogBytes) }

// Log returns the log of a pull, in SI. Errors are those of [Folder.Bytes] and
// [Folder.Parse].
func (f *Folder) Log(p campaign.Pull) (*signal.Log, error) {
	data, err := f.Bytes(p.Log)
	if err != nil {
		return nil, err
	}
	return f.Parse(p, data)
}

// Parse returns the log that data, the content of the pull's log, hold. Besides
// the errors of [ParseLog], a log whose kind does not go with what the folder
// says is refused: a raw log without the drum's inertia, a pulse log without
// pulses_per_rev, a curve log without correction_applied, and a raw log with it.
func (f *Folder) Parse(p campaign.Pull, data []byte) (*signal.Log, error) {
	dyno := &f.Campaign.Dyno
	log, err := ParseLog(p.Log, data, LogOptions{Channels: f.Campaign.Channels, DrumRadius: float64(dyno.DrumRadius)})
	if err != nil {
		return nil, err
	}
	raw := log.Kind != signal.Reduced
	applied := &SyntaxError{File: PullsFile, Line: p.Line, Column: "column correction_applied"}
	switch {
	case raw && dyno.DrumInertia == 0:
		return nil, &SyntaxError{File: CampaignFile, Column: "dyno.drum_inertia_kgm2", Err: because(ErrMissing, "the drum's inertia is missing, and %s is a raw log", p.Log), Cure: "write it under [dyno]"}
	case log.Kind == signal.Pulses && dyno.PulsesPerRev == 0:
		return nil, &SyntaxError{File: CampaignFile, Column: "dyno.pulses_per_rev", Err: because(ErrMissing, "the encoder's pulses a turn are missing, and %s is a pulse log", p.Log), Cure: "write them under [dyno]"}
	case raw && p.CorrectionApplied != "":
		applied.Text = p.CorrectionApplied
		applied.Err, applied.Cure = because(ErrContradicted, "is said of %s, which is a raw log", p.Log), "leave the cell empty: only curve logs come corrected"
		return nil, applied
	case !raw && p.CorrectionApplied == "":
		applied.Err = because(ErrMissing, "%s is a curve log, and the correction already applied to it is missing", p.Log)
		applied.Cure = `write the standard's name and the correction_factor, or "none"`
		return nil, applied
	}
	return log, nil
}

// longestPath bounds the path of a log, in bytes.
const longestPath = 1024

// checkPath returns nil for a slash-separated path that stays below the folder
// on every system. A path with "." or ".." in it, an absolute one, one with a
// backslash or a drive, and one with characters that cannot be shown are refused.
func checkPath(path string) error {
	switch {
	case path == "":
		return ErrMissing
	case len(path) > longestPath:
		return because(ErrTooLarge, "is longer than %d bytes", longestPath)
	case !fs.ValidPath(path), path == ".", strings.ContainsAny(path, `\:`):
		return ErrOutside
	case strings.ContainsFunc(path, func(r rune) bool { return !unicode.IsPrint(r) }):
		return because(ErrOutside, "holds characters that cannot be shown")
	}
	return nil
}

// checkFile returns nil where path is a regular file that is not too large.
func checkFile(files fs.FS, path string) error {
	info, err := fs.Stat(files, path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return because(ErrMissing, "is not there")
	case err != nil && leadsOut(files, path, err):
		return because(ErrOutside, "is, or is reached by, a link that leads out of the folder")
	case err != nil:
		return as(ErrNotFile, err)
	case !info.Mode().IsRegular():
		return ErrNotFile
	}
	return nil
}

// leadsOut says whether err, of following path, comes from a link that leaves
// the folder: one of the path's steps is a link, and the system itself has no
// objection to it. What confines the files gives no error of its own for it.
func leadsOut(files fs.FS, path string, err error) bool {
	var system syscall.Errno
	if errors.As(err, &system) {
		return false
	}
	for end := 0; end < len(path); end++ {
		if next := strings.IndexByte(path[end:], '/'); next >= 0 {
			end += next
		} else {
			end = len(path)
		}
		info, err := fs.Lstat(files, path[:end])
		if err != nil {
			return false
		}
		if info.Mode()&fs.ModeSymlink != 0 {
			return true
		}
	}
	return false
}

// readFile returns the content of a regular file of at most limit bytes.
// Whether it is one is asked before it is opened: opening a pipe would wait for
// its other end.
func readFile(files fs.FS, name string, limit int) ([]byte, error) {
	fault := func(err error, cure string) error { return &SyntaxError{File: name, Err: err, Cure: cure} }
	if err := checkPath(name); err != nil {
		return nil, fault(err, "write the path from the folder down with / between its steps, as in logs/07.csv")
	}
	if err := checkFile(files, name); err != nil {
		return nil, fault(err, "a campaign folder holds campaign.toml, pulls.csv and the logs that pulls.csv names")
	}
	file, err := files.Open(name)
	if err != nil {
		return nil, fault(as(ErrNotFile, err), "")
	}
	defer file.Close()
	info, err := file.Stat()
	switch {
	case err != nil:
		return nil, fault(as(ErrNotFile, err), "")
	case !info.Mode().IsRegular():
		return nil, fault(ErrNotFile, "")
	case info.Size() > int64(limit):
		return nil, tooLarge(name, limit)
	}
	data := make([]byte, 0, info.Size()+1)
	for len(data) <= limit {
		n, err := file.Read(data[len(data):cap(data)])
		data = data[:len(data)+n]
		if err == io.EOF {
			return data, nil
		}
		if err != nil {
			return nil, fault(as(ErrNotFile, err), "")
		}
		if len(data) == cap(data) {
			data = append(data, 0)[:len(data)]
		}
	}
	return nil, tooLarge(name, limit)
}
