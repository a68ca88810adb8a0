package compare

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// readRig reads configuration A.
func readRig(t testing.TB, in Input) *RigLevel {
	t.Helper()
	r, err := ReadRig(RigSide{Input: in, Configuration: "A"})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func biasBetween(t testing.TB, first, second *RigLevel) *RigBias {
	t.Helper()
	b, err := BiasBetween(first, second)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// sleepRig is a rig whose setups of A have the given values, two pulls alike in each.
// They lie so close in time that no drift is told, and a block of another configuration
// takes no part in their scatter: what is left is a plain sample.
func sleepRig(values []float64) Input {
	order := strings.Repeat("A", len(values)) + "B"
	var blocks [][]float64
	var hours []float64
	for i, v := range values {
		blocks, hours = append(blocks, []float64{v / 1000, v / 1000}), append(hours, 1e-6*float64(i))
	}
	in := flat(order, append(blocks, []float64{0.5, 0.5}), append(hours, 1))
	in.Draws = 0 // the default
	for i := range in.Pulls {
		if i%2 == 1 {
			in.Pulls[i].Hours = in.Pulls[i-1].Hours + 1e-7
		}
	}
	return in
}

// Where each rig's setups are a plain sample, the bias and its interval are those of
// Welch's t test: the two samples of [Student1908] by R (testdata/sleep.R).
func TestBiasIsWelchs(t *testing.T) {
	first := readRig(t, sleepRig([]float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}))
	second := readRig(t, sleepRig([]float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0}))
	if !first.Known || first.Setups != 10 || first.Pulls != 20 || len(first.Values) != 10 {
		t.Fatalf("%+v", first)
	}
	b := biasBetween(t, first, second)
	check := func(what string, got, want, by float64) {
		t.Helper()
		if !(math.Abs(got-want) <= by) {
			t.Errorf("%s: %.10g, want %.10g", what, got, want)
		}
	}
	for _, n := range append(b.Curve, RigNode{Bias: b.Bias, SE: b.SE, DF: b.DF, Lo: b.Lo, Hi: b.Hi}) {
		check("bias", 1000*n.Bias, -1.58, 1e-9)
		check("standard error", 1000*n.SE, 0.8490910172, 1e-7)
		check("degrees of freedom", n.DF, 17.7764735162, 1e-5)
		check("low end", 1000*n.Lo, -3.3654832307, 1e-6)
		check("high end", 1000*n.Hi, 0.2054832307, 1e-6)
	}
	// One value for all speeds: what holds for the whole band is what holds at one, but
	// for the target that the correlation is drawn towards.
	if n := b.Curve[2]; !(n.BandLo <= n.Lo && n.BandHi >= n.Hi) || n.BandHi-n.BandLo > 2*(n.Hi-n.Lo) {
		t.Errorf("whole band %g to %g, at one speed %g to %g", n.BandLo, n.BandHi, n.Lo, n.Hi)
	}
	back := biasBetween(t, second, first)
	check("the other way round", back.Bias, -b.Bias, 0)
	check("its low end", back.Lo, -b.Hi, 1e-15)
}

// With stated scatter the variance has a closed form: of one setup of n pulls on either
// rig, the variance of a setup and that of a pull over n. That one strapping-down for
// all blocks would let setups drop out of a gain changes nothing of it.
func TestBiasMeetsSetups(t *testing.T) {
	const setup, pull = 0.006, 0.004
	told := History{Setup: Spread{setup, 40}, Pull: Spread{pull, 80}}
	blocks := [][]float64{{4, 4, 4}, {4.1, 4.1, 4.1}}
	one := func(oneSetup bool, level float64) *RigLevel {
		in := flat("AB", [][]float64{{level, level, level}, blocks[1]}, nil)
		in.History = told
		for i := range in.Pulls {
			if oneSetup {
				in.Pulls[i].Setup = "s"
			}
			in.Pulls[i].LnFactor = 0.02 * level
		}
		return readRig(t, in)
	}
	for _, oneSetup := range []bool{false, true} {
		b := biasBetween(t, one(oneSetup, 4), one(oneSetup, 4.03))
		// Pulls that do not scatter join the stated ones: 80 of 84 degrees of freedom.
		q := pull * pull * 80 / 84
		weather := square(0.02 * 0.03 * 0.15)
		want := math.Sqrt(2*(setup*setup+q/3) + weather)
		if !(math.Abs(b.SE/want-1) < 1e-9) || !(math.Abs(b.Bias-0.03) < 1e-12) || !(math.Abs(b.Weather-weather) < 1e-18) {
			t.Errorf("one setup %v: bias %g ± %g, want 0.03 ± %g; weather %g, want %g", oneSetup, b.Bias, b.SE, want, b.Weather, weather)
		}
	}
	in := flat("AB", blocks, nil)
	unknown := readRig(t, in)
	if unknown.Known || unknown.Reason != SetupScatterUnknown {
		t.Errorf("setups nobody knows of: %v %q", unknown.Known, unknown.Reason)
	}
	if b := biasBetween(t, unknown, one(false, 4)); b.Interval || !math.IsNaN(b.Lo) || !(math.Abs(b.Bias) < 1e-12) {
		t.Errorf("an interval without knowledge: %+v", b)
	}
}

