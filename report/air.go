package report

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"

	"fairpull/correction"
	"fairpull/quantity"
)

// Air is a state of moist air and what every correction standard makes of it.
// Values are SI; one that the state does not have is NaN.
type Air struct {
	Pressure, Vapour, Saturation, Dry float64  // Pa
	Temperature, DewPoint             float64  // K
	RelativeHumidity                  float64  // fraction
	Density                           float64  // kg/m³
	DensityAltitude                   float64  // m, geopotential
	How                               []string // by which formula each was found
	Factors                           []AirFactor
	Site                              *AirSite // nil: the elevation is not known, or the pressure comes from it
}

// AirSite is the standard atmosphere at the place where the air was read.
type AirSite struct {
	Elevation float64 // m above sea level
	Standard  float64 // Pa, pressure of the standard atmosphere there
	Excess    float64 // Pa above it from which a reading looks reduced to sea level
}

// Warnings returns what in the readings cannot be trusted, a sentence each.
func (a *Air) Warnings(units quantity.System) []string {
	warnings := []string{}
	if s := a.Site; s != nil && a.Pressure-s.Standard > s.Excess {
		warnings = append(warnings, fmt.Sprintf("The station pressure is %s above the standard atmosphere at %s: it looks reduced to sea level. Read the barometer at the rig, or give the value as --altimeter.",
			a.pressure(a.Pressure-s.Standard, units), amountIn(s.Elevation, quantity.Length, units, 0)))
	}
	return warnings
}

// AirFactor is one standard's factor for this air.
type AirFactor struct {
	Standard correction.Standard
	Factor   float64
	Outside  []correction.OutsideRange
}

// Text writes the state of the air and the factors.
func (a *Air) Text(w io.Writer, units quantity.System) error {
	out := bufio.NewWriter(w)
	fmt.Fprintln(out, "Air")
	for _, row := range []struct {
		name, value string
	}{
		{"station pressure", a.pressure(a.Pressure, units)},
		{"temperature", amountIn(a.Temperature, quantity.Temperature, units, 1)},
		{"relative humidity", fixed(100*a.RelativeHumidity, 1) + " %"},
		{"dew point", amountIn(a.DewPoint, quantity.Temperature, units, 1)},
		{"saturation pressure", a.pressure(a.Saturation, units)},
		{"vapour pressure", a.pressure(a.Vapour, units)},
		{"dry pressure", a.pressure(a.Dry, units)},
		{"density", amountIn(a.Density, quantity.Density, units, 4)},
		{"density altitude", amountIn(a.DensityAltitude, quantity.Length, units, 0)},
	} {
		fmt.Fprintf(out, "  %-20s %s\n", row.name, row.value)
	}
	if s := a.Site; s != nil {
		fmt.Fprintf(out, "  %-20s %s at %s\n", "standard atmosphere", a.pressure(s.Standard, units), amountIn(s.Elevation, quantity.Length, units, 0))
	}
	for _, warning := range a.Warnings(units) {
		fmt.Fprintf(out, "  ! %s\n", warning)
	}
	for _, how := range a.How {
		fmt.Fprintf(out, "  %s\n", how)
	}
	fmt.Fprintln(out, "\nWhat a figure measured in this air is multiplied with")
	for _, f := range a.Factors {
		f.text(out, units)
	}
	fmt.Fprintln(out, "\nThe factors are for spark-ignition engines without supercharging at full throttle. They are as exact as the readings:")
	fmt.Fprintln(out, "1 hPa of pressure moves a factor by about 0.1 %, 1 °C by about 0.2 %.")
	return out.Flush()
}

func (a *Air) pressure(pascal float64, units quantity.System) string {
	places := 3
	if units == quantity.SI {
		places = 2
	}
	return amountIn(pascal, quantity.Pressure, units, places)
}

