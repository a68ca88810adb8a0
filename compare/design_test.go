package compare

import (
	"fmt"
	"math"
	"testing"
)

// designOf returns the model of blocks in a given order of configurations (letters
// from A, the baseline) at given times, all in setups of their own unless named.
func designOf(order string, hours []float64, pulls []int, setups []int) *design {
	configurations := 1
	blocks := make([]block, len(order))
	for i, c := range order {
		b := block{configuration: int(c - 'A'), setup: i, hours: float64(i), pulls: make([]*Pull, 1)}
		configurations = max(configurations, b.configuration+1)
		if hours != nil {
			b.hours = hours[i]
		}
		if pulls != nil {
			b.pulls = make([]*Pull, pulls[i])
		}
		if setups != nil {
			b.setup = setups[i]
		}
		blocks[i] = b
	}
	return newDesign(blocks, configurations)
}

// Weights, variance multiplier and drift sensitivity of nine orders of evenly spaced
// blocks, by numpy from (X'X)⁻¹X'.
func TestDesignTable(t *testing.T) {
	var c struct {
		Expected []struct {
			Order   string
			W       []float64
			AU      float64   `json:"a_u"`
			MaxW    float64   `json:"max_abs_W"`
			Quad    float64   `json:"quadratic"`
			Drift   []float64 `json:"drift_total_weights"`
			Of      float64   `json:"var_D_over_var_block"`
			PerPull float64
		}
	}
	reference(t, "design_table", &c)
	for _, r := range c.Expected {
		d := designOf(r.Order, nil, nil, nil)
		w := d.contrast(1)
		var quadratic, drift float64
		for b := range w {
			within(t, r.Order+" weight", w[b], r.W[b], 1e-9)
			quadratic += w[b] * square(d.hours[b]-d.meanTime)
		}
		within(t, r.Order+" quadratic", quadratic, r.Quad, 1e-9)
		within(t, r.Order+" multiplier", d.multipliers(w).setup, r.AU, 1e-9)
		within(t, r.Order+" largest partial sum", maxWeightSum(w), r.MaxW, 1e-9)
		if d.timed != (r.Drift != nil) {
			t.Errorf("%s: drift in the model: %v", r.Order, d.timed)
			continue
		}
		for b := range r.Drift {
			within(t, r.Order+" drift weight", d.slope[b]*d.session(), r.Drift[b], 1e-9)
			drift += square(d.slope[b] * d.session())
		}
		within(t, r.Order+" variance of the drift", drift, r.Of, 1e-9)
	}
	if len(c.Expected) != 9 {
		t.Fatalf("%d orders", len(c.Expected))
	}
}

// The slope over time of one configuration is simple linear regression: the data set
// Norris of the NIST Statistical Reference Datasets, certified values.
func TestSlopeOnNorris(t *testing.T) {
	var c struct {
		Inputs   struct{ X, Y []float64 }
		Expected struct {
			B0, B1 float64
			SE     float64 `json:"se_b1"`
			SD     float64 `json:"resid_sd"`
			DF     int
		}
	}
	reference(t, "nist_norris", &c)
	n := len(c.Inputs.X)
	order := make([]byte, n)
	means := make([][]float64, n)
	for i := range order {
		order[i] = 'A'
		means[i] = []float64{c.Inputs.Y[i]}
	}
	d := designOf(string(order), c.Inputs.X, nil, nil)
	if d.df != c.Expected.DF {
		t.Fatalf("%d degrees of freedom", d.df)
	}
	slope := weighted(d.slope, means)[0]
	near(t, "slope", slope, c.Expected.B1, 1e-10)
	near(t, "intercept", weighted(d.level(0), means)[0]-slope*d.meanTime, c.Expected.B0, 1e-9)
	residual := meanSquares(d.residuals(means), float64(d.df), 1)[0]
	near(t, "residual SD", math.Sqrt(residual), c.Expected.SD, 1e-10)
	near(t, "standard error of the slope", math.Sqrt(residual*d.multipliers(d.slope).block), c.Expected.SE, 1e-10)
}

