package report

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"

	"fairpull/quantity"
	"fairpull/reduce"
)

// Reduction is one reduced pull as a person looks at it: wheel figures, not
// corrected for the air.
type Reduction struct {
	Pull          string // empty for a log on its own
	Log           string
	Configuration string
	Excluded      string         // the reason; empty: used
	Problem       string         // why Result is nil
	Result        *reduce.Result // nil: an excluded pull that could not be reduced
	HalfWidthRPM  float64        // of the fitting window; 0: nothing was fitted
	Radius        float64        // of the drum, m; 0: not stated
	Steady        bool           // the log holds steady points: the curve has one node a held speed
	LeftOut       []string       // columns of the log that were not read, with the reason
}

// Reductions are the pulls of one folder, or one log.
type Reductions struct {
	Campaign string // empty for a log on its own
	Pulls    []Reduction
}

// ReductionOptions change the text of reductions.
type ReductionOptions struct {
	Units   quantity.System
	EachRPM float64 // distance of the lines of the curve's table; 0: 250
}

// Text writes what was found in each pull: phases, ratio and slip, coast-down,
// curve with its standard errors, findings.
func (r *Reductions) Text(w io.Writer, o ReductionOptions) error {
	if o.EachRPM == 0 {
		o.EachRPM = 250
	}
	out := bufio.NewWriter(w)
	for i := range r.Pulls {
		if i > 0 {
			fmt.Fprintln(out)
		}
		r.Pulls[i].text(out, o)
	}
	return out.Flush()
}

func (r *Reduction) text(w io.Writer, o ReductionOptions) {
	title := clean(r.Log)
	if r.Pull != "" {
		title = "Pull " + clean(r.Pull) + " (" + clean(r.Configuration) + "), " + title
	}
	fmt.Fprintln(w, title)
	if r.Excluded != "" {
		fmt.Fprintf(w, "  excluded: %s\n", clean(r.Excluded))
	}
	if r.Result == nil {
		fmt.Fprintf(w, "  not reduced: %s\n", cleanTo(r.Problem, 400))
		return
	}
	r.phasesText(w)
	r.coastText(w, o.Units)
	r.curveText(w, o)
	r.findingsText(w)
}

func (r *Reduction) phasesText(w io.Writer) {
	res := r.Result
	p := res.Phases
	if r.Steady {
		fmt.Fprintln(w, "  steady log    held speeds and no pull: see how they were held with fairpull steady")
		return
	}
	if r.HalfWidthRPM == 0 {
		fmt.Fprintln(w, "  a curve reduced elsewhere: no phases, no standard errors, no coast-down")
		return
	}
	fmt.Fprintf(w, "  pull          full throttle at %.2f s, used %.2f to %.2f s, %.0f to %.0f rpm\n", p.FullThrottle, p.Start, p.End, p.LowRPM, p.HighRPM)
	if p.HasCoast {
		fmt.Fprintf(w, "  coast-down    %.2f to %.2f s\n", p.CoastStart, p.CoastEnd)
	} else {
		fmt.Fprintln(w, "  coast-down    none found")
	}
	fmt.Fprintf(w, "  rule          %s\n", p.Rule)
	fmt.Fprintf(w, "  window        ± %.0f rpm; features narrower than about %s rpm are not resolved\n", r.HalfWidthRPM, fixed(widest(res.Resolution), 0))
	fmt.Fprintf(w, "  gear          %.4f engine turns a drum turn\n", res.Ratio)
	if !math.IsNaN(res.SlipMax) {
		fmt.Fprintf(w, "  slip          at most %.2f %% off a smooth course, at %.2f s\n", 100*res.SlipMax, res.SlipAt)
	}
	if res.EncoderError > 0 {
		fmt.Fprintf(w, "  encoder       error of %.3f %% of speed found and removed\n", 100*res.EncoderError)
	}
}

