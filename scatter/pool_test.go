package scatter

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// invented makes a study of random rows: setups of some pulls each, on a grid.
func invented(rng *rand.Rand, rpm []float64, setups, pulls int, sd float64) Study {
	row := func(sd float64) []float64 {
		out := make([]float64, len(rpm)+Scalars)
		common := rng.NormFloat64()
		for k := range out {
			out[k] = sd * (common + 0.3*rng.NormFloat64())
		}
		return out
	}
	s := Study{SpeedRPM: rpm}
	if setups > 0 {
		s.Setup = Level{DF: float64(setups), Pulls: float64(pulls)}
		for range setups + 1 {
			s.Setup.Residuals = append(s.Setup.Residuals, row(sd))
		}
	}
	if pulls > 1 {
		s.Pull = Level{DF: float64(setups * (pulls - 1)), Pulls: 1}
		for range setups * (pulls - 1) {
			s.Pull.Residuals = append(s.Pull.Residuals, row(sd/2))
		}
	}
	return s
}

func evenGrid(from, to, step float64) []float64 {
	var out []float64
	for r := from; r <= to; r += step {
		out = append(out, r)
	}
	return out
}

// of returns the sum of squares of a column over df.
func of(rows [][]float64, column int, df float64) float64 {
	var ss float64
	for _, row := range rows {
		ss += row[column] * row[column]
	}
	return ss / df
}

// Below six campaigns: sums of squares over sums of degrees of freedom, quoted as if
// campaigns had thirty in common (closed form).
func TestPoolOfFewCampaigns(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	grid := evenGrid(2000, 6000, 100)
	var studies []Study
	for i := range 4 {
		studies = append(studies, invented(rng, grid, 3+i, 3, 0.01))
	}
	p, err := Pool(studies, grid)
	if err != nil {
		t.Fatal(err)
	}
	a := p.Archive
	if err := a.Validate(len(grid) + Scalars); err != nil {
		t.Fatal(err)
	}
	near(t, "setup df", a.SetupDF, 1/(1.0/18+1.0/30), 1e-15) // 3 + 4 + 5 + 6 = 18
	near(t, "pull df", a.PullDF, 1/(1.0/36+1.0/30), 1e-15)   // two pulls more in each setup
	near(t, "all setup df", p.Setup.DF, 18, 0)
	near(t, "all pull df", p.Pull.DF, 36, 0)
	near(t, "pulls per setup", a.PullsPerSetup, 3, 1e-15)
	if a.BlockDF != 0 || p.Block.Campaigns != 0 || !math.IsNaN(p.Block.SD[0]) || !math.IsNaN(p.Setup.PriorDF) {
		t.Errorf("%+v, %+v", p.Block, p.Setup)
	}
	for k := range len(grid) + Scalars {
		var setup, pull float64
		for _, s := range studies {
			setup += of(s.Setup.Residuals, k, 18)
			pull += of(s.Pull.Residuals, k, 36)
		}
		near(t, "setup mean square", of(a.SetupResiduals, k, a.SetupDF), setup, 1e-12)
		near(t, "pull mean square", of(a.PullResiduals, k, a.PullDF), pull, 1e-12)
		if m := k - len(grid); m >= 0 {
			near(t, "SD of a row", p.Setup.RowSD[m], math.Sqrt(setup), 1e-12)
			near(t, "SD of setups", p.Setup.SD[m], math.Sqrt(setup-pull/3), 1e-12)
			near(t, "SD of pulls", p.Pull.SD[m], math.Sqrt(pull), 1e-12)
		}
	}
}

// studyOf makes a study of df+1 setups whose mean square is s2 at every column, times
// the square of the column's factor.
func studyOf(rpm []float64, s2, df float64, factor func(column int) float64) Study {
	s := Study{SpeedRPM: rpm, Setup: Level{DF: df, Pulls: 2}}
	n := df + 1
	for range int(n) {
		row := make([]float64, len(rpm)+Scalars)
		for k := range row {
			row[k] = math.Sqrt(s2*df/n) * factor(k)
		}
		s.Setup.Residuals = append(s.Setup.Residuals, row)
	}
	return s
}

