package lab

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/store"
)

// Kinds of error that a front end answers each in its own way.
var (
	ErrUnknown = store.ErrNotFound // what was asked for is not in the workspace
	ErrNotOpen = store.ErrNotOpen  // the campaign is closed or withdrawn
	ErrRefused = store.ErrRefused  // what was given cannot be kept
	ErrFull    = store.ErrFull     // no room on the disk
	ErrBusy    = store.ErrBusy     // another program holds the workspace

	// ErrChanged says that the campaign is no longer at the version that a person
	// saw when they decided.
	ErrChanged = errors.New("the campaign was changed meanwhile: nothing was written. Look at it again, and decide anew")
)

// Exclude takes a pull out of a campaign's analysis for an assignable cause: what
// went wrong with it, known without its effect on the gain. The pull and its log
// stay, and so does the earlier version; the report shows both results. seen is
// the version that the person looked at, 0 for whichever is the latest; where it
// is no longer the latest the error is [ErrChanged].
func (w *Workspace) Exclude(ctx context.Context, id, pull, cause string, seen int64, who string) error {
	cause = oneLine(cause)
	if cause == "" {
		return fmt.Errorf("%w: no cause is given. Say what went wrong with pull %s, as in: wheel spun on the drum", ErrRefused, pull)
	}
	if err := campaign.CheckText(cause); err != nil {
		return fmt.Errorf("%w: the cause %w", ErrRefused, err)
	}
	return w.setExcluded(ctx, id, pull, cause, seen, Author{Who: who, Why: "pull " + pull + " excluded: " + cause})
}

// Restore puts an excluded pull back into the analysis, for a reason that stays
// in the audit trail. seen is as for [Workspace.Exclude].
func (w *Workspace) Restore(ctx context.Context, id, pull, why string, seen int64, who string) error {
	why = oneLine(why)
	if why == "" {
		return fmt.Errorf("%w: no reason is given for putting pull %s back", ErrRefused, pull)
	}
	return w.setExcluded(ctx, id, pull, "", seen, Author{Who: who, Why: "pull " + pull + " put back: " + why})
}

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// setExcluded writes the next version of a campaign, in which one pull has
// another reason not to be used.
func (w *Workspace) setExcluded(ctx context.Context, id, pull, cause string, seen int64, by Author) error {
	change, err := w.store.SetExcluded(ctx, id, pull, cause, seen, by)
	switch {
	case errors.Is(err, store.ErrMoved):
		return ErrChanged
	case err != nil:
		return err
	case !change.Changed():
		return fmt.Errorf("%w: pull %s is %s already", ErrRefused, pull, map[bool]string{true: "used", false: "excluded for that cause"}[cause == ""])
	}
	return nil
}
