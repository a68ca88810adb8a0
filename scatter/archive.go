// Package scatter holds the lab's own repeatability and reproducibility.
package scatter

// Archive is earlier work on one grid, as a comparison can use it: residuals
// rather than SDs, so that covariances over engine speed can be rebuilt.
//
// Columns are the grid's nodes followed by the scalars (band mean, peak torque,
// peak power), all in ln(torque).
type Archive struct {
	SetupResiduals [][]float64 // setup means about their configuration's mean
	SetupDF        float64
	PullsPerSetup  float64     // harmonic mean of pulls behind a setup mean
	PullResiduals  [][]float64 // pulls about their block's mean
	PullDF         float64
}
