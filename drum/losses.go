// Package drum is the physics of the drum: inertia, brake, losses, coast-down,
// slip.
package drum

import "math"

// Losses is what a coast-down with the drive disengaged says: the torque that
// slows drum and wheel, at the drum axis, with the bare drum's own loss taken
// off.
type Losses struct {
	Omega         []float64 // drum speed, rad/s, increasing
	Torque        []float64 // N·m
	StandardError []float64 // N·m

	// Coefficients of the fitted course c0 + c1·ω + c2·ω², N·m.
	Coefficients [3]float64

	MeanOmega         float64 // mean drum speed of the coast-down, rad/s
	MeanTorque        float64 // fitted loss at MeanOmega, N·m
	MeanStandardError float64 // its standard uncertainty, N·m

	// WheelInertia is the inertia of the driven wheel referred to the drum that
	// was added, kg·m²; 0: the drum's alone was used.
	WheelInertia float64

	centre, scale float64       // x = (ω − centre)/scale
	covariance    [3][3]float64 // of the coefficients of x⁰, x¹, x², (N·m)²
}

// At returns the fitted loss in N·m at drum speed omega in rad/s, and its
// standard error. It holds between the first and last of Omega and as far beyond
// as Covers says; further out the numbers are the polynomial's, not the rig's.
func (l *Losses) At(omega float64) (torque, standardError float64) {
	x := (omega - l.centre) / l.scale
	g := [3]float64{1, x, x * x}
	v := 0.0
	for i := range g {
		for j := range g {
			v += g[i] * l.covariance[i][j] * g[j]
		}
	}
	return Polynomial(l.Coefficients, omega), math.Sqrt(v)
}

// Covers reports whether the loss may be read at omega: within the speeds of the
// coast-down, or up to half their range beyond, while the standard error stays
// under a fifth of the mean loss.
func (l *Losses) Covers(omega float64) bool {
	n := len(l.Omega)
	if n == 0 {
		return false
	}
	reach := (l.Omega[n-1] - l.Omega[0]) / 2
	if omega < l.Omega[0]-reach || omega > l.Omega[n-1]+reach {
		return false
	}
	_, se := l.At(omega)
	return se < 0.2*math.Abs(l.MeanTorque)
}
