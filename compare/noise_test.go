package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// known returns a mean square at one column with given value, df and pull share.
func known(value, df, share float64) level {
	return level{[]meanSquare{{q: []float64{value}, df: df, pullShare: share}}}
}

// The variance of a weighted sum of block means equals w'Σw with the covariance of
// the block means written out element by element, for blocks in setups of their
// own, in one setup, and in both; the degrees of freedom are Satterthwaite's for the
// mean squares that go into it.
func TestVarianceAgainstFullCovariance(t *testing.T) {
	const u, b, e = 0.8, 0.3, 0.5 // variances of setups, blocks within them, pulls
	const shareU, shareB = 1.0 / 3, 1.0 / 4
	const dfU, dfB, dfE = 9.0, 6.0, 22.0
	for _, c := range []struct {
		order  string
		setups []int
		pulls  []int
	}{
		{"ABA", []int{0, 1, 2}, []int{3, 3, 3}},
		{"ABBA", []int{0, 1, 2, 3}, []int{5, 2, 2, 5}},
		{"ABAB", []int{0, 0, 0, 0}, []int{2, 3, 2, 4}},
		{"ABAB", []int{0, 0, 1, 1}, []int{3, 3, 2, 3}},
		{"ABBAAB", []int{0, 0, 1, 1, 2, 3}, []int{3, 1, 2, 3, 3, 3}},
	} {
		d := designOf(c.order, []float64{0, 1, 2.2, 3, 4.5, 5}[:len(c.order)], c.pulls, c.setups)
		w := d.contrast(1)
		n := &noise{design: d, layout: d.layout(), pull: known(e, dfE, 1).parts[0]}
		// The setup mean square of blocks in setups of their own holds the block part.
		switch n.layout {
		case separate:
			n.setup = known(u+b+shareU*e, dfU, shareU)
		case oneSetup:
			n.block = known(b+shareB*e, dfB, shareB)
		case mixed:
			n.setup, n.block = known(u+b+shareU*e, dfU, shareU), known(b+shareB*e, dfB, shareB)
		}
		var want float64
		for i := range w {
			for j := range w {
				var v float64
				if c.setups[i] == c.setups[j] {
					v += u
				}
				if i == j {
					v += b + e/float64(c.pulls[i])
				}
				want += w[i] * w[j] * v
			}
		}
		what := fmt.Sprint(c.order, c.setups)
		got := n.variances(w)[0]
		near(t, what+" variance", got.v, want, 1e-12)
		near(t, what+" parts", got.setup+got.block+got.pull, want, 1e-12)

		m := d.multipliers(w)
		if n.layout == oneSetup {
			within(t, what+" setup multiplier", m.setup, 0, 1e-15)
		}
		var below float64
		cU, cB := m.setup, m.block-m.setup
		switch n.layout {
		case separate:
			cB = 0
		case oneSetup:
			cU, cB = 0, m.block
		}
		if cU > 0 {
			below += square(cU*(u+b+shareU*e)) / dfU
		}
		if cB != 0 {
			below += square(cB*(b+shareB*e)) / dfB
		}
		below += square((m.pull-cU*shareU-cB*shareB)*e) / dfE
		near(t, what+" degrees of freedom", got.df, want*want/below, 1e-9)
	}
}

// Where the setup variance comes out negative the pulls alone count, on the few
// degrees of freedom of the setups; and degrees of freedom never exceed what is
// behind them.
func TestFloorAndCap(t *testing.T) {
	d := designOf("ABA", nil, []int{3, 3, 3}, nil)
	w := d.contrast(1)
	n := &noise{design: d, layout: separate, pull: known(0.6, 22, 1).parts[0], setup: known(0.1, 7, 1.0/3)}
	got := n.variances(w)[0]
	near(t, "floored variance", got.v, 0.5*0.6, 1e-12)
	near(t, "floored df", got.df, 7, 0)

	n.setup, n.pull = known(1, 3, 0), known(1, 4, 1).parts[0]
	got = n.variances(w)[0]
	if !(got.df <= 7) {
		t.Errorf("%v degrees of freedom from 3 and 4", got.df)
	}
	// Two equal contributions of ν each make 2ν: Satterthwaite's formula at its best.
	n.setup, n.pull = known(1, 4, 0), known(3, 4, 1).parts[0]
	got = n.variances(w)[0]
	near(t, "df of two equal shares", got.df, 8, 1e-12)
}

