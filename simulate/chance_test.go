package simulate

import (
	"math"
	"testing"
)

// Departures have the stated SD: common and course at every speed, tilt growing
// to its SD at either end. 4,000 draws give an SD to 1.1 %; the bound is 4.5 %.
func TestDepartureSpread(t *testing.T) {
	const draws = 4000
	spread := Spread{Common: 0.006, Tilt: 0.004, Course: 0.003}
	for _, waves := range [][2]int{{1, setupWaves}, {setupWaves + 1, pullWaves}} {
		for _, rpm := range []float64{2000, 3700, 5000, 8000} {
			sum := 0.0
			for i := range draws {
				d := depart(chance(9, pullStream, i), spread, 2000, 8000, waves[0], waves[1])
				sum += d.at(rpm) * d.at(rpm)
			}
			x := (rpm - 5000) / 3000
			want := math.Sqrt(0.006*0.006 + 0.004*0.004*x*x + 0.003*0.003)
			near(t, "SD", math.Sqrt(sum/draws), want, 0.045*want)
		}
	}
}

// Blocks of one setup share its departure; another setup has its own, and the
// SD between setups is the stated one. 400 setups give an SD to 3.5 %; the bound
// is four times that.
func TestSetupScatter(t *testing.T) {
	s := Default()
	s.Scatter = Scatter{Setup: Spread{Common: 0.01}, SetupLoss: 0.05}
	s.Plan.Order, s.Plan.PullsPerBlock, s.Plan.BlocksPerSetup = "ABAB", 2, 2
	sum, loss := 0.0, 0.0
	const seeds = 200
	for seed := range uint64(seeds) {
		s.Seed = seed
		pulls := s.session()
		for i, p := range pulls {
			if want := i / 4 * 4; p.rig[0].common != pulls[want].rig[0].common || p.lossChange != pulls[want].lossChange {
				t.Fatalf("pull %d: setup departure %v is not that of pull %d", i+1, p.rig[0].common, want+1)
			}
		}
		if pulls[0].rig[0].common == pulls[4].rig[0].common {
			t.Fatal("two setups share a departure")
		}
		for _, p := range []plannedPull{pulls[0], pulls[4]} {
			sum += p.rig[0].common * p.rig[0].common
			loss += p.lossChange * p.lossChange
		}
	}
	near(t, "SD between setups", math.Sqrt(sum/(2*seeds)), 0.01, 0.14*0.01)
	near(t, "SD of the loss", math.Sqrt(loss/(2*seeds)), 0.05, 0.14*0.05)
}

// The scatter of the wheel figure from pull to pull is the stated one. 120 pulls
// give the SD to 6.5 %; the bound is four times that.
func TestPullScatterReachesTheWheel(t *testing.T) {
	s := quiet(Default())
	s.Vehicle.Slip = 0
	s.Weather = Weather{Pressure: 99_000, Temperature: 298, RelativeHumidity: 0.3}
	s.Configurations[1].Gain = Shape{}
	s.Plan.PullsPerBlock = 40
	s.Scatter.Pull = Spread{Common: 0.004, Course: 0.003}
	truth, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range []int{20, 60, 100} {
		still := truth.Configurations[0].WheelNm[j] / truth.Pulls[0].Factor
		sum := 0.0
		for _, p := range truth.Pulls {
			d := math.Log(*p.UncorrectedNm[j] / still)
			sum += d * d
		}
		near(t, "SD of ln of torque", math.Sqrt(sum/float64(len(truth.Pulls))), 0.005, 0.26*0.005)
	}
}

// A walk has its SD after an hour, however many steps it took.
func TestWalk(t *testing.T) {
	const draws = 4000
	sum := 0.0
	for i := range draws {
		path := walk(chance(2, weatherStream, i), 3, []float64{0, 0.2, 0.25, 0.9, 1})
		sum += path[4] * path[4]
	}
	near(t, "SD after an hour", math.Sqrt(sum/draws), 3, 0.135)
}

// Teeth have the stated scatter about their places, the same for every pull, and
// missed pulses are missed at the stated rate.
func TestToothTableAndMissedPulses(t *testing.T) {
	s := Default()
	s.Logger.Kind, s.Logger.EncoderError = PulseLog, 0
	s.Logger.Pulses.PerRev, s.Logger.Pulses.ToothError = 2000, 0.02
	sum := 0.0
	for _, e := range s.toothTable() {
		sum += e * e
	}
	want := 0.02 * 2 * math.Pi / 2000
	near(t, "SD of teeth", math.Sqrt(sum/2000), want, 0.07*want) // 2,000 teeth: 1.6 %, cut at 3 SD: −1.4 %

	moments := make([]float64, 20_000)
	for i := range moments {
		moments[i] = float64(i)
	}
	seen := timed(moments, chance(1, logStream, 0), func(int) float64 { return 0.01 }, 0.05)
	near(t, "share seen", float64(len(seen))/20_000, 0.95, 4*math.Sqrt(0.05*0.95/20_000))
	for i := 1; i < len(seen); i++ {
		if seen[i] < seen[i-1] {
			t.Fatalf("pulse %d at %v is before pulse %d at %v", i, seen[i], i-1, seen[i-1])
		}
	}
}
