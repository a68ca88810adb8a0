package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"fairpull/scatter"
)

// studied is one invented campaign of testdata/study.json, with what R makes of it
// (study.R beside it).
type studied struct {
	Order         string
	Setup, Pulls  []int
	Configuration []string
	Block         []int
	Hours, Y      []float64
	PullSS        float64 `json:"pull_ss"`
	PullDF        float64 `json:"pull_df"`
	SetupSS       float64 `json:"setup_ss"`
	SetupDF       float64 `json:"setup_df"`
	BlockSS       float64 `json:"block_ss"`
	BlockDF       float64 `json:"block_df"`
	Slope         float64
	SlopeTakes    float64 `json:"slope_takes"`
}

func readStudied(t testing.TB) map[string]studied {
	t.Helper()
	out := map[string]studied{}
	readJSON(t, "testdata/study.json", &out)
	if len(out) != 4 {
		t.Fatalf("%d campaigns", len(out))
	}
	return out
}

// input makes pulls of the values: the same at every engine speed, on one shape.
func (s studied) input() Input {
	in := Input{Baseline: "A", Primary: Band}
	if strings.Contains(s.Order, "B") {
		in.Candidates = []string{"B"}
	}
	for i := range 21 {
		in.SpeedRPM = append(in.SpeedRPM, 2000+200*float64(i))
	}
	for i, y := range s.Y {
		p := Pull{
			Name: fmt.Sprint(i), Configuration: s.Configuration[i], Setup: fmt.Sprint(s.Setup[s.Block[i]-1]), Hours: s.Hours[i],
		}
		for _, r := range in.SpeedRPM {
			p.LogTorque = append(p.LogTorque, y-square((r-3500)/3000))
		}
		in.Pulls = append(in.Pulls, p)
	}
	return in
}

// columnSS returns the sum of squares of a column.
func columnSS(l scatter.Level, column int) float64 {
	var sum float64
	for _, row := range l.Residuals {
		sum += square(row[column])
	}
	return sum
}

// Sums of squares and degrees of freedom of setups, blocks and pulls as R's lm has
// them (study.R), for blocks in setups of their own, in one setup, in both, and of one
// configuration alone; slope and its multiplier as well.
func TestStudyAgainstR(t *testing.T) {
	for name, c := range readStudied(t) {
		in := c.input()
		got, err := Study(in)
		if err != nil {
			t.Fatal(name, err)
		}
		if err := got.Validate(); err != nil {
			t.Fatal(name, err)
		}
		for _, l := range []struct {
			what   string
			level  scatter.Level
			ss, df float64
		}{{"setup", got.Setup, c.SetupSS, c.SetupDF}, {"block", got.Block, c.BlockSS, c.BlockDF}, {"pull", got.Pull, c.PullSS, c.PullDF}} {
			near(t, name+": df of "+l.what, l.level.DF, l.df, 0)
			for k := range len(in.SpeedRPM) + scalars {
				near(t, name+": sum of squares of "+l.what, columnSS(l.level, k), l.ss, 1e-9)
			}
			if m := l.level.MeanSquare(0); l.df > 0 {
				near(t, name+": mean square of "+l.what, m.Value(), l.ss/l.df, 1e-9)
			}
		}
		near(t, name+": slope", got.DriftPerHour, c.Slope, 1e-9)
		near(t, name+": what the slope takes of blocks", got.DriftTakes.Block, c.SlopeTakes, 1e-9)
		if !(got.DriftSE > 0) || got.DriftScalar != 0 {
			t.Errorf("%s: SE %v of scalar %d", name, got.DriftSE, got.DriftScalar)
		}
	}
}

// A study's rows give the mean squares that the comparison of the same pulls uses,
// whatever history that borrows; and the study does not change with it.
func TestStudyIsWhatCompareUses(t *testing.T) {
	s := simulated{order: "ABBAAB", pulls: []int{3, 2, 4}, gain: simGain, drift: linearDrift, history: 8}
	in := newLab(s, 5).campaign()
	got, err := Study(in)
	if err != nil {
		t.Fatal(err)
	}
	bare := in
	bare.History = History{}
	again, err := Study(bare)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(got, again, cmpopts.EquateNaNs()); d != "" {
		t.Error("history changes a study: ", d)
	}
	a, err := analyse(&bare, settings{averaging: variancesHalf})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what string
		level
		own scatter.Level
	}{{"setup", a.noise.setup, got.Setup}, {"pull", level{[]meanSquare{a.noise.pull}}, got.Pull}} {
		q := a.grid.averaged(meanSquares(c.own.Residuals, c.own.DF, len(in.SpeedRPM)+scalars))
		for k := range q {
			near(t, c.what+" mean square", q[k], c.at(k), 1e-12)
		}
		near(t, c.what+" df", c.own.DF, c.df(), 0)
		near(t, c.what+" share of pulls", 1/c.own.Pulls, c.pullShare(), 1e-12)
	}
	// The standard error of the drift is that of the same comparison.
	in.History, in.DriftLinear = History{}, true
	compared, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	d := compared[0].Drift
	near(t, "drift", got.DriftPerHour, d.PerHour, 1e-12)
	v := a.noise.variances(a.design.slope)[a.column(Band)]
	near(t, "standard error of the drift", got.DriftSE, (d.Hi-d.Lo)/2/tQuantile(0.975, v.df), 1e-9)
}

