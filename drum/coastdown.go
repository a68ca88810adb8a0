package drum

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"fairpull/signal"
)

// ErrCoast says that samples do not make a coast-down.
var ErrCoast = errors.New("not a coast-down")

// Coast is the record of one coast-down with the drive disengaged. Either Speed
// or Angle is given; each is as long as Time.
type Coast struct {
	Time  []float64 // s, increasing
	Speed []float64 // rad/s of the drum, sampled logs
	Angle []float64 // rad of the drum, pulse logs
	Brake []float64 // N·m at the drum axis; nil: none

	Quantum float64 // step in which Speed was recorded, rad/s; 0: fine
}

// Rig is the inertia that slows in a coast-down, and what the bare drum loses.
type Rig struct {
	Inertia      float64    // drum, kg·m²
	WheelInertia float64    // driven wheel referred to the drum, kg·m²; 0: not stated
	Parasitic    [3]float64 // bare drum torque over drum speed, N·m and rad/s
}

// points is how many speeds the loss is tabulated at.
const points = 21

// Losses fits the loss over drum speed to the coast-down:
//
//	(I + I_w)·dω/dt = −[loss(ω) + bare drum(ω) + brake]
//
// Integrated once (speed) or twice (angle) over time, this is linear in the
// coefficients of the loss, and the integrals of ω and ω² hardly carry noise; so
// the fit needs no derivative of a measured series, takes uneven sampling as it
// is, and least squares gives true standard errors. The course is quadratic in ω
// where the speed falls by 12 % of its mean or more, a straight line down to 2 %,
// a constant below. Errors that hang together from sample to sample, and a
// coarsely rounded speed, are allowed for.
//
// It returns ErrCoast, wrapped with the reason, for fewer than 30 samples or a
// speed that does not fall or is not positive.
func (c Coast) Losses(rig Rig) (*Losses, error) {
	n := len(c.Time)
	if n < 30 || (c.Speed == nil) == (c.Angle == nil) || len(c.Speed)+len(c.Angle) != n || (c.Brake != nil && len(c.Brake) != n) {
		return nil, fmt.Errorf("%w: %d samples, at least 30 are needed", ErrCoast, n)
	}
	if !(rig.Inertia > 0) || !(rig.WheelInertia >= 0) {
		return nil, fmt.Errorf("%w: drum inertia %g kg·m² and wheel inertia %g kg·m² cannot be", ErrCoast, rig.Inertia, rig.WheelInertia)
	}
	speed := c.Speed
	if speed == nil {
		speed = slopes(c.Time, c.Angle)
	}
	first, last := meanOf(speed[:5]), meanOf(speed[n-5:])
	if !(last > 0) || !(first > last) || math.IsInf(first, 0) {
		return nil, fmt.Errorf("%w: the drum goes from %.4g to %.4g rad/s", ErrCoast, first, last)
	}
	f := newCoastFit(c, speed, first, last, &rig)
	if err := f.solve(); err != nil {
		return nil, err
	}
	return f.losses(rig, c.Quantum), nil
}

// coastFit is the linear least-squares problem of one coast-down.
type coastFit struct {
	time, speed   []float64
	centre, scale float64 // x = (ω − centre)/scale
	inertia       float64
	columns       [][]float64 // offset, for angle the starting speed too, then one per power of x
	offsets       int         // columns before the powers
	y             []float64
	weight        []float64 // nil: all alike

	inverse     *mat.SymDense // of the normal matrix
	coefficient []float64
	residual    []float64 // weighted
	variance    float64   // of one residual
}

