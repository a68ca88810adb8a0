package mixture

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// sidePulls makes pulls of two sides: blocks of three, a scatter from pull to pull and
// one from block to block, the same at all nodes.
func sidePulls(rng *rand.Rand, order string, a, b, pullSD, blockSD float64, nodes int) []SidePull {
	var out []SidePull
	for block, side := range order {
		level := a
		if side == 'B' {
			level = b
		}
		level += blockSD * rng.NormFloat64()
		for range 3 {
			p := SidePull{Candidate: side == 'B', Block: block, Lambda: make([]float64, nodes), Slope: make([]float64, nodes)}
			v := level + pullSD*rng.NormFloat64()
			for i := range p.Lambda {
				p.Lambda[i] = v
			}
			out = append(out, p)
		}
	}
	return out
}

// TestCompareSides: the difference and its interval against Student's formulas by hand:
// pulls of one block each side are the two-sample case with pooled variance.
func TestCompareSides(t *testing.T) {
	// Base R: t.test(c(0.90,0.92,0.91), c(0.88,0.87,0.89), var.equal=TRUE)$conf.int is
	// 0.00733042064472 to 0.05266957935528, baseline minus candidate.
	var pulls []SidePull
	for i, v := range []float64{0.90, 0.92, 0.91, 0.88, 0.87, 0.89} {
		pulls = append(pulls, SidePull{Candidate: i >= 3, Block: i / 3, Lambda: []float64{v, v}, Slope: []float64{0, 0}})
	}
	s, err := CompareSides(pulls, []float64{3000, 3250}, [2]float64{}, Common{Sensor: 0.02}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "difference", s.Mean.Difference, -0.03, 1e-12)
	near(t, "low", s.Mean.Lo, -0.05266957935528, 1e-9)
	near(t, "high", s.Mean.Hi, -0.00733042064472, 1e-9)
	if s.ByBlock || s.Blocks != [2]int{1, 1} || s.Pulls != [2]int{3, 3} {
		t.Errorf("%+v", s)
	}
	if !(s.Nodes[0].AllLo < s.Nodes[0].Lo && s.Nodes[0].AllHi > s.Nodes[0].Hi) {
		t.Errorf("limits for all speeds at once are no wider: %+v", s.Nodes[0])
	}
	for i := range pulls {
		if pulls[i].Candidate {
			pulls[i].Slope = []float64{0.1, 0.1}
		}
	}
	if s, err = CompareSides(pulls, []float64{3000, 3250}, [2]float64{}, Common{Delay: 0.1}, 0.95); err != nil || !(s.Mean.U > 0.01) {
		t.Errorf("slopes apart by 0.1/s with a delay known to 0.1 s: %+v, %v", s.Mean, err)
	}
	if _, err := CompareSides(pulls[:3], []float64{3000, 3250}, [2]float64{}, Common{}, 0.95); !errors.Is(err, ErrNoSide) {
		t.Errorf("one side: %v", err)
	}
	pulls[0].Lambda = []float64{math.NaN(), 0.9}
	if s, err = CompareSides(pulls, []float64{3000, 3250}, [2]float64{}, Common{}, 0.95); err != nil || s.Mean.SpeedRPM != 3250 {
		t.Errorf("a node that one pull lacks is in the mean: %+v, %v", s, err)
	}
}

// TestCompareSidesCoverage: with blocks enough, the interval holds the scatter of
// blocks; the interval over pulls would not.
func TestCompareSidesCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	const rounds = 600
	held := 0
	for range rounds {
		s, err := CompareSides(sidePulls(rng, "ABABAB", 0.90, 0.91, 0.003, 0.004, 1), []float64{4000}, [2]float64{}, Common{}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !s.ByBlock {
			t.Fatal("six blocks")
		}
		if s.Mean.Lo <= 0.01 && 0.01 <= s.Mean.Hi {
			held++
		}
	}
	// Two standard deviations of the count are 1.8 %.
	if p := float64(held) / rounds; p < 0.93 || p > 0.97 {
		t.Errorf("%.3f of the intervals hold the truth", p)
	}
}

// loopOf is a mixture loop of an engine with a known answer.
func loopOf(rng *rand.Rand, best, c, sd float64) []LoopPoint {
	var out []LoopPoint
	for i := range 18 {
		x := 0.78 + 0.20*float64(i)/17
		out = append(out, LoopPoint{SpeedRPM: 4000, Lambda: x, Torque: 60 * (1 - c*(x-best)*(x-best)) * (1 + sd*rng.NormFloat64())})
	}
	return out
}

