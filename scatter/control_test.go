package scatter

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
)

// controlCase reads one case of testdata/control.json; every case there names its source.
func controlCase(t *testing.T, id string, v any) {
	t.Helper()
	data, err := os.ReadFile("testdata/control.json")
	if err != nil {
		t.Fatal(err)
	}
	raw := map[string]json.RawMessage{}
	if err := json.Unmarshal(data, &raw); err != nil {
		t.Fatal(err)
	}
	decode(t, raw[id], v)
}

func runLength(t *testing.T, of func(shift float64) (float64, error), shift float64) float64 {
	t.Helper()
	arl, err := of(shift)
	if err != nil {
		t.Fatal(err)
	}
	return arl
}

// Run lengths of the EWMA by R's package spc.
func TestEWMARunLength(t *testing.T) {
	var c struct {
		Expected []struct{ Lambda, L, Mu, ARL json.RawMessage }
	}
	controlCase(t, "ewma_arl", &c)
	for _, row := range c.Expected {
		r := DefaultRules()
		var mu, arl []float64
		decode(t, row.Lambda, &r.Weight)
		decode(t, row.L, &r.Limit)
		decode(t, row.Mu, &mu)
		decode(t, row.ARL, &arl)
		for i := range mu {
			near(t, fmt.Sprintf("EWMA %v, %v, shift %v", r.Weight, r.Limit, mu[i]), runLength(t, r.EWMARunLength, mu[i]), arl[i], 1e-3)
		}
	}
	if len(c.Expected) != 9 {
		t.Fatalf("%d charts", len(c.Expected))
	}
}

// Published run lengths of the EWMA: [LucasSaccucci1990], table 3, and [Crowder1987],
// table 1, as quoted in the help of R's package spc.
func TestEWMARunLengthPublished(t *testing.T) {
	for id, limits := range map[string]map[string]Rules{
		"ewma_arl_lucas_saccucci_1990_table3": {"lambda 0.5 L 3.071": {Weight: 0.5, Limit: 3.071}, "lambda 0.03 L 2.437": {Weight: 0.03, Limit: 2.437}},
		"ewma_arl_crowder_1987_table1":        {"lambda 0.5": {Weight: 0.5, Limit: 2}, "lambda 0.05": {Weight: 0.05, Limit: 2}},
	} {
		var c struct {
			Inputs   struct{ Shift []float64 }
			Expected map[string][]float64
		}
		controlCase(t, id, &c)
		if len(c.Expected) != 2 {
			t.Fatalf("%s: %d rows", id, len(c.Expected))
		}
		for name, row := range c.Expected {
			r := DefaultRules()
			r.Weight, r.Limit = limits[name].Weight, limits[name].Limit
			for i, shift := range c.Inputs.Shift {
				near(t, fmt.Sprintf("%s %s, shift %v", id, name, shift), runLength(t, r.EWMARunLength, shift), row[i], 5e-3)
			}
		}
	}
}

// Limits for a wanted average between false alarms, by R's package spc: the other way
// round.
func TestEWMALimitFor(t *testing.T) {
	var c struct {
		Expected []struct{ Lambda, ARL0, L float64 }
	}
	controlCase(t, "ewma_crit", &c)
	for _, row := range c.Expected {
		r := DefaultRules()
		r.Weight, r.Limit = row.Lambda, row.L
		near(t, fmt.Sprintf("EWMA %v at its limit", row.Lambda), runLength(t, r.EWMARunLength, 0), row.ARL0, 1e-3)
	}
	if len(c.Expected) != 4 {
		t.Fatalf("%d limits", len(c.Expected))
	}
}

// Run lengths of the two-sided CUSUM by R's package spc. The text books' 168 and 8.38
// (k 0.5, h 4), 465 and 10.4 (h 5) agree; from memory.
func TestCUSUMRunLength(t *testing.T) {
	var c struct {
		Expected []struct {
			K, H float64
			Mu   []float64
			ARL  []float64 `json:"arl_two_sided"`
			One  []float64 `json:"arl_one_sided"`
		}
	}
	controlCase(t, "cusum_arl", &c)
	for _, row := range c.Expected {
		r := DefaultRules()
		r.Reference, r.Decision = row.K, row.H
		for i, mu := range row.Mu {
			what := fmt.Sprintf("CUSUM %v, %v, shift %v", row.K, row.H, mu)
			near(t, what, runLength(t, r.CUSUMRunLength, mu), row.ARL[i], 1e-3)
			near(t, what+", one side", runLength(t, r.oneSided, mu), row.One[i], 1e-3)
		}
	}
	if len(c.Expected) != 4 {
		t.Fatalf("%d charts", len(c.Expected))
	}
}

// A single point beyond three standard deviations: one check in 370.4; at a shift of
// one, 43.9 (text books, from memory; 1/0.0027 and 1/0.0228).
func TestSingleRunLength(t *testing.T) {
	r := DefaultRules()
	r.Single = 3
	near(t, "three standard deviations", runLength(t, r.SingleRunLength, 0), 370.4, 1e-4)
	near(t, "shift of one", runLength(t, r.SingleRunLength, 1), 43.9, 1e-3)
}

