package report

import (
	"encoding/json"
	"math"
	"time"

	"fairpull/quantity"
)

type (
	rigsJSON struct {
		Format        string         `json:"format"`
		Vehicle       string         `json:"vehicle"`
		Configuration string         `json:"configuration"`
		Figures       string         `json:"figures"`
		Confidence    float64        `json:"confidence"`
		BandRPM       *[2]float64    `json:"band_rpm"`
		Rigs          []oneRigJSON   `json:"rigs"`
		Biases        []rigsBiasJSON `json:"biases"`
		Evaluations   []rigsEvalJSON `json:"evaluations,omitempty"`
		Sentences     []string       `json:"sentences"`
		Cautions      []string       `json:"cautions"`
	}
	oneRigJSON struct {
		Dyno          string   `json:"dyno"`
		Campaign      string   `json:"campaign"`
		Configuration string   `json:"configuration"`
		Standard      string   `json:"correction"`
		Factor        amount   `json:"correction_factor"`
		First         string   `json:"first_pull"`
		Last          string   `json:"last_pull"`
		Pressure      amount   `json:"pressure_kpa"`
		Temperature   amount   `json:"temperature_degc"`
		Setups        int      `json:"setups"`
		Blocks        int      `json:"blocks"`
		Pulls         int      `json:"pulls"`
		Level         amount   `json:"level_nm"`
		U             amount   `json:"level_u_pct"`
		DF            amount   `json:"level_df"`
		CalibrationU  amount   `json:"calibration_u_pct"`
		NotStated     []string `json:"not_stated,omitempty"`
		Unknown       string   `json:"unknown,omitempty"`
		Checks        []string `json:"checks_not_passed,omitempty"`
	}
	rigsBiasJSON struct {
		Rig       string         `json:"rig"`
		Against   string         `json:"against"`
		Bias      amount         `json:"bias_pct"`
		SE        amount         `json:"se_pct"`
		DF        amount         `json:"df"`
		Lo        amount         `json:"lo_pct"`
		Hi        amount         `json:"hi_pct"`
		WithLo    amount         `json:"with_calibration_lo_pct"`
		WithHi    amount         `json:"with_calibration_hi_pct"`
		WholeBand amount         `json:"whole_band_factor"`
		Curve     []rigsNodeJSON `json:"curve"`
	}
	rigsNodeJSON struct {
		RPM    amount `json:"rpm"`
		First  amount `json:"against_nm"`
		Second amount `json:"rig_nm"`
		Bias   amount `json:"bias_pct"`
		Lo     amount `json:"lo_pct"`
		Hi     amount `json:"hi_pct"`
		BandLo amount `json:"whole_band_lo_pct"`
		BandHi amount `json:"whole_band_hi_pct"`
		WithLo amount `json:"with_calibration_lo_pct"`
		WithHi amount `json:"with_calibration_hi_pct"`
	}
	rigsEvalJSON struct {
		RPM             amount         `json:"rpm"`
		Why             string         `json:"why_not,omitempty"`
		Repeatability   amount         `json:"repeatability_sd_pct"`
		Reproducibility amount         `json:"reproducibility_sd_pct"`
		Between         amount         `json:"between_rigs_sd_pct"`
		H               []amount       `json:"h"`
		K               []amount       `json:"k"`
		Flags           []rigsFlagJSON `json:"flags"`
	}
	rigsFlagJSON struct {
		Test      string   `json:"test"`
		Rigs      []string `json:"rigs"`
		Statistic amount   `json:"statistic"`
		Limit5    amount   `json:"limit_5_pct"`
		Limit1    amount   `json:"limit_1_pct"`
		Outlier   bool     `json:"outlier"`
	}
)