func TestBiasRefuses(t *testing.T) {
	in := flat("AB", [][]float64{{4, 4}, {4, 4}}, nil)
	if _, err := ReadRig(RigSide{Input: in, Configuration: "C"}); err == nil || !strings.Contains(err.Error(), `no configuration "C"`) {
		t.Errorf("%v", err)
	}
	if _, err := ReadRig(RigSide{Input: in, Configuration: "A", Placement: math.NaN()}); err == nil {
		t.Error("NaN taken")
	}
	first := readRig(t, in)
	other := in
	other.Confidence = 0.9
	if _, err := BiasBetween(first, readRig(t, other)); err == nil || !strings.Contains(err.Error(), "confidence") {
		t.Errorf("%v", err)
	}
	other = in
	other.SpeedRPM = evenRPM(5, 900)
	if _, err := BiasBetween(first, readRig(t, other)); err == nil || !strings.Contains(err.Error(), "one grid") {
		t.Errorf("%v", err)
	}
}

// coverageRigs counts how often the interval of a bias, and its limits for the whole
// band, hold the truth: two rigs that scatter alike, the second 1.2 % higher, with
// histories of their own and orders of their own.
func coverageRigs(t *testing.T, pairs int, s [2]simulated) (band, whole float64) {
	t.Helper()
	const truth = 0.012
	var labs [2]*lab
	for i := range labs {
		labs[i] = newLab(s[i], uint64(700+i))
		labs[i].rng = rand.New(rand.NewPCG(uint64(31+i), 0x71))
	}
	var held, all int
	for range pairs {
		var levels [2]*RigLevel
		for i, l := range labs {
			in := l.campaign()
			for k := range in.Pulls {
				for j := range in.Pulls[k].LogTorque {
					in.Pulls[k].LogTorque[j] += truth * float64(i)
				}
			}
			levels[i] = readRig(t, in)
		}
		b := biasBetween(t, levels[0], levels[1])
		if b.Lo <= truth && truth <= b.Hi {
			held++
		}
		inside := true
		for _, n := range b.Curve {
			if n.BandLo > truth || n.BandHi < truth {
				inside = false
			}
		}
		if inside {
			all++
		}
	}
	return 100 * float64(held) / float64(pairs), 100 * float64(all) / float64(pairs)
}

// rigPairs are the designs whose coverage is counted.
func rigPairs() map[string][2]simulated {
	of := func(order string, history int, oneGo bool) simulated {
		return simulated{order: order, pulls: []int{3}, linear: true, history: history, oneGo: oneGo, gain: noGain}
	}
	return map[string][2]simulated{
		"five setups each, own scatter":    {of("ABABA", 0, false), of("ABABA", 0, false)},
		"three setups, history of 8":       {of("ABA", 8, false), of("ABA", 8, false)},
		"one setup, history of 12":         {of("ABA", 12, true), of("ABA", 12, true)},
		"rich history against own scatter": {of("ABA", 30, false), of("ABABAB", 0, false)},
		"one setup against seven setups":   {of("AB", 10, true), of("ABABABA", 0, false)},
	}
}

func TestCoverageRigs(t *testing.T) {
	name := "three setups, history of 8"
	band, whole := coverageRigs(t, 400, rigPairs()[name])
	t.Logf("%s: band %.1f %%, whole band %.1f %%", name, band, whole)
	// 95 % within three standard errors of 400 pairs, 1.1 %
	if band < 91.7 || whole < 91.7 {
		t.Errorf("coverage of the band %.1f %%, of the whole band at once %.1f %%", band, whole)
	}
}
