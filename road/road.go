// Package road says what a gain means on the road: how long a roll-on takes, how
// long it takes to a speed or over a distance, and how fast it goes at last, with
// and without the part, with intervals carried by simulation.
//
// The model is a mass that the measured wheel torque drives against rolling and air
// resistance on a level road without wind, in gears, with a limit of grip. It stands
// in docs/method.md. Everything is SI; engine speed on the grid is in 1/min.
package road

import (
	"fmt"
	"math"

	"fairpull/curve"
	"fairpull/quantity"
)

// StandardGravity is the standard acceleration of free fall, m/s² [SP-811].
const StandardGravity = 9.80665

// Vehicle is a vehicle with its rider, as the road sees it. The zero Vehicle is
// refused: every figure must be given, Grip and the shifting apart.
type Vehicle struct {
	// Mass is that of vehicle, rider, luggage and fuel.
	Mass quantity.Kilogram
	// RotatingShare is what the turning wheels add to the mass when it is to be
	// accelerated, as a fraction of it, in [0, 0.5].
	RotatingShare float64
	// Resistance is what holds the vehicle back at a steady speed.
	Resistance Resistance
	// EnginePerMetre is the angle that the engine turns for each metre of road, rad/m,
	// one for each gear, first gear first, strictly decreasing; see [FromRatios] and
	// [FromDrum].
	EnginePerMetre []float64
	// LimitRPM is the engine speed at which the limiter holds it, 1/min. The measured
	// curve may end below it.
	LimitRPM float64
	// ShiftRPM is the engine speed at which the rider shifts up, 1/min. 0: where the
	// next gear pulls harder, at the latest at LimitRPM or the curve's end.
	ShiftRPM float64
	// ShiftTime is how long the drive is interrupted by a shift, s, in [0, 2].
	ShiftTime float64
	// Grip limits the drive force; nil: nothing does.
	Grip *Grip
}

// Grip is what limits the drive force of a vehicle that is driven at the rear: the
// tyre slides, or the front wheel leaves the ground.
type Grip struct {
	Friction     float64        // coefficient between tyre and road
	Wheelbase    quantity.Metre // between the axles
	CentreHeight quantity.Metre // of the centre of gravity with the rider
	RearShare    float64        // of the weight on the rear wheel at rest, in (0, 1)
}

// Limit returns the largest drive force in newtons at mass m.
//
// Moments about the two points of contact, with air resistance at the height of the
// centre of gravity: the rear wheel carries N = m·g·w + F·h/L, so the tyre holds
// F ≤ μ·m·g·w/(1 − μ·h/L), and the front wheel stays down while
// F ≤ m·g·(1 − w)·L/h. Source: statics; the same forms stand in textbooks of
// motorcycle dynamics (from memory).
func (g Grip) Limit(m quantity.Kilogram) float64 {
	weight := float64(m) * StandardGravity
	lever := float64(g.CentreHeight / g.Wheelbase)
	lifts := weight * (1 - g.RearShare) / lever
	if rest := 1 - g.Friction*lever; rest > 0 {
		return min(lifts, weight*g.Friction*g.RearShare/rest)
	}
	return lifts
}

// Validate reports the first figure of a vehicle that cannot be.
func (v Vehicle) Validate() error {
	switch {
	case !possible(v.Mass):
		return badMass(v.Mass)
	case !(v.RotatingShare >= 0 && v.RotatingShare <= 0.5):
		return fmt.Errorf("the share of turning parts is %g of the mass: it must lie between 0 and 0.5", v.RotatingShare)
	case !(v.LimitRPM > 0 && v.LimitRPM <= 30_000):
		return fmt.Errorf("the limiter stands at %g 1/min: it must lie between 0 and 30000", v.LimitRPM)
	case v.ShiftRPM != 0 && !(v.ShiftRPM > 0 && v.ShiftRPM <= v.LimitRPM):
		return fmt.Errorf("shifting at %g 1/min: it must lie between 0 and the limiter's %g", v.ShiftRPM, v.LimitRPM)
	case !(v.ShiftTime >= 0 && v.ShiftTime <= 2):
		return fmt.Errorf("a shift takes %g s: it must lie between 0 and 2", v.ShiftTime)
	case len(v.EnginePerMetre) == 0 || len(v.EnginePerMetre) > 24:
		return fmt.Errorf("the vehicle has %d gears: give 1 to 24", len(v.EnginePerMetre))
	}
	last := math.Inf(1)
	for i, k := range v.EnginePerMetre {
		if !(k > 0 && k < last && k < 1e4) {
			return fmt.Errorf("gear %d turns the engine %g rad for each metre: it must be positive and less than the gear before", i+1, k)
		}
		last = k
	}
	if err := v.Resistance.validate(); err != nil {
		return err
	}
	return v.Grip.validate()
}