// The default rules alone, and all three together, which signal more often than any of
// them; the run length of the three together is that of the simulation here.
func TestDefaultRules(t *testing.T) {
	r := DefaultRules()
	near(t, "EWMA", runLength(t, r.EWMARunLength, 0), 370.0, 1e-3)
	near(t, "CUSUM", runLength(t, r.CUSUMRunLength, 0), 368.6, 1e-3)
	near(t, "single", runLength(t, r.SingleRunLength, 0), 2149.3, 1e-3)
	const charts = 4000
	for shift, want := range map[float64]float64{0: TogetherFalseAlarm, 1: TogetherShiftOfOne} {
		total := 0
		for i := range charts {
			rng := rand.New(rand.NewPCG(uint64(i), 11))
			total += checksUntilSignal(r, func() float64 { return rng.NormFloat64() + shift })
		}
		got := float64(total) / charts
		near(t, fmt.Sprintf("all three, shift %v", shift), got, want, 0.05)
	}
}

// checksUntilSignal runs the three rules on numbers that are standard normal while
// nothing changes.
func checksUntilSignal(r Rules, next func() float64) int {
	var p ChartPoint
	for n := 1; ; n++ {
		p.Q = next()
		p.EWMA = (1-r.Weight)*p.EWMA + r.Weight*p.Q
		p.Up, p.Down = max(0, p.Up+p.Q-r.Reference), max(0, p.Down-p.Q-r.Reference)
		if len(r.signals(p)) > 0 {
			return n
		}
	}
}

