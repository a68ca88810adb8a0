package report

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Calibrations are those of one dyno, oldest first.
type Calibrations struct {
	Dyno string
	Rows []CalibrationRow
}

// CalibrationRow is a calibration as it is kept: SI, 0 is not measured; U is the
// standard uncertainty, 0: not stated.
type CalibrationRow struct {
	From                  time.Time
	Inertia, InertiaU     float64
	Arm, ArmU             float64
	HasParasitic          bool
	Parasitic, ParasiticU [3]float64
	Sensors               []SensorNote
	Note                  string
	Pulls                 int      // that it applies to
	Affected              []string // campaigns whose kept results rest on other values
}

// Text writes the calibrations for a terminal, times by the clock of the place
// loc.
func (c *Calibrations) Text(w io.Writer, loc *time.Location) error {
	out := bufio.NewWriter(w)
	if len(c.Rows) == 0 {
		fmt.Fprintf(out, "Dyno %s has no calibration: pulls are reduced with what each campaign states.\nTo enter one: fairpull calibration %s --from 2026-01-10 --inertia 41.95 --u-inertia 0.2\n", clean(c.Dyno), clean(c.Dyno))
		return out.Flush()
	}
	fmt.Fprintf(out, "Calibrations of dyno %s; ± is the standard uncertainty\n", clean(c.Dyno))
	for i := range c.Rows {
		r := &c.Rows[i]
		fmt.Fprintf(out, "\nfrom %s, for %s\n", r.From.In(loc).Format(time.RFC3339), plural(r.Pulls, "pull"))
		for _, row := range r.words() {
			fmt.Fprintf(out, "  %-17s %s\n", row[0], row[1])
		}
		if len(r.Affected) > 0 {
			fmt.Fprintf(out, "  Results kept before on other values, not altered: %s. To judge again: fairpull judge %s\n",
				strings.Join(few(cleanAll(r.Affected)), ", "), clean(r.Affected[0]))
		}
	}
	return out.Flush()
}

func cleanAll(names []string) []string {
	out := make([]string, len(names))
	for i := range names {
		out[i] = clean(names[i])
	}
	return out
}

// words lists what a calibration states, as pairs of name and value.
func (r *CalibrationRow) words() [][2]string {
	var rows [][2]string
	if r.Inertia > 0 {
		rows = append(rows, [2]string{"drum inertia", withU(r.Inertia, r.InertiaU) + " kg·m²"})
	}
	if r.Arm > 0 {
		rows = append(rows, [2]string{"brake arm", withU(r.Arm, r.ArmU) + " m"})
	}
	if r.HasParasitic {
		var terms []string
		for i, c := range r.Parasitic {
			terms = append(terms, withU(c, r.ParasiticU[i])+[]string{"", "·ω", "·ω²"}[i])
		}
		rows = append(rows, [2]string{"bare drum torque", strings.Join(terms, " + ") + " N·m, ω in rad/s"})
	}
	for i := range r.Sensors {
		n := &r.Sensors[i]
		rows = append(rows, [2]string{n.Name, strings.TrimPrefix(n.words(), n.Name+" ")})
	}
	if note := cleanTo(r.Note, 400); note != "" {
		rows = append(rows, [2]string{"note", note})
	}
	return rows
}

func withU(v, u float64) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if u > 0 {
		s += " ± " + strconv.FormatFloat(u, 'f', -1, 64)
	}
	return typographic(s)
}

// JSON returns the calibrations as one fairpull.calibrations/1 object.
func (c *Calibrations) JSON() ([]byte, error) {
	type sensor struct {
		Name   string  `json:"name"`
		Unit   string  `json:"unit"` // of offset and standard uncertainty
		Offset float64 `json:"offset"`
		Slope  float64 `json:"slope"`
		U      float64 `json:"standard_uncertainty"`
	}
	type row struct {
		From       string      `json:"valid_from"`
		Inertia    amount      `json:"drum_inertia_kgm2"`
		InertiaU   amount      `json:"drum_inertia_u_kgm2"`
		Arm        amount      `json:"brake_arm_m"`
		ArmU       amount      `json:"brake_arm_u_m"`
		Parasitic  *[3]float64 `json:"parasitic_torque_nm"`
		ParasiticU *[3]float64 `json:"parasitic_torque_u_nm"`
		Sensors    []sensor    `json:"speeds_and_sensors,omitempty"`
		Note       string      `json:"note"`
		Pulls      int         `json:"pulls"`
		Affected   []string    `json:"results_on_other_values"`
	}
	rows := []row{}
	orNull := func(v float64) amount {
		if v == 0 {
			return null
		}
		return amount(v)
	}
	for i := range c.Rows {
		r := &c.Rows[i]
		out := row{
			From: moment(r.From), Inertia: orNull(r.Inertia), InertiaU: orNull(r.InertiaU), Arm: orNull(r.Arm), ArmU: orNull(r.ArmU),
			Note: r.Note, Pulls: r.Pulls, Affected: append([]string{}, r.Affected...),
		}
		for _, n := range r.Sensors {
			out.Sensors = append(out.Sensors, sensor{n.Name, n.Unit, n.Offset, n.Slope, n.U})
		}
		if r.HasParasitic {
			out.Parasitic, out.ParasiticU = &r.Parasitic, &r.ParasiticU
		}
		rows = append(rows, out)
	}
	data, err := json.MarshalIndent(struct {
		Format       string `json:"format"`
		Dyno         string `json:"dyno"`
		Calibrations []row  `json:"calibrations"`
	}{"fairpull.calibrations/1", c.Dyno, rows}, "", "  ")
	return append(data, '\n'), err
}
