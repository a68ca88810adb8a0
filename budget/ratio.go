package budget

import (
	"fmt"
	"math"
	"sync"
)

// Side is an input of a figure that is worked out twice, for a baseline and a
// candidate: Input is the baseline's.
type Side struct {
	Input
	Other  float64 // the candidate's value
	OtherU float64 // its standard uncertainty
	// Shared is the correlation, in [0, 1], between what is wrong with the two: 1
	// for what is the same thing both times, as the drum's inertia; 0 for what is
	// read anew; between for what hangs together for a while, as a barometer over a
	// day.
	Shared float64
}

// Ratio is a candidate's figure over the baseline's, minus one.
type Ratio struct {
	Sides []Side
	// Of returns the figure of one side; it must be positive. It is called from
	// several goroutines at once and must not keep or change x.
	Of func(x []float64) float64
}

// RatioTerm is one row of a ratio's budget. All are relative: fractions of a side's
// figure, or of the ratio.
type RatioTerm struct {
	Name     string
	Shape    Shape
	DF       float64
	Shared   float64
	Baseline float64 // |contribution| to the baseline's figure
	Other    float64 // |contribution| to the candidate's
	Ratio    float64 // what is left of them in the ratio
	Share    float64 // of the ratio's variance
	// Drops is the part of both sides' variance that the ratio does not have: 1
	// where the term drops out wholly, 0 where nothing is saved, below 0 where the
	// two sides' parts add up.
	Drops float64
}

// RatioBudget is a ratio's budget to first order.
type RatioBudget struct {
	Value float64 // candidate over baseline, minus one
	Terms []RatioTerm
	// Baseline and Other are each side's figure by itself.
	Baseline, Other *Linear
	// Log is the budget of ln(candidate/baseline): its U is the relative standard
	// uncertainty of the ratio.
	Log *Linear
}

// Model returns the ratio as a model of its own, of ln(candidate/baseline). What
// the sides share of an input is one input of it, what each has by itself another:
//
//	baseline  = value + u·(√shared·z + √(1−shared)·z₁)
//	candidate = other + otherU·(√shared·z + √(1−shared)·z₂)
//
// with z, z₁, z₂ of the input's shape and of unit uncertainty. parts[k] is the
// number of the side's input that input k of the model belongs to.
func (r *Ratio) Model() (m Model, parts []int, err error) {
	if r.Of == nil || len(r.Sides) == 0 || len(r.Sides) > MaxInputs/3 {
		return m, nil, fmt.Errorf("%w: a ratio has 1 to %d inputs and a formula, this one has %d inputs", ErrInput, MaxInputs/3, len(r.Sides))
	}
	at := make([][3]int, len(r.Sides)) // where an input's parts are, −1: it has none
	for i, s := range r.Sides {
		if err := s.check(); err != nil {
			return m, nil, err
		}
		if !finite(s.Other) || !(s.OtherU >= 0) || !finite(s.OtherU) || !(s.Shared >= 0 && s.Shared <= 1) {
			return m, nil, fmt.Errorf("%w: %s is %g ± %g for the candidate and shared by %g", ErrInput, s.label(), s.Other, s.OtherU, s.Shared)
		}
		for k, needed := range []bool{s.Shared > 0 && s.U+s.OtherU > 0, s.Shared < 1 && s.U > 0, s.Shared < 1 && s.OtherU > 0} {
			at[i][k] = -1
			if needed {
				at[i][k] = len(m.Inputs)
				m.Inputs = append(m.Inputs, Input{Name: s.Name, U: 1, DF: s.DF, Shape: s.Shape, Flat: s.Flat})
				parts = append(parts, i)
			}
		}
	}
	if len(m.Inputs) == 0 {
		return m, nil, fmt.Errorf("%w: no input of the ratio has an uncertainty", ErrInput)
	}
	pool := sync.Pool{New: func() any { return &scratch{make([]float64, len(r.Sides)), make([]float64, len(r.Sides))} }}
	m.Of = func(z []float64) float64 {
		room := pool.Get().(*scratch)
		defer pool.Put(room)
		return r.at(z, at, room)
	}
	return m, parts, nil
}

// scratch is room for the inputs of both sides.
type scratch struct{ x, y []float64 }

// at returns ln(candidate/baseline) for deviates z of unit uncertainty.
func (r *Ratio) at(z []float64, place [][3]int, room *scratch) float64 {
	part := func(k int) float64 {
		if k < 0 {
			return 0
		}
		return z[k]
	}
	for i := range r.Sides {
		s, p := &r.Sides[i], &place[i]
		common, own := math.Sqrt(s.Shared)*part(p[0]), math.Sqrt(1-s.Shared)
		room.x[i] = s.Value + s.U*(common+own*part(p[1]))
		room.y[i] = s.Other + s.OtherU*(common+own*part(p[2]))
	}
	return math.Log(r.Of(room.y) / r.Of(room.x))
}

// side returns the model of one side by itself.
func (r *Ratio) side(other bool) Model {
	m := Model{Of: r.Of}
	for _, s := range r.Sides {
		in := s.Input
		if other {
			in.Value, in.U = s.Other, s.OtherU
		}
		m.Inputs = append(m.Inputs, in)
	}
	return m
}

// Linear works the ratio out to first order, each input's part in either side
// beside what is left of it in the ratio. With sensitivities c of ln(figure) it
// leaves
//
//	(c_A·u_A)² + (c_B·u_B)² − 2·shared·(c_A·u_A)·(c_B·u_B)
//
// Source: [GUM], 5.2.2.
func (r *Ratio) Linear() (*RatioBudget, error) {
	m, parts, err := r.Model()
	if err != nil {
		return nil, err
	}
	whole, err := m.Linear()
	if err != nil {
		return nil, err
	}
	one, two := r.side(false), r.side(true)
	base, err := one.Linear()
	if err != nil {
		return nil, err
	}
	other, err := two.Linear()
	if err != nil {
		return nil, err
	}
	if !(base.Value > 0) || !(other.Value > 0) {
		return nil, fmt.Errorf("%w: a ratio of %g to %g", ErrInput, other.Value, base.Value)
	}
	b := &RatioBudget{
		Value: math.Expm1(whole.Value), Log: whole, Baseline: base, Other: other,
	}
	left := make([]float64, len(r.Sides))
	for k, i := range parts {
		left[i] += whole.Terms[k].Contribution * whole.Terms[k].Contribution
	}
	for i, s := range r.Sides {
		t := RatioTerm{
			Name: s.Name, Shape: s.Shape, DF: s.DF, Shared: s.Shared, Ratio: math.Sqrt(left[i]),
			Baseline: math.Abs(base.Terms[i].Contribution) / base.Value, Other: math.Abs(other.Terms[i].Contribution) / other.Value,
		}
		if both := t.Baseline*t.Baseline + t.Other*t.Other; both > 0 {
			t.Drops = 1 - left[i]/both
		}
		if whole.U > 0 {
			t.Share = left[i] / (whole.U * whole.U)
		}
		b.Terms = append(b.Terms, t)
	}
	return b, nil
}
