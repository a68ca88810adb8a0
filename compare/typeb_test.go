package compare

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The degrees of freedom of a sum are Satterthwaite's where that makes the interval no
// narrower than that of the scatter alone, else as many as keep its width.
func TestTermsNeverNarrowAnInterval(t *testing.T) {
	q, rng, cut := newQuantiles(0.95), rand.New(rand.NewPCG(11, 0x7e)), 0
	for range 2000 {
		v := variance{v: math.Exp(2 * rng.NormFloat64()), df: 0.5 + 20*rng.Float64()*rng.Float64()}
		terms := []term{{PartDrift, v.v * math.Exp(2*rng.NormFloat64()), judgedDF}, {PartWeather, v.v * rng.Float64(), 30}}
		sum, df := v.with(terms, q)
		wantSum := v.v + terms[0].square + terms[1].square
		plain := wantSum * wantSum / (v.v*v.v/v.df + terms[0].square*terms[0].square/terms[0].df + terms[1].square*terms[1].square/terms[1].df)
		alone, together := tQuantile(0.975, v.df)*math.Sqrt(v.v), tQuantile(0.975, df)*math.Sqrt(sum)
		near(t, "variance", sum, wantSum, 1e-12)
		switch {
		case together < alone*(1-1e-8):
			t.Fatalf("%+v with %+v: half-width %g, without %g", v, terms, together, alone)
		case math.Abs(df-plain) > 1e-9*plain:
			cut++
			near(t, "half-width where degrees of freedom are cut", together, alone, 1e-8)
		}
	}
	if cut == 0 || cut == 2000 {
		t.Errorf("degrees of freedom were cut in %d of 2000 cases", cut)
	}
}

// A-B-A judged on setups alone that are known on one degree of freedom, without any
// drift, its allowance made of the drift that is found by chance. Plain degrees of
// freedom of Satterthwaite let the interval hold 90.9 % (400,000 draws by R's rnorm,
// rchisq and qt).
func TestAllowanceOnFewDegreesOfFreedom(t *testing.T) {
	const campaigns = 10_000
	q, rng := newQuantiles(0.95), rand.New(rand.NewPCG(12, 0x7e))
	held, atLeast := 0, 0
	for range campaigns {
		found, moved := rng.NormFloat64(), math.Sqrt2*rng.NormFloat64()
		gain := math.Sqrt(1.5) * rng.NormFloat64()
		v, df := variance{v: 1.5 * found * found, df: 1}.with([]term{{PartDrift, square(moved/2) / 3, judgedDF}}, q)
		b := q.bounds(gain, v, df)
		if b.lo <= 0 && 0 <= b.hi {
			held++
		}
		if b.atLeast <= 0 {
			atLeast++
		}
	}
	for name, n := range map[string]int{"interval": held, "at-least figure": atLeast} {
		share := 100 * float64(n) / campaigns
		t.Logf("%s holds %.1f %%", name, share)
		if low := 95 - binomial(95, campaigns); !(share >= low) {
			t.Errorf("%s holds %.1f %% of %d, below %.1f", name, share, campaigns, low)
		}
	}
}