func widest(resolution []float64) float64 {
	w := math.NaN()
	for _, r := range resolution {
		if !(r <= w) {
			w = r
		}
	}
	return w
}

// coastLines is how many speeds the text shows of a loss curve.
const coastLines = 6

func (r *Reduction) coastText(w io.Writer, units quantity.System) {
	c := r.Result.Coast
	if c == nil {
		return
	}
	wheel := "with the wheel's inertia"
	if c.WheelInertia == 0 {
		wheel = "with the drum's inertia alone: the wheel's is not given"
	}
	loss, doubt := numbersOrBlank(c.MeanTorque, c.MeanStandardError, units.Unit(quantity.Torque))
	fmt.Fprintf(w, "  loss          %s ± %s %s at the drum, at %s of surface speed (mean of the coast-down, ± one standard error; %s)\n",
		loss, doubt, units.Unit(quantity.Torque).Name, r.surface(c.MeanOmega, units), wheel)
	if len(c.Omega) < 2 {
		return
	}
	fmt.Fprintf(w, "  %14s %12s %12s\n", "drum surface", "loss", "loss power")
	for i := range coastLines {
		at := i * (len(c.Omega) - 1) / (coastLines - 1)
		omega := c.Omega[at]
		k := c.Coefficients
		loss := k[0] + omega*(k[1]+omega*k[2])
		fmt.Fprintf(w, "  %14s %12s %12s\n", r.surface(omega, units), amountIn(loss, quantity.Torque, units, 2), amountIn(loss*omega, quantity.Power, units, 2))
	}
}

func (r *Reduction) surface(omega float64, units quantity.System) string {
	if r.Radius == 0 {
		return fixed(omega, 1) + " rad/s"
	}
	return amountIn(omega*r.Radius, quantity.Speed, units, 0)
}

func amountIn(si float64, d quantity.Dimension, units quantity.System, places int) string {
	u := units.Unit(d)
	return fixed(u.From(si), places) + " " + u.Name
}

func (r *Reduction) curveText(w io.Writer, o ReductionOptions) {
	res := r.Result
	torque, power := o.Units.Unit(quantity.Torque), o.Units.Unit(quantity.Power)
	what := "wheel figures, not corrected for the air; ± one standard error from this log alone"
	fmt.Fprintf(w, "  curve         %s\n", what)
	fmt.Fprintf(w, "  %6s %10s %8s %10s %8s %14s\n", "rpm", torque.Name, "±", power.Name, "±", "loss added, "+torque.Name)
	next := math.Inf(-1)
	for i, rpm := range res.Curve.SpeedRPM {
		if rpm < next && i != res.Curve.Len()-1 {
			continue
		}
		next = (math.Floor(rpm/o.EachRPM) + 1) * o.EachRPM
		se := res.Curve.StandardError[i]
		omega := res.Curve.Power(i) / res.Curve.Torque[i]
		t, tu := numbersOrBlank(res.Curve.Torque[i], se, torque)
		p, pu := numbersOrBlank(res.Curve.Power(i), se*omega, power)
		with := "–"
		if res.Compensated != nil {
			with = fixed(torque.From(res.Compensated[i]), 1)
		}
		fmt.Fprintf(w, "  %6.0f %10s %8s %10s %8s %14s\n", rpm, t, tu, p, pu, with)
	}
}

// numbersOrBlank rounds a value to its standard error; without one, to 0.1.
func numbersOrBlank(value, se float64, unit quantity.Unit) (string, string) {
	v, u, ok := quantity.RoundTo(unit.From(value), unit.FromDifference(se))
	if !ok {
		return fixed(unit.From(value), 1), "–"
	}
	return typographic(v), u
}