// Two setups of one configuration, five pulls each, of the data set Dyestuff of R's
// lme4: the mean squares of the one-way analysis of variance, on the scale of one
// setup mean.
func TestRepeatabilityOfTwoSetups(t *testing.T) {
	setups := [][]float64{{1545, 1440, 1440, 1520, 1580}, {1540, 1555, 1490, 1560, 1495}}
	between, within, err := scatter.OneWay(setups)
	if err != nil {
		t.Fatal(err)
	}
	rpm := []float64{2000, 2500, 3000, 3500, 4000, 4500, 5000}
	var pulls []Pull
	for s, values := range setups {
		for i, v := range values {
			p := Pull{Name: fmt.Sprint(s, i), Configuration: "stock", Setup: fmt.Sprint(s), Hours: float64(s) + float64(i)/15}
			for _, r := range rpm {
				p.LogTorque = append(p.LogTorque, v/1e4-square((r-3500)/3000))
			}
			pulls = append(pulls, p)
		}
	}
	got, err := Repeatability(rpm, pulls)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "setup df", got.Setup.DF, between.DF, 0)
	near(t, "pull df", got.Pull.DF, within.DF, 0)
	for m := range scalars {
		s, p := got.Setup.MeanSquare(m), got.Pull.MeanSquare(m)
		if m == int(PeakPower) { // at 4,500 1/min, the last node but one: not bracketed
			if s.DF != 0 || p.DF != 0 {
				t.Errorf("peak power: %v, %v", s, p)
			}
			continue
		}
		near(t, "between setups", s.Value(), between.Value()/5*1e-8, 1e-10)
		near(t, "within setups", p.Value(), within.Value()*1e-8, 1e-10)
	}
	near(t, "pulls behind a setup", got.Setup.Pulls, 5, 1e-12)
	if got.DriftSE != 0 || got.DriftTakes != (scatter.Takes{}) {
		t.Errorf("a drift from two setups: %v, %v", got.DriftSE, got.DriftTakes)
	}
}

