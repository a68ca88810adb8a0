package signal

import (
	"math"
	"slices"
	"testing"
)

// TestUsable: rows that no fit can use are left out, and only they.
func TestUsable(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		time  []float64
		value []float64
		want  []int // nil: all
		kinds []string
	}{
		{"clean", []float64{1, 2, 3}, []float64{1, 1, 1}, nil, nil},
		{"empty", nil, nil, nil, nil},
		{"repeated", []float64{1, 2, 2, 2, 3}, []float64{1, 1, 1, 1, 1}, []int{0, 1, 4}, []string{RepeatedTime}},
		{"behind", []float64{1, 2, 3, 1.5, 4}, []float64{1, 1, 1, 1, 1}, []int{0, 1, 2, 4}, []string{BackwardTime}},
		{"ahead", []float64{1, 2, 9, 3, 4}, []float64{1, 1, 1, 1, 1}, []int{0, 1, 3, 4}, []string{BackwardTime}},
		{"no value", []float64{1, 2, 3, 4}, []float64{1, nan, math.Inf(-1), 1}, []int{0, 3}, []string{MissingCell}},
		{"no time", []float64{1, nan, 3}, []float64{1, 1, 1}, []int{0, 2}, []string{MissingCell}},
		{"nothing", []float64{nan, nan}, []float64{1, 1}, []int{}, []string{MissingCell}},
	} {
		rows, defects := Usable(c.time, c.value)
		if !slices.Equal(rows, c.want) || (rows == nil) != (c.want == nil) {
			t.Errorf("%s: rows %v, want %v", c.name, rows, c.want)
		}
		var kinds []string
		for _, d := range defects {
			kinds = append(kinds, d.Kind)
		}
		if !slices.Equal(kinds, c.kinds) {
			t.Errorf("%s: defects %+v, want %v", c.name, defects, c.kinds)
		}
	}
}

// TestGapsAndRuns: a gap is longer than 2.5 median intervals; eight equal speeds in
// a row are stuck, saturated or the channel's resolution.
func TestGapsAndRuns(t *testing.T) {
	var ts, y []float64
	for i := range 400 {
		ts, y = append(ts, float64(i)/100), append(y, 50+0.1*float64(i)+0.003*math.Sin(float64(i*i)))
	}
	interval := MedianInterval(ts)
	near(t, "interval", interval, 0.01, 1e-12)
	if d := Gaps(ts, nil, interval, 2.5); d != nil {
		t.Errorf("even sampling has gaps: %+v", d)
	}
	late := slices.Clone(ts)
	for i := 200; i < 400; i++ {
		late[i] += 0.02
	}
	if d := Gaps(late, nil, interval, 2.5); len(d) != 1 || d[0].Row != 200 || math.Abs(d[0].Measured-0.03) > 1e-9 {
		t.Errorf("one gap of 0.03 s before row 200: %+v", d)
	}
	stuck := slices.Clone(y)
	for i := 100; i < 108; i++ {
		stuck[i] = stuck[100]
	}
	if d := EqualRuns(ts, stuck, nil, 0, 8); len(d) != 1 || d[0].Kind != Stuck || d[0].Row != 100 || d[0].Count != 8 {
		t.Errorf("eight equal speeds at row 100: %+v", d)
	}
	if d := EqualRuns(ts, stuck, nil, 0, 9); d != nil {
		t.Errorf("eight are not nine: %+v", d)
	}
	capped := slices.Clone(y)
	for i := range capped {
		capped[i] = math.Min(capped[i], 80)
	}
	if d := EqualRuns(ts, capped, nil, 0, 8); len(d) != 1 || d[0].Kind != Saturated {
		t.Errorf("a speed that ends at 80: %+v", d)
	}
	coarse := slices.Clone(y)
	for i := range coarse {
		coarse[i] = math.Round(coarse[i])
	}
	for _, d := range EqualRuns(ts, coarse, nil, Quantum(coarse), 8) {
		if d.Kind != LowResolution || !d.Repaired {
			t.Errorf("steps of 1, ten samples each: %+v", d)
		}
	}
	held := slices.Clone(coarse)
	for i := 200; i < 240; i++ {
		held[i] = held[200]
	}
	found := false
	for _, d := range EqualRuns(ts, held, nil, Quantum(held), 8) {
		found = found || d.Kind == Stuck && d.Row >= 195 && d.Row <= 200
	}
	if !found {
		t.Error("a coarse channel that stands for four steps is not found stuck")
	}
	if d := EqualRuns(ts, make([]float64, 400), nil, 0, 8); d != nil {
		t.Errorf("a drum at rest: %+v", d)
	}
}

