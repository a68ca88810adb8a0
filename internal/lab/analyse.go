// Package lab has the engineer's verbs. It is the one place that goes the whole
// way from logs to a gain: it calls the science, asks the checks, and fills the
// view that package report words and draws.
package lab

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/correction"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/report"
)

// Analysis is a whole campaign, analysed.
type Analysis struct {
	Campaign *campaign.Campaign
	Standard correction.Standard
	Pulls    []Pull // by start

	SpeedRPM    []float64 // engine speeds that all used pulls share, 1/min
	BandCovered bool      // every node of the riding band is among them
	Comparisons []compare.Comparison
	Checks      []campaign.Check
	Limits      Limits

	// Held is the same of the steady logs of a campaign that has pulls as well, and
	// Ways how both ways of measuring differ; nil without such logs.
	Held *Analysis
	Ways *report.Ways

	other     []Pull // taken apart: steady logs beside pulls
	allSteady bool   // Pulls are steady logs

	units quantity.System // in which the checks are worded; SI unless a View asks otherwise

	// WithAll holds the same comparisons with the excluded pulls put back; nil
	// where no pull was excluded or one of them carries no curve.
	WithAll []compare.Comparison

	history    compare.History      // what the comparisons borrow
	past       *Past                // that it comes from; nil: from the campaign's own [history]
	borrowed   *report.History      // nil: the workspace had nothing to lend
	calibrated []report.Calibration // applied, oldest first; empty: the campaign's own rig
	given      []campaign.Check     // from outside of the campaign
}

// Options change how a campaign is analysed.
type Options struct {
	Progress func(done, total int) // called now and then; may be nil
	Limits   *Limits               // nil: DefaultLimits

	// What a workspace knows. Past is used where it knows more than the campaign's own
	// [history]; each pull is reduced with the calibration that held when it began,
	// of those given, oldest first. Checks are added to the campaign's own.
	Past         *Past
	Calibrations []Calibration
	Checks       []campaign.Check
}

// Analyse reduces every pull of the folder, corrects for the air, compares each
// candidate with the baseline and asks the checks. It reads no workspace and no
// clock: the same folder and options give the same analysis.
func Analyse(ctx context.Context, folder *ingest.Folder, o Options) (*Analysis, error) {
	c := folder.Campaign
	a := &Analysis{Campaign: &c, Limits: DefaultLimits(), units: quantity.SI, given: o.Checks}
	if o.Limits != nil {
		a.Limits = *o.Limits
	}
	var err error
	if a.Standard, err = correction.ByName(a.Campaign.Correction); err != nil {
		return nil, err
	}
	if err = a.reduce(ctx, folder, o); err != nil {
		return nil, err
	}
	if err = a.conclude(ctx, o); err != nil {
		return nil, err
	}
	if err = a.compareHeld(ctx, o); err != nil {
		return nil, err
	}
	return a, nil
}

// conclude corrects the reduced pulls, compares them and asks the checks.
func (a *Analysis) conclude(ctx context.Context, o Options) error {
	err := correct(a.Campaign, a.Standard, a.Pulls)
	if err != nil {
		return err
	}
	if err = sameKindOfFigure(a.Pulls); err != nil {
		return err
	}
	if a.SpeedRPM, err = sharedGrid(a.Pulls, a.Campaign.Objective.BandRPM); err != nil {
		return err
	}
	a.BandCovered = covers(a.SpeedRPM, a.Campaign.Objective.BandRPM)
	if err = a.borrow(o.Past); err != nil {
		return err
	}
	if a.Comparisons, err = compare.Compare(a.input(usedPulls(a.Pulls), a.SpeedRPM)); err != nil {
		return err
	}
	a.Checks = a.check()
	for i := range a.Comparisons {
		a.Comparisons[i].Judge(a.doubts(&a.Comparisons[i]))
	}
	if err = a.compareWithAll(); err != nil {
		return err
	}
	return ctx.Err()
}

// usedPulls returns the pulls that the analysis rests on.
func usedPulls(pulls []Pull) []*Pull {
	var used []*Pull
	for i := range pulls {
		if pulls[i].Used {
			used = append(used, &pulls[i])
		}
	}
	return used
}

// sameKindOfFigure refuses to compare wheel figures with crank figures.
func sameKindOfFigure(pulls []Pull) error {
	used := usedPulls(pulls)
	for _, p := range used[1:] {
		if p.AtCrank != used[0].AtCrank {
			wheel, crank := used[0], p
			if wheel.AtCrank {
				wheel, crank = crank, wheel
			}
			return fmt.Errorf("pull %s gives wheel figures and pull %s crank figures: they cannot be compared.\n  Use logs that give the same figure on both sides", wheel.Name, crank.Name)
		}
	}
	return nil
}

// covers says whether every node of the band is in the sorted grid. Without a
// band the shared range is the band.
func covers(grid []float64, band [2]float64) bool {
	if band == [2]float64{} {
		return true
	}
	if len(grid) == 0 {
		return false
	}
	return grid[0] <= band[0] && grid[len(grid)-1] >= band[1]
}

