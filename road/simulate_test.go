package road

import (
	"math"
	"reflect"
	"testing"

	"fairpull/curve"
	"fairpull/quantity"
)

// evenGain returns a gain that is the same at n nodes, its error too.
func evenGain(n int, ln, se, df float64) Gain {
	g := Gain{Ln: make([]float64, n), SE: make([]float64, n), Common: 1, DF: df}
	for i := range n {
		g.Ln[i], g.SE[i] = ln, se
	}
	return g
}

// quantileError returns four standard errors of the p-quantile of n normal draws of
// unit variance: √(p(1 − p)/n)/φ(z), z the quantile.
func quantileError(p, z float64, n int) float64 {
	density := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return 4 * math.Sqrt(p*(1-p)/float64(n)) / density
}

// At constant power without losses a time goes with the inverse of the torque. With one
// gain for all speeds, ln of the time with the part is normal, and its quantiles are
// known: 1.959964 and 1.644854 standard errors (tables of the normal distribution).
// With 8 degrees of freedom they are 2.306 and 1.860 (40 CFR 1065.602, table 1).
func TestIntervalClosedForm(t *testing.T) {
	const draws, gain, se = 5_000, 0.04, 0.01
	v, c := constantPowerBetween(16, 31, 60_000, 280, tiny)
	for _, row := range []struct{ df, two, one, z float64 }{
		{math.Inf(1), 1.959964, 1.644854, 1.96}, {8, 2.306, 1.860, 2.306},
	} {
		results, err := Compare(Input{
			Vehicle: v, Baseline: c, Gain: evenGain(c.Len(), gain, se, row.df), Confidence: 0.95, Draws: draws,
			Questions: []Question{{Kind: InGear, Gear: 1, From: 60 / 3.6, To: 100 / 3.6}},
		})
		if err != nil {
			t.Fatal(err)
		}
		r := results[0]
		from, to := 60/3.6, 100/3.6
		without := 280 * (to*to - from*from) / (2 * 60_000)
		f := r.Figure
		near(t, "without", f.Without.Value, without, 1e-6)
		near(t, "with", f.With.Value, without*math.Exp(-gain), 1e-6)
		near(t, "change", f.Change.Value, without*math.Expm1(-gain), 1e-6)
		near(t, "without has no spread", f.Without.SE, 0, 1e-12)
		// The tails of Student's t are thinner drawn: the density there is lower, by less
		// than a factor of 2 at 8 degrees of freedom.
		wide := 1.0
		if row.df < 100 {
			wide = 2
		}
		tolerance := wide * se * quantileError(0.025, row.z, draws)
		near(t, "lower end", math.Log(f.With.Lo/without), -gain-row.two*se, tolerance)
		near(t, "upper end", math.Log(f.With.Hi/without), -gain+row.two*se, tolerance)
		tolerance = wide * se * quantileError(0.05, row.one, draws)
		near(t, "at least", math.Log(f.With.AtLeast/without), -gain-row.one*se, tolerance)
		near(t, "at most", math.Log(f.With.AtMost/without), -gain+row.one*se, tolerance)
		near(t, "change and with differ by what is certain", f.Change.Hi, f.With.Hi-f.Without.Value, 1e-9)
		if !r.Interval || r.Unanswered != 0 || r.Missing != nil {
			t.Errorf("%+v", r)
		}
		// Way of the roll-on at constant power: it goes with the same inverse.
		near(t, "way", r.Way.With.Value/r.Way.Without.Value, math.Exp(-gain), 1e-7)
	}
}

// What both sides share cancels: with a gain that is known, times at constant power
// keep one ratio in every draw, however uncertain mass and level are; the change then
// has the spread of the time without the part times that ratio less one.
func TestSharedUnknownsCancel(t *testing.T) {
	v, c := constantPowerBetween(16, 31, 60_000, 280, tiny)
	results, err := Compare(Input{
		Vehicle: v, Baseline: c, Gain: evenGain(c.Len(), 0.03, 0, math.Inf(1)), Confidence: 0.9, Draws: 2000,
		Unknowns:  Unknowns{Mass: 0.05, Level: 0.08},
		Questions: []Question{{Kind: InGear, Gear: 1, From: 20, To: 30}},
	})
	if err != nil {
		t.Fatal(err)
	}
	f := results[0].Figure
	ratio := math.Exp(-0.03)
	near(t, "spread of the change", f.Change.SE/f.Without.SE, 1-ratio, 1e-9)
	near(t, "spread with the part", f.With.SE/f.Without.SE, ratio, 1e-9)
	// ln(time) has the spread √(0.05² + 0.08²) here, and exp of it that much within 1 %.
	near(t, "spread without the part", f.Without.SE/f.Without.Value, math.Hypot(0.05, 0.08), 4*math.Hypot(0.05, 0.08)/math.Sqrt(2*2000)+0.001)
}

