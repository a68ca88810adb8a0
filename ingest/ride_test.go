package ingest

import (
	"errors"
	"math"
	"testing"

	"fairpull/campaign"
)

func TestParseRide(t *testing.T) {
	for name, c := range map[string]struct {
		text         string
		time, engine campaign.ChannelSource
		last         float64 // engine speed, 1/min
		rows, out    int
	}{
		"own names":       {text: "time [s],engine_speed [rpm],note\n0,3000,a\n0.1,3060,b\n0.2,3120,c\n", last: 3120, rows: 3},
		"other names":     {text: "t;Drehzahl\ns;U/min\n0,0;3000\n0,1;\n0,2;3120,5\n", time: campaign.ChannelSource{Column: "t"}, engine: campaign.ChannelSource{Column: "Drehzahl", Unit: "rpm"}, last: 3120.5, rows: 2, out: 1},
		"units in names":  {text: "# ride home\ntime_s;engine_speed_rpm\n0;3000\n1;3500\n", last: 3500, rows: 2},
		"a pull of a rig": {text: "time_s,drum_speed_rpm,engine_speed_rpm\n0,400,3000\n0.1,410,3060\n", last: 3060, rows: 2},
	} {
		r, err := ParseRide("ride.csv", []byte(c.text), c.time, c.engine)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(r.Time) != c.rows || r.LeftOut != c.out {
			t.Errorf("%s: %d rows and %d left out, want %d and %d", name, len(r.Time), r.LeftOut, c.rows, c.out)
			continue
		}
		// One turn a minute is 2π/60 rad/s.
		if got := r.EngineSpeed[len(r.EngineSpeed)-1] * 30 / math.Pi; math.Abs(got-c.last) > 1e-9*c.last {
			t.Errorf("%s: the last engine speed is %g 1/min, want %g", name, got, c.last)
		}
	}
}

func TestParseRideRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		kind error
	}{
		"no engine speed": {"time [s],speed [km/h]\n0,50\n1,51\n", ErrNoHeader},
		"no time":         {"t,engine_speed [rpm]\n0,3000\n1,3050\n", ErrNoHeader},
		"no unit":         {"time [s],engine_speed\n0,3000\n1,3050\n", ErrUnit},
		"one row":         {"time [s],engine_speed [rpm]\n0,3000\n", ErrNoData},
		"not a number":    {"time [s],engine_speed [rpm]\n0,3000\n1,fast\n", ErrNotNumber},
		"empty":           {"", ErrNoData},
	} {
		var syntax *SyntaxError
		if _, err := ParseRide("ride.csv", []byte(c.text), campaign.ChannelSource{}, campaign.ChannelSource{}); !errors.Is(err, c.kind) || !errors.As(err, &syntax) {
			t.Errorf("%s: %v, and not %v", name, err, c.kind)
		}
	}
}
