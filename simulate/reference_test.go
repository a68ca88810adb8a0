package simulate

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"fairpull/quantity"
)

// row is one published or computed check value of testdata/standards.json; its
// source stands in the row.
type row struct {
	Quantity  string             `json:"quantity"`
	Inputs    map[string]any     `json:"inputs"`
	Expected  any                `json:"expected"`
	Tolerance map[string]float64 `json:"tolerance"`
	Source    string             `json:"source"`
	Obtained  string             `json:"obtained"`
}

func (r row) input(name string) float64 { return r.Inputs[name].(float64) }

// expected returns the named expected value, or the only one.
func (r row) expected(name string) float64 {
	if value, single := r.Expected.(float64); single {
		return value
	}
	return r.Expected.(map[string]any)[name].(float64)
}

// rows returns the rows whose quantity begins with prefix.
func rows(t *testing.T, prefix string) []row {
	t.Helper()
	data, err := os.ReadFile("testdata/standards.json")
	if err != nil {
		t.Fatal(err)
	}
	var all, found []row
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	for _, r := range all {
		if strings.HasPrefix(r.Quantity, prefix) {
			found = append(found, r)
		}
	}
	if len(found) == 0 {
		t.Fatalf("no row begins with %q", prefix)
	}
	return found
}

// near fails unless got is within tolerance of want; NaN fails.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g ± %.2g", what, got, want, tolerance)
	}
}

// The factors are held against values computed from the standards' formulas.
// Their rows print °C as T − 273, as the standards do.
func TestAirLaws(t *testing.T) {
	for _, set := range []struct {
		prefix, law, pressure string
		zero, scale           float64 // of temperature; Pa per unit of pressure
	}{
		{"J1349 (1990", "SAE J1349", "pd_hPa", 273, 100},
		{"ISO 1585", "ISO 1585", "ps_dry_kPa", 273, 1000},
		{"DIN 70020", "DIN 70020", "p_hPa", 273, 100},
		{"J607", "SAE J607", "pd_hPa", zeroCelsius, 100},
	} {
		law, known := lawNamed(set.law)
		if !known {
			t.Fatalf("no law %s", set.law)
		}
		for _, r := range rows(t, set.prefix) {
			a := atmosphere{
				pressure:    quantity.Pascal(r.input(set.pressure) * set.scale),
				temperature: quantity.Kelvin(r.input("t_C") + set.zero),
			}
			near(t, set.law+" ("+r.Source+")", law.factor(a), r.expected(""), r.Tolerance["abs"])
		}
		near(t, set.law+" at its reference state", law.factor(law.reference), 1, 1e-12)
	}
}

// From station pressure, temperature and humidity to vapour pressure and all
// factors; the vapour formula is the CIPM one, as the rows say.
func TestAirLawsFromHumidity(t *testing.T) {
	for _, r := range rows(t, "end to end: station pressure") {
		celsius := r.input("t_C")
		a := atmosphere{
			pressure:    quantity.Pascal(r.input("p_station_hPa") * 100),
			temperature: quantity.Kelvin(celsius + zeroCelsius), humidity: r.input("RH"),
		}
		near(t, "vapour pressure, "+r.Source, float64(a.pressure-a.dry())/100, r.expected("pv_hPa"), 1e-4)
		dry := atmosphere{pressure: a.dry(), temperature: quantity.Kelvin(celsius + 273)}
		for name, key := range map[string]string{"SAE J1349": "J1349_1990", "ISO 1585": "ISO1585"} {
			law, _ := lawNamed(name)
			near(t, name, law.factor(dry), r.expected(key), r.Tolerance["abs"])
		}
		j607, _ := lawNamed("SAE J607")
		near(t, "SAE J607", j607.factor(a), r.expected("J607"), r.Tolerance["abs"])
		din, _ := lawNamed("DIN 70020")
		total := atmosphere{pressure: a.pressure, temperature: quantity.Kelvin(celsius + 273)}
		near(t, "DIN 70020", din.factor(total), r.expected("DIN70020_total_p"), r.Tolerance["abs"])
	}
}

// A barometer at a height in the standard atmosphere, set to sea level, reads
// 1013.25 hPa: U.S. Standard Atmosphere 1976.
func TestSeaLevel(t *testing.T) {
	for _, r := range rows(t, "US Standard Atmosphere 1976") {
		got := seaLevel(quantity.Pascal(r.expected("as_geopotential_H")), quantity.Metre(r.input("h_m")))
		near(t, "sea-level pressure", float64(got), 101_325, 1)
	}
}

