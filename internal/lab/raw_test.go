package lab

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Whatever is thinned keeps its least and greatest value, its gaps and its order,
// and is no longer than was asked for.
func TestThinnedKeepsExtremes(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for round := range 300 {
		n, points := 1+random.IntN(5000), 3+random.IntN(400)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i), random.NormFloat64()
			if round%3 == 0 && random.IntN(50) == 0 {
				y[i] = math.NaN()
			}
		}
		gotX, gotY := thinned(x, y, 0, float64(n), points)
		if len(gotX) != len(gotY) || len(gotX) > points || !slices.IsSorted(gotX) {
			t.Fatalf("%d values to %d: %d and %d points, in order: %v", n, points, len(gotX), len(gotY), slices.IsSorted(gotX))
		}
		if lo, hi := ends(y); lo != first(ends(gotY)) || hi != second(ends(gotY)) {
			t.Fatalf("%d values to %d: %g to %g became %g to %g", n, points, lo, hi, first(ends(gotY)), second(ends(gotY)))
		}
		if slices.ContainsFunc(y, math.IsNaN) != slices.ContainsFunc(gotY, math.IsNaN) {
			t.Fatalf("%d values to %d: a gap came or went", n, points)
		}
		for i, at := range gotX {
			if v := y[int(at)]; v != gotY[i] && !(math.IsNaN(v) && math.IsNaN(gotY[i])) {
				t.Fatalf("the point at %g is %g, the value there is %g", at, gotY[i], v)
			}
		}
	}
}

func ends(values []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return lo, hi
}

func first(a, _ float64) float64  { return a }
func second(_, b float64) float64 { return b }

// A window has one value more on either side, so that a line leaves the picture.
func TestThinnedWindow(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5, 6}
	got, _ := thinned(x, x, 1.5, 4.5, 100)
	if !slices.Equal(got, []float64{1, 2, 3, 4, 5}) {
		t.Errorf("1.5 to 4.5 gives %v", got)
	}
	if got, _ = thinned(x, x, -9, 99, 100); !slices.Equal(got, x) {
		t.Errorf("more than there is gives %v", got)
	}
}

// Sixty pulses a turn at one turn a second: 2π rad/s, whatever comes between them.
func TestPulseSpeed(t *testing.T) {
	var times []float64
	for i := range 121 {
		times = append(times, float64(i)/60)
	}
	times = append(times, times[120]) // a repeated stamp has no speed
	x, y := pulseSpeed(times, 60)
	if len(x) != 121 || !math.IsNaN(y[120]) || math.Abs(x[0]-1.0/120) > 1e-15 {
		t.Fatalf("%d speeds, the first at %g, the last %g", len(x), x[0], y[120])
	}
	for i, v := range y[:120] {
		if math.Abs(v/(2*math.Pi)-1) > 1e-12 {
			t.Fatalf("speed %d is %g rad/s", i, v)
		}
	}
}

func TestLinesOfALog(t *testing.T) {
	l := &RawLog{text: []byte("a\r\nb\n\nlast")}
	l.lines = lineStarts(l.text)
	got := l.Lines(2, 2)
	if l.LineCount() != 4 || len(got) != 2 || got[0].Text != "b" || got[0].Number != 2 || got[1].Text != "" {
		t.Errorf("%d lines, %+v", l.LineCount(), got)
	}
	if got = l.Lines(4, 9); len(got) != 1 || got[0].Text != "last" {
		t.Errorf("the last: %+v", got)
	}
	if n := len(lineStarts(nil)); n != 0 {
		t.Errorf("nothing has %d lines", n)
	}
}

func BenchmarkThinned(b *testing.B) {
	x, y := make([]float64, 200_000), make([]float64, 200_000)
	for i := range x {
		x[i], y[i] = float64(i), math.Sin(float64(i))
	}
	for b.Loop() {
		thinned(x, y, 0, 200_000, 4000)
	}
}
