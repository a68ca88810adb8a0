// Package curve holds torque and power over engine speed, with their doubt.
package curve

import "math"

// Curve is wheel torque referred to the engine, over engine speed.
//
// All slices have one length. SpeedRPM is strictly increasing, in 1/min: the
// grid of a campaign is fixed in 1/min by the format, so this one series is not
// kept in SI. Torque and StandardError are in N·m; StandardError holds the
// standard uncertainty of each node from the log alone (not from the rig).
type Curve struct {
	SpeedRPM      []float64
	Torque        []float64
	StandardError []float64
}

// RadPerSecondPerRPM converts an engine speed in 1/min to rad/s.
const RadPerSecondPerRPM = 2 * math.Pi / 60

// Power returns the power of node i in watts: torque times engine speed.
func (c Curve) Power(i int) float64 {
	return c.Torque[i] * c.SpeedRPM[i] * RadPerSecondPerRPM
}

// Len returns the number of nodes.
func (c Curve) Len() int { return len(c.SpeedRPM) }
