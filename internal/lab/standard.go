package lab

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
	"fairpull/scatter"
)

// StandardChoice names a vehicle as a dyno's check standard.
type StandardChoice struct {
	Dyno, Vehicle string
	Like          string     // the campaign whose baseline is the unchanged vehicle; empty: its first
	From          time.Time  // pulls from this moment on count; zero: all
	BandRPM       [2]float64 // engine speeds to watch, 1/min; both 0: that campaign's riding band
}

// SetStandard names a vehicle as a dyno's check standard, and reports whether that was
// new. Which parts it keeps, the gear, the correction and, unless given, the range of
// engine speeds come from one of its campaigns on that dyno. To name another needs a
// reason.
func (w *Workspace) SetStandard(ctx context.Context, choice StandardChoice, by Author) (bool, error) {
	like := choice.Like
	if like == "" {
		campaigns, err := w.allCampaigns(ctx, CampaignQuery{Dyno: choice.Dyno, Vehicle: choice.Vehicle, From: choice.From})
		if err != nil {
			return false, err
		}
		if len(campaigns) == 0 {
			return false, refused("the workspace has no campaign of vehicle %s on dyno %s to take the unchanged vehicle from.\n  Import one first, or look which there are: fairpull campaigns --vehicle %s", choice.Vehicle, choice.Dyno, choice.Vehicle)
		}
		like = campaigns[0].ID
	}
	entry, err := w.store.Entry(ctx, like, 0)
	if err != nil {
		return false, unknownCampaign(err)
	}
	c := &entry.Campaign
	if c.Vehicle.ID != choice.Vehicle || c.Dyno.ID != choice.Dyno {
		return false, refused("campaign %s is of vehicle %s on dyno %s, not of %s on %s", like, c.Vehicle.ID, c.Dyno.ID, choice.Vehicle, choice.Dyno)
	}
	s := store.Standard{
		Dyno: choice.Dyno, Vehicle: choice.Vehicle, From: choice.From, BandRPM: choice.BandRPM,
		Correction: c.Correction, TestGear: c.Vehicle.TestGear, Like: like,
	}
	if s.BandRPM == [2]float64{} {
		s.BandRPM = c.Objective.BandRPM
	}
	if s.BandRPM == [2]float64{} {
		return false, refused("campaign %s states no riding band: say which engine speeds are watched, with --band 2500-6000", like)
	}
	for _, configuration := range c.Configurations {
		if configuration.Role == campaign.Baseline {
			s.Components = configuration.Components
		}
	}
	change, err := w.store.SetStandard(ctx, s, by)
	if errors.Is(err, store.ErrRefused) && by.Why == "" {
		return false, refused("dyno %s has another check standard already: to name a new one needs a reason, --why \"…\"", choice.Dyno)
	}
	return change.Changed(), err
}

// RetireStandard ends a dyno's check standard, which needs a reason.
func (w *Workspace) RetireStandard(ctx context.Context, dyno string, by Author) error {
	_, err := w.store.RetireStandard(ctx, dyno, by)
	return noStandard(err, dyno)
}

func noStandard(err error, dyno string) error {
	if errors.Is(err, store.ErrNotFound) {
		return refused("dyno %s has no check standard.\n  To name one: fairpull check-standard --dyno %s --vehicle ID --set", dyno, dyno)
	}
	return err
}

// StandardQuery asks for the chart of a check standard.
type StandardQuery struct {
	Dyno    string // empty: the only dyno of the workspace
	Version string // of the program, for documents
}

