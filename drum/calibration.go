package drum

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ErrCalibration says that readings do not make a calibration.
var ErrCalibration = errors.New("not a calibration")

// Part is what one source adds to the uncertainty of a calibrated value.
type Part struct {
	Name string
	U    float64 // standard uncertainty that it gives the value, in the value's unit
	DF   float64 // degrees of freedom of U; +Inf: known itself
	// Scatter is true where U was found from the scatter of readings (type A),
	// false where it was stated or worked out otherwise (type B).
	Scatter bool
}

// Calibrated is a value that was calibrated, with its uncertainty.
type Calibrated struct {
	Value float64
	U     float64 // combined standard uncertainty
	DF    float64 // effective degrees of freedom, Welch and Satterthwaite ([GUM], G.4.1)
	Parts []Part  // whose squares add up to that of U
}

// combined returns a value with independent parts. Parts without uncertainty are
// kept: that nothing was stated is seen in the table.
func combined(value float64, parts ...Part) Calibrated {
	c := Calibrated{Value: value, Parts: parts}
	variance, spread := 0.0, 0.0
	for _, p := range parts {
		variance += p.U * p.U
		spread += p.U * p.U * p.U * p.U / p.DF
	}
	c.U = math.Sqrt(variance)
	c.DF = variance * variance / spread
	if spread == 0 {
		c.DF = math.Inf(1)
	}
	return c
}

// check refuses a calibrated value that is no number.
func (c Calibrated) check(what string) error {
	if !finite(c.Value) || !finite(c.U) || c.U < 0 {
		return fmt.Errorf("%w: %s comes out as %g ± %g", ErrCalibration, what, c.Value, c.U)
	}
	return nil
}

// Expanded returns the expanded uncertainty at confidence p in (0, 1), by Student's
// t with the effective degrees of freedom; NaN for another p.
func (c Calibrated) Expanded(p float64) float64 {
	if !(p > 0 && p < 1) {
		return math.NaN()
	}
	if c.DF > 1e8 {
		return c.U * distuv.UnitNormal.Quantile((1+p)/2)
	}
	return c.U * distuv.StudentsT{Sigma: 1, Nu: c.DF}.Quantile((1+p)/2)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Acceptance is one limit of a published rule, and what was measured against it.
// The rules are for dynamometers on which emissions are tested; for others they
// are a yardstick.
type Acceptance struct {
	Rule     string // as "40 CFR 1066.250(d)(1)"
	What     string
	Measured float64 // in Unit, of the kind that the rule limits
	Low      float64 // least allowed; −Inf: none
	High     float64 // most allowed; +Inf: none
	Unit     string
}

// Met reports whether the measured value lies within the limits, the limits
// included.
func (a Acceptance) Met() bool { return a.Measured >= a.Low && a.Measured <= a.High }

// atMost is a limit on the size of a departure.
func atMost(rule, what string, measured, limit float64, unit string) Acceptance {
	return Acceptance{Rule: rule, What: what, Measured: measured, Low: -limit, High: limit, Unit: unit}
}
