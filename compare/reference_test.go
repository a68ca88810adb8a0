package compare

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"fairpull/scatter"
)

// reference reads one case of testdata/reference.json into v. Each case there names
// its source; all are computed with other programs, or read, as its "obtained" says.
func reference(t testing.TB, id string, v any) {
	t.Helper()
	raw := map[string]json.RawMessage{}
	readJSON(t, "testdata/reference.json", &raw)
	body, ok := raw[id]
	if !ok {
		t.Fatalf("no reference case %q", id)
	}
	if err := json.Unmarshal(body, v); err != nil {
		t.Fatalf("%s: %v", id, err)
	}
}

func readJSON(t testing.TB, name string, v any) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// near fails unless got is within a relative tolerance of want (absolute where want
// is zero). A NaN fails.
func near(t testing.TB, what string, got, want, relative float64) {
	t.Helper()
	scale := math.Abs(want)
	if want == 0 {
		scale = 1
	}
	if !(math.Abs(got-want) <= relative*scale) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, relative)
	}
}

// within fails unless got is within an absolute tolerance of want.
func within(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

// goldenPulls is one invented campaign A-B-A of three pulls a block, each block its
// own setup, and a history of eight setups of three pulls of A.
type goldenPulls struct {
	rpm     []float64
	pulls   []Pull
	history [][][]float64 // setup, pull, node
}

func readGolden(t testing.TB) goldenPulls {
	t.Helper()
	f, err := os.Open("testdata/golden_curve_pulls.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var g goldenPulls
	for _, s := range table[0][5:] {
		g.rpm = append(g.rpm, number(s))
	}
	last := ""
	for _, row := range table[1:] {
		var y []float64
		for _, s := range row[5:] {
			y = append(y, number(s))
		}
		if row[0] == "campaign" {
			g.pulls = append(g.pulls, Pull{
				Name: row[1] + "/" + row[3], Configuration: row[2], Setup: row[1], Hours: number(row[4]), LogTorque: y,
			})
			continue
		}
		if row[1] != last {
			g.history = append(g.history, nil)
			last = row[1]
		}
		g.history[len(g.history)-1] = append(g.history[len(g.history)-1], y)
	}
	return g
}

// golden is the expectation for one way of averaging variances.
type golden struct {
	Weights  []float64
	AU       float64   `json:"a_u"`
	AE       float64   `json:"a_e"`
	NuE      float64   `json:"nu_e"`
	Gain     []float64 `json:"gain_ln"`
	SE, DF   []float64
	DFMedian float64 `json:"df_median"`
	TargetC  float64 `json:"target_c"`
	TargetL  float64 `json:"target_len"`
	Shrink   float64 `json:"lambda_shrink"`
	Q        float64 `json:"q95_maxabs"`
	Mean     scalar  `json:"mean_band_2000_4500"`
	Torque   scalar  `json:"peak_torque"`
	Power    scalar  `json:"peak_power"`
}

type scalar struct {
	Est, SE, DF float64
	RPMA        float64 `json:"rpm_A"`
	RPMB        float64 `json:"rpm_B"`
}

// TestGoldenCurve holds a whole curve case against the same estimator in numpy and
// scipy: gains, standard errors and degrees of freedom to 1e-6, the whole-band
// factor to its Monte Carlo error.
func TestGoldenCurve(t *testing.T) {
	var cases map[string]json.RawMessage
	readJSON(t, "testdata/golden_curve_expected.json", &cases)
	g := readGolden(t)
	for _, c := range []struct {
		name      string
		averaging float64
	}{{"win0", 0}, {"win300", variancesHalf}} {
		var want golden
		if err := json.Unmarshal(cases[c.name], &want); err != nil {
			t.Fatal(err)
		}
		in := Input{
			SpeedRPM: g.rpm, Pulls: g.pulls, Baseline: "A", Candidates: []string{"B"},
			Confidence: 0.95, DriftLinear: true, Draws: 200_000,
		}
		in.History.Archive = archiveOf(t, in, g.history)
		got := bare(t, in, c.averaging)
		for i, n := range got.Curve {
			near(t, c.name+" gain", n.Gain, want.Gain[i], 1e-6)
			near(t, c.name+" standard error", n.SE, want.SE[i], 1e-6)
			near(t, c.name+" degrees of freedom", n.DF, want.DF[i], 1e-6)
		}
		for b, w := range want.Weights {
			within(t, c.name+" weight", got.Blocks[b].Weight, w, 1e-12)
		}
		near(t, c.name+" pull degrees of freedom", got.Scatter.PullDF, want.NuE, 0)
		near(t, c.name+" median df", got.WholeBandDF, want.DFMedian, 1e-9)
		within(t, c.name+" whole-band factor", got.WholeBandFactor, want.Q, 0.03)
		goldenScalar(t, c.name+" peak torque", got.PeakTorque, want.Torque)
		goldenScalar(t, c.name+" peak power", got.PeakPower, want.Power)

		in.BandRPM, in.BandCovered = [2]float64{2000, 4500}, true
		in.History.Archive = archiveOf(t, in, g.history)
		in.Draws = minDraws
		banded := bare(t, in, c.averaging)
		goldenScalar(t, c.name+" band mean", banded.Band, want.Mean)
	}
}

func goldenScalar(t *testing.T, what string, got Figure, want scalar) {
	t.Helper()
	near(t, what, got.Gain, want.Est, 1e-6)
	near(t, what+" standard error", got.SE, want.SE, 1e-6)
	near(t, what+" degrees of freedom", got.DF, want.DF, 1e-6)
	if want.RPMA != 0 && (got.BaselineRPM != want.RPMA || got.CandidateRPM != want.RPMB) {
		t.Errorf("%s: at %v and %v 1/min, want %v and %v", what, got.BaselineRPM, got.CandidateRPM, want.RPMA, want.RPMB)
	}
}

// TestGoldenTarget holds the correlation target of the same case: its common part,
// its length and how far the correlation is drawn towards it.
func TestGoldenTarget(t *testing.T) {
	var cases map[string]json.RawMessage
	readJSON(t, "testdata/golden_curve_expected.json", &cases)
	var want golden
	if err := json.Unmarshal(cases["win0"], &want); err != nil {
		t.Fatal(err)
	}
	g := readGolden(t)
	in := Input{SpeedRPM: g.rpm, Pulls: g.pulls, Baseline: "A", Candidates: []string{"B"}, Confidence: 0.95}
	in.History.Archive = archiveOf(t, in, g.history)
	a, err := analyse(&in, settings{})
	if err != nil {
		t.Fatal(err)
	}
	w := a.design.contrast(1)
	m := a.design.multipliers(w)
	near(t, "setup multiplier", m.setup, want.AU, 1e-12)
	near(t, "pull multiplier", m.pull, want.AE, 1e-12)
	common, length := a.noise.curve(w, a.grid).normalised().target(a.grid.scale)
	near(t, "common part", common, want.TargetC, 1e-9)
	near(t, "length", length, want.TargetL, 1e-12)
	near(t, "share of the target", priorDF/(priorDF+want.DFMedian), want.Shrink, 1e-12)
}

// bare returns the comparison by the estimator alone.
func bare(t testing.TB, in Input, averaging float64) Comparison {
	t.Helper()
	got, err := compareWith(in, settings{averaging: averaging})
	if err != nil {
		t.Fatal(err)
	}
	return got[0]
}

// archiveOf makes an archive of earlier setups of one configuration, each with the
// same number of pulls, as a lab would: the same columns, peaks at the archive's own
// mean, residuals about means.
func archiveOf(t testing.TB, in Input, setups [][][]float64) *scatter.Archive {
	t.Helper()
	g, err := newGrid(&in, 0)
	if err != nil {
		t.Fatal(err)
	}
	means := make([][]float64, len(setups))
	for s, pulls := range setups {
		means[s] = columnMeans(pulls)
	}
	return residualArchive(g, setups, columnMeans(means))
}

// residualArchive returns the residuals of setups (setup, pull, node) whose mean
// curve tells where the peaks are.
func residualArchive(g *grid, setups [][][]float64, mean []float64) *scatter.Archive {
	torque, power := g.peaks(mean)
	means := make([][]float64, len(setups))
	a := &scatter.Archive{SetupDF: float64(len(setups) - 1), PullsPerSetup: float64(len(setups[0]))}
	for s, pulls := range setups {
		var rows [][]float64
		for _, y := range pulls {
			rows = append(rows, g.columns(y, torque, power))
		}
		means[s] = columnMeans(rows)
		a.PullResiduals = append(a.PullResiduals, less(rows, means[s])...)
		a.PullDF += float64(len(pulls) - 1)
	}
	a.SetupResiduals = less(means, columnMeans(means))
	return a
}

// less returns rows minus mean.
func less(rows [][]float64, mean []float64) [][]float64 {
	out := make([][]float64, len(rows))
	for i, row := range rows {
		out[i] = make([]float64, len(row))
		for k := range row {
			out[i][k] = row[k] - mean[k]
		}
	}
	return out
}
