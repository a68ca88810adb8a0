package mixture

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// TestRegressPontius: certified coefficients and standard deviations of NIST StRD,
// data set Pontius, a parabola of a badly conditioned kind. The tolerance is what the
// normal equations of centred columns hold.
func TestRegressPontius(t *testing.T) {
	data, err := os.ReadFile("testdata/pontius.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct{ X, Y, Beta, SE []float64 }
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	xx := make([]float64, len(ref.X))
	for i, x := range ref.X {
		xx[i] = x * x
	}
	fit := regress([][]float64{ref.X, xx}, ref.Y)
	if fit.inverse == nil {
		t.Fatal("not determined")
	}
	for j := range ref.Beta {
		near(t, "coefficient", fit.coefficients[j]/ref.Beta[j], 1, 1e-9)
		near(t, "standard deviation", math.Sqrt(fit.inverse[j][j]*fit.variance)/ref.SE[j], 1, 1e-9)
	}
}

// TestSmooth holds values, variances and score against the dense equations solved by
// base R (testdata/reference.R).
func TestSmooth(t *testing.T) {
	line := make([][2]int, 10)
	for i := range line {
		line[i] = [2]int{i, 0}
	}
	grid := [][2]int{{1, 1}, {2, 1}, {3, 1}, {4, 1}, {1, 2}, {3, 2}, {4, 2}, {1, 3}, {2, 3}, {3, 3}, {4, 3}}
	for _, c := range []struct {
		name            string
		places          [][2]int
		z, w            []float64
		s               float64
		score, spent    float64
		values, spreads []float64
	}{
		{"line, stiff", line, []float64{0.92, 0.95, 0.91, 0.97, 0.99, 0.96, 1.02, 1.00, 1.05, 1.01}, []float64{3, 4, 5, 3, 8, 3, 6, 4, 3, 5}, 100,
			0.00357208283309497, 2.63132319177861618,
			[]float64{0.91898357833632949, 0.93289027298687932, 0.94682746028733999, 0.96151002196814617, 0.97581146674536567, 0.98886000267602281, 1.00091892047751285, 1.01138571078695017, 1.02080272901279900, 1.02925690213204568},
			[]float64{0.13142592821718249, 0.07270804993462630, 0.04819882415934845, 0.04004960332246393, 0.03772004168440155, 0.03823067640548931, 0.03981797926136114, 0.04598629711273277, 0.06439589934754368, 0.11051543037420407}},
		{"grid with a hole", grid, []float64{0.90, 0.93, 0.91, 0.95, 0.88, 0.97, 0.99, 0.92, 0.94, 0.99, 1.01}, []float64{3, 3, 4, 5, 6, 7, 3, 3, 4, 4, 5}, 2,
			0.00209492135944258, 6.28603667969631719,
			[]float64{0.89347873609288619, 0.91450420382094932, 0.92774159759339847, 0.94864653772319529, 0.89171331321085623, 0.96293712656200703, 0.98428814577955115, 0.90751786014511093, 0.94606862359659483, 0.98577262701412838, 1.01564586317057093},
			[]float64{0.22678212857445429, 0.14061032866793707, 0.11335544274046357, 0.15744748795286959, 0.10123157239245119, 0.08075573176307911, 0.12848905486777432, 0.22189759657998159, 0.12332691964389229, 0.10971082429075041, 0.15744192209296828}},
	} {
		triples, err := neighbours(c.places)
		if err != nil {
			t.Fatal(err)
		}
		s, ok := penalised(triples, c.z, c.w, c.s)
		if !ok {
			t.Fatal(c.name)
		}
		near(t, c.name+": score", s.Score, c.score, 1e-12)
		near(t, c.name+": freedom spent", s.Effective, c.spent, 1e-10)
		for i := range c.z {
			near(t, c.name+": value", s.Values[i], c.values[i], 1e-12)
			near(t, c.name+": variance", s.Variance[i], c.spreads[i], 1e-12)
		}
	}
}

// TestSmoothProperties: a plane stays what it is, nothing crosses a hole, and the score
// of the penalty that was chosen is the least of all that are tried.
func TestSmoothProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var places [][2]int
	var plane, noisy, w []float64
	for x := range 8 {
		for y := range 5 {
			if x == 4 && y != 2 {
				continue
			}
			places = append(places, [2]int{x, y})
			v := 0.9 + 0.01*float64(x) - 0.02*float64(y)
			plane, noisy, w = append(plane, v), append(noisy, v+0.01*rng.NormFloat64()), append(w, float64(3+rng.IntN(5)))
		}
	}
	s, err := Smooth(places, plane, w)
	if err != nil {
		t.Fatal(err)
	}
	for i := range plane {
		near(t, "plane", s.Values[i], plane[i], 1e-9)
	}
	if s, err = Smooth(places, noisy, w); err != nil {
		t.Fatal(err)
	}
	var rough, smooth float64
	for i := range plane {
		rough += (noisy[i] - plane[i]) * (noisy[i] - plane[i])
		smooth += (s.Values[i] - plane[i]) * (s.Values[i] - plane[i])
	}
	if !(smooth < rough/2) {
		t.Errorf("smoothing a plane took the squared error from %.3g to %.3g only", rough, smooth)
	}
	triples, _ := neighbours(places)
	for power := firstPower; power <= lastPower; power += powerStep {
		if other, ok := penalised(triples, noisy, w, math.Pow(10, power)); ok && other.Score < s.Score {
			t.Errorf("penalty %g has a score of %g, that of the chosen %g is %g", other.Penalty, other.Score, s.Penalty, s.Score)
		}
	}
	// Two pieces that share no three neighbours: what one holds does not move the other.
	apart := [][2]int{{0, 0}, {1, 0}, {2, 0}, {3, 0}, {10, 0}, {11, 0}, {12, 0}, {13, 0}}
	triples, _ = neighbours(apart)
	z, ones := []float64{1, 2, 1, 2, 5, 6, 5, 7}, []float64{1, 1, 1, 1, 1, 1, 1, 1}
	a, _ := penalised(triples, z, ones, 3)
	z[5] = 60
	b, _ := penalised(triples, z, ones, 3)
	for i := range 4 {
		near(t, "across a hole", a.Values[i], b.Values[i], 1e-12)
	}
	if s, err = Smooth([][2]int{{0, 0}, {2, 0}}, []float64{1, 3}, []float64{3, 3}); err != nil || s.Values[0] != 1 || s.Values[1] != 3 || s.Penalty != 0 {
		t.Errorf("without neighbours: %+v, %v", s, err)
	}
	for _, bad := range []struct{ z, w []float64 }{{[]float64{math.NaN()}, []float64{1}}, {[]float64{1}, []float64{0}}, {[]float64{1}, []float64{math.Inf(1)}}, {nil, nil}} {
		if _, err := Smooth(make([][2]int, len(bad.z)), bad.z, bad.w); err == nil {
			t.Errorf("%v with %v was smoothed", bad.z, bad.w)
		}
	}
	if _, err := Smooth([][2]int{{0, 0}, {0, 0}}, []float64{1, 2}, []float64{1, 1}); err == nil {
		t.Error("two values at one place were smoothed")
	}
}