// From six campaigns on: variances and degrees of freedom of the prior as R's limma
// computes them (reference.json, case moderated_variance), at every column in
// proportion; where campaigns do not differ more than chance, the pool on all degrees
// of freedom.
func TestPoolOfManyCampaigns(t *testing.T) {
	grid := evenGrid(2000, 6000, 500)
	factor := func(column int) float64 { return 1 + float64(column)/10 }
	for _, c := range moderatedCases(t) {
		var studies []Study
		var ss, df float64
		for i, s2 := range c.S2 {
			studies = append(studies, studyOf(grid, s2, c.DF[i], factor))
			ss, df = ss+s2*c.DF[i], df+c.DF[i]
		}
		p, err := Pool(studies, grid)
		if err != nil {
			t.Fatal(err)
		}
		want, wantDF := c.S02, 1/(1/c.d0()+1/df)
		if math.IsInf(c.d0(), 1) {
			want = ss / df
		}
		near(t, "df of the prior", 1/p.Setup.PriorDF, 1/c.d0(), 1e-5)
		near(t, "quoted df", p.Archive.SetupDF, wantDF, 1e-5)
		near(t, "quoted df in figures", p.Setup.QuotedDF, p.Archive.SetupDF, 0)
		for k := range len(grid) + Scalars {
			near(t, "variance", of(p.Archive.SetupResiduals, k, p.Archive.SetupDF), want*square(factor(k)), 1e-5)
		}
		for m := range Scalars {
			near(t, "SD of the prior", p.Setup.PriorSD[m], math.Sqrt(want)*factor(len(grid)+m), 1e-5)
			near(t, "pooled SD", p.Setup.RowSD[m], math.Sqrt(ss/df)*factor(len(grid)+m), 1e-12)
		}
		near(t, "homogeneity", p.Setup.HomogeneityP, Homogeneity(c.S2, c.DF), 1e-9)
	}
}

// The order of the studies changes no bit, and studies are not written to.
func TestPoolOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	grid := evenGrid(2500, 5500, 100)
	var studies []Study
	for i := range 9 {
		s := invented(rng, evenGrid(2000+50*float64(i%3), 6000, 50), i%4, 2+i%2, 0.01*(1+float64(i)))
		s.DriftPerHour, s.DriftTakes = 0.01*rng.NormFloat64(), Takes{Setup: 0.5, Block: 0.5, Pull: 0.2}
		studies = append(studies, s)
	}
	before := make([]Study, len(studies))
	for i, s := range studies {
		before[i] = s
		before[i].Setup.Residuals = cloneRows(s.Setup.Residuals)
		before[i].Pull.Residuals = cloneRows(s.Pull.Residuals)
	}
	want, err := Pool(studies, grid)
	if err != nil {
		t.Fatal(err)
	}
	if !(want.DriftRateDF > 0 && want.DriftRateDF <= 8) || !(want.DriftRateSD >= 0) {
		t.Fatalf("drift %v on %v", want.DriftRateSD, want.DriftRateDF)
	}
	for range 5 {
		order := rng.Perm(len(studies))
		shuffled := make([]Study, len(studies))
		for i, j := range order {
			shuffled[i] = studies[j]
		}
		got, err := Pool(shuffled, grid)
		if err != nil {
			t.Fatal(err)
		}
		for i, j := range order {
			if got.Uses[i] != want.Uses[j] {
				t.Errorf("use of study %d: %v, before %v", j, got.Uses[i], want.Uses[j])
			}
		}
		if d := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Pooled{}, "Uses")); d != "" {
			t.Fatal(d)
		}
	}
	if d := cmp.Diff(before, studies); d != "" {
		t.Error(d)
	}
}

func cloneRows(rows [][]float64) [][]float64 {
	var out [][]float64
	for _, r := range rows {
		out = append(out, slices.Clone(r))
	}
	return out
}

// Rows that are straight in engine speed come to another grid exactly; ends are held
// over a fifteenth of the grid and no further.
func TestPoolOntoAnotherGrid(t *testing.T) {
	straight := func(rpm []float64) Study {
		s := Study{SpeedRPM: rpm, Setup: Level{DF: 1, Pulls: 3}}
		for _, sign := range []float64{1, -1} {
			var row []float64
			for _, r := range rpm {
				row = append(row, sign*(r/1e5))
			}
			s.Setup.Residuals = append(s.Setup.Residuals, append(row, sign*0.03, sign*0.02, sign*0.01))
		}
		return s
	}
	wide, narrow := straight(evenGrid(1900, 7100, 400)), straight(evenGrid(2200, 6800, 200))
	short := straight(evenGrid(2400, 6800, 200))
	grid := evenGrid(2000, 7000, 250) // a fifteenth of it: 333 1/min
	p, err := Pool([]Study{wide, short, narrow}, grid)
	if err != nil {
		t.Fatal(err)
	}
	want := []Use{{Curve: true, Scalars: true}, {Scalars: true, Why: "it covers 2400 to 6800 1/min, the curve needs 2000 to 7000"}, {Curve: true, Scalars: true}}
	if d := cmp.Diff(want, p.Uses); d != "" {
		t.Error(d)
	}
	near(t, "df on the grid", p.Archive.SetupDF, 1/(1.0/2+1.0/30), 1e-15)
	near(t, "df of the scalars", p.Setup.DF, 3, 0)
	near(t, "band mean", p.Setup.RowSD[0], 0.03*math.Sqrt2, 1e-12)
	near(t, "band mean of the archive", of(p.Archive.SetupResiduals, len(grid), p.Archive.SetupDF), 2*square(0.03), 1e-12)
	for k, r := range grid {
		held := min(max(r, 2200), 6800)
		near(t, fmt.Sprint("variance at ", r), of(p.Archive.SetupResiduals, k, p.Archive.SetupDF), square(r/1e5)+square(held/1e5), 1e-12)
	}
	bare, err := Pool([]Study{wide, short, narrow}, nil)
	if err != nil || bare.Archive != nil || bare.Setup.RowSD != p.Setup.RowSD || bare.Setup.DF != 3 {
		t.Errorf("scalars alone: %+v, %v", bare, err)
	}
	far, err := Pool([]Study{short}, evenGrid(9000, 12000, 500))
	if err != nil || far.Archive != nil || far.Setup.QuotedDF != 0 || far.Setup.Campaigns != 1 {
		t.Errorf("another range: %+v, %v", far, err)
	}
}

