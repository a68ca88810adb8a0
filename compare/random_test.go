package compare

import (
	"crypto/sha256"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The layers of the ziggurat have one area: the base holds the tail, and the top
// layer ends at the height of the density at zero, by the construction of
// Marsaglia and Tsang (Journal of Statistical Software 5(8), 2000).
func TestZigguratCloses(t *testing.T) {
	z := zigguratTable()
	tail := math.Sqrt(math.Pi/2) * math.Erfc(tailFrom/math.Sqrt2)
	near(t, "area of the base", tailFrom*z.height[1]+tail, layer, 1e-9)
	for i := 1; i < layers; i++ {
		near(t, "area of a layer", z.edge[i]*(z.height[i+1]-z.height[i]), layer, 2e-8)
	}
}

// ranked returns the largest gap between the distribution function of the values
// and cdf, times √n: Kolmogorov's statistic, above 1.95 with chance 0.001.
func ranked(values []float64, cdf func(float64) float64) float64 {
	slices.Sort(values)
	n := float64(len(values))
	var gap float64
	for i, v := range values {
		p := cdf(v)
		gap = max(gap, math.Abs(p-float64(i)/n), math.Abs(p-float64(i+1)/n))
	}
	return gap * math.Sqrt(n)
}

// Normal deviates against the normal distribution function of gonum: as a whole, and
// beyond the start of the tail, where another path of the code makes them.
func TestNormals(t *testing.T) {
	s := newSource(sha256.Sum256([]byte("normals")), 0, 0)
	values := make([]float64, 2_000_001)
	s.fill(values)
	var beyond float64
	var tail []float64
	for _, v := range values {
		if math.Abs(v) > tailFrom {
			beyond++
			tail = append(tail, math.Abs(v))
		}
	}
	n := float64(len(values))
	p := math.Erfc(tailFrom / math.Sqrt2)
	within(t, "deviates beyond the tail's start", beyond, n*p, 4*math.Sqrt(n*p))
	if d := ranked(values, distuv.UnitNormal.CDF); !(d < 1.95) {
		t.Errorf("normal deviates: Kolmogorov statistic %v", d)
	}
	if d := ranked(tail, func(x float64) float64 { return 1 - math.Erfc(x/math.Sqrt2)/p }); !(d < 1.95) {
		t.Errorf("tail: Kolmogorov statistic %v", d)
	}
	// Neighbours are independent: their products have mean 0 and variance 1.
	s.fill(values)
	var sum float64
	for i := 1; i < len(values); i++ {
		sum += values[i] * values[i-1]
	}
	within(t, "mean product of neighbours", sum/n, 0, 4/math.Sqrt(n))
}

// Chi-square deviates against gonum, below and above two degrees of freedom.
func TestChiSquareDeviates(t *testing.T) {
	for i, df := range []float64{0.7, 1, 2, 5.6, 30} {
		s := newSource(sha256.Sum256([]byte("chi")), 0, i)
		values := make([]float64, 100_000)
		for j := range values {
			values[j] = s.chiSquare(df)
		}
		if d := ranked(values, distuv.ChiSquared{K: df}.CDF); !(d < 1.95) {
			t.Errorf("%v degrees of freedom: Kolmogorov statistic %v", df, d)
		}
	}
}

// Streams of one digest are not copies of one another.
func TestStreamsDiffer(t *testing.T) {
	digest := sha256.Sum256([]byte("streams"))
	const n = 100_000
	all := make([][]float64, 4)
	for i := range all {
		all[i] = make([]float64, n)
		newSource(digest, byte(i/2), i%2).fill(all[i])
	}
	for i := range all {
		for j := range i {
			var sum float64
			for k := range n {
				sum += all[i][k] * all[j][k]
			}
			within(t, "correlation of two streams", sum/n, 0, 4/math.Sqrt(n))
		}
	}
}
