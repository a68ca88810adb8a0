package simulate

import (
	"math"
	"math/rand/v2"
	"strconv"
)

// What the slow channels show besides the pull itself. Invented, of the size
// seen in the trade: common practice.
const (
	cruiseLambda  = 1.0  // at steady speed
	overrunLambda = 1.6  // closed throttle, near the upper end of a wide-band sensor
	oilRise       = 0.12 // K/s at full throttle
	oilNoise      = 0.04 // K
	oilStep       = 0.1  // K
	lambdaStep    = 0.001
)

// channel is one column of a sampled log, in the unit of its header.
type channel struct {
	header   string
	decimals int
	values   []float64
}

// sampledLog returns the text of a pull's log: the channels at the logger's
// rate, with noise, resolution and the defects of the pull's faults.
func (s *Scenario) sampledLog(p *plannedPull, c *course) []byte {
	r := chance(s.Seed, logStream, p.index)
	r.Float64() // the drum's first angle: see drivePull
	channels := s.sample(p, c, r)
	s.addDefects(p, c, channels)
	return formatChannels(channels, p.gapAt(c))
}

// sample reads the course at the logger's moments.
func (s *Scenario) sample(p *plannedPull, c *course, r *rand.Rand) []channel {
	l := &s.Logger.Sampled
	n := int(c.end*l.Rate) + 1
	newChannel := func(header string, step float64) channel {
		places, _ := decimals(step)
		return channel{header, places, make([]float64, n)}
	}
	stamp := newChannel("time [s]", l.TimeStep)
	drum := newChannel("drum_speed ["+l.DrumUnit+"]", l.DrumStep)
	engine := newChannel("engine_speed [1/min]", l.EngineStep)
	throttle := newChannel("throttle [%]", 1)
	oil := newChannel("oil_temp [degC]", oilStep)
	lambda := newChannel("lambda", lambdaStep)

	scale := s.drumUnit()
	sensor := cruiseLambda
	walker, travelled := cursor{course: c}, cursor{course: c}
	for i := range n {
		t := clamp((float64(i)+l.Jitter*(r.Float64()-0.5))/l.Rate, 0, c.end)
		k, part := walker.moment(t)
		speed := k.omega*(1+s.Logger.EncoderError*math.Cos(k.theta+s.Logger.EncoderPhase)) + l.DrumNoise*r.NormFloat64()
		stamp.values[i] = t
		drum.values[i] = speed * scale
		engine.values[i] = k.engineSpeed*rpmPerRadian + l.EngineNoise*r.NormFloat64()
		throttle.values[i] = 100 * part.throttle.at(t)
		oil.values[i] = float64(p.oil) - zeroCelsius + oilRise*clamp(t-c.full, 0, c.closed-c.full) + oilNoise*r.NormFloat64()

		target := s.mixtureAt(p, c, &travelled, math.Max(t-l.LambdaDead, 0))
		if i > 0 && l.LambdaTime > 0 {
			sensor += (target - sensor) * -math.Expm1((stamp.values[i-1]-t)/l.LambdaTime)
		} else {
			sensor = target
		}
		lambda.values[i] = sensor + l.LambdaNoise*r.NormFloat64()
	}
	return s.recorded(stamp, drum, engine, throttle, oil, lambda)
}

// mixtureAt returns lambda of the gas that left the engine at t.
func (s *Scenario) mixtureAt(p *plannedPull, c *course, walker *cursor, t float64) float64 {
	switch {
	case t < c.full:
		return cruiseLambda
	case t > c.closed:
		return overrunLambda
	}
	k, _ := walker.moment(t)
	return s.lambda(&s.Configurations[p.fitted], p.faults, k.engineSpeed*rpmPerRadian)
}

