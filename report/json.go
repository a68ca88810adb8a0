package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"

	"fairpull/campaign"
	"fairpull/compare"
)

// amount is a number of the gain result; one that is not finite is null.
type amount float64

// MarshalJSON writes the shortest number that reads back the same.
func (a amount) MarshalJSON() ([]byte, error) {
	v := float64(a)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, v, 'g', -1, 64), nil
}

var null = amount(math.NaN())

// The gain result, docs/formats.md section 2. Field order is that of the format.
type (
	gainJSON struct {
		Format      string           `json:"format"`
		Campaign    string           `json:"campaign"`
		Correction  string           `json:"correction"`
		Confidence  amount           `json:"confidence"`
		Comparisons []comparisonJSON `json:"comparisons"`
		Pulls       []pullJSON       `json:"pulls"`
		Checks      []checkJSON      `json:"checks"`

		// Only where the campaign was judged in a workspace that had them to lend.
		History      *historyJSON      `json:"history,omitempty"`
		Calibrations []calibrationJSON `json:"calibrations,omitempty"`

		// Only where speeds were held on a brake.
		Steady bool      `json:"steady,omitempty"` // the pulls are steady logs
		Held   *heldJSON `json:"held,omitempty"`   // beside pulls
		Ways   *waysJSON `json:"held_and_accelerating,omitempty"`
	}
	comparisonJSON struct {
		Baseline   string          `json:"baseline"`
		Candidate  string          `json:"candidate"`
		Verdict    string          `json:"verdict"`
		Sentence   string          `json:"sentence"`
		Band       *bandJSON       `json:"band"`
		PeakTorque *peakTorqueJSON `json:"peak_torque"`
		PeakPower  *peakPowerJSON  `json:"peak_power"`
		Curve      []nodeJSON      `json:"curve"`
		Drift      driftJSON       `json:"drift"`
		Scatter    scatterJSON     `json:"scatter"`
	}
	effectJSON struct {
		Gain    amount `json:"gain_pct"`
		Lo      amount `json:"lo_pct"`
		Hi      amount `json:"hi_pct"`
		AtLeast amount `json:"at_least_pct"`
	}
	bandJSON struct {
		RPMLo     amount `json:"rpm_lo"`
		RPMHi     amount `json:"rpm_hi"`
		Baseline  amount `json:"baseline_nm"`
		Candidate amount `json:"candidate_nm"`
		effectJSON
	}
	peakTorqueJSON struct {
		Baseline     amount `json:"baseline_nm"`
		BaselineRPM  amount `json:"baseline_rpm"`
		Candidate    amount `json:"candidate_nm"`
		CandidateRPM amount `json:"candidate_rpm"`
		effectJSON
	}
	peakPowerJSON struct {
		Baseline     amount `json:"baseline_kw"`
		BaselineRPM  amount `json:"baseline_rpm"`
		Candidate    amount `json:"candidate_kw"`
		CandidateRPM amount `json:"candidate_rpm"`
		effectJSON
	}
	nodeJSON struct {
		RPM       amount `json:"rpm"`
		Baseline  amount `json:"baseline_nm"`
		Candidate amount `json:"candidate_nm"`
		Gain      amount `json:"gain_pct"`
		Lo        amount `json:"lo_pct"`
		Hi        amount `json:"hi_pct"`
		BandLo    amount `json:"band_lo_pct"`
		BandHi    amount `json:"band_hi_pct"`
	}
	driftJSON struct {
		PerHour  amount `json:"pct_per_hour"`
		Lo       amount `json:"lo"`
		Hi       amount `json:"hi"`
		Detected bool   `json:"detected"`
	}
	scatterJSON struct {
		PullSD      amount `json:"pull_sd_pct"`
		PullDF      amount `json:"pull_df"`
		SetupSD     amount `json:"setup_sd_pct"`
		SetupDF     amount `json:"setup_df"`
		SetupSource string `json:"setup_source"`
	}
	pullJSON struct {
		Pull             string `json:"pull"`
		Configuration    string `json:"configuration"`
		Setup            string `json:"setup"`
		Used             bool   `json:"used"`
		CorrectionFactor amount `json:"correction_factor"`
		PeakTorque       amount `json:"peak_torque_nm"`
		PeakPower        amount `json:"peak_power_kw"`
	}
	checkJSON struct {
		ID       string          `json:"id"`
		Status   campaign.Status `json:"status"`
		Pulls    []string        `json:"pulls"`
		Measured amount          `json:"measured"`
		Limit    amount          `json:"limit"`
		Unit     string          `json:"unit"`
		Message  string          `json:"message"`
	}
)

