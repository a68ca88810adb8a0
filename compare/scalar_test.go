package compare

import (
	"fmt"
	"math"
	"testing"

	"fairpull/scatter"
)

// flat returns a campaign whose pulls have one ln(torque) at all of five speeds:
// every column is then the same scalar case. values holds one slice a block, order
// one letter a block, each block its own setup.
func flat(order string, values [][]float64, hours []float64) Input {
	in := Input{SpeedRPM: evenRPM(5, 1000), Baseline: "A", Confidence: 0.95, Draws: minDraws, DriftLinear: true}
	seen := map[string]bool{"A": true}
	for b, block := range values {
		configuration := order[b : b+1]
		if !seen[configuration] {
			seen[configuration] = true
			in.Candidates = append(in.Candidates, configuration)
		}
		at := float64(b)
		if hours != nil {
			at = hours[b]
		}
		for p, y := range block {
			in.Pulls = append(in.Pulls, Pull{
				Name: fmt.Sprintf("%d-%d", b, p), Configuration: configuration, Setup: fmt.Sprintf("s%d", b),
				Hours: at + 0.07*float64(p), LogTorque: []float64{y, y, y, y, y},
			})
		}
	}
	return in
}

// flatRows returns n equal rows of residuals whose squares over n are a mean square.
func flatRows(n int, meanSquare float64) [][]float64 {
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = make([]float64, 5+scalars)
		for k := range rows[i] {
			rows[i][k] = math.Sqrt(meanSquare)
		}
	}
	return rows
}

func one(t testing.TB, in Input) Comparison {
	t.Helper()
	out, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	return out[0]
}

// A scalar A-B-A with setups from an archive, by numpy and scipy.
func TestGoldenScalar(t *testing.T) {
	var c struct {
		Inputs struct {
			Y       map[string][]float64
			History struct {
				MSu float64
				NuU int     `json:"nu_u"`
				NH  float64 `json:"n_h"`
				MSe float64 `json:"MSe_h"`
				NuE int     `json:"nu_e_h"`
			}
		}
		Expected struct {
			Weights []float64
			Est     float64 `json:"est_ln"`
			Pct     float64 `json:"gain_pct"`
			Q3      float64
			NuE     float64 `json:"nu_e"`
			SigmaU2 float64 `json:"sigma_u2"`
			V, DF   float64
			SE      float64
			CI      [2]float64 `json:"ci95_pct"`
			AtLeast float64    `json:"at_least_pct"`
			Drift   float64    `json:"drift_per_h"`
		}
	}
	reference(t, "golden_ABA_history", &c)
	y, h, want := c.Inputs.Y, c.Inputs.History, c.Expected
	in := flat("ABA", [][]float64{y["A1"], y["B"], y["A2"]}, []float64{0, 0.75, 1.5})
	in.History.Archive = &scatter.Archive{
		SetupResiduals: flatRows(h.NuU, h.MSu), SetupDF: float64(h.NuU), PullsPerSetup: h.NH,
		PullResiduals: flatRows(h.NuE, h.MSe), PullDF: float64(h.NuE),
	}
	got := one(t, in)
	f := got.Band
	for b, w := range want.Weights {
		within(t, "weight", got.Blocks[b].Weight, w, 1e-12)
	}
	near(t, "gain", f.Gain, want.Est, 1e-9)
	near(t, "gain in %", 100*math.Expm1(f.Gain), want.Pct, 1e-9)
	near(t, "pull SD", square(got.Scatter.PullSD), want.Q3, 1e-9)
	near(t, "pull df", got.Scatter.PullDF, want.NuE, 0)
	near(t, "setup SD", square(got.Scatter.SetupSD), want.SigmaU2, 1e-9)
	near(t, "standard error", f.SE, want.SE, 1e-9)
	near(t, "variance", square(f.SE), want.V, 1e-9)
	near(t, "degrees of freedom", f.DF, want.DF, 1e-9)
	near(t, "lower end", 100*math.Expm1(f.Lo), want.CI[0], 1e-9)
	near(t, "upper end", 100*math.Expm1(f.Hi), want.CI[1], 1e-9)
	near(t, "at least", 100*math.Expm1(f.AtLeast), want.AtLeast, 1e-9)
	near(t, "drift", got.Drift.PerHour, want.Drift, 1e-9)
	if got.Scatter.Source != FromHistory || got.Verdict != GainShown {
		t.Errorf("source %q, verdict %q", got.Scatter.Source, got.Verdict)
	}
	// On the pulls of one level at every speed all figures are the same one.
	near(t, "node", got.Curve[2].Gain, f.Gain, 1e-12)
	near(t, "node's standard error", got.Curve[2].SE, f.SE, 1e-12)
}

// Power of plans by expected mean squares, Satterthwaite and the noncentral t
// distribution, by scipy.
func TestPlanning(t *testing.T) {
	var c struct {
		Expected []struct {
			Order string
			N     int
			NuH   float64 `json:"nu_h"`
			Gain  float64
			SE    float64 `json:"se_pct"`
			DF    float64
			Power float64
		}
	}
	reference(t, "planning", &c)
	for _, r := range c.Expected {
		p := Planned{Confidence: 0.95, DriftLinear: true, Assumed: Assumed{
			Setup: Spread{0.009, r.NuH}, SetupPulls: 3, Pull: Spread{0.0055, 2 * (r.NuH + 1)},
			DriftRate: Spread{0, 1}, // the rows know of no drift: A-B needs telling
		}}
		for b, c := range r.Order {
			p.Blocks = append(p.Blocks, PlannedBlock{Configuration: int(c - 'A'), Setup: b, Pulls: r.N, Hours: float64(b)})
		}
		e := expect(t, p)
		what := fmt.Sprintf("%s, %v pulls, history %v, gain %v: ", r.Order, r.N, r.NuH, r.Gain)
		near(t, what+"standard error", 100*e.SE, r.SE, 1e-9)
		near(t, what+"degrees of freedom", e.DF, r.DF, 1e-9)
		within(t, what+"power", e.unchecked().Chance(r.Gain), r.Power, 1e-6)
	}
	if len(c.Expected) != 84 {
		t.Fatalf("%d plans", len(c.Expected))
	}
}
