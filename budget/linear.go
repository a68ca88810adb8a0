package budget

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Term is one row of a budget.
type Term struct {
	Name        string
	Value, U    float64
	DF          float64
	Shape       Shape
	Sensitivity float64 // ∂figure/∂input
	// Contribution is Sensitivity·U, with its sign, in the figure's unit.
	Contribution float64
	// Share is the part of the figure's variance that the term has by itself,
	// squared contribution over variance. With correlations the shares do not add
	// up to 1.
	Share float64
}

// Linear is a budget to first order.
type Linear struct {
	Value float64
	Terms []Term // in the order of the inputs
	// Joint is what correlations add to the variance, in the figure's unit squared;
	// negative where they take from it.
	Joint float64
	U     float64 // combined standard uncertainty
	DF    float64 // effective degrees of freedom
}

// Linear works the model out to first order: the figure at the values of the
// inputs, its combined standard uncertainty
//
//	u² = Σ (c_i·u_i)² + 2·Σ c_i·c_j·u_i·u_j·r_ij
//
// with sensitivities c by central differences, and the effective degrees of
// freedom of Welch and Satterthwaite. Those take the inputs as independent; with
// correlations they are a guide.
//
// Source: [GUM], 5.1.2, 5.2.2, G.4.1.
func (m *Model) Linear() (*Linear, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	x := m.values()
	l := &Linear{Value: m.Of(x)}
	sum := 0.0
	for i, in := range m.Inputs {
		t := Term{Name: in.Name, Value: in.Value, U: in.U, DF: in.DF, Shape: in.Shape}
		if in.U > 0 {
			t.Sensitivity = m.slope(x, i)
		}
		t.Contribution = t.Sensitivity * in.U
		sum += t.Contribution * t.Contribution
		l.Terms = append(l.Terms, t)
	}
	for _, c := range m.Correlations {
		l.Joint += 2 * c.R * l.Terms[c.A].Contribution * l.Terms[c.B].Contribution
	}
	variance := sum + l.Joint
	if variance < 0 && variance > -1e-12*sum {
		variance = 0
	}
	if !finite(l.Value) || !(variance >= 0) || math.IsInf(variance, 0) {
		return nil, fmt.Errorf("%w: the figure is %g with variance %g at the values of its inputs", ErrInput, l.Value, variance)
	}
	l.U = math.Sqrt(variance)
	spread := 0.0
	for i := range l.Terms {
		t := &l.Terms[i]
		if variance > 0 {
			t.Share = t.Contribution * t.Contribution / variance
		}
		spread += t.Share * t.Share / t.DF
	}
	l.DF = 1 / spread
	return l, nil
}

// slope returns the derivative of the figure by input i, by the five-point
// central difference over a sixteenth of the input's uncertainty: exact for a
// polynomial of the fourth degree. The step is not less than 1e-6 of the value,
// below which rounding takes over.
func (m *Model) slope(x []float64, i int) float64 {
	step := max(m.Inputs[i].U/16, 1e-6*math.Abs(x[i]))
	at := func(k float64) float64 {
		value := x[i]
		x[i] += k * step
		y := m.Of(x)
		x[i] = value
		return y
	}
	return (8*(at(1)-at(-1)) - (at(2) - at(-2))) / (12 * step)
}

// Factor returns the coverage factor at confidence p in (0, 1): the two-sided
// quantile of Student's t with the effective degrees of freedom, not rounded.
// Outside (0, 1) it returns NaN. Source: [GUM], G.3.2.
func (l *Linear) Factor(p float64) float64 { return factor(p, l.DF) }

func factor(p, df float64) float64 {
	if !(p > 0 && p < 1) {
		return math.NaN()
	}
	if df > 1e8 { // t and normal are one in double precision
		return distuv.UnitNormal.Quantile((1 + p) / 2)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile((1 + p) / 2)
}

// Expanded returns the expanded uncertainty at confidence p in (0, 1).
func (l *Linear) Expanded(p float64) float64 { return l.Factor(p) * l.U }

// Interval returns the coverage interval at confidence p: value ± expanded.
func (l *Linear) Interval(p float64) Interval {
	u := l.Expanded(p)
	return Interval{l.Value - u, l.Value + u}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