// Draws that are handed in are used as they are: three of them give a spread that can
// be worked out by hand.
func TestDrawsHandedIn(t *testing.T) {
	v, c := constantPowerBetween(16, 31, 60_000, 280, tiny)
	g := Gain{Ln: make([]float64, c.Len())}
	for _, ln := range []float64{-0.02, 0, 0.02} {
		d := make([]float64, c.Len())
		for i := range d {
			d[i] = ln
		}
		g.Draws = append(g.Draws, d)
	}
	results, err := Compare(Input{
		Vehicle: v, Baseline: c, Gain: g, Confidence: 0.95, Draws: 300,
		Questions: []Question{{Kind: InGear, Gear: 1, From: 20, To: 30}},
	})
	if err != nil {
		t.Fatal(err)
	}
	f := results[0].Figure
	near(t, "lower end", f.With.Lo, f.Without.Value*math.Exp(-0.02), 1e-9)
	near(t, "upper end", f.With.Hi, f.Without.Value*math.Exp(0.02), 1e-9)
}

// Correlation of the draws: Common + (1 − Common)·exp(−Δ/length), by definition. The
// standard error of a correlation of n draws is below 1/√n.
func TestDrawsCorrelate(t *testing.T) {
	speeds := []float64{3000, 3100, 3400, 5000}
	g := Gain{
		Ln: []float64{0.01, 0.02, 0.03, 0.04}, SE: []float64{0.01, 0.02, 0.01, 0.03},
		Common: 0.3, LengthRPM: 400, DF: math.Inf(1),
	}
	const n = 40_000
	source := newGainDraws(g, speeds)
	var sum [4]float64
	var product [4][4]float64
	x := make([]float64, 4)
	for range n {
		source.draw(x)
		for i := range x {
			z := (x[i] - g.Ln[i]) / g.SE[i]
			sum[i] += z
			for j := range x {
				product[i][j] += z * (x[j] - g.Ln[j]) / g.SE[j]
			}
		}
	}
	for i := range x {
		near(t, "mean", sum[i]/n, 0, 4/math.Sqrt(n))
		for j := range x {
			want := 0.3 + 0.7*math.Exp(-math.Abs(speeds[i]-speeds[j])/400)
			if i == j {
				want = 1
			}
			near(t, "correlation", product[i][j]/n, want, 6/math.Sqrt(n))
		}
	}
}

// sample is a vehicle with a gain as they occur; the figures are invented.
func sample() Input {
	r, err := AirAndTyres(0.5, 0.015, 285, 1.2)
	if err != nil {
		panic(err)
	}
	gears, err := FromRatios(1.8, 2.6, []float64{2.7, 2.0, 1.6, 1.35, 1.2, 1.08}, 0.31)
	if err != nil {
		panic(err)
	}
	in := Input{
		Vehicle: Vehicle{
			Mass: 285, RotatingShare: 0.07, Resistance: r, EnginePerMetre: gears, LimitRPM: 9500, ShiftTime: 0.2,
			Grip: &Grip{Friction: 1, Wheelbase: 1.44, CentreHeight: 0.63, RearShare: 0.51},
		},
		Gain:     Gain{Common: 0.4, LengthRPM: 600, DF: 12},
		Unknowns: Unknowns{Mass: 0.02, Rolling: 0.2, Drag: 0.1, Gearing: 0.01, Level: 0.02, Friction: 0.1},
		Questions: []Question{
			{Kind: InGear, Gear: 6, From: 80 / 3.6, To: 120 / 3.6}, {Kind: ToSpeed, To: 100 / 3.6},
			{Kind: Distance, Way: 400}, {Kind: Highest},
		},
		Confidence: 0.95, Draws: 500,
	}
	for n := 2500.0; n <= 9500; n += 100 {
		x := (n - 6800) / 6800
		in.Baseline.SpeedRPM = append(in.Baseline.SpeedRPM, n)
		in.Baseline.Torque = append(in.Baseline.Torque, 62*(1-0.6*x*x))
		in.Gain.Ln = append(in.Gain.Ln, 0.03+0.02*x)
		in.Gain.SE = append(in.Gain.SE, 0.008)
	}
	return in
}

