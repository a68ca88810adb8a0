package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/scatter"
)

// Measuring is what the pages at the rigs hold between two requests: which block
// somebody said is fitted, values that were entered for the next pull, and the
// folders that are watched for logs. It is bounded and gone with the process; pulls
// are in the workspace.
type Measuring struct {
	desk  *Desk
	nudge func(id string)
	log   func(id string, err error)

	mu      sync.Mutex
	rigs    map[string]*atRig
	folders map[string]string // that are watched, to the campaign
	closed  bool
	watches sync.WaitGroup
}

// Bounds of what is held.
const (
	maxRigs = 64 // campaigns
	maxTold = 12 // of what was told, of each
)

// atRig is one campaign that is being measured.
type atRig struct {
	session
	id     string
	told   []report.Capture // the latest last; guarded by session.mu
	watch  *watching        // nil: no folder is watched; guarded by session.mu
	used   time.Time        // when it was last asked for; guarded by Measuring.mu
	looked sync.Mutex
	look   *RigLook // the latest; guarded by looked
	failed map[string]failedPull
}

// NewMeasuring returns what the pages at the rigs need. nudge is called with a
// campaign's id where something happens that is no change of the workspace, and log
// with what ends a watched folder; neither may be nil.
func NewMeasuring(d *Desk, nudge func(id string), log func(id string, err error)) *Measuring {
	return &Measuring{desk: d, nudge: nudge, log: log, rigs: map[string]*atRig{}, folders: map[string]string{}}
}

// RigLook is a campaign as the page at the rig shows it.
type RigLook struct {
	report.Measuring
	State   CampaignState
	Version int64
	Changed int64 // number of the workspace's latest change when it was made
	Held    map[string]string
	AirAge  string // says how old the air is that was entered; empty: none was
	Told    []report.Capture
	Folder  string // that is watched; empty: none
	Since   time.Time
	Settles bool // settling pulls come next
}

// Look returns where a campaign stands. Nothing is written.
func (m *Measuring) Look(ctx context.Context, id string) (*RigLook, error) {
	r, err := m.at(ctx, id)
	if err != nil {
		return nil, err
	}
	changed, err := m.desk.LastChange(ctx)
	if err != nil {
		return nil, err
	}
	r.looked.Lock()
	defer r.looked.Unlock()
	if r.look == nil || r.look.Changed != changed {
		// One who goes away does not take the answer from those who wait for the same.
		look, err := m.measured(context.WithoutCancel(ctx), r)
		if err != nil {
			return nil, err
		}
		look.Changed = changed
		r.look = look
	}
	look := *r.look // what is told and fitted changes without the workspace
	r.mu.Lock()
	defer r.mu.Unlock()
	look.stand(r)
	return &look, nil
}

// stand puts in what is held of the campaign besides its pulls.
func (l *RigLook) stand(r *atRig) {
	now := r.clock.now()
	l.Told = slices.Clone(r.told)
	l.Held = map[string]string{}
	for _, cells := range []map[string]string{r.air.cells, r.next} {
		for key, text := range cells {
			l.Held[key] = text
		}
	}
	if len(r.air.cells) > 0 {
		l.AirAge, _ = r.air.words(now)
	}
	if r.watch != nil {
		l.Folder, l.Since = r.watch.folder, r.watch.since
	}
	next, err := r.whereNext(&l.Campaign)
	if err != nil {
		l.Next, l.Problem = nil, rigWords(err)
		return
	}
	l.Next, l.Settles = &next, next.Settling > 0 && !next.Confirm
}

// rigWords says in the words of the page why something cannot be.
func rigWords(err error) string {
	if errors.Is(err, errNoPlace) {
		text, _, _ := strings.Cut(firstLine(err), ".\n")
		_, text, _ = strings.Cut(text, ": ")
		return "Nothing says what is fitted: " + text
	}
	return firstLine(err)
}

