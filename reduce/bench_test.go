package reduce

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkReduceSampled finds and reduces one sampled pull of about 4,000 rows
// on a grid of 121 nodes.
func BenchmarkReduceSampled(b *testing.B) {
	w := twin().run()
	random := rand.New(rand.NewPCG(1, 1))
	log := w.sampled(flaws{rate: 4000 / w.end, noise: 0.05, engineNoise: 2, turn: 0.002, random: random})
	s := w.settings()
	b.ReportAllocs()
	for b.Loop() {
		reduced(b, log, s)
	}
	b.ReportMetric(float64(len(log.Time)), "rows")
}

// BenchmarkReducePulses finds and reduces one pulse log of about 60,000 pulses.
func BenchmarkReducePulses(b *testing.B) {
	w := twin()
	w.coast = 17
	w.run()
	random := rand.New(rand.NewPCG(1, 2))
	log := shaken(w.pulses(60, nil, 1), 2e-6, random)
	s := w.settings()
	s.PulsesPerRev, s.EnginePulsesPerRev = 60, 1
	b.ReportAllocs()
	for b.Loop() {
		reduced(b, log, s)
	}
	b.ReportMetric(float64(len(log.DrumPulse)), "pulses")
}
