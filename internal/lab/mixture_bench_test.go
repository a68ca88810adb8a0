package lab

import (
	"context"
	"path/filepath"
	"testing"

	"fairpull/simulate"
)

// BenchmarkMixtureHour goes from the bytes of a log of an hour, 100 Hz and 16 channels
// (360,000 rows), with sensor and gas analyser, to curve, cells and delays.
func BenchmarkMixtureHour(b *testing.B) {
	dir, _ := tuningSession(b, func(u *simulate.Tuning) { u.Seconds, u.Rate = 3600, 100 })
	q := MixtureQuery{What: []string{filepath.Join(dir, "before.csv")}, Settings: filepath.Join(dir, "mixture.toml")}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Mixture(context.Background(), q); err != nil {
			b.Fatal(err)
		}
	}
}