// TestLoopAndShareCoverage: best point, curvature and share of a known engine are within
// their intervals as often as these say.
func TestLoopAndShareCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	const rounds, best, c = 150, 0.88, 3.0
	relative := func(x float64) float64 { return 1 - c*(x-best)*(x-best) }
	want := relative(0.90)/relative(0.97) - 1
	var bests, curves, shares int
	for range rounds {
		s, err := FitLoop(loopOf(rng, best, c, 0.003), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if s.BestLo <= best && best <= s.BestHi {
			bests++
		}
		if s.CurvatureLo <= c && c <= s.CurvatureHi {
			curves++
		}
		sides, err := CompareSides(sidePulls(rng, "ABABAB", 0.97, 0.90, 0.003, 0.002, 1), []float64{4000}, [2]float64{}, Common{}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		share, err := s.Share(ShareInput{Sides: sides, Weight: []float64{60}}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if share.Lo <= want && want <= share.Hi {
			shares++
		}
		bounds, err := Published.Share(ShareInput{Sides: sides, Weight: []float64{60}}, 0.95)
		if err != nil || !bounds.Bounds || !(bounds.Lo <= want && want <= bounds.Hi) {
			t.Errorf("the published range gives %+v, the truth is %.4f (%v)", bounds, want, err)
		}
	}
	// The binomial's two standard deviations at 150 rounds are 3.6 %.
	for name, n := range map[string]int{"best point": bests, "curvature": curves, "share": shares} {
		if p := float64(n) / rounds; p < 0.90 {
			t.Errorf("%s: %.3f of the intervals hold the truth", name, p)
		}
	}
}

// TestShareNothing: alike fuelled, the share is about nothing; at the best point a small
// difference costs little, off it more.
func TestShareNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 26))
	s, err := FitLoop(loopOf(rng, 0.88, 3, 0.002), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	of := func(a, b float64) Share {
		sides, err := CompareSides(sidePulls(rng, "ABABAB", a, b, 0.001, 0, 1), []float64{4000}, [2]float64{}, Common{}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		share, err := s.Share(ShareInput{Sides: sides, Weight: []float64{60}}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !(share.Lo <= share.Value && share.Value <= share.Hi) {
			t.Errorf("%+v", share)
		}
		return share
	}
	if v := of(0.88, 0.88); math.Abs(v.Value) > 5e-4 {
		t.Errorf("alike: %+v", v)
	}
	if near, far := of(0.88, 0.90), of(0.95, 0.97); math.Abs(near.Value) > 0.004 || far.Value > -0.008 {
		t.Errorf("by the best point %+v, off it %+v", near, far)
	}
	in := ShareInput{Sides: &Sides{Nodes: []SideNode{{}}, Mean: SideNode{U: math.NaN()}}, Weight: []float64{1}}
	if _, err := s.Share(in, 0.95); !errors.Is(err, ErrNoShare) {
		t.Errorf("without an interval: %v", err)
	}
	if _, err := Published.Share(ShareInput{}, 0.95); !errors.Is(err, ErrNoShare) {
		t.Errorf("without sides: %v", err)
	}
}

// TestBatches: a mixture loop in a log at one speed is cut into its points, and its
// sensitivity found through the sensor's lag.
func TestBatches(t *testing.T) {
	var p plan
	for i := range 14 {
		p = append(p, struct{ seconds, speed, load, lambda float64 }{4, 4000, 1, 0.80 + 0.015*float64(i)})
	}
	p = append(p, struct{ seconds, speed, load, lambda float64 }{4, 5000, 1, 0.9})
	s := drive(p, 0.1)
	torque := make([]float64, len(s.Time))
	for i := range torque {
		leg := min(int(s.Time[i]/4), len(p)-1)
		x := p[leg].lambda - 0.88
		torque[i] = 60 * (1 - 3*x*x)
	}
	points, err := Batches(s, torque, DefaultBatches(1))
	if err != nil {
		t.Fatal(err)
	}
	loops, used, err := Loops(points, 500, 0.1, 0.95)
	if err != nil || len(loops) != 1 {
		t.Fatalf("%d loops of %d points, %v", len(loops), len(points), err)
	}
	near(t, "best", loops[0].Best, 0.88, 0.004)
	near(t, "curvature", loops[0].Curvature, 3, 0.3)
	near(t, "speed", loops[0].SpeedRPM, 4000, 1)
	if len(used) < 20 || len(used) > 28 {
		t.Errorf("%d points of two seconds in 56 s", len(used))
	}
}
