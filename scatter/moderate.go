package scatter

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// VariancePrior is what many variances have in common: a true variance is Variance·DF over a
// chi-square variable on DF degrees of freedom. An infinite DF says that all true
// variances are the same.
type VariancePrior struct{ Variance, DF float64 }

// FitPrior returns the prior of the true variances behind at least two variances
// found on df degrees of freedom each, by the method of moments on their logarithms.
// Where they do not spread more than chance alone would spread them, DF is infinite
// and Variance their plain mean.
//
// A variance below a hundred-thousandth of the median counts as that, because the
// logarithm of one that is zero by accident would decide alone.
//
// Source: [Smyth2004], section 6.2.
func FitPrior(variances, df []float64) (VariancePrior, error) {
	if len(variances) < 2 || len(variances) != len(df) {
		return VariancePrior{}, fmt.Errorf("%d variances and %d degrees of freedom; a prior takes two or more", len(variances), len(df))
	}
	for i, v := range variances {
		if !(v >= 0) || math.IsInf(v, 0) || !(df[i] > 0) || math.IsInf(df[i], 0) {
			return VariancePrior{}, fmt.Errorf("variance %v on %v degrees of freedom", v, df[i])
		}
	}
	raised, ok := floored(variances)
	if !ok {
		return VariancePrior{}, errors.New("half of the variances or more are zero")
	}
	level, excess := logMoments(raised, df)
	if excess <= 0 {
		return VariancePrior{Mean(raised), math.Inf(1)}, nil
	}
	d0 := 2 * trigammaInverse(excess)
	return VariancePrior{priorVariance(level, d0), d0}, nil
}

// leastOfMedian is the share of the median that a variance is raised to.
const leastOfMedian = 1e-5

// floored returns the variances, those near zero raised; not ok where the median is
// zero.
func floored(variances []float64) (raised []float64, ok bool) {
	n := len(variances)
	if n == 0 {
		return nil, false
	}
	sorted := slices.Sorted(slices.Values(variances))
	median := (sorted[(n-1)/2] + sorted[n/2]) / 2
	raised = slices.Clone(variances)
	for i, v := range raised {
		raised[i] = max(v, leastOfMedian*median)
	}
	return raised, median > 0
}

// logMoments returns the mean of the logarithms of the true variances, and by how
// much the spread of the logarithms exceeds that of chance.
func logMoments(variances, df []float64) (level, excess float64) {
	logs := make([]float64, len(variances))
	var chance float64
	for i, v := range variances {
		logs[i] = logVariance(v, df[i])
		chance += trigamma(df[i]/2) / float64(len(variances))
	}
	level, spread := MeanVariance(logs)
	return level, spread - chance
}

// logVariance returns an unbiased estimate of the logarithm of the true variance
// behind v on df degrees of freedom.
func logVariance(v, df float64) float64 {
	return math.Log(v) - mathext.Digamma(df/2) + math.Log(df/2)
}

// priorVariance returns the variance of a prior with the given mean logarithm.
func priorVariance(level, d0 float64) float64 {
	return math.Exp(level + mathext.Digamma(d0/2) - math.Log(d0/2))
}

// trigamma returns the second derivative of ln Γ at x > 0: the Hurwitz zeta function
// ζ(2, x).
func trigamma(x float64) float64 { return mathext.Zeta(2, x) }

// trigammaInverse returns the x > 0 at which trigamma is y > 0, by Newton's method on
// 1/trigamma, which is nearly straight and convex, so that steps from the left of the
// root do not pass it. Source: [Smyth2004], appendix.
func trigammaInverse(y float64) float64 {
	switch {
	case y > 1e7:
		return 1 / math.Sqrt(y)
	case y < 1e-6:
		return 1 / y
	}
	x := 0.5 + 1/y
	for range 50 {
		tri := trigamma(x)
		step := tri * (1 - tri/y) / (-2 * mathext.Zeta(3, x))
		x += step
		if math.Abs(step) < 1e-12*x {
			break
		}
	}
	return x
}

// Homogeneity returns the p value of the hypothesis that all variances, found on df
// degrees of freedom each, are one, by Bartlett's test; NaN for fewer than two
// variances. It supposes normal scatter, and is near its level from some three
// degrees of freedom each on, a little off it below.
//
// Source: [NISTHandbook], section 1.3.5.7.
func Homogeneity(variances, df []float64) float64 {
	if len(variances) < 2 {
		return math.NaN()
	}
	raised, ok := floored(variances)
	if !ok {
		return math.NaN()
	}
	var total, squares, logs, inverse float64
	for i, v := range raised {
		total += df[i]
		squares += df[i] * v
		logs += df[i] * math.Log(v)
		inverse += 1 / df[i]
	}
	k := float64(len(raised) - 1)
	found := total*math.Log(squares/total) - logs
	correction := 1 + (inverse-1/total)/(3*k)
	return distuv.ChiSquared{K: k}.Survival(found / correction)
}
