package compare

import (
	"fmt"
	"slices"
)

// Between returns the comparison of one candidate with another, as Compare gives it
// of a candidate with the baseline: what the later step of a ladder adds to the
// one before it.
//
// All blocks of the campaign stay in one model, so the gain is the contrast of two
// levels of one design with weights of its own: blocks of the baseline, and of
// other candidates, count for the drift and the scatter, and what both levels
// share drops out. On the log scale the gains of the steps of a ladder add up to
// the gain of its top over the baseline; their variances do not.
//
// The comparison counts as bracketed where each of the two stands between blocks
// of the other, or both stand between blocks of the baseline: the drift between
// them is then known from the baseline's own. Unknown or equal names are an
// error, as is an input that [Compare] refuses.
func Between(in Input, before, after string) (Comparison, error) {
	if err := in.validate(); err != nil {
		return Comparison{}, err
	}
	turned, err := in.from(before)
	if err != nil {
		return Comparison{}, err
	}
	at := slices.Index(turned.Candidates, after)
	if at < 0 {
		return Comparison{}, fmt.Errorf("there is no configuration %q to compare with %q", after, before)
	}
	a, err := analyse(&turned, settings{averaging: variancesHalf, peakDraws: peakDraws})
	if err != nil {
		return Comparison{}, err
	}
	a.design.anchor = slices.Index(turned.Candidates, in.Baseline) + 1
	c := a.compare(at + 1)
	c.Judge(Doubts{})
	return c, nil
}

// from returns the input with another configuration in the baseline's place.
func (in *Input) from(baseline string) (Input, error) {
	out := *in
	if baseline == in.Baseline {
		return out, nil
	}
	at := slices.Index(in.Candidates, baseline)
	if at < 0 {
		return out, fmt.Errorf("there is no configuration %q to compare with", baseline)
	}
	out.Baseline, out.Candidates = baseline, slices.Clone(in.Candidates)
	out.Candidates[at] = in.Baseline
	out.LossPlacement = map[string]float64{in.Baseline: -in.LossPlacement[baseline]}
	for _, id := range in.Candidates {
		if id != baseline {
			out.LossPlacement[id] = in.LossPlacement[id] - in.LossPlacement[baseline]
		}
	}
	return out, nil
}