// input builds what the comparison needs from the pulls at the given grid.
func (a *Analysis) input(pulls []*Pull, grid []float64) compare.Input {
	o := a.Campaign.Objective
	in := compare.Input{
		SpeedRPM:      grid,
		BandRPM:       o.BandRPM,
		BandCovered:   covers(grid, o.BandRPM),
		SmallestGain:  o.SmallestGain,
		Confidence:    o.Confidence,
		Primary:       metric(o.Primary),
		DriftLinear:   o.DriftLinear,
		History:       a.history,
		LossPlacement: map[string]float64{},
	}
	if a.allSteady {
		in.NoPeaks = noPeaks(grid)
	}
	for i := range a.Campaign.Configurations {
		c := &a.Campaign.Configurations[i]
		if c.Role == campaign.Baseline {
			in.Baseline = c.ID
		} else {
			in.Candidates = append(in.Candidates, c.ID)
		}
	}
	for _, p := range pulls {
		in.Pulls = append(in.Pulls, compare.Pull{
			Name:          p.Name,
			Configuration: p.Configuration,
			Setup:         p.Setup,
			Hours:         p.Hours,
			LogTorque:     logTorqueAt(p, grid),
			LnFactor:      math.Log(p.Factor),
		})
	}
	for _, id := range in.Candidates {
		in.LossPlacement[id] = lossPlacement(pulls, in.Baseline, id, o.BandRPM)
	}
	return in
}

// logTorqueAt returns ln of the corrected torque at the grid, all of whose
// nodes the pull has.
func logTorqueAt(p *Pull, grid []float64) []float64 {
	out := make([]float64, len(grid))
	j := 0
	for i, rpm := range grid {
		for p.Corrected.SpeedRPM[j] < rpm {
			j++
		}
		out[i] = math.Log(p.Corrected.Torque[j])
	}
	return out
}

func metric(p campaign.Primary) compare.Metric {
	switch p {
	case campaign.PrimaryPeakTorque:
		return compare.PeakTorque
	case campaign.PrimaryPeakPower:
		return compare.PeakPower
	}
	return compare.Band
}

func history(h *campaign.History) compare.History {
	if h == nil {
		return compare.History{}
	}
	return compare.History{
		Setup:   compare.Spread{SD: h.SetupSD, DF: h.SetupDF},
		Block:   compare.Spread{SD: h.BlockSD, DF: h.BlockDF},
		Pull:    compare.Spread{SD: h.PullSD, DF: h.PullDF},
		Assumed: h.Assumed,
	}
}

// lossPlacement returns the difference between the sides, as a fraction, of
// correcting wheel plus loss instead of the wheel figure alone:
// (CF − 1)·loss/wheel, each side as the mean over its pulls. It is 0 where a
// side has no coast-down.
func lossPlacement(pulls []*Pull, baseline, candidate string, band [2]float64) float64 {
	side := func(configuration string) (float64, bool) {
		var sum float64
		n := 0
		for _, p := range pulls {
			if p.Configuration != configuration || p.Result.Coast == nil {
				continue
			}
			wheel := meanDrumTorque(p, band)
			if wheel > 0 {
				sum += (1 - 1/p.Factor) * p.Result.Coast.MeanTorque / wheel
				n++
			}
		}
		return sum / float64(max(n, 1)), n > 0
	}
	a, okA := side(baseline)
	b, okB := side(candidate)
	if !okA || !okB {
		return 0
	}
	return b - a
}

// meanDrumTorque is the mean torque at the drum, N·m, over the band (over the
// whole curve without one); 0 where the pull has no node there.
func meanDrumTorque(p *Pull, band [2]float64) float64 {
	var sum float64
	n := 0
	for i, rpm := range p.Result.Curve.SpeedRPM {
		if i < len(p.Result.DrumTorque) && inBand(rpm, band) {
			sum += p.Result.DrumTorque[i]
			n++
		}
	}
	return sum / float64(max(n, 1))
}

func inBand(rpm float64, band [2]float64) bool {
	return band == [2]float64{} || rpm >= band[0] && rpm <= band[1]
}

// compareWithAll repeats the comparison with the excluded pulls put back, so
// that the report can show both results.
func (a *Analysis) compareWithAll() error {
	var all []*Pull
	for i := range a.Pulls {
		if a.Pulls[i].Result == nil {
			continue
		}
		all = append(all, &a.Pulls[i])
	}
	if len(all) == len(usedPulls(a.Pulls)) {
		return nil
	}
	var grid []float64
	for _, rpm := range a.SpeedRPM {
		if everyPullHas(all, rpm) {
			grid = append(grid, rpm)
		}
	}
	if len(grid) < minSharedNodes && !a.allSteady || len(grid) < minHeldNodes {
		return nil
	}
	for _, p := range all {
		if p.AtCrank != all[0].AtCrank {
			return nil
		}
	}
	in := a.input(all, grid)
	var err error
	if in.History, err = a.historyOn(grid); err != nil {
		return err
	}
	comparisons, err := compare.Compare(in)
	if err != nil {
		return nil // a pull that was excluded for good reason may not fit at all
	}
	a.WithAll = comparisons
	return nil
}

func everyPullHas(pulls []*Pull, rpm float64) bool {
	for _, p := range pulls {
		if _, found := slices.BinarySearch(p.Corrected.SpeedRPM, rpm); !found {
			return false
		}
	}
	return true
}

// counter reports progress from several goroutines.
type counter struct {
	mu          sync.Mutex
	done, total int
	report      func(done, total int)
}

func newCounter(total int, report func(done, total int)) *counter {
	return &counter{total: total, report: report}
}

func (c *counter) step() {
	if c.report == nil {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.done++
	c.report(c.done, c.total)
}