// A scalar that some studies lack comes from the others; one that all lack takes the
// mean of the variances over the grid, never nothing.
func TestPoolWithoutSomeScalars(t *testing.T) {
	grid := evenGrid(2000, 6000, 500)
	studies := []Study{studyOf(grid, 4, 2, func(int) float64 { return 1 }), studyOf(grid, 1, 4, func(int) float64 { return 1 })}
	for i := range studies {
		for _, row := range studies[i].Setup.Residuals {
			row[len(grid)+1] = math.NaN()
			if i == 0 {
				row[len(grid)] = math.NaN()
			}
		}
	}
	p, err := Pool(studies, grid)
	if err != nil {
		t.Fatal(err)
	}
	at := func(k int) float64 { return of(p.Archive.SetupResiduals, k, p.Archive.SetupDF) }
	near(t, "nodes", at(0), (4*2+1*4)/6.0, 1e-12)
	near(t, "band mean", at(len(grid)), 1, 1e-12)
	near(t, "peak torque", at(len(grid)+1), 2, 1e-12)
	near(t, "peak power", at(len(grid)+2), 2, 1e-12)
	near(t, "SD of the band mean", p.Setup.RowSD[0], 1, 1e-12)
	if !math.IsNaN(p.Setup.RowSD[1]) {
		t.Errorf("SDs %v", p.Setup.RowSD)
	}
	if err := p.Archive.Validate(len(grid) + Scalars); err != nil {
		t.Error(err)
	}
}