// newCoastFit sets up the columns: integrals of powers of x over time from the
// middle of the coast-down on, once for speed, twice for angle. What bare drum
// and brake take is known and goes to the side of the measured series. The angle
// of a pulse is as uncertain as its moment times the speed, hence the weight 1/ω.
func newCoastFit(c Coast, speed []float64, first, last float64, rig *Rig) *coastFit {
	f := &coastFit{time: c.Time, speed: speed, inertia: rig.Inertia + rig.WheelInertia, centre: (first + last) / 2, scale: (first - last) / 2}
	powers := 3
	switch fall := (first - last) / f.centre; {
	case fall < 0.02:
		powers = 1
	case fall < 0.12:
		powers = 2
	}
	n := len(speed)
	all := make([]float64, (powers+4)*n)
	next := func() []float64 {
		part := all[:n:n]
		all = all[n:]
		return part
	}
	one := next()
	for i := range one {
		one[i] = 1
	}
	f.columns, f.offsets, f.y = append(f.columns, one), 1, c.Speed
	if c.Angle != nil {
		start := next()
		copy(start, one)
		integrate(c.Time, start)
		f.columns, f.offsets, f.y = append(f.columns, start), 2, c.Angle
		f.weight = make([]float64, n)
		for i, v := range speed {
			f.weight[i] = f.centre / v
		}
	}
	for k := range powers {
		p := next()
		for i, v := range speed {
			p[i] = 1
			for range k {
				p[i] *= (v - f.centre) / f.scale
			}
		}
		f.columns = append(f.columns, f.integrated(p))
	}
	y := next()
	for i, v := range speed {
		y[i] = Polynomial(rig.Parasitic, v)
		if c.Brake != nil {
			y[i] += c.Brake[i]
		}
	}
	for i, known := range f.integrated(y) {
		y[i] = f.y[i] + known/f.inertia
	}
	f.y = y
	return f
}

// integrated integrates v over time, in place, as often as the measured series
// asks for.
func (f *coastFit) integrated(v []float64) []float64 {
	for range f.offsets {
		integrate(f.time, v)
	}
	return v
}

// solve finds the coefficients by the normal equations: with time counted from
// the middle and x within ±1 their condition number stays below about 1e4.
func (f *coastFit) solve() error {
	p := len(f.columns)
	span := f.time[len(f.time)-1] - f.time[0]
	normal := mat.NewSymDense(p, nil)
	right := make([]float64, p)
	unit := make([]float64, p) // brings the columns to one size
	for i := range p {
		unit[i] = math.Pow(span, -float64(f.order(i)))
	}
	base := f.y[len(f.y)/2]
	for i := range p {
		for j := range i + 1 {
			normal.SetSym(i, j, unit[i]*unit[j]*f.product(f.columns[i], f.columns[j], 0))
		}
		right[i] = unit[i] * f.product(f.columns[i], f.y, base)
	}
	var factor mat.Cholesky
	if !factor.Factorize(normal) {
		return fmt.Errorf("%w: the samples do not determine the loss", ErrCoast)
	}
	var solution mat.VecDense
	f.inverse = mat.NewSymDense(p, nil)
	if err := errors.Join(factor.SolveVecTo(&solution, mat.NewVecDense(p, right)), factor.InverseTo(f.inverse)); err != nil {
		return fmt.Errorf("%w: %w", ErrCoast, err)
	}
	f.coefficient = make([]float64, p)
	for i := range p {
		f.coefficient[i] = unit[i] * solution.AtVec(i)
		for j := range i + 1 {
			f.inverse.SetSym(i, j, unit[i]*unit[j]*f.inverse.At(i, j))
		}
	}
	f.coefficient[0] += base
	f.takeResiduals()
	return nil
}

// order returns how often column i is integrated over time.
func (f *coastFit) order(i int) int { return min(i, f.offsets) }

// product returns the weighted product of a column with values less base.
func (f *coastFit) product(column, values []float64, base float64) float64 {
	sum := 0.0
	for i, c := range column {
		v := c * (values[i] - base)
		if f.weight != nil {
			v *= f.weight[i] * f.weight[i]
		}
		sum += v
	}
	return sum
}

// takeResiduals works out the weighted residuals and their variance.
func (f *coastFit) takeResiduals() {
	f.residual = make([]float64, len(f.y))
	ss := 0.0
	for i, y := range f.y {
		for k, c := range f.columns {
			y -= f.coefficient[k] * c[i]
		}
		if f.weight != nil {
			y *= f.weight[i]
		}
		f.residual[i] = y
		ss += y * y
	}
	f.variance = ss / float64(len(f.y)-len(f.columns))
}

