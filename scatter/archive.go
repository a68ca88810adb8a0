// Package scatter holds the lab's own repeatability and reproducibility.
package scatter

import (
	"fmt"
	"math"
)

// Archive is earlier work on one grid, as a comparison can use it: residuals
// rather than SDs, so that covariances over engine speed can be rebuilt.
//
// Columns are the grid's nodes followed by the scalars (band mean, peak torque,
// peak power), all in ln(torque). A zero DF means that the archive says nothing
// of that level.
type Archive struct {
	SetupResiduals [][]float64 // setup means about their configuration's mean
	SetupDF        float64
	PullsPerSetup  float64     // harmonic mean of pulls behind a setup mean
	PullResiduals  [][]float64 // pulls about their block's mean
	PullDF         float64
	BlockResiduals [][]float64 // means of repeated blocks within one setup, about their model
	BlockDF        float64
	PullsPerBlock  float64 // harmonic mean of pulls behind a block mean
}

// maxRows bounds the rows of one level: far above any lab's yearly work, low
// enough that a damaged archive cannot exhaust memory.
const maxRows = 100_000

// carries reports whether so many rows can have so many degrees of freedom. The sum
// over many campaigns may be off by the rounding of its terms.
func carries(rows int, df float64) bool { return df <= float64(rows)*(1+1e-9) }

// Validate returns an error that names what is wrong when the archive does not
// have rows of the given number of columns, holds a number that is not finite,
// or has degrees of freedom without the rows (or the pulls) behind them.
func (a *Archive) Validate(columns int) error {
	for _, l := range []struct {
		name      string
		rows      [][]float64
		df, pulls float64
		needPulls bool
	}{
		{"setup", a.SetupResiduals, a.SetupDF, a.PullsPerSetup, true},
		{"pull", a.PullResiduals, a.PullDF, 1, false},
		{"block", a.BlockResiduals, a.BlockDF, a.PullsPerBlock, true},
	} {
		if !(l.df >= 0) || math.IsInf(l.df, 0) {
			return fmt.Errorf("archive: %s degrees of freedom are %v", l.name, l.df)
		}
		if l.df == 0 {
			continue
		}
		if len(l.rows) == 0 || len(l.rows) > maxRows || !carries(len(l.rows), l.df) {
			return fmt.Errorf("archive: %d %s residuals cannot carry %v degrees of freedom", len(l.rows), l.name, l.df)
		}
		if l.needPulls && (!(l.pulls >= 1) || math.IsInf(l.pulls, 0)) {
			return fmt.Errorf("archive: %v pulls behind a %s mean", l.pulls, l.name)
		}
		for i, row := range l.rows {
			if len(row) != columns {
				return fmt.Errorf("archive: %s residual %d has %d columns, the grid asks for %d", l.name, i+1, len(row), columns)
			}
			for _, v := range row {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return fmt.Errorf("archive: %s residual %d holds %v", l.name, i+1, v)
				}
			}
		}
	}
	return nil
}
