package simulate

import "math"

// Shape is a smooth curve over engine speed n in 1/min:
//
//	Level·(1 + Tilt·x + Bend·x² + Skew·x³) + Σ Size·exp(−½((n − AtRPM)/WidthRPM)²),  x = n/MidRPM − 1
//
// It serves for torque (Level and Size in N·m) and for gains (fractions). The
// zero Shape is zero everywhere. Tilt, Bend and Skew need MidRPM.
type Shape struct {
	Level  float64 `toml:"level"`
	MidRPM float64 `toml:"mid_rpm"`
	Tilt   float64 `toml:"tilt"`
	Bend   float64 `toml:"bend"`
	Skew   float64 `toml:"skew"`
	Bumps  []Bump  `toml:"bump,omitempty"`
}

// Bump is one hump of a Shape, or a dip where Size is negative.
type Bump struct {
	AtRPM    float64 `toml:"at_rpm"`
	WidthRPM float64 `toml:"width_rpm"` // standard deviation of the bell
	Size     float64 `toml:"size"`
}

// At returns the value at engine speed rpm in 1/min.
func (s Shape) At(rpm float64) float64 {
	value := s.Level
	if s.MidRPM != 0 {
		x := rpm/s.MidRPM - 1
		value *= 1 + x*(s.Tilt+x*(s.Bend+x*s.Skew))
	}
	for _, b := range s.Bumps {
		z := (rpm - b.AtRPM) / b.WidthRPM
		value += b.Size * math.Exp(-z*z/2)
	}
	return value
}

// flat says that the shape is the same at all engine speeds.
func (s Shape) flat() bool {
	return len(s.Bumps) == 0 && (s.Level == 0 || s.MidRPM == 0 || s.Tilt == 0 && s.Bend == 0 && s.Skew == 0)
}

// table is a function of engine speed at even knots, read by cubic Hermite
// interpolation with slopes of fourth order. Outside its knots it holds its end
// values.
type table struct {
	first, step float64 // 1/min
	value       []float64
	slope       []float64 // per knot interval
}

// tabulate samples f over [low, high] in n intervals. The departure from f is
// below (step/width)⁴/100 of a bump of that width.
func tabulate(f func(rpm float64) float64, low, high float64, n int) table {
	t := table{first: low, step: (high - low) / float64(n), value: make([]float64, n+1), slope: make([]float64, n+1)}
	padded := make([]float64, n+5)
	for i := range padded {
		padded[i] = f(low + float64(i-2)*t.step)
	}
	copy(t.value, padded[2:])
	for i := range t.slope {
		t.slope[i] = (padded[i] - padded[i+4] + 8*(padded[i+3]-padded[i+1])) / 12
	}
	return t
}

// at returns the value at engine speed rpm.
func (t *table) at(rpm float64) float64 {
	x := (rpm - t.first) / t.step
	last := len(t.value) - 1
	if !(x > 0) {
		return t.value[0]
	}
	if x >= float64(last) {
		return t.value[last]
	}
	i := int(x)
	return hermite(x-float64(i), t.value[i], t.value[i+1], t.slope[i], t.slope[i+1])
}

// hermite is the cubic over x in [0, 1] with end values a, b and end slopes da,
// db per unit of x.
func hermite(x, a, b, da, db float64) float64 {
	d := b - a
	return a + x*(da+x*(3*d-2*da-db+x*(da+db-2*d)))
}
