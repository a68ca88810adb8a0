package drum

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Spin is one coast-down or pull of the drum over a range of speeds, with what was
// known to turn or to brake beside the drum.
type Spin struct {
	Added  float64 // inertia put on, kg·m²
	AddedU float64 // its standard uncertainty; the same thing is meant wherever it is put on
	Brake  float64 // mean brake torque over the speeds, N·m
	BrakeU float64 // its standard uncertainty, common to all spins

	Slope  float64 // mean of dω/dt over the speeds, each weighing the same, rad/s²
	SlopeU float64 // its standard error, of the noise in the record
}

// Record is a drum that slows or gains speed by itself, as logged.
type Record struct {
	Coast
	Rising bool // it gains speed: a pull
}

// falling returns the record as one that slows: a pull backwards in time.
func (r Record) falling() Coast {
	if !r.Rising {
		return r.Coast
	}
	out := Coast{Quantum: r.Quantum, Time: slices.Clone(r.Time), Speed: slices.Clone(r.Speed), Angle: slices.Clone(r.Angle), Brake: slices.Clone(r.Brake)}
	for _, series := range [][]float64{out.Time, out.Speed, out.Angle, out.Brake} {
		slices.Reverse(series)
	}
	for _, series := range [][]float64{out.Time, out.Angle} {
		for i := range series {
			series[i] = -series[i]
		}
	}
	return out
}

// Spin returns the mean slope of drum speed between the speeds lo and hi in rad/s,
// and the mean brake torque there. It returns ErrCoast, wrapped with the reason,
// where the record does not cover them.
func (r Record) Spin(lo, hi float64) (Spin, error) {
	c := r.falling()
	brake := c.Brake
	c.Brake = nil
	l, err := c.Losses(Rig{Inertia: 1})
	if err != nil {
		return Spin{}, err
	}
	if first, last := l.Omega[0], l.Omega[len(l.Omega)-1]; !(lo < hi) || lo < first-1e-9*last || hi > last+1e-9*last {
		return Spin{}, fmt.Errorf("%w: it goes from %.4g to %.4g rad/s, and %.4g to %.4g rad/s are asked for", ErrCoast, first, last, lo, hi)
	}
	mean, u := l.Mean(lo, hi)
	s := Spin{Slope: -mean, SlopeU: u}
	if r.Rising {
		s.Slope = mean
	}
	if brake != nil {
		if c.Speed == nil {
			c.Speed = slopes(c.Time, c.Angle)
		}
		s.Brake = meanOver(c.Speed, brake, lo, hi)
	}
	return s, nil
}

// Speeds returns the lowest and highest drum speed in rad/s between which the
// record's slope can be given: those of its first and last samples, averaged.
func (r Record) Speeds() (lo, hi float64, err error) {
	l, err := r.falling().Losses(Rig{Inertia: 1})
	if err != nil {
		return 0, 0, err
	}
	return l.Omega[0], l.Omega[len(l.Omega)-1], nil
}

// meanOver returns the mean of y over falling x between lo and hi, by the
// trapezoid rule over x.
func meanOver(x, y []float64, lo, hi float64) float64 {
	sum, width := 0.0, 0.0
	for i := 1; i < len(x); i++ {
		if x[i] < lo || x[i-1] > hi {
			continue
		}
		dx := x[i-1] - x[i]
		sum += dx * (y[i-1] + y[i]) / 2
		width += dx
	}
	return sum / width
}

// Mean returns the mean of the fitted loss between two drum speeds in rad/s, each
// speed weighing the same, and its standard error, both in N·m.
func (l *Losses) Mean(lo, hi float64) (torque, standardError float64) {
	x, y := (lo-l.centre)/l.scale, (hi-l.centre)/l.scale
	g := [3]float64{1, (x + y) / 2, (x*x + x*y + y*y) / 3}
	v := 0.0
	for i := range g {
		for j := range g {
			v += g[i] * l.covariance[i][j] * g[j]
		}
	}
	c := l.Coefficients
	return c[0] + c[1]*(lo+hi)/2 + c[2]*(lo*lo+lo*hi+hi*hi)/3, math.Sqrt(v)
}

