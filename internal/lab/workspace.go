package lab

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"fairpull/internal/store"
)

// Workspace is a lab's memory, open. It must be closed.
type Workspace struct {
	store *store.Store
	place string // as a person may see it
	made  bool
	past  knownPast
}

// What passes between the workspace and those who ask it.
type (
	// Author is who writes, and why.
	Author = store.Author
	// CampaignQuery asks for campaigns of the workspace.
	CampaignQuery = store.Query
	// CampaignPage is a part of the answer.
	CampaignPage = store.Page
	// CampaignSummary is a campaign as a list shows it.
	CampaignSummary = store.Summary
	// CampaignState is open, closed or withdrawn.
	CampaignState = store.State
	// DoctorReport is what the doctor saw of a workspace.
	DoctorReport = store.Report
)

// CampaignStates are the states that a campaign of the workspace can be in.
var CampaignStates = []CampaignState{store.StateOpen, store.StateClosed, store.StateWithdrawn}

// DefaultWorkspace returns the directory of the workspace that is used where
// none is named: fairpull below XDG_DATA_HOME, where that is an absolute path,
// else below the place where the system keeps a user's data.
//
// Source: XDG Base Directory Specification 0.8, which has paths that are not
// absolute ignored.
func DefaultWorkspace() (string, error) {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "fairpull"), nil
	}
	if dir := os.Getenv("LocalAppData"); runtime.GOOS == "windows" && dir != "" {
		return filepath.Join(dir, "fairpull"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("there is no place for the workspace (%w).\n  Name one with --workspace DIR", err)
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "fairpull"), nil
	}
	return filepath.Join(home, ".local", "share", "fairpull"), nil
}

// InitWorkspace makes a new workspace, in a directory or in an existing
// PostgreSQL database, and opens it. What is there already is left alone.
func InitWorkspace(ctx context.Context, where string) (*Workspace, error) {
	if info, err := os.Stat(where); err == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s is a file, and a workspace is a directory", where)
	}
	s, err := store.Init(ctx, where)
	switch {
	case errors.Is(err, store.ErrNoDatabase):
		return nil, fmt.Errorf("%s %w: nothing was made.\n"+
			"  Restore a backup to another directory. Where nothing was ever kept here, an init was cut short: remove that folder and do it again",
			filepath.Join(where, "blobs"), store.ErrNoDatabase)
	case errors.Is(err, store.ErrBlobs):
		return nil, fmt.Errorf("%w: nothing was made.\n  Name a new place for the logs of this workspace", err)
	case errors.Is(err, store.ErrExists):
		return nil, fmt.Errorf("%s has a workspace already, which was left as it is", placeName(where))
	}
	if err != nil {
		return nil, err
	}
	return &Workspace{store: s, place: placeName(where), made: true}, nil
}

// OpenWorkspace opens the workspace at where. An empty where is the default
// place, and the workspace is made there the first time; one that is named has
// to be there.
func OpenWorkspace(ctx context.Context, where string) (*Workspace, error) {
	byDefault := where == ""
	if byDefault {
		var err error
		if where, err = DefaultWorkspace(); err != nil {
			return nil, err
		}
	}
	s, err := store.Open(ctx, where)
	switch {
	case err == nil:
		return &Workspace{store: s, place: placeName(where)}, nil
	case errors.Is(err, store.ErrNoWorkspace) && byDefault:
		return firstUse(ctx, where)
	case errors.Is(err, store.ErrNoWorkspace):
		cure := "fairpull init " + where
		if placeName(where) != where {
			cure = "fairpull init, and the same place"
		}
		return nil, fmt.Errorf("there is no workspace at %s.\n  To make one: %s", placeName(where), cure)
	}
	return nil, err
}

// firstUse makes the workspace of the default place. It appears there whole, so
// that of several programs that need it first one makes it and all have it.
func firstUse(ctx context.Context, dir string) (*Workspace, error) {
	notMade := writeFolder(dir, func(staging string) error {
		s, err := store.Init(ctx, staging)
		if err != nil {
			return err
		}
		return s.Close()
	})
	s, err := store.Open(ctx, dir)
	if err != nil {
		return nil, errors.Join(notMade, err)
	}
	return &Workspace{store: s, place: dir, made: notMade == nil}, nil
}

// placeName returns where without a password.
func placeName(where string) string {
	if !strings.Contains(where, "://") {
		return where
	}
	u, err := url.Parse(where)
	if err != nil {
		return "the database"
	}
	return (&url.URL{Scheme: u.Scheme, Host: u.Host, Path: u.Path}).String()
}

// Place returns where the workspace is: a directory, or the database's address
// without the account and its password.
func (w *Workspace) Place() string { return w.place }

// Made reports whether the workspace was made when it was opened.
func (w *Workspace) Made() bool { return w.made }

// Close lets the workspace go. What was acknowledged is on the disk already.
func (w *Workspace) Close() error { return w.store.Close() }

// Campaigns returns a page of the campaigns that a query asks for, the latest
// first.
func (w *Workspace) Campaigns(ctx context.Context, q CampaignQuery) (CampaignPage, error) {
	return w.store.List(ctx, q)
}

// Doctor looks the whole workspace through and repairs nothing.
func (w *Workspace) Doctor(ctx context.Context) (DoctorReport, error) {
	r, err := w.store.Check(ctx)
	if err != nil {
		return r, err
	}
	return r, w.checkClaims(ctx, &r)
}

// Sweep removes the files of the workspace that no row names and that are older
// than a day, and returns their names. It is for a workspace in which the doctor
// finds nothing broken.
func (w *Workspace) Sweep(ctx context.Context, by Author) ([]string, error) {
	return w.store.Sweep(ctx, by)
}

// Backup writes the whole workspace to one new file and reads it back. Others
// may go on writing meanwhile. A PostgreSQL workspace is refused: its server has
// a tool of its own.
func (w *Workspace) Backup(ctx context.Context, file string) error {
	return replaceable(w.store.Backup(ctx, file), file)
}

// RestoreWorkspace makes a workspace of a backup in a directory that has none,
// each file verified, and has the doctor look at it.
func RestoreWorkspace(ctx context.Context, file, dir string) error {
	return replaceable(store.Restore(ctx, file, dir), dir)
}

func replaceable(err error, place string) error {
	if errors.Is(err, store.ErrExists) {
		return fmt.Errorf("%s exists and is not replaced: nothing was written. Name a new place", place)
	}
	return err
}
