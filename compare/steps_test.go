package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// laddered is one invented campaign of testdata/steps.json, with the contrasts that
// R's lm makes of it (steps.R beside it).
type laddered struct {
	Order     string
	Hours, Y  []float64
	DF        float64
	Contrasts []struct {
		Name         string
		Weights      map[string]float64
		Estimate, SE float64
		Lo, Hi       float64
		AtLeast      float64 `json:"at_least"`
	}
}

// input makes pulls of the values: the same at every engine speed, on one shape,
// each block of three its own setup, drift declared straight as in R's model.
func (l laddered) input() Input {
	in := Input{Baseline: "A", Candidates: []string{"B", "C", "D"}, BandCovered: true, Confidence: 0.95, SmallestGain: 0.02, DriftLinear: true, Draws: 500}
	for i := range 21 {
		in.SpeedRPM = append(in.SpeedRPM, 2000+200*float64(i))
	}
	for i, y := range l.Y {
		p := Pull{Name: fmt.Sprint(i), Configuration: l.Order[i/3 : i/3+1], Setup: fmt.Sprint("s", i/3), Hours: l.Hours[i]}
		for _, r := range in.SpeedRPM {
			p.LogTorque = append(p.LogTorque, y-square((r-3500)/3000))
		}
		in.Pulls = append(in.Pulls, p)
	}
	return in
}

func readLaddered(t testing.TB) map[string]laddered {
	t.Helper()
	out := map[string]laddered{}
	readJSON(t, "testdata/steps.json", &out)
	if len(out) != 2 {
		t.Fatalf("%d campaigns", len(out))
	}
	return out
}

// Contrasts of a ladder and of two parts in four combinations, as R has them by lm
// and vcov (testdata/steps.R): estimate, standard error, degrees of freedom, limits.
func TestContrastsAgainstR(t *testing.T) {
	for name, l := range readLaddered(t) {
		var asked []Contrast
		for _, c := range l.Contrasts {
			asked = append(asked, Contrast{c.Name, c.Weights})
		}
		got, err := Contrasts(l.input(), asked)
		if err != nil {
			t.Fatal(name, err)
		}
		for i, c := range l.Contrasts {
			f, what := got[i].Band, name+", "+c.Name
			within(t, what+", estimate", f.Gain, c.Estimate, 1e-9)
			near(t, what+", standard error", f.SE, c.SE, 1e-7)
			near(t, what+", degrees of freedom", f.DF, l.DF, 1e-9)
			within(t, what+", low", f.Lo, c.Lo, 1e-8)
			within(t, what+", high", f.Hi, c.Hi, 1e-8)
			within(t, what+", at least", f.AtLeast, c.AtLeast, 1e-8)
		}
	}
}

// A step over the one before it, against R; and what the shared baseline does: on the
// log scale the steps add up to the whole gain, and the variance of a step is not
// the sum of the variances of the two gains over stock.
func TestBetweenAgainstR(t *testing.T) {
	l := readLaddered(t)["ladder"]
	in := l.input()
	overStock, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	var sum float64
	for i, step := range [][2]string{{"A", "B"}, {"B", "C"}, {"C", "D"}} {
		c, err := Between(in, step[0], step[1])
		if err != nil {
			t.Fatal(err)
		}
		sum += c.Band.Gain
		if c.Baseline != step[0] || c.Candidate != step[1] || !c.Bracketed || !c.DriftBounded {
			t.Errorf("%v: %s over %s, bracketed %v, drift bounded %v", step, c.Candidate, c.Baseline, c.Bracketed, c.DriftBounded)
		}
		if len(c.Curve) != len(in.SpeedRPM) || !c.Curve[3].Interval || math.IsNaN(c.Curve[3].BandLo) {
			t.Errorf("%v: a step has no curve with limits for the whole band", step)
		}
		within(t, "step by step", sum, overStock[i].Band.Gain, 1e-12)
		for _, r := range l.Contrasts {
			if r.Weights[step[1]] == 1 && r.Weights[step[0]] == -1 {
				within(t, r.Name+", estimate", c.Band.Gain, r.Estimate, 1e-9)
				near(t, r.Name+", standard error", c.Band.SE, r.SE, 1e-7)
				within(t, r.Name+", low", c.Band.Lo, r.Lo, 1e-8)
			}
		}
		if i > 0 {
			naive := math.Hypot(overStock[i].Band.SE, overStock[i-1].Band.SE)
			if !(c.Band.SE < 0.9*naive) {
				t.Errorf("%v: standard error %g; as if the baseline were not shared %g", step, c.Band.SE, naive)
			}
		}
	}
}