// A gain makes every time shorter and every speed higher, and the same input gives the
// same figures, to the bit, whichever other questions are asked.
func TestCompareDirectionsAndRepeats(t *testing.T) {
	in := sample()
	first, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range first {
		if r.Missing != nil || !r.Interval {
			t.Fatalf("%s: %+v", r.Question.Kind, r)
		}
		c := r.Figure.Change
		better := c.Value < 0
		if r.Question.Kind == Highest {
			better = c.Value > 0
		}
		// In some draws the limiter ends both top speeds: no change is then the least.
		if !better || !(c.Lo <= c.AtLeast && c.AtLeast < c.Value && c.Value < c.AtMost && c.AtMost < c.Hi) || !(c.SE < r.Figure.With.SE) {
			t.Errorf("%s: %+v", r.Question.Kind, r.Figure)
		}
	}
	again, err := Compare(in)
	if err != nil || !reflect.DeepEqual(first, again) {
		t.Errorf("the same input gave other figures: %v", err)
	}
	for i, q := range in.Questions {
		one := in
		one.Questions = []Question{q}
		alone, err := Compare(one)
		if err != nil || !reflect.DeepEqual(alone[0], first[i]) {
			t.Errorf("%s alone: %+v, %v; with others %+v", q.Kind, alone, err, first[i])
		}
	}
}

// A question without an answer says so; one that some draws cannot answer has a wider
// interval or none.
func TestCompareWithoutAnswer(t *testing.T) {
	in := sample()
	in.Questions = []Question{{Kind: InGear, Gear: 6, From: 20 / 3.6, To: 60 / 3.6}}
	results, err := Compare(in)
	if err != nil || results[0].Missing == nil || !math.IsNaN(results[0].Figure.Change.Value) || results[0].Interval {
		t.Fatalf("%+v, %v", results, err)
	}
	// The lowest speed of the curve in that gear: half of the draws of the gearing lie
	// outside.
	lowest := 2500 * curve.RadPerSecondPerRPM / in.Vehicle.EnginePerMetre[5]
	in.Questions[0].From = lowest
	if results, err = Compare(in); err != nil {
		t.Fatal(err)
	}
	r := results[0]
	if r.Missing != nil || r.Interval || r.Unanswered < 150 || r.Unanswered > 350 || !math.IsNaN(r.Figure.Change.Lo) || math.IsNaN(r.Figure.Change.Value) {
		t.Errorf("half of the draws cannot answer: %+v", r)
	}
	// 2.3 standard deviations inside: about one draw in a hundred cannot answer.
	in.Questions[0].From = lowest * math.Exp(0.023)
	if results, err = Compare(in); err != nil {
		t.Fatal(err)
	}
	some := results[0]
	in.Unknowns.Gearing = 0
	if results, err = Compare(in); err != nil {
		t.Fatal(err)
	}
	if !some.Interval || some.Unanswered == 0 || !(some.Figure.Change.Hi-some.Figure.Change.Lo > results[0].Figure.Change.Hi-results[0].Figure.Change.Lo) {
		t.Errorf("a few draws cannot answer: %+v; known gearing %+v", some, results[0])
	}
}

func TestCompareRefuses(t *testing.T) {
	nan := math.NaN()
	for name, spoil := range map[string]func(*Input){
		"confidence":    func(in *Input) { in.Confidence = 0 },
		"no confidence": func(in *Input) { in.Confidence = nan },
		"draws":         func(in *Input) { in.Draws = 5 },
		"questions":     func(in *Input) { in.Questions = nil },
		"short gain":    func(in *Input) { in.Gain.Ln = in.Gain.Ln[1:] },
		"no error":      func(in *Input) { in.Gain.SE = nil },
		"degrees":       func(in *Input) { in.Gain.DF = 0 },
		"length":        func(in *Input) { in.Gain.LengthRPM = 0 },
		"common":        func(in *Input) { in.Gain.Common = 1.1 },
		"both":          func(in *Input) { in.Gain.Draws = [][]float64{in.Gain.Ln} },
		"a draw":        func(in *Input) { in.Gain.SE, in.Gain.Draws = nil, [][]float64{{1}} },
		"unknowns":      func(in *Input) { in.Unknowns.Drag = -0.1 },
		"a gear":        func(in *Input) { in.Questions[0].Gear = 7 },
		"vehicle":       func(in *Input) { in.Vehicle.Mass = quantity.Kilogram(nan) },
	} {
		in := sample()
		in.Questions = append([]Question(nil), in.Questions...)
		spoil(&in)
		if _, err := Compare(in); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// A thousand draws of a roll-on.
func BenchmarkRollOnDraws(b *testing.B) {
	in := sample()
	in.Questions, in.Draws = in.Questions[:1], 1000
	for b.Loop() {
		if _, err := Compare(in); err != nil {
			b.Fatal(err)
		}
	}
}

// A thousand draws of all four kinds of question.
func BenchmarkAllQuestions(b *testing.B) {
	in := sample()
	in.Draws = 1000
	for b.Loop() {
		if _, err := Compare(in); err != nil {
			b.Fatal(err)
		}
	}
}
