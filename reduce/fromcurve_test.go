package reduce

import (
	"errors"
	"math"
	"testing"

	"fairpull/signal"
)

// given returns a reduced log of torque or power at the given engine speeds.
func given(name string, rpm []float64, f func(rpm float64) float64) *signal.Log {
	speed, v := make([]float64, len(rpm)), make([]float64, len(rpm))
	for i, n := range rpm {
		speed[i] = n * math.Pi / 30
		v[i] = f(n)
		if name == signal.Power {
			v[i] *= speed[i]
		}
	}
	return &signal.Log{Kind: signal.Reduced, FirstLine: 2, Channels: []signal.Channel{{Name: signal.EngineSpeed, Values: speed}, {Name: name, Values: v}}}
}

func evenly(from, to, step float64) []float64 {
	var out []float64
	for n := from; n <= to; n += step {
		out = append(out, n)
	}
	return out
}

// TestFromCurve: a curve given every 250 1/min, as torque or as power, comes back
// on the 50 1/min grid within 0.05 %; a cubic polynomial exactly.
func TestFromCurve(t *testing.T) {
	nodes := evenly(2000, 9000, 50)
	for _, name := range []string{signal.Torque, signal.Power} {
		log := given(name, evenly(2500, 8000, 250), curvy)
		ph, err := Find(log, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := Reduce(log, Settings{NodesRPM: nodes}, ph)
		if err != nil {
			t.Fatal(err)
		}
		if first, last := r.Curve.SpeedRPM[0], r.Curve.SpeedRPM[r.Curve.Len()-1]; first != 2500 || last != 8000 || r.Curve.Len() != 111 {
			t.Errorf("%s: %d nodes from %g to %g, want 111 from 2500 to 8000", name, r.Curve.Len(), first, last)
		}
		for i, rpm := range r.Curve.SpeedRPM {
			if !(math.Abs(r.Curve.Torque[i]/curvy(rpm)-1) < 0.0005) || !math.IsNaN(r.Curve.StandardError[i]) {
				t.Errorf("%s: %.4f ± %g N·m at %g 1/min, want %.4f and no standard error", name, r.Curve.Torque[i], r.Curve.StandardError[i], rpm, curvy(rpm))
			}
		}
		if r.Coast != nil || r.Compensated != nil || r.Phases.HasCoast || len(r.Findings) > 0 || len(r.Time) != 111 || !math.IsNaN(r.Time[0]) {
			t.Errorf("%s: a curve has no coast-down and no times: %+v, coast %v, findings %v", name, r.Phases, r.Coast, r.Findings)
		}
	}
	cubic := func(n float64) float64 { x := n / 1000; return 40 + 3*x - x*x + 0.1*x*x*x }
	r, err := FromCurve(given(signal.Torque, []float64{2000, 2300, 3100, 4000, 4900, 6000, 7500}, cubic), Settings{NodesRPM: nodes})
	if err != nil {
		t.Fatal(err)
	}
	for i, rpm := range r.Curve.SpeedRPM {
		if !(math.Abs(r.Curve.Torque[i]-cubic(rpm)) < 1e-9) {
			t.Errorf("cubic at %g 1/min: %.9f, want %.9f", rpm, r.Curve.Torque[i], cubic(rpm))
		}
	}
	if f, ok := look(r, signal.Gap, signal.EngineSpeed); ok {
		t.Errorf("spacings of 300 to 1500 with a median of 900 have no gap: %+v", f)
	}
}

// TestFromCurveDefects: order does not matter; points without a value, repeated
// engine speeds and gaps are left out and reported.
func TestFromCurveDefects(t *testing.T) {
	rpm := append(evenly(5000, 8000, 250), evenly(2500, 4750, 250)...)
	rpm = append(rpm, 4000)
	log := given(signal.Torque, rpm, curvy)
	log.Channels[1].Values[2] = math.NaN()
	log.Channels[1].Values[3] = math.NaN()
	r, err := FromCurve(log, Settings{NodesRPM: evenly(2500, 8000, 50)})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		kind, channel string
		count         int
	}{{signal.MissingCell, signal.Torque, 2}, {signal.RepeatedTime, signal.EngineSpeed, 1}, {signal.Gap, signal.EngineSpeed, 1}} {
		if f, ok := look(r, want.kind, want.channel); !ok || f.Count != want.count {
			t.Errorf("want %+v among %+v", want, r.Findings)
		}
	}
	for name, bad := range map[string]*signal.Log{
		"no torque":       {Kind: signal.Reduced, Channels: []signal.Channel{{Name: signal.EngineSpeed, Values: []float64{1, 2, 3, 4, 5, 6}}}},
		"no engine speed": {Kind: signal.Reduced, Channels: []signal.Channel{{Name: signal.Torque, Values: []float64{1, 2, 3, 4, 5, 6}}}},
		"four points":     given(signal.Torque, evenly(2000, 2300, 100), curvy),
		"other units":     given(signal.Torque, evenly(20000, 23000, 100), curvy),
		"all missing":     given(signal.Torque, evenly(2000, 4000, 100), func(float64) float64 { return math.NaN() }),
	} {
		var refused *LogError
		if r, err := FromCurve(bad, Settings{NodesRPM: evenly(2500, 8000, 50)}); !errors.As(err, &refused) {
			t.Errorf("%s: %+v, %v; want a LogError", name, r, err)
		}
	}
}
