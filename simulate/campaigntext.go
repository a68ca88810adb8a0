package simulate

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// tomlText collects lines of campaign.toml.
type tomlText struct{ strings.Builder }

func (t *tomlText) table(name string) { fmt.Fprintf(t, "\n[%s]\n", name) }

func (t *tomlText) text(key, value string) {
	if value != "" {
		fmt.Fprintf(t, "%s = %s\n", key, quoted(value))
	}
}

func (t *tomlText) number(key string, value float64) {
	fmt.Fprintf(t, "%s = %s\n", key, shortest(value))
}

// stated writes the key unless value is zero: not stated.
func (t *tomlText) stated(key string, value float64) {
	if value != 0 {
		t.number(key, value)
	}
}

// shortest writes a number with the fewest digits that read back as it.
func shortest(value float64) string { return strconv.FormatFloat(value, 'f', -1, 64) }

// percent and others scale a value for text and drop what the scaling left of
// binary noise, so that 0.007 is written as 0.7 per cent.
func scaled(value, factor float64) float64 {
	clean, _ := strconv.ParseFloat(strconv.FormatFloat(value*factor, 'g', 12, 64), 64)
	return clean
}

// quoted returns a TOML basic string. Validate has refused control characters.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// campaignTOML returns campaign.toml.
func (s *Scenario) campaignTOML() []byte {
	t := &tomlText{}
	t.text("format", "fairpull.campaign/1")
	t.text("id", s.ID)
	t.text("title", s.Title)
	t.text("purpose", s.Purpose)

	t.table("objective")
	fmt.Fprintf(t, "band_rpm = [%s, %s]\n", shortest(s.Objective.BandRPM[0]), shortest(s.Objective.BandRPM[1]))
	t.stated("smallest_gain_of_interest_pct", scaled(s.Objective.SmallestGain, 100))
	t.number("confidence", s.Objective.Confidence)
	t.text("primary", s.Objective.Primary)
	drift := "any"
	if s.Objective.DriftLinear {
		drift = "linear"
	}
	t.text("drift", drift)

	s.writeVehicle(t)
	s.writeDyno(t)
	t.table("correction")
	t.text("standard", s.Correction)
	for i := range s.Configurations {
		s.writeConfiguration(t, i)
	}
	s.writeProcedure(t)
	if s.History != nil {
		s.History.write(t)
	}
	return []byte(t.String())
}

func (s *Scenario) writeVehicle(t *tomlText) {
	v := &s.Vehicle
	t.table("vehicle")
	t.text("id", v.ID)
	t.text("description", v.Description)
	t.stated("mass_with_rider_kg", float64(v.MassWithRider))
	if v.TestGear != 0 {
		fmt.Fprintf(t, "test_gear = %d\n", v.TestGear)
	}
	if v.StateRatio {
		t.number("engine_revs_per_drum_rev", v.RevsPerDrumRev)
	}
	if v.StateWheel {
		t.number("driven_wheel_inertia_kgm2", float64(v.WheelInertia))
		t.number("driven_wheel_radius_m", float64(v.WheelRadius))
	}
	t.text("tyre_speed_symbol", v.TyreSpeedSymbol)
}

func (s *Scenario) writeDyno(t *tomlText) {
	d := &s.Dyno
	t.table("dyno")
	t.text("id", d.ID)
	t.number("drum_inertia_kgm2", float64(cmp.Or(d.InertiaStated, d.Inertia)))
	t.stated("drum_inertia_u_kgm2", float64(d.InertiaU))
	t.number("drum_radius_m", float64(d.Radius))
	if s.Logger.Kind == PulseLog {
		fmt.Fprintf(t, "pulses_per_rev = %d\n", s.Logger.Pulses.PerRev)
		t.stated("engine_pulses_per_rev", s.Logger.Pulses.EnginePerRev)
	}
	fmt.Fprintf(t, "parasitic_torque_nm = [%s, %s, %s]\n", shortest(d.Parasitic[0]), shortest(d.Parasitic[1]), shortest(d.Parasitic[2]))
	t.number("site_elevation_m", float64(d.SiteElevation))
}

