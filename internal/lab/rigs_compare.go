package lab

import (
	"context"
	"fmt"
	"math"
	"slices"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/report"
	"fairpull/scatter"
)

// RigsQuery asks what several rigs read of one vehicle.
type RigsQuery struct {
	// Campaigns are ids of campaigns of the workspace, or paths of campaign folders. The
	// first is of the rig that the others are held against.
	Campaigns     []string
	Configuration string // of the first campaign; empty: its baseline
	Version       string // of the program, for documents
}

// mostRigs bounds the rigs that are compared.
const mostRigs = 50

// CompareRigs compares rigs by what they read of one vehicle in one configuration, a
// campaign for each rig. w may be nil where all campaigns are folders. Campaigns of
// different vehicles, of a configuration that is not the same, of one rig twice, or of
// which some give wheel and some crank figures, are refused.
func CompareRigs(ctx context.Context, w *Workspace, q RigsQuery) (*report.Rigs, error) {
	if len(q.Campaigns) < 2 || len(q.Campaigns) > mostRigs {
		return nil, fmt.Errorf("%d campaigns: name from 2 to %d, one for each rig", len(q.Campaigns), mostRigs)
	}
	analyses := make([]*Analysis, len(q.Campaigns))
	for i, name := range q.Campaigns {
		var err error
		if analyses[i], err = analyseNamed(ctx, w, name); err != nil {
			return nil, err
		}
	}
	return rigsOf(analyses, q)
}

// rigsOf compares the rigs of analysed campaigns.
func rigsOf(analyses []*Analysis, q RigsQuery) (*report.Rigs, error) {
	ids, err := sameOnEveryRig(analyses, q.Configuration)
	if err != nil {
		return nil, err
	}
	grid, err := commonGrid(analyses)
	if err != nil {
		return nil, err
	}
	first := analyses[0].Campaign
	fitted, _ := first.Configuration(ids[0])
	out := &report.Rigs{
		Vehicle: first.Vehicle.ID, Configuration: fitted, Confidence: first.Objective.Confidence, BandRPM: first.Objective.BandRPM,
		AtCrank: usedPulls(analyses[0].Pulls)[0].AtCrank, Version: q.Version,
	}
	levels := make([]*compare.RigLevel, len(analyses))
	for i, a := range analyses {
		if levels[i], err = a.rigLevel(ids[i], grid); err != nil {
			return nil, fmt.Errorf("campaign %s: %w", a.Campaign.ID, err)
		}
		row, err := a.rigRow(ids[i], levels[i], grid)
		if err != nil {
			return nil, fmt.Errorf("campaign %s: %w", a.Campaign.ID, err)
		}
		out.Rigs = append(out.Rigs, *row)
	}
	for i := range levels[1:] {
		b, err := compare.BiasBetween(levels[0], levels[i+1])
		if err != nil {
			return nil, err
		}
		out.Biases = append(out.Biases, biasOf(b, &out.Rigs[0], &out.Rigs[i+1]))
	}
	out.Cautions = differences(analyses)
	if len(levels) >= 3 {
		evaluate(out, levels, grid)
	}
	return out, nil
}

// biasOf puts what the calibrations of both rigs leave open beside a bias.
func biasOf(b *compare.RigBias, first, second *report.RigRow) report.RigsBias {
	out := report.RigsBias{RigBias: *b, Stated: first.CalibrationU > 0 && second.CalibrationU > 0}
	nodes := make([]float64, len(b.Curve))
	for k := range nodes {
		nodes[k] = math.Hypot(first.NodeU[k], second.NodeU[k])
	}
	out.WithBand, out.WithNodes = b.With(math.Hypot(first.CalibrationU, second.CalibrationU), nodes)
	return out
}

// commonGrid returns the engine speeds that all campaigns have, the longest stretch
// without a hole.
func commonGrid(analyses []*Analysis) ([]float64, error) {
	var shared, stretch []float64
	for _, rpm := range analyses[0].SpeedRPM {
		every := true
		for _, a := range analyses[1:] {
			if _, found := slices.BinarySearch(a.SpeedRPM, rpm); !found {
				every = false
			}
		}
		if !every {
			stretch = nil
			continue
		}
		if stretch = append(stretch, rpm); len(stretch) > len(shared) {
			shared = stretch
		}
	}
	least := minSharedNodes
	if analyses[0].allSteady {
		least = minHeldNodes
	}
	if len(shared) < least {
		return nil, fmt.Errorf("the campaigns share %d engine speeds in a row; a comparison needs %d.\n  See where the pulls of each lie with: fairpull reduce FOLDER", len(shared), least)
	}
	return shared, nil
}

// rigLevel reads the level of a configuration on the grid.
func (a *Analysis) rigLevel(id string, grid []float64) (*compare.RigLevel, error) {
	pulls := usedPulls(a.Pulls)
	in := a.input(pulls, grid)
	var err error
	if in.History, err = a.historyOn(grid); err != nil {
		return nil, err
	}
	return compare.ReadRig(compare.RigSide{Input: in, Configuration: id, Placement: a.placementOf(id)})
}

// placementOf is what the correction would add were it applied to wheel plus loss, as a
// fraction; 0 without coast-downs.
func (a *Analysis) placementOf(id string) float64 {
	sum, n := 0.0, 0.0
	for _, p := range usedPulls(a.Pulls) {
		if p.Configuration != id || p.Result.Coast == nil {
			continue
		}
		if wheel := meanDrumTorque(p, a.Campaign.Objective.BandRPM); wheel > 0 {
			sum += (1 - 1/p.Factor) * p.Result.Coast.MeanTorque / wheel
			n++
		}
	}
	return sum / max(n, 1)
}

