package lab

import (
	"fmt"
	"math"
	"slices"

	"fairpull/mixture"
	"fairpull/signal"
)

// mixtureLog is one log on its way to visits. Rows without a later time than the one
// before are taken out.
type mixtureLog struct {
	name       string
	time       []float64
	speed      []float64 // 1/min
	load       []float64 // SI; nil: not logged
	throttle   []float64 // nil: not logged
	sensor     []float64 // lambda as read; nil
	gas        []float64 // nil
	torque     []float64 // of a brake, in any unit; nil
	rows, gone int       // rows of the log, and those taken out
}

// radiansToRPM is 1/min for 1 rad/s.
const radiansToRPM = 30 / math.Pi

// newMixtureLog takes the channels out of a log. perDrum is engine turns a drum turn, for
// a log without engine speed; 0: not known.
func newMixtureLog(name string, log *signal.Log, s *mixtureSettings, perDrum float64) (*mixtureLog, error) {
	l := &mixtureLog{name: name, time: log.Time, rows: len(log.Time)}
	omega, scale := log.Channel(signal.EngineSpeed), radiansToRPM
	if omega == nil && perDrum > 0 {
		omega, scale = log.Channel(signal.DrumSpeed), perDrum*radiansToRPM
	}
	if omega == nil {
		return nil, declined("%s: there is no engine speed in it; log engine_speed", name)
	}
	l.speed = make([]float64, len(omega))
	for i, v := range omega {
		l.speed[i] = v * scale
	}
	l.throttle = log.Channel(signal.Throttle)
	switch s.load {
	case "":
		if l.load = l.throttle; l.load == nil {
			l.load = log.Channel(signal.ManifoldPressure)
		}
	default:
		if l.load = log.Channel(s.load); l.load == nil {
			return nil, declined("%s: the settings ask for the load by %s, and the log has no such channel", name, s.load)
		}
	}
	if err := l.readings(log, s); err != nil {
		return nil, err
	}
	if l.torque = log.Channel(signal.BrakeTorque); l.torque == nil {
		l.torque = log.Channel(signal.BrakeForce)
	}
	l.tidy()
	return l, nil
}

// loadChannel names the channel that the loads of a list of logs come from; empty where
// none has one. Logs that differ are refused: their loads are no one axis.
func loadChannel(logs []*signal.Log, s *mixtureSettings) string {
	if s.load != "" {
		return s.load
	}
	for _, channel := range []string{signal.Throttle, signal.ManifoldPressure} {
		if !slices.ContainsFunc(logs, func(l *signal.Log) bool { return l.Channel(channel) == nil }) {
			return channel
		}
	}
	return ""
}

// readings takes lambda over: of the sensor, from a meter's air/fuel ratio, or from gas.
func (l *mixtureLog) readings(log *signal.Log, s *mixtureSettings) error {
	l.sensor = log.Channel(signal.Lambda)
	if afr := log.Channel(signal.AirFuelRatio); l.sensor == nil && afr != nil {
		if s.afrRatio == 0 {
			return declined("%s: it has an air/fuel ratio and no lambda. A meter makes it of lambda by a ratio of its own, whatever the fuel: say which under [sensor] of the settings, as in afr_ratio = 14.7", l.name)
		}
		l.sensor = make([]float64, len(afr))
		for i, v := range afr {
			l.sensor[i] = v / s.afrRatio
		}
	}
	co, co2, o2 := log.Channel(signal.ExhaustCO), log.Channel(signal.ExhaustCO2), log.Channel(signal.ExhaustO2)
	if co != nil && co2 != nil && o2 != nil {
		switch {
		case s.fuel == nil && l.sensor == nil:
			return declined("%s: lambda follows from its gases with the composition of the fuel; give [fuel] in the settings (--settings), with hydrogen_carbon and oxygen_carbon", l.name)
		case s.analyser == nil && l.sensor == nil:
			return declined("%s: its gases can be read in more than one way; give [gas] in the settings (--settings), with basis and hc_as", l.name)
		case s.fuel != nil && s.analyser != nil:
			var err error
			if l.gas, err = mixture.GasSeries(*s.fuel, *s.analyser, co, co2, log.Channel(signal.ExhaustHC), o2, log.Channel(signal.ExhaustNO)); err != nil {
				return fmt.Errorf("%s: %w", l.name, err)
			}
		}
	}
	if l.sensor == nil && l.gas == nil {
		return declined("%s: there is no lambda in it; log lambda, or afr, or the gases exhaust_co, exhaust_co2 and exhaust_o2", l.name)
	}
	return nil
}

// tidy takes out the rows whose time is not later than that of every row before.
func (l *mixtureLog) tidy() {
	kept := make([]int, 0, len(l.time))
	last := math.Inf(-1)
	for i, t := range l.time {
		if t > last && !math.IsInf(t, 0) {
			kept, last = append(kept, i), t
		}
	}
	if l.gone = len(l.time) - len(kept); l.gone == 0 {
		return
	}
	pick := func(v []float64) []float64 {
		if v == nil {
			return nil
		}
		out := make([]float64, len(kept))
		for k, i := range kept {
			out[k] = v[i]
		}
		return out
	}
	sameLoad := len(l.load) > 0 && len(l.throttle) > 0 && &l.load[0] == &l.throttle[0]
	l.time, l.speed, l.sensor, l.gas, l.torque, l.throttle = pick(l.time), pick(l.speed), pick(l.sensor), pick(l.gas), pick(l.torque), pick(l.throttle)
	if l.load = pick(l.load); sameLoad {
		l.load = l.throttle
	}
}

// longestPause is how long in s two rows may lie apart and still be joined.
const longestPause = 0.5

// series returns the log with the dead times of its readings taken out.
func (l *mixtureLog) series(d mixtureDelays) mixture.Series {
	pause := math.Max(longestPause, 3*signal.MedianInterval(l.time))
	s := mixture.Series{Time: l.time, Speed: l.speed, Load: l.load}
	if l.sensor != nil {
		s.Lambda = mixture.Reading{Values: mixture.Sooner(l.time, l.sensor, d.sensor.Dead, pause), Lag: d.sensor.Lag}
	}
	if l.gas != nil {
		s.Gas = mixture.Reading{Values: mixture.Sooner(l.time, l.gas, d.gas.Dead, pause), Lag: d.gas.Lag}
	}
	if l.sensor == nil { // the gas is all there is
		s.Lambda, s.Gas = s.Gas, mixture.Reading{}
	}
	return s
}

// only returns a series whose rows count only where keep says so; the rest have no engine
// speed.
func only(s mixture.Series, keep func(i int) bool) mixture.Series {
	speed := make([]float64, len(s.Speed))
	for i, v := range s.Speed {
		if speed[i] = math.NaN(); keep(i) {
			speed[i] = v
		}
	}
	s.Speed = speed
	return s
}

// atLoad returns the series of the rows at a load from lo to hi that has held for settle
// seconds, without the load.
func atLoad(s mixture.Series, lo, hi, settle float64) mixture.Series {
	since := math.NaN()
	out := only(s, func(i int) bool {
		if !(s.Load[i] >= lo && s.Load[i] <= hi) {
			since = math.NaN()
			return false
		}
		if math.IsNaN(since) {
			since = s.Time[i]
		}
		return s.Time[i]-since >= settle
	})
	out.Load = nil
	return out
}
