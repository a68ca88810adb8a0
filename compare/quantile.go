package compare

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// tQuantile returns the p quantile of Student's t for 0.5 < p < 1; df ≥ 0.5 need
// not be whole.
//
// It starts from the expansion of the quantile in powers of 1/df about the normal
// one ([AS], 26.7.5) and takes Newton steps on the logarithm of the upper tail,
// which is nearly straight there; where they do not settle, as for very few
// degrees of freedom, it falls back on inverting the incomplete beta function.
func tQuantile(p, df float64) float64 {
	d := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	z := distuv.UnitNormal.Quantile(p)
	z2 := z * z
	t := z * (1 + (z2+1)/(4*df) + ((5*z2+16)*z2+3)/(96*df*df))
	for range 8 {
		tail := d.Survival(t)
		step := tail * math.Log(tail/(1-p)) / d.Prob(t)
		t += step
		if !(t > 0) {
			break
		}
		if math.Abs(step) < 1e-9*t {
			return t
		}
	}
	return d.Quantile(p)
}

// tTail returns the two-sided p value of t.
func tTail(t, df float64) float64 {
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.CDF(-math.Abs(t))
}

// quantiles remembers the t quantiles of one confidence: neighbouring nodes often
// share their degrees of freedom.
type quantiles struct {
	confidence float64
	one, two   map[float64]float64
}

func newQuantiles(confidence float64) *quantiles {
	return &quantiles{confidence: confidence, one: map[float64]float64{}, two: map[float64]float64{}}
}

// twoSided returns t(df, 1 − (1 − confidence)/2).
func (q *quantiles) twoSided(df float64) float64 {
	t, ok := q.two[df]
	if !ok {
		t = tQuantile(1-(1-q.confidence)/2, df)
		q.two[df] = t
	}
	return t
}

// oneSided returns t(df, confidence).
func (q *quantiles) oneSided(df float64) float64 {
	t, ok := q.one[df]
	if !ok {
		t = tQuantile(q.confidence, df)
		q.one[df] = t
	}
	return t
}

// noncentralT returns the distribution function of the noncentral t distribution
// at t: the integral of Φ(t·s − delta) over the distribution of
// s = √(χ²(df)/df), by Gauss–Legendre quadrature. It holds for df ≥ 1 within 1e-8.
//
// The ends are eight standard deviations out by the cube-root transformation of
// Wilson and Hilferty, which leaves less than 1e-14 outside.
func noncentralT(t, df, delta float64) float64 {
	end := func(z float64) float64 {
		c := 2 / (9 * df)
		return math.Sqrt(math.Pow(max(0, 1-c+z*math.Sqrt(c)), 3))
	}
	chi := distuv.ChiSquared{K: df}
	f := func(s float64) float64 {
		return distuv.UnitNormal.CDF(t*s-delta) * 2 * df * s * chi.Prob(df*s*s)
	}
	return quad.Fixed(f, end(-8), end(8), 160, quad.Legendre{}, 0)
}

// quantileOf returns the p quantile of values by linear interpolation between
// order statistics, the p·(n−1)-th from zero. It reorders values.
func quantileOf(values []float64, p float64) float64 {
	at := p * float64(len(values)-1)
	i := int(at)
	below := smallest(values, i)
	if i+1 == len(values) {
		return below
	}
	return below + (at-float64(i))*(slices.Min(values[i+1:])-below)
}

// smallest returns the k-th smallest value, from zero, and leaves the smaller ones
// before it and the others after it (Hoare's selection).
func smallest(values []float64, k int) float64 {
	low, high := 0, len(values)-1
	for low < high {
		pivot := values[(low+high)/2]
		i, j := low, high
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return values[k]
		}
	}
	return values[k]
}

// finite returns an error that names what when v is not a finite number.
func finite(what string, v float64) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%s is %v", what, v)
	}
	return nil
}
