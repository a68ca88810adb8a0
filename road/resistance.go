package road

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"fairpull/quantity"
)

// Resistance is the force that holds a vehicle back at a steady speed v on a level
// road in still air: Constant + Linear·v + Square·v², in N, N/(m/s) and N/(m/s)². None
// is negative, and they are not all zero.
type Resistance struct{ Constant, Linear, Square float64 }

// ErrNoResistance says that nothing holds the vehicle back, which no vehicle knows.
var ErrNoResistance = errors.New("the vehicle has no resistance: give drag area and rolling coefficient, or a measured resistance")

// AirAndTyres returns the resistance that follows from drag area in m², the rolling
// coefficient of the tyres, mass and air density: c·m·g + ½·ρ·A·v².
//
// The wheel figure of a drum has the driven tyre's loss on the drum in it already, so
// the rolling resistance counts part of that tyre twice. Both sides of a comparison
// share it.
func AirAndTyres(dragArea, rolling float64, m quantity.Kilogram, density quantity.KilogramPerCubicMetre) (Resistance, error) {
	switch {
	case !(dragArea >= 0 && dragArea <= 5):
		return Resistance{}, fmt.Errorf("the drag area is %g m²: it must lie between 0 and 5", dragArea)
	case !(rolling >= 0 && rolling <= 0.2):
		return Resistance{}, fmt.Errorf("the rolling coefficient is %g: it must lie between 0 and 0.2", rolling)
	case !possible(m):
		return Resistance{}, badMass(m)
	case !(density > 0 && density < 2):
		return Resistance{}, fmt.Errorf("the air's density is %g kg/m³: it must lie between 0 and 2", float64(density))
	}
	return Resistance{
		Constant: rolling * float64(m) * StandardGravity,
		Square:   float64(density) * dragArea / 2,
	}, nil
}

// At returns the force in newtons at speed v in m/s.
func (r Resistance) At(v float64) float64 { return r.Constant + (r.Linear+r.Square*v)*v }

func (r Resistance) validate() error {
	for _, c := range [3]struct {
		value, most float64
		unit        string
	}{{r.Constant, 2000, "N"}, {r.Linear, 200, "N/(m/s)"}, {r.Square, 20, "N/(m/s)²"}} {
		if !(c.value >= 0 && c.value <= c.most) {
			return fmt.Errorf("a coefficient of the resistance is %g %s: it must lie between 0 and %g", c.value, c.unit, c.most)
		}
	}
	if r == (Resistance{}) {
		return ErrNoResistance
	}
	return nil
}

// CoastTime returns the seconds in which a mass, that of the turning parts included,
// slows from one speed to a lower one, in m/s, with the drive disengaged: a coast-down
// on the road can be held against it.
func (r Resistance) CoastTime(m quantity.Kilogram, from, to float64) (float64, error) {
	if err := r.validate(); err != nil {
		return 0, err
	}
	if !possible(m) || !(to >= 0 && from > to && from < 200) {
		return 0, fmt.Errorf("%g kg from %g to %g m/s: a coast-down leads to a lower speed", float64(m), from, to)
	}
	if to == 0 && r.Constant == 0 {
		return 0, fmt.Errorf("without a constant part the vehicle never comes to rest")
	}
	s := integrate(piece{from: to, to: from, p: r.Constant, q: r.Linear, r: r.Square})
	return float64(m) * s.time, nil
}

// figureF989 is the road load of motorcycles by mass as a regulation prints it.
//
//go:embed data/f98-9.json
var figureF989 []byte

// loadRow is one row of the figure.
type loadRow struct {
	Mass   float64    `json:"equivalent_inertia_kg"`
	A      float64    `json:"a_n"`
	C      float64    `json:"c_n_per_kmh2"`
	Loaded [2]float64 `json:"loaded_mass_kg"`
}

var loadRows = sync.OnceValue(func() []loadRow {
	var figure struct {
		Source string    `json:"source"`
		Rows   []loadRow `json:"rows"`
	}
	if err := json.Unmarshal(figureF989, &figure); err != nil {
		panic(err) // the file is part of the program, and a test reads it
	}
	return figure.Rows
})

// ByRegulation returns the typical resistance of a motorcycle whose mass with rider
// is m, by figure F98-9 of 40 CFR 86.529-98, and says in words which rows it comes
// from: between two rows it is interpolated in the mass. It holds for 100 to 860 kg;
// elsewhere it is an error.
//
// It describes the motorcycle of a regulation and no particular one.
func ByRegulation(m quantity.Kilogram) (Resistance, string, error) {
	rows := loadRows()
	mass := float64(m)
	if !(mass >= rows[0].Mass && mass <= rows[len(rows)-1].Mass) {
		return Resistance{}, "", fmt.Errorf("figure F98-9 of 40 CFR 86.529-98 holds from %g to %g kg, not for %g", rows[0].Mass, rows[len(rows)-1].Mass, mass)
	}
	i := 1
	for rows[i].Mass < mass {
		i++
	}
	below, above := rows[i-1], rows[i]
	x := (mass - below.Mass) / (above.Mass - below.Mass)
	a := below.A + x*(above.A-below.A)
	c := below.C + x*(above.C-below.C)
	const kmhSquared = 3.6 * 3.6
	source := fmt.Sprintf("40 CFR 86.529-98, figure F98-9, between its rows for %g and %g kg", below.Mass, above.Mass)
	if x == 0 || x == 1 {
		source = fmt.Sprintf("40 CFR 86.529-98, figure F98-9, row for %g kg", mass)
	}
	return Resistance{Constant: a, Square: c * kmhSquared}, source, nil
}

// Class is a kind of motorcycle with typical figures, for a first answer where
// nothing was measured. They are from memory, and a page that shows a result made
// with them says so.
type Class struct {
	Name          string
	DragArea      float64 // m², with rider
	Rolling       float64 // coefficient of rolling resistance
	RotatingShare float64
	// DragU and RollingU are relative standard uncertainties that cover the spread
	// within the class.
	DragU, RollingU float64
	Source          string
}

// Classes returns the kinds of motorcycle that typical figures are known for. The
// share of turning parts, 7 % for both wheels, is the one that regulations for
// coast-downs use (from memory).
func Classes() []Class {
	const memory = "typical, from memory"
	return []Class{
		{Name: "faired, rider tucked in", DragArea: 0.33, Rolling: 0.015, RotatingShare: 0.07, DragU: 0.12, RollingU: 0.25, Source: memory},
		{Name: "faired, rider upright", DragArea: 0.42, Rolling: 0.015, RotatingShare: 0.07, DragU: 0.12, RollingU: 0.25, Source: memory},
		{Name: "unfaired, rider upright", DragArea: 0.52, Rolling: 0.015, RotatingShare: 0.07, DragU: 0.15, RollingU: 0.25, Source: memory},
		{Name: "touring, with screen and cases", DragArea: 0.62, Rolling: 0.015, RotatingShare: 0.07, DragU: 0.15, RollingU: 0.25, Source: memory},
		{Name: "scooter", DragArea: 0.55, Rolling: 0.018, RotatingShare: 0.07, DragU: 0.15, RollingU: 0.25, Source: memory},
	}
}