// The printed times from 70 to 60 km/h of 40 CFR 86.529-98, figure F98-9,
// reproduced by the integration with the row's mass and force. The row at 160 kg
// is a misprint (see the tolerance that it carries).
func TestCoastDownTimesOfF989(t *testing.T) {
	const radius = 0.25 // any: the times do not depend on it
	table := rows(t, "40 CFR 86.529-98")
	if len(table) != 53 {
		t.Fatalf("%d rows, want 53", len(table))
	}
	for _, r := range table {
		mass, a, c := r.expected("mi_kg"), r.expected("A_N"), r.expected("C_N_per_kmh2")
		m := coasting(mass, a, c, radius)
		got := m.timeBetween(70/3.6/radius, 60/3.6/radius)
		near(t, "40 CFR 86.529-98 F98-9, "+jsonText(r.Inputs), got, r.expected("t70_60_s"), r.Tolerance["t70_60_s"])
	}
}

// Coast-down times over long stretches, from the arctangent in closed form.
func TestCoastDownTimes(t *testing.T) {
	const radius = 0.3
	for _, r := range rows(t, "coast-down time closed form") {
		m := coasting(r.input("m_kg"), r.input("A_N"), r.input("C_N_per_kmh2"), radius)
		got := m.timeBetween(r.input("v1_kmh")/3.6/radius, r.input("v2_kmh")/3.6/radius)
		near(t, "coast-down time", got, r.expected(""), r.Tolerance["abs"])
	}
}

// coasting returns a drum with the inertia of a mass at its surface and the
// loss of a force A + C·v², v in km/h.
func coasting(mass, a, c, radius float64) *machine {
	return &machine{drum: mass * radius * radius, loss: [3]float64{a * radius, 0, c * 3.6 * 3.6 * radius * radius * radius}}
}

// timeBetween coasts from one drum speed to another and returns the time, s.
func (m *machine) timeBetween(from, to float64) float64 {
	s := m.coast(opening{}, 0, state{omega: from}, 1000, 0)
	for i := 1; i < len(s.knots); i++ {
		a, b := &s.knots[i-1], &s.knots[i]
		if b.omega > to {
			continue
		}
		low, high := a.t, b.t
		for range 50 {
			middle := (low + high) / 2
			if between(a, b, middle).omega > to {
				low = middle
			} else {
				high = middle
			}
		}
		return high
	}
	return math.NaN()
}

// The deceleration method of UN R117, annex 6, gives the force that slows drum
// and wheel; with that force the simulated drum slows at the row's rate.
func TestWheelInertiaAtTheDrum(t *testing.T) {
	for _, r := range rows(t, "deceleration method with wheel inertia") {
		s := Default()
		s.Dyno.Inertia, s.Dyno.Radius = quantity.KilogramSquareMetre(r.input("ID")), quantity.Metre(r.input("R"))
		s.Vehicle.WheelInertia, s.Vehicle.WheelRadius = quantity.KilogramSquareMetre(r.input("IT")), quantity.Metre(r.input("Rr"))
		s.Dyno.Parasitic = [3]float64{r.input("Fpl") * r.input("R"), 0, 0}
		s.Vehicle.Loss = [3]float64{r.expected("") * r.input("R"), 0, 0}
		got := -s.machine(s.nominal(0)).coasting(50)
		near(t, "deceleration ("+r.Source+")", got, r.input("dwdt"), 1e-5)
	}
}

// The loss follows the tyre pressure as SAE J2452 has it; the exponent −0.4 is
// from memory, as the row says.
func TestTyrePressureLoss(t *testing.T) {
	for _, r := range rows(t, "J2452 form") {
		s := Default()
		s.Vehicle.TyrePressure = quantity.Pascal(r.input("P1_kPa") * 1000)
		s.Vehicle.PressureExponent = r.input("alpha")
		at := s.nominal(0)
		soft := s.machine(at).loss
		at.tyre = quantity.Pascal(r.input("P2_kPa") * 1000)
		hard := s.machine(at).loss
		for i := range soft {
			near(t, "loss ratio ("+r.Source+")", hard[i]/soft[i], r.expected(""), r.Tolerance["abs"])
		}
	}
}

func jsonText(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(text)
}