// possible reports whether a vehicle with its rider can have the mass.
func possible(m quantity.Kilogram) bool { return m >= 20 && m <= 2000 }

func badMass(m quantity.Kilogram) error {
	return fmt.Errorf("the mass with rider is %g kg: it must lie between 20 and 2000", float64(m))
}

func (g *Grip) validate() error {
	switch {
	case g == nil:
		return nil
	case !(g.Friction > 0 && g.Friction <= 3):
		return fmt.Errorf("the friction of the tyre is %g: it must lie between 0 and 3", g.Friction)
	case !(g.Wheelbase > 0 && g.Wheelbase < 5) || !(g.CentreHeight > 0 && g.CentreHeight < 3):
		return fmt.Errorf("wheelbase %g m, centre of gravity %g m high: both must be positive and below 5 m and 3 m", float64(g.Wheelbase), float64(g.CentreHeight))
	case !(g.RearShare > 0 && g.RearShare < 1):
		return fmt.Errorf("the rear wheel carries %g of the weight: it must lie between 0 and 1", g.RearShare)
	}
	return nil
}

// FromRatios returns the engine's angle for each metre, rad/m, gear by gear: primary
// times gear times final ratio, each as turns before over turns after, over the
// rolling radius of the driven wheel.
func FromRatios(primary, final float64, gears []float64, wheelRadius quantity.Metre) ([]float64, error) {
	if !(primary > 0 && final > 0 && wheelRadius > 0) || math.IsInf(primary*final/float64(wheelRadius), 0) {
		return nil, fmt.Errorf("primary ratio %g, final ratio %g, wheel radius %g m: all must be positive numbers", primary, final, float64(wheelRadius))
	}
	k := make([]float64, len(gears))
	for i, g := range gears {
		if !(g > 0) || math.IsInf(g, 0) {
			return nil, fmt.Errorf("the ratio of gear %d is %g: it must be positive", i+1, g)
		}
		k[i] = primary * g * final / float64(wheelRadius)
	}
	return k, nil
}

// FromDrum returns the engine's angle for each metre, rad/m, in the gear of a pull:
// turns of the engine for one of the drum, over the drum's radius. Creep of the tyre
// on the drum is in it, and not much different on the road.
func FromDrum(engineTurnsPerDrumTurn float64, drumRadius quantity.Metre) (float64, error) {
	k := engineTurnsPerDrumTurn / float64(drumRadius)
	if !(engineTurnsPerDrumTurn > 0 && drumRadius > 0) || math.IsInf(k, 0) {
		return 0, fmt.Errorf("%g turns of the engine for one of a drum of %g m radius: both must be positive", engineTurnsPerDrumTurn, float64(drumRadius))
	}
	return k, nil
}

// checkCurve refuses a torque curve that cannot drive anything.
func checkCurve(c curve.Curve) error {
	if len(c.Torque) != c.Len() {
		return fmt.Errorf("the curve has %d speeds and %d torques", c.Len(), len(c.Torque))
	}
	if err := checkSpeeds(c.SpeedRPM); err != nil {
		return err
	}
	for i, torque := range c.Torque {
		if !(math.Abs(torque) <= 1e4) {
			return fmt.Errorf("the curve's torque at %g 1/min is %g N·m", c.SpeedRPM[i], torque)
		}
	}
	return nil
}
