package scatter

import (
	"math"
	"testing"
)

func foundOf(years, df, variances []float64) []Found {
	out := make([]Found, len(years))
	for i := range out {
		out[i] = Found{years[i], MeanSquare{SS: variances[i] * df[i], DF: df[i]}}
	}
	return out
}

// The trend as R's glm has it (history.R): slope of ln variance, its standard error
// at the scatter of chance, and the Pearson sum of squares, for variances that spread
// less and more about the line than chance.
func TestTrendAgainstR(t *testing.T) {
	h := readHistory(t)
	for _, c := range []struct {
		variances []float64
		want      [3]float64
	}{{h.Calm, h.CalmSlope}, {h.Wild, h.WildSlope}} {
		got, err := Trend(foundOf(h.Years, h.DF, c.variances), 0.95)
		if err != nil || !got.Known {
			t.Fatal(got, err)
		}
		near(t, "slope of ln SD", got.PerTime, c.want[0]/2, 1e-10)
		near(t, "standard error", got.SE, c.want[1]/2*math.Sqrt(max(1, c.want[2]/6)), 1e-10)
		near(t, "degrees of freedom", got.DF, 6, 0)
		// The test and the limits are one: p = 5 % where a limit is zero.
		half := got.Hi - got.PerTime
		near(t, "limits", got.PerTime-got.Lo, half, 1e-12)
		near(t, "Student's t on 6 degrees of freedom", half/got.SE, 2.446912, 1e-6) // any table of t
	}
	got, err := Trend([]Found{{0, MeanSquare{3, 3}}}, 0.95)
	if err != nil || got.Known {
		t.Fatal(got, err)
	}
	near(t, "lower limit of an SD of 1 on 3 df", got.Points[0].Lo, h.ChiLimits[0], 1e-10)
	near(t, "upper limit of an SD of 1 on 3 df", got.Points[0].Hi, h.ChiLimits[1], 1e-10)
}

// Campaigns at two moments only: the line goes through the two pooled variances
// (closed form), whatever the unit and the origin of time.
func TestTrendBetweenTwoMoments(t *testing.T) {
	years, df := []float64{0, 0, 0, 2, 2}, []float64{2, 3, 1, 4, 5}
	variances := []float64{1.5, 0.7, 1.1, 3.0, 5.2}
	early := (2*1.5 + 3*0.7 + 1.1) / 6
	late := (4*3.0 + 5*5.2) / 9
	got, err := Trend(foundOf(years, df, variances), 0.9)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", got.PerTime, math.Log(late/early)/2/2, 1e-10)
	// Two pooled variances on 6 and 9 df: var(ln s²) = 2/6 + 2/9 by the information.
	near(t, "standard error", got.SE, math.Sqrt(2.0/6+2.0/9)/2/2, 1e-10)
	far := foundOf([]float64{7e4, 7e4, 7e4, 7e4 + 730, 7e4 + 730}, df, variances)
	days, err := Trend(far, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope a day", days.PerTime*365, got.PerTime, 1e-9)
	near(t, "p", days.P, got.P, 1e-9)
}

// Variances that lie on a steep line: the slope is that of the line, and nothing but
// chance is in its standard error (closed form: half of 1/√Σ w·x²).
func TestTrendSteep(t *testing.T) {
	var found []Found
	for i := range 12 {
		found = append(found, Found{float64(i), MeanSquare{SS: 3 * math.Exp(float64(i)-20), DF: 3}})
	}
	got, err := Trend(found, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", got.PerTime, 0.5, 1e-10)
	near(t, "standard error", got.SE, 0.5/math.Sqrt(1.5*143), 1e-10) // Σ(i − 5.5)² = 143
}

func TestTrendRefuses(t *testing.T) {
	good := foundOf([]float64{0, 1, 2}, []float64{1, 1, 1}, []float64{1, 2, 3})
	for _, confidence := range []float64{0, 1, math.NaN(), -1} {
		if _, err := Trend(good, confidence); err == nil {
			t.Errorf("confidence %v", confidence)
		}
	}
	for _, bad := range []Found{
		{0, MeanSquare{1, 0}}, {math.NaN(), MeanSquare{1, 1}}, {0, MeanSquare{-1, 1}},
		{0, MeanSquare{math.NaN(), 1}}, {0, MeanSquare{math.Inf(1), 1}}, {math.Inf(1), MeanSquare{1, 1}},
	} {
		if c, err := Trend(append(good[:2:2], bad), 0.95); err == nil {
			t.Errorf("%+v: %+v", bad, c)
		}
	}
	for _, found := range [][]Found{nil, good[:2], {good[0], good[0], good[0]}, foundOf([]float64{0, 1, 2}, []float64{1, 1, 1}, []float64{0, 0, 0})} {
		c, err := Trend(found, 0.95)
		if err != nil || c.Known || !math.IsNaN(c.P) || len(c.Points) != len(found) {
			t.Errorf("%v: %+v, %v", found, c, err)
		}
	}
}