// JSON returns it as one fairpull.rigs/1 object, unrounded; SDs and standard errors are
// 100 times the figures on the log scale.
func (r *Rigs) JSON() ([]byte, error) {
	out := rigsJSON{
		Format: "fairpull.rigs/1", Vehicle: r.Vehicle, Configuration: r.Configuration.ID, Figures: "wheel", Confidence: r.Confidence,
		Sentences: r.Sentences(), Cautions: r.cautions(),
	}
	if r.AtCrank {
		out.Figures = "crank"
	}
	if r.BandRPM != [2]float64{} {
		out.BandRPM = &r.BandRPM
	}
	for i := range r.Rigs {
		out.Rigs = append(out.Rigs, r.Rigs[i].json())
	}
	for i := range r.Biases {
		out.Biases = append(out.Biases, r.biasJSON(i))
	}
	for i := range r.Evaluations {
		out.Evaluations = append(out.Evaluations, r.evaluationJSON(&r.Evaluations[i]))
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}

func (x *RigRow) json() oneRigJSON {
	l := x.Level
	out := oneRigJSON{
		Dyno: x.Dyno, Campaign: x.Campaign, Configuration: x.Configuration, Standard: x.Standard, Factor: amount(x.Factor),
		First: x.First.Format(time.RFC3339), Last: x.Last.Format(time.RFC3339), Pressure: amount(x.Pressure / 1000), Temperature: amount(quantity.SI.Unit(quantity.Temperature).From(x.Temperature)),
		Setups: l.Setups, Blocks: l.Blocks, Pulls: l.Pulls, Level: amount(l.Band), U: null, DF: null, CalibrationU: null,
		NotStated: x.NotStated, Unknown: string(l.Reason), Checks: x.Checks,
	}
	if s := l.Scatter; l.Known && s.DF > 0 {
		out.U, out.DF = amount(100*math.Sqrt(s.Setup+s.Block+s.Pull)), amount(s.DF)
	}
	if x.CalibrationU > 0 {
		out.CalibrationU = amount(100 * x.CalibrationU)
	}
	return out
}

func (r *Rigs) biasJSON(i int) rigsBiasJSON {
	b := &r.Biases[i]
	with := func(v float64) amount {
		if !b.Stated {
			return null
		}
		return amount(percent(v))
	}
	out := rigsBiasJSON{
		Rig: r.Rigs[i+1].Dyno, Against: r.Rigs[0].Dyno, Bias: amount(percent(b.Bias)), SE: amount(100 * b.SE), DF: amount(b.DF),
		Lo: amount(percent(b.Lo)), Hi: amount(percent(b.Hi)), WithLo: with(b.WithBand[0]), WithHi: with(b.WithBand[1]), WholeBand: amount(b.WholeBandFactor),
	}
	for k, n := range b.Curve {
		out.Curve = append(out.Curve, rigsNodeJSON{
			amount(n.RPM), amount(n.First), amount(n.Second), amount(percent(n.Bias)), amount(percent(n.Lo)), amount(percent(n.Hi)),
			amount(percent(n.BandLo)), amount(percent(n.BandHi)), with(b.WithNodes[k][0]), with(b.WithNodes[k][1]),
		})
	}
	return out
}

func (r *Rigs) evaluationJSON(e *RigsEvaluation) rigsEvalJSON {
	out := rigsEvalJSON{RPM: null, Why: e.Why, Repeatability: null, Reproducibility: null, Between: null, H: []amount{}, K: []amount{}, Flags: []rigsFlagJSON{}}
	if e.RPM > 0 {
		out.RPM = amount(e.RPM)
	}
	l := e.Result
	if l == nil {
		return out
	}
	out.Repeatability, out.Reproducibility, out.Between = amount(100*l.Repeatability), amount(100*l.Reproducibility), amount(100*l.Between)
	for i := range l.H {
		out.H, out.K = append(out.H, amount(l.H[i])), append(out.K, amount(l.K[i]))
	}
	for _, f := range l.Flags {
		flag := rigsFlagJSON{Test: f.Test, Statistic: amount(f.Statistic), Limit5: amount(f.Limit5), Limit1: amount(f.Limit1), Outlier: f.Outlier}
		for _, at := range f.Rigs {
			flag.Rigs = append(flag.Rigs, r.Rigs[at].Dyno)
		}
		out.Flags = append(out.Flags, flag)
	}
	return out
}
