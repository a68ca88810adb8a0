package scatter

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// MeanSquare is a sum of squares with its degrees of freedom.
type MeanSquare struct{ SS, DF float64 }

// Value returns SS/DF; NaN without degrees of freedom.
func (m MeanSquare) Value() float64 { return m.SS / m.DF }

// OneWay returns the mean squares between and within groups of values, which may
// differ in number. It takes at least two groups, each with a value, and one
// value more than there are groups.
//
// Values are first taken from the first of them, which costs no digits where they
// lie close together, however large their common level.
func OneWay(groups [][]float64) (between, within MeanSquare, err error) {
	if len(groups) < 2 {
		return between, within, fmt.Errorf("%d groups: scatter between groups needs two", len(groups))
	}
	var all []float64
	shifted := make([][]float64, len(groups))
	for g, group := range groups {
		if len(group) == 0 {
			return between, within, fmt.Errorf("group %d is empty", g+1)
		}
		for _, v := range group {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return between, within, fmt.Errorf("group %d holds %v", g+1, v)
			}
			shifted[g] = append(shifted[g], v-groups[0][0])
		}
		all = append(all, shifted[g]...)
	}
	if len(all) == len(groups) {
		return between, within, errors.New("one value in every group: scatter within groups cannot be told")
	}
	grand := Mean(all)
	for _, group := range shifted {
		mean := Mean(group)
		between.SS += float64(len(group)) * (mean - grand) * (mean - grand)
		within.SS += SquaresAbout(group, mean)
	}
	between.DF = float64(len(groups) - 1)
	within.DF = float64(len(all) - len(groups))
	return between, within, nil
}

// Components are the variances of pulls within a setup, of setups within a day and
// of days, with the mean squares that they come from. A component that comes out
// negative is cut at zero.
type Components struct {
	Pull, Setup, Day       float64
	PullDF, SetupDF, DayDF float64 // Satterthwaite, of each component; 0 where it was cut

	PullMS, SetupMS, DayMS MeanSquare
	K1, K2, K3             float64 // coefficients of the expectations
}

// Repeatability returns the SD of pulls within one setup.
func (c Components) Repeatability() float64 { return math.Sqrt(c.Pull) }

// Reproducibility returns the SD of one pull from setup to setup and day to day.
func (c Components) Reproducibility() float64 { return math.Sqrt(c.Pull + c.Setup + c.Day) }

// Nested returns the components of pulls in setups in days (days[d][s][p]) by the
// method of moments for unbalanced nesting (Henderson's first method):
//
//	E(MS setup) = pull + k1·setup,  E(MS day) = pull + k2·setup + k3·day
//
// It takes at least two days, one setup more than days and one pull more than
// setups.
func Nested(days [][][]float64) (Components, error) {
	var c Components
	var setups, together [][]float64
	for d, day := range days {
		setups = append(setups, day...)
		together = append(together, slices.Concat(day...))
		if len(together[d]) == 0 {
			return c, fmt.Errorf("day %d is empty", d+1)
		}
	}
	if len(setups) <= len(days) {
		return c, errors.New("one setup a day: scatter of setups cannot be told from that of days")
	}
	ofSetups, pulls, err := OneWay(setups)
	if err != nil {
		return c, err
	}
	ofDays, _, err := OneWay(together)
	if err != nil {
		return c, err
	}
	c.PullMS, c.DayMS = pulls, ofDays
	c.SetupMS = MeanSquare{SS: ofSetups.SS - ofDays.SS, DF: float64(len(setups) - len(days))}
	c.expectations(days)

	c.Pull, c.PullDF = pulls.Value(), pulls.DF
	c.Setup, c.SetupDF = cut(term{1 / c.K1, c.SetupMS}, term{-1 / c.K1, pulls})
	// With setups cut at zero their mean square says nothing more of the days.
	if c.Setup > 0 {
		c.Day, c.DayDF = cut(term{1 / c.K3, c.DayMS}, term{-c.K2 / (c.K1 * c.K3), c.SetupMS}, term{(c.K2/c.K1 - 1) / c.K3, pulls})
	} else {
		c.Day, c.DayDF = cut(term{1 / c.K3, c.DayMS}, term{-1 / c.K3, pulls})
	}
	return c, nil
}

// expectations sets the coefficients from the numbers of pulls, the degrees of
// freedom being known.
func (c *Components) expectations(days [][][]float64) {
	var n, s1, s2, s3 float64
	for _, day := range days {
		var size, squares float64
		for _, setup := range day {
			pulls := float64(len(setup))
			size += pulls
			squares += pulls * pulls
		}
		n += size
		s1 += squares / size
		s2 += squares
		s3 += size * size
	}
	c.K1 = (n - s1) / c.SetupMS.DF
	c.K2 = (s1 - s2/n) / c.DayMS.DF
	c.K3 = (n - s3/n) / c.DayMS.DF
}

// term is a multiple of a mean square.
type term struct {
	c float64
	MeanSquare
}

// cut returns the sum of the terms, zero where it is negative, and its degrees of
// freedom by Satterthwaite.
func cut(terms ...term) (value, df float64) {
	var below float64
	for _, t := range terms {
		part := t.c * t.Value()
		value += part
		below += part * part / t.DF
	}
	if value <= 0 {
		return 0, 0
	}
	return value, value * value / below
}
