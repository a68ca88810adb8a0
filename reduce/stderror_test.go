package reduce

import (
	"math"
	"math/rand/v2"
	"testing"
)

// scatter gathers, node by node, how far simulated pulls lie from the truth and
// what standard error they state.
type scatter struct {
	count, sum, squares, stated map[float64]float64
}

// add takes in one pull; the mean loss of its coast-down goes under 0 1/min.
func (sc *scatter) add(w *world, r *Result) {
	if sc.count == nil {
		sc.count, sc.sum, sc.squares, sc.stated = map[float64]float64{}, map[float64]float64{}, map[float64]float64{}, map[float64]float64{}
	}
	for i, rpm := range r.Curve.SpeedRPM {
		sc.note(rpm, r.Curve.Torque[i]-w.torque(rpm), r.Curve.StandardError[i])
	}
	if c := r.Coast; c != nil {
		sc.note(0, c.MeanTorque-(w.loss[0]+c.MeanOmega*(w.loss[1]+c.MeanOmega*w.loss[2])), c.MeanStandardError)
	}
}

func (sc *scatter) note(key, off, stated float64) {
	sc.count[key]++
	sc.sum[key] += off
	sc.squares[key] += off * off
	sc.stated[key] += stated * stated
}

// ratio returns the scatter about the mean over the stated error (root mean
// square) at one key.
func (sc *scatter) ratio(key float64) float64 {
	n := sc.count[key]
	return math.Sqrt((sc.squares[key] - sc.sum[key]*sc.sum[key]/n) / (n - 1) / (sc.stated[key] / n))
}

// TestStandardErrorsAreTrue: over repeated noisy simulations the scatter of a node
// agrees with the stated standard error within 15 %, and so does that of the
// coast-down's mean loss. 400 pulls give a ratio to 3.5 %.
func TestStandardErrorsAreTrue(t *testing.T) {
	w := twin()
	w.inertia, w.loss, w.coast = 10, [3]float64{9, 0.03, 0.0004}, 12
	w.run()
	random := rand.New(rand.NewPCG(11, 1))
	const repeats, tolerance = 400, 0.15
	offset := func(f flaws) flaws {
		f.random = random
		f.offset, f.shift = random.Float64()*3/f.rate, random.Float64()*f.quantum
		return f
	}
	sixty, one := w.pulses(60, nil, 1), w.pulses(1, nil, 1)
	type scenario struct {
		name  string
		pull  func(s *Settings) *Result
		whole bool // judged over all nodes only: not white, so each node's statement has scatter of its own
	}
	sampled := func(f flaws) func(*Settings) *Result {
		return func(s *Settings) *Result { return reduced(t, w.sampled(offset(f)), *s) }
	}
	for _, c := range []scenario{
		{"white noise, 200 Hz", sampled(flaws{rate: 200, noise: 0.05, engineNoise: 2}), false},
		{"white noise, 20 Hz", sampled(flaws{rate: 20, noise: 0.05, engineNoise: 1}), false},
		{"rounded speed with noise of a sixth of a step", sampled(flaws{rate: 100, noise: 0.05, quantum: 0.3, engineNoise: 1}), false},
		{"speed in steps of 0.1 km/h and no other noise", sampled(flaws{rate: 100, quantum: 0.1 / 3.6 / 0.2286, engineNoise: 1}), true},
		{"noise with memory", sampled(flaws{rate: 200, noise: 0.03, memory: 0.7, engineNoise: 1}), true},
		{"no engine channel", func(s *Settings) *Result {
			s.RevsPerDrumRev = w.ratio
			return reduced(t, w.sampled(offset(flaws{rate: 100, noise: 0.05, noEngine: true})), *s)
		}, false},
		{"60 pulses a turn", func(s *Settings) *Result {
			s.PulsesPerRev, s.EnginePulsesPerRev = 60, 1
			return reduced(t, shaken(sixty, 10e-6, random), *s)
		}, false},
		{"1 pulse a turn", func(s *Settings) *Result {
			s.PulsesPerRev, s.EnginePulsesPerRev = 1, 1
			return reduced(t, shaken(one, 50e-6, random), *s)
		}, false},
	} {
		var sc scatter
		s := w.settings()
		for range repeats {
			sc.add(w, c.pull(&s))
		}
		var squares, stated float64
		worst, at := 1.0, 0.0
		for key, n := range sc.count {
			if n < repeats*0.9 {
				continue
			}
			r := sc.ratio(key)
			if key > 0 {
				squares += sc.squares[key] - sc.sum[key]*sc.sum[key]/n
				stated += sc.stated[key]
			}
			if c.whole {
				continue
			}
			if math.Abs(r-1) > math.Abs(worst-1) {
				worst, at = r, key
			}
		}
		if math.Abs(worst-1) > tolerance {
			t.Errorf("%s: at %.0f 1/min (0: coast-down) the scatter is %.3f times the stated standard error", c.name, at, worst)
		}
		r := math.Sqrt(squares / stated)
		t.Logf("%s: scatter over stated, all nodes %.3f, worst node %.3f, coast-down %.3f", c.name, r, worst, sc.ratio(0))
		if !(math.Abs(r-1) < tolerance) {
			t.Errorf("%s: over all nodes the scatter is %.3f times the stated standard error", c.name, r)
		}
	}
}
