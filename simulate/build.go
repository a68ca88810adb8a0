package simulate

import (
	"math"

	"fairpull/quantity"
)

// tableIntervals is the number of intervals in which torque and rig are
// tabulated over engine speed; tableLow and tableHigh bound the table as
// multiples of the lowest and highest speed of a pull.
const (
	tableIntervals = 400
	tableLow       = 0.5
	tableHigh      = 1.2
)

// conditions are what surrounds a machine in one pull.
type conditions struct {
	configuration int
	air           atmosphere
	tyre          quantity.Pascal
	lossChange    float64 // of the setup
	faults        faultSet
	hours         float64
	rig           []departure
	level         float64 // ln of what drift does to the drive torque
}

// conditions returns those of a planned pull.
func (p *plannedPull) conditions() conditions {
	return conditions{p.fitted, p.air, p.tyre, p.lossChange, p.faults, p.hours, p.rig, p.drift}
}

// undisturbed returns the conditions of a planned pull on a rig without scatter
// and drift: the faults are still there.
func (s *Scenario) undisturbed(p *plannedPull) conditions {
	tyre := s.Vehicle.TyrePressure + quantity.Pascal(p.faults.size(tyrePressure))
	return conditions{configuration: p.fitted, air: p.air, tyre: tyre, faults: p.faults, hours: p.hours}
}

// nominal returns the conditions of a configuration as its makers mean it: at
// the reference air of the campaign's correction, set points held, no fault.
func (s *Scenario) nominal(configuration int) conditions {
	return conditions{configuration: configuration, air: s.referenceAir(), tyre: s.Vehicle.TyrePressure}
}

// referenceAir is the reference state of the campaign's correction; where
// nothing is corrected, the air of the first pull.
func (s *Scenario) referenceAir() atmosphere {
	law, _ := lawNamed(s.Correction)
	if s.Correction == "none" {
		return atmosphere{s.Weather.Pressure, s.Weather.Temperature, s.Weather.RelativeHumidity}
	}
	return law.reference
}

// machine returns the vehicle on the drum under conditions c.
func (s *Scenario) machine(c conditions) *machine {
	configuration := &s.Configurations[c.configuration]
	inertia, radius, ratio := s.wheelOf(configuration)
	inertia *= 1 - c.faults.size(lighterWheel)
	scale := float64(s.Dyno.Radius) / radius

	m := &machine{
		drum: float64(s.Dyno.Inertia), wheel: inertia * scale * scale, engine: float64(s.Engine.Inertia),
		ratio: ratio * (1 + c.faults.size(wrongGear)), parasitic: s.Dyno.Parasitic, drag: s.Engine.Drag,
		slip: s.Vehicle.Slip, slipTime: s.Vehicle.SlipTime, idle: s.Engine.IdleRPM / rpmPerRadian,
	}
	if size := c.faults.size(slipBurst); size != 0 {
		place := s.Engine.StartRPM + burstPlace*(s.Engine.CloseRPM-s.Engine.StartRPM)
		m.burst = Bump{AtRPM: place, WidthRPM: burstWidth, Size: size}
	}
	loss := (1 + configuration.LossChange) * (1 + c.lossChange) *
		math.Pow(float64(c.tyre/s.Vehicle.TyrePressure), s.Vehicle.PressureExponent)
	for i, coefficient := range s.Vehicle.Loss {
		m.loss[i] = coefficient * loss
	}

	low, high := tableLow*s.Engine.StartRPM, tableHigh*s.Engine.CloseRPM
	m.torque = tabulate(func(rpm float64) float64 {
		return s.torqueFactor(configuration, c, rpm) * s.Engine.Torque.At(rpm) * (1 + configuration.Gain.At(rpm))
	}, low, high, tableIntervals)
	level := c.level + math.Log1p(c.faults.size(unusualPull))
	intervals := tableIntervals
	if len(c.rig) == 0 {
		intervals = 1
	}
	m.rig = tabulate(func(rpm float64) float64 {
		sum := level
		for i := range c.rig {
			sum += c.rig[i].at(rpm)
		}
		return math.Exp(sum)
	}, low, high, intervals)
	return m
}

// wheelOf returns inertia and radius of the driven wheel and the ratio of a
// configuration, taken from the vehicle where it does not change them.
func (s *Scenario) wheelOf(c *Configuration) (inertia, radius, ratio float64) {
	inertia, radius, ratio = float64(s.Vehicle.WheelInertia), float64(s.Vehicle.WheelRadius), s.Vehicle.RevsPerDrumRev
	if c.WheelInertia != 0 {
		inertia = float64(c.WheelInertia)
	}
	if c.WheelRadius != 0 {
		radius = float64(c.WheelRadius)
	}
	if c.RevsPerDrumRev != 0 {
		ratio = c.RevsPerDrumRev
	}
	return inertia, radius, ratio
}

// torqueFactor returns what air, mixture and a cold engine make of the torque at
// reference air at an engine speed.
func (s *Scenario) torqueFactor(configuration *Configuration, c conditions, rpm float64) float64 {
	law, _ := lawNamed(s.Engine.AirLaw)
	factor := math.Pow(law.factor(c.air), -(1 + s.Engine.ExponentError))
	off := s.lambda(configuration, c.faults, rpm) - s.Engine.MixtureBest
	factor *= 1 - s.Engine.MixtureCurvature*off*off
	factor *= 1 - c.faults.size(coldPull)
	return factor * (1 - c.faults.size(coldFirstBlock)*math.Exp(-c.hours/warmUpTime))
}

// lambda returns the mixture at full throttle at an engine speed.
func (s *Scenario) lambda(configuration *Configuration, faults faultSet, rpm float64) float64 {
	return configuration.Lambda + faults.size(mixtureChange) + configuration.LambdaCourse.At(rpm)
}

// drivePull runs a planned pull.
func (s *Scenario) drivePull(p *plannedPull) (*machine, *course, error) {
	m := s.machine(p.conditions())
	angle := 2 * math.Pi * chance(s.Seed, logStream, p.index).Float64()
	c, err := m.pull(s.Drive, s.Engine.StartRPM, s.closeRPM(p), angle, !p.faults.has(missingCoast))
	return m, c, err
}

// closeRPM is the engine speed at which the throttle closes in a pull.
func (s *Scenario) closeRPM(p *plannedPull) float64 {
	return s.Engine.CloseRPM - p.faults.size(earlyLift)*(s.Engine.CloseRPM-s.Engine.StartRPM)
}