// Inertia is a drum inertia found from spins.
type Inertia struct {
	Calibrated         // kg·m²
	Torque     float64 // mean torque that acted in all spins alike, N·m; negative where it slows
	// Each is the inertia that each spin gives with that torque, kg·m².
	Each []float64
	// Replicated is true where there are more spins than unknowns, so that the
	// scatter from one to the next is known.
	Replicated bool
}

// InertiaFromSpins finds the drum's inertia I from spins over the same speeds
// that differ in what was put on, ΔI, or in the brake torque B. In each
//
//	(I + ΔI_k)·α_k = T − B_k
//
// with α_k the mean slope over the speeds and T the mean torque that acts in all of
// them: minus the bare drum's loss in coast-downs, the drive in pulls. For means
// over speed this is exact, whatever the course of the loss. I and T follow by least
// squares, spins weighing so that T scatters alike in all; the regressor is the
// fitted slope, not the measured one, so that scatter does not pull I towards zero.
//
// The scatter from spin to spin, or that of the records where it is larger, is one
// part of the uncertainty; the added inertia, the brake torque and the speed's
// scale are the others. speedU is the relative standard uncertainty of the speed's
// scale: it drops out where inertia alone was added, and counts where a brake torque
// was.
//
// In pulls everything that turns with the drum is found with it.
func InertiaFromSpins(spins []Spin, speedU float64) (*Inertia, error) {
	if err := checkSpins(spins); err != nil {
		return nil, err
	}
	i, t, err := solveSpins(spins)
	if err != nil {
		return nil, err
	}
	out := &Inertia{Torque: t, Replicated: len(spins) > 2}
	parts := []Part{spinScatter(spins, i, t)}
	moved := func(name string, change func(*Spin)) error {
		other := slices.Clone(spins)
		for k := range other {
			change(&other[k])
		}
		again, _, err := solveSpins(other)
		parts = append(parts, Part{Name: name, U: math.Abs(again - i), DF: math.Inf(1)})
		return err
	}
	if slices.ContainsFunc(spins, func(s Spin) bool { return s.Added > 0 }) {
		err = moved("added inertia", func(s *Spin) { s.Added += s.AddedU })
	}
	if slices.ContainsFunc(spins, func(s Spin) bool { return s.Brake != 0 }) {
		err = errors.Join(err, moved("brake torque", func(s *Spin) { s.Brake += s.BrakeU }), moved("scale of drum speed", func(s *Spin) { s.Slope *= 1 + speedU }))
	}
	if err != nil {
		return nil, err
	}
	for _, s := range spins {
		out.Each = append(out.Each, (t-s.Brake)/s.Slope-s.Added)
	}
	out.Calibrated = combined(i, parts...)
	if !(i > 0) {
		return nil, fmt.Errorf("%w: the drum's inertia comes out as %.4g kg·m²; look at which spin had what put on", ErrCalibration, i)
	}
	return out, out.check("the drum's inertia")
}

// checkSpins refuses spins from which no inertia follows.
func checkSpins(spins []Spin) error {
	if len(spins) < 2 {
		return fmt.Errorf("%w: %d spin, and two that differ are needed", ErrCalibration, len(spins))
	}
	for k, s := range spins {
		for _, v := range []float64{s.Added, s.AddedU, s.Brake, s.BrakeU, s.SlopeU} {
			if !finite(v) || s.Added < 0 || s.AddedU < 0 || s.BrakeU < 0 || s.SlopeU < 0 {
				return fmt.Errorf("%w: spin %d is %+v", ErrCalibration, k+1, s)
			}
		}
		if !finite(s.Slope) || s.Slope == 0 || s.Slope*spins[0].Slope < 0 {
			return fmt.Errorf("%w: spin %d has a slope of %g rad/s², the first %g; coast-downs and pulls do not mix", ErrCalibration, k+1, s.Slope, spins[0].Slope)
		}
	}
	return nil
}