// rigRow is what a rig brings to the comparison.
func (a *Analysis) rigRow(id string, l *compare.RigLevel, grid []float64) (*report.RigRow, error) {
	row := &report.RigRow{
		Campaign: a.Campaign.ID, Dyno: a.Campaign.Dyno.ID, Configuration: id, Standard: a.Standard.Name,
		Level: l, Factor: math.Exp(l.LnFactor), History: a.past != nil || a.Campaign.History != nil,
	}
	n := 0.0
	for _, p := range usedPulls(a.Pulls) {
		if p.Configuration != id {
			continue
		}
		if row.First.IsZero() || p.Started.Before(row.First) {
			row.First = p.Started
		}
		if p.Started.After(row.Last) {
			row.Last = p.Started
		}
		if p.Air != nil {
			row.Pressure += float64(p.Air.Pressure)
			row.Temperature += float64(p.Air.Temperature)
			n++
		}
	}
	row.Pressure, row.Temperature = row.Pressure/n, row.Temperature/n // NaN where the air is not known
	for _, k := range a.Checks {
		if k.Status != campaign.Pass && !slices.Contains(row.Checks, k.ID) {
			row.Checks = append(row.Checks, k.ID)
		}
	}
	var err error
	if !math.IsNaN(l.Band) {
		if row.CalibrationU, row.NotStated, err = a.calibrationU(id, compare.Band, 0, l.Band); err != nil {
			return nil, err
		}
	}
	for k, rpm := range grid {
		u, _, err := a.calibrationU(id, compare.PeakTorque, rpm, l.At(k))
		if err != nil {
			return nil, err
		}
		row.NodeU = append(row.NodeU, u)
	}
	return row, nil
}

// calibrationU is the relative standard uncertainty that the calibration of rig and
// sensors leaves in a level, and what nobody stated: the budget of the level without
// scatter and without what is wrong alike on every rig.
func (a *Analysis) calibrationU(id string, m compare.Metric, rpm, level float64) (u float64, missing []string, err error) {
	out := &report.Budget{}
	b := budgeting{a: a, out: out, said: map[string]bool{}}
	side := a.budgetSide(id, m, rpm, level)
	if m != compare.Band {
		side.engine = -(1 + slopeAt(a, id, rpm)) // at a given speed, and not at a peak
	}
	sides := [2]*budgetSide{side, side}
	sources := slices.DeleteFunc(b.sources(sides), func(s budgetSource) bool { return s.input == inExponent || s.input == inPlacement })
	l, err := b.levelModel(side, sources, 0, 0, 0).Linear()
	if err != nil {
		return 0, nil, err
	}
	return l.U / l.Value, out.NotStated, nil
}

// slopeAt is d ln(torque)/d ln(speed) about an engine speed.
func slopeAt(a *Analysis, id string, rpm float64) float64 {
	const half = 4 * gridStep
	pulls := slices.DeleteFunc(usedPulls(a.Pulls), func(p *Pull) bool { return p.Configuration != id })
	return slopeOver(pulls, [2]float64{rpm - half, rpm + half})
}

// evaluate puts the evaluation of ISO 5725-2 beside the biases of three rigs or more:
// over the band and at some engine speeds, the means of setups as values.
func evaluate(out *report.Rigs, levels []*compare.RigLevel, grid []float64) {
	add := func(rpm float64, of func(l *compare.RigLevel) []float64) {
		var values [][]float64
		for _, l := range levels {
			values = append(values, of(l))
		}
		e := report.RigsEvaluation{RPM: rpm}
		if l, err := scatter.CompareLaboratories(values); err != nil {
			e.Why = err.Error()
		} else {
			e.Result = together(l)
		}
		out.Evaluations = append(out.Evaluations, e)
	}
	if !math.IsNaN(levels[0].Band) {
		add(0, func(l *compare.RigLevel) []float64 { return l.Values })
	}
	for _, k := range someSpeeds(grid, out.BandRPM) {
		add(grid[k], func(l *compare.RigLevel) []float64 {
			var at []float64
			for _, setup := range l.NodeValues {
				at = append(at, setup[k])
			}
			return at
		})
	}
}

// together is an evaluation as the report shows it.
func together(l *scatter.Laboratories) *report.RigsTogether {
	out := &report.RigsTogether{Repeatability: l.Repeatability, Reproducibility: l.Reproducibility, Between: l.Between, H: l.H, K: l.K}
	for _, f := range l.Flags {
		out.Flags = append(out.Flags, report.RigsFlag{Test: string(f.Test), Rigs: f.Laboratories, Statistic: f.Statistic, Limit5: f.Limit5, Limit1: f.Limit1, Outlier: f.Outlier})
	}
	return out
}

// someSpeeds are five nodes spread over the band, or over the grid without one.
func someSpeeds(grid []float64, band [2]float64) []int {
	lo, hi := grid[0], grid[len(grid)-1]
	if band != [2]float64{} {
		lo, hi = max(lo, band[0]), min(hi, band[1])
	}
	var out []int
	for i := range 5 {
		want := lo + (hi-lo)*float64(i)/4
		k, found := slices.BinarySearch(grid, want)
		if k == len(grid) || !found && k > 0 && want-grid[k-1] < grid[k]-want {
			k--
		}
		if !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}