// recorded returns the channels that the logger keeps.
func (s *Scenario) recorded(stamp, drum, engine, throttle, oil, lambda channel) []channel {
	l := &s.Logger.Sampled
	kept := []channel{stamp, drum}
	for _, optional := range []struct {
		keep bool
		channel
	}{{l.EngineSpeed, engine}, {l.Throttle, throttle}, {l.OilTemperature, oil}, {l.Lambda, lambda}} {
		if optional.keep {
			kept = append(kept, optional.channel)
		}
	}
	return kept
}

// drumUnit returns how many units of the drum channel make 1 rad/s.
func (s *Scenario) drumUnit() float64 {
	switch s.Logger.Sampled.DrumUnit {
	case RevolutionsPerMinute:
		return rpmPerRadian
	case KilometresPerHour:
		return 3.6 * float64(s.Dyno.Radius)
	}
	return 1
}

// defectTime is the moment at which a pull's log is spoilt, where it is.
func defectTime(c *course) float64 { return c.full + defectPlace*(c.closed-c.full) }

// addDefects spoils the channels as the pull's faults say.
func (s *Scenario) addDefects(p *plannedPull, c *course, channels []channel) {
	stamp := channels[0].values
	at := int(defectTime(c) * s.Logger.Sampled.Rate)
	if f, has := p.faults[stuckChannel]; has {
		stuck := channels[1].values
		if f.Channel == "engine_speed" {
			stuck = channels[2].values
		}
		last := min(at+int(math.Ceil(f.Size*s.Logger.Sampled.Rate)), len(stuck)-1)
		for i := at + 1; i <= last; i++ {
			stuck[i] = stuck[at]
		}
	}
	if f, has := p.faults[repeatedTime]; has {
		for i := at + 1; i <= min(at+int(f.Size), len(stamp)-1); i++ {
			stamp[i] = stamp[at]
		}
	}
	if f, has := p.faults[backwardTime]; has {
		stamp[at] -= f.Size
	}
}

// gapAt returns the stretch of time in which nothing is recorded; it is empty
// without that fault.
func (p *plannedPull) gapAt(c *course) [2]float64 {
	f, has := p.faults[gap]
	if !has {
		return [2]float64{}
	}
	return [2]float64{defectTime(c), defectTime(c) + f.Size}
}

// formatChannels writes the channels as comma-separated text, without the rows
// stamped within hole.
func formatChannels(channels []channel, hole [2]float64) []byte {
	rows := len(channels[0].values)
	text := make([]byte, 0, (rows+1)*(8*len(channels)))
	for i, c := range channels {
		if i > 0 {
			text = append(text, ',')
		}
		text = append(text, c.header...)
	}
	text = append(text, '\n')
	for row := range rows {
		if t := channels[0].values[row]; t > hole[0] && t < hole[1] {
			continue
		}
		for i := range channels {
			if i > 0 {
				text = append(text, ',')
			}
			text = appendFixed(text, channels[i].values[row], channels[i].decimals)
		}
		text = append(text, '\n')
	}
	return text
}

// maxDecimals is the finest resolution of a column.
const maxDecimals = 9

var powersOfTen = [maxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// decimals returns how many places show the given step, which must be one of 1,
// 0.1 … 1e-9.
func decimals(step float64) (int, bool) {
	for places, power := range powersOfTen {
		if math.Abs(step*power-1) < 1e-9 {
			return places, true
		}
	}
	return 0, false
}

// appendFixed appends value with a fixed number of decimals, rounded to the
// nearest. |value|·10^places must be below 2^63.
func appendFixed(text []byte, value float64, places int) []byte {
	scaled := int64(math.Round(value * powersOfTen[places]))
	if scaled < 0 {
		text = append(text, '-')
		scaled = -scaled
	}
	power := int64(powersOfTen[places])
	text = strconv.AppendInt(text, scaled/power, 10)
	if places == 0 {
		return text
	}
	text = append(text, '.')
	fraction := scaled % power
	for power /= 10; power > 0; power /= 10 {
		text = append(text, byte('0'+fraction/power%10))
	}
	return text
}