// measured looks at what a campaign has so far.
func (m *Measuring) measured(ctx context.Context, r *atRig) (*RigLook, error) {
	entry, err := m.desk.store.Entry(ctx, r.id, 0)
	if err != nil {
		return nil, unknownCampaign(err)
	}
	look := &RigLook{State: entry.State, Version: entry.Version}
	look.Campaign = entry.Campaign
	look.PullLimits = [2]float64{math.NaN(), math.NaN()}
	if len(entry.Campaign.Pulls) == 0 {
		return look, nil
	}
	so, err := m.desk.running(ctx, r.id, r.failed)
	if err != nil {
		return nil, err
	}
	last := lastPull(&entry.Campaign)
	look.Last = newCaptured(last, incoming{digest: entry.Logs[last.Log]})
	look.Last.Reduced = so.describe(look.Last)
	look.Last.Accepted = look.Last.Reduced && last.Used() && so.passes(last.Name)
	switch failed, didFail := so.failed[last.Name]; {
	case didFail:
		look.Wrong = firstLine(failed)
	case last.Used() && so.analysis == nil:
		look.Wrong = firstLine(so.problem)
	}
	look.SoFar = so.soFar(&entry.Campaign)
	if blindStill(&entry.Campaign) && len(look.SoFar) > 0 {
		look.SoFar = []report.SoFar{look.SoFar[0].Blind()}
	}
	if len(look.SoFar) > 0 {
		s := look.SoFar[0]
		if lo, hi, err := scatter.SDLimits(s.PullSD, s.PullDF, s.Confidence); err == nil {
			look.PullLimits = [2]float64{lo, hi}
		}
	}
	return look, nil
}

// at returns what is held of a campaign, and begins to hold it where nothing was.
func (m *Measuring) at(ctx context.Context, id string) (*atRig, error) {
	m.mu.Lock()
	r, known := m.rigs[id]
	if known {
		r.used = time.Now()
	}
	m.mu.Unlock()
	if known {
		return r, nil
	}
	entry, err := m.desk.store.Entry(ctx, id, 0)
	if err != nil {
		return nil, unknownCampaign(err)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if r, known := m.rigs[id]; known {
		return r, nil
	}
	if err := m.makeRoom(); err != nil {
		return nil, err
	}
	r = &atRig{id: id, used: time.Now(), failed: map[string]failedPull{}}
	r.w, r.o, r.clock = m.desk.Workspace, CaptureOptions{Campaign: id}, newClock()
	r.session.failed = map[string]failedPull{}
	r.tell = func(c report.Capture) { m.told(r, c) }
	r.stop = func(cause error) { r.stopWatch(cause) }
	r.started = func() {}
	r.air = lastAir(&entry.Campaign)
	if len(entry.Campaign.Pulls) == 0 {
		r.confirmed = 1 // who begins a campaign has fitted what comes first
	}
	m.rigs[id] = r
	return r, nil
}

// makeRoom lets go of the campaign that was not asked for longest, where there are
// too many.
func (m *Measuring) makeRoom() error {
	if len(m.rigs) < maxRigs {
		return nil
	}
	watched := map[string]bool{}
	for _, id := range m.folders {
		watched[id] = true
	}
	oldest := ""
	for id, r := range m.rigs {
		if !watched[id] && (oldest == "" || r.used.Before(m.rigs[oldest].used)) {
			oldest = id
		}
	}
	if oldest == "" {
		return fmt.Errorf("%w: folders are watched for %d campaigns already. End one of them first", ErrBusy, len(m.rigs))
	}
	delete(m.rigs, oldest)
	return nil
}

// told keeps what a capture tells for the page. The rig's session is locked.
func (m *Measuring) told(r *atRig, c report.Capture) {
	if c.Kind == report.CapturePull { // the page shows the pull itself
		c.Message = "Pull " + c.Pull.Name + " was taken from " + c.File + "."
	}
	if n := len(r.told); n > 0 && r.told[n-1].Message == c.Message {
		r.told = r.told[:n-1]
	}
	r.told = append(r.told, c)
	r.told = r.told[max(0, len(r.told)-maxTold):]
	m.nudge(r.id)
}

// as carries out an order at the rig in somebody's name.
func (m *Measuring) as(ctx context.Context, id, who string, order func(r *atRig) error) error {
	r, err := m.at(ctx, id)
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	before := r.o.By
	r.o.By = Author{Who: who}
	defer func() { r.o.By = before }()
	entry, err := r.entry(ctx)
	if err != nil {
		return err
	}
	if entry.State != store.StateOpen {
		return fmt.Errorf("campaign %s %w", id, ErrNotOpen)
	}
	return order(r)
}

// rigRefusal makes what a capture answers to a wrong order an error of that kind.
func rigRefusal(err error) error {
	var there *valueThereError
	switch {
	case err == nil, errors.Is(err, ErrUnknown), errors.Is(err, ErrNotOpen), errors.Is(err, ErrRefused), errors.Is(err, ErrChanged), errors.Is(err, ErrBusy), errors.Is(err, ErrFull),
		errors.Is(err, context.Canceled):
		return err
	case errors.As(err, &there):
		return refused("Pull %s has %s %s already; say why it is to be another.", there.pull, there.column, there.value)
	}
	return refused("%s", capital(sentence(rigWords(err))))
}

// Fitted notes that a planned block is on the rig; block is the one that the page
// showed, counted from 1.
func (m *Measuring) Fitted(ctx context.Context, id, who string, block int) error {
	return m.as(ctx, id, who, func(r *atRig) error {
		next, err := r.nextOf(ctx)
		if err != nil {
			return rigRefusal(err)
		}
		if next.Block != block || !next.Confirm {
			return ErrChanged
		}
		_, err = r.nextBlock(ctx, "")
		m.nudge(id)
		return rigRefusal(err)
	})
}

// Settled notes that the settling pulls of a block are over.
func (m *Measuring) Settled(ctx context.Context, id, who string, block int) error {
	return m.as(ctx, id, who, func(r *atRig) error {
		next, err := r.nextOf(ctx)
		if err != nil {
			return rigRefusal(err)
		}
		if next.Block != block {
			return ErrChanged
		}
		_, err = r.settle(ctx)
		m.nudge(id)
		return rigRefusal(err)
	})
}

// EndBlock ends a block before it has its pulls. That leaves the plan, so a reason
// is needed.
func (m *Measuring) EndBlock(ctx context.Context, id, who string, block int, why string) error {
	if why = oneLine(why); why == "" {
		return refused("No reason is given. To end a block early leaves the plan, and there is no claim.")
	}
	return m.as(ctx, id, who, func(r *atRig) error {
		next, err := r.nextOf(ctx)
		if err != nil {
			return rigRefusal(err)
		}
		if next.Block != block {
			return ErrChanged
		}
		_, err = r.nextBlock(ctx, why)
		m.nudge(id)
		return rigRefusal(err)
	})
}

// Mounted notes what is on the rig, plan or not.
func (m *Measuring) Mounted(ctx context.Context, id, who, configuration, setup string) error {
	return m.as(ctx, id, who, func(r *atRig) error {
		_, err := r.fitted(ctx, configuration, oneLine(setup))
		m.nudge(id)
		return rigRefusal(err)
	})
}

// nextOf returns where the next pull belongs.
func (s *session) nextOf(ctx context.Context) (report.CaptureNext, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return report.CaptureNext{}, err
	}
	return s.whereNext(&entry.Campaign)
}