// The spread of drift rates: root mean square of the slopes less what their
// estimation adds, and no less than could have been seen (closed forms).
func TestPoolDriftRate(t *testing.T) {
	grid := evenGrid(2000, 6000, 500)
	slopes := []float64{0.02, -0.01, 0.03, -0.02}
	const squares = (4e-4 + 1e-4 + 9e-4 + 4e-4) / 4
	var studies []Study
	for _, b := range slopes {
		s := studyOf(grid, 1e-4, 2, func(int) float64 { return 1 })
		s.DriftPerHour, s.DriftTakes, s.DriftScalar = b, Takes{Setup: 2, Block: 2, Pull: 0.1}, 1
		s.Pull = studyOf(grid, 3e-5, 4, func(int) float64 { return 1 }).Setup
		s.Pull.Pulls = 1
		studies = append(studies, s)
	}
	pool := func(studies []Study) Pooled {
		p, err := Pool(studies, grid)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	p := pool(append(studies, studyOf(grid, 1e-4, 2, func(int) float64 { return 1 })))
	near(t, "SD of setups", p.Setup.SD[1], math.Sqrt(1e-4-3e-5/2), 1e-12)
	chance := 2*square(p.Setup.SD[1]) + 0.1*3e-5
	near(t, "SD", p.DriftRateSD, math.Sqrt(squares-chance), 1e-12)
	near(t, "df", p.DriftRateDF, 4*square(1-chance/squares), 1e-12)
	near(t, "campaigns", float64(p.DriftCampaigns), 4, 0)
	for i := range studies {
		studies[i].DriftTakes.Setup = 10
	}
	p = pool(studies)
	chance = 10*square(p.Setup.SD[1]) + 0.1*3e-5
	near(t, "SD that could have been seen", p.DriftRateSD, math.Sqrt(chance/math.Sqrt2), 1e-12)
	near(t, "df", p.DriftRateDF, min(3, 4*square(chance/math.Sqrt2/squares)), 1e-12)
	if p = pool(studies[:1]); p.DriftRateDF != 0 || p.DriftCampaigns != 1 {
		t.Errorf("one slope: %v on %v", p.DriftRateSD, p.DriftRateDF)
	}
}

func TestPoolRefuses(t *testing.T) {
	grid := evenGrid(2000, 6000, 500)
	good := func() Study { return studyOf(grid, 1, 2, func(int) float64 { return 1 }) }
	for want, spoil := range map[string]func(*Study){
		"campaign 2: study: 0 engine speeds":      func(s *Study) { s.SpeedRPM = nil },
		"do not increase":                         func(s *Study) { s.SpeedRPM = slices.Clone(s.SpeedRPM); s.SpeedRPM[3] = 1 },
		"residual 2 holds NaN":                    func(s *Study) { s.Setup.Residuals[1][0] = math.NaN() },
		"residual 1 holds +Inf":                   func(s *Study) { s.Setup.Residuals[0][len(grid)] = math.Inf(1) },
		"residual 3 holds NaN":                    func(s *Study) { s.Setup.Residuals[2][len(grid)] = math.NaN() },
		"3 residuals cannot carry 4":              func(s *Study) { s.Setup.DF = 4 },
		"NaN degrees":                             func(s *Study) { s.Block.DF = math.NaN() },
		"0.5 pulls":                               func(s *Study) { s.Setup.Pulls = 0.5 },
		"residual 1 has 5 columns, its grid asks": func(s *Study) { s.Setup.Residuals[0] = make([]float64, 5) },
		"drift holds NaN":                         func(s *Study) { s.DriftPerHour = math.NaN() },
		"drift with a negative variance":          func(s *Study) { s.DriftTakes.Pull = -1 },
		"drift of scalar 3":                       func(s *Study) { s.DriftScalar = 3 },
	} {
		bad := good()
		spoil(&bad)
		if _, err := Pool([]Study{good(), bad}, grid); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q: %v", want, err)
		}
	}
	for _, grid := range [][]float64{{2000}, {2000, 1000}, {2000, math.NaN()}, make([]float64, 2000)} {
		if _, err := Pool([]Study{good()}, grid); err == nil {
			t.Errorf("grid %v", grid[:1])
		}
	}
	p, err := Pool(nil, grid)
	if err != nil || p.Archive != nil || p.Setup.Campaigns != 0 || p.DriftRateDF != 0 {
		t.Errorf("no campaigns: %+v, %v", p, err)
	}
	p, err = Pool([]Study{{SpeedRPM: grid}}, grid)
	if err != nil || p.Archive != nil || p.Uses[0] != (Use{Why: "it has no scatter of its own"}) {
		t.Errorf("an empty study: %+v, %v", p, err)
	}
}

// Random histories make archives that a comparison takes, of no more degrees of
// freedom than there are.
func TestPoolOfRandomStudies(t *testing.T) {
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 9))
		grid := evenGrid(2000, 6000, 100+100*float64(rng.IntN(5)))
		var studies []Study
		for range rng.IntN(12) {
			rpm := evenGrid(1500+1000*rng.Float64(), 5500+1000*rng.Float64(), 100+100*rng.Float64())
			s := invented(rng, rpm, rng.IntN(5), 1+rng.IntN(4), math.Exp(3*rng.NormFloat64()))
			if rng.IntN(3) == 0 {
				for _, row := range append(s.Setup.Residuals, s.Pull.Residuals...) {
					row[len(rpm)+int(seed%3)] = math.NaN()
				}
			}
			studies = append(studies, s)
		}
		p, err := Pool(studies, grid)
		if err != nil {
			t.Fatal(seed, err)
		}
		if p.Archive == nil {
			continue
		}
		if err := p.Archive.Validate(len(grid) + Scalars); err != nil {
			t.Fatal(seed, err)
		}
		if p.Archive.SetupDF > p.Setup.DF+1e-9 || p.Archive.PullDF > p.Pull.DF+1e-9 {
			t.Errorf("%d: quoted %v and %v of %v and %v", seed, p.Archive.SetupDF, p.Archive.PullDF, p.Setup.DF, p.Pull.DF)
		}
	}
}

// BenchmarkPool is the history of 200 campaigns on 91 nodes, six setups of three
// pulls each, half of them on another grid.
func BenchmarkPool(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 3))
	grid := evenGrid(2500, 7000, 50)
	var studies []Study
	for i := range 200 {
		rpm := grid
		if i%2 == 1 {
			rpm = evenGrid(2400, 7200, 100)
		}
		studies = append(studies, invented(rng, rpm, 1+i%6, 3, 0.01))
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Pool(studies, grid); err != nil {
			b.Fatal(err)
		}
	}
}