// solveSpins returns the inertia and the common torque.
func solveSpins(spins []Spin) (inertia, torque float64, err error) {
	measured := make([]float64, len(spins))
	for k, s := range spins {
		measured[k] = s.Slope
	}
	inertia, torque, err = spinStep(spins, measured, 0, 0)
	fitted := make([]float64, len(spins))
	for range 50 {
		if err != nil {
			return 0, 0, err
		}
		for k, s := range spins {
			fitted[k] = (torque - s.Brake) / (inertia + s.Added)
		}
		before := inertia
		if inertia, torque, err = spinStep(spins, fitted, inertia, torque); err == nil && math.Abs(inertia-before) <= 1e-12*math.Abs(inertia) {
			return inertia, torque, nil
		}
	}
	return 0, 0, fmt.Errorf("%w: no inertia fits the spins", ErrCalibration)
}

// spinStep improves inertia i and torque t by least squares, with the given slopes
// as regressor: residual (i + ΔI)·α + B − t, derivatives α and −1.
func spinStep(spins []Spin, slope []float64, i, t float64) (float64, float64, error) {
	n := float64(len(spins))
	meanSlope, meanResidual := meanOf(slope), 0.0
	residual := make([]float64, len(spins))
	for k, s := range spins {
		residual[k] = (i+s.Added)*s.Slope + s.Brake - t
		meanResidual += residual[k] / n
	}
	var sxx, sxy float64
	for k := range spins {
		d := slope[k] - meanSlope
		sxx += d * d
		sxy += d * (residual[k] - meanResidual)
	}
	if !(sxx > 1e-12*n*meanSlope*meanSlope) {
		return 0, 0, fmt.Errorf("%w: the spins do not differ: put on an inertia that is known, or brake with a torque that is known", ErrCalibration)
	}
	step := -sxy / sxx
	return i + step, t + meanResidual + step*meanSlope, nil
}

// spinScatter is the part of the inertia's uncertainty that comes of the spins
// themselves.
func spinScatter(spins []Spin, i, t float64) Part {
	n := float64(len(spins))
	fitted := make([]float64, len(spins))
	var ss, within float64
	for k, s := range spins {
		fitted[k] = (t - s.Brake) / (i + s.Added)
		r := (i+s.Added)*s.Slope + s.Brake - t
		ss += r * r
		within += (i + s.Added) * s.SlopeU * (i + s.Added) * s.SlopeU / n
	}
	sxx := 0.0
	for _, f := range fitted {
		sxx += (f - meanOf(fitted)) * (f - meanOf(fitted))
	}
	p := Part{Name: "noise of the records", U: math.Sqrt(within / sxx), DF: math.Inf(1), Scatter: true}
	if n > 2 && ss/(n-2) >= within {
		p = Part{Name: fmt.Sprintf("scatter of %d spins", len(spins)), U: math.Sqrt(ss / (n - 2) / sxx), DF: n - 2, Scatter: true}
	}
	return p
}

// AcceptInertia holds each spin's inertia and the final value against a stated
// drum inertia: 40 CFR 1066.250(d).
func (r *Inertia) AcceptInertia(stated float64) []Acceptance {
	worst := 0.0
	for _, each := range r.Each {
		if off := 100 * (each/stated - 1); math.Abs(off) > math.Abs(worst) {
			worst = off
		}
	}
	return []Acceptance{
		atMost("40 CFR 1066.250(d)(1)", "largest error of one measured base inertia", worst, 1, "%"),
		atMost("40 CFR 1066.250(d)(2)", "error of the mean base inertia", 100*(r.Value/stated-1), 0.20, "%"),
	}
}
