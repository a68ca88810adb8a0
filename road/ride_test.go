package road

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// A gain that is straight in engine speed, under an even histogram over the whole
// curve, weighs to the mean of its ends; under one narrow bin to the gain there. Ln is
// small, so that candidate over baseline minus one is straight too, within its square.
func TestWeightedGainClosedForm(t *testing.T) {
	var speeds []float64
	g := Gain{Common: 1, DF: math.Inf(1)}
	for n := 3000.0; n <= 9000; n += 250 {
		speeds = append(speeds, n)
		g.Ln = append(g.Ln, math.Log1p(0.01+0.04*(n-3000)/6000))
		g.SE = append(g.SE, 0.002)
	}
	even := Ride{EdgesRPM: []float64{3000, 4000, 9000}, Weight: []float64{1, 5}}
	w, err := WeightedGain(speeds, g, even, 0.95, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "even use", w.Gain.Value, 0.03, 1e-12)
	near(t, "covered", w.Covered, 1, 1e-12)
	// One error for all speeds: it spreads by (1 + gain)·0.002, within the square of it.
	near(t, "spread", w.Gain.SE, 1.03*0.002, 4*0.002/math.Sqrt(2*4000))
	near(t, "lower end", w.Gain.Lo, 0.03-1.959964*1.03*0.002, 0.002*quantileError(0.025, 1.96, 4000)+1e-5)

	narrow := Ride{EdgesRPM: []float64{5990, 6010}, Weight: []float64{40}}
	if w, err = WeightedGain(speeds, g, narrow, 0.95, 0); err != nil {
		t.Fatal(err)
	}
	near(t, "one speed", w.Gain.Value, 0.03, 1e-12)

	// Half of the time below the curve does not count, and is said.
	half := Ride{EdgesRPM: []float64{1000, 3000, 9000}, Weight: []float64{7, 7}}
	if w, err = WeightedGain(speeds, g, half, 0.95, 0); err != nil {
		t.Fatal(err)
	}
	near(t, "half covered", w.Covered, 0.5, 1e-12)
	near(t, "the other half", w.Gain.Value, 0.03, 1e-12)
	if _, err = WeightedGain(speeds, g, Ride{EdgesRPM: []float64{1000, 2000}, Weight: []float64{1}}, 0.95, 0); err == nil {
		t.Error("a ride outside the curve has a weighted gain")
	}
}

// Independent errors average out: over n nodes with equal weight the spread is that of
// one node over √n, the two ends counting half. Here nodes lie far apart on the scale
// on which errors fade.
func TestWeightedGainIndependentErrors(t *testing.T) {
	var speeds []float64
	g := Gain{LengthRPM: 1, DF: math.Inf(1)}
	for n := 3000.0; n <= 9000; n += 500 {
		speeds = append(speeds, n)
		g.Ln = append(g.Ln, 0)
		g.SE = append(g.SE, 0.01)
	}
	w, err := WeightedGain(speeds, g, Ride{EdgesRPM: []float64{3000, 9000}, Weight: []float64{1}}, 0.95, 20_000)
	if err != nil {
		t.Fatal(err)
	}
	want := 0.01 * math.Sqrt(11+2*0.25) / 12
	near(t, "spread", w.Gain.SE, want, 4*want/math.Sqrt(2*20_000)+1e-5)
}

// A log whose speed rises evenly spends the same time in each bin; a pause is left out.
func TestRideFromSeries(t *testing.T) {
	var time, speed []float64
	for i := range 401 {
		time = append(time, float64(i)*0.05)
		speed = append(speed, 2000+float64(i)*10)
	}
	r, left, err := FromSeries(time, speed, 500)
	if err != nil || left != 0 {
		t.Fatal(left, err)
	}
	total := 0.0
	for i, w := range r.Weight {
		want := 0.0
		if r.EdgesRPM[i] >= 2000 && r.EdgesRPM[i] < 6000 {
			want = 2.5
		}
		near(t, "seconds in a bin", w, want, 0.051)
		total += w
	}
	near(t, "seconds", total, 20, 1e-9)
	time = append(time, 320) // five minutes with the engine off
	speed = append(speed, 0)
	time = append(time, 320.05)
	speed = append(speed, 0)
	if r, left, err = FromSeries(time, speed, 500); err != nil {
		t.Fatal(err)
	}
	near(t, "left out", left, 300, 1e-9)
	near(t, "at rest", r.Weight[0], 0.05, 1e-9)
}

func TestRideRefuses(t *testing.T) {
	nan := math.NaN()
	for _, r := range []Ride{
		{}, {EdgesRPM: []float64{1, 2}}, {EdgesRPM: []float64{2, 1}, Weight: []float64{1}},
		{EdgesRPM: []float64{1, 2}, Weight: []float64{0}}, {EdgesRPM: []float64{1, 2}, Weight: []float64{-1}},
		{EdgesRPM: []float64{1, nan}, Weight: []float64{1}}, {EdgesRPM: []float64{1, 2}, Weight: []float64{nan}},
	} {
		if r.Validate() == nil {
			t.Errorf("%+v was taken", r)
		}
	}
	for _, bad := range [][2][]float64{
		{{0}, {1}}, {{0, 1}, {1}}, {{0, 0}, {1, 1}}, {{0, nan}, {1, 1}}, {{0, 1}, {1, nan}}, {{0, 1}, {1, 40_000}}, {{0, math.Inf(1)}, {1, 1}},
	} {
		if _, _, err := FromSeries(bad[0], bad[1], 100); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
}

// Weights of a covered histogram sum to one and are never negative.
func TestNodeWeights(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		speeds := []float64{rapid.Float64Range(500, 3000).Draw(t, "first")}
		for range rapid.IntRange(1, 20).Draw(t, "nodes") {
			speeds = append(speeds, speeds[len(speeds)-1]+rapid.Float64Range(1, 900).Draw(t, "step"))
		}
		r := Ride{EdgesRPM: []float64{0}}
		for range rapid.IntRange(1, 12).Draw(t, "bins") {
			r.EdgesRPM = append(r.EdgesRPM, r.EdgesRPM[len(r.EdgesRPM)-1]+rapid.Float64Range(1, 2000).Draw(t, "width"))
			r.Weight = append(r.Weight, rapid.Float64Range(0.1, 9).Draw(t, "weight"))
		}
		weights, covered := nodeWeights(speeds, r)
		sum := 0.0
		for _, w := range weights {
			if w < 0 {
				t.Fatalf("a weight is negative: %v", weights)
			}
			sum += w
		}
		if covered > 0 && math.Abs(sum-1) > 1e-9 || covered == 0 && sum != 0 || covered > 1 {
			t.Fatalf("weights sum to %g, covered %g", sum, covered)
		}
	})
}
