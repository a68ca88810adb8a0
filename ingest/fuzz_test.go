package ingest

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"testing"

	"fairpull/campaign"
	"fairpull/signal"
)

// checkRefusal holds what every error must be, whatever the input: of a known
// type, with a file, and short enough to be shown.
func checkRefusal(t *testing.T, err error) {
	t.Helper()
	var syntax *SyntaxError
	if !errors.As(err, &syntax) || syntax.File == "" {
		t.Errorf("%v (%T) names no file", err, err)
	}
	if text := err.Error(); len(text) > 60_000 || bytes.ContainsAny([]byte(text), "\x00\x1b") {
		t.Errorf("message %q", cut(text, 200))
	}
}

// FuzzLog holds that no text makes the reader fail or return a log that breaks
// its promises: columns of one length, a time in every row, no infinity.
func FuzzLog(f *testing.F) {
	for _, d := range dialects {
		f.Add([]byte(d.text), d.options.Channels != nil)
	}
	f.Add([]byte("drum_pulse [s],engine_pulse [s]\n0.1,0.05\n0.2,\n"), false)
	f.Add([]byte("# figures: crank\nengine_speed,power\nrpm,PS\n3000,20\n"), false)
	f.Add([]byte("time,drum_speed [mph]\n23:59:59.5,40\n00:00:00,41\n"), false)
	f.Fuzz(func(t *testing.T, data []byte, withChannels bool) {
		options := LogOptions{DrumRadius: 0.25}
		if withChannels {
			options.Channels = mapped
		}
		before := bytes.Clone(data)
		log, err := ParseLog("log.csv", data, options)
		if !bytes.Equal(data, before) {
			t.Fatal("the data were changed")
		}
		if err != nil {
			checkRefusal(t, err)
			return
		}
		checkLog(t, log)
		again, err := ParseLog("log.csv", data, options)
		if err != nil || !sameLog(log, again) {
			t.Errorf("a second reading differs: %v", err)
		}
	})
}

func checkLog(t *testing.T, log *signal.Log) {
	t.Helper()
	series := map[string][]float64{"time": log.Time, "drum pulses": log.DrumPulse, "engine pulses": log.EnginePulse}
	rows := len(log.Time)
	switch log.Kind {
	case signal.Pulses:
		if len(log.DrumPulse) < 2 || log.Time != nil || len(log.Channels) != 0 {
			t.Errorf("pulse log %+v", log)
		}
	case signal.Sampled:
		if rows == 0 || len(log.Channel(signal.DrumSpeed)) != rows {
			t.Errorf("sampled log %+v", log)
		}
	case signal.Reduced:
		rows = len(log.Channel(signal.EngineSpeed))
		if rows == 0 || log.Time != nil || log.Channel(signal.Power) == nil && log.Channel(signal.Torque) == nil {
			t.Errorf("curve log %+v", log)
		}
	default:
		t.Errorf("kind %v", log.Kind)
	}
	for name, values := range series {
		for _, v := range values {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s hold %v", name, v)
			}
		}
	}
	names := map[string]bool{}
	for _, c := range log.Channels {
		if c.Name == "" || names[c.Name] || len(c.Values) != rows {
			t.Errorf("channel %q with %d values in %d rows", c.Name, len(c.Values), rows)
		}
		names[c.Name] = true
		for _, v := range c.Values {
			if math.IsInf(v, 0) {
				t.Errorf("channel %q holds %v", c.Name, v)
			}
		}
	}
	if log.FirstLine < 2 {
		t.Errorf("first line %d", log.FirstLine)
	}
}

// sameLog compares bit by bit, so that NaN equals NaN.
func sameLog(a, b *signal.Log) bool {
	bits := func(l *signal.Log) [][]uint64 {
		all := [][]float64{l.Time, l.DrumPulse, l.EnginePulse}
		for _, c := range l.Channels {
			all = append(all, c.Values)
		}
		var out [][]uint64
		for _, values := range all {
			row := make([]uint64, len(values))
			for i, v := range values {
				row[i] = math.Float64bits(v)
			}
			out = append(out, row)
		}
		return out
	}
	return reflect.DeepEqual(bits(a), bits(b)) && reflect.DeepEqual(a.LeftOut, b.LeftOut) && a.Kind == b.Kind
}

// FuzzPulls holds that whatever pulls.csv says, an accepted row is whole.
func FuzzPulls(f *testing.F) {
	f.Add([]byte(smallPulls))
	f.Add([]byte("pull;started;configuration;setup;log;pressure_kpa;note\n1;2026-03-02T14:05:00+01:00;A;s1;logs/1.csv;101,325;\"a; \"\"b\"\"\"\n"))
	f.Add([]byte("\xEF\xBB\xBFpull\tstarted\tconfiguration\tsetup\tlog\toil_temp_degc\texcluded\r\n1\t2026-03-02 14:05:00Z\tA\ts\tl\t90,5\tslipped\r\n"))
	points := []campaign.SetPoint{{Key: "oil_temp_degc"}}
	f.Fuzz(func(t *testing.T, data []byte) {
		pulls, extra, err := readPulls(PullsFile, data, points)
		if err != nil {
			checkRefusal(t, err)
			return
		}
		line := 1
		for _, p := range pulls {
			if p.Line <= line || p.Started.IsZero() || checkPath(p.Log) != nil || len(p.Values) != len(extra) {
				t.Errorf("pull %+v, extra columns %q", p, extra)
			}
			line = p.Line
			for name, v := range p.Measured {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%s is %v", name, v)
				}
			}
		}
	})
}

// FuzzCampaign holds that a folder that opens has no problem.
func FuzzCampaign(f *testing.F) {
	f.Add([]byte(smallCampaign))
	f.Add([]byte(smallCampaign + "settings = { boost = 1.50 }\n[history]\nsetup_sd_pct = 0.7\nsetup_df = 12\n[procedure]\noil_temp_degc = { target = 90, tolerance = 8 }\n[channels]\ntime = { column = \"t\", unit = \"ms\" }\n"))
	f.Add([]byte("format = \"fairpull.campaign/1\"\nconfiguration = [{id=\"A\",role=\"baseline\"},{id=\"B\",role=\"candidate\",components=[{function='x',part='y'}]}]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		files := smallFolder(map[string]string{CampaignFile: string(data)})
		folder, err := Open(files)
		if err != nil {
			checkRefusal(t, err)
			return
		}
		if problems := folder.Campaign.Problems(); problems != nil {
			t.Errorf("opened with %v", problems)
		}
	})
}
