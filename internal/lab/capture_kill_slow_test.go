//go:build slow

package lab

import "testing"

// The long form of TestKilledWhileCapturing.
func TestKilledWhileCapturingOften(t *testing.T) { killCaptures(t, 210) }
