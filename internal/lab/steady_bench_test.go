package lab

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"fairpull/reduce"
)

// hourLog writes an hour of held speeds, 100 samples a second and 16 channels, as a
// logger would, and returns its path: 60 speeds of 50 s with 10 s between.
func hourLog(tb testing.TB) string {
	tb.Helper()
	const rate, seconds, columns = 100, 3600, 16
	r := rand.New(rand.NewPCG(1, 2))
	text := []byte("time [s],drum_speed [rad/s],engine_speed [1/min],brake_torque [N·m],throttle [%],oil_temp [degC],lambda,manifold_pressure [kPa]")
	for i := 8; i < columns; i++ {
		text = fmt.Appendf(text, ",aux_%d [V]", i)
	}
	text = append(text, '\n')
	put := func(v float64, places int) {
		text = append(text, ',')
		text = strconv.AppendFloat(text, v, 'f', places, 64)
	}
	noise := 0.0
	for i := range rate * seconds {
		at := float64(i) / rate
		step, within := math.Floor(at/60), math.Mod(at, 60)
		rpm := 3000 + 500*math.Mod(step, 10)
		if within > 50 {
			rpm += (500*math.Mod(step+1, 10) - 500*math.Mod(step, 10)) * (within - 50) / 10
		}
		noise = 0.97*noise + r.NormFloat64()
		text = strconv.AppendFloat(text, at, 'f', 3, 64)
		put(rpm*math.Pi/30/5.5+0.02*r.NormFloat64(), 4)
		put(rpm+5*r.NormFloat64(), 1)
		put(310+noise, 2)
		put(100, 1)
		put(90+0.2*r.Float64(), 2)
		put(0.88+0.005*r.NormFloat64(), 3)
		put(98+0.1*r.NormFloat64(), 2)
		for range columns - 8 {
			put(r.Float64()*5, 4)
		}
		text = append(text, '\n')
	}
	path := filepath.Join(tb.TempDir(), "hour.csv")
	if err := os.WriteFile(path, text, 0o644); err != nil {
		tb.Fatal(err)
	}
	return path
}

// BenchmarkSteadyHour takes an hour's log of 360,000 rows of 16 channels from text to
// its steady points.
func BenchmarkSteadyHour(b *testing.B) {
	path := hourLog(b)
	s := LogSettings{Settings: reduce.Settings{Inertia: 15, Radius: 0.25, Parasitic: [3]float64{1.1, 0.01, 0}}}
	b.ReportAllocs()
	for b.Loop() {
		view, err := SteadyLog(path, s, DefaultSteadyRule())
		if err != nil {
			b.Fatal(err)
		}
		if n := len(view.Logs[0].Steady.Points); n != 60 {
			b.Fatalf("%d points of 60", n)
		}
	}
}