// Standard returns the control chart of a dyno's check standard.
func (w *Workspace) Standard(ctx context.Context, q StandardQuery) (*report.CheckStandard, error) {
	dyno := q.Dyno
	if dyno == "" {
		dynos, err := w.store.Dynos(ctx)
		if err != nil {
			return nil, err
		}
		if len(dynos) == 0 {
			return nil, errors.New("no campaign of the workspace names its dyno.\n  Take one in: fairpull import my-campaign")
		}
		if len(dynos) > 1 {
			return nil, fmt.Errorf("the workspace has %d dynos: say which, with --dyno ID (%s)", len(dynos), strings.Join(dynos, ", "))
		}
		dyno = dynos[0]
	}
	kept, err := w.store.StandardOf(ctx, dyno)
	if err != nil {
		return nil, noStandard(err, dyno)
	}
	watch, err := w.watch(ctx, kept.Standard)
	if err != nil {
		return nil, err
	}
	view := &report.CheckStandard{
		Dyno: dyno, Vehicle: kept.Vehicle, Like: kept.Like, From: kept.From, NamedAt: kept.At, NamedBy: kept.Who, Why: kept.Why,
		BandRPM: kept.BandRPM, Correction: kept.Correction, TestGear: kept.TestGear, Version: q.Version,
		LeftOut: watch.leftOut,
	}
	if err := watch.fill(view); err != nil {
		return nil, err
	}
	for i := range view.Doubts {
		d := &view.Doubts[i]
		affected, err := w.allCampaigns(ctx, CampaignQuery{Dyno: dyno, From: d.Since, To: d.Until})
		if err != nil {
			return nil, err
		}
		for _, c := range affected {
			if d.Covers(c.Started) {
				d.Campaigns = append(d.Campaigns, c.ID)
			}
		}
	}
	return view, nil
}

// standardPoint is one check: a setup of the check standard.
type standardPoint struct {
	campaign string
	standardSetup
}

// standardWatch is a check standard's series of checks and their chart.
type standardWatch struct {
	points  []standardPoint
	chart   *scatter.Chart
	leftOut []report.StandardLeftOut
}

// watch gathers the checks in order of time and puts them on a chart.
func (w *Workspace) watch(ctx context.Context, s store.Standard) (*standardWatch, error) {
	ids, readings, err := w.standardReadings(ctx, s)
	if err != nil {
		return nil, err
	}
	out := &standardWatch{}
	crank, known := false, false
	for _, id := range ids {
		r := readings[id]
		if r.LeftOut == "" && known && r.AtCrank != crank {
			r.LeftOut = "its figures are of the other kind, wheel or crank, than those of the campaigns before it"
		}
		if r.LeftOut != "" {
			out.leftOut = append(out.leftOut, report.StandardLeftOut{Campaign: id, Reason: r.LeftOut})
			continue
		}
		crank, known = r.AtCrank, true
		for _, setup := range r.Setups {
			out.points = append(out.points, standardPoint{id, setup})
		}
	}
	slices.SortStableFunc(out.points, func(a, b standardPoint) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.campaign, b.campaign))
	})
	values := make([]float64, len(out.points))
	for i, p := range out.points {
		values[i] = p.LnTorque
	}
	out.chart, err = scatter.Control(values, scatter.KnownSD{}, scatter.DefaultRules())
	return out, err
}

// fill puts the chart into a view.
func (s *standardWatch) fill(view *report.CheckStandard) error {
	rules := s.chart.Rules
	view.Rules = report.StandardRules{
		Weight: rules.Weight, Limit: rules.Band(), Reference: rules.Reference, Decision: rules.Decision, Single: rules.Single,
		Together: report.RunLength{False: scatter.TogetherFalseAlarm, ShiftOfOne: scatter.TogetherShiftOfOne},
	}
	for _, r := range []struct {
		into *report.RunLength
		of   func(float64) (float64, error)
	}{{&view.Rules.EWMA, rules.EWMARunLength}, {&view.Rules.CUSUM, rules.CUSUMRunLength}, {&view.Rules.One, rules.SingleRunLength}} {
		var err error
		if r.into.False, err = r.of(0); err != nil {
			return err
		}
		if r.into.ShiftOfOne, err = r.of(1); err != nil {
			return err
		}
	}
	view.Learned, view.Frozen, view.CentreNm, view.SD = s.chart.Learned, s.chart.Frozen, math.Exp(s.chart.Centre), s.chart.SD
	for i, p := range s.points {
		c := s.chart.Points[i]
		check := report.StandardEntry{
			Campaign: p.campaign, Setup: p.Setup, Started: p.Started, Pulls: p.Pulls, MeanNm: math.Exp(p.LnTorque),
			Judged: c.Judged, Q: c.Q, EWMA: c.EWMA, Up: c.Up, Down: c.Down,
		}
		for _, signal := range c.Signals {
			check.Signals = append(check.Signals, signalWords[signal])
		}
		view.Checks = append(view.Checks, check)
	}
	for _, d := range s.chart.Doubts() {
		view.Doubts = append(view.Doubts, report.StandardDoubt{First: d.First, Last: d.Last, Since: s.started(d.After), Until: s.started(d.Before)})
	}
	return nil
}

