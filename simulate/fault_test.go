package simulate

import (
	"bytes"
	"math"
	"slices"
	"testing"
)

// pair is one quiet scenario without and with a fault on pull 5.
func pair(t *testing.T, s Scenario, f Fault) (sound, spoilt map[string][]byte, before, after Truth) {
	t.Helper()
	s = quiet(s)
	sound, before = files(t, s)
	if f.Configuration == "" && f.Name != coldFirstBlock {
		f.Pulls = []string{"5"}
	}
	s.Faults = []Fault{f}
	spoilt, after = files(t, s)
	return sound, spoilt, before, after
}

// torqueAt returns the uncorrected wheel torque of a pull at 5,000 1/min.
func torqueAt(t *testing.T, truth Truth, pull int) float64 {
	t.Helper()
	value := truth.Pulls[pull-1].UncorrectedNm[slices.Index(truth.RPM, 5000)]
	if value == nil {
		t.Fatalf("pull %d has no torque at 5,000 1/min", pull)
	}
	return *value
}

// A fault on one pull spoils that pull's log, is named in the truth of that pull
// alone, and leaves every other file as it was.
func TestFaultTouchesItsPullOnly(t *testing.T) {
	for _, kind := range Faults() {
		s := Default()
		s.Dyno.SiteElevation = 300
		f := Fault{Name: kind.Name}
		if kind.Name == missingPulses {
			s.Logger.Kind = PulseLog
		}
		if kind.Name == mislabelled {
			f.Fitted = "A" // pull 5 is one of B
		}
		sound, spoilt, _, after := pair(t, s, f)
		changed := slices.Collect(func(yield func(string) bool) {
			for name := range sound {
				if name != truthFile && !bytes.Equal(sound[name], spoilt[name]) && !yield(name) {
					return
				}
			}
		})
		slices.Sort(changed)
		want := []string{logOf(5)}
		switch kind.Name {
		case coldFirstBlock: // pulls 1 to 3, and their oil
			want = []string{logOf(1), logOf(2), logOf(3), "pulls.csv"}
		case seaLevelPressure: // what is typed, and nothing else
			want = []string{"pulls.csv"}
		case coldPull, weatherJump: // written down as it was
			want = []string{logOf(5), "pulls.csv"}
		}
		if !slices.Equal(changed, want) {
			t.Errorf("%s changes %v, want %v", kind.Name, changed, want)
		}
		for i, p := range after.Pulls {
			carries := i == 4 || kind.Name == coldFirstBlock
			if kind.Name == coldFirstBlock {
				carries = i < 3
			}
			if carries != slices.Equal(p.Faults, []string{kind.Name}) {
				t.Errorf("%s: pull %s carries %v", kind.Name, p.Pull, p.Faults)
			}
		}
	}
}

// What a fault does to the wheel figure, in the direction and about the size that
// its cause gives.
func TestFaultSizes(t *testing.T) {
	s := Default()
	omega := 5000 / rpmPerRadian / s.Vehicle.RevsPerDrumRev
	loss := quadratic(s.Vehicle.Loss, omega) / s.Vehicle.RevsPerDrumRev
	for _, c := range []struct {
		fault     Fault
		want      float64 // change of ln of wheel torque
		tolerance float64
	}{
		{Fault{Name: unusualPull}, math.Log(0.97), 0.0005},
		{Fault{Name: coldPull, Size: 0.02}, -0.02 * 1.08, 0.001},
		// 90 kPa more on 250 kPa at exponent −0.4 takes 11.6 % off the loss.
		{Fault{Name: tyrePressure, Size: 90_000}, loss * (1 - math.Pow(1.36, -0.4)) / 57.5 / 1.06, 0.001},
		// Half of 0.62·(0.25/0.315)² = 0.39 kg·m² on 15.0 + 1.0, and a little less.
		{Fault{Name: lighterWheel, Size: 0.5}, 0.195 / 15.9, 0.0005},
		// Curvature 4 at a shift of 0.1: 4 % of torque, times 1.08 at the wheel.
		{Fault{Name: mixtureChange, Size: -0.1}, -0.04 * 1.08, 0.002},
		// √(T/T0) and the 1.18 of the standard: 6 K on 295.7 K. At the same relative
		// humidity, 0.5, saturation rises from 2.72 to 3.88 kPa (steam tables, from
		// memory) and that much dry air of 97.5 kPa is displaced.
		{Fault{Name: weatherJump, Size: 6}, -1.18 * (0.5*6/295.7 + 0.5*1.16/97.5) * 1.08, 0.0015},
		{Fault{Name: mislabelled, Fitted: "A"}, -math.Log(1.0695), 0.002},
		{Fault{Name: earlyLift}, 0, 1e-9},
		{Fault{Name: missingCoast}, 0, 1e-12},
		{Fault{Name: stuckChannel}, 0, 1e-12},
		{Fault{Name: gap}, 0, 1e-12},
		{Fault{Name: seaLevelPressure}, 0, 1e-12},
	} {
		_, _, before, after := pair(t, s, c.fault)
		got := math.Log(torqueAt(t, after, 5) / torqueAt(t, before, 5))
		near(t, c.fault.Name+": change of ln of torque", got, c.want, c.tolerance)
	}
}

