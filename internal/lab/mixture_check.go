package lab

import (
	"fmt"
	"math"

	"fairpull/mixture"
)

// mixtureShare says by how much torque would differ between the sides of a comparison if
// nothing but the mixture differed: bounds by the published range, from mean lambda over
// each pull. It is empty where the difference has no interval.
func (a *Analysis) mixtureShare(candidate string) string {
	c := a.comparison(candidate)
	if c == nil {
		return ""
	}
	var list []mixture.SidePull
	block := 0
	used := usedPulls(a.Pulls)
	for i, p := range used {
		if i > 0 && (p.Configuration != used[i-1].Configuration || p.Setup != used[i-1].Setup) {
			block++
		}
		if p.Configuration == c.Baseline || p.Configuration == c.Candidate {
			list = append(list, mixture.SidePull{Candidate: p.Configuration == c.Candidate, Block: block, Lambda: []float64{p.Result.Lambda}, Slope: []float64{0}})
		}
	}
	// Pulls without lambda are NaN, and the sides must not lack a node for one of them.
	known := list[:0]
	for _, p := range list {
		if !math.IsNaN(p.Lambda[0]) {
			known = append(known, p)
		}
	}
	sides, err := mixture.CompareSides(known, []float64{1}, [2]float64{}, mixture.Common{}, c.Confidence)
	if err != nil {
		return ""
	}
	share, err := mixture.Published.Share(mixture.ShareInput{Sides: sides, Weight: []float64{1}}, c.Confidence)
	if err != nil {
		return ""
	}
	return fmt.Sprintf(" If nothing but the mixture differed, torque would differ by something from %+.1f %% to %+.1f %%, by the range that textbooks show (from memory; fairpull mixture says more).", 100*share.Lo, 100*share.Hi)
}
