package report

import (
	"encoding/json"
	"math"

	"fairpull/reduce"
)

// JSON form of steady points, fairpull.steady/1: SI, engine speed in 1/min.
type (
	steadyLogsJSON struct {
		Format   string          `json:"format"`
		Campaign string          `json:"campaign,omitempty"`
		Rule     steadyRuleJSON  `json:"rule"`
		Logs     []steadyLogJSON `json:"logs"`
		Pulls    int             `json:"pulls_not_shown"`
	}
	steadyRuleJSON struct {
		Tolerance    amount `json:"tolerance"`
		ToleranceRPM amount `json:"tolerance_rpm"`
		Settle       amount `json:"settle_s"`
		Least        amount `json:"least_s"`
		Warming      amount `json:"warming_k_s"`
	}
	steadyLogJSON struct {
		Pull          string            `json:"pull,omitempty"`
		Log           string            `json:"log"`
		Configuration string            `json:"configuration,omitempty"`
		Excluded      string            `json:"excluded,omitempty"`
		Problem       string            `json:"problem,omitempty"`
		Held          amount            `json:"held_s"`
		Loaded        amount            `json:"under_brake_s"`
		Ratio         amount            `json:"engine_turns_per_drum_turn"`
		Points        []steadyPointJSON `json:"points"`
		LeftOut       []steadyOutJSON   `json:"left_out"`
		Columns       []string          `json:"columns_left_out"`
		Brake         *brakeJSON        `json:"brake"`
		Findings      []findJSON        `json:"findings"`
	}
	steadyPointJSON struct {
		RPM          amount            `json:"rpm"`
		Found        amount            `json:"found_s"`
		Start        amount            `json:"start_s"`
		End          amount            `json:"end_s"`
		Rows         int               `json:"rows"`
		Torque       amount            `json:"torque_nm"`
		SE           amount            `json:"torque_se_nm"`
		DF           amount            `json:"torque_df"`
		Lo           amount            `json:"torque_lo_nm"` // two-sided, 95 %
		Hi           amount            `json:"torque_hi_nm"`
		Effective    amount            `json:"effective_values"`
		Short        bool              `json:"short"`
		Power        amount            `json:"power_w"`
		DrumSpeed    amount            `json:"drum_speed_rad_s"`
		DrumTorque   amount            `json:"drum_torque_nm"`
		Brake        amount            `json:"brake_nm"`
		Inertia      amount            `json:"inertia_nm"`
		Parasitic    amount            `json:"parasitic_nm"`
		SpeedSD      amount            `json:"speed_sd_rpm"`
		SpeedDrift   amount            `json:"speed_drift_rpm_s"`
		Trend        amount            `json:"torque_trend_nm_s"`
		TrendSE      amount            `json:"torque_trend_se_nm_s"`
		Throttle     amount            `json:"throttle"`
		FullThrottle bool              `json:"full_throttle"`
		Warming      map[string]amount `json:"warming_k_s"`
		Means        map[string]amount `json:"means"`
		Arrival      *arrivalJSON      `json:"arrival"`
		Hunting      *huntingJSON      `json:"hunting"`
		Fade         *fadeJSON         `json:"fade"`
	}
	arrivalJSON struct {
		Step      amount `json:"step_rpm"`
		Overshoot amount `json:"overshoot"` // of the step
		Settle    amount `json:"settle_s"`
	}
	huntingJSON struct {
		Amplitude amount `json:"amplitude_rpm"`
		Period    amount `json:"period_s"`
		P         amount `json:"p"`
	}
	fadeJSON struct {
		Change amount `json:"change"` // of torque for the same command
		SE     amount `json:"se"`
		From   amount `json:"from_s"`
		To     amount `json:"to_s"`
		RPM    amount `json:"rpm"`
	}
	steadyOutJSON struct {
		From amount `json:"from_s"`
		To   amount `json:"to_s"`
		RPM  amount `json:"rpm"`
		Why  string `json:"why"`
	}
	brakeJSON struct {
		HasCommand  bool             `json:"has_command"`
		Moves       []moveJSON       `json:"moves"`
		Saturations []saturationJSON `json:"saturations"`
		Fades       []fadeJSON       `json:"fades"`
	}
	moveJSON struct {
		Kind      string `json:"kind"`
		From      amount `json:"from_s"`
		To        amount `json:"to_s"`
		FromRPM   amount `json:"from_rpm"`
		ToRPM     amount `json:"to_rpm"`
		Rate      amount `json:"rate_rpm_s"`
		Departure amount `json:"departure"` // from a straight line, of the change
	}
	saturationJSON struct {
		From      amount `json:"from_s"`
		To        amount `json:"to_s"`
		FromRPM   amount `json:"from_rpm"`
		ToRPM     amount `json:"to_rpm"`
		Brake     amount `json:"brake_nm"`
		Change    amount `json:"brake_change"`
		ByCommand bool   `json:"by_command"`
	}
)

