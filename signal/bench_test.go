package signal

import (
	"math"
	"testing"
)

// BenchmarkFit fits one cubic to 165 samples, the window of one node.
func BenchmarkFit(b *testing.B) {
	t, y := make([]float64, 165), make([]float64, 165)
	for i := range t {
		t[i] = 3 + float64(i)/144
		y[i] = 100 + 11*t[i] + math.Sin(t[i])
	}
	var f Fit
	for b.Loop() {
		if err := f.Over(t, y, 3.57, 0.57, 3); err != nil {
			b.Fatal(err)
		}
	}
}
