package budget

import (
	"fmt"
	"math"
)

// Together returns the means of quantities that were read at the same time as
// inputs, with their correlations: readings[i] are those of names[i], all of one
// length n ≥ 2, and reading k of each belongs to the same moment. The inputs are
// normal, so that they can be drawn together; their uncertainties have n−1
// degrees of freedom, which the Welch–Satterthwaite formula may not use as if
// they were independent ([GUM], G.4.1).
//
// Source: [GUM], 5.2.3, equation 17; example in H.2.
func Together(names []string, readings [][]float64) ([]Input, []Correlation, error) {
	if len(names) != len(readings) || len(names) == 0 {
		return nil, nil, fmt.Errorf("%w: %d names for %d series of readings", ErrInput, len(names), len(readings))
	}
	n := len(readings[0])
	var inputs []Input
	var correlations []Correlation
	for i, own := range readings {
		if len(own) != n {
			return nil, nil, fmt.Errorf("%w: %s has %d readings and %s %d: they were not read together", ErrInput, names[0], n, names[i], len(own))
		}
		in, err := MeanOf(names[i], own)
		if err != nil {
			return nil, nil, err
		}
		in.Shape = Normal
		inputs = append(inputs, in)
		for j := range i {
			if r := correlation(own, readings[j]); r != 0 {
				correlations = append(correlations, Correlation{A: j, B: i, R: r})
			}
		}
	}
	return inputs, correlations, nil
}

// correlation returns the correlation coefficient of two series; 0 where one of
// them does not vary.
func correlation(a, b []float64) float64 {
	meanA, ssA := moments(a)
	meanB, ssB := moments(b)
	if ssA == 0 || ssB == 0 {
		return 0
	}
	sum := 0.0
	for i := range a {
		sum += (a[i] - meanA) * (b[i] - meanB)
	}
	return max(-1, min(1, sum/math.Sqrt(ssA*ssB)))
}