// JSON returns the gain result, format fairpull.gain/1, indented and with a new
// line at its end. Numbers are not rounded; one that cannot be had is null.
// Equal values give equal bytes.
func (g *Gain) JSON() ([]byte, error) {
	out := gainJSON{
		Format: "fairpull.gain/1", Campaign: g.Campaign.ID, Correction: g.Standard.Name,
		Confidence:  amount(g.Campaign.Objective.Confidence),
		Comparisons: make([]comparisonJSON, 0, len(g.Comparisons)),
		Pulls:       make([]pullJSON, 0, len(g.Pulls)),
		History:     g.History.json(), Calibrations: g.calibrationsJSON(),
		Steady: g.Steady, Held: g.heldJSON(), Ways: g.Ways.json(),
	}
	for i := range g.Comparisons {
		out.Comparisons = append(out.Comparisons, g.comparisonJSON(&g.Comparisons[i]))
	}
	for _, p := range g.Pulls {
		out.Pulls = append(out.Pulls, pullJSON{
			Pull: p.Pull, Configuration: p.Configuration, Setup: p.Setup, Used: p.Used,
			CorrectionFactor: amount(p.CorrectionFactor),
			PeakTorque:       amount(p.PeakTorqueNm), PeakPower: amount(p.PeakPowerW / 1000),
		})
	}
	out.Checks = checksJSON(g.Checks)
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(out); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func checksJSON(checks []campaign.Check) []checkJSON {
	out := make([]checkJSON, 0, len(checks))
	for _, c := range checks {
		pulls := c.Pulls
		if pulls == nil {
			pulls = []string{}
		}
		out = append(out, checkJSON{
			ID: c.ID, Status: c.Status, Pulls: pulls, Measured: optional(c.Measured),
			Limit: optional(c.Limit), Unit: c.Unit, Message: c.Message,
		})
	}
	return out
}

func optional(v *float64) amount {
	if v == nil {
		return null
	}
	return amount(*v)
}

func (g *Gain) comparisonJSON(c *compare.Comparison) comparisonJSON {
	out := comparisonJSON{
		Baseline: c.Baseline, Candidate: c.Candidate, Verdict: string(c.Verdict), Sentence: g.Sentence(c),
		Curve: make([]nodeJSON, 0, len(c.Curve)),
		Drift: driftJSON{PerHour: null, Lo: null, Hi: null, Detected: c.Drift.Detected},
		Scatter: scatterJSON{
			PullSD: amount(100 * c.Scatter.PullSD), PullDF: known(c.Scatter.PullSD, c.Scatter.PullDF),
			SetupSD: amount(100 * c.Scatter.SetupSD), SetupDF: known(c.Scatter.SetupSD, c.Scatter.SetupDF),
			SetupSource: string(c.Scatter.Source),
		},
	}
	if f := &c.Band; f.Missing == "" {
		out.Band = &bandJSON{RPMLo: amount(c.BandRPM[0]), RPMHi: amount(c.BandRPM[1]),
			Baseline: amount(f.BaselineLevel), Candidate: amount(f.CandidateLevel), effectJSON: effect(f)}
	}
	if f := &c.PeakTorque; f.BaselineLevel > 0 {
		out.PeakTorque = &peakTorqueJSON{amount(f.BaselineLevel), amount(f.BaselineRPM),
			amount(f.CandidateLevel), amount(f.CandidateRPM), effect(f)}
	}
	if f := &c.PeakPower; f.BaselineLevel > 0 {
		out.PeakPower = &peakPowerJSON{amount(f.BaselineLevel / 1000), amount(f.BaselineRPM),
			amount(f.CandidateLevel / 1000), amount(f.CandidateRPM), effect(f)}
	}
	for i := range c.Curve {
		out.Curve = append(out.Curve, node(&c.Curve[i]))
	}
	if d := &c.Drift; d.Known {
		out.Drift.PerHour, out.Drift.Lo, out.Drift.Hi = amount(percent(d.PerHour)), amount(percent(d.Lo)), amount(percent(d.Hi))
	}
	return out
}

// known returns df, or null where its standard deviation is not known.
func known(sd, df float64) amount {
	if math.IsNaN(sd) {
		return null
	}
	return amount(df)
}

func effect(f *compare.Figure) effectJSON {
	switch {
	case f.Missing != "":
		return effectJSON{null, null, null, null}
	case !f.Interval:
		return effectJSON{amount(percent(f.Gain)), null, null, null}
	}
	return effectJSON{amount(percent(f.Gain)), amount(percent(f.Lo)), amount(percent(f.Hi)), amount(percent(f.AtLeast))}
}

func node(n *compare.Node) nodeJSON {
	out := nodeJSON{amount(n.RPM), amount(n.Baseline), amount(n.Candidate), amount(percent(n.Gain)), null, null, null, null}
	if n.Interval {
		out.Lo, out.Hi = amount(percent(n.Lo)), amount(percent(n.Hi))
		out.BandLo, out.BandHi = amount(percent(n.BandLo)), amount(percent(n.BandHi))
	}
	return out
}