// What a campaign does not show is not in its study.
func TestStudyOfLittle(t *testing.T) {
	all := readStudied(t)
	full := all["ABBAAB"].input()
	take := func(keep func(p Pull, block int) bool) scatter.Study {
		t.Helper()
		in := full
		in.Pulls = nil
		for i, p := range full.Pulls {
			if keep(p, all["ABBAAB"].Block[i]) {
				in.Pulls = append(in.Pulls, p)
			}
		}
		s, err := Study(in)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	levels := func(s scatter.Study) string { return fmt.Sprint(s.Setup.DF, s.Block.DF, s.Pull.DF) }
	if s := take(func(p Pull, b int) bool { return b <= 2 }); levels(s) != "0 0 3" || s.DriftTakes != (scatter.Takes{}) {
		t.Errorf("A-B: %+v", s)
	}
	if s := take(func(p Pull, b int) bool { return b >= 4 && b != 5 }); levels(s) != "0 0 3" || s.DriftSE != 0 {
		t.Errorf("A-B: %+v", s)
	}
	// A-B-A: a drift, and nothing of setups that could tell its standard error.
	if s := take(func(p Pull, b int) bool { return b != 3 && b <= 4 }); levels(s) != "0 0 5" || s.DriftSE != 0 || s.DriftTakes.Setup == 0 {
		t.Errorf("A-B-A: %+v", s)
	}
	// A-A-B: not bracketed.
	if s := take(func(p Pull, b int) bool { return b >= 4 }); s.DriftTakes != (scatter.Takes{}) {
		t.Errorf("A-A-B: %+v", s)
	}
	single := map[int]bool{}
	s := take(func(p Pull, b int) bool { seen := single[b]; single[b] = true; return !seen })
	if levels(s) != "3 0 0" || s.DriftSE != 0 || s.DriftTakes.Pull == 0 {
		t.Errorf("single pulls: %+v", s)
	}
	// Over more than a day a slope is not that of a session.
	long := full
	long.Pulls = slices.Clone(full.Pulls)
	for i := range long.Pulls {
		long.Pulls[i].Hours *= 10
	}
	if s, err := Study(long); err != nil || s.DriftTakes != (scatter.Takes{}) || s.Setup.DF != 3 {
		t.Errorf("several days: %+v, %v", s, err)
	}
	// A band that some pull does not cover: no band mean, the drift on a peak.
	uncovered := full
	uncovered.BandRPM, uncovered.BandCovered = [2]float64{1000, 4000}, false
	u, err := Study(uncovered)
	if err != nil {
		t.Fatal(err)
	}
	if u.Setup.MeanSquare(0).DF != 0 || u.Setup.MeanSquare(1).DF != 3 || u.DriftScalar != 1 || u.Validate() != nil {
		t.Errorf("no band: %+v", u)
	}
}

// Pulls come in any order, and refusals name what is wrong.
func TestStudyInput(t *testing.T) {
	in := readStudied(t)["ABBAABBA, two blocks a setup"].input()
	want, err := Study(in)
	if err != nil {
		t.Fatal(err)
	}
	turned := in
	turned.Pulls = slices.Clone(in.Pulls)
	slices.Reverse(turned.Pulls)
	if got, err := Study(turned); err != nil || cmp.Diff(want, got, cmpopts.EquateNaNs()) != "" {
		t.Error("order matters", err)
	}
	for text, spoil := range map[string]func(*Input){
		"needs a baseline":              func(in *Input) { in.Baseline = "" },
		"neither baseline nor":          func(in *Input) { in.Candidates = nil },
		"engine speeds on the grid":     func(in *Input) { in.SpeedRPM = nil },
		"primary figure 7":              func(in *Input) { in.Primary = 7 },
		"is empty, the baseline or":     func(in *Input) { in.Candidates = []string{"A"} },
		"has no usable pull":            func(in *Input) { in.Candidates = []string{"B", "C"} },
		"comes back at pull":            func(in *Input) { in.Pulls[0].Hours = 100 },
		"ln torque NaN":                 func(in *Input) { in.Pulls[0].LogTorque = append([]float64{math.NaN()}, in.Pulls[0].LogTorque[1:]...) },
		"is said to be covered, and th": func(in *Input) { in.BandRPM, in.BandCovered = [2]float64{1, 2}, true },
	} {
		bad := in
		bad.Pulls = slices.Clone(in.Pulls)
		spoil(&bad)
		if _, err := Study(bad); err == nil || !strings.Contains(err.Error(), text) {
			t.Errorf("want %q: %v", text, err)
		}
	}
	if _, err := Repeatability(in.SpeedRPM, in.Pulls); err == nil || !strings.Contains(err.Error(), "the study is of") {
		t.Error("two configurations:", err)
	}
	if _, err := Repeatability(in.SpeedRPM, nil); err == nil {
		t.Error("no pulls")
	}
}

// The pool of six campaigns that differ enters a comparison with the variance and
// the degrees of freedom of their prior: with the campaign's own it makes the
// moderated variance (d0·s0² + ν·s²)/(d0 + ν), d0 being what is quoted.
func TestPoolIntoCompare(t *testing.T) {
	s := simulated{order: "ABABAB", pulls: []int{3}, gain: noGain, spread: 1}
	l := newLab(s, 8)
	var studies []scatter.Study
	for range 8 {
		study, err := Study(l.pulls(s.order))
		if err != nil {
			t.Fatal(err)
		}
		studies = append(studies, study)
	}
	pooled, err := scatter.Pool(studies, l.rpm)
	if err != nil {
		t.Fatal(err)
	}
	if math.IsInf(pooled.Setup.PriorDF, 1) || math.IsNaN(pooled.Setup.PriorDF) {
		t.Fatalf("these campaigns were made to differ: %+v", pooled.Setup)
	}
	in := l.pulls(s.order)
	own, err := Study(in)
	if err != nil {
		t.Fatal(err)
	}
	in.History.Archive = pooled.Archive
	a, err := analyse(&in, settings{})
	if err != nil {
		t.Fatal(err)
	}
	if a.noise.standing || a.noise.ownSetup.known() {
		t.Fatal("this campaign was made to agree with its history")
	}
	d0, s02 := pooled.Setup.QuotedDF, square(pooled.Setup.PriorSD[0])
	ms := own.Setup.MeanSquare(0)
	k := a.column(Band)
	near(t, "moderated variance", a.noise.setup.at(k), (d0*s02+ms.SS)/(d0+ms.DF), 1e-10)
	near(t, "df", a.noise.setup.df(), d0+ms.DF, 1e-12)
	near(t, "df below those of the prior", d0, 1/(1/pooled.Setup.PriorDF+1/pooled.Setup.DF), 1e-12)
}