// A contrast of a candidate and the baseline is what Compare gives, with every term:
// history, weather, loss placement, the allowance for drift.
func TestContrastIsCompare(t *testing.T) {
	l := newLab(simulated{order: "ABCABCA", pulls: []int{3}, drift: linearDrift, gain: noGain}, 5)
	in := l.pulls("ABCABCA")
	in.Candidates = []string{"B", "C"}
	in.History = History{Setup: Spread{0.01, 10}, DriftRate: Spread{0.004, 6}}
	in.LossPlacement = map[string]float64{"B": 0.002, "C": 0.005}
	for i := range in.Pulls {
		in.Pulls[i].LnFactor = 0.001 * float64(i)
	}
	whole, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Contrasts(in, []Contrast{{"B", map[string]float64{"B": 1, "A": -1}}, {"C", map[string]float64{"C": 1, "A": -1}}, {"C over B", map[string]float64{"C": 1, "B": -1}}})
	if err != nil {
		t.Fatal(err)
	}
	same := func(what string, f, g Figure) {
		t.Helper()
		for _, pair := range [][2]float64{{f.Gain, g.Gain}, {f.SE, g.SE}, {f.DF, g.DF}, {f.Lo, g.Lo}, {f.AtMost, g.AtMost}} {
			near(t, what, pair[0], pair[1], 1e-9)
		}
	}
	for i, c := range whole {
		for _, m := range []Metric{Band, PeakTorque, PeakPower} {
			same(fmt.Sprint(c.Candidate, " figure ", m), *got[i].Figure(m), *c.Figure(m))
		}
		if got[i].Verdict != c.Verdict || !slices.Equal(got[i].Reasons, c.Reasons) || got[i].Bracketed != c.Bracketed {
			t.Errorf("%s: %s %v, Compare says %s %v", c.Candidate, got[i].Verdict, got[i].Reasons, c.Verdict, c.Reasons)
		}
	}
	step, err := Between(in, "B", "C")
	if err != nil {
		t.Fatal(err)
	}
	same("C over B, band", got[2].Band, step.Band) // peaks differ by the draws of their bias
	back, err := Between(in, "C", "B")
	if err != nil {
		t.Fatal(err)
	}
	within(t, "question turned round", back.Band.Gain, -step.Band.Gain, 1e-12)
	within(t, "question turned round, low", back.Band.Lo, -step.Band.Hi, 1e-12)
}

// A step between two candidates that stand one after the other is bounded by the
// baseline about them; without a baseline after them it is not.
func TestStepsDriftBounded(t *testing.T) {
	l := newLab(simulated{order: "ABCA", pulls: []int{3}, gain: noGain}, 6)
	for _, c := range []struct {
		order   string
		bounded bool
	}{{"ABCA", true}, {"AABC", false}, {"ABCBC", true}} {
		in := l.pulls(c.order)
		in.Candidates = []string{"B", "C"}
		got, err := Between(in, "B", "C")
		if err != nil {
			t.Fatal(err)
		}
		if got.DriftBounded != c.bounded || slices.Contains(got.Reasons, DriftNotBounded) == c.bounded {
			t.Errorf("%s: drift bounded %v, reasons %v", c.order, got.DriftBounded, got.Reasons)
		}
	}
}

// errorSays fails unless err is an error whose text has words in it.
func errorSays(t testing.TB, err error, words string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), words) {
		t.Errorf("the error %v does not say %q", err, words)
	}
}

func TestContrastsRefuse(t *testing.T) {
	in := readLaddered(t)["ladder"].input()
	for _, c := range []struct {
		weights map[string]float64
		says    string
	}{
		{map[string]float64{"B": 1}, "sum to 1"},
		{map[string]float64{}, "sum to 0"},
		{map[string]float64{"B": 1, "X": -1}, `"X"`},
		{map[string]float64{"B": math.NaN(), "A": -1}, "NaN"},
	} {
		_, err := Contrasts(in, []Contrast{{"odd", c.weights}})
		errorSays(t, err, c.says)
	}
	_, err := Between(in, "X", "B")
	errorSays(t, err, `"X"`)
	_, err = Between(in, "B", "B")
	errorSays(t, err, `"B"`)
}

// Coverage of a step between two candidates, of a part's own effect and of what two
// parts do together, with the setup scatter known from 10 degrees of freedom: under
// no drift, one per cent an hour, and a warm-up of two per cent. Intervals of 95 %
// hold at least 94 % of the time within four binomial standard errors, and where
// drift is declared straight no more than 97 %.
func TestStepsCoverage(t *testing.T) {
	const n = 400
	gains := map[string]float64{"A": 0, "B": 0.02, "C": 0.012, "D": 0.045}
	asked := []Contrast{
		{"step", map[string]float64{"C": 1, "B": -1}},
		{"own effect", map[string]float64{"B": 0.5, "A": -0.5, "D": 0.5, "C": -0.5}},
		{"together", map[string]float64{"D": 1, "C": -1, "B": -1, "A": 1}},
	}
	truth := []float64{-0.008, 0.0265, 0.013}
	for i, s := range []simulated{
		{name: "straight, declared", order: "ABCDADCBA", history: 10, numbers: true, drift: linearDrift, linear: true},
		{name: "no drift, allowance", order: "ABCDA", history: 10, numbers: true},
		{name: "1 %/h, allowance", order: "ABCDA", history: 10, numbers: true, drift: linearDrift},
		{name: "warm-up, allowance", order: "ABCDA", history: 10, numbers: true, drift: saturating(0.02, 1)},
	} {
		s.pulls, s.gain = []int{3}, noGain
		l := newLab(s, uint64(900+i))
		held := make([][3]int, len(asked))
		for range n {
			in := l.campaign()
			in.Candidates = []string{"B", "C", "D"}
			for p := range in.Pulls {
				for k := range in.Pulls[p].LogTorque {
					in.Pulls[p].LogTorque[k] += gains[in.Pulls[p].Configuration]
				}
			}
			got, err := Contrasts(in, asked)
			if err != nil {
				t.Fatal(err)
			}
			for j := range got {
				for _, m := range []Metric{Band, PeakTorque, PeakPower} {
					if f := got[j].Figure(m); f.Lo <= truth[j] && truth[j] <= f.Hi {
						held[j][m]++
					}
				}
			}
		}
		for j, c := range asked {
			for m, count := range held[j] {
				share := 100 * float64(count) / n
				t.Logf("%s, %s, figure %d: %.1f %%", s.name, c.Name, m, share)
				if share < 94-binomial(94, n) || s.linear && share > 97+binomial(97, n) {
					t.Errorf("%s, %s, figure %d: %.1f %% of intervals hold", s.name, c.Name, m, share)
				}
			}
		}
	}
}