// JSON returns the steady points as one fairpull.steady/1 object, unrounded.
func (s *SteadyLogs) JSON() ([]byte, error) {
	out := steadyLogsJSON{
		Format: "fairpull.steady/1", Campaign: s.Campaign, Logs: []steadyLogJSON{}, Pulls: s.Pulls,
		Rule: steadyRuleJSON{amount(s.Rule.Tolerance), amount(s.Rule.ToleranceRPM), amount(s.Rule.Settle), amount(s.Rule.Least), amount(s.Rule.Warming)},
	}
	for i := range s.Logs {
		out.Logs = append(out.Logs, s.Logs[i].json())
	}
	data, err := json.MarshalIndent(out, "", " ")
	return append(data, '\n'), err
}

func (s *SteadyLog) json() steadyLogJSON {
	out := steadyLogJSON{
		Pull: s.Pull, Log: s.Log, Configuration: s.Configuration, Excluded: s.Excluded, Problem: s.Problem,
		Held: null, Loaded: null, Ratio: null, Points: []steadyPointJSON{}, LeftOut: []steadyOutJSON{},
		Columns: append([]string{}, s.LeftOut...), Findings: []findJSON{},
	}
	st := s.Steady
	if st == nil {
		return out
	}
	out.Held, out.Loaded, out.Ratio = amount(st.Held), amount(st.Loaded), amount(st.Ratio)
	for i := range st.Points {
		out.Points = append(out.Points, steadyPointOf(&st.Points[i]))
	}
	for _, l := range st.LeftOut {
		out.LeftOut = append(out.LeftOut, steadyOutJSON{amount(l.From), amount(l.To), amount(l.RPM), l.Why})
	}
	out.Brake = brakeOf(&st.Control)
	for _, f := range st.Findings {
		out.Findings = append(out.Findings, findJSON{f.Kind, f.Channel, f.Row, amount(f.Time), amount(f.Measured), amount(f.Limit), f.Unit, f.Count, f.InPull, f.Repaired})
	}
	return out
}

func steadyPointOf(p *reduce.SteadyPoint) steadyPointJSON {
	lo, hi := p.Limits(steadyInterval)
	out := steadyPointJSON{
		RPM: amount(p.EngineRPM), Found: amount(p.Found), Start: amount(p.Start), End: amount(p.End), Rows: p.Rows,
		Torque: amount(p.Torque), SE: amount(p.StandardError), DF: amount(p.DF), Lo: amount(lo), Hi: amount(hi),
		Effective: amount(p.Effective), Short: p.Short, Power: amount(p.Torque * p.EngineRPM * math.Pi / 30),
		DrumSpeed: amount(p.DrumSpeed), DrumTorque: amount(p.DrumTorque), Brake: amount(p.Brake), Inertia: amount(p.Inertia), Parasitic: amount(p.Parasitic),
		SpeedSD: amount(p.SpeedSD), SpeedDrift: amount(p.SpeedDrift), Trend: amount(p.Trend), TrendSE: amount(p.TrendSE),
		Throttle: amount(p.Throttle), FullThrottle: p.FullThrottle, Warming: map[string]amount{}, Means: map[string]amount{},
	}
	for _, w := range p.Warming {
		out.Warming[w.Channel] = amount(w.Rate)
	}
	for name, v := range p.Means {
		out.Means[name] = amount(v)
	}
	if a := p.Arrival; a.Known {
		out.Arrival = &arrivalJSON{amount(a.StepRPM), amount(a.Overshoot), amount(a.SettleTime)}
	}
	if h := p.Hunting; h.Found {
		out.Hunting = &huntingJSON{amount(h.Amplitude), amount(h.Period), amount(h.P)}
	}
	if p.Fade.Known {
		f := fadeOf(&p.Fade)
		out.Fade = &f
	}
	return out
}

func fadeOf(f *reduce.Fade) fadeJSON {
	return fadeJSON{amount(f.Change), amount(f.SE), amount(f.From), amount(f.To), amount(f.RPM)}
}

func brakeOf(c *reduce.Control) *brakeJSON {
	out := &brakeJSON{HasCommand: c.HasCommand, Moves: []moveJSON{}, Saturations: []saturationJSON{}, Fades: []fadeJSON{}}
	for _, m := range c.Moves {
		out.Moves = append(out.Moves, moveJSON{m.Kind, amount(m.From), amount(m.To), amount(m.FromRPM), amount(m.ToRPM), amount(m.Rate), amount(m.Departure)})
	}
	for _, x := range c.Saturations {
		out.Saturations = append(out.Saturations, saturationJSON{amount(x.From), amount(x.To), amount(x.FromRPM), amount(x.ToRPM), amount(x.Brake), amount(x.BrakeChange), x.ByCommand})
	}
	for i := range c.Fades {
		out.Fades = append(out.Fades, fadeOf(&c.Fades[i]))
	}
	return out
}
