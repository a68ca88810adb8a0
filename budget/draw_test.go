package budget

import (
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
)

// Each shape has the standard deviation that its parameters say, and its limits.
// The fourth moments are those of the closed forms: 3 of the normal, 9/5 of the
// rectangle, 12/5 of the triangle, 3 + 6/(ν−4) of t; the trapezoid is a sum of two rectangles,
// here one three times as wide as the other, whose cumulants add up.
func TestShapes(t *testing.T) {
	for _, row := range []struct {
		in        Input
		sd, limit float64
		fourth    float64
	}{
		{Gauss("normal", 5, 2, known), 2, math.Inf(1), 3},
		{Within("rectangular", 5, 3), math.Sqrt(3), 3, 1.8},
		{Triangle("triangular", 5, 3), 3 / math.Sqrt(6), 3, 2.4},
		{Trapezoid("trapezoidal", 5, 3, 0.5), 3 * math.Sqrt(1.25/6), 3, 3 - 1.2*(81+1)/math.Pow(9+1, 2)},
		{Trapezoid("no flat", 5, 3, 0), 3 / math.Sqrt(6), 3, 2.4},
		{Trapezoid("all flat", 5, 3, 1), math.Sqrt(3), 3, 1.8},
		{Input{Name: "t", Value: 5, U: 2, DF: 12, Shape: Student}, 2 * math.Sqrt(1.2), math.Inf(1), 3.75},
	} {
		m := Model{Inputs: []Input{row.in}, Of: func(x []float64) float64 { return x[0] }}
		s, err := newSampler(&m)
		if err != nil {
			t.Fatal(err)
		}
		y := make([]float64, 400_000)
		s.fill(y, rand.New(rand.NewPCG(1, 1)))
		mean, ss := moments(y)
		sd := math.Sqrt(ss / float64(len(y)))
		near(t, row.in.Name+": mean", mean, 5, 0.015)
		near(t, row.in.Name+": standard deviation", sd/row.sd, 1, 0.005)
		fourth := 0.0
		for _, v := range y {
			fourth += math.Pow((v-mean)/sd, 4) / float64(len(y))
		}
		near(t, row.in.Name+": fourth moment", fourth, row.fourth, 0.02*row.fourth)
		if lo, hi := slices.Min(y), slices.Max(y); lo < 5-row.limit || hi > 5+row.limit || (row.limit < 9 && hi < 5+0.95*row.limit) {
			t.Errorf("%s reaches from %g to %g", row.in.Name, lo, hi)
		}
	}
}

// twenty is a budget of twenty terms of every shape, two of them correlated.
func twenty() Model {
	var m Model
	for i := range 20 {
		switch i % 5 {
		case 0:
			m.Inputs = append(m.Inputs, Gauss("n", 1, 0.01, 30))
		case 1:
			m.Inputs = append(m.Inputs, Within("r", 1, 0.01))
		case 2:
			m.Inputs = append(m.Inputs, Triangle("d", 1, 0.01))
		case 3:
			m.Inputs = append(m.Inputs, Trapezoid("z", 1, 0.01, 0.4))
		case 4:
			m.Inputs = append(m.Inputs, Input{Name: "t", Value: 1, U: 0.01, DF: 9, Shape: Student})
		}
	}
	m.Correlations = []Correlation{{A: 0, B: 5, R: 0.5}}
	m.Of = func(x []float64) float64 {
		y := 1.0
		for i, v := range x {
			if i%2 == 0 {
				y *= v
			} else {
				y /= v
			}
		}
		return y
	}
	return m
}

// The same seed gives the same bits on one core and on many, and as often as it is
// drawn; another seed gives others.
func TestDrawnBitsDoNotDependOnCores(t *testing.T) {
	how := Sampling{Confidence: 0.95, Seed: 11, Draws: 60_000}
	m := twenty()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := drawn(t, m, how)
	runtime.GOMAXPROCS(5)
	many := drawn(t, m, how)
	if *one != *many {
		t.Errorf("one core: %+v; five: %+v", one, many)
	}
	how.Seed++
	if other := drawn(t, m, how); other.Value == one.Value {
		t.Errorf("another seed gives %+v again", other)
	}
}

// Drawing until it holds stops where twice the standard errors are below the
// tolerance: the drawn figures are then within about that of the exact ones.
func TestDrawUntilItHolds(t *testing.T) {
	m := Model{Inputs: []Input{Gauss("a", 0, 3, known), Gauss("b", 0, 4, known)}, Of: func(x []float64) float64 { return x[0] + x[1] }}
	d := drawn(t, m, Sampling{Confidence: 0.95, Seed: 12})
	if !d.Settled || d.Error > 0.05 || d.Draws%(round*batch) != 0 || d.Draws < round*batch {
		t.Fatalf("%+v", d)
	}
	near(t, "u", d.U, 5, 0.05)
	near(t, "high end", d.Symmetric.Hi, 1.959964*5, 0.1)
	finer := drawn(t, m, Sampling{Confidence: 0.95, Seed: 12, Tolerance: d.Error / 2})
	if !finer.Settled || finer.Draws <= d.Draws || finer.Error > d.Error/2 {
		t.Errorf("finer: %+v after %+v", finer, d)
	}
	never := drawn(t, m, Sampling{Confidence: 0.95, Seed: 12, Draws: 10_001})
	if never.Draws != 20_000 || !never.Settled {
		t.Errorf("10001 draws: %+v", never)
	}
}

