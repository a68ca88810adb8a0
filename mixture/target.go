package mixture

import (
	"errors"
	"fmt"
	"math"
)

// Target is the lambda that is wanted in a range of engine speed and load.
type Target struct {
	SpeedRPM [2]float64 // 1/min, both ends within; zero: every engine speed
	Load     [2]float64 // in the unit of the load; zero: every load
	Lambda   float64
	// Leanest is the limit that no change of fuel may go beyond: at least Lambda. 0: not
	// declared; then nothing is made leaner.
	Leanest float64
}

// ErrTarget says that a target is none.
var ErrTarget = errors.New("this is no target of lambda")

// Validate refuses a target that an engine cannot be meant to run at.
func (t Target) Validate() error {
	if !(t.Lambda >= 0.7 && t.Lambda <= 1.2) {
		return fmt.Errorf("%w: lambda %g; targets lie within 0.7 to 1.2", ErrTarget, t.Lambda)
	}
	if t.Leanest != 0 && !(t.Leanest >= t.Lambda && t.Leanest <= 1.3) {
		return fmt.Errorf("%w: its leanest limit is %g; it lies from the target (%g) to 1.3", ErrTarget, t.Leanest, t.Lambda)
	}
	for _, span := range [][2]float64{t.SpeedRPM, t.Load} {
		if span != [2]float64{} && !(span[0] >= 0 && span[1] > span[0] && !math.IsInf(span[1], 0)) {
			return fmt.Errorf("%w: a range from %g to %g", ErrTarget, span[0], span[1])
		}
	}
	return nil
}

// Targets are looked through in their order: the first that covers a place holds there.
type Targets []Target

// At returns the target at an engine speed and a load; ok is false where there is none.
func (ts Targets) At(speedRPM, load float64) (t Target, ok bool) {
	within := func(v float64, span [2]float64) bool {
		return span == [2]float64{} || v >= span[0] && v <= span[1]
	}
	for _, t := range ts {
		if within(speedRPM, t.SpeedRPM) && within(load, t.Load) {
			return t, true
		}
	}
	return Target{}, false
}

// MostChange is the greatest change of fuel of one pass, as a fraction: what is measured
// after it says whether there is more to do.
const MostChange = 0.05

// Reason says why a change of fuel is what it is.
type Reason string

// The reasons.
const (
	ToTarget   Reason = "to the target"
	OneStep    Reason = "limited to 5 % a pass"
	AtLeanest  Reason = "held back by the leanest limit"
	NoLeanest  Reason = "no leanest limit is declared, so nothing is made leaner"
	OnTarget   Reason = "on target within its interval"
	FewVisits  Reason = "fewer than three visits"
	NoTarget   Reason = "no target there"
	NoInterval Reason = "no interval"
)

// Change returns by which fraction fuel would have to change to bring lambda to the
// target: positive is more fuel, which is richer. lo and hi are the interval of lambda.
//
// It is lambda/target − 1, at most [MostChange] either way, and 0 where the interval
// holds the target. Less fuel is given only as far as the upper end of the interval
// stays at or below the leanest limit after it, and not at all where no limit is
// declared.
func (t Target) Change(lambda, lo, hi float64) (float64, Reason) {
	if !(lo <= lambda && lambda <= hi) {
		return math.NaN(), NoInterval
	}
	change, why := lambda/t.Lambda-1, ToTarget
	if lo <= t.Lambda && t.Lambda <= hi {
		change, why = 0, OnTarget
	}
	if change < 0 {
		if t.Leanest == 0 {
			return 0, NoLeanest
		}
		if least := hi/t.Leanest - 1; change < least {
			change, why = math.Min(least, 0), AtLeanest
		}
	}
	if math.Abs(change) > MostChange {
		change, why = math.Copysign(MostChange, change), OneStep
	}
	return change, why
}