// Enter takes values by their columns of pulls.csv: for the next pull, the air until
// it is entered anew, or for the pull of the given name where that was the last.
// What that has already is replaced only for a reason.
func (m *Measuring) Enter(ctx context.Context, id, who string, cells map[string]string, pull, why string) error {
	if len(cells) == 0 {
		return refused("No value was entered.")
	}
	return m.as(ctx, id, who, func(r *atRig) error {
		if err := checkColumns(cells); err != nil {
			return rigRefusal(err)
		}
		if pull == "" {
			_, err := r.enterCells(ctx, cells)
			m.nudge(id)
			return rigRefusal(err)
		}
		entry, err := r.entry(ctx)
		if err != nil {
			return err
		}
		if last, err := lastOf(&entry.Campaign); err != nil || last.Name != pull {
			return ErrChanged
		}
		_, err = r.correctLastCells(ctx, cells, oneLine(why))
		return rigRefusal(err)
	})
}

// checkColumns refuses values that no person enters.
func checkColumns(cells map[string]string) error {
	for key, text := range cells {
		if err := campaign.CheckName(key); err != nil || slices.Contains(reservedColumns, key) {
			return fmt.Errorf("%.40q is no value that is entered at the rig", key)
		}
		if err := campaign.CheckText(text); err != nil {
			return fmt.Errorf("%s %w", key, err)
		}
	}
	return nil
}
