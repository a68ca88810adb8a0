package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// sampler draws the inputs of a model.
type sampler struct {
	of     func(x []float64) float64
	inputs []spread
	joint  [][]float64 // joint[k] is the row of the k-th correlated input over standard normal deviates
	who    []int       // which inputs those are
}

// spread is how one input is drawn: value + scale·deviate.
type spread struct {
	shape        Shape // 0: drawn together with others, or not at all
	value, scale float64
	df, flat     float64
}

// newSampler prepares a model. Inputs that are correlated are drawn as one normal
// distribution of several variables ([JCGM-101], 6.4.8), and must be normal.
func newSampler(m *Model) (*sampler, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	s := &sampler{of: m.Of}
	place := map[int]int{}
	for _, c := range m.Correlations {
		for _, i := range []int{c.A, c.B} {
			if _, known := place[i]; !known && c.R != 0 && m.Inputs[i].U > 0 {
				place[i] = len(s.who)
				s.who = append(s.who, i)
			}
		}
	}
	for i, in := range m.Inputs {
		_, together := place[i]
		if together && in.Shape != Normal {
			return nil, fmt.Errorf("%w: %s is %v and correlated; only normal inputs are drawn together", ErrInput, in.label(), in.Shape)
		}
		s.inputs = append(s.inputs, in.spread(together))
	}
	return s, s.factor(m, place)
}

// spread returns how the input is drawn by itself.
func (in Input) spread(together bool) spread {
	d := spread{value: in.Value, shape: in.Shape, df: in.DF, flat: in.Flat, scale: in.U}
	switch in.Shape {
	case Rectangular:
		d.scale *= math.Sqrt(3)
	case Triangular:
		d.shape, d.flat = Trapezoidal, 0
		d.scale *= math.Sqrt(6)
	case Trapezoidal:
		d.scale *= math.Sqrt(6 / (1 + in.Flat*in.Flat))
	}
	if together || in.U == 0 {
		d.shape = 0
	}
	return d
}

// factor works out the triangular root of the correlations by Cholesky's
// scheme, which takes an input that follows wholly from others, too.
func (s *sampler) factor(m *Model, place map[int]int) error {
	n := len(s.who)
	r := make([][]float64, n)
	for i := range r {
		r[i] = make([]float64, n)
		r[i][i] = 1
	}
	for _, c := range m.Correlations {
		a, known := place[c.A]
		b, both := place[c.B]
		if known && both {
			r[a][b], r[b][a] = c.R, c.R
		}
	}
	root := make([][]float64, n)
	for i := range root {
		root[i] = make([]float64, n)
		for j := range i + 1 {
			sum := r[i][j]
			for k := range j {
				sum -= root[i][k] * root[j][k]
			}
			switch {
			case i != j && root[j][j] > 0:
				root[i][j] = sum / root[j][j]
			case math.Abs(sum) < 1e-9: // follows wholly from the ones before
			case i == j && sum > 0:
				root[i][i] = math.Sqrt(sum)
			default:
				return fmt.Errorf("%w: the correlations contradict one another at %s", ErrInput, m.Inputs[s.who[i]].label())
			}
		}
	}
	for i, row := range root {
		for j := range row {
			row[j] *= m.Inputs[s.who[i]].U
		}
	}
	s.joint = root
	return nil
}

// fill draws figures into y. x has room for the inputs, z for the joint ones.
func (s *sampler) fill(y []float64, chance *rand.Rand) {
	x, z := make([]float64, len(s.inputs)), make([]float64, len(s.who))
	for i, in := range s.inputs {
		x[i] = in.value
	}
	for k := range y {
		for i := range s.inputs {
			if in := &s.inputs[i]; in.shape != 0 {
				x[i] = in.value + in.scale*in.deviate(chance)
			}
		}
		for i := range z {
			z[i] = chance.NormFloat64()
		}
		for i, at := range s.who {
			v := s.inputs[at].value
			for j, weight := range s.joint[i][:i+1] {
				v += weight * z[j]
			}
			x[at] = v
		}
		y[k] = s.of(x)
	}
}

// deviate returns a deviate of the input's shape: of half-width 1 for the shapes
// with limits, of scale 1 for the others.
func (in *spread) deviate(chance *rand.Rand) float64 {
	switch in.shape {
	case Rectangular:
		return 2*chance.Float64() - 1
	case Trapezoidal: // the sum of two rectangles, [JCGM-101], 6.4.4.4
		return (1+in.flat)*(chance.Float64()-0.5) + (1-in.flat)*(chance.Float64()-0.5)
	case Student:
		return student(chance, in.df)
	}
	return chance.NormFloat64()
}

// student returns a deviate of Student's t: the polar method of [Bailey1994].
func student(chance *rand.Rand, df float64) float64 {
	for {
		u, v := 2*chance.Float64()-1, 2*chance.Float64()-1
		if w := u*u + v*v; w > 0 && w <= 1 {
			return u * math.Sqrt(df*(math.Pow(w, -2/df)-1)/w)
		}
	}
}