func (s *Scenario) writeConfiguration(t *tomlText, i int) {
	c := &s.Configurations[i]
	role := "candidate"
	if i == 0 {
		role = "baseline"
	}
	t.WriteString("\n[[configuration]]\n")
	t.text("id", c.ID)
	t.text("role", role)
	t.text("name", c.Name)
	t.stated("driven_wheel_inertia_kgm2", float64(c.WheelInertia))
	t.stated("driven_wheel_radius_m", float64(c.WheelRadius))
	t.stated("engine_revs_per_drum_rev", c.RevsPerDrumRev)
	t.WriteString("components = [\n")
	for _, part := range c.Components {
		fmt.Fprintf(t, "  { function = %s, part = %s", quoted(part.Function), quoted(part.Part))
		if part.Serial != "" {
			fmt.Fprintf(t, ", serial = %s", quoted(part.Serial))
		}
		if part.Batch != "" {
			fmt.Fprintf(t, ", batch = %s", quoted(part.Batch))
		}
		t.WriteString(" },\n")
	}
	t.WriteString("]\n")
	if len(c.Settings) > 0 {
		pairs := make([]string, len(c.Settings))
		for j, setting := range c.Settings {
			pairs[j] = setting.Key + " = " + quoted(setting.Value)
		}
		fmt.Fprintf(t, "settings = { %s }\n", strings.Join(pairs, ", "))
	}
}

func (s *Scenario) writeProcedure(t *tomlText) {
	t.table("procedure")
	point := func(key string, target, tolerance float64) {
		fmt.Fprintf(t, "%s = { target = %s, tolerance = %s }\n", key, shortest(target), shortest(tolerance))
	}
	point("tyre_pressure_kpa", scaled(float64(s.Vehicle.TyrePressure), 1e-3), scaled(float64(s.Procedure.TyreTolerance), 1e-3))
	point("oil_temp_degc", scaled(float64(s.Procedure.OilTemperature)-zeroCelsius, 1), scaled(float64(s.Procedure.OilTolerance), 1))
}

func (h *History) write(t *tomlText) {
	t.table("history")
	for _, pair := range []struct {
		level  string
		sd, df float64
	}{{"setup", h.SetupSD, h.SetupDF}, {"block", h.BlockSD, h.BlockDF}, {"pull", h.PullSD, h.PullDF}} {
		if pair.df != 0 {
			t.number(pair.level+"_sd_pct", scaled(pair.sd, 100))
			t.number(pair.level+"_df", pair.df)
		}
	}
	fmt.Fprintf(t, "assumed = %t\n", h.Assumed)
}

// pullsCSV returns pulls.csv.
func (s *Scenario) pullsCSV(pulls []plannedPull) []byte {
	var text bytes.Buffer
	w := csv.NewWriter(&text)
	rows := [][]string{{
		"pull", "started", "configuration", "setup", "log",
		"pressure_kpa", "temperature_degc", "relative_humidity_pct", "tyre_pressure_kpa", "oil_temp_degc",
	}}
	fixed := func(value float64, places int) string { return string(appendFixed(nil, value, places)) }
	for i := range pulls {
		p := &pulls[i]
		rows = append(rows, []string{
			p.name, p.started.Format(time.RFC3339), s.Configurations[p.written].ID, p.setup, p.logName(),
			fixed(float64(p.typed.pressure)/1000, 3), fixed(float64(p.typed.temperature)-zeroCelsius, 2),
			fixed(p.typed.humidity*100, 1), fixed(float64(p.tyreWritten)/1000, 1), fixed(float64(p.oil)-zeroCelsius, 1),
		})
	}
	w.WriteAll(rows) // a bytes.Buffer does not fail
	return text.Bytes()
}

// logName is the path of a pull's log below the folder.
func (p *plannedPull) logName() string { return fmt.Sprintf("logs/pull-%03d.csv", p.index+1) }
