package scatter

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// The rules of borrowing (docs/method.md, section 9): from priorCampaigns campaigns
// on, their spread is estimated and limits the degrees of freedom; with fewer,
// cautiousDF stand in its place.
const (
	priorCampaigns = 6
	cautiousDF     = 30.0
)

// maxStudies bounds the campaigns of one history.
const maxStudies = 10_000

// Pooled is the history of a lab: what many campaigns say together.
type Pooled struct {
	// Archive is the history on the grid asked for, ready for a comparison: sums of
	// squares over its degrees of freedom are the variances to use. It is nil where
	// nothing is known.
	Archive            *Archive
	Setup, Block, Pull PooledLevel

	// DriftRateSD is the SD of the drift rate from campaign to campaign, in 1/h: root
	// mean square of the fitted slopes less the variance of their estimation, and no
	// less than could have been seen. DriftRateDF, at most the campaigns less one, is 0
	// where it is unknown.
	DriftRateSD, DriftRateDF float64
	DriftCampaigns           int

	Uses []Use // what became of each study, in the order given
}

// Use is what became of a study.
type Use struct {
	Curve   bool   // its rows are in the archive
	Scalars bool   // it counts in the levels
	Why     string // why its rows are not in the archive; empty: they are
}

// PooledLevel is one level of scatter over many campaigns, for the three scalars
// (band mean, peak torque, peak power), in ln. NaN: unknown.
type PooledLevel struct {
	Campaigns int     // campaigns with scatter of their own
	DF        float64 // of all of them together
	Pulls     float64 // harmonic mean of the pulls behind a row

	// RowSD is the pooled SD of one row: of a setup's or block's mean of Pulls pulls.
	RowSD [Scalars]float64
	// SD is that of the level itself as it is used for judging, without the share of
	// the pulls; setups with the block scatter that comes with every one of them.
	SD [Scalars]float64

	// PriorDF says how alike the campaigns are: infinite where they do not spread more
	// than chance, NaN below six of them. PriorSD is the SD of a row that goes with it.
	PriorDF float64
	PriorSD [Scalars]float64
	// HomogeneityP is the p value of all campaigns having the same scatter.
	HomogeneityP float64
	// QuotedDF is what the archive states, never more than PriorDF.
	QuotedDF float64
}

// Pool returns the history that studies make on a grid of engine speeds (1/min,
// increasing): sums of squares over sums of degrees of freedom below six campaigns,
// and from six on too where they spread no more than chance; else the variance of the
// prior behind them. Degrees of freedom are quoted with the spread of campaigns in
// them: never more than those of the prior, and below six campaigns never more than
// thirty. An empty grid asks for the scalars alone, without an archive.
//
// Rows are brought to the grid by linear interpolation; beyond the ends of a study
// its end values are held over a fifteenth of the grid's range, over which variances
// are averaged anyway. A study that covers less does not enter the archive; its
// scalars count, and Uses says so.
//
// The result does not depend on the order of the studies, but for Uses, and they are
// not modified. An error names the study, counted from one, that is not valid.
func Pool(studies []Study, grid []float64) (Pooled, error) {
	if err := validatePool(studies, grid); err != nil {
		return Pooled{}, err
	}
	p := Pooled{Uses: make([]Use, len(studies))}
	sources := make([]source, len(studies))
	for i := range studies {
		on, why := placesOn(studies[i].SpeedRPM, grid)
		if len(grid) == 0 {
			why = "no curve was asked for"
		}
		sources[i] = source{study: &studies[i], on: on}
		p.Uses[i] = Use{Curve: why == "", Why: why}
		for _, of := range levels {
			p.Uses[i].Scalars = p.Uses[i].Scalars || of(&studies[i]).DF > 0
		}
		if !p.Uses[i].Scalars {
			p.Uses[i] = Use{Why: "it has no scatter of its own"}
		}
	}
	slices.SortFunc(sources, func(a, b source) int { return compareStudies(a.study, b.study) })

	pools := [len(levels)]*levelPool{}
	for l, of := range levels {
		pools[l] = newLevelPool(sources, of, len(grid))
	}
	setup, block, pull := pools[0], pools[1], pools[2]
	p.Setup, p.Block, p.Pull = setup.summary(pull), block.summary(pull), pull.summary(nil)
	p.Archive = archiveOf(setup, block, pull)
	p.driftRate(sources)
	return p, nil
}

