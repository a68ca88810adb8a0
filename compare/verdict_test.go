package compare

import (
	"math"
	"slices"
	"testing"
)

// judged returns a comparison whose band figure has the given one-sided bounds in
// per cent, all preconditions met.
func judged(lower, upper, smallest float64) Comparison {
	return Comparison{
		SmallestGain: smallest / 100, Bracketed: true, DriftBounded: true,
		Scatter: Scatter{SetupKnown: true, BlockKnown: true},
		Band:    Figure{Interval: true, AtLeast: math.Log1p(lower / 100), AtMost: math.Log1p(upper / 100)},
		Blocks:  []Block{{Pulls: []string{"1", "2"}}},
	}
}

// The order of the verdicts is that of the gain result (docs/formats.md, section 2).
func TestVerdicts(t *testing.T) {
	for _, c := range []struct {
		lower, upper, smallest float64
		want                   Verdict
		small                  bool
	}{
		{1, 5, 2, GainShown, false},
		{0.1, 1.9, 2, GainShown, true},
		{0.1, 1.9, 0, GainShown, false},
		{-5, -1, 2, LossShown, false},
		{-1.9, -0.1, 2, LossShown, true},
		{-1.9, 1.9, 2, NoDifference, false},
		{-2.0, 1.9, 2, NotEnoughEvidence, false},
		{-1.9, 2.1, 2, NotEnoughEvidence, false},
		{-1, 1, 0, NotEnoughEvidence, false},
		{0, 5, 2, NotEnoughEvidence, false},
	} {
		got := judged(c.lower, c.upper, c.smallest)
		got.Judge(Doubts{})
		if got.Verdict != c.want || got.SmallerThanInterest != c.small || len(got.Reasons) != 0 {
			t.Errorf("%+v: %q, smaller than interest %v, reasons %v", c, got.Verdict, got.SmallerThanInterest, got.Reasons)
		}
	}
}

// Every precondition withholds every verdict, with its reason, and may be judged
// again.
func TestReasons(t *testing.T) {
	for _, bounds := range [][2]float64{{1, 5}, {-5, -1}, {-1, 1}} {
		for reason, c := range map[Reason]struct {
			spoil  func(*Comparison)
			doubts Doubts
		}{
			SetupScatterUnknown: {func(c *Comparison) { c.Scatter.SetupKnown = false }, Doubts{}},
			BlockScatterUnknown: {func(c *Comparison) { c.Scatter.BlockKnown = false }, Doubts{}},
			PullScatterUnknown:  {func(c *Comparison) { c.Band.Interval = false }, Doubts{}},
			DriftNotBounded:     {func(c *Comparison) { c.DriftBounded = false }, Doubts{}},
			DriftGate:           {func(c *Comparison) { c.Drift.Gate = true }, Doubts{}},
			UnusualOpen:         {func(c *Comparison) { c.Unusual = []Unusual{{Pull: "2"}} }, Doubts{Answered: []string{"1"}}},
			NoPrimary:           {func(c *Comparison) { c.Band.Missing = "no band" }, Doubts{}},
			OpenCheck:           {func(*Comparison) {}, Doubts{OpenFail: true}},
			PlanChanged:         {func(*Comparison) {}, Doubts{PlanChanged: true}},
			PlanUnfinished:      {func(*Comparison) {}, Doubts{PlanUnfinished: true}},
		} {
			got := judged(bounds[0], bounds[1], 2)
			c.spoil(&got)
			got.Judge(c.doubts)
			if got.Verdict != NotEnoughEvidence || !slices.Equal(got.Reasons, []Reason{reason}) {
				t.Errorf("%v: %q, reasons %v", reason, got.Verdict, got.Reasons)
			}
		}
	}
	c := judged(1, 5, 2)
	c.Unusual = []Unusual{{Block: 0}, {Pull: "2"}}
	c.Judge(Doubts{Answered: []string{"2"}})
	if c.Verdict != NotEnoughEvidence {
		t.Error("a flagged block was answered for one of its two pulls")
	}
	c.Judge(Doubts{Answered: []string{"2", "1"}})
	if c.Verdict != GainShown {
		t.Errorf("answered: %q %v", c.Verdict, c.Reasons)
	}
}

