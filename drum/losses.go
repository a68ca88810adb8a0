// Package drum is the physics of the drum: inertia, brake, losses, coast-down,
// slip.
package drum

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
}
