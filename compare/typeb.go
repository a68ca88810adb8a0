package compare

import "math"

// Terms beside the scatter that the pulls show. Each enters the variance as a
// square with its own degrees of freedom (docs/method.md).

// Defaults of the terms: the relative standard uncertainty of the correction's
// exponent, and the degrees of freedom of a bound that is judged rather than
// measured.
const (
	defaultExponentU = 0.15
	judgedDF         = 8.0
)

// term is one such contribution to a variance.
type term struct {
	part   string
	square float64
	df     float64
}

// terms returns, column by column, what is added to the scatter of the contrast w
// of a candidate and the baseline.
func (a *analysis) terms(candidate int, w []float64) [][]term {
	placement := a.in.LossPlacement[a.in.Candidates[candidate-1]]
	return a.termsOf(w, placement, a.design.centre[candidate]-a.design.centre[0], a.design.bracketed(candidate))
}

// termsOf is terms for any contrast: of which the loss placement, and the hours
// between the mean times of its sides, are given.
func (a *analysis) termsOf(w []float64, placement, apart float64, bracketed bool) [][]term {
	common := append(a.weatherTerm(w), placementTerm(placement))
	if !bracketed {
		common = append(common, a.rateTerm(apart)...)
	}
	allowance := a.allowance(w)
	out := make([][]term, len(a.means[0]))
	for k := range out {
		out[k] = common
		if allowance != nil {
			out[k] = append(common[:len(common):len(common)], term{PartDrift, allowance[k], judgedDF})
		}
	}
	return out
}

// weatherTerm is what the uncertainty of the correction's exponent makes of the
// difference in weather between the sides.
func (a *analysis) weatherTerm(w []float64) []term {
	u := a.in.ExponentU
	if u.DF == 0 {
		u = Spread{SD: defaultExponentU, DF: judgedDF}
	}
	var difference float64
	for b := range a.blocks {
		difference += w[b] * a.blocks[b].lnFactor
	}
	return []term{{PartWeather, square(difference * u.SD), u.DF}}
}

// placementTerm is the difference d that applying the correction to wheel plus loss
// would make, as the half-width of a rectangular distribution.
func placementTerm(d float64) term { return term{PartLoss, d * d / 3, judgedDF} }

// rateTerm is what a drift at the rates of earlier campaigns makes of the hours
// apart between two sides that do not bracket one another. Where the drift is in
// the model as well, its straightness over that time is what the term stands for.
func (a *analysis) rateTerm(apart float64) []term {
	rate := a.in.History.DriftRate
	if rate.DF == 0 {
		return nil
	}
	return []term{{PartDrift, square(apart * rate.SD), rate.DF}}
}

// allowance returns, column by column, the square of the standard uncertainty for a
// drift that is one-way and not straight: rectangular, of half-width |D| times
// the largest partial sum of weights. It is nil where drift is declared straight
// or is not in the model.
func (a *analysis) allowance(w []float64) []float64 {
	if a.in.DriftLinear || !a.design.timed {
		return nil
	}
	share := maxWeightSum(w)
	out := weighted(a.design.slope, a.means)
	for k, slope := range out {
		out[k] = square(slope*a.design.session()*share) / 3
	}
	return a.grid.averaged(out)
}

// with returns the variance with the terms added and the degrees of freedom of the
// sum, by Satterthwaite.
//
// A doubt that is added never narrows an interval: where few degrees of freedom of the
// scatter meet terms with more, t could fall by more than the standard error grows. As
// many are then left as keep the two-sided limits of the scatter alone.
func (v variance) with(terms []term, q *quantiles) (sum, df float64) {
	sum = v.v
	below := v.v * v.v / v.df
	for _, t := range terms {
		sum += t.square
		below += t.square * t.square / t.df
	}
	if below == 0 {
		return sum, v.df
	}
	df = sum * sum / below
	if df <= v.df {
		return sum, df
	}
	return sum, q.cut(df, v.df, math.Sqrt(v.v/sum))
}

// cut returns the degrees of freedom between least and df, df where that will do, at
// which the two-sided quantile is at least share times that at least.
func (q *quantiles) cut(df, least, share float64) float64 {
	wanted := share * q.twoSided(least)
	if q.twoSided(df) >= wanted {
		return df
	}
	p := 1 - (1-q.confidence)/2
	for range 40 {
		if middle := math.Sqrt(least * df); tQuantile(p, middle) >= wanted {
			least = middle
		} else {
			df = middle
		}
	}
	return least
}

// bounds are the limits of a gain at one confidence.
type bounds struct{ lo, hi, atLeast, atMost float64 }

// bounds returns the two-sided and one-sided limits of an estimate.
func (q *quantiles) bounds(estimate, variance, df float64) bounds {
	se := math.Sqrt(variance)
	two, one := q.twoSided(df)*se, q.oneSided(df)*se
	return bounds{estimate - two, estimate + two, estimate - one, estimate + one}
}