// Least squares on the block means of an invented campaign of six setups and unequal
// numbers of pulls, by R's lm().
func TestBlockMeansLeastSquares(t *testing.T) {
	var c struct {
		Inputs struct {
			Setup  []int
			Config []string
			T, Y   []float64
		}
		Expected struct {
			Means struct{ T, Y []float64 } `json:"block_means"`
			OLS   struct {
				Est, SE  float64
				DF       int
				Drift    float64
				DriftSE  float64 `json:"drift_se"`
				DriftP   float64 `json:"p_drift"`
				Residual float64
			} `json:"ols_block_means"`
		}
	}
	reference(t, "gain_campaign_mixed", &c)
	in := Input{SpeedRPM: evenRPM(5, 1000), Baseline: "A", Candidates: []string{"B"}, Confidence: 0.95}
	for i, y := range c.Inputs.Y {
		in.Pulls = append(in.Pulls, Pull{
			Name: fmt.Sprint(i), Configuration: c.Inputs.Config[i], Setup: fmt.Sprint(c.Inputs.Setup[i]),
			Hours: c.Inputs.T[i], LogTorque: []float64{y, y, y, y, y},
		})
	}
	a, err := analyse(&in, settings{})
	if err != nil {
		t.Fatal(err)
	}
	for b := range a.means {
		near(t, "block mean", a.means[b][0], c.Expected.Means.Y[b], 1e-12)
		near(t, "block time", a.design.hours[b]+c.Inputs.T[0], c.Expected.Means.T[b], 1e-12)
	}
	// R's figures have 1e-12 behind them; the block means were given to it rounded.
	w := a.design.contrast(1)
	ols := c.Expected.OLS
	q := a.noise.setup.at(0)
	near(t, "gain", weighted(w, a.means)[0], ols.Est, 1e-8)
	near(t, "standard error", math.Sqrt(a.design.multipliers(w).block*q), ols.SE, 1e-8)
	if a.design.df != ols.DF {
		t.Errorf("%d degrees of freedom, want %d", a.design.df, ols.DF)
	}
	drift, v := weighted(a.design.slope, a.means)[0], a.design.multipliers(a.design.slope).block*q
	near(t, "drift", drift, ols.Drift, 1e-8)
	near(t, "standard error of the drift", math.Sqrt(v), ols.DriftSE, 1e-8)
	near(t, "p value of the drift", twoSidedP(drift, v, float64(a.design.df)), ols.DriftP, 1e-7)
}

// What counts as bracketed. The definition is that of docs/method.md; A-A-B is not,
// whatever its spacing.
func TestBracketed(t *testing.T) {
	for _, c := range []struct {
		order     string
		hours     []float64
		candidate int
		want      bool
	}{
		{"AB", nil, 1, false},
		{"ABA", nil, 1, true},
		{"AAB", nil, 1, false},
		{"AAB", []float64{0, 3, 3.5}, 1, false},
		{"ABB", nil, 1, false},
		{"AABB", nil, 1, false},
		{"ABBA", nil, 1, true},
		{"ABAB", nil, 1, true},
		{"ABABAB", nil, 1, true},
		{"BAB", nil, 1, true},
		{"ABBAAB", nil, 1, true},
		{"ABCA", nil, 1, true},
		{"ABCA", nil, 2, true},
		{"ABAC", nil, 1, true},
		{"ABAC", nil, 2, false},
		{"ABABBB", nil, 1, false},
	} {
		if got := designOf(c.order, c.hours, nil, nil).bracketed(c.candidate); got != c.want {
			t.Errorf("%s at %v, candidate %d: %v", c.order, c.hours, c.candidate, got)
		}
	}
}

// The leverage of a block is what its fitted value takes from its own mean, and the
// leverages sum to the number of parameters.
func TestLeverage(t *testing.T) {
	d := designOf("ABBAABC", []float64{0, 1, 2.5, 3, 4, 6, 7}, nil, nil)
	var sum float64
	for b := range d.hours {
		means := make([][]float64, len(d.hours))
		for i := range means {
			means[i] = []float64{0}
		}
		means[b][0] = 1
		near(t, "leverage", d.leverage(b), 1-d.residuals(means)[b][0], 1e-12)
		sum += d.leverage(b)
	}
	near(t, "sum of leverages", sum, 4, 1e-12)
}
