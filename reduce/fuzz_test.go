package reduce

import (
	"encoding/binary"
	"errors"
	"math"
	"slices"
	"testing"

	"fairpull/signal"
)

// FuzzReduce feeds logs of any content. Whatever comes, the answer is a LogError or
// a curve of finite torque at increasing engine speeds.
func FuzzReduce(f *testing.F) {
	w := twin().run()
	pack := func(series ...[]float64) (raw []byte) {
		n := len(series[0])
		for i := range n {
			for _, s := range series {
				raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(s[min(i, len(s)-1)]))
			}
		}
		return raw
	}
	log := w.sampled(flaws{rate: 20})
	f.Add(uint8(0), pack(log.Time, log.Channel(signal.DrumSpeed), log.Channel(signal.EngineSpeed), log.Channel(signal.Throttle)))
	trains := w.pulses(1, nil, 0.5)
	f.Add(uint8(1), pack(trains.DrumPulse, trains.EnginePulse, trains.DrumPulse, trains.DrumPulse))
	f.Add(uint8(2), pack(evenly(200, 800, 20), evenly(40, 70, 1), evenly(1, 31, 1), evenly(1, 31, 1)))
	f.Add(uint8(7), []byte("not a log at all, and not a multiple of eight bytes long either"))
	f.Fuzz(func(t *testing.T, kind uint8, raw []byte) {
		var columns [4][]float64
		for i := 0; i+8 <= len(raw) && i < 8*40000; i += 8 {
			k := i / 8 % 4
			columns[k] = append(columns[k], math.Float64frombits(binary.LittleEndian.Uint64(raw[i:])))
		}
		n := len(columns[3])
		log := &signal.Log{Kind: signal.Kind(kind%3 + 1), FirstLine: 2}
		switch log.Kind {
		case signal.Sampled:
			log.Time = columns[0][:n]
			log.Channels = []signal.Channel{{Name: signal.DrumSpeed, Values: columns[1][:n]}, {Name: signal.EngineSpeed, Values: columns[2][:n]}, {Name: signal.Throttle, Values: columns[3]}}
			if kind >= 128 {
				log.Channels[2].Name = signal.BrakeTorque
			}
		case signal.Pulses:
			log.DrumPulse, log.EnginePulse = columns[0], columns[1]
		case signal.Reduced:
			log.Channels = []signal.Channel{{Name: signal.EngineSpeed, Values: columns[0][:n]}, {Name: signal.Torque, Values: columns[1][:n]}}
		}
		s := w.settings()
		s.PulsesPerRev, s.EnginePulsesPerRev, s.RevsPerDrumRev = 1+int(kind/3)%20, 0.5, w.ratio
		soundOrRefused(t, log, s)
	})
}

// soundOrRefused fails unless the log is refused with a LogError or gives a curve of
// finite torque at increasing engine speeds, with standard errors.
func soundOrRefused(t *testing.T, log *signal.Log, s Settings) {
	t.Helper()
	ph, err := Find(log, s)
	var r *Result
	if err == nil {
		r, err = Reduce(log, s, ph)
	}
	if err != nil {
		var refused *LogError
		if !errors.As(err, &refused) {
			t.Fatalf("%v is not a LogError", err)
		}
		return
	}
	for i, tau := range r.Curve.Torque {
		if math.IsNaN(tau) || math.IsInf(tau, 0) || (i > 0 && !(r.Curve.SpeedRPM[i] > r.Curve.SpeedRPM[i-1])) {
			t.Fatalf("node %d: %g N·m at %g 1/min", i, tau, r.Curve.SpeedRPM[i])
		}
		if se := r.Curve.StandardError[i]; log.Kind != signal.Reduced && (!(se >= 0) || math.IsInf(se, 0)) {
			t.Fatalf("node %d: standard error %g N·m", i, se)
		}
	}
	if c := r.Coast; c != nil && (math.IsNaN(c.MeanTorque) || !(c.MeanStandardError >= 0)) {
		t.Fatalf("loss %g ± %g N·m", c.MeanTorque, c.MeanStandardError)
	}
}

// FuzzDamagedLog changes single values of a sound log: each twelve bytes name a
// column, a row and what to put there.
func FuzzDamagedLog(f *testing.F) {
	w := twin()
	w.inertia, w.coast = 8, 4
	w.run()
	sampled, trains := w.sampled(flaws{rate: 50}), w.pulses(2, nil, 1)
	edit := func(column uint8, row uint16, v float64) []byte {
		return binary.LittleEndian.AppendUint64([]byte{column, 0, byte(row), byte(row >> 8)}, math.Float64bits(v))
	}
	f.Add(false, edit(1, 200, math.NaN()))
	f.Add(false, append(edit(0, 200, 1e9), edit(2, 300, -1e300)...))
	f.Add(true, append(edit(0, 100, math.Inf(1)), edit(1, 90, 3)...))
	f.Fuzz(func(t *testing.T, pulses bool, edits []byte) {
		log := &signal.Log{Kind: signal.Sampled, FirstLine: 2}
		s := w.settings()
		var columns [][]float64
		if pulses {
			log.Kind = signal.Pulses
			log.DrumPulse, log.EnginePulse = slices.Clone(trains.DrumPulse), slices.Clone(trains.EnginePulse)
			columns = [][]float64{log.DrumPulse, log.EnginePulse}
			s.PulsesPerRev, s.EnginePulsesPerRev = 2, 1
		} else {
			log.Time = slices.Clone(sampled.Time)
			columns = [][]float64{log.Time}
			for _, c := range sampled.Channels {
				c.Values = slices.Clone(c.Values)
				log.Channels, columns = append(log.Channels, c), append(columns, c.Values)
			}
		}
		for ; len(edits) >= 12; edits = edits[12:] {
			c := columns[int(edits[0])%len(columns)]
			from, count := int(binary.LittleEndian.Uint16(edits[2:]))%len(c), int(edits[1])
			for i := from; i <= from+count && i < len(c); i++ {
				c[i] = math.Float64frombits(binary.LittleEndian.Uint64(edits[4:]))
			}
		}
		soundOrRefused(t, log, s)
	})
}
