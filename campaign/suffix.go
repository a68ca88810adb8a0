package campaign

import "strings"

// suffixes are the unit endings of names in the campaign folder, after the
// manner of pressure_kpa, each with the spelling that package quantity knows.
// Endings that are also words or initials (min, g, v, k) are left out: warm_min
// may be a minimum.
var suffixes = []struct{ ending, unit string }{
	{"_kpa", "kPa"}, {"_hpa", "hPa"}, {"_mbar", "mbar"}, {"_bar", "bar"}, {"_psi", "psi"},
	{"_inhg", "inHg"}, {"_mmhg", "mmHg"}, {"_pa", "Pa"},
	{"_degc", "degC"}, {"_degf", "degF"},
	{"_pct", "%"},
	{"_rpm", "rpm"}, {"_rad_s", "rad/s"},
	{"_kmh", "km/h"}, {"_mph", "mph"},
	{"_nm", "N·m"}, {"_lbft", "lbf·ft"}, {"_n", "N"},
	{"_kw", "kW"}, {"_hp", "hp"},
	{"_s", "s"}, {"_ms", "ms"}, {"_us", "us"},
	{"_kgm2", "kg·m²"}, {"_kg", "kg"},
	{"_mm", "mm"}, {"_m", "m"},
}

// SplitUnit splits a name such as oil_temp_degc into the quantity that it names
// (oil_temp) and the unit's spelling (degC). A name without a known unit ending
// comes back whole, with an empty unit.
func SplitUnit(name string) (base, unit string) {
	for _, suffix := range suffixes {
		if base, found := strings.CutSuffix(name, suffix.ending); found && base != "" {
			return base, suffix.unit
		}
	}
	return name, ""
}

// Channel returns the name of the log channel that a set point's key matches
// besides its own: the key without its unit ending.
func (s SetPoint) Channel() string {
	base, _ := SplitUnit(s.Key)
	return base
}

// Unit returns the spelling of the unit that a set point's key names, or ""
// where the key names none: the value is then a bare number.
func (s SetPoint) Unit() string {
	_, unit := SplitUnit(s.Key)
	return unit
}
