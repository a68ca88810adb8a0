package compare

import (
	"crypto/sha256"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// equicorrelated is a field of k nodes with variance one and one correlation, as
// rows (a shared value and one of its own at each node).
func equicorrelated(k int, rho float64) *field {
	f := newField(evenRPM(k, 1000))
	shared := make([]float64, k)
	for i := range shared {
		shared[i] = math.Sqrt(rho)
		own := make([]float64, k)
		own[i] = math.Sqrt(1 - rho)
		f.rows = append(f.rows, own)
	}
	f.rows = append(f.rows, shared)
	return f
}

func evenRPM(k int, step float64) []float64 {
	rpm := make([]float64, k)
	for i := range rpm {
		rpm[i] = step * float64(i+1)
	}
	return rpm
}

// The 95 % quantiles of max|t| and max t of equicorrelated variables, by double
// quadrature (the rows at 0.5 are the tables of Dunnett 1955 and 1964), through
// both forms in which a field can be held: rows, and a path whose values at far
// nodes share only their common part. With 400,000 draws the standard error of the
// largest is 0.006 (five degrees of freedom), so 0.02 is three and more of them.
func TestMaximumOfT(t *testing.T) {
	var c struct{ Expected [][5]float64 }
	reference(t, "maxt_equicorrelated", &c)
	const draws = 400_000
	for n, r := range c.Expected {
		k, rho, df := int(r[0]), r[1], r[2]
		far := newField(evenRPM(k, 1e6))
		far.paths = []covariance{{sd: ones(k), common: rho, length: 100}}
		for form, f := range map[string]*field{"rows": equicorrelated(k, rho), "path": far} {
			if form == "path" && n%3 > 0 {
				continue
			}
			digest := sha256.Sum256([]byte(fmt.Sprint(r, form)))
			largest, size := f.sampler().extremes(digest, purposeBand, draws)
			studentised(digest, purposeBandChi, df, largest, size)
			within(t, fmt.Sprint(form, " two-sided ", r[:3]), quantileOf(size, 0.95), r[3], 0.02)
			within(t, fmt.Sprint(form, " one-sided ", r[:3]), quantileOf(largest, 0.95), r[4], 0.02)
		}
	}
	if len(c.Expected) != 36 {
		t.Fatalf("%d rows", len(c.Expected))
	}
}

func ones(k int) []float64 {
	out := make([]float64, k)
	for i := range out {
		out[i] = 1
	}
	return out
}

// A draw has the covariance that the field says: rows, two paths of different
// lengths on uneven spacing, and standard deviations that differ from node to
// node. Each sample covariance of n draws has standard error √((vᵢvⱼ + c²)/n).
func TestDrawsHaveTheirCovariance(t *testing.T) {
	rpm := []float64{2000, 2050, 2100, 2230, 2500, 3000}
	f := newField(rpm)
	f.rows = [][]float64{{1, 2, 0, -1, 0.5, 0}, {0, 1, 1, 1, 0, 0}, {0.3, 0, 0, 0, 0, 2}, {1, 1, 1, 1, 1, 1}, {0, 0, 0, 0.2, 0, -1}}
	f.add(covariance{sd: []float64{1, 2, 1, 0.5, 1, 1}, common: 0.9, length: 800}, 2)
	f.add(covariance{sd: ones(6), common: 0, length: 100}, 0.5)
	const n = 400_000
	s := f.sampler()
	from := newSource(sha256.Sum256([]byte("covariance")), 0, 0)
	normals, z := make([]float64, s.room()), make([]float64, len(rpm))
	var sums [6][6]float64
	for range n {
		s.draw(from, normals, z)
		for i := range z {
			for j := range i + 1 {
				sums[i][j] += z[i] * z[j] / n
			}
		}
	}
	want := func(i, j int) float64 {
		var c float64
		for _, row := range f.rows {
			c += row[i] * row[j]
		}
		d := math.Abs(rpm[i] - rpm[j])
		sd := []float64{1, 2, 1, 0.5, 1, 1}
		return c + 2*sd[i]*sd[j]*(0.9+0.1*math.Exp(-d/800)) + 0.5*math.Exp(-d/100)
	}
	for i := range rpm {
		near(t, "stated variance", f.variance(i), want(i, i), 1e-12)
		for j := range i + 1 {
			se := math.Sqrt((want(i, i)*want(j, j) + square(want(i, j))) / n)
			within(t, fmt.Sprintf("covariance of nodes %d and %d", i, j), sums[i][j], want(i, j), 4.5*se)
		}
	}
}

// The target of a field that is itself a target is found again, on even and uneven
// spacing, and shrinking it changes nothing.
func TestTargetFindsItself(t *testing.T) {
	for _, rpm := range [][]float64{evenRPM(60, 50), {1000, 1020, 1100, 1150, 1300, 1350, 1700, 2000}} {
		f := newField(rpm)
		f.add(covariance{sd: ones(len(rpm)), common: 0.4, length: 500}, 3)
		common, length := f.normalised().target(1)
		near(t, "common part", common, 0.4, 1e-9)
		near(t, "length", length, 500, 1e-12)
		shrunk := f.shrunk(5, 1)
		for i := range rpm {
			near(t, "variance after shrinking", shrunk.variance(i), 1, 1e-12)
			out := make([]float64, len(rpm))
			shrunk.correlations(i, out)
			for j := i; j < len(rpm); j++ {
				near(t, "correlation", out[j], 0.4+0.6*math.Exp(-(rpm[j]-rpm[i])/500), 1e-9)
			}
		}
	}
}

// Rows beyond the number of nodes are replaced by as many as there are nodes, or
// fewer where they span less, with the same covariance.
func TestCompact(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for _, c := range []struct{ rows, rank, want int }{{40, 9, 9}, {40, 3, 3}, {7, 3, 7}} {
		basis := make([][]float64, c.rank)
		for i := range basis {
			basis[i] = make([]float64, 9)
			for k := range basis[i] {
				basis[i][k] = rng.NormFloat64()
			}
		}
		f := newField(evenRPM(9, 50))
		for range c.rows {
			w := make([]float64, c.rank)
			for i := range w {
				w[i] = rng.NormFloat64()
			}
			f.rows = append(f.rows, weighted(w, basis))
		}
		g := newField(f.rpm)
		g.rows = compact(f.rows, 9)
		if len(g.rows) != c.want {
			t.Errorf("%d rows of rank %d became %d", c.rows, c.rank, len(g.rows))
		}
		want, got := make([]float64, 9), make([]float64, 9)
		for i := range 9 {
			f.correlations(i, want)
			g.correlations(i, got)
			for j := i; j < 9; j++ {
				within(t, "covariance", got[j], want[j], 1e-9*math.Sqrt(f.variance(i)*f.variance(j)))
			}
		}
	}
}
