// Package correction holds the power-correction standards: reference state,
// factor, accepted range. Each is data with its form and its source.
//
// They are for figures of spark-ignition engines, naturally aspirated, at full
// throttle.
package correction

import (
	"fmt"
	"math"
	"strings"

	"fairpull/air"
	"fairpull/quantity"
)

// Basis says which pressure a standard's formula takes.
type Basis string

// The bases.
const (
	Dry   Basis = "dry"   // station pressure less vapour pressure
	Total Basis = "total" // station pressure
)

// Obtained says how a figure of a standard came to be known here. No screen may
// present a figure from memory as what a standard says.
type Obtained string

// The ways.
const (
	Read       Obtained = "read"        // seen in the document or a faithful copy of it
	FromMemory Obtained = "from memory" // recalled, not verified
)

// Limit is a range within which a standard, or this program by default, accepts
// a figure. The zero value sets no limit.
type Limit struct {
	Min, Max float64 // SI
	Obtained Obtained
	Source   string
}

// Standard is one power-correction standard. Its factor is
//
//	CF = 1 + Slope·(x − 1),  x = (p0/p)^a · (θ/θ0)^b
//
// with p the dry or total pressure and θ the temperature counted from the zero
// that the standard's own formula uses. The zero value is no standard.
type Standard struct {
	Name    string // as a person writes it: "SAE J1349"
	Title   string // in full, with the form used here
	Formula string // with its own symbols and units
	Basis   Basis
	Source  string
	Note    string // what to know before comparing with other figures; may be empty

	Pressure    quantity.Pascal // reference pressure, on Basis
	Temperature quantity.Kelvin // reference temperature

	PressureExponent    float64 // a
	TemperatureExponent float64 // b
	Slope               float64 // 1 where no share is left uncorrected for friction
	// Zero is what the formula adds to a temperature in °C to count it from
	// absolute zero: 273 in most, for 273.15.
	Zero float64

	FactorLimit      Limit // of the factor
	TemperatureLimit Limit // of the intake temperature, K
	PressureLimit    Limit // of the pressure on Basis, Pa
}

// None is the name of the standard that corrects nothing.
const None = "none"

// All returns the standards, in the order in which they are shown.
func All() []Standard {
	return []Standard{saeJ1349(), iso1585(), din70020(), saeJ607(), none()}
}

// ByName returns the standard of that name. Case, blanks, hyphens and underscores
// do not count. Any other name is an *UnknownStandardError.
func ByName(name string) (Standard, error) {
	key := squeeze(name)
	var known []string
	for _, s := range All() {
		if squeeze(s.Name) == key {
			return s, nil
		}
		known = append(known, s.Name)
	}
	return Standard{}, &UnknownStandardError{Name: name, Known: known}
}

func squeeze(name string) string {
	return strings.ToLower(strings.NewReplacer(" ", "", "-", "", "_", "").Replace(name))
}

// UnknownStandardError says that no standard has this name.
type UnknownStandardError struct {
	Name  string
	Known []string
}

func (e *UnknownStandardError) Error() string {
	return fmt.Sprintf("correction standard %.40q is not known: write one of %s", e.Name, strings.Join(e.Known, ", "))
}

// Corrects reports whether the standard corrects at all: false for None.
func (s Standard) Corrects() bool { return s.PressureExponent != 0 || s.TemperatureExponent != 0 }

// Factor returns what a figure measured in air of state st is multiplied with.
// It refuses what st.Check refuses, and the zero Standard. None asks for no air:
// its factor is 1 in any state, the zero state included.
func (s Standard) Factor(st air.State) (float64, error) {
	if s.Name == "" {
		return 0, &UnknownStandardError{Name: s.Name, Known: []string{"a standard of this package"}}
	}
	if !s.Corrects() {
		return 1, nil
	}
	if err := st.Check(); err != nil {
		return 0, err
	}
	return 1 + s.Slope*(s.ratio(st)-1), nil
}

// ratio returns x of the formula.
func (s Standard) ratio(st air.State) float64 {
	return math.Pow(float64(s.Pressure/s.pressure(st)), s.PressureExponent) *
		math.Pow(s.counted(st.Temperature)/s.counted(s.Temperature), s.TemperatureExponent)
}

// pressure returns the pressure of st that the formula takes.
func (s Standard) pressure(st air.State) quantity.Pascal {
	if s.Basis == Dry {
		return st.Dry()
	}
	return st.Pressure
}

// counted returns t from the formula's own absolute zero.
func (s Standard) counted(t quantity.Kelvin) float64 { return t.Celsius() + s.Zero }

// Elasticity is how many per cent a factor changes for one per cent of an input,
// the others held: d ln CF/d ln of station pressure, temperature in K, vapour
// pressure.
type Elasticity struct{ Pressure, Temperature, Vapour float64 }

// Elasticity returns the elasticities of the factor at state st, under the rules
// of Factor. They turn the standard uncertainty of a reading of the air into
// that of the factor.
func (s Standard) Elasticity(st air.State) (Elasticity, error) {
	factor, err := s.Factor(st)
	if err != nil || !s.Corrects() {
		return Elasticity{}, err
	}
	share := s.Slope * s.ratio(st) / factor
	e := Elasticity{
		Pressure:    -s.PressureExponent * share * float64(st.Pressure/s.pressure(st)),
		Temperature: s.TemperatureExponent * share * float64(st.Temperature) / s.counted(st.Temperature),
	}
	if s.Basis == Dry {
		e.Vapour = s.PressureExponent * share * float64(st.Vapour/st.Dry())
	}
	return e, nil
}
