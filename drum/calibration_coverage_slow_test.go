//go:build slow

package drum_test

import "testing"

// Coverage of the intervals of calibrations on drums whose truth is known.
func TestCalibrationCoverage(t *testing.T) { intervals(t, 2000) }
