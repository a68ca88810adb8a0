package ingest

import (
	"errors"
	"math"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/signal"
)

// TestParseEngineLog: with a drum's speed or without, by its own names or by [channels],
// the channels of a mixture come in SI.
func TestParseEngineLog(t *testing.T) {
	const rows = "0;3000;50;14,7;120\n0,1;3060;55;14,6;110\n"
	l, err := ParseEngineLog("a.csv", []byte("time [s];engine_speed [1/min];throttle [%];exhaust_co2 [%];exhaust_hc [ppm]\n"+rows), LogOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{signal.EngineSpeed: 100 * math.Pi, signal.Throttle: 0.5, signal.ExhaustCO2: 0.147, signal.ExhaustHC: 120e-6} {
		if got := l.Channel(name); len(got) != 2 || math.Abs(got[0]/want-1) > 1e-12 {
			t.Errorf("%s is %v, want %g first", name, got, want)
		}
	}
	if l.Channel(signal.DrumSpeed) != nil {
		t.Error("a drum that nobody logged has a speed")
	}
	if l, err = ParseEngineLog("b.csv", []byte("time [s],rev,lambda\n0,3000,0.9\n1,3000,0.91\n"), LogOptions{Channels: campaign.ChannelMap{signal.EngineSpeed: {Column: "rev", Unit: "1/min"}}}); err != nil || len(l.Channel(signal.EngineSpeed)) != 2 {
		t.Errorf("named by [channels]: %v", err)
	}
	if l, err = ParseEngineLog("c.csv", []byte("time [s],drum_speed [rad/s],engine_speed [1/min]\n0,50,3000\n1,51,3000\n"), LogOptions{}); err != nil || l.Channel(signal.DrumSpeed)[0] != 50 {
		t.Errorf("with a drum: %v", err)
	}
	if l, err = ParseEngineLog("d.csv", []byte("time [s],drum_speed [km/h],engine_speed [1/min]\n0,50,3000\n1,51,3000\n"), LogOptions{}); err != nil || l.Channel(signal.DrumSpeed) != nil {
		t.Errorf("a surface speed of a drum of unknown radius: %v", err)
	}
	for name, text := range map[string]string{
		"no engine speed":    "time [s],drum_speed [rad/s]\n0,50\n1,51\n",
		"no time":            "engine_speed [1/min],lambda\n3000,0.9\n",
		"pulses":             "drum_pulse [s]\n0\n0.1\n0.2\n",
		"a curve":            "figures: wheel\nengine_speed [1/min],torque [N·m]\n3000,50\n3500,52\n",
		"a wrong unit of CO": "time [s],engine_speed [1/min],exhaust_co [V]\n0,3000,1\n",
	} {
		var syntax *SyntaxError
		if _, err := ParseEngineLog(name, []byte(text), LogOptions{}); !errors.As(err, &syntax) || syntax.Cure == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// FuzzParseEngineLog: whatever the bytes, a log has engine speed for every row of time, or
// is refused.
func FuzzParseEngineLog(f *testing.F) {
	f.Add([]byte("time [s],engine_speed [1/min],lambda\n0,3000,0.9\n1,3000,0.91\n"))
	f.Add([]byte("time [s];drum_speed [km/h];engine_speed [1/min];exhaust_co [%]\n0;1,5;3000;0,5\n"))
	f.Add([]byte(strings.Repeat("engine_speed [1/min]\t", 40)))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ParseEngineLog("log.csv", data, LogOptions{DrumRadius: 0.25})
		if err != nil {
			return
		}
		if speed := l.Channel(signal.EngineSpeed); len(speed) != len(l.Time) || len(speed) == 0 {
			t.Errorf("%d speeds at %d moments", len(speed), len(l.Time))
		}
	})
}