func (f *AirFactor) text(w io.Writer, units quantity.System) {
	s := f.Standard
	if !s.Corrects() {
		fmt.Fprintf(w, "  %-10s %s  no correction\n", s.Name, fixed(f.Factor, 4))
		return
	}
	fmt.Fprintf(w, "  %-10s %s  %s\n", s.Name, fixed(f.Factor, 4), s.Title)
	fmt.Fprintf(w, "    form       %s\n", s.Formula)
	fmt.Fprintf(w, "    reference  %s %s, %s\n", amountIn(float64(s.Pressure), quantity.Pressure, units, 2), s.Basis, amountIn(float64(s.Temperature), quantity.Temperature, units, 1))
	fmt.Fprintf(w, "    accepts    factor %s to %s, intake air %s to %s: %s\n", fixed(s.FactorLimit.Min, 2), fixed(s.FactorLimit.Max, 2),
		amountIn(s.TemperatureLimit.Min, quantity.Temperature, units, 0), amountIn(s.TemperatureLimit.Max, quantity.Temperature, units, 0), s.FactorLimit.Source)
	for _, o := range f.Outside {
		fmt.Fprintf(w, "    ! outside  %s\n", o)
	}
	fmt.Fprintf(w, "    source     %s\n", s.Source)
}

// JSON form of the air, fairpull.air/1.
type (
	airJSON struct {
		Format           string       `json:"format"`
		Pressure         amount       `json:"pressure_pa"`
		Temperature      amount       `json:"temperature_k"`
		RelativeHumidity amount       `json:"relative_humidity"`
		DewPoint         amount       `json:"dew_point_k"`
		Saturation       amount       `json:"saturation_pressure_pa"`
		Vapour           amount       `json:"vapour_pressure_pa"`
		Dry              amount       `json:"dry_pressure_pa"`
		Density          amount       `json:"density_kg_m3"`
		DensityAltitude  amount       `json:"density_altitude_m"`
		Elevation        amount       `json:"elevation_m"`
		Standard         amount       `json:"standard_atmosphere_pa"`
		Warnings         []string     `json:"warnings"`
		How              []string     `json:"formulas"`
		Factors          []factorJSON `json:"corrections"`
	}
	factorJSON struct {
		Standard    string     `json:"standard"`
		Title       string     `json:"title"`
		Factor      amount     `json:"factor"`
		Formula     string     `json:"form,omitempty"`
		Basis       string     `json:"pressure_basis,omitempty"`
		Pressure    amount     `json:"reference_pressure_pa"`
		Temperature amount     `json:"reference_temperature_k"`
		Accepts     *limitJSON `json:"accepted_factor"`
		AcceptsT    *limitJSON `json:"accepted_temperature_k"`
		Outside     []string   `json:"outside"`
		Source      string     `json:"source,omitempty"`
		Note        string     `json:"note,omitempty"`
	}
	limitJSON struct {
		Min      amount `json:"min"`
		Max      amount `json:"max"`
		Obtained string `json:"obtained"`
		Source   string `json:"source"`
	}
)

// JSON returns the air as one fairpull.air/1 object, SI and unrounded.
func (a *Air) JSON() ([]byte, error) {
	out := airJSON{
		Format: "fairpull.air/1", Pressure: amount(a.Pressure), Temperature: amount(a.Temperature),
		RelativeHumidity: amount(a.RelativeHumidity), DewPoint: amount(a.DewPoint), Saturation: amount(a.Saturation),
		Vapour: amount(a.Vapour), Dry: amount(a.Dry), Density: amount(a.Density), DensityAltitude: amount(a.DensityAltitude),
		Elevation: null, Standard: null, Warnings: a.Warnings(quantity.SI),
		How: a.How, Factors: []factorJSON{},
	}
	if s := a.Site; s != nil {
		out.Elevation, out.Standard = amount(s.Elevation), amount(s.Standard)
	}
	for _, f := range a.Factors {
		out.Factors = append(out.Factors, f.json())
	}
	data, err := json.MarshalIndent(out, "", " ")
	return append(data, '\n'), err
}

func (f *AirFactor) json() factorJSON {
	s := f.Standard
	out := factorJSON{Standard: s.Name, Title: s.Title, Factor: amount(f.Factor), Pressure: null, Temperature: null, Outside: []string{}, Source: s.Source, Note: s.Note}
	if !s.Corrects() {
		return out
	}
	out.Formula, out.Basis = s.Formula, string(s.Basis)
	out.Pressure, out.Temperature = amount(s.Pressure), amount(s.Temperature)
	out.Accepts, out.AcceptsT = limitOf(s.FactorLimit), limitOf(s.TemperatureLimit)
	for _, o := range f.Outside {
		out.Outside = append(out.Outside, o.String())
	}
	return out
}

func limitOf(l correction.Limit) *limitJSON {
	if l == (correction.Limit{}) {
		return nil
	}
	return &limitJSON{amount(l.Min), amount(l.Max), string(l.Obtained), l.Source}
}
