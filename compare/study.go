package compare

import (
	"errors"
	"fmt"
	"math"

	"fairpull/scatter"
)

// sessionHours is the longest span, in hours, of which a fitted drift counts as that
// of a session: a slope over several days says little of the first hours of one.
const sessionHours = 24.0

// Study returns what the pulls of a campaign say of the scatter of their rig, never
// of what the campaign borrowed: in.History, the Type B terms, the confidence and
// the smallest gain of interest have no part in it.
//
// Setup rows are the means of setups about the model of Compare; where some setups
// hold several blocks, the means of the first baseline block of each setup about
// their own model. Block rows are the means of blocks within one setup about a
// model with a level for every setup. Pull rows are orthonormal contrasts of the
// pulls of each block. Rows over degrees of freedom are the mean squares that
// Compare uses, before they are averaged over engine speed. Levels of which the
// campaign says nothing have no degrees of freedom. All in ln(torque).
//
// Without candidates the pulls are those of a repeatability study: see
// Repeatability. Errors are those of Compare for the same pulls.
func Study(in Input) (scatter.Study, error) {
	if err := in.validateStudy(); err != nil {
		return scatter.Study{}, err
	}
	a, err := read(&in, variancesHalf)
	if err != nil {
		return scatter.Study{}, err
	}
	within := a.contrasts()
	s := scatter.Study{
		SpeedRPM: in.SpeedRPM,
		Pull:     a.studied(within, len(within), 1),
	}
	switch a.design.layout() {
	case separate:
		s.Setup = a.studied(a.design.residuals(a.means), a.design.df, 1/a.design.meanInvPulls())
	case oneSetup:
		s.Block = a.studied(a.design.residuals(a.means), a.design.df, 1/a.design.meanInvPulls())
	case mixed:
		rows, df := a.design.withinSetups(a.means)
		s.Block = a.studied(rows, df, 1/a.design.meanInvPulls())
		s.Setup = a.firstBaselines()
	}
	a.studyDrift(&s)
	return s, nil
}

// Repeatability returns what pulls of one configuration say of the scatter of the
// rig, be they a repeatability study or those of a check standard: see Study.
//
// speedRPM is the grid that the pulls share, increasing, in 1/min. The whole grid
// counts as the riding band. Pulls of several configurations are an error.
func Repeatability(speedRPM []float64, pulls []Pull) (scatter.Study, error) {
	if len(pulls) == 0 {
		return scatter.Study{}, errors.New("a repeatability study needs a pull")
	}
	baseline := pulls[0].Configuration
	for _, p := range pulls {
		if p.Configuration != baseline {
			return scatter.Study{}, fmt.Errorf("pull %q is of configuration %q, the study is of %q", p.Name, p.Configuration, baseline)
		}
	}
	return Study(Input{SpeedRPM: speedRPM, Pulls: pulls, Baseline: baseline})
}

// studied returns a level of rows; none without degrees of freedom. Scalars that
// the campaign does not have become NaN.
func (a *analysis) studied(rows [][]float64, df int, pulls float64) scatter.Level {
	if df <= 0 {
		return scatter.Level{}
	}
	out := make([][]float64, len(rows))
	for i, row := range rows {
		out[i] = append([]float64{}, row...)
		for _, m := range []Metric{Band, PeakTorque, PeakPower} {
			if !a.has(m) {
				out[i][a.column(m)] = math.NaN()
			}
		}
	}
	return scatter.Level{Residuals: out, DF: float64(df), Pulls: pulls}
}

// has reports whether every configuration has the scalar figure.
func (a *analysis) has(m Metric) bool {
	if m == Band {
		return a.grid.hasBand
	}
	for _, p := range a.peaks {
		if p[m-PeakTorque].edge {
			return false
		}
	}
	return true
}

// firstBaselines returns the scatter between setups of which some hold several
// blocks, from the first baseline block of each: those are setups of one
// configuration with one block each, as the setup level of an archive has them.
// The other blocks would not do: part of their block scatter drops out of a setup's
// mean.
func (a *analysis) firstBaselines() scatter.Level {
	var blocks []block
	var means [][]float64
	seen := map[int]bool{}
	for b, block := range a.blocks {
		if block.configuration != 0 || seen[block.setup] {
			continue
		}
		seen[block.setup] = true
		block.setup = len(blocks)
		blocks = append(blocks, block)
		means = append(means, a.means[b])
	}
	if len(blocks) < 2 {
		return scatter.Level{}
	}
	d := newDesign(blocks, 1)
	return a.studied(d.residuals(means), d.df, 1/d.meanInvPulls())
}

// studyDrift puts the drift of the primary figure into the study where the pulls of
// one session can tell it.
func (a *analysis) studyDrift(s *scatter.Study) {
	d := a.design
	if !d.timed || d.session() > sessionHours || !a.anyBracketed() {
		return
	}
	k := a.primaryColumn()
	s.DriftPerHour = weighted(d.slope, a.means)[k]
	s.DriftScalar = k - len(a.grid.rpm)
	m := d.multipliers(d.slope)
	s.DriftTakes = scatter.Takes{Setup: m.setup, Block: m.block, Pull: m.pull}
	if d.layout() == oneSetup {
		s.DriftTakes.Setup = 0 // but for rounding: one offset drops out of a slope
	}
	s.DriftSE = math.Sqrt(ownDriftVariance(s))
}

// ownDriftVariance returns the variance of a study's drift from its own scatter; 0
// where a level that the drift meets is not known.
func ownDriftVariance(s *scatter.Study) float64 {
	of := func(l *scatter.Level) (mean, df float64) {
		m := l.MeanSquare(s.DriftScalar)
		if m.DF == 0 {
			return 0, 0
		}
		return m.Value(), m.DF
	}
	pull, pullDF := of(&s.Pull)
	setup, setupDF := of(&s.Setup)
	block, blockDF := of(&s.Block)
	t := s.DriftTakes
	if pullDF == 0 || t.Setup > 0 && setupDF == 0 || t.Setup == 0 && blockDF == 0 {
		return 0
	}
	if blockDF > 0 {
		block = max(0, block-pull/s.Block.Pulls)
	}
	if setupDF > 0 {
		// A setup's mean holds the block scatter of its one block.
		setup = max(0, setup-pull/s.Setup.Pulls-block)
	}
	return t.Setup*setup + t.Block*block + t.Pull*pull
}

// anyBracketed reports whether some candidate is bracketed, or there is none.
func (a *analysis) anyBracketed() bool {
	for c := range a.in.Candidates {
		if a.design.bracketed(c + 1) {
			return true
		}
	}
	return len(a.in.Candidates) == 0
}
