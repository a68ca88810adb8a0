package mixture

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// plan is where an engine goes: for so long at a speed and a load, at a mixture.
type plan []struct{ seconds, speed, load, lambda float64 }

// drive reads a plan at 100 Hz. The reading follows the mixture with a first-order lag,
// exactly, mixtures being constant in between.
func drive(p plan, lag float64) Series {
	var s Series
	s.Lambda.Lag = lag
	t, y := 0.0, p[0].lambda
	for _, leg := range p {
		for range int(math.Round(leg.seconds * 100)) {
			s.Time, s.Speed, s.Load = append(s.Time, t), append(s.Speed, leg.speed), append(s.Load, leg.load)
			s.Lambda.Values = append(s.Lambda.Values, y)
			t += 0.01
			if lag > 0 {
				y += (leg.lambda - y) * -math.Expm1(-0.01/lag)
			} else {
				y = leg.lambda
			}
		}
	}
	return s
}

// TestVisitsCount: what is one visit, what are two, and what is none.
func TestVisitsCount(t *testing.T) {
	r := DefaultRule(500, 0.1)
	r.Settle = 0
	s := drive(plan{
		{2, 3000, 0.5, 0.9}, {0.5, 3600, 0.5, 0.9}, {2, 3000, 0.5, 0.9}, // back within a second: the same visit
		{2, 4000, 0.5, 0.95}, {2, 3000, 0.5, 0.9}, // away for two seconds: another one
		{0.05, 5000, 0.5, 1}, // too short
		{2, 6000, 0.5, 1.6},  // fuel cut: no lambda that counts
		{1, 3000, 0.5, 0.9},
	}, 0)
	visits, left, err := Visits(s, r)
	if err != nil {
		t.Fatal(err)
	}
	type key struct{ speed, load int }
	count, seconds := map[key]int{}, map[key]float64{}
	for _, v := range visits {
		count[key{v.Speed, v.Load}]++
		seconds[key{v.Speed, v.Load}] += v.Seconds
	}
	if count[key{6, 5}] != 3 || count[key{8, 5}] != 1 || count[key{7, 5}] != 1 || len(count) != 3 {
		t.Errorf("visits %v", count)
	}
	// Of four legs of 7 s, the interval in which each begins is lost, and the row after the cut.
	near(t, "seconds at 3,000", seconds[key{6, 5}], 7-5*0.01, 1e-9)
	near(t, "unread", left.Unread, 2, 0.03)
	near(t, "short", left.Short, 0.04, 0.011)
}

// TestVisitsSettle: rows right after the load moved are left out.
func TestVisitsSettle(t *testing.T) {
	r := DefaultRule(500, 0.1)
	s := drive(plan{{3, 3000, 0.2, 0.9}, {3, 3000, 0.6, 0.9}}, 0)
	visits, left, err := Visits(s, r)
	if err != nil || len(visits) != 2 {
		t.Fatalf("%d visits, %v", len(visits), err)
	}
	for _, v := range visits {
		near(t, "seconds", v.Seconds, 2.5, 0.03)
	}
	near(t, "unsettled", left.Unsettled, 1, 0.03)
}

// TestVisitsLag: the mean over a stay is that of the true mixture although the reading
// lags: without the lag's share it would not be.
func TestVisitsLag(t *testing.T) {
	r := DefaultRule(500, 0.1)
	r.Settle = 0
	s := drive(plan{{3, 3000, 0.5, 1.0}, {0.6, 4000, 0.5, 0.86}, {3, 5000, 0.5, 0.95}}, 0.25)
	visits, _, err := Visits(s, r)
	if err != nil || len(visits) != 3 {
		t.Fatalf("%d visits, %v", len(visits), err)
	}
	for i, want := range []float64{1.0, 0.86, 0.95} {
		near(t, "mean of a stay", visits[i].Lambda, want, 3e-3)
	}
	s.Lambda.Lag = 0
	if visits, _, _ = Visits(s, r); math.Abs(visits[1].Lambda-0.86) < 0.03 {
		t.Errorf("with the lag left in, the short stay reads %.3f: the case shows nothing", visits[1].Lambda)
	}
}