// Whatever a verdict says has to hold beyond a coast-down share that was flagged, and
// turned round (the sides' names exchanged) it says the opposite (docs/formats.md,
// section 2). Per cent; X = 2.
func TestCoastDownShare(t *testing.T) {
	opposite := map[Verdict]Verdict{
		GainShown: LossShown, LossShown: GainShown, NoDifference: NoDifference, NotEnoughEvidence: NotEnoughEvidence,
	}
	for _, c := range []struct {
		lower, upper, lo, hi float64
		flagged              bool
		want                 Verdict
		small                bool
	}{
		{1, 5, 0.2, 0.5, true, GainShown, false},
		{1, 5, 0.5, 2, true, NotEnoughEvidence, false},
		{1, 5, 0.5, 1.1, true, NotEnoughEvidence, false},
		{1, 5, 0.5, 2, false, GainShown, false},
		{1, 5, -3, -1, true, GainShown, false}, // the rig took from the candidate: the gain is larger
		{0.1, 5, -0.3, 0.05, true, GainShown, false},
		{-5, -1, 0.5, 2, true, LossShown, false},
		{-5, -1, -0.5, 0.5, true, LossShown, false},
		{-5, -1, -1.1, 0, true, NotEnoughEvidence, false},
		{0.3, 1.9, -0.05, 0.2, true, GainShown, true},
		{0.3, 1.9, -0.2, 0.2, true, GainShown, false}, // less the share it may be 2.1
		{-1, 1, -0.5, 0.5, true, NoDifference, false},
		{-1, 1, 0.5, 1.1, true, NotEnoughEvidence, false},
		{-1, 1, -1.1, 0.5, true, NotEnoughEvidence, false},
		{-1, 1, -1.1, 0.5, false, NoDifference, false},
		{-3, 1, 0, 0.1, true, NotEnoughEvidence, false}, // nothing to withhold
		{1, 5, math.NaN(), math.NaN(), true, NotEnoughEvidence, false},
		{-1, 1, math.NaN(), math.NaN(), true, NotEnoughEvidence, false},
	} {
		check := func(lower, upper, lo, hi float64, want Verdict) {
			t.Helper()
			got := judged(lower, upper, 2)
			got.Judge(Doubts{})
			withhold := want == NotEnoughEvidence && got.Verdict != NotEnoughEvidence
			got.Judge(Doubts{CoastFlagged: c.flagged, CoastShareLo: lo / 100, CoastShareHi: hi / 100})
			if got.Verdict != want || withhold != slices.Contains(got.Reasons, CoastDown) || got.SmallerThanInterest != c.small {
				t.Errorf("%v to %v, share %v to %v: %q %v, smaller than interest %v", lower, upper, lo, hi, got.Verdict, got.Reasons, got.SmallerThanInterest)
			}
		}
		check(c.lower, c.upper, c.lo, c.hi, c.want)
		check(-c.upper, -c.lower, -c.hi, -c.lo, opposite[c.want])
	}
}

// plainABA is three blocks of three pulls, the candidate 5 % up.
func plainABA() Input {
	return flat("ABA", [][]float64{{4.500, 4.502, 4.498}, {4.549, 4.551, 4.550}, {4.502, 4.500, 4.501}}, nil)
}

// Without repeated pulls gains are given and intervals are not.
func TestNoReplicates(t *testing.T) {
	in := flat("ABABAB", [][]float64{{4.50}, {4.55}, {4.501}, {4.552}, {4.499}, {4.549}}, nil)
	in.History.Setup = Spread{0.005, 12}
	c := one(t, in)
	if c.Verdict != NotEnoughEvidence || !slices.Contains(c.Reasons, PullScatterUnknown) {
		t.Errorf("%q %v", c.Verdict, c.Reasons)
	}
	within(t, "gain", c.Band.Gain, 0.05, 0.005)
	n := c.Curve[2]
	for what, v := range map[string]float64{
		"SE": c.Band.SE, "Lo": c.Band.Lo, "AtLeast": c.Band.AtLeast, "node Lo": n.Lo, "BandLo": n.BandLo,
		"everywhere": c.AtLeastEverywhere, "factor": c.WholeBandFactor, "pull SD": c.Scatter.PullSD, "drift": c.Drift.PerHour,
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %v without pull scatter", what, v)
		}
	}
	if c.Band.Interval || n.Interval || c.Drift.Known || c.Parts != nil || c.SetupsToSettle != 0 {
		t.Errorf("intervals claimed: %+v", c)
	}
	// A pull SD known from before gives them back.
	in.History.Pull = Spread{0.002, 30}
	if c := one(t, in); !c.Band.Interval || c.Verdict != GainShown {
		t.Errorf("with a known pull SD: %v, %q %v", c.Band.Interval, c.Verdict, c.Reasons)
	}
}

