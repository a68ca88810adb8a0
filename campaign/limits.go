package campaign

import "fmt"

// Bounds of what a folder may say. They are far outside anything that is built,
// so that only a slip of the unit or a hostile file meets them.
const (
	maxRPM          = 100_000.0 // 1/min
	maxMass         = 10_000.0  // kg
	maxGear         = 20.0
	maxRatio        = 1000.0 // engine turns a drum turn
	maxWheelInertia = 1000.0 // kg·m²
	maxDrumInertia  = 1e6    // kg·m²
	maxRadius       = 10.0   // m
	maxPulses       = 1e6    // a turn
	maxParasitic    = 1e6    // N·m, N·m·s, N·m·s²
	minElevation    = -500.0 // m
	maxElevation    = 9000.0 // m
	maxSetPoint     = 1e9
	maxDF           = 1e9
)

// optional refuses a value that is neither zero, which stands for not stated,
// nor in (0, hi].
func (p *problems) optional(key string, value, hi float64) {
	if !(value >= 0 && value <= hi) {
		p.add(key, fmt.Sprintf("write a number above 0, at most %g", hi), "it is %g", value)
	}
}

// within refuses a value outside [lo, hi].
func (p *problems) within(key, what string, value, lo, hi float64) {
	if !(value >= lo && value <= hi) {
		p.add(key, fmt.Sprintf("write a number from %g to %g", lo, hi), "%s is %g", what, value)
	}
}

func (p *problems) id(key, id string) {
	if err := CheckID(id); err != nil {
		p.add(key, "write a slug, as in twin650-intake-cam", "the id %.80q %v", id, err)
	}
}

func (p *problems) text(key, text string) {
	if err := CheckText(text); err != nil {
		p.add(key, fmt.Sprintf("write at most %d bytes of plain text", MaxText), "the text %.40q %v", text, err)
	}
}
