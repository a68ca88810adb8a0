package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// FuzzCompare makes small campaigns of any shape from bytes: order, setups, numbers of
// pulls, scatter down to none, history or none. Whatever comes, Compare answers with
// finite, ordered limits or an error, and shows nothing that it has no right to.
func FuzzCompare(f *testing.F) {
	f.Add([]byte{0x12, 1, 2, 3}, []byte("ABA"), 3.0, 0.01, 10.0)
	f.Add([]byte{0, 0, 0, 0}, []byte("ABBA"), 2.0, 0.0, 0.0)
	f.Add([]byte{9, 200, 1, 77, 4}, []byte("AB"), 1.0, 0.02, 0.5)
	f.Add([]byte{1, 1, 1, 1, 1, 255}, []byte("ABCABC"), 2.0, 1e-300, 1e6)
	f.Add([]byte{3, 1, 4, 1, 5}, []byte("aBbABb"), 2.0, 0.004, 7.0)
	f.Add([]byte{255, 0, 255, 0}, []byte("ABABABAB"), 1.0, 0.004, 7.0)
	f.Fuzz(func(t *testing.T, noise, order []byte, pulls, sd, df float64) {
		if len(order) > 12 || len(noise) == 0 {
			return
		}
		in := fuzzInput(noise, order, pulls, sd, df)
		out, err := Compare(in)
		if err != nil {
			return
		}
		for i := range out {
			sound(t, &out[i])
		}
	})
}

// fuzzInput reads a campaign: upper-case letters are blocks in setups of their own, a
// lower-case letter is a block in the setup of the one before.
func fuzzInput(noise, order []byte, pulls, sd, df float64) Input {
	in := Input{
		SpeedRPM: []float64{1000, 1500, 2000, 2700, 3000, 3050}, Baseline: "A", Confidence: 0.95, Draws: minDraws,
		SmallestGain: 0.02, BandRPM: [2]float64{1500, 3000}, BandCovered: noise[0]%3 > 0,
		DriftLinear: noise[0]%2 == 0, Primary: Metric(noise[0] % 3),
	}
	in.History.Setup = Spread{sd, df}
	if noise[0]%5 == 0 {
		in.History.Block, in.History.Pull = Spread{sd / 2, df}, Spread{sd / 3, df}
	}
	at := 0
	next := func() float64 {
		at++
		return (float64(noise[at%len(noise)]) - 128) / 1e4
	}
	setup := 0
	seen := map[string]bool{"A": true}
	for b, c := range order {
		if c >= 'A' && c <= 'Z' {
			setup = b
		} else {
			c -= 'a' - 'A'
		}
		configuration := string(rune(c))
		if !seen[configuration] {
			seen[configuration] = true
			in.Candidates = append(in.Candidates, configuration)
		}
		for p := range int(min(max(pulls, 1), 6)) {
			y := make([]float64, len(in.SpeedRPM))
			for i := range y {
				y[i] = 4 + next()
			}
			in.Pulls = append(in.Pulls, Pull{
				Name: fmt.Sprint(b, p), Configuration: configuration, Setup: fmt.Sprint(setup),
				Hours: float64(b) + 0.1*float64(p), LogTorque: y, LnFactor: next(),
			})
		}
	}
	return in
}

// sound fails where a comparison contradicts itself.
func sound(t *testing.T, c *Comparison) {
	t.Helper()
	ordered := func(what string, values ...float64) {
		for i, v := range values {
			if math.IsNaN(v) || math.IsInf(v, 0) || i > 0 && v < values[i-1]-1e-12 {
				t.Fatalf("%s: %v", what, values)
			}
		}
	}
	for m := Band; m <= PeakPower; m++ {
		f := c.Figure(m)
		if f.Interval != (f.Missing == "" && c.Scatter.PullDF > 0) {
			t.Fatalf("figure %d: %+v", m, f)
		}
		if f.Interval {
			ordered(fmt.Sprint("figure ", m), f.Lo, f.AtLeast, f.Gain, f.AtMost, f.Hi)
			ordered("its df and SE", 0, f.SE)
			if !(f.DF > 0) {
				t.Fatalf("%v degrees of freedom", f.DF)
			}
		}
	}
	for _, n := range c.Curve {
		ordered("levels", 0, min(n.Baseline, n.Candidate))
		if n.Interval {
			ordered("node", n.Lo, n.AtLeast, n.Gain, n.Hi)
		}
		if !math.IsNaN(n.BandLo) {
			ordered("whole band", n.BandLo, n.BandAtLeast, n.Gain, n.BandHi)
		}
	}
	if c.Drift.Known {
		ordered("drift", c.Drift.ChangeLo, c.Drift.Change, c.Drift.ChangeHi)
		ordered("drift's p", 0, c.Drift.P, 1)
	}
	var sum float64
	for _, v := range c.Parts {
		ordered("a part of the variance", 0, v)
		sum += v
	}
	f := c.Figure(c.Primary)
	if f.Interval {
		near(t, "parts", sum, square(f.SE), 1e-9)
	}
	if shown := c.Verdict != NotEnoughEvidence; shown && (!f.Interval || !c.Scatter.SetupKnown || !c.Scatter.BlockKnown || !c.DriftBounded || len(c.Reasons) > 0) {
		t.Fatalf("%q: %+v", c.Verdict, c)
	}
}

// TestAnyCampaign is the same question over random campaigns with a bias to what is
// degenerate: no scatter at all, half a degree of freedom, a million of them.
func TestAnyCampaign(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	compared := 0
	for range 1000 {
		noise := make([]byte, 1+rng.IntN(8))
		for i := range noise {
			if noise[i] = 128; rng.IntN(3) > 0 {
				noise[i] = byte(rng.IntN(256))
			}
		}
		order := make([]byte, rng.IntN(9))
		for i := range order {
			order[i] = "ABCabc"[rng.IntN(6)]
		}
		sd := []float64{0, 1e-300, 0.01, 5, math.Exp(8 * rng.NormFloat64())}[rng.IntN(5)]
		df := []float64{0, 0.5, 1, 1e6, 10, math.Exp(3 * rng.NormFloat64())}[rng.IntN(6)]
		out, err := Compare(fuzzInput(noise, order, float64(rng.IntN(4)), sd, df))
		if err != nil {
			continue
		}
		for i := range out {
			sound(t, &out[i])
			compared++
		}
	}
	if compared < 300 {
		t.Errorf("only %d comparisons came of it", compared)
	}
}
