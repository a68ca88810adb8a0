package lab

import (
	"bytes"
	"context"
	"fmt"
	"math"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/reduce"
	"fairpull/report"
	"fairpull/signal"
)

// RawLog is the log of one pull as it was recorded. It is not changed once it is
// made.
type RawLog struct {
	Pull    campaign.Pull
	Problem error // why there are no channels; nil: there are

	kind     signal.Kind
	phases   reduce.Phases
	found    bool              // phases hold
	steady   []report.RawPhase // held speeds; nil: the log is one of a pull
	channels []rawChannel
	text     []byte
	lines    []int // where each line of text begins
}

// rawChannel is one channel over its own axis, which is in seconds or, of a curve
// that was reduced elsewhere, in 1/min. Values are SI where the unit is known.
type rawChannel struct {
	report.RawChannel
	x, y []float64
}

// maxRawLogs bounds the logs that a desk keeps open.
const maxRawLogs = 4

type rawKey struct {
	id      string
	version int64
	pull    string
}

// RawLog opens the log of a pull of the latest version of a campaign. A log that
// cannot be read as channels still has its text, and says why.
func (d *Desk) RawLog(ctx context.Context, id, pull string) (*RawLog, error) {
	entry, err := d.store.Entry(ctx, id, 0)
	if err != nil {
		return nil, unknownCampaign(err)
	}
	key := rawKey{id, entry.Version, pull}
	if log, found := d.raws.get(key); found {
		return log, nil
	}
	made, err, _ := d.calls.Do(fmt.Sprintf("raw %q %d %q", id, entry.Version, pull), func() (any, error) {
		p, known := entry.Campaign.Pull(pull)
		if !known {
			return nil, fmt.Errorf("campaign %s has no pull %.60q: it is %w", id, pull, ErrUnknown)
		}
		digest, kept := entry.Logs[p.Log]
		if !kept {
			return nil, fmt.Errorf("the log of pull %.60q is %w", pull, ErrUnknown)
		}
		data, err := d.store.Blob(context.WithoutCancel(ctx), digest)
		if err != nil {
			return nil, err
		}
		log := newRawLog(&entry.Campaign, p, data)
		d.raws.put(key, log)
		return log, nil
	})
	if err != nil {
		return nil, err
	}
	return made.(*RawLog), nil
}

func newRawLog(c *campaign.Campaign, p campaign.Pull, data []byte) *RawLog {
	out := &RawLog{Pull: p, text: data, lines: lineStarts(data)}
	folder, err := ingest.FromCampaign(*c, memory{p.Log: data})
	if err != nil {
		out.Problem = err
		return out
	}
	log, err := folder.Parse(p, data)
	if err != nil {
		out.Problem = err
		return out
	}
	out.kind = log.Kind
	if log.Kind != signal.Reduced {
		s := settings(c, p.Configuration)
		if out.steady = steadyPhases(log, p, s); out.steady == nil {
			if phases, err := reduce.Find(log, s); err == nil {
				out.phases, out.found = phases, true
			}
		}
	}
	out.channels = rawChannels(c, log)
	return out
}

// rawDimensions are what the channels are that the program knows by name.
var rawDimensions = map[string]quantity.Dimension{
	signal.DrumSpeed: quantity.RotationalSpeed, signal.EngineSpeed: quantity.RotationalSpeed, signal.Throttle: quantity.Ratio,
	signal.BrakeTorque: quantity.Torque, signal.BrakeForce: quantity.Force, signal.Lambda: quantity.Lambda,
	signal.AirFuelRatio: quantity.AirFuelRatio, signal.ManifoldPressure: quantity.Pressure, signal.OilTemperature: quantity.Temperature,
	signal.Power: quantity.Power, signal.Torque: quantity.Torque, signal.Pressure: quantity.Pressure,
	signal.Temperature: quantity.Temperature, signal.RelativeHumidity: quantity.Ratio, signal.VapourPressure: quantity.Pressure,
	signal.WetBulb: quantity.Temperature,
}

