package compare

import "math"

// withinSetups returns the residuals of the block means about a model with a level
// for every setup and every configuration and, where it can be told, the drift;
// and their degrees of freedom. What is left is block scatter (with the pulls'
// share), free of setup offsets.
func (d *design) withinSetups(means [][]float64) ([][]float64, int) {
	blocks := len(d.hours)
	var basis [][]float64
	add := func(of func(b int) float64) {
		v := make([]float64, blocks)
		for b := range v {
			v[b] = of(b)
		}
		if u := orthogonal(v, basis); u != nil {
			basis = append(basis, u)
		}
	}
	for s := range d.setups {
		add(func(b int) float64 { return indicator(d.setup[b] == s) })
	}
	for c := 1; c < len(d.count); c++ {
		add(func(b int) float64 { return indicator(d.configuration[b] == c) })
	}
	if d.timed {
		add(func(b int) float64 { return d.hours[b] - d.meanTime })
	}
	df := blocks - len(basis)
	if df <= 0 {
		return nil, 0
	}
	// Columns are centred first, so that a large common level costs no digits.
	centre := columnMeans(means)
	out := make([][]float64, blocks)
	for b, row := range means {
		out[b] = make([]float64, len(row))
		for k, v := range row {
			out[b][k] = v - centre[k]
		}
	}
	for _, u := range basis {
		part := weighted(u, out)
		for b := range out {
			for k := range out[b] {
				out[b][k] -= u[b] * part[k]
			}
		}
	}
	return out, df
}

// orthogonal returns the part of v at right angles to the basis, of length one; nil
// when nothing but rounding is left of it.
func orthogonal(v []float64, basis [][]float64) []float64 {
	before := norm(v)
	for range 2 { // twice is enough for orthogonality to working precision
		for _, u := range basis {
			var dot float64
			for i := range v {
				dot += u[i] * v[i]
			}
			for i := range v {
				v[i] -= dot * u[i]
			}
		}
	}
	after := norm(v)
	if after <= math.Sqrt(timeFloor)*before || before == 0 {
		return nil
	}
	for i := range v {
		v[i] /= after
	}
	return v
}

func norm(v []float64) float64 {
	var sum float64
	for _, x := range v {
		sum += x * x
	}
	return math.Sqrt(sum)
}

func indicator(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
