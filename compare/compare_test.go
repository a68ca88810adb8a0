package compare

import (
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// The result does not depend on the order of pulls given nor on the number of
// cores, and the input is not modified.
func TestSameInputSameResult(t *testing.T) {
	in := benchInput(111)
	in.Draws = 2000
	want := one(t, in)
	before := make([]Pull, len(in.Pulls))
	for i, p := range in.Pulls {
		before[i] = p
		before[i].LogTorque = slices.Clone(p.LogTorque)
	}
	shuffled := in
	shuffled.Pulls = slices.Clone(in.Pulls)
	rng := rand.New(rand.NewPCG(7, 8))
	for range 3 {
		rng.Shuffle(len(shuffled.Pulls), func(i, j int) {
			shuffled.Pulls[i], shuffled.Pulls[j] = shuffled.Pulls[j], shuffled.Pulls[i]
		})
		procs := runtime.GOMAXPROCS(1 + rng.IntN(4))
		got := one(t, shuffled)
		runtime.GOMAXPROCS(procs)
		if !same(got, want) {
			t.Fatal("another order of pulls or number of cores gives another result")
		}
	}
	if !reflect.DeepEqual(before, in.Pulls) {
		t.Error("the input was modified")
	}
	changed := in
	changed.Pulls = slices.Clone(in.Pulls)
	changed.Pulls[4].LogTorque = slices.Clone(in.Pulls[4].LogTorque)
	changed.Pulls[4].LogTorque[50] += 1e-12
	if got := one(t, changed); got.WholeBandFactor == want.WholeBandFactor {
		t.Error("other data give the same draws")
	}
}

// same compares two results bit by bit, NaN being equal to NaN.
func same(a, b Comparison) bool {
	return equal(reflect.ValueOf(a), reflect.ValueOf(b))
}

func equal(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Float64:
		return math.Float64bits(a.Float()) == math.Float64bits(b.Float()) || math.IsNaN(a.Float()) && math.IsNaN(b.Float())
	case reflect.Struct:
		for i := range a.NumField() {
			if !equal(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	case reflect.Slice, reflect.Array:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !equal(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case reflect.Map:
		for _, k := range a.MapKeys() {
			if !b.MapIndex(k).IsValid() || !equal(a.MapIndex(k), b.MapIndex(k)) {
				return false
			}
		}
		return a.Len() == b.Len()
	}
	return a.Equal(b)
}

// Turning the question round turns the gain round, and adding a constant to every
// ln(torque) changes the levels and nothing else.
func TestTurnedRoundAndShifted(t *testing.T) {
	in := benchInput(111)
	in.Draws = 200
	in.Pulls[0].LnFactor = 0
	want := one(t, in)
	turned := in
	turned.Baseline, turned.Candidates = "B", []string{"A"}
	got := one(t, turned)
	near(t, "gain turned round", got.Band.Gain, -want.Band.Gain, 1e-9)
	near(t, "standard error turned round", got.Band.SE, want.Band.SE, 1e-12)
	near(t, "lower end turned round", got.Band.Lo, -want.Band.Hi, 1e-9)
	near(t, "peak gain turned round", got.PeakPower.SE, want.PeakPower.SE, 1e-9)
	if !got.Bracketed || !want.Bracketed {
		t.Error("A-B-A is bracketed either way round")
	}

	raised := in
	raised.Pulls = slices.Clone(in.Pulls)
	for i := range raised.Pulls {
		raised.Pulls[i].LogTorque = slices.Clone(in.Pulls[i].LogTorque)
		for k := range raised.Pulls[i].LogTorque {
			raised.Pulls[i].LogTorque[k] += math.Ln2
		}
	}
	got = one(t, raised)
	near(t, "gain of twice the torque", got.Band.Gain, want.Band.Gain, 1e-9)
	near(t, "standard error", got.Band.SE, want.Band.SE, 1e-9)
	near(t, "level", got.Band.BaselineLevel, 2*want.Band.BaselineLevel, 1e-12)
	near(t, "power", got.PeakPower.CandidateLevel, 2*want.PeakPower.CandidateLevel, 2e-4)
}

// With noise-free pulls of a known gain under a known linear drift, every figure is
// that gain, levels are those at the mean time, and power is torque times angular
// speed.
func TestNoiseFreeCampaign(t *testing.T) {
	rpm := make([]float64, 0, 91)
	for r := 2000.0; r <= 6500; r += 50 {
		rpm = append(rpm, r)
	}
	torque := func(r float64) float64 { return 90 * math.Exp(-square((r-4300)/3300)) }
	gain, slope := math.Log(1.05), 0.008
	in := Input{
		SpeedRPM: rpm, Baseline: "A", Candidates: []string{"B"}, Confidence: 0.95, Draws: 200, SmallestGain: 0.02,
		BandRPM: [2]float64{3000, 5000}, BandCovered: true, DriftLinear: true,
		History: History{Setup: Spread{0.001, 10}},
	}
	var hours []float64
	for b, c := range []string{"A", "B", "A", "B"} {
		for p := range 2 {
			at := 10 + float64(b) + 0.1*float64(p)
			y := make([]float64, len(rpm))
			for i, r := range rpm {
				y[i] = math.Log(torque(r)) + slope*at
				if c == "B" {
					y[i] += gain
				}
			}
			hours = append(hours, at)
			in.Pulls = append(in.Pulls, Pull{Name: strings.Repeat("x", len(hours)), Configuration: c, Setup: c + string(rune('0'+b)), Hours: at, LogTorque: y})
		}
	}
	var middle float64
	for _, h := range hours {
		middle += h / float64(len(hours))
	}
	got := one(t, in)
	for _, n := range got.Curve {
		near(t, "gain", n.Gain, gain, 1e-9)
		near(t, "baseline", n.Baseline, torque(n.RPM)*math.Exp(slope*middle), 1e-9)
		near(t, "candidate", n.Candidate, 1.05*torque(n.RPM)*math.Exp(slope*middle), 1e-9)
		if in := n.RPM >= 3000 && n.RPM <= 5000; in == math.IsNaN(n.BandLo) || in == math.IsNaN(n.BandHi) {
			t.Errorf("whole-band limits at %v: %v to %v", n.RPM, n.BandLo, n.BandHi)
		}
	}
	near(t, "drift", got.Drift.PerHour, slope, 1e-9)
	near(t, "change", got.Drift.Change, 3*slope, 1e-9)
	var mean float64
	for r := 3000.0; r <= 5000; r += 50 {
		mean += torque(r) / 41
	}
	near(t, "band level", got.Band.BaselineLevel, mean*math.Exp(slope*middle), 1e-9)
	near(t, "band gain", got.Band.Gain, gain, 1e-9)
	if got.PeakTorque.BaselineRPM != 4300 {
		t.Errorf("torque peaks at %v", got.PeakTorque.BaselineRPM)
	}
	// d ln P/dr = 0: 1/r = 2(r − 4300)/3300².
	best := (4300 + math.Sqrt(4300*4300+2*3300*3300)) / 2
	within(t, "power peak", got.PeakPower.BaselineRPM, best, 25)
	power := torque(best) * best * 2 * math.Pi / 60 * math.Exp(slope*middle)
	near(t, "peak power", got.PeakPower.BaselineLevel, power, 2e-3)
	within(t, "peak power gain", got.PeakPower.Gain, gain, 1e-5) // the removed bias is itself a Monte Carlo mean
	if got.Verdict != GainShown || got.Drift.Gate {
		t.Errorf("verdict %q, reasons %v", got.Verdict, got.Reasons)
	}
}

// Three configurations in one model: the gain of each over the baseline, and a drift
// that all of them tell.
func TestTwoCandidates(t *testing.T) {
	const slope = 0.01
	values := make([][]float64, 6)
	for b := range values {
		base := 4.5 + slope*float64(b) + []float64{0, 0.03, -0.02}[b%3]
		values[b] = []float64{base - 0.001, base + 0.001}
	}
	in := flat("ABCABC", values, nil)
	in.History.Setup = Spread{0.005, 12}
	out, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.03, -0.02} {
		near(t, "gain", out[i].Band.Gain, want, 1e-9)
		near(t, "drift", out[i].Drift.PerHour, slope, 1e-9)
		if out[i].Candidate != in.Candidates[i] {
			t.Errorf("comparison %d is of %q", i, out[i].Candidate)
		}
	}
	if out[0].Verdict != GainShown || out[0].Bracketed != true {
		t.Errorf("B: %q %v", out[0].Verdict, out[0].Reasons)
	}
	// C's mean time is two spacings after A's, and no A follows its last block: it
	// rests on the drift having been declared straight.
	if out[1].Bracketed || !out[1].DriftBounded || slices.Contains(out[1].Reasons, DriftNotBounded) {
		t.Errorf("C: bracketed %v, reasons %v", out[1].Bracketed, out[1].Reasons)
	}
	in.DriftLinear = false
	if out, err = Compare(in); err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(out[1].Reasons, DriftNotBounded) || slices.Contains(out[0].Reasons, DriftNotBounded) {
		t.Errorf("without the declaration: B %v, C %v", out[0].Reasons, out[1].Reasons)
	}
}

// An input that cannot carry a comparison is an error that names the place.
func TestRefusals(t *testing.T) {
	nan := math.NaN()
	for want, spoil := range map[string]func(*Input){
		`pull "1-1": ln torque NaN`:      func(in *Input) { in.Pulls[4].LogTorque[3] = nan },
		`ln torque -Inf`:                 func(in *Input) { in.Pulls[4].LogTorque[3] = math.Inf(-1) },
		`4 torques on a grid of 5`:       func(in *Input) { in.Pulls[2].LogTorque = in.Pulls[2].LogTorque[:4] },
		`4 engine speeds`:                func(in *Input) { in.SpeedRPM = in.SpeedRPM[:4] },
		`do not increase`:                func(in *Input) { in.SpeedRPM[2] = in.SpeedRPM[1] },
		`engine speed is NaN`:            func(in *Input) { in.SpeedRPM[2] = nan },
		`confidence 1`:                   func(in *Input) { in.Confidence = 1 },
		`confidence 0 `:                  func(in *Input) { in.Confidence = 0 },
		`confidence NaN`:                 func(in *Input) { in.Confidence = nan },
		`"B" has no usable pull`:         func(in *Input) { in.Pulls = append(in.Pulls[:3:3], in.Pulls[6:]...) },
		`"A" has no usable pull`:         func(in *Input) { in.Pulls = in.Pulls[3:6] },
		`needs a baseline`:               func(in *Input) { in.Candidates = nil },
		`is empty, the baseline`:         func(in *Input) { in.Candidates = []string{"B", "B"} },
		`neither baseline nor candidate`: func(in *Input) { in.Pulls[0].Configuration = "Z" },
		`named twice`:                    func(in *Input) { in.Pulls[1].Name = in.Pulls[0].Name },
		`no setup is named`:              func(in *Input) { in.Pulls[1].Setup = "" },
		`its start is NaN`:               func(in *Input) { in.Pulls[1].Hours = nan },
		`same moment`:                    func(in *Input) { in.Pulls[3].Hours = in.Pulls[2].Hours },
		`setup "s0" comes back`:          func(in *Input) { in.Pulls[8].Setup = "s0" },
		`riding band from 4000`:          func(in *Input) { in.BandRPM = [2]float64{4000, 2000} },
		`grid runs from 1000 to 5000`:    func(in *Input) { in.BandRPM, in.BandCovered = [2]float64{2000, 6000}, true },
		`holds 1 nodes`:                  func(in *Input) { in.BandRPM, in.BandCovered = [2]float64{1900, 2100}, true },
		`riding band's end is NaN`:       func(in *Input) { in.BandRPM[1] = nan },
		`50 draws`:                       func(in *Input) { in.Draws = 50 },
		`primary figure 7`:               func(in *Input) { in.Primary = 7 },
		`is not a fraction`:              func(in *Input) { in.SmallestGain = nan },
		`setup history`:                  func(in *Input) { in.History.Setup = Spread{nan, 4} },
		`pull history`:                   func(in *Input) { in.History.Pull = Spread{0.1, -4} },
		`drift rates`:                    func(in *Input) { in.History.DriftRate = Spread{0.1, 0.1} },
		`exponent`:                       func(in *Input) { in.ExponentU = Spread{0.1, math.Inf(1)} },
		`loss placement of "B"`:          func(in *Input) { in.LossPlacement = map[string]float64{"B": nan} },
		`correction factor is NaN`:       func(in *Input) { in.Pulls[0].LnFactor = nan },
		`2001 engine speeds`:             func(in *Input) { in.SpeedRPM = evenRPM(2001, 50) },
		`509 pulls`:                      func(in *Input) { in.Pulls = append(in.Pulls, make([]Pull, 500)...) },
		`columns, the grid asks for 8`: func(in *Input) {
			in.History.Archive = archiveOf(t, *in, [][][]float64{{{1, 1, 1, 1, 1}, {2, 2, 2, 2, 2}}, {{1, 2, 1, 1, 1}, {2, 2, 2, 1, 2}}})
			in.History.Archive.PullResiduals[0] = []float64{1}
		},
	} {
		in := flat("ABA", [][]float64{{4.5, 4.51, 4.49}, {4.52, 4.53, 4.54}, {4.5, 4.5, 4.51}}, nil)
		spoil(&in)
		if out, err := Compare(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v and %d comparisons", want, err, len(out))
		}
	}
}
