package compare

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// Expectation is what a plan promises for one candidate, before the effect can be
// seen: nothing in it depends on the gain that will be found.
type Expectation struct {
	Candidate int
	// Withheld says why the plan could not carry a verdict, whatever is measured;
	// empty: it could.
	Withheld []Reason
	// Interval is false where no interval can be had: without repeated pulls and
	// without a known pull scatter. The figures below are then NaN.
	Interval bool

	SE, DF    float64            // of the gain, ln
	Parts     map[string]float64 // variance by origin, ln²: the Part constants
	HalfWidth float64            // of the two-sided interval at the confidence, ln
	Margin    float64            // how far the at-least figure will lie below the gain, ln

	Bracketed    bool
	MaxWeightSum float64 // what share of a one-way drift the gain can be off by
	ResidualDF   int     // degrees of freedom that the campaign itself will give

	chances []chance
	factor  float64 // chance that campaign and history are not found apart
}

// chance is one way that a campaign may go: with this weight the gain is shown where
// its estimate, normal about the true gain plus shift, exceeds bar.
type chance struct{ weight, bar, shift, sd float64 }

// expect works out the expectation of one candidate.
func (p Planned) expect(d *design, n *noise, candidate int) Expectation {
	nan := math.NaN()
	w := d.contrast(candidate)
	e := Expectation{
		Candidate: candidate, SE: nan, DF: nan, HalfWidth: nan, Margin: nan,
		Bracketed: d.bracketed(candidate), MaxWeightSum: maxWeightSum(w), ResidualDF: d.df,
		Interval: n.intervals(), Withheld: p.withheld(d, n, w, candidate),
	}
	if !e.Interval {
		return e
	}
	found := n.variances(w)[0]
	known := found
	fixed := p.fixedTerms(d, candidate, e.Bracketed)
	q := newQuantiles(p.Confidence)
	known.v, known.df = found.with(fixed, q)
	drift := p.drift(d, n, w)
	total, df := known.with([]term{{PartDrift, drift.allowance(), judgedDF}}, q)
	b := q.bounds(0, total, df)
	e.SE, e.DF, e.HalfWidth, e.Margin = math.Sqrt(total), df, b.hi, -b.atLeast
	e.Parts = map[string]float64{
		PartSetup: found.setup, PartBlock: found.block, PartPull: found.pull,
		PartDrift: drift.allowance(), PartWeather: 0, PartLoss: 0,
	}
	for _, t := range fixed {
		e.Parts[t.part] += t.square
	}
	e.factor = 1
	if n.heldAgainstHistory() {
		// The check of campaign against history fires by chance in one campaign in twenty,
		// and little is shown on the campaign's own few degrees of freedom.
		e.factor = 1 - poolingP
	}
	if drift.inPlay {
		e.chances = drift.chances(known, q)
	} else {
		e.chances = plainChances(known, q)
	}
	return e
}

// heldAgainstHistory reports whether the campaign will scatter visibly enough to be
// held against history.
func (n *noise) heldAgainstHistory() bool {
	if n.layout == separate {
		return len(n.setup.parts) > 1
	}
	return len(n.block.parts) > 1
}

// withheld lists why no verdict could be given, in the order of Judge.
func (p Planned) withheld(d *design, n *noise, w []float64, candidate int) []Reason {
	var out []Reason
	when := func(yes bool, r Reason) {
		if yes {
			out = append(out, r)
		}
	}
	when(!n.intervals(), PullScatterUnknown)
	when(!n.setupKnown && (n.layout != mixed || n.setupNeeded(w)), SetupScatterUnknown)
	when(!n.blockKnown, BlockScatterUnknown)
	when(!d.bracketed(candidate) && p.Assumed.DriftRate.DF == 0 && !(p.DriftLinear && d.timed), DriftNotBounded)
	return out
}

// fixedTerms are those that no number of blocks makes smaller.
func (p Planned) fixedTerms(d *design, candidate int, bracketed bool) []term {
	a, u := p.Assumed, p.Assumed.ExponentU
	if u.DF == 0 {
		u = Spread{SD: defaultExponentU, DF: judgedDF}
	}
	terms := []term{
		{PartWeather, square(a.WeatherDifference * u.SD), u.DF},
		{PartLoss, square(a.LossPlacement) / 3, judgedDF},
	}
	if !bracketed && a.DriftRate.DF > 0 {
		apart := d.centre[candidate] - d.centre[0]
		terms = append(terms, term{PartDrift, square(apart * a.DriftRate.SD), a.DriftRate.DF})
	}
	return terms
}

// expectedDrift is the change of level over the session as it will be found: normal
// about mean with this variance.
type expectedDrift struct {
	inPlay         bool // allowed for, and can close the gate
	mean, variance float64
	df             float64
	covariance     float64 // with the gain
	share          float64 // maxWeightSum of the contrast
}

func (p Planned) drift(d *design, n *noise, w []float64) expectedDrift {
	if p.DriftLinear || !d.timed {
		return expectedDrift{}
	}
	session := d.session()
	both := make([]float64, len(w))
	for b := range w {
		both[b] = w[b] + d.slope[b]
	}
	slope := n.variances(d.slope)[0]
	return expectedDrift{
		inPlay: true, mean: p.Assumed.DriftPerHour * session, variance: slope.v * session * session, df: slope.df,
		covariance: session * (n.variances(both)[0].v - n.variances(w)[0].v - slope.v) / 2,
		share:      maxWeightSum(w),
	}
}

