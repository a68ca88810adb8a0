package drum_test

import (
	"math"
	"testing"

	"fairpull/drum"
	"fairpull/simulate"
)

// rigTruth is an invented drum: 12 kg·m², a loss of about 3 N·m that differs by
// 1 % from spin to spin.
func rigTruth(seed uint64) simulate.BareDrum {
	return simulate.BareDrum{Seed: seed, Inertia: 12, Parasitic: [3]float64{1.5, 0.012, 0.00004}, ParasiticScatter: 0.01, Rate: 5, SpeedNoise: 0.03}
}

func record(t *testing.T, d simulate.BareDrum, number int, added, brake, from, to float64) drum.Record {
	t.Helper()
	s, err := d.CoastDown(number, added, brake, from, to)
	if err != nil {
		t.Fatal(err)
	}
	return drum.Record{Coast: drum.Coast{Time: s.Time, Speed: s.Speed, Brake: s.Brake}}
}

// inertiaOf weighs a drum by coast-downs: pairs without and with 4 kg·m² put on, or
// braked by 20 N·m.
func inertiaOf(t *testing.T, d simulate.BareDrum, pairs int, braked bool) *drum.Inertia {
	t.Helper()
	var spins []drum.Spin
	for k := range 2 * pairs {
		added, brake := 0.0, 0.0
		switch {
		case k%2 == 1 && braked:
			brake = 20
		case k%2 == 1:
			added = 4
		}
		r := record(t, d, k, added, brake, 150, 75)
		s, err := r.Spin(80, 145)
		if err != nil {
			t.Fatal(err)
		}
		s.Added = added
		spins = append(spins, s)
	}
	i, err := drum.InertiaFromSpins(spins, 0)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// Without scatter or noise the truth comes back, whatever the course of the loss:
// the balance of means is exact.
func TestInertiaOfTheTruth(t *testing.T) {
	for _, braked := range []bool{false, true} {
		d := rigTruth(1)
		d.ParasiticScatter, d.SpeedNoise = 0, 0
		i := inertiaOf(t, d, 1, braked)
		if math.Abs(i.Value-12) > 2e-5 || i.Replicated {
			t.Errorf("braked %v: %.6f kg·m², replicated %v; the truth is 12", braked, i.Value, i.Replicated)
		}
		// ∫(c0+c1ω+c2ω²)dω/Δω between 80 and 145
		want := -(1.5 + 0.012*(80+145)/2 + 0.00004*(80*80+80*145+145*145)/3)
		if math.Abs(i.Torque-want) > 1e-4 {
			t.Errorf("braked %v: common torque %.6f N·m, want %.6f", braked, i.Torque, want)
		}
	}
}

// coverage counts how often intervals at 95 % hold the truth.
type coverage struct{ in, all int }

func (c *coverage) add(v drum.Calibrated, truth float64) {
	c.all++
	if math.Abs(v.Value-truth) <= v.Expanded(0.95) {
		c.in++
	}
}

// check fails where the count is further from 95 % than four standard errors of a
// count allow.
func (c coverage) check(t *testing.T, what string) {
	t.Helper()
	share := float64(c.in) / float64(c.all)
	if off := 4 * math.Sqrt(0.95*0.05/float64(c.all)); math.Abs(share-0.95) > off {
		t.Errorf("%s: %.1f %% of %d intervals hold the truth; want 95 ± %.1f", what, 100*share, c.all, 100*off)
	}
}

// intervals counts the coverage of drum inertia and bare drum torque.
func intervals(t *testing.T, trials int) {
	var added, braked, torque coverage
	for k := range trials {
		d := rigTruth(uint64(100 + k))
		added.add(inertiaOf(t, d, 3, false).Calibrated, 12)
		d.Seed += 1_000_000
		braked.add(inertiaOf(t, d, 3, true).Calibrated, 12)
		var coasts []drum.Coast
		for n := range 5 {
			coasts = append(coasts, record(t, d, 50+n, 0, 0, 150, 40).Coast)
		}
		p, err := drum.BareDrum(coasts, drum.Calibrated{Value: 12})
		if err != nil {
			t.Fatal(err)
		}
		torque.add(p.At(100), 1.5+0.012*100+0.00004*100*100)
	}
	t.Logf("of %d: added inertia %d, known brake %d, bare drum torque %d", trials, added.in, braked.in, torque.in)
	added.check(t, "inertia from added inertia")
	braked.check(t, "inertia from a known brake torque")
	torque.check(t, "bare drum torque")
}

// A sound start of the count; the whole of it is in the slow tests.
func TestCalibrationIntervals(t *testing.T) { intervals(t, 60) }
