package drum

import (
	"fmt"
	"math"
)

// Sized is a measured size with its standard uncertainty, in one unit.
type Sized struct{ Value, U float64 }

// Ring is one piece of a drum that turns about its own axis: a solid of revolution
// with constant section, full where Inner is 0. Either Mass is given, or it follows
// from Density and Length.
type Ring struct {
	Name         string
	Outer, Inner Sized // diameters, m
	Mass         Sized // kg
	Density      Sized // kg/m³; one batch of material: the same error in all rings
	Length       Sized // m
}

// inertia returns the inertia of the ring for the given sizes:
//
//	J = m·(D² + d²)/8,  m = ρ·L·π·(D² − d²)/4
func (r *Ring) inertia() float64 {
	outer, inner := r.Outer.Value*r.Outer.Value, r.Inner.Value*r.Inner.Value
	mass := r.Mass.Value
	if mass == 0 {
		mass = r.Density.Value * r.Length.Value * math.Pi * (outer - inner) / 4
	}
	return mass * (outer + inner) / 8
}

// check refuses a ring that cannot be.
func (r *Ring) check() error {
	for _, s := range []Sized{r.Outer, r.Inner, r.Mass, r.Density, r.Length} {
		if !finite(s.Value) || !finite(s.U) || s.Value < 0 || s.U < 0 || (s.Value == 0 && s.U > 0) || (s.Value > 0 && s.U >= s.Value) {
			return fmt.Errorf("%w: %s has a size of %g ± %g", ErrCalibration, r.Name, s.Value, s.U)
		}
	}
	switch {
	case !(r.Outer.Value > r.Inner.Value):
		return fmt.Errorf("%w: %s has an outer diameter of %g m and an inner one of %g m", ErrCalibration, r.Name, r.Outer.Value, r.Inner.Value)
	case (r.Mass.Value > 0) == (r.Density.Value > 0 && r.Length.Value > 0):
		return fmt.Errorf("%w: %s takes its mass, or density and length, and not both", ErrCalibration, r.Name)
	}
	return nil
}

// InertiaFromGeometry returns the inertia in kg·m² of rings on one axis, from
// their sizes. Each size is one part of the uncertainty; the density is one part for
// all rings together. What was left out, such as spokes, bolts and shafts, is in no
// part: list it as rings of its own.
func InertiaFromGeometry(rings []Ring) (Calibrated, error) {
	if len(rings) == 0 {
		return Calibrated{}, fmt.Errorf("%w: no ring is given", ErrCalibration)
	}
	sum, density := 0.0, 0.0
	var parts []Part
	for i := range rings {
		r := &rings[i]
		if err := r.check(); err != nil {
			return Calibrated{}, err
		}
		own := r.inertia()
		sum += own
		for _, size := range []struct {
			name string
			of   func(*Ring) *Sized
		}{
			{"outer diameter", func(r *Ring) *Sized { return &r.Outer }}, {"inner diameter", func(r *Ring) *Sized { return &r.Inner }},
			{"mass", func(r *Ring) *Sized { return &r.Mass }}, {"length", func(r *Ring) *Sized { return &r.Length }}, {"density", func(r *Ring) *Sized { return &r.Density }},
		} {
			more, less := *r, *r
			u := size.of(r).U
			if u == 0 {
				continue
			}
			size.of(&more).Value += u
			size.of(&less).Value -= u
			part := (more.inertia() - less.inertia()) / 2
			if size.name == "density" {
				density += part
				continue
			}
			parts = append(parts, Part{Name: r.Name + ": " + size.name, U: math.Abs(part), DF: math.Inf(1)})
		}
	}
	if density > 0 {
		parts = append(parts, Part{Name: "density", U: density, DF: math.Inf(1)})
	}
	c := combined(sum, parts...)
	return c, c.check("the drum's inertia")
}
