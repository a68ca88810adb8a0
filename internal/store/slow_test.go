//go:build slow

package store

import "testing"

// The long form of TestKilledWhileAddingPulls.
func TestKilledWhileAddingPullsOften(t *testing.T) { killMany(t, 250) }
