// Package budget works out how uncertain a figure is from the uncertainties of
// what it rests on: to first order as [GUM] has it, by drawing distributions as
// [JCGM-101] has it, and side by side; for a figure by itself and for the ratio
// of two, from which what both share drops out.
//
// Clauses of [JCGM-101] are named from memory.
package budget

import (
	"errors"
	"fmt"
	"math"
)

// ErrInput says that an input, a correlation or a model cannot be used.
var ErrInput = errors.New("not usable in a budget")

// Shape is the distribution by which an input may differ from its value.
type Shape int

// The shapes. The zero value is none of them and is refused.
const (
	Normal      Shape = iota + 1
	Student           // scaled and shifted t: a mean of few readings ([JCGM-101], 6.4.9)
	Rectangular       // anywhere within limits, none likelier (6.4.2)
	Trapezoidal       // within limits, flat in the middle (6.4.4)
	Triangular        // within limits, the middle likeliest (6.4.5)
)

// String returns the shape's name as a table shows it.
func (s Shape) String() string {
	switch s {
	case Normal:
		return "normal"
	case Student:
		return "t"
	case Rectangular:
		return "rectangular"
	case Trapezoidal:
		return "trapezoidal"
	case Triangular:
		return "triangular"
	}
	return fmt.Sprintf("shape %d", int(s))
}

// Input is a quantity that a figure rests on.
type Input struct {
	Name  string
	Value float64
	// U is the standard uncertainty, in the unit of Value; 0: exactly known. For
	// Student it is the scale s/√n, as [GUM], 4.2.3, takes it: the distribution's
	// own standard deviation is larger by √(DF/(DF−2)).
	U float64
	// DF is how many degrees of freedom U has; +Inf where it is known itself.
	DF    float64
	Shape Shape
	// Flat is, for Trapezoidal, the width of the flat middle over that of the
	// base, in [0, 1]: 0 is a triangle, 1 a rectangle.
	Flat float64
}

// Gauss returns a normal input whose standard uncertainty u has df degrees of
// freedom.
func Gauss(name string, value, u, df float64) Input {
	return Input{Name: name, Value: value, U: u, DF: df, Shape: Normal}
}

// MeanOf returns the mean of n ≥ 2 readings of one quantity as an input: its
// uncertainty is s/√n with n−1 degrees of freedom, its shape that of t.
func MeanOf(name string, readings []float64) (Input, error) {
	n := len(readings)
	if n < 2 {
		return Input{}, fmt.Errorf("%w: %s has %d readings, and their scatter needs 2", ErrInput, name, n)
	}
	mean, ss := moments(readings)
	in := Input{Name: name, Value: mean, U: math.Sqrt(ss / float64(n-1) / float64(n)), DF: float64(n - 1), Shape: Student}
	return in, in.check()
}

// moments returns the mean and the sum of squares about it.
func moments(v []float64) (mean, ss float64) {
	for _, x := range v {
		mean += x
	}
	mean /= float64(len(v))
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	return mean, ss
}

// Within returns an input that lies within value ± half, none of it likelier:
// what a tolerance, a resolution or a maker's limit says. Its standard
// uncertainty is half/√3 ([GUM], 4.3.7).
func Within(name string, value, half float64) Input {
	return Input{Name: name, Value: value, U: half / math.Sqrt(3), DF: math.Inf(1), Shape: Rectangular}
}

// Trapezoid returns an input that lies within value ± half, with a flat middle
// whose width is the given part of the base. Its standard uncertainty is
// half·√((1+flat²)/6) ([GUM], 4.3.9).
func Trapezoid(name string, value, half, flat float64) Input {
	return Input{Name: name, Value: value, U: half * math.Sqrt((1+flat*flat)/6), DF: math.Inf(1), Shape: Trapezoidal, Flat: flat}
}

// Triangle returns an input that lies within value ± half, most likely in the
// middle. Its standard uncertainty is half/√6 ([GUM], 4.3.9).
func Triangle(name string, value, half float64) Input {
	return Input{Name: name, Value: value, U: half / math.Sqrt(6), DF: math.Inf(1), Shape: Triangular}
}

// Reliability returns the degrees of freedom of an uncertainty that is itself
// known to the given part of it, as 0.1 for a tenth: ½·part⁻² ([GUM], G.3). Of 0
// it returns +Inf.
func Reliability(part float64) float64 { return 1 / (2 * part * part) }

// check refuses what cannot be an input.
func (in Input) check() error {
	bad := func(what string, v float64) error {
		return fmt.Errorf("%w: %s has %s %g", ErrInput, in.label(), what, v)
	}
	switch {
	case math.IsNaN(in.Value) || math.IsInf(in.Value, 0):
		return bad("the value", in.Value)
	case !(in.U >= 0) || math.IsInf(in.U, 0):
		return bad("the standard uncertainty", in.U)
	case !(in.DF > 0):
		return bad("degrees of freedom", in.DF)
	case in.Shape < Normal || in.Shape > Triangular:
		return fmt.Errorf("%w: %s has no distribution", ErrInput, in.label())
	case in.Shape == Student && math.IsInf(in.DF, 1):
		return fmt.Errorf("%w: %s is a t distribution without degrees of freedom; that is a normal one", ErrInput, in.label())
	case in.Shape == Trapezoidal && !(in.Flat >= 0 && in.Flat <= 1):
		return bad("a flat part of", in.Flat)
	}
	return nil
}

func (in Input) label() string {
	if in.Name == "" {
		return "an input without a name"
	}
	return in.Name
}

// Correlation is the correlation coefficient R of the inputs at A and B, counted
// from 0.
type Correlation struct {
	A, B int
	R    float64
}

// MaxInputs is how many inputs a model may have.
const MaxInputs = 1000

// Model is a figure and the inputs that it is worked out from.
type Model struct {
	Inputs       []Input
	Correlations []Correlation // pairs that are not listed are independent
	// Of returns the figure for values of the inputs, in their order. It is called
	// from several goroutines at once and must not keep or change x.
	Of func(x []float64) float64
}

// check refuses a model that cannot be worked out.
func (m *Model) check() error {
	if m.Of == nil || len(m.Inputs) == 0 || len(m.Inputs) > MaxInputs {
		return fmt.Errorf("%w: a model has 1 to %d inputs and a formula, this one has %d inputs", ErrInput, MaxInputs, len(m.Inputs))
	}
	for _, in := range m.Inputs {
		if err := in.check(); err != nil {
			return err
		}
	}
	seen := map[[2]int]bool{}
	for _, c := range m.Correlations {
		pair := [2]int{min(c.A, c.B), max(c.A, c.B)}
		switch {
		case pair[0] < 0 || pair[1] >= len(m.Inputs) || c.A == c.B:
			return fmt.Errorf("%w: a correlation of the inputs %d and %d of %d", ErrInput, c.A, c.B, len(m.Inputs))
		case !(math.Abs(c.R) <= 1):
			return fmt.Errorf("%w: %s and %s have a correlation of %g", ErrInput, m.Inputs[c.A].label(), m.Inputs[c.B].label(), c.R)
		case seen[pair]:
			return fmt.Errorf("%w: %s and %s have two correlations", ErrInput, m.Inputs[c.A].label(), m.Inputs[c.B].label())
		}
		seen[pair] = true
	}
	return nil
}

// values returns the values of the inputs.
func (m *Model) values() []float64 {
	x := make([]float64, len(m.Inputs))
	for i, in := range m.Inputs {
		x[i] = in.Value
	}
	return x
}
