package scatter

import (
	"fmt"
	"math"
)

// Scalars is the number of scalar columns that follow the nodes: band mean, peak
// torque, peak power.
const Scalars = 3

// Study is what one campaign says of the scatter of the rig that it was measured
// on: the residuals of its own pulls, setups and repeated blocks, whatever was
// borrowed from history for its verdict.
//
// Columns are the nodes of SpeedRPM followed by the scalars (band mean, peak
// torque, peak power), all in ln(torque); a scalar that the campaign does not
// have is NaN in every row.
type Study struct {
	SpeedRPM []float64 // 1/min, increasing
	Setup    Level     // setup means about the model, one setup a configuration's repeat
	Block    Level     // means of repeated blocks within one setup, about the model
	Pull     Level     // pulls about their block's mean
	// DriftPerHour is the fitted drift of the primary figure and DriftSE its
	// standard error from the campaign's own scatter; DriftSE is 0 where the campaign
	// was not bracketed or knows no scatter of its own.
	DriftPerHour, DriftSE float64
	// DriftTakes is what the variance of DriftPerHour takes up of each level's
	// variance, in 1/h²; zero where the campaign was not bracketed. With it the
	// variance can be had from the scatter of many campaigns.
	DriftTakes Takes
	// DriftScalar is the scalar that DriftPerHour was read on: 0 band mean, 1 peak
	// torque, 2 peak power.
	DriftScalar int
}

// Takes are multiples of the setup, block and pull variances.
type Takes struct{ Setup, Block, Pull float64 }

// Level is one level of scatter. A zero DF says nothing.
type Level struct {
	Residuals [][]float64
	DF        float64
	// Pulls is the harmonic mean of the pulls behind each row: 1 for single pulls.
	Pulls float64
}

// MeanSquare returns the sum of squares of a scalar (0 band mean, 1 peak torque,
// 2 peak power) with its degrees of freedom; no degrees of freedom where the level
// says nothing or the campaign does not have that scalar.
func (l *Level) MeanSquare(scalar int) MeanSquare {
	if l.DF == 0 || len(l.Residuals) == 0 {
		return MeanSquare{}
	}
	m := MeanSquare{DF: l.DF}
	column := len(l.Residuals[0]) - Scalars + scalar
	for _, row := range l.Residuals {
		m.SS += row[column] * row[column]
	}
	if math.IsNaN(m.SS) {
		return MeanSquare{}
	}
	return m
}

// The bounds of a study: those of a comparison.
const (
	minNodes = 2
	maxNodes = 1000
)

// Validate returns an error that names what is wrong when the study's grid does not
// increase, or its rows do not fit that grid, hold a number that is not finite where
// only a missing scalar may be NaN, or are too few for their degrees of freedom.
func (s *Study) Validate() error {
	if n := len(s.SpeedRPM); n < minNodes || n > maxNodes {
		return fmt.Errorf("study: %d engine speeds; %d to %d", n, minNodes, maxNodes)
	}
	if err := increasing(s.SpeedRPM); err != nil {
		return fmt.Errorf("study: %w", err)
	}
	for _, l := range []struct {
		name string
		*Level
	}{{"setup", &s.Setup}, {"block", &s.Block}, {"pull", &s.Pull}} {
		if err := l.validate(len(s.SpeedRPM)); err != nil {
			return fmt.Errorf("study: %s level: %w", l.name, err)
		}
	}
	for _, v := range []float64{s.DriftPerHour, s.DriftSE, s.DriftTakes.Setup, s.DriftTakes.Block, s.DriftTakes.Pull} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("study: drift holds %v", v)
		}
	}
	if t := s.DriftTakes; s.DriftSE < 0 || t.Setup < 0 || t.Block < 0 || t.Pull < 0 {
		return fmt.Errorf("study: drift with a negative variance: SE %v, takes %v", s.DriftSE, t)
	}
	if s.DriftScalar < 0 || s.DriftScalar >= Scalars {
		return fmt.Errorf("study: drift of scalar %d; 0 to %d", s.DriftScalar, Scalars-1)
	}
	return nil
}

func (l *Level) validate(nodes int) error {
	if !(l.DF >= 0) || math.IsInf(l.DF, 0) {
		return fmt.Errorf("%v degrees of freedom", l.DF)
	}
	if l.DF == 0 {
		return nil
	}
	if len(l.Residuals) > maxRows || !carries(len(l.Residuals), l.DF) {
		return fmt.Errorf("%d residuals cannot carry %v degrees of freedom", len(l.Residuals), l.DF)
	}
	if !(l.Pulls >= 1) || math.IsInf(l.Pulls, 0) {
		return fmt.Errorf("%v pulls behind a row", l.Pulls)
	}
	for i, row := range l.Residuals {
		if len(row) != nodes+Scalars {
			return fmt.Errorf("residual %d has %d columns, its grid asks for %d", i+1, len(row), nodes+Scalars)
		}
		for k, v := range row {
			missing := k >= nodes && math.IsNaN(v) && math.IsNaN(l.Residuals[0][k])
			if math.IsInf(v, 0) || math.IsNaN(v) && !missing || !math.IsNaN(v) && math.IsNaN(l.Residuals[0][k]) {
				return fmt.Errorf("residual %d holds %v", i+1, v)
			}
		}
	}
	return nil
}

// increasing returns an error unless the engine speeds are finite, above zero and
// increase.
func increasing(rpm []float64) error {
	before := 0.0
	for _, r := range rpm {
		if !(r > before) || math.IsInf(r, 0) {
			return fmt.Errorf("engine speeds do not increase from above zero at %v 1/min", r)
		}
		before = r
	}
	return nil
}