// rawChannels returns the channels of a log. Of a pulse log they are the speeds
// from each pulse to the next: one turn over the pulses of a turn and the time
// between them, at the middle of that time.
func rawChannels(c *campaign.Campaign, log *signal.Log) []rawChannel {
	var out []rawChannel
	if log.Kind == signal.Pulses {
		for _, train := range []struct {
			name  string
			times []float64
			turn  float64 // pulses
		}{{signal.DrumSpeed, log.DrumPulse, float64(c.Dyno.PulsesPerRev)}, {signal.EngineSpeed, log.EnginePulse, c.Dyno.EnginePulsesPerRev}} {
			if len(train.times) > 1 && train.turn > 0 {
				x, y := pulseSpeed(train.times, train.turn)
				out = append(out, rawChannel{report.RawChannel{Name: train.name + ", from each pulse to the next", Dimension: quantity.RotationalSpeed}, x, y})
			}
		}
		return out
	}
	x := log.Time
	if log.Kind == signal.Reduced {
		for _, omega := range log.Channel(signal.EngineSpeed) {
			x = append(x, omega*30/math.Pi)
		}
	}
	for _, channel := range log.Channels {
		if log.Kind == signal.Reduced && channel.Name == signal.EngineSpeed || len(channel.Values) != len(x) {
			continue
		}
		view := report.RawChannel{Name: channel.Name, OwnUnit: channel.Unit, Dimension: rawDimensions[channel.Name]}
		if unit, err := quantity.Lookup(channel.Unit); err == nil && view.Dimension == 0 {
			view.Own = unit
		}
		out = append(out, rawChannel{view, x, channel.Values})
	}
	return out
}

// pulseSpeed returns the speed in rad/s between pulses of which turn make one turn.
func pulseSpeed(times []float64, turn float64) (x, y []float64) {
	x, y = make([]float64, len(times)-1), make([]float64, len(times)-1)
	for i := range x {
		x[i], y[i] = (times[i]+times[i+1])/2, math.NaN()
		if dt := times[i+1] - times[i]; dt > 0 {
			y[i] = 2 * math.Pi / turn / dt
		}
	}
	return x, y
}

// Rows returns how many values the longest channel has.
func (l *RawLog) Rows() int {
	rows := 0
	for i := range l.channels {
		rows = max(rows, len(l.channels[i].x))
	}
	return rows
}

// Window returns the channels between two places of the axis, each as at most the
// given number of points: where there are more values, the least and the greatest
// of each stretch, so that no spike is lost. Both places 0: the whole log.
func (l *RawLog) Window(from, to float64, points int) report.RawLog {
	out := report.RawLog{Axis: "time, s", Rows: l.Rows()}
	if l.kind == signal.Reduced {
		out.Axis = "engine speed, rpm"
	}
	out.First, out.Last = l.ends()
	if from == 0 && to == 0 || !(to > from) {
		from, to = out.First, out.Last
	}
	out.From, out.To = math.Max(from, out.First), math.Min(to, out.Last)
	for i := range l.channels {
		c := &l.channels[i]
		view := c.RawChannel
		view.X, view.Y = thinned(c.x, c.y, out.From, out.To, points)
		out.Channels = append(out.Channels, view)
	}
	out.Phases = l.steady
	if l.found {
		out.Phases = phaseViews(&l.phases)
	}
	return out
}

func phaseViews(p *reduce.Phases) []report.RawPhase {
	phases := []report.RawPhase{{Name: "settling", From: p.FullThrottle, To: p.Start}, {Name: "pull", From: p.Start, To: p.End}}
	if p.HasCoast {
		phases = append(phases, report.RawPhase{Name: "coast-down", From: p.CoastStart, To: p.CoastEnd})
	}
	return phases
}

// ends returns where the axis begins and ends.
func (l *RawLog) ends() (first, last float64) {
	first, last = math.Inf(1), math.Inf(-1)
	for i := range l.channels {
		for _, x := range l.channels[i].x {
			first, last = math.Min(first, x), math.Max(last, x)
		}
	}
	if !(last > first) {
		return 0, 0
	}
	return first, last
}

// LineCount returns how many lines the log's text has.
func (l *RawLog) LineCount() int { return len(l.lines) }

// Text returns the log as it was recorded.
func (l *RawLog) Text() []byte { return l.text }

// maxLine bounds a line of a log as it is shown, in bytes.
const maxLine = 600

// LogLine is a line of a log's text with its number, from 1.
type LogLine struct {
	Number int
	Text   string
	Cut    bool // the line is longer
}

// Lines returns at most count lines of the log's text from the one of the given
// number on, each cut at a bound.
func (l *RawLog) Lines(first, count int) []LogLine {
	var out []LogLine
	for n := max(first, 1); n <= len(l.lines) && len(out) < count; n++ {
		end := len(l.text)
		if n < len(l.lines) {
			end = l.lines[n]
		}
		line := bytes.TrimRight(l.text[l.lines[n-1]:end], "\r\n")
		shown := LogLine{Number: n, Cut: len(line) > maxLine}
		if shown.Cut {
			line = line[:maxLine]
		}
		shown.Text = report.Visible(string(line))
		out = append(out, shown)
	}
	return out
}

func lineStarts(text []byte) []int {
	var starts []int
	for at := 0; at < len(text); {
		starts = append(starts, at)
		end := bytes.IndexByte(text[at:], '\n')
		if end < 0 {
			break
		}
		at += end + 1
	}
	return starts
}