// Terms beside scatter, each by its closed form (docs/method.md, sections 3 and 6).
func TestTermsOfTypeB(t *testing.T) {
	in := plainABA()
	in.History.Setup = Spread{0.004, 12}
	bare := one(t, in)
	v := square(bare.Band.SE)
	var sum float64
	for _, p := range bare.Parts {
		sum += p
	}
	near(t, "parts", sum, v, 1e-12)
	near(t, "setup part", bare.Parts[PartSetup], 1.5*0.004*0.004, 1e-12)
	near(t, "pull part", bare.Parts[PartPull], 0.5*square(bare.Scatter.PullSD), 1e-12)

	weather := in
	weather.Pulls = slices.Clone(in.Pulls)
	for i := range weather.Pulls {
		if weather.Pulls[i].Configuration == "B" {
			weather.Pulls[i].LnFactor = 0.02
		}
	}
	c := one(t, weather)
	near(t, "weather", square(c.Band.SE)-v, square(0.02*0.15), 1e-9)
	df := square(v+9e-6) / (v*v/bare.Band.DF + square(9e-6)/8)
	near(t, "df with weather", c.Band.DF, df, 1e-9)
	near(t, "weather part", c.Parts[PartWeather], 9e-6, 1e-9)
	weather.ExponentU = Spread{0.3, 20}
	near(t, "weather of a stated exponent", square(one(t, weather).Band.SE)-v, square(0.02*0.3), 1e-9)
	// The same weather on both sides, whatever it is, drops out.
	for i := range weather.Pulls {
		weather.Pulls[i].LnFactor = 0.07
	}
	near(t, "one weather", square(one(t, weather).Band.SE), v, 1e-12)

	placed := in
	placed.LossPlacement = map[string]float64{"B": 0.003}
	near(t, "loss placement", square(one(t, placed).Band.SE)-v, square(0.003)/3, 1e-9)

	drifting := in
	drifting.DriftLinear = false
	c = one(t, drifting)
	near(t, "allowance", square(c.Band.SE)-v, square(c.Drift.Change*0.5)/3, 1e-9)
	near(t, "drift part", c.Parts[PartDrift], square(c.Drift.Change*0.5)/3, 1e-9)
	near(t, "largest partial sum", c.Drift.MaxWeightSum, 0.5, 1e-12)
	near(t, "change", c.Drift.Change, c.Drift.PerHour*2, 1e-12)

	// A-B alone: nothing tells the drift; the rates of earlier campaigns bound it.
	pair := flat("AB", [][]float64{{4.5, 4.501}, {4.55, 4.551}}, nil)
	pair.History.Setup = Spread{0.004, 12}
	c = one(t, pair)
	if c.Bracketed || c.DriftBounded || c.Drift.Known || !slices.Contains(c.Reasons, DriftNotBounded) {
		t.Errorf("A-B: bracketed %v, reasons %v, drift %+v", c.Bracketed, c.Reasons, c.Drift)
	}
	v = square(c.Band.SE)
	pair.History.DriftRate = Spread{0.006, 9}
	c = one(t, pair)
	near(t, "rate of drift", square(c.Band.SE)-v, square(1*0.006), 1e-9)
	if !c.DriftBounded || c.Verdict != GainShown {
		t.Errorf("A-B with known rates: %q %v", c.Verdict, c.Reasons)
	}
}

// The gate closes on a drift that is shown and may be more than half of the gain,
// and a declared straight drift opens it.
func TestDriftGate(t *testing.T) {
	drift := func(rate float64) Input {
		values := make([][]float64, 5)
		for b := range values {
			at := 4.5 + rate*float64(b) + 0.02*float64(b%2)
			values[b] = []float64{at, at + 0.0004, at - 0.0004}
		}
		in := flat("ABABA", values, nil)
		in.History.Setup = Spread{0.002, 20}
		in.DriftLinear = false
		in.SmallestGain = 0.01
		return in
	}
	strong := one(t, drift(0.02))
	// D is 8 % over the session, a third of it 2.7 %, and half of the gain 1 %.
	if !strong.Drift.Detected || !strong.Drift.Gate || !slices.Equal(strong.Reasons, []Reason{DriftGate}) || strong.Drift.Answer != DriftShown {
		t.Errorf("strong drift: %+v, %v", strong.Drift, strong.Reasons)
	}
	in := drift(0.02)
	in.DriftLinear = true
	if c := one(t, in); c.Drift.Gate || c.Verdict != GainShown || !c.Drift.Detected {
		t.Errorf("declared straight: %+v, %q", c.Drift, c.Verdict)
	}
	weak := one(t, drift(0.004))
	if weak.Drift.Gate || weak.Verdict != GainShown || !weak.Drift.Detected {
		t.Errorf("weak drift: %+v, %v", weak.Drift, weak.Reasons)
	}
	none := one(t, drift(0))
	if none.Drift.Detected || none.Drift.Answer != DriftSmall || !(none.Drift.NoLargerThan*none.Drift.MaxWeightSum < 0.005) {
		t.Errorf("no drift: %+v", none.Drift)
	}
	// Two one-sided tests at 95 % are the two-sided interval at 90 %.
	in = drift(0)
	in.Confidence = 0.90
	d := one(t, in).Drift
	near(t, "two one-sided tests", none.Drift.NoLargerThan, max(-d.ChangeLo, d.ChangeHi), 1e-9)
	in = drift(0)
	in.History.Setup = Spread{0.02, 20}
	if c := one(t, in); c.Drift.Answer != DriftUnclear {
		t.Errorf("no drift on poor setups: %+v", c.Drift)
	}
}

