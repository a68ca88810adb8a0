package drum

import "math"

// Polynomial returns c[0] + c[1]·omega + c[2]·omega², the form in which losses
// over drum speed are kept: N·m over rad/s.
func Polynomial(c [3]float64, omega float64) float64 {
	return c[0] + omega*(c[1]+omega*c[2])
}

// EquivalentMass returns the mass in kg that is as hard to accelerate, at the
// surface of a drum of the given radius in m, as the drum's inertia in kg·m².
func EquivalentMass(inertia, radius float64) float64 { return inertia / (radius * radius) }

// KineticEnergy returns the energy in J of an inertia in kg·m² at omega rad/s.
func KineticEnergy(inertia, omega float64) float64 { return inertia * omega * omega / 2 }

// Torque returns the torque in N·m that the wheel puts on the drum: what
// accelerates its inertia by alpha in rad/s², what the brake takes and what the
// bare drum loses at speed omega in rad/s.
func Torque(inertia, alpha, brake float64, parasitic [3]float64, omega float64) float64 {
	return inertia*alpha + brake + Polynomial(parasitic, omega)
}

// SurfaceForce returns the force in N at the surface of a drum of the given
// radius in m under a torque in N·m at its axis.
func SurfaceForce(torque, radius float64) float64 { return torque / radius }

// ReferWheelInertia returns the inertia in kg·m² that a driven wheel of the given
// inertia and radius shows at the drum: the wheel turns drumRadius/wheelRadius
// times as fast, and inertia counts with the square of that. 0 where the wheel's
// inertia or radius is not stated.
func ReferWheelInertia(inertia, wheelRadius, drumRadius float64) float64 {
	if !(inertia > 0) || !(wheelRadius > 0) {
		return 0
	}
	return inertia * (drumRadius / wheelRadius) * (drumRadius / wheelRadius)
}

// WheelShare returns the fraction of wheel power that a change of the driven
// wheel alone shows on an inertia drum, candidate over baseline minus one: about
// (wheelA − wheelB)/(drum + wheelB), all inertias in kg·m² and referred to the
// drum. The engine's own inertia is left out. A brake at a steady speed shows
// none of it. NaN where the sum is not positive.
func WheelShare(wheelA, wheelB, drum float64) float64 {
	if !(drum+wheelB > 0) {
		return math.NaN()
	}
	return (wheelA - wheelB) / (drum + wheelB)
}

// SurfaceSpeed returns the speed in m/s of the surface of a roll of the given
// diameter in m from its encoder's pulse frequency in Hz and pulses a turn.
func SurfaceSpeed(frequency, diameter float64, pulsesPerTurn int) float64 {
	return math.Pi * diameter * frequency / float64(pulsesPerTurn)
}

// MeanForce returns the mean force in N that takes a mass in kg from one speed
// to another, both in m/s, within a time in s: negative while it slows.
func MeanForce(mass, from, to, time float64) float64 { return mass * (to - from) / time }
