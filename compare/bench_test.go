package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// benchInput is an invented campaign A-B-A of nine pulls on 111 nodes, 50 1/min
// apart; noise is made here, independently of the package's own sampler.
func benchInput(nodes int) Input {
	rng := rand.New(rand.NewPCG(1, 2))
	in := Input{
		Baseline: "A", Candidates: []string{"B"}, Confidence: 0.95, SmallestGain: 0.02,
		History: History{Setup: Spread{0.007, 12}, Pull: Spread{0.004, 60}},
	}
	for i := range nodes {
		in.SpeedRPM = append(in.SpeedRPM, 2000+50*float64(i))
	}
	for b := range 3 {
		setup := 0.007 * rng.NormFloat64()
		for p := range 3 {
			y := make([]float64, nodes)
			level := setup + 0.003*rng.NormFloat64()
			rough := 0.0
			for i, r := range in.SpeedRPM {
				rough = 0.9*rough + 0.0008*rng.NormFloat64()
				y[i] = math.Log(90) - square((r-4300)/3300) + level + rough
				if b == 1 {
					y[i] += 0.05
				}
			}
			in.Pulls = append(in.Pulls, Pull{
				Name: fmt.Sprint(b, p), Configuration: []string{"A", "B", "A"}[b], Setup: fmt.Sprint(b),
				Hours: float64(b) + float64(p)/15, LogTorque: y, LnFactor: 0.02 + 0.001*float64(b),
			})
		}
	}
	return in
}

// BenchmarkCompare is a whole comparison of nine pulls on 111 nodes with 20,000
// draws: limits for a riding band of 71 nodes, and for the whole range with history
// as numbers and as an archive.
func BenchmarkCompare(b *testing.B) {
	in := benchInput(111)
	whole := in
	in.BandRPM, in.BandCovered = [2]float64{2500, 6000}, true
	archive := whole
	archive.History = History{Archive: archiveOf(b, whole, benchHistory(whole, 11, 4))}
	for _, c := range []struct {
		name string
		in   Input
	}{{"band", in}, {"whole", whole}, {"archive", archive}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Compare(c.in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// benchHistory invents earlier setups on the grid of in.
func benchHistory(in Input, setups, pulls int) [][][]float64 {
	rng := rand.New(rand.NewPCG(3, 4))
	out := make([][][]float64, setups)
	for s := range out {
		level := 0.007 * rng.NormFloat64()
		for range pulls {
			y := make([]float64, len(in.SpeedRPM))
			for i := range y {
				y[i] = in.Pulls[0].LogTorque[i] + level + 0.003*rng.NormFloat64()
			}
			out[s] = append(out[s], y)
		}
	}
	return out
}
