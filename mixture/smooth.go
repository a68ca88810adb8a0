package mixture

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Smoothing is a smoothed list of cells.
type Smoothing struct {
	Values []float64
	// Variance is that of each value for scatter of variance 1 from visit to visit, as
	// the posterior of the same penalty taken as a prior: its intervals hold on average
	// over the cells, the bias of smoothing counted in ([Wahba1983], [Nychka1988]).
	Variance  []float64
	Penalty   float64 // chosen weight of the second differences; 0: nothing was smoothed
	Effective float64 // degrees of freedom that the smoothed list spends
	Score     float64 // of generalised cross-validation
}

// Penalties that are tried, in powers of ten.
const (
	firstPower, lastPower = -3.0, 5.0
	powerStep             = 0.25
)

// Smooth returns the values z smoothed over their places on an even grid, each with its
// weight w > 0 (its number of visits): the f that makes
//
//	Σ w·(z − f)² + s·Σ (f₋ − 2f + f₊)²
//
// least, the second sum over every three neighbours in a row or in a column that are
// all there. A place without data takes no part: nothing is carried across it or into
// it. The weight s is the one with the least score of generalised cross-validation
// ([GolubHeathWahba1979]; the form of the penalty [Whittaker1923], [Eilers2003]): the
// values are smoothed only as far as the data themselves are predicted better by it.
// The least s that is tried leaves the values as they are, the greatest makes rows and
// columns straight; without three neighbours anywhere nothing is smoothed.
func Smooth(places [][2]int, z, w []float64) (Smoothing, error) {
	n := len(z)
	if len(places) != n || len(w) != n || n == 0 {
		return Smoothing{}, fmt.Errorf("smoothing of %d values at %d places with %d weights", n, len(places), len(w))
	}
	for i := range z {
		if !(w[i] > 0) || math.IsInf(w[i], 0) || math.IsNaN(z[i]) || math.IsInf(z[i], 0) {
			return Smoothing{}, fmt.Errorf("smoothing of %g with weight %g", z[i], w[i])
		}
	}
	triples, err := neighbours(places)
	if err != nil {
		return Smoothing{}, err
	}
	best := Smoothing{Values: append([]float64(nil), z...), Variance: make([]float64, n), Effective: float64(n), Score: math.Inf(1)}
	for i := range w {
		best.Variance[i] = 1 / w[i]
	}
	if len(triples) == 0 {
		return best, nil
	}
	for power := firstPower; power <= lastPower; power += powerStep {
		s, ok := penalised(triples, z, w, math.Pow(10, power))
		if ok && s.Score < best.Score {
			best = s
		}
	}
	return best, nil
}

// neighbours lists every three neighbours in a row or column by their index.
func neighbours(places [][2]int) ([][3]int, error) {
	at := make(map[[2]int]int, len(places))
	for i, p := range places {
		if _, twice := at[p]; twice {
			return nil, fmt.Errorf("smoothing: two values at one place")
		}
		at[p] = i
	}
	var out [][3]int
	for i, p := range places {
		for axis := range 2 {
			before, after := p, p
			before[axis]--
			after[axis]++
			a, okA := at[before]
			b, okB := at[after]
			if okA && okB {
				out = append(out, [3]int{a, i, b})
			}
		}
	}
	return out, nil
}

// penalised solves for one weight of the penalty. ok is false where the equations
// cannot be solved.
func penalised(triples [][3]int, z, w []float64, s float64) (Smoothing, bool) {
	n := len(z)
	a := mat.NewSymDense(n, nil)
	for i := range w {
		a.SetSym(i, i, w[i])
	}
	second := [3]float64{1, -2, 1}
	for _, t := range triples {
		for j := range 3 {
			for k := range j + 1 {
				a.SetSym(t[j], t[k], a.At(t[j], t[k])+s*second[j]*second[k])
			}
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(a) {
		return Smoothing{}, false
	}
	right := mat.NewVecDense(n, nil)
	for i := range z {
		right.SetVec(i, w[i]*z[i])
	}
	var f mat.VecDense
	var inverse mat.SymDense
	if factor.SolveVecTo(&f, right) != nil || factor.InverseTo(&inverse) != nil {
		return Smoothing{}, false
	}
	out := Smoothing{Values: make([]float64, n), Variance: make([]float64, n), Penalty: s}
	rss := 0.0
	for i := range z {
		out.Values[i], out.Variance[i] = f.AtVec(i), inverse.At(i, i)
		out.Effective += w[i] * inverse.At(i, i)
		rss += w[i] * (z[i] - out.Values[i]) * (z[i] - out.Values[i])
	}
	left := float64(n) - out.Effective
	out.Score = float64(n) * rss / (left * left)
	return out, left > 1e-6*float64(n)
}
