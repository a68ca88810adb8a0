package signal

import "math"

// matrix is a small square matrix; only the leading n rows and columns are used.
type matrix [MaxDegree + 1][MaxDegree + 1]float64

// pivotFloor is the smallest pivot, as a part of its diagonal, that counts as
// determined. Evenly filled windows stay above 1e-3; double precision loses all
// digits at 1e-16.
const pivotFloor = 1e-11

// setInverseOfMoments sets m to the inverse of the n×n matrix whose element
// (i, j) is s[i+j], by Cholesky's factorisation. It reports false where the
// matrix is not positive definite within rounding.
func (m *matrix) setInverseOfMoments(s *[2*MaxDegree + 1]float64, n int) bool {
	var l matrix
	for i := range n {
		for j := range i + 1 {
			sum := s[i+j]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = sum / l[j][j]
				continue
			}
			if !(sum > pivotFloor*s[2*i]) {
				return false
			}
			l[i][i] = math.Sqrt(sum)
		}
	}
	m.setInverseOfFactor(&l, n)
	return true
}

// setInverseOfFactor sets m to (L·Lᵀ)⁻¹ for the lower triangle l.
func (m *matrix) setInverseOfFactor(l *matrix, n int) {
	var li matrix // inverse of l, lower triangle
	for j := range n {
		li[j][j] = 1 / l[j][j]
		for i := j + 1; i < n; i++ {
			sum := 0.0
			for k := j; k < i; k++ {
				sum -= l[i][k] * li[k][j]
			}
			li[i][j] = sum / l[i][i]
		}
	}
	*m = matrix{}
	for i := range n {
		for j := range i + 1 {
			sum := 0.0
			for k := i; k < n; k++ {
				sum += li[k][i] * li[k][j]
			}
			m[i][j], m[j][i] = sum, sum
		}
	}
}
