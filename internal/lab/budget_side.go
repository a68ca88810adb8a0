package lab

import (
	"math"
	"slices"

	"fairpull/air"
	"fairpull/budget"
	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/correction"
	"fairpull/drum"
	"fairpull/quantity"
)

// The inputs of a level, and then the constants of its side. A level is
//
//	L = scale · [a·(1+δI)·s + p + δp + b·(1+δB)]·s · e^k · CF(p, T, h) · exp(ε·ln CF + λ·d + Σδ + δs)
//
// with a, p and b the parts that inertia, bare drum and brake have in the drum's
// torque, s and e the scales of drum and engine speed.
const (
	inInertia = iota
	inBare
	inBrake
	inDrumSpeed
	inEngineSpeed
	inPressure
	inTemperature
	inHumidity
	inExponent
	inPlacement
	inScatter
	atInertia
	atBare
	atBrake
	atEngine
	atLnFactor
	atPlacement
	atScale
	budgetInputs
)

// budgetSide is what one side's level rests on.
type budgetSide struct {
	level                float64
	inertia, bare, brake float64 // parts of the drum's torque
	bareU                float64 // of the bare drum, as a part of the drum's torque
	hasParts             bool
	inertiaU, brakeU     float64 // relative, as the rig states it; 0: not
	drumSpeedU, engineU  float64
	sensorU              map[string]float64 // by source, in SI
	engine               float64            // exponent of the scale of engine speed
	lnFactor, placement  float64
	air                  *air.State // mean; nil: not known
	humidity             float64
	rigs                 map[calibrated]bool
	calibratedFrom       string
	scale                float64 // level over the factor at the mean air
	hasBrake             bool
}

// budgetSide collects what a figure of a configuration rests on: means over its used
// pulls, at the engine speeds of the figure.
func (a *Analysis) budgetSide(id string, m compare.Metric, rpm, level float64) *budgetSide {
	s := &budgetSide{level: level, rigs: map[calibrated]bool{}, sensorU: map[string]float64{}}
	pulls := slices.DeleteFunc(usedPulls(a.Pulls), func(p *Pull) bool { return p.Configuration != id })
	band := a.Campaign.Objective.BandRPM
	if m != compare.Band {
		band = [2]float64{rpm, rpm}
	}
	s.torqueParts(a, pulls, band)
	s.airOf(a.Standard, pulls)
	switch m {
	case compare.Band:
		s.engine = -(1 + slopeOver(pulls, band))
	case compare.PeakTorque:
		s.engine = -1 // the peak is flat
	}
	n := 0.0
	for _, p := range pulls {
		s.lnFactor += math.Log(p.Factor)
		if p.Result.Coast != nil {
			if wheel := meanDrumTorque(p, a.Campaign.Objective.BandRPM); wheel > 0 {
				s.placement += (1 - 1/p.Factor) * p.Result.Coast.MeanTorque / wheel
				n++
			}
		}
	}
	s.lnFactor /= float64(len(pulls))
	s.placement /= max(n, 1)
	return s
}

// torqueParts works out which part of the drum's torque comes of what.
func (s *budgetSide) torqueParts(a *Analysis, pulls []*Pull, band [2]float64) {
	var g [3]float64
	n := 0.0
	for _, p := range pulls {
		rig := a.rigOf(p)
		s.rigs[p.calibration] = true
		r := p.Result
		for i, rpm := range r.Curve.SpeedRPM {
			if !inBand(rpm, band) || i >= len(r.Acceleration) || i >= len(r.DrumTorque) || !(r.DrumTorque[i] > 0) {
				continue
			}
			torque, omega := r.DrumTorque[i], r.DrumSpeed[i]
			inertia := float64(rig.DrumInertia) * r.Acceleration[i] / torque
			bare := drum.Polynomial(rig.Parasitic, omega) / torque
			s.inertia += inertia
			s.bare += bare
			s.brake += 1 - inertia - bare
			for k, v := range []float64{1, omega, omega * omega} {
				g[k] += v / torque
			}
			n++
		}
		s.rigStates(p, rig)
	}
	if n == 0 {
		return
	}
	s.hasParts = true
	s.inertia, s.bare, s.brake = s.inertia/n, s.bare/n, s.brake/n
	s.hasBrake = math.Abs(s.brake) > 1e-6
	if !s.hasBrake {
		s.inertia, s.brake = s.inertia+s.brake, 0
	}
	for _, p := range pulls {
		if c := p.calibration.Calibration; c != nil && c.ParasiticU != [3]float64{} {
			s.bareU = math.Max(s.bareU, bareU(c, g, n))
		}
	}
}

// bareU is the standard uncertainty of the bare drum's torque as a part of the drum's
// torque; g are the sums of 1, ω and ω² over torque.
func bareU(c *Calibration, g [3]float64, n float64) float64 {
	var u [3]float64
	v := 0.0
	for k := range g {
		u[k] = g[k] / n * c.ParasiticU[k]
		v += square(u[k])
	}
	v += 2 * (c.ParasiticR[0]*u[0]*u[1] + c.ParasiticR[1]*u[0]*u[2] + c.ParasiticR[2]*u[1]*u[2])
	return math.Sqrt(max(0, v))
}