// TestFitLoop holds parabola, Fieller interval and curvature against base R
// (testdata/reference.R). Its residuals do not go together in that order.
func TestFitLoop(t *testing.T) {
	var points []LoopPoint
	for i, x := range []float64{0.80, 0.83, 0.86, 0.89, 0.92, 0.95, 0.98} {
		points = append(points, LoopPoint{SpeedRPM: 4000, Lambda: x, Torque: []float64{59.1, 59.7, 60.2, 60.0, 59.8, 59.2, 58.3}[i]})
	}
	s, err := FitLoop(points, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "best", s.Best, 0.876846153846154, 1e-10)
	near(t, "best, low", s.BestLo, 0.871773969051477, 1e-7)
	near(t, "best, high", s.BestHi, 0.88122873463106, 1e-7)
	near(t, "curvature", s.Curvature, 2.86022982606709, 1e-8)
	near(t, "its half-width", s.CurvatureHi-s.Curvature, 0.457131010352375, 1e-7)
	near(t, "torque at the best", s.Relative(s.Best), 1, 1e-12)
	if !s.Within {
		t.Error("the best point lies among the mixtures")
	}
	flat := make([]LoopPoint, len(points))
	for i, p := range points {
		flat[i] = p
		flat[i].Torque = 60 + 0.1*float64(i%2)
	}
	if _, err := FitLoop(flat, 0.95); !errors.Is(err, ErrNoPeak) {
		t.Errorf("a loop without a peak: %v", err)
	}
	if _, err := FitLoop(points[:4], 0.95); !errors.Is(err, ErrShortLoop) {
		t.Errorf("four points: %v", err)
	}
	points[2].Torque = math.NaN()
	if _, err := FitLoop(points, 0.95); !errors.Is(err, ErrShortLoop) {
		t.Errorf("a torque that is no number: %v", err)
	}
}
