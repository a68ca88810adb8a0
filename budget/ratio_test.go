package budget

import (
	"errors"
	"math"
	"testing"
)

// torque is a figure that is proportional to an inertia and a reading, less a
// small loss.
func torque(x []float64) float64 { return x[0]*x[1] + x[2] }

func rig() Ratio {
	return Ratio{
		Of: torque,
		Sides: []Side{
			{Input: Gauss("inertia", 12, 0.12, known), Other: 12, OtherU: 0.12, Shared: 1},
			{Input: Gauss("slope", 8, 0.02, 10), Other: 8.4, OtherU: 0.02, Shared: 0},
			{Input: Gauss("loss", 0, 0.2, known), Other: 0, OtherU: 0.2, Shared: 1},
		},
	}
}

// By hand: ln(B/A) of I·a + L has of I nothing, of a the two relative
// uncertainties, of L (1/B − 1/A)·u.
func TestRatioDropsWhatIsShared(t *testing.T) {
	r := rig()
	b, err := r.Linear()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gain", b.Value, 0.05, 1e-12)
	near(t, "relative u of the baseline", b.Baseline.U/b.Baseline.Value, math.Sqrt(0.01*0.01+math.Pow(0.02/8, 2)+math.Pow(0.2/96, 2)), 1e-9)
	inertia, slope, loss := b.Terms[0], b.Terms[1], b.Terms[2]
	near(t, "inertia in the baseline", inertia.Baseline, 0.01, 1e-9)
	near(t, "inertia in the ratio", inertia.Ratio, 0, 1e-9)
	near(t, "inertia drops", inertia.Drops, 1, 1e-9)
	near(t, "slope in the ratio", slope.Ratio, math.Hypot(0.02/8, 0.02/8.4), 1e-9)
	near(t, "slope drops", slope.Drops, 0, 1e-9)
	near(t, "loss in the ratio", loss.Ratio, 0.2*(1/96.0-1/100.8), 1e-9)
	near(t, "u of the ratio", b.Log.U, math.Hypot(slope.Ratio, loss.Ratio), 1e-9)
	near(t, "shares", inertia.Share+slope.Share+loss.Share, 1, 1e-9)
	// two parts of 10 degrees of freedom each, and next to nothing else
	pa, pb := math.Pow(0.02/8, 2), math.Pow(0.02/8.4, 2)
	near(t, "degrees of freedom", b.Log.DF, math.Pow(b.Log.U, 4)/(pa*pa/10+pb*pb/10), 1e-4)
}

// Half shared: 2·(1−ρ)·c²·u² where both sides have one value and one uncertainty,
// and the same drawn.
func TestRatioPartlyShared(t *testing.T) {
	for _, shared := range []float64{0, 0.3, 0.8, 1} {
		r := Ratio{Of: func(x []float64) float64 { return 5 * x[0] * x[1] }, Sides: []Side{
			{Input: Gauss("air", 2, 0.02, known), Other: 2, OtherU: 0.02, Shared: shared},
			{Input: Gauss("reading", 3, 0.003, known), Other: 3, OtherU: 0.003},
		}}
		b, err := r.Linear()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "left of the air", b.Terms[0].Ratio, 0.01*math.Sqrt(2*(1-shared)), 1e-9)
		m, _, err := r.Model()
		if err != nil {
			t.Fatal(err)
		}
		d := drawn(t, m, Sampling{Confidence: 0.95, Seed: 21, Draws: 200_000})
		near(t, "drawn u", d.U/b.Log.U, 1, 0.01)
		near(t, "drawn end", d.Symmetric.Hi, b.Log.Interval(0.95).Hi, 0.03*b.Log.U)
	}
}

func TestRatioRefusals(t *testing.T) {
	for name, spoil := range map[string]func(*Ratio){
		"no formula":       func(r *Ratio) { r.Of = nil },
		"nothing":          func(r *Ratio) { r.Sides = nil },
		"shared beyond 1":  func(r *Ratio) { r.Sides[0].Shared = 1.01 },
		"u of the other":   func(r *Ratio) { r.Sides[0].OtherU = math.NaN() },
		"no uncertainty":   func(r *Ratio) { r.Sides = []Side{{Input: Gauss("a", 1, 0, known), Other: 1}} },
		"below zero":       func(r *Ratio) { r.Of = func(x []float64) float64 { return -torque(x) } },
		"one side is zero": func(r *Ratio) { r.Sides[1].Other = 0 },
	} {
		r := rig()
		spoil(&r)
		if _, err := r.Linear(); !errors.Is(err, ErrInput) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A ratio is drawn without memory of its own for every draw.
func BenchmarkDrawRatio(b *testing.B) {
	r := rig()
	m, _, err := r.Model()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.Draw(Sampling{Confidence: 0.95, Seed: 1, Draws: 100_000}); err != nil {
			b.Fatal(err)
		}
	}
}