// History and campaign are pooled by their degrees of freedom unless the campaign
// scatters more at 5 %: then it stands alone from three degrees of freedom on, and
// below that the larger variance counts.
func TestHistoryAgainstCampaign(t *testing.T) {
	noisy := func(size float64, blocks int) Input {
		order := "ABABABAB"[:blocks]
		values := make([][]float64, blocks)
		for b := range values {
			at := 4.5 + size*[]float64{1, -1, -1, 1, 1, -1, 0, 0}[b]
			values[b] = []float64{at - 0.001, at + 0.001}
		}
		in := flat(order, values, nil)
		in.History.Setup = Spread{0.004, 10}
		return in
	}
	pooled := one(t, noisy(0.002, 6))
	if pooled.Scatter.Source != FromBoth || pooled.Scatter.CampaignAlone || !(pooled.Scatter.HistoryP >= 0.05) {
		t.Errorf("a quiet campaign: %+v", pooled.Scatter)
	}
	near(t, "pooled df", pooled.Scatter.SetupDF, 13, 0)

	alone := one(t, noisy(0.02, 6))
	if alone.Scatter.Source != FromCampaign || !alone.Scatter.CampaignAlone || !(alone.Scatter.HistoryP < 0.05) {
		t.Errorf("a noisy campaign: %+v", alone.Scatter)
	}
	near(t, "own df", alone.Scatter.SetupDF, 3, 0)

	// Four blocks leave one degree of freedom. Its variance alone is the larger one.
	in := noisy(0.02, 4)
	few := one(t, in)
	in.History.Setup.DF = 0
	without := one(t, in)
	if few.Scatter.CampaignAlone || few.Scatter.Source != FromBoth || !(few.Scatter.HistoryP < 0.05) {
		t.Errorf("one degree of freedom: %+v", few.Scatter)
	}
	near(t, "the larger variance", few.Band.SE, without.Band.SE, 1e-12)
	near(t, "with its own df", few.Band.DF, without.Band.DF, 1e-12)
	if few.Verdict != NotEnoughEvidence || without.Scatter.SetupKnown {
		t.Errorf("%q; one degree of freedom alone is not knowledge (%v)", few.Verdict, without.Scatter.SetupKnown)
	}
}

// Residuals within setups against an orthogonal-triangular decomposition of the full
// model by gonum.
func TestWithinSetupsAgainstQR(t *testing.T) {
	d := designOf("ABABBAAB", []float64{0, 1, 2.1, 3, 4.5, 5, 6, 7.5}, nil, []int{0, 0, 0, 1, 1, 1, 2, 2})
	rng := rand.New(rand.NewPCG(9, 9))
	means := make([][]float64, 8)
	y := mat.NewDense(8, 1, nil)
	x := mat.NewDense(8, 5, nil)
	for b := range means {
		means[b] = []float64{4 + rng.NormFloat64()}
		y.Set(b, 0, means[b][0])
		x.Set(b, d.setup[b], 1)
		x.Set(b, 3, float64(d.configuration[b]))
		x.Set(b, 4, d.hours[b])
	}
	var beta, fit mat.Dense
	if err := beta.Solve(x, y); err != nil {
		t.Fatal(err)
	}
	fit.Mul(x, &beta)
	got, df := d.withinSetups(means)
	if df != 3 {
		t.Errorf("%d degrees of freedom, want 8 blocks less 3 setups, a configuration and the drift", df)
	}
	for b := range means {
		within(t, "residual", got[b][0], means[b][0]-fit.At(b, 0), 1e-12)
	}
	// One setup: the same residuals as the model without setups.
	single := designOf("ABABA", nil, nil, []int{0, 0, 0, 0, 0})
	rows, df := single.withinSetups(means[:5])
	plain := single.residuals(means[:5])
	for b := range rows {
		within(t, "residual in one setup", rows[b][0], plain[b][0], 1e-12)
	}
	if df != single.df {
		t.Errorf("%d and %d degrees of freedom", df, single.df)
	}
}

// The orthonormal contrasts of a block carry its sums of squares and products, at a
// common level of a million as well.
func TestContrastsWithin(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 10))
	rows := make([][]float64, 5)
	for i := range rows {
		rows[i] = []float64{1e6 + rng.NormFloat64(), 1e6 + rng.NormFloat64()}
	}
	mean := columnMeans(rows)
	var want, got [3]float64
	products := func(sums *[3]float64, a, b float64) {
		sums[0] += a * a
		sums[1] += a * b
		sums[2] += b * b
	}
	for _, r := range rows {
		products(&want, r[0]-mean[0], r[1]-mean[1])
	}
	contrasts := contrastsWithin(rows)
	for _, r := range contrasts {
		products(&got, r[0], r[1])
	}
	if len(contrasts) != 4 {
		t.Fatalf("%d contrasts of 5 rows", len(contrasts))
	}
	for i := range want {
		near(t, "sum of products", got[i], want[i], 1e-8)
	}
}

// Pull scatter given as a number joins the campaign's by degrees of freedom; the
// curve it leaves has the shape of the campaign's pulls and the pooled size.
func TestStatedPullScatter(t *testing.T) {
	in := benchInput(40)
	in.History = History{Setup: Spread{0.01, 10}, Pull: Spread{0.02, 14}}
	a, err := analyse(&in, settings{})
	if err != nil {
		t.Fatal(err)
	}
	in.History.Pull = Spread{}
	own, err := analyse(&in, settings{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "df", a.noise.pull.df, 20, 0)
	f := newField(a.grid.rpm)
	f.add(a.noise.pull.shape, 1)
	g := newField(a.grid.rpm)
	g.add(own.noise.pull.shape, 1)
	for k := range a.grid.rpm {
		want := (6*own.noise.pull.q[k] + 14*0.0004) / 20
		near(t, "pooled pull variance", a.noise.pull.q[k], want, 1e-12)
		near(t, "its size in the curve", f.variance(k), want, 1e-12)
	}
	r, s := make([]float64, 40), make([]float64, 40)
	f.normalised().correlations(3, r)
	g.normalised().correlations(3, s)
	for k := 3; k < 40; k++ {
		within(t, "correlation", r[k], s[k], 1e-12)
	}
	near(t, "stated setup variance", a.noise.setup.at(5), 1e-4, 1e-12)
	if math.IsNaN(a.noise.historyP) == false {
		t.Error("a campaign without own degrees of freedom was held against history")
	}
}
