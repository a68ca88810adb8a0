package reduce

import (
	"math"
	"math/rand/v2"
	"testing"

	"fairpull/signal"
)

// rms returns the root mean square relative departure of the nodes.
func rms(w *world, r *Result) float64 {
	sum := 0.0
	for i, n := range r.Curve.SpeedRPM {
		d := r.Curve.Torque[i]/w.torque(n) - 1
		sum += d * d
	}
	return math.Sqrt(sum / float64(r.Curve.Len()))
}

// TestTurnErrorRemoved: an encoder that sits off centre makes the speed swing once
// per turn. It is found from the data and removed: the amplitude comes back within
// 2 %, and the nodes are as good as without it.
func TestTurnErrorRemoved(t *testing.T) {
	w := twin().run()
	s := w.settings()
	for _, turn := range []float64{0.001, 0.005, 0.02} {
		log := w.sampled(flaws{rate: 200, turn: turn, phase: 2})
		r := reduced(t, log, s)
		if math.Abs(r.EncoderError/turn-1) > 0.02 {
			t.Errorf("encoder error of %.4f: found %.5f", turn, r.EncoderError)
		}
		if worst, rpm := worstDeparture(w, r); !(worst <= 0.0005) {
			t.Errorf("encoder error of %.4f: node at %.0f 1/min is off by %.4f %%", turn, rpm, worst*100)
		}
	}
	// The same error with the removal undone: it must have mattered.
	left := rawDeparture(t, w, w.sampled(flaws{rate: 200, turn: 0.005, phase: 2}), s)
	if left < 0.002 {
		t.Errorf("an encoder error of 0.5 %% left in moves nodes by %.4f %% only: the test would see nothing", left*100)
	}
}

// rawDeparture returns the worst departure when nothing is taken off the encoder.
func rawDeparture(t *testing.T, w *world, log *signal.Log, s Settings) float64 {
	t.Helper()
	ph, err := Find(log, s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := openAnew(log, &s)
	if err != nil {
		t.Fatal(err)
	}
	k := &worker{r: r, s: &s, ph: &ph, out: &Result{Phases: ph}, memory: new(memory)}
	k.takePull()
	if err := k.takeRatio(); err != nil {
		t.Fatal(err)
	}
	k.fitNodes()
	k.stateErrors()
	k.fillCurve()
	worst, _ := worstDeparture(w, k.out)
	return worst
}

// TestTurnErrorInNoise: with noise, removing the error makes the nodes as good as
// in a log without it; and where there is none, nothing is removed and nothing
// moves.
func TestTurnErrorInNoise(t *testing.T) {
	w := twin().run()
	s := w.settings()
	noise := func(turn float64, seed uint64) *signal.Log {
		return w.sampled(flaws{rate: 200, noise: 0.05, engineNoise: 2, turn: turn, phase: 1, random: rand.New(rand.NewPCG(5, seed))})
	}
	var clean, swinging float64
	removed := 0
	const pulls = 40
	for seed := range uint64(pulls) {
		a, b := reduced(t, noise(0, seed), s), reduced(t, noise(0.005, seed), s)
		clean += rms(w, a) / pulls
		swinging += rms(w, b) / pulls
		if a.EncoderError > 0 {
			removed++
		}
		if math.Abs(b.EncoderError/0.005-1) > 0.05 {
			t.Errorf("pull %d: encoder error of 0.005 found as %.5f", seed, b.EncoderError)
		}
	}
	if !(swinging < clean*1.03) {
		t.Errorf("nodes scatter by %.4f %% after removal, by %.4f %% in logs without the error", swinging*100, clean*100)
	}
	if removed > 0 {
		t.Errorf("an error was removed from %d of %d logs that have none", removed, pulls)
	}
}

// TestTeethRemoved: a toothed wheel with every tooth out of place. The table is
// found from the data, and the nodes are as good as with a perfect wheel. A wheel
// that misses a tooth altogether works too: the gap is counted once a turn.
func TestTeethRemoved(t *testing.T) {
	w := twin().run()
	random := rand.New(rand.NewPCG(3, 9))
	teeth := make([]float64, 24)
	for j := range teeth {
		teeth[j] = 0.004*random.NormFloat64() + 0.006*math.Cos(2*math.Pi*float64(j)/24+1)
	}
	s := w.settings()
	s.PulsesPerRev, s.EnginePulsesPerRev = len(teeth), 1
	log := w.pulses(len(teeth), teeth, 1)
	left := rawTeethDeparture(t, w, log, s)
	r := reduced(t, log, s)
	worst, rpm := worstDeparture(w, r)
	if !(worst <= 0.0005) {
		t.Errorf("node at %.0f 1/min is off by %.4f %%", rpm, worst*100)
	}
	if left < 4*worst || left < 0.001 {
		t.Errorf("teeth left in move nodes by %.4f %%, removed %.4f %%: the table should matter", left*100, worst*100)
	}
	re, im := 0.0, 0.0
	for j, e := range teeth {
		si, co := math.Sincos(2 * math.Pi * float64(j) / 24)
		re, im = re+e*co/12, im+e*si/12
	}
	if want := math.Hypot(re, im); math.Abs(r.EncoderError/want-1) > 0.02 {
		t.Errorf("once-per-turn part %.5f, the wheel's is %.5f", r.EncoderError, want)
	}
	// Take tooth 7 off the wheel.
	gone := &signal.Log{Kind: signal.Pulses, EnginePulse: log.EnginePulse}
	for k, ti := range log.DrumPulse {
		if (k+1)%24 != 7 {
			gone.DrumPulse = append(gone.DrumPulse, ti)
		}
	}
	r = reduced(t, gone, s)
	if worst, rpm := worstDeparture(w, r); !(worst <= 0.003) {
		t.Errorf("a tooth missing on the wheel: node at %.0f 1/min is off by %.4f %%", rpm, worst*100)
	}
}

// rawTeethDeparture returns the worst departure when the table is not used.
func rawTeethDeparture(t *testing.T, w *world, log *signal.Log, s Settings) float64 {
	t.Helper()
	ph, err := Find(log, s)
	if err != nil {
		t.Fatal(err)
	}
	r, err := openAnew(log, &s)
	if err != nil {
		t.Fatal(err)
	}
	train := signal.CountPulses(log.DrumPulse)
	r.drum = pulseSeries(&train, float64(s.PulsesPerRev), nil)
	k := &worker{r: r, s: &s, ph: &ph, out: &Result{Phases: ph}, memory: new(memory)}
	k.takePull()
	if err := k.takeRatio(); err != nil {
		t.Fatal(err)
	}
	k.fitNodes()
	k.stateErrors()
	k.fillCurve()
	worst, _ := worstDeparture(w, k.out)
	return worst
}

// TestPerfectTeethUnharmed: with a perfect wheel and jitter, the table finds
// nothing.
func TestPerfectTeethUnharmed(t *testing.T) {
	w := twin().run()
	s := w.settings()
	s.PulsesPerRev, s.EnginePulsesPerRev = 60, 1
	log := w.pulses(60, nil, 1)
	for seed := range uint64(10) {
		if r := reduced(t, shaken(log, 5e-6, rand.New(rand.NewPCG(1, seed))), s); r.EncoderError != 0 {
			t.Errorf("seed %d: teeth of a perfect wheel corrected by %.2g", seed, r.EncoderError)
		}
	}
}