// allowance is what is to be expected of the square that a drift adds.
func (d expectedDrift) allowance() float64 {
	return square(d.share) * (square(d.mean) + d.variance) / 3
}

// The numbers of places at which the found drift and the found scatter are tried, and
// how far out in standard deviations.
const (
	driftPlaces   = 48
	scatterPlaces = 24
	placesEnd     = 5.0
)

// plainChances are those without a drift: the estimate must exceed t times a found
// standard error. Together they are 1 − F(t(df); df, gain/SE) of the noncentral t.
func plainChances(known variance, q *quantiles) []chance {
	if known.df < 1 {
		return nil
	}
	sd, t := math.Sqrt(known.v), q.oneSided(known.df)
	var out []chance
	foundScatter(known.df, 160, func(s, weight float64) {
		out = append(out, chance{weight: weight, bar: t * s * sd, sd: sd})
	})
	return out
}

// chances are those with a drift that is estimated, allowed for, and can close the
// gate: for each drift that may be found and each scatter, the estimate must exceed
// its limit and, where the drift counts as detected, what the gate asks for.
func (d expectedDrift) chances(known variance, q *quantiles) []chance {
	if known.df < 1 {
		return nil
	}
	driftSD, slant := math.Sqrt(d.variance), 0.0
	at, weights := []float64{0}, []float64{1}
	if driftSD > 0 {
		slant = d.covariance / driftSD
		at, weights = legendre(driftPlaces, -placesEnd, placesEnd)
		for i, z := range at {
			weights[i] *= distuv.UnitNormal.Prob(z)
		}
	}
	sd := math.Sqrt(max(0, known.v-slant*slant))
	detected := math.Inf(1)
	if d.df >= 0.5 {
		detected = tQuantile(1-shownP/2, d.df) * driftSD
	}
	var out []chance
	for i, z := range at {
		found := math.Abs(d.mean + z*driftSD)
		allowed := square(found*d.share) / 3
		_, df := known.with([]term{{PartDrift, allowed, judgedDF}}, q)
		t, here := q.oneSided(df), weights[i]
		foundScatter(known.df, scatterPlaces, func(s, weight float64) {
			c := chance{weight: here * weight, shift: slant * z, sd: sd, bar: t * math.Sqrt(known.v*s*s+allowed)}
			if found > detected*s {
				c.bar = max(c.bar, found*d.share/gateShare)
			}
			out = append(out, c)
		})
	}
	return out
}

// foundScatter calls each with the ratios of found to true SD that df degrees of
// freedom may give, with their weights: the distribution of √(χ²(df)/df), eight
// standard deviations out by the cube-root transformation of Wilson and Hilferty.
func foundScatter(df float64, places int, each func(s, weight float64)) {
	end := func(z float64) float64 {
		c := 2 / (9 * df)
		return math.Sqrt(math.Pow(max(0, 1-c+z*math.Sqrt(c)), 3))
	}
	chi := distuv.ChiSquared{K: df}
	at, weights := legendre(places, end(-8), end(8))
	for i, s := range at {
		each(s, weights[i]*2*df*s*chi.Prob(df*s*s))
	}
}

// legendre returns the places and weights of Gauss–Legendre quadrature.
func legendre(places int, from, to float64) (at, weights []float64) {
	at, weights = make([]float64, places), make([]float64, places)
	quad.Legendre{}.FixedLocations(at, weights, from, to)
	return at, weights
}

// Chance returns how likely it is that the plan shows a gain, a fraction, where the
// part has one: that its at-least figure comes out above zero, that no drift closes
// the gate, and that the setups do not scatter more than history by mere chance.
//
// Scatter, weather and loss placement are as assumed, the drift straight at the rate
// assumed. It comes out up to four points high where degrees of freedom are few
// (docs/method.md): choose with some to spare.
func (e Expectation) Chance(gain float64) float64 {
	if len(e.Withheld) > 0 || !(gain > 0) {
		return 0
	}
	theta := math.Log1p(gain)
	var sum float64
	for _, c := range e.chances {
		above := theta + c.shift - c.bar
		switch {
		case c.sd > 0:
			sum += c.weight * distuv.UnitNormal.CDF(above/c.sd)
		case above > 0:
			sum += c.weight
		}
	}
	return e.factor * min(1, sum)
}

// largestGain bounds the gains that are looked at: twice the torque.
const largestGain = 1.0

// Detectable returns the smallest gain, a fraction, that the plan shows with the
// wanted chance; NaN where no gain up to 100 % has it.
func (e Expectation) Detectable(wanted float64) float64 {
	if !(e.Chance(largestGain) >= wanted) || !(wanted > 0) {
		return math.NaN()
	}
	low, high := 0.0, largestGain
	for range 40 {
		if middle := (low + high) / 2; e.Chance(middle) >= wanted {
			high = middle
		} else {
			low = middle
		}
	}
	return high
}
