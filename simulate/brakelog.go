package simulate

import (
	"math"
	"math/rand/v2"
)

// steadyOil is the time constant in s with which oil warms up while a speed is held,
// and steadyOilRise by how much in K: common practice.
const (
	steadyOil     = 90.0
	steadyOilRise = 6.0
)

// commandStep is the resolution of the brake's command, %.
const commandStep = 0.1

// steadyLog drives a steady log and returns its text with its truth.
func (s *Scenario) steadyLog(p *plannedPull) ([]byte, *machine, *steadyCourse, error) {
	l := newSteadyLogger(s, p)
	m, course, err := s.driveSteady(p, l.see)
	if err != nil {
		return nil, nil, nil, err
	}
	return formatChannels(l.channels(), [2]float64{}), m, course, nil
}

// steadyLogger samples a steady log as it is driven.
type steadyLogger struct {
	s       *Scenario
	r       *rand.Rand
	noise   wander
	next    int // number of the next sample
	at      float64
	sensor  float64
	mixture func(rpm float64) float64
	seen    []float64 // lambda of the gas that left the engine, at every sample
	oil     float64   // °C at the beginning

	stamp, drum, engine, throttle, brake, command, oilTemp, lambda channel
}

func newSteadyLogger(s *Scenario, p *plannedPull) *steadyLogger {
	l := &s.Logger.Sampled
	r := chance(s.Seed, logStream, p.index)
	r.Float64() // the drum's first angle
	column := func(header string, step float64) channel {
		places, _ := decimals(step)
		return channel{header: header, decimals: places}
	}
	out := &steadyLogger{
		s: s, r: r, sensor: cruiseLambda, oil: float64(p.oil) - zeroCelsius,
		stamp: column("time [s]", l.TimeStep), drum: column("drum_speed ["+l.DrumUnit+"]", l.DrumStep),
		engine: column("engine_speed [1/min]", l.EngineStep), throttle: column("throttle [%]", 1),
		brake: column("brake_torque [N·m]", s.Brake.Step), command: column("brake_command [%]", commandStep),
		oilTemp: column("oil_temp [degC]", oilStep), lambda: column("lambda", lambdaStep),
	}
	out.mixture = func(rpm float64) float64 { return s.lambda(&s.Configurations[p.fitted], p.faults, rpm) }
	out.noise = newWander(r, s.Brake.Noise, s.Brake.NoiseTime, 1/l.Rate)
	out.draw()
	return out
}

// draw sets the moment of the next sample.
func (l *steadyLogger) draw() {
	sampled := &l.s.Logger.Sampled
	l.at = math.Max(0, (float64(l.next)+sampled.Jitter*(l.r.Float64()-0.5))/sampled.Rate)
	l.next++
}

// see takes the samples between two moments.
func (l *steadyLogger) see(a, b *braked) {
	for ; l.at < b.t; l.draw() {
		part := (l.at - a.t) / (b.t - a.t)
		l.take(between(&a.knot, &b.knot, l.at), a.brake+part*(b.brake-a.brake), b.command, a.open+part*(b.open-a.open))
	}
}

func (l *steadyLogger) take(k knot, brake, command, open float64) {
	s, sampled := l.s, &l.s.Logger.Sampled
	speed := k.omega*(1+s.Logger.EncoderError*math.Cos(k.theta+s.Logger.EncoderPhase)) + sampled.DrumNoise*l.r.NormFloat64()
	loaded := k.t - s.Drive.Lead
	target := cruiseLambda
	if loaded > 0 {
		target = overrunLambda
		if open > 0.5 {
			target = l.mixture(k.engineSpeed * rpmPerRadian)
		}
	}
	l.seen = append(l.seen, target)
	target = l.seen[max(0, len(l.seen)-1-int(math.Round(sampled.LambdaDead*sampled.Rate)))]
	if n := len(l.stamp.values); n > 0 && sampled.LambdaTime > 0 {
		l.sensor += (target - l.sensor) * -math.Expm1((l.stamp.values[n-1]-k.t)/sampled.LambdaTime)
	} else {
		l.sensor = target
	}
	for _, put := range []struct {
		c     *channel
		value float64
	}{
		{&l.stamp, k.t}, {&l.drum, speed * s.drumUnit()}, {&l.engine, k.engineSpeed*rpmPerRadian + sampled.EngineNoise*l.r.NormFloat64()},
		{&l.throttle, 100 * open}, {&l.brake, brake + l.noise.next(l.r)}, {&l.command, 100 * command},
		{&l.oilTemp, l.oil - steadyOilRise*math.Expm1(-math.Max(loaded, 0)/steadyOil) + oilNoise*l.r.NormFloat64()},
		{&l.lambda, l.sensor + sampled.LambdaNoise*l.r.NormFloat64()},
	} {
		put.c.values = append(put.c.values, put.value)
	}
}

// channels returns those that the logger keeps; the brake's torque always.
func (l *steadyLogger) channels() []channel {
	kept := l.s.recorded(l.stamp, l.drum, l.engine, l.throttle, l.oilTemp, l.lambda)
	kept = append(kept, l.brake)
	if l.s.Brake.Command {
		kept = append(kept, l.command)
	}
	return kept
}
