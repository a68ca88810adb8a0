package scatter

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// The control chart of a check standard: numbers that are standard normal while
// nothing changes, and three rules that watch them.
//
//	EWMA   z = (1−λ)·z + λ·q signals beyond ±L·√(λ/(2−λ)): a small lasting shift
//	CUSUM  up = max(0, up + q − k), down = max(0, down − q − k) signal beyond h: the same
//	single |q| > c: one large departure
//
// Sources: [LucasSaccucci1990] for the EWMA, [Page1954] for the CUSUM.

// Rules are the constants of a chart, in standard deviations.
type Rules struct {
	Weight    float64 // λ of the EWMA, in (0, 1]
	Limit     float64 // L of the EWMA
	Reference float64 // k of the CUSUM
	Decision  float64 // h of the CUSUM
	Single    float64 // c of one point
}

// DefaultRules return λ 0.2 and L 2.859, k 0.5 and h 4.77, each of which alone
// gives a false alarm in about 370 checks, and 3.5 standard deviations for a single
// point (docs/method.md, section 12).
func DefaultRules() Rules {
	return Rules{Weight: 0.2, Limit: 2.859, Reference: 0.5, Decision: 4.77, Single: 3.5}
}

// The range of the constants.
const (
	maxLimit = 10.0
	maxShift = 20.0
)

// Validate returns an error that names a constant that cannot be one.
func (r Rules) Validate() error {
	if !(r.Weight > 0 && r.Weight <= 1) {
		return fmt.Errorf("control chart: the weight of the EWMA is %v, it must lie above 0 and at most at 1", r.Weight)
	}
	for _, c := range []struct {
		what string
		v    float64
	}{{"limit of the EWMA", r.Limit}, {"decision limit of the CUSUM", r.Decision}, {"limit of a single point", r.Single}} {
		if !(c.v > 0 && c.v <= maxLimit) {
			return fmt.Errorf("control chart: the %s is %v, it must lie above 0 and at most at %v", c.what, c.v, maxLimit)
		}
	}
	if !(r.Reference >= 0 && r.Reference <= maxLimit) {
		return fmt.Errorf("control chart: the reference value of the CUSUM is %v", r.Reference)
	}
	return nil
}

// Band returns the half-width of the EWMA's limits, those that hold in the long run.
func (r Rules) Band() float64 { return r.Limit * math.Sqrt(r.Weight/(2-r.Weight)) }

// places is the number of places of the quadrature behind a run length.
const places = 61

// EWMARunLength returns the average number of checks until the EWMA signals when the
// level has shifted by shift standard deviations before the first; 0: the average
// between false alarms.
//
// It solves the integral equation of the run length by the method of Nystrom
// ([Crowder1987]); within 1e-3 of published values for λ ≥ 0.03.
func (r Rules) EWMARunLength(shift float64) (float64, error) {
	if err := r.checked(shift); err != nil {
		return 0, err
	}
	lambda, h := r.Weight, r.Band()
	x, w := make([]float64, places), make([]float64, places)
	quad.Legendre{}.FixedLocations(x, w, -h, h)
	kernel := func(to, from float64) float64 {
		return distuv.UnitNormal.Prob((to-(1-lambda)*from)/lambda-shift) / lambda
	}
	length, err := solve(places, func(i, j int) float64 { return w[j] * kernel(x[j], x[i]) })
	if err != nil {
		return 0, err
	}
	arl := 1.0
	for j := range x {
		arl += w[j] * kernel(x[j], 0) * length[j]
	}
	return arl, nil
}

// CUSUMRunLength returns the average number of checks until the two-sided CUSUM
// signals, as EWMARunLength does. The sides are put together by their rates, which is
// exact for sums that start at zero ([Kemp1961]).
func (r Rules) CUSUMRunLength(shift float64) (float64, error) {
	if err := r.checked(shift); err != nil {
		return 0, err
	}
	up, err := r.oneSided(shift)
	if err != nil {
		return 0, err
	}
	down, err := r.oneSided(-shift)
	if err != nil {
		return 0, err
	}
	return 1 / (1/up + 1/down), nil
}

// never is the logarithm of a run length, in its first approximation, beyond which it
// has no digits left and makes no difference.
const never = 25

// oneSided is the average run length of the upper sum: the method of Nystrom with an
// atom at zero. It is infinite where a signal practically never comes.
func (r Rules) oneSided(shift float64) (float64, error) {
	x, w := make([]float64, places), make([]float64, places)
	quad.Legendre{}.FixedLocations(x, w, 0, r.Decision)
	from := append([]float64{0}, x...)
	if 2*(r.Reference-shift)*r.Decision > never {
		return math.Inf(1), nil
	}
	length, err := solve(places+1, func(i, j int) float64 {
		if j == 0 {
			return distuv.UnitNormal.CDF(r.Reference - shift - from[i])
		}
		return distuv.UnitNormal.Prob(x[j-1]-from[i]+r.Reference-shift) * w[j-1]
	})
	if err != nil {
		return 0, err
	}
	return length[0], nil
}

// SingleRunLength returns the average number of checks until a single point signals.
func (r Rules) SingleRunLength(shift float64) (float64, error) {
	if err := r.checked(shift); err != nil {
		return 0, err
	}
	n := distuv.UnitNormal
	return 1 / (n.Survival(r.Single-shift) + n.CDF(-r.Single-shift)), nil
}

func (r Rules) checked(shift float64) error {
	if !(math.Abs(shift) <= maxShift) {
		return fmt.Errorf("control chart: a shift of %v standard deviations, it must lie within ±%v", shift, maxShift)
	}
	return r.Validate()
}

// solve returns l of l = 1 + K·l.
func solve(n int, kernel func(i, j int) float64) ([]float64, error) {
	a := mat.NewDense(n, n, nil)
	b := mat.NewVecDense(n, nil)
	for i := range n {
		b.SetVec(i, 1)
		for j := range n {
			v := -kernel(i, j)
			if i == j {
				v++
			}
			a.Set(i, j, v)
		}
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return nil, fmt.Errorf("control chart: the run length cannot be had with these constants: %w", err)
	}
	return l.RawVector().Data, nil
}

// The average number of checks until any of the three default rules signals, between
// false alarms and after a lasting shift of one standard deviation. The rules overlap:
// it lies below each of them and above what independent rules would have. Means over
// 200,000 and 1,000,000 simulated charts (standard errors 0.6 and 0.005); a test
// simulates them anew.
const (
	TogetherFalseAlarm = 258.0
	TogetherShiftOfOne = 9.16
)
