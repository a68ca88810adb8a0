package compare

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func vehicleCase(t testing.TB, id string, v any) {
	t.Helper()
	raw := map[string]json.RawMessage{}
	readJSON(t, "testdata/vehicles.json", &raw)
	if err := json.Unmarshal(raw[id], v); err != nil {
		t.Fatalf("%s: %v", id, err)
	}
}

// vehicleInputs are gains and standard errors as the reference cases have them.
type vehicleInputs struct {
	Y  []float64 `json:"yi"`
	SE []float64 `json:"sei"`
}

func (v vehicleInputs) gains() []VehicleGain {
	var out []VehicleGain
	for i := range v.Y {
		out = append(out, VehicleGain{v.Y[i], v.SE[i]})
	}
	return out
}

func across(t testing.TB, gains []VehicleGain) AcrossVehicles {
	t.Helper()
	a, err := Across(gains, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Random effects by R's package metafor: REML, Hartung and Knapp, their modified
// standard error, heterogeneity.
func TestAcrossVehicles(t *testing.T) {
	for _, id := range []string{"meta_invented", "meta_homogeneous"} {
		var c struct {
			Inputs   vehicleInputs
			Expected struct {
				K         float64
				Tau2      float64 `json:"tau2_REML"`
				Mu        float64
				Narrow    float64   `json:"se_HKSJ"`
				SE        float64   `json:"se_mHK"`
				CI        []float64 `json:"ci_mHK"`
				Q, Qp, I2 float64
			}
		}
		vehicleCase(t, id, &c)
		a, want := across(t, c.Inputs.gains()), c.Expected
		near(t, id+" tau²", a.Tau*a.Tau, want.Tau2, 1e-4)
		near(t, id+" mean", a.Mean, want.Mu, 1e-6)
		near(t, id+" plain standard error", a.NarrowSE, want.Narrow, 1e-4)
		near(t, id+" standard error", a.SE, want.SE, 1e-4)
		near(t, id+" low", a.Lo, want.CI[0], 1e-4)
		near(t, id+" high", a.Hi, want.CI[1], 1e-4)
		near(t, id+" Q", a.Q, want.Q, 1e-6)
		near(t, id+" p", a.P, want.Qp, 1e-6)
		near(t, id+" I²", 100*a.I2, want.I2, 1e-4)
		near(t, id+" df", a.DF, want.K-1, 0)
		near(t, id+" at least", a.AtLeast, a.Mean-tQuantile(0.95, want.K-1)*a.SE, 1e-9)
	}
}

// Two vehicles: one degree of freedom, no prediction; one vehicle: its own gain and
// nothing else.
func TestTwoVehiclesAndOne(t *testing.T) {
	var c struct {
		Inputs   vehicleInputs
		Expected struct {
			Res struct {
				Tau2, Mu, SE float64
				CI           []float64
			}
		}
	}
	vehicleCase(t, "meta_k2", &c)
	a, want := across(t, c.Inputs.gains()), c.Expected.Res
	near(t, "tau²", a.Tau*a.Tau, want.Tau2, 1e-4)
	near(t, "mean", a.Mean, want.Mu, 1e-6)
	near(t, "standard error", a.SE, want.SE, 1e-4)
	near(t, "low", a.Lo, want.CI[0], 1e-4)
	near(t, "high", a.Hi, want.CI[1], 1e-4)
	if a.Predicted || !math.IsNaN(a.PredictionLo) || a.DF != 1 {
		t.Errorf("two vehicles predict a third: %+v", a)
	}
	one := across(t, c.Inputs.gains()[:1])
	if one.Mean != 0.02 || one.Predicted || !math.IsNaN(one.SE) || !math.IsNaN(one.Lo) || !math.IsNaN(one.Tau) || one.DF != 0 {
		t.Errorf("one vehicle: %+v", one)
	}
}

// The prediction interval against two million draws with numpy; the tolerance is that
// of ten thousand.
func TestPredictionInterval(t *testing.T) {
	var c struct {
		Inputs   vehicleInputs
		Expected struct{ PI95 []float64 }
	}
	vehicleCase(t, "pi_confidence_distribution", &c)
	a := across(t, c.Inputs.gains())
	within(t, "low", a.PredictionLo, c.Expected.PI95[0], 0.0025)
	within(t, "high", a.PredictionHi, c.Expected.PI95[1], 0.0025)
	if !a.Predicted || !(a.PredictionLo < a.Lo && a.Hi < a.PredictionHi) {
		t.Errorf("the next vehicle is known better than the mean: %+v", a)
	}
	// The order of the vehicles makes no difference, not even in the last bit.
	turned := slices.Clone(c.Inputs.gains())
	slices.Reverse(turned)
	if b := across(t, turned); a != b {
		t.Errorf("turned round %+v, %+v", b, a)
	}
	// Heterogeneity at which Q is what was asked for.
	gains := inOrderOfSize(c.Inputs.gains())
	for _, q := range []float64{0.01, 1, 5, 11} {
		near(t, "Q at its variance", pool(gains, tauOfQ(gains, q)).q, q, 1e-6)
	}
	if tauOfQ(gains, 12) != 0 {
		t.Error("more heterogeneity than there is")
	}
}

// Gains of several sets, k vehicles drawn as docs/method.md, section 11 has it: true
// gain 2 % and SD tau between vehicles, own errors of 0.6 to 1.2 % estimated on 6 to 12
// degrees of freedom. Coverage of the mean and of the next vehicle's gain there, by
// numpy over 1500 and 800 sets: 97.7 and 95.5 % (k 3, tau 1.5 %), 97.3 and 94.8 % (k 5,
// tau 0.5 %). Within four binomial standard errors of these.
func TestCoverageAcross(t *testing.T) {
	coverageAcross(t, 150, []acrossScenario{{3, 0.015, 97.7, 95.5}, {5, 0.005, 97.3, 94.8}})
}

type acrossScenario struct {
	k               int
	tau             float64
	mean, predicted float64 // coverage in % by numpy
}

func coverageAcross(t *testing.T, sets int, scenarios []acrossScenario) {
	t.Helper()
	for _, s := range scenarios {
		rng := rand.New(rand.NewPCG(uint64(s.k), math.Float64bits(s.tau)))
		held, next := 0, 0
		for range sets {
			a := across(t, drawnGains(rng, s.k, s.tau))
			if a.Lo <= 0.02 && 0.02 <= a.Hi {
				held++
			}
			if other := 0.02 + s.tau*rng.NormFloat64(); a.PredictionLo <= other && other <= a.PredictionHi {
				next++
			}
		}
		for what, v := range map[string][2]float64{"mean": {float64(held), s.mean}, "next vehicle": {float64(next), s.predicted}} {
			got := 100 * v[0] / float64(sets)
			margin := binomial(v[1], sets) + binomial(v[1], 800)
			if !(math.Abs(got-v[1]) <= margin) {
				t.Errorf("k %d, tau %v: the interval of the %s holds %.1f %%, by numpy %.1f", s.k, s.tau, what, got, v[1])
			}
		}
	}
}

func drawnGains(rng *rand.Rand, k int, tau float64) []VehicleGain {
	out := make([]VehicleGain, k)
	for i := range out {
		sd := 0.006 + 0.006*rng.Float64()
		df := 6 + 2*rng.IntN(4)
		var chi float64
		for range df {
			chi += square(rng.NormFloat64())
		}
		out[i] = VehicleGain{
			Gain: 0.02 + tau*rng.NormFloat64() + sd*rng.NormFloat64(),
			SE:   sd * math.Sqrt(chi/float64(df)),
		}
	}
	return out
}

// Hostile gains, errors that differ by orders of magnitude: the likelihood is higher
// nowhere else.
func TestAcrossEnds(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for range 400 {
		gains := make([]VehicleGain, 2+rng.IntN(7))
		for i := range gains {
			gains[i] = VehicleGain{math.Pow(10, -4+4*rng.Float64()), math.Pow(10, -5+4*rng.Float64())}
		}
		tau2 := betweenVehicles(gains)
		at := restrictedLikelihood(gains, tau2)
		for _, other := range []float64{0, tau2 * 0.99, tau2 * 1.01, tau2 / 10, tau2 * 10, 1e-8, 1e-4, 1} {
			if v := restrictedLikelihood(gains, other); v > at+1e-9*math.Abs(at) {
				t.Fatalf("%v: likelihood %v at %v, %v at %v", gains, at, tau2, v, other)
			}
		}
	}
	// Two tops: the one at zero is the higher.
	two := []VehicleGain{{0.016329, 0.0049377}, {0.017599, 0.0060471}, {0.040576, 0.0114370}}
	if tau2 := betweenVehicles(two); tau2 != 0 {
		t.Errorf("variance %v, where the likelihood is highest at none", tau2)
	}
}

func TestAcrossRefuses(t *testing.T) {
	for want, gains := range map[string][]VehicleGain{
		"no vehicle":             {},
		"gain of vehicle 2":      {{0.01, 0.01}, {math.NaN(), 0.01}},
		"standard error of 0":    {{0.01, 0}},
		"standard error of NaN":  {{0.01, math.NaN()}},
		"standard error of +Inf": {{0.01, math.Inf(1)}},
	} {
		if _, err := Across(gains, 0.95); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: error %v, want %q", gains, err, want)
		}
	}
	if _, err := Across([]VehicleGain{{0.01, 0.01}}, 0); err == nil || !strings.Contains(err.Error(), "confidence") {
		t.Error(err)
	}
}

func BenchmarkAcross(b *testing.B) {
	gains := drawnGains(rand.New(rand.NewPCG(1, 2)), 8, 0.01)
	for b.Loop() {
		if _, err := Across(gains, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