func (r *Reduction) findingsText(w io.Writer) {
	for _, column := range r.LeftOut {
		fmt.Fprintf(w, "  left out      column %s\n", clean(column))
	}
	for _, f := range r.Result.Findings {
		state := "outside what the result rests on"
		switch {
		case f.Repaired:
			state = "repaired without loss"
		case f.InPull:
			state = "under the result"
		}
		fmt.Fprintf(w, "  found         %s, %s, %d times, worst at %.3f s (row %d): %s\n", f.Kind, clean(f.Channel), f.Count, f.Time, f.Row+1, state)
	}
}

// JSON form of reductions, fairpull.reduction/1: SI, engine speed in 1/min.
type (
	reductionsJSON struct {
		Format   string          `json:"format"`
		Campaign string          `json:"campaign,omitempty"`
		Pulls    []reductionJSON `json:"pulls"`
	}
	reductionJSON struct {
		Pull          string      `json:"pull,omitempty"`
		Log           string      `json:"log"`
		Configuration string      `json:"configuration,omitempty"`
		Excluded      string      `json:"excluded,omitempty"`
		Problem       string      `json:"problem,omitempty"`
		Phases        *phasesJSON `json:"phases"`
		Ratio         amount      `json:"engine_turns_per_drum_turn"`
		Slip          amount      `json:"slip_max"`
		SlipAt        amount      `json:"slip_at_s"`
		Encoder       amount      `json:"encoder_error_removed"`
		Window        amount      `json:"window_half_width_rpm"`
		Coast         *coastJSON  `json:"coast_down"`
		LeftOut       []string    `json:"left_out"`
		Curve         []pointJSON `json:"curve"`
		Findings      []findJSON  `json:"findings"`
	}
	phasesJSON struct {
		FullThrottle amount `json:"full_throttle_s"`
		Start        amount `json:"start_s"`
		End          amount `json:"end_s"`
		ByThrottle   bool   `json:"by_throttle"`
		CoastStart   amount `json:"coast_start_s"`
		CoastEnd     amount `json:"coast_end_s"`
		Rule         string `json:"rule"`
	}
	coastJSON struct {
		MeanSpeed    amount      `json:"mean_drum_speed_rad_s"`
		Mean         amount      `json:"mean_loss_nm"`
		MeanSE       amount      `json:"mean_loss_se_nm"`
		Coefficients [3]amount   `json:"loss_nm_over_rad_s"`
		WheelInertia amount      `json:"wheel_inertia_at_drum_kgm2"`
		Points       [][3]amount `json:"points_rad_s_nm_se"`
	}
	pointJSON struct {
		RPM         amount `json:"rpm"`
		Torque      amount `json:"torque_nm"`
		SE          amount `json:"torque_se_nm"`
		Power       amount `json:"power_w"`
		Compensated amount `json:"loss_compensated_nm"`
		DrumSpeed   amount `json:"drum_speed_rad_s"`
		DrumTorque  amount `json:"drum_torque_nm"`
		Time        amount `json:"time_s"`
		Resolution  amount `json:"resolution_rpm"`
	}
	findJSON struct {
		Kind     string `json:"kind"`
		Channel  string `json:"channel,omitempty"`
		Row      int    `json:"row"`
		Time     amount `json:"time_s"`
		Measured amount `json:"measured"`
		Limit    amount `json:"limit"`
		Unit     string `json:"unit,omitempty"`
		Count    int    `json:"count"`
		InPull   bool   `json:"in_pull"`
		Repaired bool   `json:"repaired"`
	}
)

// JSON returns the reductions as one fairpull.reduction/1 object, unrounded.
func (r *Reductions) JSON() ([]byte, error) {
	out := reductionsJSON{Format: "fairpull.reduction/1", Campaign: r.Campaign, Pulls: []reductionJSON{}}
	for i := range r.Pulls {
		out.Pulls = append(out.Pulls, r.Pulls[i].json())
	}
	data, err := json.MarshalIndent(out, "", " ")
	return append(data, '\n'), err
}