// losses turns the coefficients into torque.
func (f *coastFit) losses(rig Rig, quantum float64) *Losses {
	l := &Losses{WheelInertia: rig.WheelInertia, centre: f.centre, scale: f.scale}
	n := len(f.time)
	l.MeanOmega = meanSpeed(f.time, f.speed)
	spread := f.spread(quantum, (l.MeanOmega-f.centre)/f.scale)
	var b [3]float64
	for i := f.offsets; i < len(f.columns); i++ {
		b[i-f.offsets] = -f.inertia * f.coefficient[i]
		for j := f.offsets; j < len(f.columns); j++ {
			l.covariance[i-f.offsets][j-f.offsets] = f.inertia * f.inertia * spread * f.inverse.At(i, j)
		}
	}
	u, s := f.centre, f.scale
	l.Coefficients = [3]float64{
		b[0] - b[1]*u/s + b[2]*u*u/(s*s),
		b[1]/s - 2*b[2]*u/(s*s),
		b[2] / (s * s),
	}
	l.MeanTorque, l.MeanStandardError = l.At(l.MeanOmega)
	lo, hi := meanOf(f.speed[n-5:]), meanOf(f.speed[:5])
	for k := range points {
		omega := lo + (hi-lo)*float64(k)/(points-1)
		torque, se := l.At(omega)
		l.Omega = append(l.Omega, omega)
		l.Torque = append(l.Torque, torque)
		l.StandardError = append(l.StandardError, se)
	}
	return l
}

// spread returns the variance of one sample's error to be used with the inverse
// normal matrix: that of the residuals, raised or lowered by how the errors hang
// together, as it acts on the loss at x.
func (f *coastFit) spread(quantum, x float64) float64 {
	var c signal.Correlogram
	c.Add(f.residual, len(f.columns))
	noise := c.Noise(quantum)
	if noise.White(f.variance) {
		return f.variance
	}
	n, p := len(f.y), len(f.columns)
	gradient := make([]float64, p)
	for i := range p {
		for j, power := f.offsets, 1.0; j < p; j, power = j+1, power*x {
			gradient[i] += f.inverse.At(i, j) * power
		}
	}
	weights, fitted := make([]float64, n), make([]float64, n)
	plain := 0.0
	for i := range n {
		for k, c := range f.columns {
			weights[i] += gradient[k] * c[i]
			fitted[i] += f.coefficient[k] * c[i]
		}
		if f.weight != nil {
			weights[i] *= f.weight[i]
		}
		plain += weights[i] * weights[i]
	}
	return noise.Variance(weights, fitted, f.variance) / plain
}

// integrate replaces v by its running integral over t, by the trapezoid rule,
// counted from the middle sample.
func integrate(t, v []float64) {
	sum, before := 0.0, v[0]
	v[0] = 0
	for i := 1; i < len(v); i++ {
		now := v[i]
		sum += (t[i] - t[i-1]) * (now + before) / 2
		v[i], before = sum, now
	}
	middle := v[len(v)/2]
	for i := range v {
		v[i] -= middle
	}
}

// slopes returns the slope of y over t at every sample, from its neighbours.
func slopes(t, y []float64) []float64 {
	n := len(t)
	out := make([]float64, n)
	for i := range out {
		a, b := max(0, i-1), min(n-1, i+1)
		out[i] = (y[b] - y[a]) / (t[b] - t[a])
	}
	return out
}

// meanOf returns the arithmetic mean.
func meanOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// meanSpeed returns the time mean of the speed.
func meanSpeed(t, speed []float64) float64 {
	sum := 0.0
	for i := 1; i < len(t); i++ {
		sum += (t[i] - t[i-1]) * (speed[i] + speed[i-1]) / 2
	}
	return sum / (t[len(t)-1] - t[0])
}
