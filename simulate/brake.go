package simulate

import (
	"fmt"
	"math"
)

// Brake is an eddy-current brake on the drum and what is held with it: steady logs
// after the pulls of every block, or in their place. Torques are at the drum axis.
type Brake struct {
	Logs      int       `toml:"logs_per_block"`
	Alone     bool      `toml:"alone"` // no pulls: the blocks are of steady logs only
	SpeedsRPM []float64 `toml:"speeds_rpm"`
	Hold      float64   `toml:"hold_s"`
	Ramp      float64   `toml:"ramp_rpm_per_s"`  // of the set point, from one speed to the next
	Sweep     float64   `toml:"sweep_rpm_per_s"` // of the set point from the last speed back to the first; 0: none

	Max float64 `toml:"max_torque_nm"` // what the cold brake gives at full command
	Lag float64 `toml:"lag_s"`         // time constant with which its torque follows the command
	// The controller: command over Max is Proportional times the departure of
	// engine speed, referred to the drum in rad/s, plus Integral times its integral
	// in rad; N·m·s and N·m. It is carried out 200 times a second.
	Proportional float64 `toml:"proportional_nms"`
	Integral     float64 `toml:"integral_nm"`

	// Fade is the fraction of its torque that the brake loses for each MJ of heat in
	// it; the heat leaves with time constant Cooling in s.
	Fade    float64 `toml:"fade_per_mj"`
	Cooling float64 `toml:"cooling_s"`

	// Noise is the SD of the torque reading, a first-order autoregression with
	// correlation time NoiseTime; Step its resolution. Flutter is that of the engine's
	// own torque, a fraction, with FlutterTime: the speed answers to it.
	Noise       float64 `toml:"noise_nm"`
	NoiseTime   float64 `toml:"noise_time_s"`
	Step        float64 `toml:"step_nm"`
	Flutter     float64 `toml:"flutter"`
	FlutterTime float64 `toml:"flutter_time_s"`
	Command     bool    `toml:"command"` // record the brake's command
}

// longestSteady bounds one steady log, s.
const longestSteady = 1800.0

// maxHeld bounds the speeds of one steady log.
const maxHeld = 100

// DefaultBrake returns an invented brake that holds eight speeds of Default, one log
// after the pulls of each block.
func DefaultBrake() *Brake {
	return &Brake{
		Logs: 2, SpeedsRPM: []float64{3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500}, Hold: 9, Ramp: 400,
		Max: 520, Lag: 0.08, Proportional: 90, Integral: 130, Cooling: 150, Fade: 0.01,
		Noise: 3, NoiseTime: 0.25, Step: 0.1, Flutter: 0.006, FlutterTime: 0.15, Command: true,
	}
}

// length returns how long the set points of a steady log take, s.
func (b *Brake) length() float64 {
	length := b.Hold * float64(len(b.SpeedsRPM))
	for i := 1; i < len(b.SpeedsRPM); i++ {
		length += math.Abs(b.SpeedsRPM[i]-b.SpeedsRPM[i-1]) / b.Ramp
	}
	if b.Sweep > 0 && len(b.SpeedsRPM) > 0 {
		length += math.Abs(b.SpeedsRPM[0]-b.SpeedsRPM[len(b.SpeedsRPM)-1]) / b.Sweep
	}
	return length
}

// held is one set speed of a steady log.
type held struct {
	rpm      float64 // 1/min
	from, to float64 // s from the beginning of the set points
}

// program returns the held speeds in order of time.
func (b *Brake) program() []held {
	list := make([]held, len(b.SpeedsRPM))
	t := 0.0
	for i, rpm := range b.SpeedsRPM {
		if i > 0 {
			t += math.Abs(rpm-b.SpeedsRPM[i-1]) / b.Ramp
		}
		list[i] = held{rpm, t, t + b.Hold}
		t += b.Hold
	}
	return list
}

