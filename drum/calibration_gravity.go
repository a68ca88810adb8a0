package drum

import (
	"fmt"
	"math"
)

// gravityAnomaly is by how much gravity may differ from the formula, in m/s²: the
// size of anomalies in hilly country (from memory).
const gravityAnomaly = 1e-3

// Gravity returns the local acceleration of gravity in m/s² at a latitude in
// degrees and a height above sea level in m, between −500 m and 9000 m. Its
// uncertainty is that of a formula which knows nothing of the ground beneath:
// anywhere within ± 0.001 m/s².
//
// Source: latitude by 40 CFR 1065.630(b), which is the series of the Geodetic
// Reference System 1980; height by the free-air gradient of normal gravity,
// −3.086e-6 m/s² a metre (from memory), which 1065.630(b) leaves out.
func Gravity(latitude, height float64) (Calibrated, error) {
	if !(math.Abs(latitude) <= 90) || !(height >= -500 && height <= 9000) {
		return Calibrated{}, fmt.Errorf("%w: latitude %g° and height %g m are not a place for a dyno", ErrCalibration, latitude, height)
	}
	s := math.Sin(latitude * math.Pi / 180)
	s2 := s * s
	g := 9.7803267715 * (1 + s2*(5.2790414e-3+s2*(2.32718e-5+s2*(1.262e-7+s2*7e-10))))
	return combined(g-3.086e-6*height, Part{Name: "formula against the ground", U: gravityAnomaly / math.Sqrt(3), DF: math.Inf(1)}), nil
}