// signalWords name the rules as a person meets them.
var signalWords = map[scatter.Signal]string{
	scatter.SignalEWMA: "EWMA", scatter.SignalCUSUM: "CUSUM", scatter.SignalSingle: "single check",
}

// started returns when a check of the chart began; zero for a place before the first.
func (s *standardWatch) started(place int) time.Time {
	if place < 0 {
		return time.Time{}
	}
	return s.points[place].Started
}

// standardCheck says what a dyno's check standard says of a campaign begun at a
// moment; false where there is none, or it had said nothing by then. A signal puts the
// absolute figures in doubt that were measured between the good checks on either side
// of it, and no gain: that is a ratio of pulls on the same rig.
func (w *Workspace) standardCheck(ctx context.Context, dyno string, at time.Time) (campaign.Check, bool, error) {
	if dyno == "" || at.IsZero() {
		return campaign.Check{}, false, nil
	}
	kept, err := w.store.StandardOf(ctx, dyno)
	if errors.Is(err, store.ErrNotFound) {
		return campaign.Check{}, false, nil
	}
	if err != nil {
		return campaign.Check{}, false, err
	}
	watch, err := w.watch(ctx, kept.Standard)
	if err != nil {
		return campaign.Check{}, false, err
	}
	check, said := watch.check(kept.Standard, at)
	return check, said, nil
}

// check is the check of a campaign begun at a moment.
func (s *standardWatch) check(of store.Standard, at time.Time) (campaign.Check, bool) {
	rules := s.chart.Rules
	k := campaign.Check{
		ID: "check-standard", Status: campaign.Pass, Unit: "SD", Limit: number(rules.Band()), Touches: []string{"pulls"},
		LimitSource: "EWMA of the check standard, average run length 370 between false alarms",
	}
	for _, d := range s.chart.Doubts() {
		since, until := s.started(d.After), s.started(d.Before)
		if !at.After(since) || !until.IsZero() && !at.Before(until) {
			continue
		}
		first := s.chart.Points[d.First]
		k.Status, k.Measured = campaign.Warn, number(math.Abs(first.EWMA))
		after := "since the first check"
		if d.After >= 0 {
			after = "since the last good check on " + since.Format(time.DateOnly)
		}
		k.Message = fmt.Sprintf("The check standard %s signalled on %s (%s): levels in N·m and kW measured on dyno %s %s may be off. The gain is not touched: both sides were measured on the same rig. Find out what changed on the rig, and check again.",
			of.Vehicle, s.points[d.First].Started.Format(time.DateOnly), s.ruleNames(d.First), of.Dyno, after)
		return k, true
	}
	last := -1
	for i, p := range s.points {
		if s.chart.Points[i].Good() && !p.Started.After(at) {
			last = i
		}
	}
	if last < 0 {
		return k, false
	}
	k.Measured = number(math.Abs(s.chart.Points[last].EWMA))
	k.Message = fmt.Sprintf("The check standard %s found the rig unchanged on %s, the last check before this campaign.", of.Vehicle, s.points[last].Started.Format(time.DateOnly))
	return k, true
}

func (s *standardWatch) ruleNames(place int) string {
	var names []string
	for _, signal := range s.chart.Points[place].Signals {
		names = append(names, signalWords[signal])
	}
	return strings.Join(names, ", ")
}