func (r *Reduction) json() reductionJSON {
	out := reductionJSON{
		Pull: r.Pull, Log: r.Log, Configuration: r.Configuration, Excluded: r.Excluded, Problem: r.Problem,
		Ratio: null, Slip: null, SlipAt: null, Encoder: null, Window: null,
		Curve: []pointJSON{}, Findings: []findJSON{}, LeftOut: append([]string{}, r.LeftOut...),
	}
	res := r.Result
	if res == nil {
		return out
	}
	if r.HalfWidthRPM > 0 {
		p := res.Phases
		out.Phases = &phasesJSON{amount(p.FullThrottle), amount(p.Start), amount(p.End), p.ByThrottle, null, null, p.Rule}
		if p.HasCoast {
			out.Phases.CoastStart, out.Phases.CoastEnd = amount(p.CoastStart), amount(p.CoastEnd)
		}
		out.Window, out.Encoder = amount(r.HalfWidthRPM), amount(res.EncoderError)
		out.Slip, out.SlipAt = amount(res.SlipMax), amount(res.SlipAt)
	}
	out.Ratio = amount(res.Ratio)
	out.Coast = coastOf(res)
	for i := range res.Curve.SpeedRPM {
		out.Curve = append(out.Curve, pointOf(res, i))
	}
	for _, f := range res.Findings {
		out.Findings = append(out.Findings, findJSON{f.Kind, f.Channel, f.Row, amount(f.Time), amount(f.Measured), amount(f.Limit), f.Unit, f.Count, f.InPull, f.Repaired})
	}
	return out
}

func coastOf(res *reduce.Result) *coastJSON {
	c := res.Coast
	if c == nil {
		return nil
	}
	out := &coastJSON{MeanSpeed: amount(c.MeanOmega), Mean: amount(c.MeanTorque), MeanSE: amount(c.MeanStandardError), WheelInertia: amount(c.WheelInertia), Points: [][3]amount{}}
	for i, k := range c.Coefficients {
		out.Coefficients[i] = amount(k)
	}
	for i := range c.Omega {
		out.Points = append(out.Points, [3]amount{amount(c.Omega[i]), amount(c.Torque[i]), amount(c.StandardError[i])})
	}
	return out
}

// at returns values[i], or a null where there are no such values.
func at(values []float64, i int) amount {
	if i >= len(values) {
		return null
	}
	return amount(values[i])
}

func pointOf(res *reduce.Result, i int) pointJSON {
	return pointJSON{
		RPM: amount(res.Curve.SpeedRPM[i]), Torque: amount(res.Curve.Torque[i]), SE: at(res.Curve.StandardError, i),
		Power: amount(res.Curve.Power(i)), Compensated: at(res.Compensated, i),
		DrumSpeed: at(res.DrumSpeed, i), DrumTorque: at(res.DrumTorque, i),
		Time: at(res.Time, i), Resolution: at(res.Resolution, i),
	}
}

// CSV writes one row a node: wheel figures, not corrected, SI but for rpm.
func (r *Reductions) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"pull", "log", "rpm", "torque_nm", "torque_se_nm", "power_w", "loss_compensated_nm", "drum_speed_rad_s", "drum_torque_nm", "time_s", "resolution_rpm"}}
	for i := range r.Pulls {
		p := &r.Pulls[i]
		if p.Result == nil {
			continue
		}
		for node := range p.Result.Curve.SpeedRPM {
			row := []string{p.Pull, p.Log}
			q := pointOf(p.Result, node)
			for _, v := range []amount{q.RPM, q.Torque, q.SE, q.Power, q.Compensated, q.DrumSpeed, q.DrumTorque, q.Time, q.Resolution} {
				row = append(row, cell(v))
			}
			rows = append(rows, row)
		}
	}
	return out.WriteAll(rows)
}

// cell is a number for a table; one that is not finite is an empty cell.
func cell(v amount) string {
	if math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
		return ""
	}
	return strconv.FormatFloat(float64(v), 'g', -1, 64)
}