// TestSpikes: a single value off both neighbours, and nothing else.
func TestSpikes(t *testing.T) {
	ts, y := make([]float64, 100), make([]float64, 100)
	for i := range ts {
		ts[i], y[i] = float64(i)/100, 100+0.2*float64(i)
	}
	if s := Spikes(ts, y, nil, 0.03); s != nil {
		t.Errorf("a smooth speed: %+v", s)
	}
	y[40] += 9
	y[70] = 0
	s := Spikes(ts, y, nil, 0.03)
	if len(s) != 2 || s[0].Index != 40 || s[1].Index != 70 {
		t.Errorf("spikes at 40 and 70: %+v", s)
	}
	for i := 20; i < 100; i++ {
		y[i] -= 30 // a step is no spike
	}
	for _, p := range Spikes(ts, y, nil, 0.03) {
		if p.Index != 40 && p.Index != 70 {
			t.Errorf("a step is taken for a spike: %+v", p)
		}
	}
}

// TestLines: a straight course gives its value and slope everywhere, across a gap
// and at both ends.
func TestLines(t *testing.T) {
	var ts, y []float64
	for i := range 300 {
		if i > 100 && i < 150 {
			continue
		}
		ts = append(ts, 5+float64(i)/100)
		y = append(y, 10+3*ts[len(ts)-1])
	}
	l := LinesOf(ts, y, 0.025, 0.1)
	for k, at := range l.Time {
		near(t, "value", l.Value[k], 10+3*at, 1e-9)
		near(t, "slope", l.Slope[k], 3, 1e-9)
	}
	if k := l.Index(6.0); math.Abs(l.Time[k]-6) > 0.0126 || l.Index(-1) != 0 || l.Index(100) != len(l.Time)-1 {
		t.Errorf("index of 6 s is %d, %g s", k, l.Time[k])
	}
	if l := LinesOf(ts[:3], y[:3], 0.1, 0.1); len(l.Time) != 0 {
		t.Errorf("three samples: %+v", l)
	}
	if l := LinesOf([]float64{0, 1, 2, 1e9}, []float64{1, 2, 3, 4}, 0.01, 0.1); len(l.Time) > maxLines+1 {
		t.Errorf("a log of 30 years has %d points", len(l.Time))
	}
}

// TestOncePerTurn: amplitude and phase of a known error on a speed with bends.
func TestOncePerTurn(t *testing.T) {
	const n, a, phase = 2500, 0.004, 0.8
	ts, speed, clean := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range ts {
		x := float64(i) / 250
		ts[i] = x
		clean[i] = 60 + 9*x + 1.5*math.Sin(x)
		theta := 60*x + 4.5*x*x + 1.5*(1-math.Cos(x))
		speed[i] = clean[i] * (1 + a*math.Cos(theta+phase))
	}
	var scratch TurnScratch
	first, _ := OncePerTurn(ts, speed, TurnError{}, 1, &scratch)
	e, bounds := OncePerTurn(ts, speed, first, 1, &scratch)
	near(t, "amplitude", e.Amplitude(), a, 2e-5)
	if !e.Found() || len(bounds) != 9 || bounds[len(bounds)-1] != n || e.Count != n {
		t.Errorf("found %v in blocks to %v", e.Found(), bounds)
	}
	out := make([]float64, n)
	e.Correct(speed, out, &scratch)
	worst := 0.0
	for i := range out {
		worst = math.Max(worst, math.Abs(out[i]/clean[i]-1))
	}
	if worst > 1e-4 {
		t.Errorf("after correction the speed is off by up to %.2g; it was by %.2g", worst, a)
	}
	if e, _ := OncePerTurn(ts, clean, TurnError{}, 1, &scratch); e.Amplitude() > 2e-6 {
		t.Errorf("a clean speed shows an error of %.2g", e.Amplitude())
	}
	if e, bounds := OncePerTurn(ts[:30], speed[:30], TurnError{}, 1, &scratch); e != (TurnError{}) || bounds != nil {
		t.Errorf("thirty samples: %+v", e)
	}
}
