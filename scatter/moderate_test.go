package scatter

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/mathext"
)

// moderated is the reference for the prior of variances; its source stands in the
// file.
type moderated struct {
	S2, DF []float64
	S02    float64
	D0     any // a number or "Inf"
	Post   []float64
}

func (m moderated) d0() float64 {
	if v, ok := m.D0.(float64); ok {
		return v
	}
	return math.Inf(1)
}

func moderatedCases(t testing.TB) []moderated {
	var c struct{ Expected []moderated }
	data, err := os.ReadFile("testdata/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	raw := map[string]json.RawMessage{}
	if err := json.Unmarshal(data, &raw); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw["moderated_variance"], &c); err != nil {
		t.Fatal(err)
	}
	if len(c.Expected) != 2 {
		t.Fatalf("%d cases", len(c.Expected))
	}
	return c.Expected
}

// Prior variance, its degrees of freedom and the moderated variances as computed by
// fitFDist and squeezeVar of R's limma (reference.json, case moderated_variance).
func TestFitPriorAgainstLimma(t *testing.T) {
	for _, c := range moderatedCases(t) {
		got, err := FitPrior(c.S2, c.DF)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "prior variance", got.Variance, c.S02, 1e-5)
		if math.IsInf(c.d0(), 1) {
			if !math.IsInf(got.DF, 1) {
				t.Errorf("prior df %v, want infinite", got.DF)
			}
			continue
		}
		near(t, "prior df", got.DF, c.d0(), 1e-5)
		for i, s2 := range c.S2 {
			post := (got.DF*got.Variance + c.DF[i]*s2) / (got.DF + c.DF[i])
			near(t, "moderated variance", post, c.Post[i], 1e-5)
		}
	}
}

// Trigamma, digamma and the inverse of trigamma as computed by R (reference.json).
func TestPolygammaAgainstR(t *testing.T) {
	var c struct{ Expected [][]float64 }
	decode(t, cases(t)["trigamma"], &c)
	for _, row := range c.Expected {
		near(t, "trigamma", trigamma(row[0]), row[1], 1e-10)
		// In absolute terms: it enters as a summand of a logarithm.
		near(t, "one plus digamma", 1+mathext.Digamma(row[0])-row[2], 1, 1e-10)
	}
	decode(t, cases(t)["trigamma_inverse"], &c)
	for _, row := range c.Expected {
		near(t, "inverse of trigamma", trigammaInverse(row[0]), row[1], 1e-8)
	}
	if len(c.Expected) != 6 {
		t.Fatalf("%d rows", len(c.Expected))
	}
	// There and back over the whole range, the asymptotic ends included; those are
	// good to about the square root of their threshold.
	for y := 1e-9; y < 1e10; y *= 7 {
		tolerance := 1e-11
		if y > 1e7 || y < 1e-6 {
			tolerance = 1e-3
		}
		near(t, "trigamma of its inverse", trigamma(trigammaInverse(y)), y, tolerance)
	}
}

// A variance that is zero by accident does not decide alone: the prior is that of the
// floor, and finite.
func TestFitPriorFloorsZero(t *testing.T) {
	s2, df := []float64{0, 1, 1, 1, 1, 1}, []float64{2, 2, 2, 2, 2, 2}
	got, err := FitPrior(s2, df)
	if err != nil {
		t.Fatal(err)
	}
	want, err := FitPrior([]float64{1e-5, 1, 1, 1, 1, 1}, df)
	if err != nil || got != want {
		t.Errorf("%v, with the floor written out %v, %v", got, want, err)
	}
	for _, bad := range []struct{ s2, df []float64 }{
		{[]float64{1}, []float64{1}},
		{[]float64{1, 2}, []float64{1}},
		{[]float64{1, -2}, []float64{1, 1}},
		{[]float64{1, math.NaN()}, []float64{1, 1}},
		{[]float64{1, math.Inf(1)}, []float64{1, 1}},
		{[]float64{1, 2}, []float64{1, 0}},
		{[]float64{0, 0, 0, 1}, []float64{1, 1, 1, 1}},
	} {
		if p, err := FitPrior(bad.s2, bad.df); err == nil {
			t.Errorf("%v on %v: %v", bad.s2, bad.df, p)
		}
	}
}

// historyReference is testdata/history.json, made by history.R beside it.
type historyReference struct {
	Dyestuff, Uneven      [][]float64
	DyestuffP             float64 `json:"dyestuff_p"`
	UnevenP               float64 `json:"uneven_p"`
	Years, DF, Calm, Wild []float64
	CalmSlope             [3]float64 `json:"calm_slope_se_pearson"`
	WildSlope             [3]float64 `json:"wild_slope_se_pearson"`
	ChiLimits             [2]float64 `json:"chi_limits"`
}

func readHistory(t *testing.T) historyReference {
	t.Helper()
	data, err := os.ReadFile("testdata/history.json")
	if err != nil {
		t.Fatal(err)
	}
	var h historyReference
	decode(t, data, &h)
	return h
}

// Bartlett's test as R's bartlett.test has it (history.R), on lme4's Dyestuff and on
// invented groups of unequal size.
func TestHomogeneityAgainstR(t *testing.T) {
	h := readHistory(t)
	for _, c := range []struct {
		groups [][]float64
		p      float64
	}{{h.Dyestuff, h.DyestuffP}, {h.Uneven, h.UnevenP}} {
		var s2, df []float64
		for _, g := range c.groups {
			_, v := MeanVariance(g)
			s2, df = append(s2, v), append(df, float64(len(g)-1))
		}
		near(t, "p", Homogeneity(s2, df), c.p, 1e-11)
	}
	if p := Homogeneity([]float64{1}, []float64{3}); !math.IsNaN(p) {
		t.Errorf("one variance alone: p = %v", p)
	}
	if p := Homogeneity([]float64{2, 2, 2}, []float64{3, 1, 5}); p != 1 {
		t.Errorf("equal variances: p = %v", p)
	}
}
