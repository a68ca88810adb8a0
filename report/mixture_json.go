package report

import (
	"encoding/json"

	"fairpull/quantity"
)

// mixtureAnswer is the format of the JSON form.
const mixtureAnswer = "fairpull.mixture-answer/1"

type (
	mixtureJSON struct {
		Format     string              `json:"format"`
		Title      string              `json:"title"`
		Sources    []string            `json:"sources"`
		Confidence float64             `json:"confidence"`
		Sentence   string              `json:"sentence"`
		AtLoad     string              `json:"at_load"`
		Ratio      amount              `json:"stoichiometric_ratio"`
		Curves     []mixtureCurveJSON  `json:"curves"`
		Sides      []mixtureSidesJSON  `json:"sides"`
		Grid       *mixtureGridJSON    `json:"grid"`
		Changes    []mixtureChangeJSON `json:"before_after"`
		Loops      []mixtureLoopJSON   `json:"loops"`
		Gas        *mixtureGasJSON     `json:"sensor_minus_gas"`
		Delays     []mixtureDelayJSON  `json:"delays"`
		LeftOut    mixtureLeftJSON     `json:"left_out_s"`
		Notes      []string            `json:"notes"`
		Cautions   []string            `json:"cautions"`
	}
	mixtureCurveJSON struct {
		Name  string            `json:"name"`
		Nodes []mixtureNodeJSON `json:"nodes"`
	}
	mixtureNodeJSON struct {
		RPM     float64 `json:"rpm"`
		Visits  int     `json:"visits"`
		Seconds float64 `json:"seconds"`
		Lambda  amount  `json:"lambda"`
		Lo      amount  `json:"lo"`
		Hi      amount  `json:"hi"`
		AllLo   amount  `json:"all_lo"`
		AllHi   amount  `json:"all_hi"`
		Target  amount  `json:"target"`
		Error   amount  `json:"error_pct"`
	}
	mixtureSidesJSON struct {
		Baseline  string            `json:"baseline"`
		Candidate string            `json:"candidate"`
		Sentence  string            `json:"sentence"`
		Limit     float64           `json:"limit"`
		ByBlock   bool              `json:"block_scatter_covered"`
		RPMLo     float64           `json:"rpm_lo"`
		RPMHi     float64           `json:"rpm_hi"`
		Mean      mixtureSideJSON   `json:"mean"`
		Curve     []mixtureSideJSON `json:"curve"`
		Share     *mixtureShareJSON `json:"share_of_gain"`
		NoShare   string            `json:"no_share,omitempty"`
		GainPct   amount            `json:"gain_pct"`
		GainLoPct amount            `json:"gain_lo_pct"`
		GainHiPct amount            `json:"gain_hi_pct"`
	}
	mixtureSideJSON struct {
		RPM        float64 `json:"rpm"`
		Baseline   amount  `json:"baseline"`
		Candidate  amount  `json:"candidate"`
		Difference amount  `json:"difference"`
		Lo         amount  `json:"lo"`
		Hi         amount  `json:"hi"`
		AllLo      amount  `json:"all_lo"`
		AllHi      amount  `json:"all_hi"`
	}
	mixtureShareJSON struct {
		Value  amount `json:"pct"`
		Lo     amount `json:"lo_pct"`
		Hi     amount `json:"hi_pct"`
		Bounds bool   `json:"bounds"`
		Source string `json:"source"`
	}
	mixtureGridJSON struct {
		Load      string            `json:"load"`
		SpeedStep float64           `json:"speed_step_rpm"`
		LoadStep  float64           `json:"load_step"`
		PooledSD  amount            `json:"visit_sd"`
		PooledDF  int               `json:"visit_df"`
		Effective amount            `json:"free_values"`
		Cells     []mixtureCellJSON `json:"cells"`
	}
	mixtureCellJSON struct {
		RPM      float64 `json:"rpm"`
		Load     float64 `json:"load"`
		Visits   int     `json:"visits"`
		Seconds  float64 `json:"seconds"`
		Lambda   amount  `json:"lambda"`
		Lo       amount  `json:"lo"`
		Hi       amount  `json:"hi"`
		Smooth   amount  `json:"smoothed"`
		SmoothLo amount  `json:"smoothed_lo"`
		SmoothHi amount  `json:"smoothed_hi"`
		Target   amount  `json:"target"`
		Leanest  amount  `json:"leanest"`
		Error    amount  `json:"error_pct"`
		ErrorLo  amount  `json:"error_lo_pct"`
		ErrorHi  amount  `json:"error_hi_pct"`
		Fuel     amount  `json:"fuel_pct"`
		Why      string  `json:"why"`
	}
	mixtureChangeJSON struct {
		RPM    float64 `json:"rpm"`
		Load   float64 `json:"load"`
		Before amount  `json:"before"`
		After  amount  `json:"after"`
		Target amount  `json:"target"`
		Moved  amount  `json:"moved_pct"`
		Lo     amount  `json:"lo_pct"`
		Hi     amount  `json:"hi_pct"`
	}
	mixtureLoopJSON struct {
		RPM         float64 `json:"rpm"`
		Load        float64 `json:"load"`
		Points      int     `json:"points"`
		From        amount  `json:"lambda_from"`
		To          amount  `json:"lambda_to"`
		Best        amount  `json:"best_lambda"`
		BestLo      amount  `json:"best_lo"`
		BestHi      amount  `json:"best_hi"`
		Within      bool    `json:"best_within"`
		Curvature   amount  `json:"curvature"`
		CurvatureLo amount  `json:"curvature_lo"`
		CurvatureHi amount  `json:"curvature_hi"`
	}
	mixtureGasJSON struct {
		Difference amount  `json:"difference"`
		Lo         amount  `json:"lo"`
		Hi         amount  `json:"hi"`
		Visits     int     `json:"visits"`
		Limit      float64 `json:"limit"`
		Agrees     bool    `json:"agrees"`
		Basis      string  `json:"basis"`
	}
	mixtureDelayJSON struct {
		What   string `json:"what"`
		Dead   amount `json:"dead_s"`
		Lag    amount `json:"lag_s"`
		Total  amount `json:"together_s"`
		U      amount `json:"u_s"`
		Source string `json:"source"`
	}
	mixtureLeftJSON struct {
		Unsettled float64 `json:"load_just_moved"`
		Unread    float64 `json:"no_lambda"`
		Short     float64 `json:"too_short"`
	}
)

