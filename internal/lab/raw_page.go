package lab

import (
	"context"
	"fmt"
	"math"
	"slices"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/signal"
)

// drawnPoints is how many points of a channel a drawing without script has.
const drawnPoints = 900

// PullPage returns one pull of a campaign as recorded and as reduced, the campaign
// being looked at as the settings say. A campaign that cannot be analysed leaves
// the pull without a curve.
func (d *Desk) PullPage(ctx context.Context, id, pull string, as LookSettings) (*report.PullPage, *Look, error) {
	look, err := d.Look(ctx, id, as)
	if err != nil {
		return nil, nil, err
	}
	raw, err := d.RawLog(ctx, id, pull)
	if err != nil {
		return nil, nil, err
	}
	page := &report.PullPage{Raw: raw.Window(0, 0, drawnPoints), Factor: math.NaN(), Campaign: id, Exploratory: look.Exploratory, Setup: raw.Pull.Setup, Started: raw.Pull.Started.Format("2006-01-02 15:04 -07:00")}
	page.Reduction = report.Reduction{Pull: raw.Pull.Name, Log: raw.Pull.Log, Configuration: raw.Pull.Configuration, Excluded: raw.Pull.Excluded,
		Radius: float64(look.Campaign.Dyno.DrumRadius), Problem: firstLine(raw.Problem)}
	if a := look.Analysis; a != nil {
		a.fillPull(page)
	} else if page.Problem == "" {
		page.Problem = firstLine(look.Problem)
	}
	return page, look, nil
}

// fillPull puts into a page what the analysis says of its pull.
func (a *Analysis) fillPull(page *report.PullPage) {
	p := a.pull(page.Pull)
	if p == nil {
		return
	}
	page.LeftOut = leftOutWords(p.leftOut)
	page.AtCrank, page.Standard, page.SlipLimit = p.AtCrank, a.Standard.Name, a.Limits.Slip
	if p.Result == nil {
		page.Problem = firstLine(p.Err)
		return
	}
	page.Result, page.Factor, page.Corrected = p.Result, p.Factor, p.Corrected
	page.Steady = p.Steady != nil
	if p.Kind != signal.Reduced && p.Steady == nil {
		page.HalfWidthRPM = a.halfWidth()
		page.Raw.Phases = phaseViews(&p.Result.Phases)
	}
	names := []string{p.Name}
	for i, b := range a.blocks() {
		for j, name := range b.Pulls {
			if name == p.Name {
				names = b.Pulls
				page.Place = fmt.Sprintf("pull %d of the %d of block %d", j+1, len(b.Pulls), i+1)
			}
		}
	}
	for _, name := range names {
		if other := a.pull(name); other != nil && other.Result != nil && other.Result.Coast != nil {
			page.Coasts = append(page.Coasts, report.PullCoast{Pull: name, This: name == p.Name, Losses: other.Result.Coast})
		}
	}
}

// halfWidth returns the half-width of the fitting window, 1/min, that the used
// pulls were reduced with.
func (a *Analysis) halfWidth() float64 {
	low, high := 0.0, math.Inf(1)
	for _, p := range usedPulls(a.Pulls) {
		if p.Kind != signal.Reduced && p.Steady == nil {
			low, high = math.Max(low, p.Result.Phases.LowRPM), math.Min(high, p.Result.Phases.HighRPM)
		}
	}
	return WindowHalfWidth(high - low)
}

// RawJSON returns a stretch of a pull's log as fairpull.raw/1, see
// [RawLog.Window].
func (l *RawLog) RawJSON(from, to float64, points int, units quantity.System) ([]byte, error) {
	window := l.Window(from, to, points)
	return window.JSON(units)
}

// Neighbours returns the names of the pulls before and after one, by their start;
// empty where there is none.
func (l *Look) Neighbours(pull string) (before, after string) {
	pulls := slices.Clone(l.Campaign.Pulls)
	slices.SortStableFunc(pulls, func(a, b campaign.Pull) int { return a.Started.Compare(b.Started) })
	at := slices.IndexFunc(pulls, func(p campaign.Pull) bool { return p.Name == pull })
	if at > 0 {
		before = pulls[at-1].Name
	}
	if at >= 0 && at+1 < len(pulls) {
		after = pulls[at+1].Name
	}
	return before, after
}
