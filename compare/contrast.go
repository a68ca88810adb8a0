package compare

import (
	"fmt"
	"math"
	"slices"
)

// Contrast is a weighted sum of the levels of configurations, on the log scale. Its
// weights sum to zero: it asks for a difference, and not for a level.
type Contrast struct {
	Name    string
	Weights map[string]float64 // by configuration
}

// Effect is a contrast, estimated. Its figures have no levels, its comparison no
// sides and no curve; a verdict of "gain shown" says that the contrast is above
// zero, at the confidence of this one contrast alone.
type Effect struct {
	Contrast
	Comparison
}

// maxContrasts bounds the contrasts of one call.
const maxContrasts = 1000

// Contrasts returns contrasts of the configurations of one campaign, in their order,
// from the same model, scatter and terms as [Compare]: for a weight of 1 on a
// candidate and −1 on the baseline the figures are those of Compare. The verdicts
// are without outside doubts (see Comparison.Judge).
//
// A contrast counts as bracketed where each of its configurations is the baseline
// or stands between blocks of it. An error names a weight that is not finite, an
// unknown configuration, weights that do not sum to zero, and what Compare refuses.
func Contrasts(in Input, contrasts []Contrast) ([]Effect, error) {
	if err := in.validate(); err != nil {
		return nil, err
	}
	if len(contrasts) > maxContrasts {
		return nil, fmt.Errorf("%d contrasts; at most %d", len(contrasts), maxContrasts)
	}
	weights := make([][]float64, len(contrasts))
	for i := range contrasts {
		var err error
		if weights[i], err = contrasts[i].over(&in); err != nil {
			return nil, err
		}
	}
	a, err := analyse(&in, settings{averaging: variancesHalf, peakDraws: peakDraws})
	if err != nil {
		return nil, err
	}
	out := make([]Effect, len(contrasts))
	for i, c := range contrasts {
		out[i] = Effect{c, a.effect(weights[i])}
		out[i].Judge(Doubts{})
	}
	return out, nil
}

// over returns the weights in the order of the baseline and the candidates.
func (c *Contrast) over(in *Input) ([]float64, error) {
	w := make([]float64, len(in.Candidates)+1)
	var sum, size float64
	for id, v := range c.Weights {
		if err := finite("a weight of the contrast "+c.Name, v); err != nil {
			return nil, err
		}
		at := slices.Index(in.Candidates, id) + 1
		if at == 0 && id != in.Baseline {
			return nil, fmt.Errorf("the contrast %s weighs a configuration %q that there is none of", c.Name, id)
		}
		w[at] = v
	}
	for _, v := range w {
		sum += v
		size += math.Abs(v)
	}
	if !(size > 0) || math.Abs(sum) > 1e-9*size {
		return nil, fmt.Errorf("the weights of the contrast %s sum to %g: a contrast weighs some configurations against others, so they sum to 0", c.Name, sum)
	}
	return w, nil
}

// effect estimates a contrast of the levels of the configurations.
func (a *analysis) effect(weights []float64) Comparison {
	e := a.estimateContrast(weights)
	c := Comparison{
		BandRPM: a.grid.bandRPM, Confidence: a.in.Confidence, SmallestGain: a.in.SmallestGain, Primary: a.in.Primary,
		Bracketed: a.enclosed(weights), TippingSD: math.NaN(), AtLeastEverywhere: math.NaN(),
		WholeBandFactor: math.NaN(), WholeBandDF: math.NaN(),
	}
	c.DriftBounded = c.Bracketed || a.in.History.DriftRate.DF > 0 || a.in.DriftLinear && a.design.timed
	c.Band, c.PeakTorque, c.PeakPower = a.effectFigure(e, weights, Band), a.effectFigure(e, weights, PeakTorque), a.effectFigure(e, weights, PeakPower)
	c.Scatter, c.Drift, c.Blocks, c.Parts = a.scatterOf(e), a.drift(e), a.blocksOf(e), e.parts(a.primaryColumn())
	for i, w := range weights {
		if w == 0 {
			continue
		}
		for _, u := range a.unusual(i) {
			if a.blocks[u.Block].configuration == i {
				c.Unusual = append(c.Unusual, u)
			}
		}
	}
	return c
}

// estimateContrast is estimate for any contrast of levels.
func (a *analysis) estimateContrast(weights []float64) *estimate {
	e := &estimate{w: make([]float64, len(a.blocks)), intervals: a.noise.intervals()}
	var placement, apart float64
	for c, v := range weights {
		if v == 0 {
			continue
		}
		for b, w := range a.design.level(c) {
			e.w[b] += v * w
		}
		apart += v * a.design.centre[c]
		if c > 0 {
			placement += v * a.in.LossPlacement[a.in.Candidates[c-1]]
		}
	}
	e.gain = weighted(e.w, a.means)
	for c, v := range weights {
		for i, m := range []Metric{PeakTorque, PeakPower} {
			if !a.peaks[c][i].edge {
				e.gain[a.column(m)] -= v * a.bias[c][i]
			}
		}
	}
	if !e.intervals {
		return e
	}
	e.scatter = a.noise.variances(e.w)
	e.terms = a.termsOf(e.w, placement, apart, a.enclosed(weights))
	e.v, e.df = make([]float64, len(e.gain)), make([]float64, len(e.gain))
	for k, v := range e.scatter {
		e.v[k], e.df[k] = v.with(e.terms[k], a.limits)
	}
	return e
}

// enclosed reports whether each configuration of a contrast is the baseline or
// bracketed by it.
func (a *analysis) enclosed(weights []float64) bool {
	for c, v := range weights {
		if c > 0 && v != 0 && !a.design.bracketed(c) {
			return false
		}
	}
	return true
}

// effectFigure is figure for a contrast: without levels.
func (a *analysis) effectFigure(e *estimate, weights []float64, m Metric) Figure {
	nan := math.NaN()
	f := Figure{BaselineLevel: nan, CandidateLevel: nan, Gain: nan, SE: nan, DF: nan, Lo: nan, Hi: nan, AtLeast: nan, AtMost: nan}
	if m == Band && !a.grid.hasBand {
		f.Missing = "a used pull does not cover the whole riding band"
		return f
	}
	if m != Band {
		names := append([]string{a.in.Baseline}, a.in.Candidates...)
		for c, v := range weights {
			if v != 0 && a.peaks[c][int(m-PeakTorque)].edge {
				f.Missing = fmt.Sprintf("peak not bracketed: %s is highest at the edge of the shared range", names[c])
				return f
			}
		}
	}
	a.bound(&f, e, a.column(m))
	return f
}
