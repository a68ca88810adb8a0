package mixture

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// regression is a least-squares fit with a constant and up to a few columns.
type regression struct {
	coefficients []float64 // the constant first
	residuals    []float64
	variance     float64     // of a residual
	freedom      int         // residual degrees of freedom
	inverse      [][]float64 // of the normal matrix; nil where the columns do not determine it
}

// regress fits y by a constant and the columns. Columns are centred and scaled before
// they are summed, so that the normal equations stay well conditioned.
func regress(columns [][]float64, y []float64) regression {
	n, p := len(y), len(columns)+1
	r := regression{coefficients: make([]float64, p), residuals: make([]float64, n), freedom: n - p}
	centre, scale := centred(columns)
	mean := 0.0
	for _, v := range y {
		mean += v / float64(n)
	}
	normal := mat.NewSymDense(p-1, nil)
	right := mat.NewVecDense(p-1, nil)
	for j := range columns {
		for k := range j + 1 {
			sum := 0.0
			for i := range y {
				sum += (columns[j][i] - centre[j]) * (columns[k][i] - centre[k])
			}
			normal.SetSym(j, k, sum/(scale[j]*scale[k]))
		}
		sum := 0.0
		for i := range y {
			sum += (columns[j][i] - centre[j]) * (y[i] - mean)
		}
		right.SetVec(j, sum/scale[j])
	}
	var factor mat.Cholesky
	if !factor.Factorize(normal) || !(factor.Cond() < 1e12) {
		return r
	}
	var b mat.VecDense
	if factor.SolveVecTo(&b, right) != nil {
		return r
	}
	var inverse mat.SymDense
	if factor.InverseTo(&inverse) != nil {
		return r
	}
	r.fill(columns, y, centre, scale, mean, &b, &inverse)
	return r
}

// centred returns the mean of each column and its greatest departure from it.
func centred(columns [][]float64) (centre, scale []float64) {
	centre, scale = make([]float64, len(columns)), make([]float64, len(columns))
	for j, c := range columns {
		for _, v := range c {
			centre[j] += v / float64(len(c))
		}
		for _, v := range c {
			scale[j] = math.Max(scale[j], math.Abs(v-centre[j]))
		}
		if scale[j] == 0 {
			scale[j] = 1
		}
	}
	return centre, scale
}

// fill brings the centred and scaled answer back to the columns as they came.
func (r *regression) fill(columns [][]float64, y, centre, scale []float64, mean float64, b *mat.VecDense, inverse *mat.SymDense) {
	n, p := len(y), len(columns)+1
	r.coefficients[0] = mean
	for j := range columns {
		r.coefficients[j+1] = b.AtVec(j) / scale[j]
		r.coefficients[0] -= r.coefficients[j+1] * centre[j]
	}
	r.inverse = make([][]float64, p)
	for j := range r.inverse {
		r.inverse[j] = make([]float64, p)
	}
	r.inverse[0][0] = 1 / float64(n)
	for j := 1; j < p; j++ {
		for k := 1; k < p; k++ {
			v := inverse.At(j-1, k-1) / (scale[j-1] * scale[k-1])
			r.inverse[j][k] = v
			r.inverse[0][0] += v * centre[j-1] * centre[k-1]
			r.inverse[0][j] -= v * centre[k-1]
			r.inverse[j][0] -= v * centre[k-1]
		}
	}
	ss := 0.0
	for i := range y {
		e := y[i] - r.coefficients[0]
		for j, c := range columns {
			e -= r.coefficients[j+1] * c[i]
		}
		r.residuals[i] = e
		ss += e * e
	}
	if r.freedom > 0 {
		r.variance = ss / float64(r.freedom)
	}
}

// lagOne returns the correlation of neighbours in a list.
func lagOne(v []float64) float64 {
	if len(v) < 3 {
		return 0
	}
	mean := 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	var num, den float64
	for i, x := range v {
		den += (x - mean) * (x - mean)
		if i > 0 {
			num += (x - mean) * (v[i-1] - mean)
		}
	}
	if den == 0 {
		return 0
	}
	return num / den
}