// Inputs that correlate fully, up to a chain of them, are drawn as one; ones that
// contradict one another are refused.
func TestCorrelatedDraws(t *testing.T) {
	a, b, c := Gauss("a", 10, 1, known), Gauss("b", 20, 2, known), Gauss("c", 30, 3, known)
	difference := func(x []float64) float64 { return x[1] - 2*x[0] + x[2]/3 }
	m := Model{Inputs: []Input{a, b, c}, Of: difference, Correlations: []Correlation{{0, 1, 1}, {0, 2, -1}, {1, 2, -1}}}
	d := drawn(t, m, Sampling{Confidence: 0.95, Seed: 13, Draws: 100_000})
	near(t, "b − 2a + c/3 of one source, u", d.U, 1, 0.01)
	near(t, "the same to first order", linear(t, m).U, 1, 1e-9)

	m.Correlations = []Correlation{{0, 1, 0.9}, {0, 2, 0.9}, {1, 2, -0.9}}
	if _, err := m.Draw(Sampling{Confidence: 0.95}); !errors.Is(err, ErrInput) {
		t.Errorf("correlations that contradict one another: %v", err)
	}
	m.Correlations = []Correlation{{0, 1, 0.9}}
	m.Inputs[1] = Within("b", 20, 2)
	if _, err := m.Draw(Sampling{Confidence: 0.95}); !errors.Is(err, ErrInput) {
		t.Errorf("a correlated rectangle: %v", err)
	}
}

func TestRefusals(t *testing.T) {
	good := func() Model {
		return Model{Inputs: []Input{Gauss("a", 1, 0.1, 5), Gauss("b", 1, 0.1, 5)}, Of: func(x []float64) float64 { return x[0] / x[1] }}
	}
	for name, spoil := range map[string]func(*Model){
		"no inputs":              func(m *Model) { m.Inputs = nil },
		"no formula":             func(m *Model) { m.Of = nil },
		"value NaN":              func(m *Model) { m.Inputs[0].Value = math.NaN() },
		"u below 0":              func(m *Model) { m.Inputs[0].U = -1 },
		"u infinite":             func(m *Model) { m.Inputs[0].U = math.Inf(1) },
		"degrees of freedom 0":   func(m *Model) { m.Inputs[0].DF = 0 },
		"no shape":               func(m *Model) { m.Inputs[0].Shape = 0 },
		"t without an end":       func(m *Model) { m.Inputs[0].Shape, m.Inputs[0].DF = Student, known },
		"too flat":               func(m *Model) { m.Inputs[0].Shape, m.Inputs[0].Flat = Trapezoidal, 1.5 },
		"correlation beyond 1":   func(m *Model) { m.Correlations = []Correlation{{0, 1, 1.1}} },
		"correlation with self":  func(m *Model) { m.Correlations = []Correlation{{1, 1, 0.5}} },
		"correlation of nothing": func(m *Model) { m.Correlations = []Correlation{{0, 2, 0.5}} },
		"correlation twice":      func(m *Model) { m.Correlations = []Correlation{{0, 1, 0.5}, {1, 0, 0.5}} },
		"figure infinite":        func(m *Model) { m.Inputs[1].Value, m.Inputs[1].U = 0, 0 },
	} {
		m := good()
		spoil(&m)
		if _, err := m.Linear(); !errors.Is(err, ErrInput) {
			t.Errorf("%s, to first order: %v", name, err)
		}
		if _, err := m.Draw(Sampling{Confidence: 0.95, Draws: 10_000}); !errors.Is(err, ErrInput) {
			t.Errorf("%s, drawn: %v", name, err)
		}
	}
	m := good()
	for _, how := range []Sampling{{}, {Confidence: 1}, {Confidence: 0.95, Draws: MostDraws + 1}, {Confidence: 0.95, Draws: -1}, {Confidence: 0.95, Tolerance: math.NaN()}} {
		if _, err := m.Draw(how); !errors.Is(err, ErrInput) {
			t.Errorf("%+v: %v", how, err)
		}
	}
	if _, err := MeanOf("one", []float64{1}); !errors.Is(err, ErrInput) {
		t.Errorf("one reading: %v", err)
	}
	if _, _, err := Together([]string{"a", "b"}, [][]float64{{1, 2}, {1}}); !errors.Is(err, ErrInput) {
		t.Errorf("uneven readings: %v", err)
	}
}

// Tolerances of [JCGM-101], 7.9.2: 0.00035 with two digits is 35·10⁻⁵, half a unit
// 0.5·10⁻⁵ (the clause's examples, from memory); and where rounding adds a digit.
func TestTolerance(t *testing.T) {
	for _, row := range []struct {
		u      float64
		digits int
		want   float64
	}{{0.00035, 2, 0.000005}, {2, 1, 0.5}, {2.04, 2, 0.05}, {0.0997, 2, 0.005}, {9.99, 1, 5}, {0, 2, 0}, {10.1, 2, 0.5}} {
		near(t, "tolerance", Tolerance(row.u, row.digits), row.want, 1e-12)
	}
}

// A million draws of twenty terms.
func BenchmarkDrawMillionOfTwenty(b *testing.B) {
	m := twenty()
	for b.Loop() {
		if _, err := m.Draw(Sampling{Confidence: 0.95, Seed: 1, Draws: 1_000_000}); err != nil {
			b.Fatal(err)
		}
	}
}