func TestVisitsRefusals(t *testing.T) {
	s := drive(plan{{1, 3000, 0.5, 0.9}}, 0)
	if _, _, err := Visits(s, Rule{}); err == nil {
		t.Error("a rule without figures was taken")
	}
	if _, _, err := Visits(s, DefaultRule(1, 0.1)); !errors.Is(err, ErrCells) {
		t.Errorf("cells of 1/min: %v", err)
	}
	if _, _, err := Visits(s, DefaultRule(500, 1e-6)); !errors.Is(err, ErrCells) {
		t.Errorf("cells of a millionth of load: %v", err)
	}
	s.Speed = s.Speed[1:]
	if _, _, err := Visits(s, DefaultRule(500, 0.1)); err == nil {
		t.Error("lists of two lengths were taken")
	}
}

// FuzzVisits: whatever a log holds, visits are finite and no longer than the log.
func FuzzVisits(f *testing.F) {
	f.Add(uint64(1), 0.3, 1.0)
	f.Add(uint64(9), math.NaN(), 1e300)
	f.Fuzz(func(t *testing.T, seed uint64, odd, step float64) {
		rng := rand.New(rand.NewPCG(seed, 1))
		var s Series
		at := 0.0
		for range 200 {
			at += rng.ExpFloat64() * 0.05
			pick := func(v float64) float64 {
				if rng.IntN(20) == 0 {
					return odd
				}
				return v
			}
			s.Time = append(s.Time, at)
			s.Speed, s.Load = append(s.Speed, pick(3000+500*rng.NormFloat64())), append(s.Load, pick(rng.Float64()))
			s.Lambda.Values = append(s.Lambda.Values, pick(0.9+0.1*rng.NormFloat64()))
			s.Gas.Values = append(s.Gas.Values, pick(0.9+0.1*rng.NormFloat64()))
		}
		s.Lambda.Lag = 0.1
		visits, _, err := Visits(s, DefaultRule(math.Abs(step)*100+1, 0.1))
		if err != nil {
			return
		}
		sum := 0.0
		for _, v := range visits {
			sum += v.Seconds
			if v.Seconds <= 0 || math.IsNaN(v.Lambda) && math.IsNaN(v.Gas) || math.IsInf(v.Lambda, 0) || v.Slope-v.Slope != 0 {
				t.Errorf("visit %+v", v)
			}
		}
		if sum > at+1e-9 {
			t.Errorf("%g s of visits in a log of %g s", sum, at)
		}
	})
}

// cellVisits are visits to a grid of cells: each cell's own mean plus scatter from visit
// to visit.
func cellVisits(rng *rand.Rand, truth func(speed, load int) float64, speeds, loads, each int, sd float64) []Visit {
	var out []Visit
	for speed := range speeds {
		for load := range loads {
			for range each {
				out = append(out, Visit{Speed: speed + 4, Load: load + 2, Seconds: 1, Lambda: truth(speed+4, load+2) + sd*rng.NormFloat64(), Gas: math.NaN()})
			}
		}
	}
	return out
}

// TestGridCoverage: over many grids of a curved surface, the interval of a cell's own
// visits covers its truth in 95 % of cases, and so does that of the smoothed value on
// average over cells, which is narrower.
func TestGridCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	truth := func(speed, load int) float64 {
		return 0.93 + 0.03*math.Sin(float64(speed)/3) + 0.02*math.Cos(float64(load)/2)
	}
	own, smoothed, n := 0, 0, 0
	var widthOwn, widthSmooth float64
	for range 12 {
		g, err := NewGrid(cellVisits(rng, truth, 10, 7, 4, 0.01), Rule{SpeedStep: 500, LoadStep: 0.1}, nil, Common{}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for i := range g.Cells {
			c := &g.Cells[i]
			want := truth(c.speed, c.load)
			n++
			if c.Lo <= want && want <= c.Hi {
				own++
			}
			if c.SmoothLo <= want && want <= c.SmoothHi {
				smoothed++
			}
			widthOwn, widthSmooth = widthOwn+c.Hi-c.Lo, widthSmooth+c.SmoothHi-c.SmoothLo
			if c.Why != NoTarget || !math.IsNaN(c.Change) {
				t.Fatalf("without a target: %+v", c)
			}
		}
	}
	// 840 cells: two standard deviations of the count are 1.5 %.
	if p := float64(own) / float64(n); p < 0.93 || p > 0.97 {
		t.Errorf("own intervals cover %.3f of %d", p, n)
	}
	if p := float64(smoothed) / float64(n); p < 0.92 || p > 0.985 {
		t.Errorf("smoothed intervals cover %.3f of %d", p, n)
	}
	if !(widthSmooth < widthOwn/2) {
		t.Errorf("smoothing took the width from %.4f to %.4f only", widthOwn/float64(n), widthSmooth/float64(n))
	}
}