// In another gear the ratio is another, and the engine's inertia weighs less the
// higher the gear: I_e·G² at the drum.
func TestWrongGear(t *testing.T) {
	_, spoilt, before, after := pair(t, Default(), Fault{Name: wrongGear})
	near(t, "ratio", after.Pulls[4].EngineRevs, 0.84*before.Pulls[4].EngineRevs, 1e-12)
	log := columns(t, spoilt[logOf(5)])
	drum, engine := log["drum_speed [rad/s]"], log["engine_speed [1/min]"]
	near(t, "ratio in the log", engine[1000]/rpmPerRadian/drum[1000], 0.84*5.5*1.006, 0.01)
}

// A burst of slip lifts engine speed over drum speed by its size, for a moment.
func TestSlipBurst(t *testing.T) {
	sound, spoilt, _, _ := pair(t, Default(), Fault{Name: slipBurst, Size: 0.04})
	departure := func(text []byte) float64 {
		log := columns(t, text)
		worst := 0.0
		for i, drum := range log["drum_speed [rad/s]"][:1300] {
			worst = math.Max(worst, log["engine_speed [1/min]"][i]/rpmPerRadian/drum/5.5-1)
		}
		return worst
	}
	before, after := departure(sound[logOf(5)]), departure(spoilt[logOf(5)])
	near(t, "rise of the ratio", after-before, 0.035, 0.006) // the tread follows with its lag
}

// The typed pressure is higher than the air's by what 300 m of standard
// atmosphere weigh: about 3.6 %.
func TestSeaLevelPressure(t *testing.T) {
	s := Default()
	s.Dyno.SiteElevation = 300
	_, _, _, after := pair(t, s, Fault{Name: seaLevelPressure, Configuration: "B"})
	for _, p := range after.Pulls {
		want := 0.0
		if p.Configuration == "B" {
			want = -0.0425 // of the J1349 factor: 1.18·3.6 %
		}
		near(t, "typed factor against the true one, pull "+p.Pull, p.FactorTyped/p.Factor-1, want, 0.0015)
	}
}

// The defects of a log are where and as large as the fault says.
func TestLogDefects(t *testing.T) {
	s := Default()
	log := func(f Fault) (map[string][]float64, map[string][]float64) {
		sound, spoilt, _, _ := pair(t, s, f)
		return columns(t, sound[logOf(5)]), columns(t, spoilt[logOf(5)])
	}
	const stamp, drum, engine = "time [s]", "drum_speed [rad/s]", "engine_speed [1/min]"

	_, bad := log(Fault{Name: stuckChannel, Size: 0.3})
	if n := longestRun(bad[drum][200:1300]); n != 61 {
		t.Errorf("stuck for %d samples, want 0.3 s at 200 Hz and the first", n)
	}
	_, bad = log(Fault{Name: stuckChannel, Channel: "engine_speed"})
	if n, m := longestRun(bad[engine][200:1300]), longestRun(bad[drum][200:1300]); n != 41 || m != 1 {
		t.Errorf("engine speed stuck for %d samples and drum speed for %d, want 41 and 1", n, m)
	}
	good, bad := log(Fault{Name: gap, Size: 0.2})
	near(t, "longest interval, s", widest(bad[stamp]), 0.2, 0.0051)
	if missing := len(good[stamp]) - len(bad[stamp]); missing < 39 || missing > 40 {
		t.Errorf("%d rows are missing, want 0.2 s at 200 Hz", missing)
	}
	_, bad = log(Fault{Name: repeatedTime, Size: 4})
	if n := longestRun(bad[stamp]); n != 5 {
		t.Errorf("%d equal stamps, want 5", n)
	}
	good, bad = log(Fault{Name: backwardTime, Size: 0.05})
	back := 0
	for i := 1; i < len(bad[stamp]); i++ {
		if bad[stamp][i] < bad[stamp][i-1] {
			near(t, "stamp goes back by, s", good[stamp][i]-bad[stamp][i], 0.05, 1e-9)
			back++
		}
	}
	if back != 1 {
		t.Errorf("time goes back %d times, want once", back)
	}

	s.Logger.Kind = PulseLog
	good, bad = log(Fault{Name: missingPulses, Size: 7})
	if lost := len(good["drum_pulse [s]"]) - len(bad["drum_pulse [s]"]); lost != 21 {
		t.Errorf("%d pulses are lost, want 7 at each of three places", lost)
	}
}