// setPoint returns the engine speed asked for at t seconds of the program, 1/min.
func (b *Brake) setPoint(program []held, t float64) float64 {
	for i := range program {
		h := &program[i]
		if t < h.from {
			return h.rpm - math.Copysign(b.Ramp*(h.from-t), h.rpm-program[i-1].rpm)
		}
		if t <= h.to {
			return h.rpm
		}
	}
	first, last := program[0].rpm, program[len(program)-1]
	if b.Sweep <= 0 || first == last.rpm {
		return last.rpm
	}
	gone := math.Min(b.Sweep*(t-last.to), math.Abs(first-last.rpm))
	return last.rpm + math.Copysign(gone, first-last.rpm)
}

// Rows returns how many rows pulls.csv has: pulls and steady logs.
func (s *Scenario) Rows() int { return len(s.Plan.Order) * s.perBlock() }

// perBlock returns the rows of one block.
func (s *Scenario) perBlock() int {
	switch {
	case s.Brake == nil:
		return s.Plan.PullsPerBlock
	case s.Brake.Alone:
		return s.Brake.Logs
	}
	return s.Plan.PullsPerBlock + s.Brake.Logs
}

// isSteady says whether the row of that place in its block is a steady log.
func (s *Scenario) isSteady(place int) bool {
	return s.Brake != nil && (s.Brake.Alone || place >= s.Plan.PullsPerBlock)
}

func (s *Scenario) checkBrake(p *problems) {
	b := s.Brake
	if b == nil {
		return
	}
	p.bound("brake.logs_per_block", float64(b.Logs), 1, 20)
	if n := len(b.SpeedsRPM); n < 1 || n > maxHeld {
		p.add("brake.speeds_rpm has %d speeds; 1 to %d are possible", n, maxHeld)
	}
	for i, rpm := range b.SpeedsRPM {
		p.bound(fmt.Sprintf("brake.speeds_rpm[%d]", i), rpm, s.Engine.StartRPM, s.Engine.CloseRPM)
	}
	p.bound("brake.hold_s", b.Hold, 0.5, 600)
	p.bound("brake.ramp_rpm_per_s", b.Ramp, 1, 20_000)
	p.bound("brake.sweep_rpm_per_s", b.Sweep, 0, 20_000)
	p.bound("brake.max_torque_nm", b.Max, 1, 100_000)
	p.bound("brake.lag_s", b.Lag, 0.005, 5)
	p.bound("brake.proportional_nms", b.Proportional, 0, 100_000)
	p.bound("brake.integral_nm", b.Integral, 0, 100_000)
	p.bound("brake.fade_per_mj", b.Fade, 0, 1)
	p.bound("brake.cooling_s", b.Cooling, 1, 100_000)
	p.bound("brake.noise_nm", b.Noise, 0, 1000)
	p.bound("brake.noise_time_s", b.NoiseTime, 0, 60)
	p.step("brake.step_nm", b.Step, 10)
	p.bound("brake.flutter", b.Flutter, 0, 0.1)
	p.bound("brake.flutter_time_s", b.FlutterTime, 0, 60)
	if length := b.length(); !(length <= longestSteady) {
		p.add("brake: a steady log would take %.0f s; the most are %.0f", length, longestSteady)
	}
	if s.Logger.Kind != SampledLog {
		p.add("brake: only sampled logs carry a brake torque; logger.kind is %q", s.Logger.Kind)
	}
	if rows := s.Logger.Sampled.Rate * b.length() * float64(len(s.Plan.Order)*b.Logs); rows > maxRows {
		p.add("brake: the steady logs come to %.3g rows; the most are %.3g", rows, maxRows)
	}
}

// steadyFaults are the faults that a steady log can carry: those of the vehicle and
// of what is written down, not those of a pull's log.
var steadyFaults = map[string]bool{
	wrongGear: true, seaLevelPressure: true, tyrePressure: true, lighterWheel: true, mixtureChange: true,
	coldFirstBlock: true, coldPull: true, mislabelled: true, unusualPull: true, weatherJump: true,
}