// levels picks each level of a study.
var levels = [...]func(*Study) *Level{
	func(s *Study) *Level { return &s.Setup },
	func(s *Study) *Level { return &s.Block },
	func(s *Study) *Level { return &s.Pull },
}

func validatePool(studies []Study, grid []float64) error {
	if len(studies) > maxStudies {
		return fmt.Errorf("history: %d campaigns; at most %d", len(studies), maxStudies)
	}
	if len(grid) > 0 {
		if n := len(grid); n < minNodes || n > maxNodes {
			return fmt.Errorf("history: %d engine speeds; %d to %d", n, minNodes, maxNodes)
		}
		if err := increasing(grid); err != nil {
			return fmt.Errorf("history: %w", err)
		}
	}
	rows := 0
	for i := range studies {
		if err := studies[i].Validate(); err != nil {
			return fmt.Errorf("history: campaign %d: %w", i+1, err)
		}
		for _, of := range levels {
			rows += len(of(&studies[i]).Residuals)
		}
	}
	if rows > maxRows {
		return errors.New("history: more residuals than an archive may hold; pool fewer campaigns")
	}
	return nil
}

// compareStudies orders studies by what they hold, so that sums come out to the bit
// the same whatever order they are given in.
func compareStudies(a, b *Study) int {
	if c := slices.Compare(a.SpeedRPM, b.SpeedRPM); c != 0 {
		return c
	}
	for _, of := range levels {
		la, lb := of(a), of(b)
		c := cmp.Or(cmp.Compare(la.DF, lb.DF), cmp.Compare(la.Pulls, lb.Pulls),
			slices.CompareFunc(la.Residuals, lb.Residuals, slices.Compare[[]float64]))
		if c != 0 {
			return c
		}
	}
	return cmp.Or(
		cmp.Compare(a.DriftPerHour, b.DriftPerHour), cmp.Compare(a.DriftScalar, b.DriftScalar),
		cmp.Compare(a.DriftTakes.Setup, b.DriftTakes.Setup), cmp.Compare(a.DriftTakes.Block, b.DriftTakes.Block),
		cmp.Compare(a.DriftTakes.Pull, b.DriftTakes.Pull),
	)
}

// driftRate works out the spread of drift rates. Of the variance of a slope, what the
// pooled scatter does not know is not taken off, which leaves the spread too large
// rather than too small.
//
// The difference of the mean square of n slopes and their mean variance has a
// standard error of √(2/n) times that mean square. A spread below what that would be
// without any, √(2/n) times the mean variance, could not have been seen: it is taken
// for that large, and not for none. Degrees of freedom are those of the difference
// (Satterthwaite), at most n−1.
func (p *Pooled) driftRate(sources []source) {
	var squares, chance, n float64
	for _, src := range sources {
		s := src.study
		if s.DriftTakes == (Takes{}) {
			continue
		}
		n++
		of := func(l PooledLevel) float64 { return known(l.SD[s.DriftScalar] * l.SD[s.DriftScalar]) }
		block := of(p.Block)
		setup := max(0, of(p.Setup)-block)
		squares += s.DriftPerHour * s.DriftPerHour
		chance += s.DriftTakes.Setup*setup + s.DriftTakes.Block*block + s.DriftTakes.Pull*of(p.Pull)
	}
	p.DriftCampaigns = int(n)
	if n < 2 {
		return
	}
	squares, chance = squares/n, chance/n
	spread := max(squares-chance, math.Sqrt(2/n)*chance)
	p.DriftRateSD, p.DriftRateDF = math.Sqrt(spread), n-1
	if squares > 0 {
		p.DriftRateDF = min(n-1, n*(spread/squares)*(spread/squares))
	}
}

// known returns v, or nothing where it is NaN.
func known(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}