// TestGridBlank: two visits leave a cell blank, and no neighbour fills it.
func TestGridBlank(t *testing.T) {
	var visits []Visit
	for speed := range 5 {
		for k := range 3 {
			if speed == 2 && k == 2 {
				continue
			}
			visits = append(visits, Visit{Speed: speed, Load: 1, Seconds: 2, Lambda: 0.9 + 0.002*float64(k), Gas: math.NaN()})
		}
	}
	g, err := NewGrid(visits, Rule{SpeedStep: 500, LoadStep: 0.1}, Targets{{Lambda: 0.88, Leanest: 0.92}}, Common{}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for i := range g.Cells {
		c := &g.Cells[i]
		if (c.speed == 2) != c.Blank() {
			t.Errorf("cell %d: %d visits", c.speed, c.Visits)
		}
		if c.Blank() && !(math.IsNaN(c.Lambda) && math.IsNaN(c.Smooth) && math.IsNaN(c.Lo) && math.IsNaN(c.Change) && math.IsNaN(c.Error) && c.Why == FewVisits) {
			t.Errorf("a blank cell says something: %+v", c)
		}
		if !c.Blank() && (c.Why != ToTarget || !(c.Change > 0)) {
			t.Errorf("a lean cell: %+v", c)
		}
	}
}

// TestChange: the rules of a change of fuel, one by one.
func TestChange(t *testing.T) {
	target := Target{Lambda: 0.88, Leanest: 0.90}
	for _, c := range []struct {
		name           string
		target         Target
		lambda, lo, hi float64
		change         float64
		why            Reason
	}{
		{"a little lean", target, 0.90, 0.895, 0.905, 0.90/0.88 - 1, ToTarget},
		{"very lean", target, 1.0, 0.99, 1.01, 0.05, OneStep},
		{"very rich", target, 0.70, 0.69, 0.71, -0.05, OneStep},
		{"a little rich", target, 0.86, 0.85, 0.87, 0.86/0.88 - 1, ToTarget},
		{"rich, and not well known", target, 0.86, 0.845, 0.888, 0, OnTarget},
		{"rich, held back", Target{Lambda: 0.88, Leanest: 0.885}, 0.86, 0.845, 0.875, 0.875/0.885 - 1, AtLeanest},
		{"rich, its upper end at the limit already", Target{Lambda: 0.88, Leanest: 0.88}, 0.86, 0.845, 0.879, 0.879/0.88 - 1, AtLeanest},
		{"rich, no limit declared", Target{Lambda: 0.88}, 0.80, 0.79, 0.81, 0, NoLeanest},
		{"on target", target, 0.881, 0.875, 0.887, 0, OnTarget},
	} {
		change, why := c.target.Change(c.lambda, c.lo, c.hi)
		if math.Abs(change-c.change) > 1e-12 || why != c.why {
			t.Errorf("%s: %+.4f (%s), want %+.4f (%s)", c.name, change, why, c.change, c.why)
		}
	}
	if v, why := target.Change(0.9, math.NaN(), math.NaN()); !math.IsNaN(v) || why != NoInterval {
		t.Errorf("without an interval: %g, %s", v, why)
	}
	for _, bad := range []Target{{}, {Lambda: 0.88, Leanest: 0.87}, {Lambda: math.NaN()}, {Lambda: 0.9, SpeedRPM: [2]float64{5000, 3000}}, {Lambda: 0.9, Load: [2]float64{0, math.Inf(1)}}} {
		if err := bad.Validate(); !errors.Is(err, ErrTarget) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// TestChangeNeverLeanerThanLimit: whatever a cell shows, a change that takes fuel away
// leaves the upper end of its interval at or below the leanest limit.
func TestChangeNeverLeanerThanLimit(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 20_000 {
		target := Target{Lambda: 0.8 + 0.2*rng.Float64()}
		target.Leanest = target.Lambda + 0.05*rng.Float64()
		lambda, half := 0.7+0.5*rng.Float64(), 0.05*rng.Float64()
		change, _ := target.Change(lambda, lambda-half, lambda+half)
		if math.Abs(change) > MostChange+1e-15 {
			t.Fatalf("a change of %g", change)
		}
		if change < 0 && (lambda+half)/(1+change) > target.Leanest*(1+1e-12) {
			t.Fatalf("target %+v at %.4f ± %.4f: a change of %.4f", target, lambda, half, change)
		}
	}
}

// TestCurve: Student's interval over visits against base R's t.test on the same five
// figures (testdata/reference.R); what visits share widens it.
func TestCurve(t *testing.T) {
	var visits []Visit
	for _, v := range []float64{0.93, 0.95, 0.92, 0.96, 0.94} {
		visits = append(visits, Visit{Speed: 12, Seconds: 0.5, Lambda: v, Slope: 0.2})
	}
	visits = append(visits, Visit{Speed: 13, Seconds: 1, Lambda: 0.9, Gas: math.NaN()}, Visit{Speed: 14, Seconds: 1, Lambda: math.NaN(), Gas: 0.9})
	nodes, err := Curve(visits, 250, Common{}, 0.95)
	if err != nil || len(nodes) != 2 {
		t.Fatalf("%+v, %v", nodes, err)
	}
	n := nodes[0]
	near(t, "lower end", n.Lo, 0.920367568385224, 1e-9)
	near(t, "upper end", n.Hi, 0.959632431614775, 1e-9)
	near(t, "speed", n.SpeedRPM, 3000, 0)
	near(t, "alone, all speeds at once are the same", n.AllLo, n.Lo, 1e-12)
	if !math.IsNaN(nodes[1].Lo) || nodes[1].Visits != 1 {
		t.Errorf("one visit: %+v", nodes[1])
	}
	wider, err := Curve(visits, 250, Common{Sensor: 0.01, Delay: 0.05}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	// Against the sum of variances: 0.0158113883²/5 + 0.01² + (0.2·0.05)², with
	// Welch–Satterthwaite's 4·(2.5e-4/5e-5)² = 100 degrees of freedom; R: qt(0.975, 100).
	near(t, "with a sensor's and a delay's part", wider[0].Hi-wider[0].Lambda, 1.98397151852356*math.Sqrt(5e-5+1e-4+1e-4), 1e-9)
	if _, err := Curve(visits, 250, Common{}, 1); !errors.Is(err, ErrConfidence) {
		t.Errorf("a confidence of 1: %v", err)
	}
}

// TestCompareGrids: before and after, a cell that was made 3 % richer.
func TestCompareGrids(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	flat := func(_, _ int) float64 { return 0.95 }
	richer := func(_, _ int) float64 { return 0.95 / 1.03 }
	r := Rule{SpeedStep: 500, LoadStep: 0.1}
	before, err := NewGrid(cellVisits(rng, flat, 6, 5, 5, 0.005), r, nil, Common{}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	after, err := NewGrid(cellVisits(rng, richer, 5, 5, 5, 0.005), r, nil, Common{}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	changes, err := CompareGrids(before, after, 0.95)
	if err != nil || len(changes) != 25 {
		t.Fatalf("%d pairs, %v", len(changes), err)
	}
	held := 0
	for _, c := range changes {
		if want := 1/1.03 - 1; c.Lo <= want && want <= c.Hi {
			held++
		}
	}
	if held < 21 {
		t.Errorf("%d of 25 intervals hold the change", held)
	}
	after.SpeedStep = 250
	if _, err := CompareGrids(before, after, 0.95); !errors.Is(err, ErrCells) {
		t.Errorf("grids of two steps: %v", err)
	}
}
