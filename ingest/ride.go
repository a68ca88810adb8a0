package ingest

import (
	"errors"
	"math"

	"fairpull/campaign"
	"fairpull/signal"
)

// Ride is what a logger on a road says of engine speed, as it was recorded: rows
// without either value are left out.
type Ride struct {
	Time        []float64 // s
	EngineSpeed []float64 // rad/s
	LeftOut     int       // rows
}

// ParseRide returns time and engine speed of a logger file. Their columns are named
// time and engine_speed, with their units, unless the sources say otherwise. A file is
// read by the rules of [ParseLog]; where it has a drum's speed as well it is a pull and
// read as one. Errors are *[SyntaxError].
func ParseRide(name string, data []byte, time, engineSpeed campaign.ChannelSource) (Ride, error) {
	sources := campaign.ChannelMap{}
	if time != (campaign.ChannelSource{}) {
		sources[timeColumn] = time
	}
	if engineSpeed != (campaign.ChannelSource{}) {
		sources[signal.EngineSpeed] = engineSpeed
	}
	l, err := ParseLog(name, data, LogOptions{Channels: sources})
	if err == nil && l.Kind == signal.Sampled {
		return rideOf(name, l, signal.EngineSpeed)
	}
	if err != nil && !errors.Is(err, ErrNoHeader) {
		return Ride{}, err
	}
	// The reader of logs asks for one speed over time, the drum's: here it is that of
	// the engine, under whatever name its column has.
	delete(sources, signal.EngineSpeed)
	sources[signal.DrumSpeed] = engineColumn(name, data, engineSpeed)
	l, err = ParseLog(name, data, LogOptions{Channels: sources})
	if errors.Is(err, ErrNoHeader) || errors.Is(err, ErrMissing) {
		return Ride{}, &SyntaxError{
			File: name, Err: because(ErrNoHeader, "no header was found that names %s and %s", printable(columnOr(time, timeColumn), longestShown), printable(columnOr(engineSpeed, signal.EngineSpeed), longestShown)),
			Cure: `name the columns "time [s]" and "engine_speed [rpm]", or say which they are`,
		}
	}
	if err != nil {
		return Ride{}, err
	}
	return rideOf(name, l, signal.DrumSpeed)
}

// engineColumn returns the column of engine speed as the header has it, its unit with
// it where the column's name says that by its ending.
func engineColumn(name string, data []byte, stated campaign.ChannelSource) campaign.ChannelSource {
	if stated.Column != "" {
		return stated
	}
	out := campaign.ChannelSource{Column: signal.EngineSpeed, Unit: stated.Unit, DecimalMark: stated.DecimalMark}
	text, _, err := decode(name, data)
	if err != nil {
		return out
	}
	lines := lineReader{text: text}
	for lines.number < maxPreambleLines && lines.at < maxPreambleBytes {
		line, ok := lines.next()
		if !ok {
			break
		}
		for _, delimiter := range delimiters {
			cells, ok := splitLine(line, delimiter)
			if !ok || len(cells) < 2 {
				continue
			}
			for _, cell := range cells {
				if t := readTitle(cell, nil); t.name == signal.EngineSpeed {
					out.Column = t.text
					if out.Unit == "" {
						out.Unit = t.unit
					}
					return out
				}
			}
		}
	}
	return out
}

func columnOr(source campaign.ChannelSource, name string) string {
	if source.Column != "" {
		return source.Column
	}
	return name
}

// rideOf takes time and engine speed out of a log.
func rideOf(name string, l *signal.Log, channel string) (Ride, error) {
	var r Ride
	for _, c := range l.Channels {
		if c.Name != channel {
			continue
		}
		for i, v := range c.Values {
			if math.IsNaN(v) || math.IsNaN(l.Time[i]) {
				r.LeftOut++
				continue
			}
			r.Time, r.EngineSpeed = append(r.Time, l.Time[i]), append(r.EngineSpeed, v)
		}
	}
	if len(r.Time) < 2 {
		return Ride{}, &SyntaxError{File: name, Err: because(ErrNoData, "there are %d rows with time and engine speed", len(r.Time)), Cure: "copy the file again from the logger"}
	}
	return r, nil
}
