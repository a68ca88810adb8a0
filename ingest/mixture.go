package ingest

import (
	"errors"
	"slices"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/signal"
)

// ParseEngineLog returns a sampled log of an engine, whether or not it has the speed of
// a drum: time and engine_speed are what it cannot do without. Other channels are as
// [ParseLog] has them. A surface speed of a drum whose radius is not known is left out. A
// log without engine speed, or of another kind, is an error. Errors are *[SyntaxError].
func ParseEngineLog(name string, data []byte, o LogOptions) (*signal.Log, error) {
	known := o.DrumRadius > 0
	if !known {
		o.DrumRadius = 1 // any: what it is needed for is left out below
	}
	l, err := ParseLog(name, data, o)
	if err == nil && !known {
		l.Channels = slices.DeleteFunc(l.Channels, func(c signal.Channel) bool {
			_, err := quantity.LookupFor(c.Unit, quantity.Speed)
			return c.Name == signal.DrumSpeed && err == nil
		})
	}
	if err == nil && l.Kind == signal.Sampled && l.Channel(signal.EngineSpeed) != nil {
		return l, nil
	}
	if err == nil && l.Kind == signal.Sampled {
		return nil, withoutEngine(name, "the log has no engine speed")
	}
	if err == nil && l.Kind == signal.Pulses {
		return nil, withoutEngine(name, "the log holds the moments of pulses and no channel over time")
	}
	if err != nil && !errors.Is(err, ErrNoHeader) && !errors.Is(err, ErrMissing) {
		return nil, err
	}
	// The reader of logs asks for one speed over time, the drum's: here it is that of
	// the engine, under whatever name its column has.
	sources := campaign.ChannelMap{}
	for channel, source := range o.Channels {
		sources[channel] = source
	}
	stated := sources[signal.EngineSpeed]
	delete(sources, signal.EngineSpeed)
	sources[signal.DrumSpeed] = engineColumn(name, data, stated)
	l, second := ParseLog(name, data, LogOptions{Channels: sources})
	if errors.Is(second, ErrNoHeader) || errors.Is(second, ErrMissing) {
		return nil, withoutEngine(name, "no header was found that names time and engine_speed")
	}
	if second != nil {
		return nil, second
	}
	if l.Kind != signal.Sampled {
		return nil, withoutEngine(name, "the log has no time")
	}
	for i := range l.Channels {
		if l.Channels[i].Name == signal.DrumSpeed {
			l.Channels[i].Name = signal.EngineSpeed
		}
	}
	return l, nil
}

func withoutEngine(name, problem string) error {
	return &SyntaxError{File: name, Err: because(ErrNoHeader, "%s", problem),
		Cure: `name the columns "time [s]" and "engine_speed [1/min]", or say under [channels] which they are`}
}