// JSON returns the answer as one fairpull.mixture-answer/1 object, unrounded: lambda as a
// ratio, loads as a fraction of the throttle or in Pa.
func (m *Mixture) JSON() ([]byte, error) {
	out := mixtureJSON{
		Format: mixtureAnswer, Title: m.Title, Sources: m.Sources, Confidence: m.Confidence, Sentence: m.Sentence(), AtLoad: m.CurveLoad, Ratio: amount(m.Stoichiometric),
		Curves: []mixtureCurveJSON{}, Sides: []mixtureSidesJSON{}, Changes: []mixtureChangeJSON{}, Loops: []mixtureLoopJSON{}, Delays: []mixtureDelayJSON{},
		LeftOut: mixtureLeftJSON(m.LeftOut), Notes: append([]string{}, m.Notes...), Cautions: MixtureCautions,
	}
	for i := range m.Curves {
		c := mixtureCurveJSON{Name: m.Curves[i].Name, Nodes: []mixtureNodeJSON{}}
		for k := range m.Curves[i].Nodes {
			n := &m.Curves[i].Nodes[k]
			c.Nodes = append(c.Nodes, mixtureNodeJSON{n.RPM, n.Visits, n.Seconds, amount(n.Lambda), amount(n.Lo), amount(n.Hi), amount(n.AllLo), amount(n.AllHi), amount(n.Target), amount(100 * n.Error())})
		}
		out.Curves = append(out.Curves, c)
	}
	for i := range m.Sides {
		out.Sides = append(out.Sides, m.Sides[i].json(m.Confidence))
	}
	if m.Grid != nil {
		out.Grid = m.gridJSON()
	}
	for _, c := range m.Changes {
		out.Changes = append(out.Changes, mixtureChangeJSON{c.RPM, c.Load, amount(c.Before), amount(c.After), amount(c.Target), amount(100 * c.Moved), amount(100 * c.Lo), amount(100 * c.Hi)})
	}
	for _, l := range m.Loops {
		out.Loops = append(out.Loops, mixtureLoopJSON{l.RPM, l.Load, l.Points, amount(l.From), amount(l.To), amount(l.Best), amount(l.BestLo), amount(l.BestHi), l.Within, amount(l.Curvature), amount(l.CurvatureLo), amount(l.CurvatureHi)})
	}
	if g := m.Gas; g != nil {
		out.Gas = &mixtureGasJSON{amount(g.Difference), amount(g.Lo), amount(g.Hi), g.Visits, g.Limit, g.Agrees(), g.Basis}
	}
	for _, d := range m.Delays {
		out.Delays = append(out.Delays, mixtureDelayJSON{d.What, amount(d.Dead), amount(d.Lag), amount(d.Total), amount(d.U), d.Source})
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}

func (s *MixtureSides) json(conf float64) mixtureSidesJSON {
	node := func(n MixtureSideNode) mixtureSideJSON {
		return mixtureSideJSON{n.RPM, amount(n.Baseline), amount(n.Candidate), amount(n.Difference), amount(n.Lo), amount(n.Hi), amount(n.AllLo), amount(n.AllHi)}
	}
	out := mixtureSidesJSON{
		Baseline: s.Baseline, Candidate: s.Candidate, Sentence: s.sentence(conf), Limit: s.Limit, ByBlock: s.ByBlock, RPMLo: s.BandRPM[0], RPMHi: s.BandRPM[1],
		Mean: node(s.Mean), Curve: []mixtureSideJSON{}, NoShare: s.NoShare,
		GainPct: amount(100 * s.Gain.Value), GainLoPct: amount(100 * s.Gain.Lo), GainHiPct: amount(100 * s.Gain.Hi),
	}
	for _, n := range s.Nodes {
		out.Curve = append(out.Curve, node(n))
	}
	if v := s.Share; v != nil {
		out.Share = &mixtureShareJSON{amount(100 * v.Value), amount(100 * v.Lo), amount(100 * v.Hi), v.Bounds, v.Source}
	}
	return out
}

func (m *Mixture) gridJSON() *mixtureGridJSON {
	load := "throttle"
	if m.Load == quantity.Pressure {
		load = "manifold_pressure"
	}
	g := m.Grid
	out := &mixtureGridJSON{Load: load, SpeedStep: g.SpeedStep, LoadStep: g.LoadStep, PooledSD: amount(g.PooledSD), PooledDF: g.PooledFreedom, Effective: amount(g.Effective), Cells: []mixtureCellJSON{}}
	for _, c := range g.Cells {
		out.Cells = append(out.Cells, mixtureCellJSON{
			c.RPM, c.Load, c.Visits, c.Seconds, amount(c.Lambda), amount(c.Lo), amount(c.Hi), amount(c.Smooth), amount(c.SmoothLo), amount(c.SmoothHi),
			amount(c.Target), amount(c.Leanest), amount(100 * c.Error), amount(100 * c.ErrorLo), amount(100 * c.ErrorHi), amount(100 * c.Fuel), c.Why,
		})
	}
	return out
}