// rigStates notes what the rig states of its own uncertainties: the largest of the
// pulls.
func (s *budgetSide) rigStates(p *Pull, rig campaign.Dyno) {
	if rig.DrumInertia > 0 {
		s.inertiaU = math.Max(s.inertiaU, float64(rig.DrumInertiaU/rig.DrumInertia))
	}
	if c := p.calibration.Calibration; c != nil {
		s.calibratedFrom = c.ValidFrom.In(p.Started.Location()).Format("2006-01-02")
		if c.BrakeArm > 0 {
			s.brakeU = math.Max(s.brakeU, float64(c.BrakeArmU/c.BrakeArm))
		}
		s.drumSpeedU, s.engineU = math.Max(s.drumSpeedU, c.DrumSpeed.U), math.Max(s.engineU, c.EngineSpeed.U)
		for key, u := range map[string]float64{sourcePressure: c.Pressure.U, sourceTemperature: c.Temperature.U, sourceHumidity: c.Humidity.U} {
			s.sensorU[key] = math.Max(s.sensorU[key], u)
		}
	}
}

// rigOf is the rig that a pull was reduced on. The analysis shows the rig of its
// first used pull, so that a pull without a calibration finds the campaign's own in
// what was noted of the calibrations.
func (a *Analysis) rigOf(p *Pull) campaign.Dyno {
	d := a.Campaign.Dyno
	if p.calibration.Calibration == nil && len(a.calibrated) > 0 {
		own := &a.calibrated[0]
		d.DrumInertia, d.DrumInertiaU, d.Parasitic = quantity.KilogramSquareMetre(own.OwnInertia), 0, own.OwnParasitic
	}
	return p.calibration.rig(d)
}

// airOf works out the mean air, none where a pull's is not known, and the level
// without its factor.
func (s *budgetSide) airOf(standard correction.Standard, pulls []*Pull) {
	s.scale = s.level
	var mean air.State
	n := quantity.Pascal(len(pulls))
	for _, p := range pulls {
		if p.Air == nil {
			return
		}
		mean.Pressure += p.Air.Pressure / n
		mean.Temperature += p.Air.Temperature / quantity.Kelvin(n)
		mean.Vapour += p.Air.Vapour / n
	}
	h, err := mean.RelativeHumidity()
	if err != nil || !standard.Corrects() {
		return
	}
	if factor, err := standard.Factor(mean); err == nil {
		s.air, s.humidity, s.scale = &mean, h, s.level/factor
	}
}

// slopeOver is the mean of d ln(torque)/d ln(speed) over the band, from end to end.
func slopeOver(pulls []*Pull, band [2]float64) float64 {
	sum, n := 0.0, 0.0
	for _, p := range pulls {
		first, last := -1, -1
		for i, rpm := range p.Corrected.SpeedRPM {
			if inBand(rpm, band) {
				if first < 0 {
					first = i
				}
				last = i
			}
		}
		if last > first && first >= 0 {
			c := &p.Corrected
			sum += math.Log(c.Torque[last]/c.Torque[first]) / math.Log(c.SpeedRPM[last]/c.SpeedRPM[first])
			n++
		}
	}
	return sum / max(n, 1)
}

// constants are the inputs of a side, none of them uncertain.
func (b *budgeting) constants(s *budgetSide) []budget.Input {
	exact := func(value float64) budget.Input {
		return budget.Input{Value: value, DF: math.Inf(1), Shape: budget.Normal}
	}
	in := make([]budget.Input, budgetInputs+len(b.others()))
	for i := range in {
		in[i] = exact(0)
	}
	in[inDrumSpeed], in[inEngineSpeed] = exact(1), exact(1)
	in[atInertia], in[atBare], in[atBrake] = exact(s.inertia), exact(s.bare), exact(s.brake)
	if !s.hasParts {
		in[atBare] = exact(1)
	}
	in[atEngine], in[atLnFactor], in[atPlacement] = exact(s.engine), exact(s.lnFactor), exact(s.placement)
	in[atScale] = exact(s.scale)
	if s.air != nil {
		in[inPressure], in[inTemperature], in[inHumidity] = exact(float64(s.air.Pressure)), exact(float64(s.air.Temperature)), exact(s.humidity)
	}
	return in
}

// of is a level as a function of the inputs. Its scale is the level itself, over the
// factor at the mean air.
func (b *budgeting) of(x []float64) float64 {
	torque := x[atInertia]*(1+x[inInertia])*x[inDrumSpeed] + x[atBare] + x[inBare] + x[atBrake]*(1+x[inBrake])
	ln := x[inExponent]*x[atLnFactor] + x[inPlacement]*x[atPlacement] + x[inScatter]
	for _, other := range x[budgetInputs:] {
		ln += other
	}
	y := x[atScale] * torque * x[inDrumSpeed] * math.Exp(ln)
	if x[inEngineSpeed] != 1 {
		y *= math.Pow(x[inEngineSpeed], x[atEngine])
	}
	if x[inPressure] > 0 {
		y *= b.factor(x[inPressure], x[inTemperature], x[inHumidity])
	}
	return y
}

// factor is the correction factor for air; NaN where there is none. A humidity that
// is drawn outside of 0 to 1 is at the nearer end.
func (b *budgeting) factor(pressure, temperature, humidity float64) float64 {
	state, err := air.FromRelativeHumidity(quantity.Pascal(pressure), quantity.Kelvin(temperature), math.Max(0, math.Min(1, humidity)))
	if err != nil {
		return math.NaN()
	}
	factor, err := b.a.Standard.Factor(state)
	if err != nil {
		return math.NaN()
	}
	return factor
}