// Where a pull misses part of the band there is no band figure, no whole-band limit
// and, if it was the primary one, no verdict.
func TestBandNotCovered(t *testing.T) {
	in := benchInput(111)
	in.Draws = minDraws
	in.BandRPM = [2]float64{1500, 4000}
	c := one(t, in)
	if c.Band.Missing == "" || !slices.Equal(c.Reasons, []Reason{NoPrimary}) || !math.IsNaN(c.Band.Gain) {
		t.Errorf("%+v, %v", c.Band, c.Reasons)
	}
	for _, n := range c.Curve {
		if !math.IsNaN(n.BandLo) || !math.IsNaN(n.BandAtLeast) || math.IsNaN(n.Lo) {
			t.Fatalf("limits at %v: %v, %v", n.RPM, n.BandLo, n.Lo)
		}
	}
	if !math.IsNaN(c.AtLeastEverywhere) || !math.IsNaN(c.Blocks[0].BandMean) || math.IsNaN(c.Scatter.PullSD) {
		t.Error("a band figure without a band, or no scatter")
	}
	in.Primary = PeakTorque
	if c := one(t, in); c.Verdict != GainShown {
		t.Errorf("peak torque: %q %v", c.Verdict, c.Reasons)
	}
}

// A peak at the edge of the shared range has a level and no gain.
func TestPeakAtTheEdge(t *testing.T) {
	in := benchInput(60) // ends at 4950 1/min, where power still rises
	in.Draws = minDraws
	in.Primary = PeakPower
	c := one(t, in)
	f := c.PeakPower
	if f.Missing == "" || f.Interval || !math.IsNaN(f.Gain) || !math.IsNaN(f.AtLeast) {
		t.Errorf("%+v", f)
	}
	if f.BaselineRPM != 4950 || !(f.BaselineLevel > 30e3) || !(f.CandidateLevel > f.BaselineLevel) {
		t.Errorf("level %v W at %v 1/min", f.BaselineLevel, f.BaselineRPM)
	}
	if !slices.Equal(c.Reasons, []Reason{NoPrimary}) {
		t.Errorf("%q %v", c.Verdict, c.Reasons)
	}
	if c.PeakTorque.Missing != "" {
		t.Errorf("torque peaks inside: %q", c.PeakTorque.Missing)
	}
}

// Setups that cancel in every pair need no setup scatter, only block scatter, which
// the campaign tells itself.
func TestPairsInSetups(t *testing.T) {
	values := make([][]float64, 8)
	for b := range values {
		at := 4.5 + []float64{0.02, -0.03, 0.01, 0.04}[b/2] + 0.05*float64([]int{0, 1, 1, 0, 0, 1, 1, 0}[b])
		at += []float64{0.001, -0.001, 0.0005, 0.001, -0.001, 0, 0.001, -0.0005}[b]
		values[b] = []float64{at, at + 0.0005}
	}
	in := flat("ABBAABBA", values, nil)
	for i := range in.Pulls {
		in.Pulls[i].Setup = string(rune('a' + i/4))
	}
	c := one(t, in)
	if c.Scatter.Source != Cancelled || !c.Scatter.SetupKnown || !c.Scatter.BlockKnown || c.Verdict != GainShown {
		t.Errorf("%+v, %q %v", c.Scatter, c.Verdict, c.Reasons)
	}
	within(t, "gain", c.Band.Gain, 0.05, 0.002)
	near(t, "block df", c.Scatter.BlockDF, 2, 0)
	if !(c.Band.SE < 0.002) {
		t.Errorf("the setups' 3 %% did not cancel: SE %v", c.Band.SE)
	}
}
