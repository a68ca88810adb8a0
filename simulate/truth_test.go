package simulate

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"testing"
)

// quiet returns s on a rig without scatter, drift, noise or encoder error, with
// text as fine as it goes.
func quiet(s Scenario) Scenario {
	s.Scatter = Scatter{}
	s.Drift = Drift{}
	s.Faults = nil
	s.Logger.EncoderError = 0
	s.Logger.Sampled = Sampled{
		Rate: 200, TimeStep: 1e-9, DrumUnit: RadiansPerSecond, DrumStep: 1e-9,
		EngineSpeed: true, EngineStep: 1e-9, Throttle: true, OilTemperature: true, Lambda: true,
	}
	s.Logger.Pulses = Pulses{PerRev: 60, TimerStep: 1e-9, EnginePerRev: 1}
	return s
}

// columns reads a log's text back by encoding/csv and strconv.
func columns(t *testing.T, text []byte) map[string][]float64 {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	set := map[string][]float64{}
	for i, name := range rows[0] {
		for _, cells := range rows[1:] {
			if cells[i] == "" {
				continue
			}
			value, err := strconv.ParseFloat(cells[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			set[name] = append(set[name], value)
		}
	}
	return set
}

// files returns the files of a scenario and its truth as written.
func files(t *testing.T, s Scenario) (map[string][]byte, Truth) {
	t.Helper()
	set, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	var truth Truth
	if err := json.Unmarshal(set[truthFile], &truth); err != nil {
		t.Fatal(err)
	}
	return set, truth
}

func logOf(pull int) string { return fmt.Sprintf("logs/pull-%03d.csv", pull) }

// The truth of a pull is what numerical differentiation of its own noise-free
// log gives: drum speed by the five-point rule, torque by I·α + τ_par, brought to
// the nodes by a cubic through four neighbours.
func TestTruthFromTheLog(t *testing.T) {
	s := quiet(Demo())
	set, truth := files(t, s)
	for _, pull := range []int{1, 5} {
		log := columns(t, set[logOf(pull)])
		p := truth.Pulls[pull-1]
		h := 1 / s.Logger.Sampled.Rate
		n := int(p.Closed / h)
		drum, engine := log["drum_speed [rad/s]"][:n], log["engine_speed [1/min]"][:n]
		torque := make([]float64, len(drum))
		for i := 2; i+2 < len(drum); i++ {
			alpha := (drum[i-2] - drum[i+2] + 8*(drum[i+1]-drum[i-1])) / (12 * h)
			contact := float64(s.Dyno.Inertia)*alpha + quadratic(s.Dyno.Parasitic, drum[i])
			torque[i] = contact * drum[i] / (engine[i] * 2 * math.Pi / 60)
		}
		compared := 0
		for j, rpm := range truth.RPM {
			i, _ := slices.BinarySearchFunc(engine, rpm, func(a, b float64) int {
				if a < b {
					return -1
				}
				return 1
			})
			at := float64(i) * h
			if at < p.FullThrottle+0.5 || at > p.Closed-0.05 {
				continue
			}
			got := cubic(engine[i-2:i+2], torque[i-2:i+2], rpm)
			near(t, fmt.Sprintf("pull %d at %.0f 1/min, relative", pull, rpm), got/(*p.UncorrectedNm[j]), 1, 2e-6)
			compared++
		}
		if compared < 90 {
			t.Errorf("only %d nodes compared", compared)
		}
	}
}

// cubic is Lagrange's polynomial through four points.
func cubic(x, y []float64, at float64) float64 {
	sum := 0.0
	for i := range x {
		term := y[i]
		for j := range x {
			if j != i {
				term *= (at - x[j]) / (x[i] - x[j])
			}
		}
		sum += term
	}
	return sum
}

// Without tyre loss, drag, slip, engine and wheel inertia the wheel figure is the
// crankshaft torque, and the gain at the wheel the gain at the crankshaft.
func TestTruthOfAnIdealVehicle(t *testing.T) {
	s := quiet(Default())
	s.Vehicle.Loss, s.Vehicle.Slip = [3]float64{}, 0
	s.Vehicle.WheelInertia, s.Engine.Inertia = 0.001, 0 // the least that is allowed
	truth, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	wheel := 0.001 * math.Pow(float64(s.Dyno.Radius/s.Vehicle.WheelRadius), 2)
	for j, rpm := range truth.RPM {
		for i, c := range truth.Configurations {
			want := s.Engine.Torque.At(rpm) * (1 + s.Configurations[i].Gain.At(rpm))
			near(t, "crankshaft torque", c.CrankNm[j], want, 1e-9)
			// τ_w = τ·G − I_w·α with I·α = τ_w − τ_par, solved for τ_w.
			omega := rpm / rpmPerRadian / s.Vehicle.RevsPerDrumRev
			share := wheel / float64(s.Dyno.Inertia)
			drum := (want*s.Vehicle.RevsPerDrumRev + share*quadratic(s.Dyno.Parasitic, omega)) / (1 + share)
			near(t, "wheel torque", c.WheelNm[j], drum/s.Vehicle.RevsPerDrumRev, 1e-6)
		}
		near(t, "gain, per cent", *truth.Comparisons[0].Gain.CurvePct[j], 100*s.Configurations[1].Gain.At(rpm), 1e-3)
	}
}

// Band, peak torque and peak power of a truth, found anew from its curves: the
// peaks by a fine search on the cubic through the nodes.
func TestTruthFigures(t *testing.T) {
	truth, err := Demo().Truth()
	if err != nil {
		t.Fatal(err)
	}
	a, b := truth.Configurations[0], truth.Configurations[1]
	var sumA, sumB float64
	for j, rpm := range truth.RPM {
		if rpm >= 3000 && rpm <= 6500 {
			sumA, sumB = sumA+a.WheelNm[j], sumB+b.WheelNm[j]
		}
	}
	gain := truth.Comparisons[0].Gain
	near(t, "band, per cent", *gain.BandPct, 100*(sumB/sumA-1), 1e-12)
	torqueA, torqueB := highest(truth.RPM, a.WheelNm), highest(truth.RPM, b.WheelNm)
	near(t, "peak torque, per cent", *gain.PeakTorquePct, 100*(torqueB/torqueA-1), 0.002)
	powerA, powerB := highest(truth.RPM, power(truth.RPM, a.WheelNm)), highest(truth.RPM, power(truth.RPM, b.WheelNm))
	near(t, "peak power, per cent", *gain.PeakPowerPct, 100*(powerB/powerA-1), 0.002)
	near(t, "peak power, W, relative", a.PeakPower.Value/powerA, 1, 1e-5)
}

// highest returns the maximum of a curve read between its nodes by cubics.
func highest(rpm, values []float64) float64 {
	best := math.Inf(-1)
	for i := 1; i+2 < len(rpm); i++ {
		for at := rpm[i]; at <= rpm[i+1]; at++ {
			best = math.Max(best, cubic(rpm[i-1:i+3], values[i-1:i+3], at))
		}
	}
	return best
}

// A part that changes nothing has no gain, and a candidate better everywhere has
// one everywhere; a faultless campaign's apparent gain is its gain but for the
// part of the weather that no correction of the wheel figure reaches.
func TestGainOfTruth(t *testing.T) {
	truth, err := nullPart().Truth()
	if err != nil {
		t.Fatal(err)
	}
	gain := truth.Comparisons[0].Gain
	for j, pct := range gain.CurvePct {
		if *pct != 0 {
			t.Fatalf("a part that changes nothing gains %v %% at %v 1/min", *pct, truth.RPM[j])
		}
	}
	if *gain.BandPct != 0 || *gain.PeakTorquePct != 0 || *gain.PeakPowerPct != 0 {
		t.Errorf("a part that changes nothing gains %v", gain)
	}
	s := Default()
	s.Configurations[1].Gain = Shape{Level: 0.03}
	truth, err = s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	c := truth.Comparisons[0]
	for j, pct := range c.Gain.CurvePct {
		if !(*pct > 3 && *pct < 4.5) { // losses do not grow with the engine
			t.Errorf("gain %v %% at %v 1/min, want a little above 3", *pct, truth.RPM[j])
		}
	}
	near(t, "apparent gain, per cent", *c.Apparent.BandPct, *c.Gain.BandPct, 0.1)
}

// Warmer, thinner and damper air takes torque away; the factor gives it back but
// for (CF − 1)·loss.
func TestWeatherOfTruth(t *testing.T) {
	s := quiet(Default())
	s.Vehicle.Slip = 0
	s.Weather = Weather{Pressure: 99_500, Temperature: 290, RelativeHumidity: 0.3}
	cool, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Weather){
		"warmer":  func(w *Weather) { w.Temperature += 12 },
		"thinner": func(w *Weather) { w.Pressure -= 3000 },
		"damper":  func(w *Weather) { w.RelativeHumidity += 0.6 },
	} {
		changed := s
		change(&changed.Weather)
		truth, err := changed.Truth()
		if err != nil {
			t.Fatal(err)
		}
		before, after := cool.Pulls[0], truth.Pulls[0]
		j := slices.Index(truth.RPM, 5000)
		if !(after.Factor > before.Factor && *after.UncorrectedNm[j] < *before.UncorrectedNm[j]) {
			t.Errorf("%s: factor %.4f after %.4f, torque %.3f after %.3f N·m", name,
				after.Factor, before.Factor, *after.UncorrectedNm[j], *before.UncorrectedNm[j])
		}
		a := truth.Configurations[0]
		omega := 5000 / rpmPerRadian / s.Vehicle.RevsPerDrumRev
		share := (a.WheelInertiaAtDrum + a.EngineInertiaAtDrum) / float64(s.Dyno.Inertia)
		missing := (quadratic(a.LossNm, omega) - share*quadratic(s.Dyno.Parasitic, omega)) / (1 + share)
		want := a.WheelNm[j] - (after.Factor-1)*missing/s.Vehicle.RevsPerDrumRev
		near(t, name+": corrected torque", *after.UncorrectedNm[j]*after.Factor, want, 1e-5)
	}
}

// An exponent error of the correction leaves exactly that share of ln(factor) in
// an engine whose torque is all wheel torque.
func TestExponentError(t *testing.T) {
	s := quiet(Default())
	s.Vehicle.Loss, s.Vehicle.Slip, s.Dyno.Parasitic = [3]float64{}, 0, [3]float64{}
	s.Weather = Weather{Pressure: 94_000, Temperature: 305, RelativeHumidity: 0.5}
	s.Engine.ExponentError = 0.2
	truth, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	p, j := truth.Pulls[0], slices.Index(truth.RPM, 5000)
	corrected := *p.UncorrectedNm[j] * p.Factor
	near(t, "ln of corrected over true", math.Log(corrected/truth.Configurations[0].WheelNm[j]), -0.2*math.Log(p.Factor), 1e-6)
}

// Drift raises later pulls by what Drift says, but for the rotating parts' share
// of the bare drum's loss, 4 parts in 10,000 of the torque; the gain stays.
func TestDriftDirection(t *testing.T) {
	s := quiet(Default())
	s.Vehicle.Slip = 0
	s.Weather = Weather{Pressure: 99_000, Temperature: 298, RelativeHumidity: 0.3}
	still, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	s.Drift = Drift{PerHour: 0.01, Saturating: 0.02, Hours: 0.5}
	moved, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	j := slices.Index(still.RPM, 5000)
	for i := range still.Pulls {
		hours := still.Pulls[i].Hours
		want := 0.01*hours + 0.02*(1-math.Exp(-hours/0.5))
		got := math.Log(*moved.Pulls[i].UncorrectedNm[j] / *still.Pulls[i].UncorrectedNm[j])
		near(t, "drift of pull "+still.Pulls[i].Pull, got, want, 1e-3*want)
		near(t, "drift stated", moved.Pulls[i].DriftPct, 100*math.Expm1(want), 1e-9)
	}
	near(t, "gain", *moved.Comparisons[0].Gain.BandPct, *still.Comparisons[0].Gain.BandPct, 0)
}

// The encoder's pulses on constant torque come when θ0 + ω0·t + α·t²/2 passes
// multiples of the pitch.
func TestPulseTimes(t *testing.T) {
	m := idealMachine()
	alpha := 60 * m.ratio / (m.drum + m.wheel + m.engine*m.ratio*m.ratio)
	part, _, _ := m.drive(opening{from: 1, to: 1, constant: 1}, 0, state{theta: 0.03, omega: 40}, 2, math.Inf(1))
	s := quiet(Default())
	moments := s.drumPulses(&course{segments: []segment{part}, end: 2}, chance(1, logStream, 0))
	pitch := 2 * math.Pi / 60
	if want := int((0.03 + 80 + 2*alpha) / pitch); len(moments) != want {
		t.Fatalf("%d pulses, want %d", len(moments), want)
	}
	for i, got := range moments {
		theta := float64(i+1)*pitch - 0.03
		want := (math.Sqrt(1600+2*alpha*theta) - 40) / alpha
		near(t, "pulse", got, want, 1e-12)
	}
}

// Sampled and pulse logs of one pull agree: the mean drum speed between pulses is
// the sampled speed half-way, with the encoder error of either in it.
func TestPulsesAgreeWithSamples(t *testing.T) {
	for _, encoderError := range []float64{0, 0.01} {
		s := quiet(Default())
		s.Logger.EncoderError, s.Logger.EncoderPhase = encoderError, 0.4
		sampled, _ := files(t, s)
		s.Logger.Kind = PulseLog
		pulsed, _ := files(t, s)
		log, pulses := columns(t, sampled[logOf(1)]), columns(t, pulsed[logOf(1)])["drum_pulse [s]"]
		stamp, drum := log["time [s]"], log["drum_speed [rad/s]"]
		worst := 0.0
		for i := 600; i < 1500; i++ {
			speed := 2 * math.Pi / 60 / (pulses[i+1] - pulses[i])
			middle := (pulses[i+1] + pulses[i]) / 2
			j, _ := slices.BinarySearch(stamp, middle)
			at := cubic(stamp[j-2:j+2], drum[j-2:j+2], middle)
			worst = math.Max(worst, math.Abs(speed/at-1))
		}
		// Within a turn of 12 to 30 samples the cubic misses some of an error of
		// 1 % that turns with the drum, and the mean over a pulse flattens it.
		if limit := 2e-6 + 0.02*encoderError; !(worst < limit) {
			t.Errorf("encoder error %v: pulses and samples differ by %.2g, more than %.2g", encoderError, worst, limit)
		}
	}
}

// Ignition pulses come once a turn of the crankshaft: their rate is the engine
// speed of the sampled log.
func TestIgnitionPulses(t *testing.T) {
	s := quiet(Default())
	sampled, _ := files(t, s)
	s.Logger.Kind = PulseLog
	s.Logger.Pulses.EnginePerRev = 0.5
	pulsed, _ := files(t, s)
	log, pulses := columns(t, sampled[logOf(1)]), columns(t, pulsed[logOf(1)])["engine_pulse [s]"]
	stamp, engine := log["time [s]"], log["engine_speed [1/min]"]
	for i := 60; i < 250; i++ {
		rpm := 60 / (pulses[i+1] - pulses[i]) / 0.5
		middle := (pulses[i+1] + pulses[i]) / 2
		j, _ := slices.BinarySearch(stamp, middle)
		near(t, "engine speed from ignition", rpm/cubic(stamp[j-2:j+2], engine[j-2:j+2], middle), 1, 1e-4)
	}
}