// longestRun returns how many equal values stand next to one another at most.
func longestRun(values []float64) int {
	longest, n := 1, 1
	for i := 1; i < len(values); i++ {
		if values[i] != values[i-1] {
			n = 0
		}
		n++
		longest = max(longest, n)
	}
	return longest
}

// widest returns the largest step between neighbours.
func widest(values []float64) float64 {
	step := 0.0
	for i := 1; i < len(values); i++ {
		step = math.Max(step, values[i]-values[i-1])
	}
	return step
}

// A lift at 75 % of the speed range ends the truth there; without a coast-down
// the log ends soon after the throttle closes.
func TestShortPulls(t *testing.T) {
	s := Default()
	_, _, before, after := pair(t, s, Fault{Name: earlyLift, Size: 0.25})
	last := 1900 + 0.75*(7800-1900.)
	for j, rpm := range after.RPM {
		if got := after.Pulls[4].UncorrectedNm[j] != nil; got != (rpm <= last) {
			t.Errorf("lifted at %.0f 1/min: has a torque at %.0f: %v", last, rpm, got)
		}
		if before.Pulls[4].UncorrectedNm[j] == nil {
			t.Errorf("the sound pull has no torque at %.0f 1/min", rpm)
		}
	}
	if after.Comparisons[0].Apparent.CurvePct[len(after.RPM)-1] != nil {
		t.Error("a speed that one pull did not reach has an apparent gain")
	}
	_, _, _, after = pair(t, s, Fault{Name: missingCoast})
	if p := after.Pulls[4]; p.CoastDown != 0 || after.Pulls[3].CoastDown == 0 {
		t.Errorf("coast-down of %v s, and of %v s on a sound pull", p.CoastDown, after.Pulls[3].CoastDown)
	}
}

// The first block of a cold day starts low and has warmed up after a few time
// constants; the second block is sound.
func TestColdFirstBlock(t *testing.T) {
	_, _, before, after := pair(t, Default(), Fault{Name: coldFirstBlock, Size: 0.04})
	for i := range after.Pulls {
		lacking := 0.0
		if i < 3 {
			lacking = 0.04 * math.Exp(-after.Pulls[i].Hours/warmUpTime)
		}
		got := 1 - torqueAt(t, after, i+1)/torqueAt(t, before, i+1)
		near(t, "lacking torque of pull "+after.Pulls[i].Pull, got, lacking*1.08, 0.0015)
	}
}

// Faults on one side show in the apparent gain and not in the gain.
func TestApparentGain(t *testing.T) {
	for name, want := range map[string]float64{"tyre-pressure": 0.68, "lighter-wheel": 0.87, "mixture": 2.08, "sea-level": 6.1} {
		s, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		truth, err := s.Truth()
		if err != nil {
			t.Fatal(err)
		}
		c := truth.Comparisons[0]
		near(t, name+": gain", *c.Gain.BandPct, 0, 1e-12)
		if !(*c.Apparent.BandPct > want/2) {
			t.Errorf("%s: apparent gain %v %%, want one that a check must catch", name, *c.Apparent.BandPct)
		}
	}
}
