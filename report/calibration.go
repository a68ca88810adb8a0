package report

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// Calibration is a calibration of the rig that pulls were reduced with, beside what
// the campaign states itself. Values are SI; 0 is not measured, or not stated.
type Calibration struct {
	From                          time.Time // by the clock of the place
	Note                          string
	Pulls                         []string // the used pulls that it applies to
	Inertia, InertiaU, OwnInertia float64  // drum, kg·m²
	Arm, OwnArm                   float64  // of the brake, m
	HasParasitic                  bool
	Parasitic, OwnParasitic       [3]float64 // bare drum torque, N·m over drum speed in rad/s
	Sensors                       []SensorNote
	// Effect is by what fraction torque and power lie above what the campaign's own
	// rig would give; NaN: it states no drum inertia.
	Effect float64
}

// SensorNote is a speed or a sensor that was calibrated: a scale, or offset and slope
// in the unit named; U is the standard uncertainty of a corrected reading.
type SensorNote struct {
	Name, Unit       string
	Offset, Slope, U float64
	Scale            bool
}

// words say what is done to a reading: "barometer +12 Pa ± 20 Pa".
func (n *SensorNote) words() string {
	u := ""
	if n.U > 0 && n.Scale {
		u = " ± " + twoFigures(n.U)
	} else if n.U > 0 {
		u = " ± " + twoFigures(n.U) + " " + n.Unit
	}
	switch {
	case n.Scale:
		return n.Name + " × " + plain(n.Slope) + u
	case n.Slope == 1:
		sign := ""
		if n.Offset > 0 {
			sign = "+"
		}
		return n.Name + " " + sign + plain(n.Offset) + " " + n.Unit + u
	}
	return n.Name + " " + plain(n.Offset) + " " + n.Unit + " + " + plain(n.Slope) + " × shown" + u
}

// line says what the calibration changed: "Calibration of 2026-01-10: drum inertia
// 41.80 → 41.95 kg·m², levels +0.36 %".
func (c *Calibration) line(all int) string {
	var parts []string
	add := func(changed bool, name, own, with string) {
		switch {
		case !changed:
			parts = append(parts, name+" "+with+", as the campaign states")
		case own == "":
			parts = append(parts, name+" "+with)
		default:
			parts = append(parts, name+" "+own+" → "+with)
		}
	}
	if c.Inertia > 0 {
		with := inertiaWords(c.Inertia)
		if c.InertiaU > 0 {
			with += " ± " + plain(c.InertiaU) + " (standard uncertainty)"
		}
		own := ""
		if c.OwnInertia > 0 {
			own = inertiaWords(c.OwnInertia)
		}
		add(c.Inertia != c.OwnInertia, "drum inertia", own, with+" kg·m²")
	}
	if c.HasParasitic {
		add(c.Parasitic != c.OwnParasitic, "bare drum torque", threeWords(c.OwnParasitic), threeWords(c.Parasitic)+" N·m")
	}
	if c.Arm > 0 {
		own := ""
		if c.OwnArm > 0 {
			own = plain(c.OwnArm)
		}
		add(c.Arm != c.OwnArm, "brake arm", own, plain(c.Arm)+" m")
	}
	for i := range c.Sensors {
		parts = append(parts, c.Sensors[i].words())
	}
	s := "Calibration of " + c.From.Format(time.DateOnly)
	if len(c.Pulls) < all {
		s += " (" + pullNames(c.Pulls) + ")"
	}
	if len(parts) > 0 {
		s += ": " + strings.Join(parts, "; ")
	}
	switch {
	case math.IsNaN(c.Effect):
		s += "; the campaign itself states no drum inertia"
	case c.Effect != 0:
		s += ": levels " + signed(100*c.Effect, 2) + " % against the campaign's own values"
	}
	return s + labelled("; ", strings.TrimRight(cleanTo(c.Note, 200), ". ")) + "."
}

// inertiaWords writes an inertia to a hundredth, or as it is where it has more.
func inertiaWords(v float64) string {
	if s := strconv.FormatFloat(v, 'f', -1, 64); len(s)-strings.IndexByte(s+".", '.') > 3 {
		return plain(v)
	}
	return fixed(v, 2)
}

func threeWords(c [3]float64) string {
	return plain(c[0]) + ", " + plain(c[1]) + ", " + plain(c[2])
}

// Basis says what the figures rest on beyond the campaign's own folder: the rig's
// calibration and the lab's history, a sentence each; empty for a folder alone.
func (g *Gain) Basis() []string {
	var lines []string
	used := 0
	for i := range g.Pulls {
		if g.Pulls[i].Used {
			used++
		}
	}
	for i := range g.Calibrations {
		lines = append(lines, g.Calibrations[i].line(used))
	}
	if g.History != nil {
		lines = append(lines, g.History.line())
	}
	return lines
}

// calibrationJSON is what the gain result says of a calibration that was applied.
type calibrationJSON struct {
	From     string   `json:"valid_from"`
	Pulls    []string `json:"pulls"`
	Inertia  amount   `json:"drum_inertia_kgm2"`
	InertiaU amount   `json:"drum_inertia_u_kgm2"`
	Effect   amount   `json:"levels_pct"` // against the campaign's own values
}

func (g *Gain) calibrationsJSON() []calibrationJSON {
	var out []calibrationJSON
	for _, c := range g.Calibrations {
		row := calibrationJSON{From: moment(c.From), Pulls: c.Pulls, Inertia: null, InertiaU: null, Effect: amount(100 * c.Effect)}
		if c.Inertia > 0 {
			row.Inertia = amount(c.Inertia)
		}
		if c.InertiaU > 0 {
			row.InertiaU = amount(c.InertiaU)
		}
		out = append(out, row)
	}
	return out
}
