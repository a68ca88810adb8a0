package lab

import (
	"errors"
	"fmt"
	"math"

	"fairpull/budget"
	"fairpull/quantity"
)

// The sources of which a person can state how uncertain they are.
const (
	sourceInertia     = "drum_inertia"
	sourceBare        = "bare_drum"
	sourceBrake       = "brake"
	sourceDrumSpeed   = "drum_speed"
	sourceEngineSpeed = "engine_speed"
	sourcePressure    = "pressure"
	sourceTemperature = "temperature"
	sourceHumidity    = "humidity"
	sourceExponent    = "correction_exponent"
	sourceOther       = "other"
)

// KnownSource is what was stated of a source.
type KnownSource struct {
	What string
	// U is the standard uncertainty: a fraction of the source's value, in Pa for
	// pressure, in K for temperature, as a fraction for humidity. Of the bare drum it
	// is a fraction of its torque, of "other" one of the level itself.
	U, DF, Shared float64
	Shape         budget.Shape
	Flat          float64
	Note          string
}

// knownSources says, for each source, in what its uncertainty is stated: the
// dimension of a unit, or none where it is in per cent; and whether the sides share
// it where nothing is said (nil: it must be said).
var knownSources = map[string]struct {
	dimension quantity.Dimension
	percent   bool
	shared    *float64
}{
	sourceInertia: {percent: true, shared: number(1)}, sourceBare: {percent: true, shared: number(1)}, sourceBrake: {percent: true, shared: number(1)},
	sourceDrumSpeed: {percent: true, shared: number(1)}, sourceEngineSpeed: {percent: true, shared: number(1)},
	sourcePressure: {dimension: quantity.Pressure}, sourceTemperature: {dimension: quantity.Temperature}, sourceHumidity: {percent: true},
	sourceExponent: {percent: true, shared: number(1)}, sourceOther: {percent: true},
}

const (
	knownFormat  = "fairpull.uncertainty/1"
	maxKnownFile = 1 << 16
	maxKnown     = 100
)

type knownText struct {
	Format string `toml:"format"`
	Source []struct {
		What   string   `toml:"what"`
		U      *float64 `toml:"u"`
		Within *float64 `toml:"within"`
		Unit   string   `toml:"unit"`
		DF     *float64 `toml:"degrees_of_freedom"`
		Shape  string   `toml:"distribution"`
		Flat   float64  `toml:"flat"`
		Shared *float64 `toml:"shared"`
		Note   string   `toml:"note"`
	} `toml:"source"`
}

