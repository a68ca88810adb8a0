package compare

import "math"

// covariance is a covariance over the nodes that can be drawn from cheaply: the
// sum of rows times their transposes, and, where sd is not nil, sd·sd times the
// target common + (1 − common)·exp(−|r − s|/length).
//
// The second kind is a value shared by all nodes plus an Ornstein–Uhlenbeck path
// over engine speed, so a draw from it is one pass along the nodes.
type covariance struct {
	rows           [][]float64
	sd             []float64
	common, length float64 // length in 1/min
}

// field is a Gaussian curve over the nodes: a sum of covariances.
type field struct {
	rpm   []float64
	rows  [][]float64
	paths []covariance // each with sd
}

func newField(rpm []float64) *field { return &field{rpm: rpm} }

// add puts c ≥ 0 times a covariance into the field.
func (f *field) add(v covariance, c float64) {
	root := math.Sqrt(c)
	f.rows = append(f.rows, scaledRows(v.rows, root, len(f.rpm))...)
	if v.sd == nil {
		return
	}
	sd := make([]float64, len(f.rpm))
	for i := range sd {
		sd[i] = root * v.sd[i]
	}
	f.paths = append(f.paths, covariance{sd: sd, common: v.common, length: v.length})
}

// restricted returns the field at the nodes from ≤ i < to.
func (f *field) restricted(from, to int) *field {
	out := &field{rpm: f.rpm[from:to]}
	for _, row := range f.rows {
		out.rows = append(out.rows, row[from:to])
	}
	for _, p := range f.paths {
		p.sd = p.sd[from:to]
		out.paths = append(out.paths, p)
	}
	return out
}

// variance returns that of node i.
func (f *field) variance(i int) float64 {
	var sum float64
	for _, row := range f.rows {
		sum += row[i] * row[i]
	}
	for _, p := range f.paths {
		sum += p.sd[i] * p.sd[i]
	}
	return sum
}

// normalised returns the field scaled to variance one at every node, zero where
// there is none.
func (f *field) normalised() *field {
	scale := make([]float64, len(f.rpm))
	for i := range scale {
		if v := f.variance(i); v > 0 {
			scale[i] = 1 / math.Sqrt(v)
		}
	}
	times := func(x []float64) []float64 {
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = v * scale[i]
		}
		return out
	}
	out := newField(f.rpm)
	for _, row := range f.rows {
		out.rows = append(out.rows, times(row))
	}
	for _, p := range f.paths {
		p.sd = times(p.sd)
		out.paths = append(out.paths, p)
	}
	return out
}

// targetLengths are the lengths tried for the target correlation, in 1/min for the
// reference range.
var targetLengths = [...]float64{100, 200, 300, 500, 800, 1200, 2000}

// mostCommon bounds the common part of the target correlation.
const mostCommon = 0.98

// target returns the common part and length, in 1/min, of the target correlation
// nearest to that of the normalised field in the sense of least squares over all
// pairs of nodes (for even spacing the same as over lag averages weighted by the
// number of pairs).
func (f *field) target(scale float64) (common, length float64) {
	k := len(f.rpm)
	const tried = len(targetLengths)
	fading := make([][tried]float64, k) // exp(−step/l) of the step up to each node
	for j := 1; j < k; j++ {
		for l, length := range targetLengths {
			fading[j][l] = math.Exp(-(f.rpm[j] - f.rpm[j-1]) / (length * scale))
		}
	}
	var top, bottom, whole [tried]float64
	row := make([]float64, k)
	for i := range k {
		f.correlations(i, row)
		fade := [tried]float64{}
		for l := range fade {
			fade[l] = 1
		}
		for j := i + 1; j < k; j++ {
			for l := range fade {
				fade[l] *= fading[j][l]
				e, u := row[j]-fade[l], 1-fade[l]
				top[l] += e * u
				bottom[l] += u * u
				whole[l] += e * e
			}
		}
	}
	best := math.Inf(1)
	for l := range targetLengths {
		var c float64
		if bottom[l] > 0 {
			c = min(max(top[l]/bottom[l], 0), mostCommon)
		}
		if left := whole[l] - 2*c*top[l] + c*c*bottom[l]; left < best {
			best, common, length = left, c, targetLengths[l]*scale
		}
	}
	return common, length
}

// correlations puts the covariances of node i with itself and the nodes after it
// into out.
func (f *field) correlations(i int, out []float64) {
	clear(out)
	for _, row := range f.rows {
		for j := i; j < len(row); j++ {
			out[j] += row[i] * row[j]
		}
	}
	for _, p := range f.paths {
		for j := i; j < len(p.sd); j++ {
			fade := math.Exp(-(f.rpm[j] - f.rpm[i]) / p.length)
			out[j] += p.sd[i] * p.sd[j] * (p.common + (1-p.common)*fade)
		}
	}
}

// compact returns rows with the same sums of squares and products, no more of them
// than there are nodes: the Cholesky factor where there were more. An archive of
// many setups then costs no more to draw from than one of a hundred.
func compact(rows [][]float64, nodes int) [][]float64 {
	if len(rows) <= nodes {
		return rows
	}
	products := make([][]float64, nodes)
	var most float64
	for i := range products {
		products[i] = make([]float64, nodes)
		for _, row := range rows {
			for j := i; j < nodes; j++ {
				products[i][j] += row[i] * row[j]
			}
		}
		most = max(most, products[i][i])
	}
	out := make([][]float64, 0, nodes)
	for i, p := range products {
		if p[i] <= 1e-12*most {
			continue // no variance is left that rounding has not made
		}
		root := math.Sqrt(p[i])
		factor := make([]float64, nodes)
		for j := i; j < nodes; j++ {
			factor[j] = p[j] / root
		}
		for k := i + 1; k < nodes; k++ {
			for j := k; j < nodes; j++ {
				products[k][j] -= factor[k] * factor[j]
			}
		}
		out = append(out, factor)
	}
	return out
}

// priorDF is the weight, in degrees of freedom, of the target against the
// correlation that was found.
const priorDF = 10

// shrunk returns the correlation to draw from: the field's own, drawn towards the
// target by priorDF/(priorDF + df). A node without variance takes the target alone.
func (f *field) shrunk(df, scale float64) *field {
	f = f.normalised()
	f.rows = compact(f.rows, len(f.rpm))
	common, length := f.target(scale)
	share := priorDF / (priorDF + df)
	out := newField(f.rpm)
	for _, row := range f.rows {
		out.rows = append(out.rows, scaledRows([][]float64{row}, math.Sqrt(1-share), len(f.rpm))...)
	}
	for _, p := range f.paths {
		out.add(p, 1-share)
	}
	sd := make([]float64, len(f.rpm))
	for i := range sd {
		sd[i] = math.Sqrt(share)
		if f.variance(i) == 0 {
			sd[i] = 1
		}
	}
	out.paths = append(out.paths, covariance{sd: sd, common: common, length: length})
	return out
}
