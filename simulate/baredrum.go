package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// BareDrum is a drum without a vehicle whose truth is known: what a rig's own
// calibration is tried on. Values are SI.
type BareDrum struct {
	Seed      uint64
	Inertia   float64    // kg·m²
	Parasitic [3]float64 // c0 + c1·ω + c2·ω², N·m, at its mean
	// ParasiticScatter is the standard deviation, a fraction, by which the whole
	// course of the loss differs from one spin to the next: warm bearings and cold.
	ParasiticScatter float64
	Rate             float64 // rows a second
	SpeedNoise       float64 // standard deviation of a row's speed, rad/s
	SpeedScale       float64 // shown over true speed; 0: 1
}

// Spin is one coast-down of a bare drum as it is logged.
type Spin struct {
	Time  []float64 // s
	Speed []float64 // as shown, rad/s
	Brake []float64 // N·m; nil: none
}

// maxSpinRows bounds a spin.
const maxSpinRows = 1_000_000

// CoastDown returns the spin with the given number: the drum, with added inertia in
// kg·m² on it and braked by a constant torque in N·m, slows between two true speeds
// in rad/s by
//
//	(I + added)·dω/dt = −brake − loss(ω)
//
// carried forward by the classical fourth-order Runge–Kutta rule in a quarter of
// the logger's step. The same drum and number give the same spin.
func (d BareDrum) CoastDown(number int, added, brake, from, to float64) (Spin, error) {
	inertia := d.Inertia + added
	if !(d.Inertia > 0) || !(added >= 0) || !(brake >= 0) || !(d.Rate > 0) || !(to > 0) || !(from > to) || math.IsInf(from, 1) {
		return Spin{}, fmt.Errorf("simulate: no coast-down of %g kg·m² from %g to %g rad/s at %g rows a second", inertia, from, to, d.Rate)
	}
	random := rand.New(rand.NewPCG(d.Seed, 0xBADE<<32|uint64(uint32(number))))
	factor := 1 + d.ParasiticScatter*random.NormFloat64()
	slope := func(omega float64) float64 { return -(brake + factor*quadratic(d.Parasitic, omega)) / inertia }
	scale := d.SpeedScale
	if scale == 0 {
		scale = 1
	}
	var s Spin
	const parts = 4
	h := 1 / d.Rate / parts
	for row, omega := 0, from; omega > to; row++ {
		if row == maxSpinRows || !(slope(omega) < 0) {
			return Spin{}, fmt.Errorf("simulate: the drum does not reach %g rad/s within %d rows", to, maxSpinRows)
		}
		s.Time = append(s.Time, float64(row)/d.Rate)
		s.Speed = append(s.Speed, scale*omega+d.SpeedNoise*random.NormFloat64())
		if brake > 0 {
			s.Brake = append(s.Brake, brake)
		}
		for range parts {
			a := slope(omega)
			b := slope(omega + h/2*a)
			c := slope(omega + h/2*b)
			omega += h / 6 * (a + 2*b + 2*c + slope(omega+h*c))
		}
	}
	return s, nil
}
