package scatter

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// cases reads testdata/reference.json; every case there names its source.
func cases(t *testing.T) map[string]json.RawMessage {
	t.Helper()
	data, err := os.ReadFile("testdata/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	raw := map[string]json.RawMessage{}
	if err := json.Unmarshal(data, &raw); err != nil {
		t.Fatal(err)
	}
	return raw
}

func decode(t *testing.T, body json.RawMessage, v any) {
	t.Helper()
	if err := json.Unmarshal(body, v); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g within %g", what, got, want, relative)
	}
}

// anova is one data set for the one-way analysis of variance.
type anova struct {
	Rel    float64
	Inputs struct {
		Groups   int
		Group    []int
		Text     []string `json:"y_text"`
		RepeatOf string   `json:"repeat_of"`
		PerGroup int      `json:"per_group"`
	}
	Expected struct {
		DFBetween float64 `json:"df_between"`
		MSBetween float64 `json:"ms_between"`
		DFWithin  float64 `json:"df_within"`
		MSWithin  float64 `json:"ms_within"`
		F         float64
	}
}

// groups returns the values by group.
func (a anova) groups(t *testing.T) [][]float64 {
	t.Helper()
	out := make([][]float64, a.Inputs.Groups)
	for i, s := range a.Inputs.Text {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		g := a.Inputs.Group[i] - 1
		out[g] = append(out[g], v)
	}
	return out
}

// One-way analysis of variance on data sets of the NIST Statistical Reference
// Datasets, certified values. The tolerances are those a two-pass computation in
// double precision should reach; the values of SmLs07 and SmLs09 have thirteen
// leading digits in common, so the data themselves carry two digits in this format.
// The construction of SmLs03, SmLs06 and SmLs09 from the smaller sets is from
// memory; their certified values are not.
func TestOneWayOnNIST(t *testing.T) {
	seen := 0
	all := cases(t)
	for id, body := range all {
		if !strings.HasPrefix(id, "nist_anova") {
			continue
		}
		seen++
		var c anova
		decode(t, body, &c)
		groups := c.groups(t)
		if c.Inputs.RepeatOf != "" {
			var small anova
			decode(t, all[c.Inputs.RepeatOf], &small)
			groups = small.groups(t)
			for g := range groups {
				for len(groups[g]) < c.Inputs.PerGroup {
					groups[g] = append(groups[g], groups[g][1:3]...)
				}
			}
		}
		between, within, err := OneWay(groups)
		if err != nil {
			t.Fatal(id, err)
		}
		near(t, id+" between df", between.DF, c.Expected.DFBetween, 0)
		near(t, id+" within df", within.DF, c.Expected.DFWithin, 0)
		near(t, id+" between mean square", between.Value(), c.Expected.MSBetween, c.Rel)
		near(t, id+" within mean square", within.Value(), c.Expected.MSWithin, c.Rel)
		near(t, id+" F", between.Value()/within.Value(), c.Expected.F, c.Rel)
	}
	if seen != 7 {
		t.Fatalf("%d data sets", seen)
	}
}

// Means and SDs of the NIST Statistical Reference Datasets NumAcc1 to NumAcc4,
// certified values.
func TestMeanVarianceOnNIST(t *testing.T) {
	all := cases(t)
	pairs := map[string][3]float64{
		"nist_NumAcc2": {1.2, 1.1, 1.3},
		"nist_NumAcc3": {1000000.2, 1000000.1, 1000000.3},
		"nist_NumAcc4": {10000000.2, 10000000.1, 10000000.3},
	}
	for _, id := range []string{"nist_NumAcc1", "nist_NumAcc2", "nist_NumAcc3", "nist_NumAcc4"} {
		var c struct {
			Inputs    struct{ Y []float64 }
			Tolerance struct {
				Mean float64 `json:"rel_mean"`
				SD   float64 `json:"rel_sd"`
			}
			Expected struct{ Mean, SD float64 }
		}
		decode(t, all[id], &c)
		y := c.Inputs.Y
		if p, ok := pairs[id]; ok {
			y = []float64{p[0]}
			for range 500 {
				y = append(y, p[1], p[2])
			}
		}
		mean, variance := MeanVariance(y)
		near(t, id+" mean", mean, c.Expected.Mean, c.Tolerance.Mean)
		near(t, id+" SD", math.Sqrt(variance), c.Expected.SD, c.Tolerance.SD)
	}
}

// The data set Dyestuff of R's lme4: mean squares, and the component between
// batches, which REML and the method of moments share where nothing is cut.
func TestOneWayOnDyestuff(t *testing.T) {
	var c struct {
		Inputs struct {
			Batch []string
			Y     []float64
		}
		Expected struct {
			REML     struct{ Batch, Residual float64 }
			MSB, MSW float64
			DFB, DFW float64
		}
	}
	decode(t, cases(t)["vc_lme4_Dyestuff"], &c)
	groups := make([][]float64, 6)
	for i, b := range c.Inputs.Batch {
		groups[b[0]-'A'] = append(groups[b[0]-'A'], c.Inputs.Y[i])
	}
	between, within, err := OneWay(groups)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "between", between.Value(), c.Expected.MSB, 1e-12)
	near(t, "within", within.Value(), c.Expected.MSW, 1e-12)
	near(t, "degrees of freedom", between.DF*100+within.DF, c.Expected.DFB*100+c.Expected.DFW, 0)
	near(t, "component", (between.Value()-within.Value())/5, c.Expected.REML.Batch, 1e-5)
}

// Invented pulls in setups in days, balanced and unbalanced: mean squares by R's
// aov(), coefficients and components by Henderson's first method from them.
func TestNestedAgainstR(t *testing.T) {
	for _, id := range []string{"vc_nested_balanced", "vc_nested_unbalanced"} {
		var c struct {
			Inputs struct {
				Day, Setup []int
				Y          []float64
			}
			Expected struct {
				Anova struct {
					DF []float64
					SS []float64
				}
				K          [3]float64
				Components struct{ Pull, Setup, Day float64 } `json:"anova_components"`
			}
		}
		decode(t, cases(t)[id], &c)
		var days [][][]float64
		for i, y := range c.Inputs.Y {
			d, s := c.Inputs.Day[i]-1, c.Inputs.Setup[i]-1
			for len(days) <= d {
				days = append(days, nil)
			}
			for len(days[d]) <= s {
				days[d] = append(days[d], nil)
			}
			days[d][s] = append(days[d][s], y)
		}
		got, err := Nested(days)
		if err != nil {
			t.Fatal(err)
		}
		for i, m := range []MeanSquare{got.DayMS, got.SetupMS, got.PullMS} {
			near(t, id+" df", m.DF, c.Expected.Anova.DF[i], 0)
			near(t, id+" sum of squares", m.SS, c.Expected.Anova.SS[i], 1e-9)
		}
		for i, k := range []float64{got.K1, got.K2, got.K3} {
			near(t, id+" coefficient", k, c.Expected.K[i], 1e-9)
		}
		near(t, id+" pull", got.Pull, c.Expected.Components.Pull, 1e-9)
		near(t, id+" setup", got.Setup, c.Expected.Components.Setup, 1e-9)
		near(t, id+" day", got.Day, c.Expected.Components.Day, 1e-9)
		near(t, id+" repeatability", square(got.Repeatability()), got.Pull, 1e-12)
		near(t, id+" reproducibility", square(got.Reproducibility()), got.Pull+got.Setup+got.Day, 1e-12)
	}
}

func square(x float64) float64 { return x * x }
