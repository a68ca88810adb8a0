package store

import (
	"errors"
	"fmt"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"fairpull/evidence"
)

// What can be wrong, for errors.Is.
var (
	ErrPlace       = errors.New("the place of the workspace is not understood")
	ErrNoWorkspace = errors.New("there is no workspace")
	ErrExists      = errors.New("there is something already")
	ErrNoDatabase  = errors.New("is a folder of logs without its database beside it")
	ErrNewer       = errors.New("the workspace was written by a later version of the program: use that one")
	ErrNotFound    = errors.New("is not in the workspace")
	ErrRefused     = errors.New("cannot be kept as it is")
	ErrNotOpen     = errors.New("is not open: open it again, with a reason, to add to it")
	ErrFull        = errors.New("no room is left on the disk: nothing was written; make room and do it again")
	ErrReadOnly    = errors.New("the workspace may not be written here, and even reading takes notes beside the database: have write access to its folder given")
	ErrBusy        = errors.New("another program holds the workspace: nothing was written; do it again")
	ErrBlobs       = errors.New("the folder of the logs is not that of this workspace")
	ErrNoBackup    = errors.New("is not a whole backup")
	ErrNotLatest   = errors.New("another result was kept meanwhile")
)

// DifferentError says that a campaign is in the workspace already and says
// something else there. Nothing was written.
type DifferentError struct {
	Campaign    string
	Differences []Difference // in the order of the record; never empty
}

// Error names the campaign, the number of differences and the first of them.
func (e *DifferentError) Error() string {
	first := e.Differences[0]
	return fmt.Sprintf("campaign %s is in the workspace with %d differences, the first at %s: %s there, %s here",
		e.Campaign, len(e.Differences), first.Path, orNone(first.From), orNone(first.To))
}

// DamagedError says that stored bytes are not those that were stored.
type DamagedError struct {
	Name     string // what it is, or where
	Recorded evidence.Digest
	Found    evidence.Digest
}

// Error names the thing and both digests.
func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is not what was stored (recorded %s, found %s)", e.Name, e.Recorded, e.Found)
}

func orNone(text string) string {
	if text == "" {
		return "nothing"
	}
	return text
}

func refused(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrRefused, fmt.Sprintf(format, args...))
}

// explain adds the kind that a caller can act on to an error of an engine or of
// the disk.
func explain(err error) error {
	var lite *sqlite.Error
	var server *pgconn.PgError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, ErrFull), errors.Is(err, ErrBusy):
		return err
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w: %w", ErrFull, err)
	case errors.As(err, &lite):
		if lite.Code() == sqlite3.SQLITE_IOERR_SHMSIZE { // no room for the notes of who reads what
			return fmt.Errorf("%w: %w", ErrFull, err)
		}
		switch lite.Code() & 0xff { // the primary code of an extended one
		case sqlite3.SQLITE_FULL:
			return fmt.Errorf("%w: %w", ErrFull, err)
		case sqlite3.SQLITE_READONLY:
			return fmt.Errorf("%w: %w", ErrReadOnly, err)
		case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
			return fmt.Errorf("%w: %w", ErrBusy, err)
		}
	case errors.As(err, &server):
		switch server.Code {
		case "53100": // disk_full
			return fmt.Errorf("%w: %w", ErrFull, err)
		case "55P03", "40001", "40P01": // lock not available, serialization, deadlock
			return fmt.Errorf("%w: %w", ErrBusy, err)
		}
	}
	return err
}