// The Q of a check by hand: values 10, 12, 11, then 15: mean 11, SD 1, so
// t = 4/√(4/3) = 3.4641 on two degrees of freedom, one-sided p = 0.03709 (text books'
// closed form for two degrees of freedom, p = (1 − t/√(2 + t²))/2), and the normal
// quantile of that is 1.7856.
func TestChartByHand(t *testing.T) {
	c, err := Control([]float64{10, 12, 11, 15}, KnownSD{}, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	p := c.Points[3]
	tt := 4 / math.Sqrt(4.0/3)
	tail := (1 - tt/math.Sqrt(2+tt*tt)) / 2
	near(t, "tail of Q", math.Erfc(p.Q/math.Sqrt2)/2, tail, 1e-9)
	near(t, "centre", p.Centre, 11, 1e-12)
	near(t, "SD", p.SD, 1, 1e-12)
	if c.Points[0].Judged || c.Points[1].Judged || !c.Points[2].Judged {
		t.Error("the first two checks cannot be judged, the third can")
	}
	near(t, "third check, at the mean of the first two", math.Abs(c.Points[2].Q)+1, 1, 1e-12)
	near(t, "EWMA", p.EWMA, 0.2*p.Q, 1e-9)
	near(t, "upper sum", p.Up, p.Q-0.5, 1e-9)
	// With an SD known on 98 degrees of freedom the same check is nearly plain.
	if c, err = Control([]float64{10, 12, 11, 15}, KnownSD{1, 98}, DefaultRules()); err != nil {
		t.Fatal(err)
	}
	near(t, "SD with what is known", c.Points[3].SD, 1, 1e-12)
	near(t, "degrees of freedom of the next", c.DF, 98+3, 0)
	if !c.Points[1].Judged {
		t.Error("with a known SD the second check can be judged")
	}
}

// Q numbers are independent and standard normal while nothing changes, with and
// without an SD known beforehand: mean, variance and neighbours' correlation over
// 20,000 charts of 12 checks, within four standard errors.
func TestChartNumbersAreStandardNormal(t *testing.T) {
	const charts, checks = 20_000, 12
	for _, df := range []int{0, 4} {
		rng := rand.New(rand.NewPCG(3, uint64(df)))
		var n, sum, squares, neighbours, pairs float64
		for range charts {
			prior := KnownSD{DF: float64(df)}
			for range df {
				z := rng.NormFloat64()
				prior.SD += z * z / float64(df)
			}
			prior.SD = 2 * math.Sqrt(prior.SD)
			values := make([]float64, checks)
			for i := range values {
				values[i] = 5 + 2*rng.NormFloat64()
			}
			c, err := Control(values, prior, Rules{Weight: 1, Limit: maxLimit, Reference: maxLimit, Decision: maxLimit, Single: maxLimit})
			if err != nil {
				t.Fatal(err)
			}
			for i, p := range c.Points {
				if !p.Judged {
					continue
				}
				n, sum, squares = n+1, sum+p.Q, squares+p.Q*p.Q
				if i > 0 && c.Points[i-1].Judged {
					pairs, neighbours = pairs+1, neighbours+p.Q*c.Points[i-1].Q
				}
			}
		}
		for what, v := range map[string][2]float64{
			"mean": {sum / n, 0}, "variance": {squares / n, 1}, "neighbours": {neighbours / pairs, 0},
		} {
			if !(math.Abs(v[0]-v[1]) < 4*math.Sqrt2/math.Sqrt(n)) {
				t.Errorf("prior of %d: %s is %v", df, what, v[0])
			}
		}
	}
}

// How often a chart that starts itself signals with the EWMA within twenty checks
// after five or twenty of learning: the figures of docs/method.md, section 12, simulated with numpy over
// 1500 charts (their own standard errors up to 1.3 points).
func TestChartAlarms(t *testing.T) {
	rules := DefaultRules()
	rules.Decision, rules.Single = maxLimit, maxLimit
	const charts = 3000
	for _, row := range []struct {
		learned int
		shift   float64
		want    float64
	}{{5, 0, 0.048}, {5, 1, 0.124}, {20, 0, 0.045}, {20, 1, 0.521}} {
		alarms := 0
		rng := rand.New(rand.NewPCG(uint64(row.learned), math.Float64bits(row.shift)))
		for range charts {
			values := make([]float64, row.learned+20)
			for i := range values {
				values[i] = rng.NormFloat64()
				if i >= row.learned {
					values[i] += row.shift
				}
			}
			if startedAlarm(t, values, row.learned, rules) {
				alarms++
			}
		}
		got := float64(alarms) / charts
		if !(math.Abs(got-row.want) < 0.035) {
			t.Errorf("%d checks learned, shift %v: %.3f signal within twenty, simulated with numpy %.3f", row.learned, row.shift, got, row.want)
		}
	}
}

// startedAlarm reports whether a chart signals whose EWMA starts after the checks that
// were learned from, as the simulation has it.
func startedAlarm(t *testing.T, values []float64, learned int, rules Rules) bool {
	t.Helper()
	quiet := rules
	quiet.Limit = maxLimit
	c, err := control(values, KnownSD{}, quiet, len(values)) // the simulation never stops learning
	if err != nil {
		t.Fatal(err)
	}
	z := 0.0
	for _, p := range c.Points[learned:] {
		if z = (1-rules.Weight)*z + rules.Weight*p.Q; math.Abs(z) > rules.Band() {
			return true
		}
	}
	return false
}

// A rig that moves by four standard deviations signals soon, the doubt begins after the
// last good check, what signals is not learned from, and the signal ends when the rig
// is itself again.
func TestChartDoubt(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var values []float64
	for i := range 40 {
		x := rng.NormFloat64()
		if i >= 20 && i < 28 {
			x += 4
		}
		values = append(values, x)
	}
	c, err := Control(values, KnownSD{}, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	doubts := c.Doubts()
	if len(doubts) == 0 {
		t.Fatalf("doubts %+v", doubts)
	}
	d := doubts[0]
	if d.First < 20 || d.First > 22 || d.After != d.First-1 || d.Last < 27 || d.Last > 31 || d.Before != d.Last+1 {
		t.Errorf("doubt %+v; the rig was off from 20 to 27", d)
	}
	if !(math.Abs(c.Centre) < 0.7) {
		t.Errorf("the centre followed the rig: %v", c.Centre)
	}
	if !c.Frozen || c.Learned != FreezeAt {
		t.Errorf("learned from %d, frozen %v", c.Learned, c.Frozen)
	}
	if !slices.Contains(c.Points[d.First].Signals, SignalSingle) && !slices.Contains(c.Points[d.First].Signals, SignalEWMA) {
		t.Errorf("signals %v", c.Points[d.First].Signals)
	}
	up, err := Control([]float64{0, 1, 0.5, 100, 100}, KnownSD{}, DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	if d := up.Doubts(); len(up.Points[3].Signals) > 0 && d[0].Before != -1 {
		t.Errorf("an open doubt has an end: %+v", d)
	}
}

func TestControlRefuses(t *testing.T) {
	for want, call := range map[string]func() error{
		"check 2 is NaN": func() error {
			_, err := Control([]float64{1, math.NaN()}, KnownSD{}, DefaultRules())
			return err
		},
		"beforehand is NaN": func() error { _, err := Control(nil, KnownSD{math.NaN(), 3}, DefaultRules()); return err },
		"at most 20000": func() error {
			_, err := Control(make([]float64, maxChecks+1), KnownSD{}, DefaultRules())
			return err
		},
		"weight of the EWMA": func() error { _, err := Control(nil, KnownSD{}, Rules{}); return err },
		"a shift of NaN":     func() error { _, err := DefaultRules().EWMARunLength(math.NaN()); return err },
		"reference value": func() error {
			r := DefaultRules()
			r.Reference = -1
			_, err := r.CUSUMRunLength(0)
			return err
		},
	} {
		if err := call(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
	}
	// Checks that are all the same are no scatter to judge by.
	c, err := Control([]float64{2, 2, 2, 3}, KnownSD{}, DefaultRules())
	if err != nil || c.Points[3].Judged {
		t.Errorf("no scatter, and a verdict: %+v, %v", c.Points[3], err)
	}
}
