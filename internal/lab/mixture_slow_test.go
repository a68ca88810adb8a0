//go:build slow

package lab

import (
	"math"
	"path/filepath"
	"testing"

	"fairpull/simulate"
)

// TestMixtureCoverage counts, over many sessions, how often the intervals of cells, of
// the delays, of the loops and of before and after hold the truth.
func TestMixtureCoverage(t *testing.T) {
	const sessions = 30
	var cells, own, smoothed, late, delays, best, curved, loops int
	for seed := range uint64(sessions) {
		dir, u := tuningSession(t, func(u *simulate.Tuning) { u.Seed = seed + 100 })
		settings := filepath.Join(dir, "mixture.toml")
		m := askMixture(t, MixtureQuery{What: []string{filepath.Join(dir, "before.csv")}, Loops: []string{filepath.Join(dir, "loop.csv")}, Settings: settings})
		n, a, b := cellCoverage(m, u.Truth(nil))
		cells, own, smoothed = cells+n, own+a, smoothed+b
		want := map[string]float64{"lambda sensor": u.SensorDead + u.SensorLag, "gas analyser": u.GasDead + u.GasLag}
		for _, d := range m.Delays {
			delays++
			if math.Abs(d.Total-want[d.What]) <= 2*d.U {
				late++
			}
		}
		for _, l := range m.Loops {
			loops++
			if l.BestLo <= u.Best && u.Best <= l.BestHi {
				best++
			}
			if l.CurvatureLo <= u.Curvature && u.Curvature <= l.CurvatureHi {
				curved++
			}
		}
	}
	t.Logf("%d cells: own %.3f, smoothed %.3f; %d delays within two standard uncertainties: %.3f; %d loops: best %.3f, curvature %.3f",
		cells, float64(own)/float64(cells), float64(smoothed)/float64(cells), delays, float64(late)/float64(delays), loops, float64(best)/float64(loops), float64(curved)/float64(loops))
	for _, c := range []struct {
		what  string
		n, of int
		least float64
	}{{"own intervals of cells", own, cells, 0.935}, {"smoothed intervals of cells", smoothed, cells, 0.92}, {"delays", late, delays, 0.85}, {"best points", best, loops, 0.87}, {"curvatures", curved, loops, 0.87}} {
		if c.of == 0 || float64(c.n) < c.least*float64(c.of) {
			t.Errorf("%s: %d of %d hold the truth", c.what, c.n, c.of)
		}
	}
}
