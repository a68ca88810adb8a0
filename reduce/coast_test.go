package reduce

import (
	"math"
	"testing"
)

// TestRoadLoadThroughLog: rows of 40 CFR 86.529-98, figure F98-9, as whole logs: a
// pull, the clutch lever, and a coast-down under the row's load and mass. Force at
// 65 km/h and the time from 70 to 60 km/h come back through phases, fit and losses.
// (All 53 rows go through the fit in package drum.)
func TestRoadLoadThroughLog(t *testing.T) {
	for _, row := range []struct{ mass, a, c, f65, time float64 }{
		{120, 1.7, 0.0230, 98.8, 3.39},
		{200, 8.69, 0.0252, 115.1, 4.85},
		{280, 15.68, 0.0274, 131.4, 5.95},
		{410, 27.04, 0.0310, 157.8, 7.24},
		{570, 41.02, 0.0325, 178.5, 8.90},
		{690, 51.51, 0.0333, 192.1, 10.01},
	} {
		w := twin()
		r, c := w.radius, row.c*3.6*3.6
		w.inertia, w.wheel, w.parasitic = row.mass*r*r, 0, [3]float64{}
		w.loss = [3]float64{row.a * r, 0, c * r * r * r}
		w.ratio = 8000 * math.Pi / 30 / (100 / 3.6 / r) // 100 km/h at 8000 1/min
		w.coast = row.mass * (50 / 3.6) / (row.a + c*15*15)
		w.torque = func(rpm float64) float64 { return curvy(rpm) / 8 }
		w.run()
		for _, rate := range []float64{50, 200} {
			res := reduced(t, w.sampled(flaws{rate: rate}), w.settings())
			if res.Coast == nil {
				t.Errorf("%g kg: no coast-down: %s", row.mass, res.Phases.Rule)
				continue
			}
			torque, _ := res.Coast.At(65 / 3.6 / r)
			if force := torque / r; !(math.Abs(force-row.f65) <= 0.3) {
				t.Errorf("%g kg at %g Hz: force at 65 km/h %.2f N, the table has %.1f", row.mass, rate, force, row.f65)
			}
			time, err := res.Coast.Time(w.inertia, w.parasitic, 70/3.6/r, 60/3.6/r)
			if err != nil || !(math.Abs(time-row.time) <= 0.02) {
				t.Errorf("%g kg at %g Hz: %.4f s from 70 to 60 km/h, %v; the table has %.2f", row.mass, rate, time, err, row.time)
			}
		}
	}
}
