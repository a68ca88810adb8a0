package lab

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"fairpull/campaign"
	"fairpull/correction"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
)

// LookSettings are what a person changed to look at a campaign in another way.
// The zero value changes nothing.
type LookSettings struct {
	BandRPM    [2]float64 // riding band, 1/min; both 0: the campaign's own
	Correction string     // a standard's name; empty: the campaign's own
	Confidence float64    // 0: the campaign's own
}

// Look is a campaign of the workspace as a person looks at it. Nothing of it is
// written down.
type Look struct {
	Campaign campaign.Campaign // as the settings have it
	Own      campaign.Objective
	OwnName  string // the campaign's own correction standard
	State    CampaignState
	Version  int64
	Changed  int64     // number of the workspace's latest change when it was made
	Analysis *Analysis // nil: it cannot be analysed as it stands
	Problem  error     // why not
	Kept     *Kept     // nil: no result is kept

	// Exploratory says what was changed to look at it; empty: nothing. What such a
	// look shows cannot be claimed, and its verdicts are withheld.
	Exploratory []string
}

// Kept is the latest kept result of a campaign.
type Kept struct {
	ID      string
	At      time.Time
	Program string
	Current bool // it rests on the campaign's latest data
}

type lookKey struct {
	id      string
	changed int64
	as      LookSettings
}

// Look opens a campaign and analyses it as the settings say. A campaign that is
// not there is an error; one that cannot be analysed is a Look with its Problem.
func (d *Desk) Look(ctx context.Context, id string, as LookSettings) (*Look, error) {
	changed, err := d.LastChange(ctx)
	if err != nil {
		return nil, err
	}
	d.at(changed)
	key := lookKey{id, changed, as}
	if look, found := d.looks.get(key); found {
		return look, nil
	}
	// One who goes away does not take the answer from those who wait for the same.
	made, err, _ := d.calls.Do(fmt.Sprintf("%q %d %v", id, changed, as), func() (any, error) {
		look, err := d.look(context.WithoutCancel(ctx), id, as)
		if err != nil {
			return nil, err
		}
		look.Changed = changed
		d.looks.put(key, look)
		return look, nil
	})
	if err != nil {
		return nil, err
	}
	return made.(*Look), nil
}

func (w *Workspace) look(ctx context.Context, id string, as LookSettings) (*Look, error) {
	entry, err := w.store.Entry(ctx, id, 0)
	if err != nil {
		return nil, unknownCampaign(err)
	}
	look := &Look{
		Campaign: entry.Campaign, Own: entry.Campaign.Objective, OwnName: entry.Campaign.Correction,
		State: entry.State, Version: entry.Version,
	}
	if look.Kept, err = w.kept(ctx, entry); err != nil {
		return nil, err
	}
	if err := look.change(as); err != nil {
		return nil, err
	}
	look.Analysis, look.Problem = w.analyseAs(ctx, id, entry.Version, look)
	if errors.Is(look.Problem, context.Canceled) {
		return nil, look.Problem
	}
	return look, nil
}

// analyseAs analyses a version of a campaign with what a look changes of it.
func (w *Workspace) analyseAs(ctx context.Context, id string, version int64, look *Look) (*Analysis, error) {
	if problems := look.Campaign.Problems(); len(problems) > 0 {
		return nil, problems[0]
	}
	folder, _, err := w.folder(ctx, id, version)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	folder.Campaign.Objective, folder.Campaign.Correction = look.Campaign.Objective, look.Campaign.Correction
	options, err := w.lend(ctx, &folder.Campaign, time.Time{})
	if err != nil {
		return nil, err
	}
	a, err := Analyse(ctx, folder, options)
	if err != nil || len(look.Exploratory) == 0 {
		return a, err
	}
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		doubts := a.doubts(c)
		doubts.PlanChanged = true // the settings were chosen after the effect could be seen
		c.Judge(doubts)
	}
	return a, nil
}

// change puts the settings into the look and notes what is not the campaign's own.
func (l *Look) change(as LookSettings) error {
	o := &l.Campaign.Objective
	if as.BandRPM != [2]float64{} && as.BandRPM != l.Own.BandRPM {
		o.BandRPM = as.BandRPM
		was := "the range that all pulls share"
		if l.Own.BandRPM != [2]float64{} {
			was = bandWords(l.Own.BandRPM)
		}
		l.Exploratory = append(l.Exploratory, "riding band "+bandWords(as.BandRPM)+" instead of "+was)
	}
	if as.Correction != "" && as.Correction != l.OwnName {
		if _, err := correction.ByName(as.Correction); err != nil {
			return err
		}
		l.Campaign.Correction = as.Correction
		l.Exploratory = append(l.Exploratory, "correction "+as.Correction+" instead of "+l.OwnName)
	}
	if as.Confidence != 0 && as.Confidence != l.Own.Confidence {
		o.Confidence = as.Confidence
		l.Exploratory = append(l.Exploratory, "confidence "+percentWords(as.Confidence)+" instead of "+percentWords(l.Own.Confidence))
	}
	return nil
}

func bandWords(band [2]float64) string {
	return strconv.FormatFloat(band[0], 'f', -1, 64) + " to " + strconv.FormatFloat(band[1], 'f', -1, 64) + " rpm"
}

func percentWords(fraction float64) string {
	return strconv.FormatFloat(100*fraction, 'g', 6, 64) + " %"
}

// kept returns the latest result of a campaign; nil where none is kept.
func (w *Workspace) kept(ctx context.Context, entry store.Entry) (*Kept, error) {
	r, err := w.store.LatestResult(ctx, entry.Campaign.ID)
	if errors.Is(err, store.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &Kept{ID: r.ID, At: r.At, Program: r.Program, Current: r.Data == entry.Digest}, nil
}

// View returns what package report words and draws of the look; nil where the
// campaign cannot be analysed.
func (l *Look) View(version string, units quantity.System) *report.Gain {
	if l.Analysis == nil {
		return nil
	}
	view := l.Analysis.View(version, units)
	view.Exploratory = slices.Clone(l.Exploratory)
	return view
}

// Corrections returns the names of the correction standards that a campaign can
// be looked at with, none among them.
func Corrections() []string {
	var names []string
	for _, s := range correction.All() {
		names = append(names, s.Name)
	}
	return names
}