// ReadKnown reads what a person stated of sources: format fairpull.uncertainty/1
// (docs/budget.md).
func ReadKnown(file string) ([]KnownSource, error) {
	text, err := readBounded(file, maxKnownFile)
	if err != nil {
		return nil, err
	}
	list, err := parseKnown(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return list, nil
}

func parseKnown(text []byte) ([]KnownSource, error) {
	var t knownText
	if err := strictTOML(text, &t); err != nil {
		return nil, err
	}
	if t.Format != knownFormat {
		return nil, fmt.Errorf("its format is %.40q; write format = %q", t.Format, knownFormat)
	}
	if len(t.Source) == 0 || len(t.Source) > maxKnown {
		return nil, fmt.Errorf("it states %d sources; 1 to %d may stand in it, each under [[source]]", len(t.Source), maxKnown)
	}
	var out []KnownSource
	seen := map[string]bool{}
	for i, s := range t.Source {
		rule, ok := knownSources[s.What]
		if !ok {
			return nil, fmt.Errorf("source %d: what = %.40q is none of drum_inertia, bare_drum, brake, drum_speed, engine_speed, pressure, temperature, humidity, correction_exponent, other", i+1, s.What)
		}
		if seen[s.What] && s.What != sourceOther {
			return nil, fmt.Errorf("source %d: %s stands twice; add them up beforehand, or call one other", i+1, s.What)
		}
		seen[s.What] = true
		if (s.U == nil) == (s.Within == nil) {
			return nil, fmt.Errorf("source %d, %s: write u, the standard uncertainty, or within, the half-width of its limits", i+1, s.What)
		}
		scale, err := knownUnit(s.Unit, rule.percent, rule.dimension)
		if err != nil {
			return nil, fmt.Errorf("source %d, %s: %w", i+1, s.What, err)
		}
		k := KnownSource{What: s.What, DF: math.Inf(1), Flat: s.Flat, Note: s.Note}
		if s.DF != nil {
			k.DF = *s.DF
		}
		if k.Shared, err = sharedOf(s.Shared, rule.shared); err != nil {
			return nil, fmt.Errorf("source %d, %s: %w", i+1, s.What, err)
		}
		if k.Shape, k.U, err = shapeOf(s.Shape, s.U, s.Within, s.Flat); err != nil {
			return nil, fmt.Errorf("source %d, %s: %w", i+1, s.What, err)
		}
		k.U *= scale
		if !(k.DF > 0) || !(k.U > 0) || !(k.U < 1e6) || len(k.Note) > 300 {
			return nil, fmt.Errorf("source %d, %s: an uncertainty of %g with %g degrees of freedom and a note of %d characters cannot be", i+1, s.What, k.U, k.DF, len(k.Note))
		}
		if k.Shape == budget.Student && math.IsInf(k.DF, 1) {
			return nil, fmt.Errorf("source %d, %s: a t distribution takes degrees_of_freedom", i+1, s.What)
		}
		if rule.percent && k.U >= 1 {
			return nil, fmt.Errorf("source %d, %s: %g %% is as much as the whole", i+1, s.What, 100*k.U)
		}
		out = append(out, k)
	}
	return out, nil
}

// sharedOf returns how far the two sides share what is wrong.
func sharedOf(said, otherwise *float64) (float64, error) {
	if said == nil {
		said = otherwise
	}
	if said == nil {
		return 0, errors.New("write shared: 1 where the same sensor is wrong alike on both sides, 0 where not at all, between for a while")
	}
	if !(*said >= 0 && *said <= 1) {
		return 0, fmt.Errorf("shared = %g lies outside 0 to 1", *said)
	}
	return *said, nil
}

// knownUnit returns what a stated number is multiplied by.
func knownUnit(unit string, percent bool, d quantity.Dimension) (float64, error) {
	if percent {
		if unit != "%" {
			return 0, fmt.Errorf(`its unit is %.20q; write unit = "%%"`, unit)
		}
		return 0.01, nil
	}
	u, err := quantity.Lookup(unit)
	if err != nil {
		return 0, err
	}
	if u.Dimension != d {
		return 0, fmt.Errorf("%.20q is no unit of it", unit)
	}
	return u.SIDifference(1), nil
}

// shapeOf returns the distribution and its standard uncertainty.
func shapeOf(name string, u, within *float64, flat float64) (budget.Shape, float64, error) {
	if within == nil {
		switch name {
		case "", "normal":
			return budget.Normal, *u, nil
		case "t":
			return budget.Student, *u, nil
		}
		return 0, 0, fmt.Errorf("with u its distribution is normal or t, and %.20q is neither; write within for one with limits", name)
	}
	var in budget.Input
	switch name {
	case "", "rectangular":
		in = budget.Within("", 0, *within)
	case "triangular":
		in = budget.Triangle("", 0, *within)
	case "trapezoidal":
		if !(flat >= 0 && flat <= 1) {
			return 0, 0, fmt.Errorf("flat = %g lies outside 0 to 1", flat)
		}
		in = budget.Trapezoid("", 0, *within, flat)
	default:
		return 0, 0, fmt.Errorf("with within its distribution is rectangular, triangular or trapezoidal, and %.20q is none of them", name)
	}
	return in.Shape, in.U, nil
}
