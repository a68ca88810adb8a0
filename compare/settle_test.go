package compare

import (
	"math"
	"slices"
	"testing"
)

// With no knowledge of setup scatter a gain of 5 % on pulls of 0.2 % is not shown;
// the tipping point is the setup SD, on five degrees of freedom, at which it would
// just cease to be.
func TestTippingPoint(t *testing.T) {
	for _, oneSetup := range []bool{false, true} {
		in := plainABA()
		want, source := SetupScatterUnknown, FromNone
		if oneSetup {
			for i := range in.Pulls {
				in.Pulls[i].Setup = "s"
			}
			want, source = BlockScatterUnknown, Cancelled
		}
		c := one(t, in)
		if c.Verdict != NotEnoughEvidence || !slices.Equal(c.Reasons, []Reason{want}) || c.Scatter.Source != source {
			t.Errorf("%q %v, source %q", c.Verdict, c.Reasons, c.Scatter.Source)
		}
		if !c.Band.Interval || !(c.Band.AtLeast > 0) {
			t.Errorf("interval %v, at least %v", c.Band.Interval, c.Band.AtLeast)
		}
		for _, side := range []struct {
			factor float64
			want   Verdict
		}{{0.999, GainShown}, {1.001, NotEnoughEvidence}} {
			s := Spread{SD: c.TippingSD * side.factor, DF: 5}
			in.History.Setup, in.History.Block = s, Spread{}
			if oneSetup {
				in.History.Setup, in.History.Block = Spread{}, s
			}
			got := one(t, in)
			if got.Verdict != side.want || !math.IsNaN(got.TippingSD) {
				t.Errorf("one setup %v, at %v of the tipping point: %q %v", oneSetup, side.factor, got.Verdict, got.Reasons)
			}
		}
		in.History = History{}
		for i := range in.Pulls {
			if in.Pulls[i].Configuration == "B" {
				in.Pulls[i].LogTorque = []float64{4.5005, 4.5005, 4.5005, 4.5005, 4.5005}
			}
		}
		if c := one(t, in); !math.IsNaN(c.TippingSD) {
			t.Errorf("nothing would be shown, and it tips at %v", c.TippingSD)
		}
	}
}

// A tipping point says what a scatter would spoil; where drift forbids a claim there
// is nothing to spoil.
func TestNoTippingPointUnderDrift(t *testing.T) {
	pair := flat("AB", [][]float64{{4.5, 4.501}, {4.55, 4.551}}, nil)
	c := one(t, pair)
	if c.DriftBounded || !math.IsNaN(c.TippingSD) {
		t.Errorf("A-B: drift bounded %v, tips at %v", c.DriftBounded, c.TippingSD)
	}
	pair.History.DriftRate = Spread{0.002, 9}
	if c = one(t, pair); !c.DriftBounded || !(c.TippingSD > 0) {
		t.Errorf("A-B with known rates: drift bounded %v, tips at %v", c.DriftBounded, c.TippingSD)
	}
	// A-B-A that rises by 8 % with a gain of 2 %: the gate is closed.
	drifting := flat("ABA", [][]float64{{4.50, 4.5001}, {4.56, 4.5601}, {4.58, 4.5801}}, nil)
	drifting.DriftLinear = false
	if c = one(t, drifting); !c.Drift.Gate || !math.IsNaN(c.TippingSD) {
		t.Errorf("strong drift: gate %v, tips at %v", c.Drift.Gate, c.TippingSD)
	}
	drifting.DriftLinear = true
	if c = one(t, drifting); c.Drift.Gate || !(c.TippingSD > 0) {
		t.Errorf("declared straight: gate %v, tips at %v", c.Drift.Gate, c.TippingSD)
	}
}

// The number of blocks to settle is the first whose plan has the power, it falls
// with the gain of interest, and it is not given where scatter is unknown.
func TestSetupsToSettle(t *testing.T) {
	in := plainABA()
	in.History.Setup = Spread{0.01, 12}
	last := MaxSettle + 1
	for _, x := range []float64{0.015, 0.02, 0.03, 0.05} {
		in.SmallestGain = x
		n := one(t, in).SetupsToSettle
		if n < 3 || n > last {
			t.Errorf("%v blocks for %v, %v before", n, x, last)
		}
		last = n
	}
	// By the table of plans (scipy): setup SD 0.9 %, pull SD 0.55 %, ten degrees of
	// freedom; a gain of 3 % has a chance of 0.760 in A-B-A and of 0.829 in A-B-A-B.
	for blocks, want := range map[int]float64{3: 0.760, 4: 0.829} {
		p := Planned{Blocks: alternating(blocks, 3, 1), Assumed: usualLab, Confidence: 0.95, DriftLinear: true}
		within(t, "power", expect(t, p).unchecked().Chance(0.03), want, 5e-4)
	}
	in.History = History{}
	if c := one(t, in); c.SetupsToSettle != 0 {
		t.Errorf("%d blocks without knowing the scatter", c.SetupsToSettle)
	}
	in.History.Setup = Spread{0.1, 12}
	in.SmallestGain = 0.01
	if c := one(t, in); c.SetupsToSettle != 0 {
		t.Errorf("%d blocks for 1 %% on setups of 10 %%", c.SetupsToSettle)
	}
}

// Advice counts what more blocks do not make smaller: with weather apart or the loss
// placed on one side it takes more blocks, and where those terms alone exceed what
// can be shown there is no number. The power itself is held to its closed form: with
// no scatter, se = 0.15·difference on eight degrees of freedom.
func TestSetupsToSettleCountsTypeB(t *testing.T) {
	in := plainABA()
	in.History.Setup = Spread{0.004, 12}
	in.SmallestGain = 0.02
	bare := one(t, in).SetupsToSettle
	weather := func(lnFactor float64) Input {
		out := in
		out.Pulls = slices.Clone(in.Pulls)
		for i := range out.Pulls {
			if out.Pulls[i].Configuration == "B" {
				out.Pulls[i].LnFactor = lnFactor
			}
		}
		return out
	}
	if n := one(t, weather(0.04)).SetupsToSettle; n <= bare {
		t.Errorf("%d blocks with 4 %% of weather between the sides, %d without", n, bare)
	}
	if n := one(t, weather(0.2)).SetupsToSettle; n != 0 {
		t.Errorf("%d blocks with 20 %% of weather between the sides: 3 %% of standard error that stays", n)
	}
	placed := in
	placed.LossPlacement = map[string]float64{"B": 0.05}
	if n := one(t, placed).SetupsToSettle; n != 0 {
		t.Errorf("%d blocks with 5 %% of loss placement: 2.9 %% of standard error that stays", n)
	}
	p := Planned{Blocks: alternating(5, 3, 1), Confidence: 0.95, DriftLinear: true, Assumed: Assumed{
		Setup: Spread{0, 10}, Pull: Spread{0, 22}, WeatherDifference: 0.04,
	}}
	want := 1 - noncentralT(tQuantile(0.95, 8), 8, math.Log1p(0.02)/0.006)
	near(t, "power", expect(t, p).unchecked().Chance(0.02), want, 1e-9)
}
