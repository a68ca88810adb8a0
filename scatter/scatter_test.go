package scatter

import (
	"math"
	"strings"
	"testing"
)

// Setups that scatter less than their pulls: the component is cut at zero, and the
// days then come from the mean squares of days and pulls (closed form for balanced
// data: k3·day = MS day − MS pull).
func TestNestedCutsAtZero(t *testing.T) {
	days := [][][]float64{{{1, 2, 3}, {1.1, 2, 2.9}}, {{5, 6, 7}, {5.1, 6, 6.9}}, {{2, 3, 4}, {2.1, 3, 3.9}}}
	c, err := Nested(days)
	if err != nil {
		t.Fatal(err)
	}
	if c.Setup != 0 || c.SetupDF != 0 {
		t.Errorf("setup component %v on %v df", c.Setup, c.SetupDF)
	}
	near(t, "day", c.Day, (c.DayMS.Value()-c.PullMS.Value())/c.K3, 1e-12)
	near(t, "pull df", c.PullDF, 12, 0)
}

func TestNestedRefuses(t *testing.T) {
	for want, days := range map[string][][][]float64{
		"empty":         {{{1, 2}, {2, 3}}, {}},
		"one setup a":   {{{1, 2}}, {{2, 3}}},
		"one value in":  {{{1}, {2}}, {{3}, {4}}},
		"1 groups":      {{{1, 2}, {2, 3}}},
		"holds NaN":     {{{1, math.NaN()}, {2, 3}}, {{3, 4}, {4, 5}}},
		"group 2 is em": {{{1, 2}, {}}, {{3, 4}, {4, 5}}},
	} {
		if _, err := Nested(days); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: error %v, want %q", days, err, want)
		}
	}
}

func TestArchiveValidate(t *testing.T) {
	good := func() *Archive {
		return &Archive{
			SetupResiduals: [][]float64{{1, 2}, {-1, -2}}, SetupDF: 1, PullsPerSetup: 3,
			PullResiduals: [][]float64{{1, 0}, {-1, 0}}, PullDF: 1,
		}
	}
	if err := good().Validate(2); err != nil {
		t.Error(err)
	}
	// 79 campaigns of six degrees of freedom each, as they add up.
	long := &Archive{PullResiduals: make([][]float64, 474), PullDF: 474.00000000000006}
	for i := range long.PullResiduals {
		long.PullResiduals[i] = []float64{1, 0}
	}
	if err := long.Validate(2); err != nil {
		t.Error("a sum that was rounded:", err)
	}
	if err := new(Archive).Validate(7); err != nil {
		t.Error("an archive that says nothing:", err)
	}
	for want, spoil := range map[string]func(*Archive){
		"columns":             func(a *Archive) { a.PullResiduals[1] = []float64{1} },
		"holds NaN":           func(a *Archive) { a.SetupResiduals[0][1] = math.NaN() },
		"holds +Inf":          func(a *Archive) { a.PullResiduals[0][1] = math.Inf(1) },
		"degrees of freedom":  func(a *Archive) { a.PullDF = -1 },
		"cannot carry 3":      func(a *Archive) { a.SetupDF = 3 },
		"0 pulls behind":      func(a *Archive) { a.PullsPerSetup = 0 },
		"0 block residuals":   func(a *Archive) { a.BlockDF, a.PullsPerBlock = 1, 2 },
		"freedom are NaN":     func(a *Archive) { a.SetupDF = math.NaN() },
		"NaN pulls behind":    func(a *Archive) { a.PullsPerSetup = math.NaN() },
		"setup residuals can": func(a *Archive) { a.SetupResiduals = nil },
	} {
		a := good()
		spoil(a)
		if err := a.Validate(2); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
	}
}

func TestMeanOfNothing(t *testing.T) {
	if m, v := MeanVariance(nil); !math.IsNaN(m) || !math.IsNaN(v) {
		t.Error("no values:", m, v)
	}
	if m, v := MeanVariance([]float64{3}); m != 3 || !math.IsNaN(v) {
		t.Error("one value:", m, v)
	}
}
