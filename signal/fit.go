package signal

import (
	"errors"
	"fmt"
	"math"
)

// MaxDegree is the highest degree of a local fit.
const MaxDegree = 4

// Errors of a local fit.
var (
	ErrTooFew   = errors.New("too few samples for the polynomial")
	ErrSingular = errors.New("the samples do not determine the polynomial")
)

// Fit is a polynomial fitted by least squares to the samples of one window:
//
//	y(t) = Σ Coefficients[k]·x^k,  x = (t − Centre)/Scale
//
// Time is centred and scaled before anything is summed, and a straight line
// through the first and last sample is taken off the values, so the normal
// equations stay well conditioned and no figure is lost to cancellation.
// Sampling may be uneven: every sample enters at its own time.
type Fit struct {
	Centre, Scale float64 // s
	Degree, Count int
	Coefficients  [MaxDegree + 1]float64 // unit of y
	ResidualSS    float64                // residual sum of squares, unit of y squared

	inverse matrix // of the normal matrix XᵀX
}

// Over fits a polynomial of the given degree (1 to 4) to the samples (t, y), all
// of which are used. Centre is the moment that x = 0 stands for and scale, > 0,
// the half-width of the window, both in s.
//
// It returns ErrTooFew with fewer than degree + 1 samples and ErrSingular where
// the moments do not determine the polynomial; the receiver is then of no use.
func (f *Fit) Over(t, y []float64, centre, scale float64, degree int) error {
	if err := f.over(t, y, centre, scale, degree); err != nil {
		return err
	}
	if f.ResidualSS < 0 {
		f.sumSquares(t, y)
	}
	return nil
}

// over is Over, but where the residual sum of squares wants a second pass it is
// left at −1.
func (f *Fit) over(t, y []float64, centre, scale float64, degree int) error {
	if degree < 1 || degree > MaxDegree {
		return fmt.Errorf("local fit of degree %d: 1 to %d are offered", degree, MaxDegree)
	}
	if len(t) != len(y) || len(t) <= degree || !(scale > 0) {
		return ErrTooFew
	}
	f.Centre, f.Scale, f.Degree, f.Count = centre, scale, degree, len(t)
	base, slope := f.chord(t, y)
	var s [2*MaxDegree + 1]float64
	var r [MaxDegree + 1]float64
	var squares float64
	if degree <= 3 {
		squares = f.cubicSums(t, y, base, slope, &s, &r)
	} else {
		squares = f.quarticSums(t, y, base, slope, &s, &r)
	}
	if !f.inverse.setInverseOfMoments(&s, degree+1) {
		return ErrSingular
	}
	f.solve(&r, squares, base, slope)
	return nil
}

// Again fits another channel that was sampled at the same moments as the fit
// like, and reuses its normal matrix. t and y must be as long as they were there.
func (f *Fit) Again(like *Fit, t, y []float64) error {
	if len(t) != len(y) || len(t) != like.Count {
		return ErrTooFew
	}
	f.Centre, f.Scale, f.Degree, f.Count = like.Centre, like.Scale, like.Degree, like.Count
	f.inverse = like.inverse
	base, slope := f.chord(t, y)
	inv := 1 / f.Scale
	y = y[:len(t)]
	var r0, r1, r2, r3, r4, squares float64
	for i, ti := range t {
		x := (ti - f.Centre) * inv
		v := y[i] - base - slope*x
		x2 := x * x
		r0 += v
		r1 += v * x
		r2 += v * x2
		r3 += v * (x2 * x)
		r4 += v * (x2 * x2)
		squares += v * v
	}
	f.solve(&[MaxDegree + 1]float64{r0, r1, r2, r3, r4}, squares, base, slope)
	if f.ResidualSS < 0 {
		f.sumSquares(t, y)
	}
	return nil
}

// chord returns the line through the first and last sample, as a function of x.
func (f *Fit) chord(t, y []float64) (base, slope float64) {
	last := len(t) - 1
	x0 := (t[0] - f.Centre) / f.Scale
	x1 := (t[last] - f.Centre) / f.Scale
	if x1 > x0 {
		slope = (y[last] - y[0]) / (x1 - x0)
	}
	return y[0] - slope*x0, slope
}

// cubicSums sums the powers of x up to 6 and of x with the values up to 3, and
// returns the sum of squares of the values, both less the chord.
func (f *Fit) cubicSums(t, y []float64, base, slope float64, s *[2*MaxDegree + 1]float64, r *[MaxDegree + 1]float64) (squares float64) {
	var s1, s2, s3, s4, s5, s6, r0, r1, r2, r3 float64
	centre, inv := f.Centre, 1/f.Scale
	y = y[:len(t)]
	for i, ti := range t {
		x := (ti - centre) * inv
		v := y[i] - base - slope*x
		x2 := x * x
		x3 := x2 * x
		s1 += x
		s2 += x2
		s3 += x3
		s4 += x2 * x2
		s5 += x2 * x3
		s6 += x3 * x3
		r0 += v
		r1 += v * x
		r2 += v * x2
		r3 += v * x3
		squares += v * v
	}
	*s = [2*MaxDegree + 1]float64{float64(len(t)), s1, s2, s3, s4, s5, s6}
	*r = [MaxDegree + 1]float64{r0, r1, r2, r3}
	return squares
}

// quarticSums is cubicSums for powers up to 8 and 4.
func (f *Fit) quarticSums(t, y []float64, base, slope float64, s *[2*MaxDegree + 1]float64, r *[MaxDegree + 1]float64) (squares float64) {
	var s1, s2, s3, s4, s5, s6, s7, s8, r0, r1, r2, r3, r4 float64
	centre, inv := f.Centre, 1/f.Scale
	y = y[:len(t)]
	for i, ti := range t {
		x := (ti - centre) * inv
		v := y[i] - base - slope*x
		x2 := x * x
		x3 := x2 * x
		x4 := x2 * x2
		s1 += x
		s2 += x2
		s3 += x3
		s4 += x4
		s5 += x2 * x3
		s6 += x3 * x3
		s7 += x3 * x4
		s8 += x4 * x4
		r0 += v
		r1 += v * x
		r2 += v * x2
		r3 += v * x3
		r4 += v * x4
		squares += v * v
	}
	*s = [2*MaxDegree + 1]float64{float64(len(t)), s1, s2, s3, s4, s5, s6, s7, s8}
	*r = [MaxDegree + 1]float64{r0, r1, r2, r3, r4}
	return squares
}

// closeFit is the part of the squares below which the residual sum of squares is
// not taken as a difference: a millionth costs six of the sixteen digits.
const closeFit = 1e-6

// solve turns the right-hand side r, and the sum of squares of the values, both less
// the chord, into coefficients and the residual sum of squares; that is −1 where the
// fit is so close that the difference would lose too many digits.
func (f *Fit) solve(r *[MaxDegree + 1]float64, squares, base, slope float64) {
	n := f.Degree + 1
	f.Coefficients = [MaxDegree + 1]float64{}
	f.ResidualSS = squares
	for i := range n {
		for j := range n {
			f.Coefficients[i] += f.inverse[i][j] * r[j]
		}
		f.ResidualSS -= f.Coefficients[i] * r[i]
	}
	if !(f.ResidualSS > closeFit*squares) {
		f.ResidualSS = -1
	}
	f.Coefficients[0] += base
	f.Coefficients[1] += slope
}

// sumSquares sums the squared residuals in a second pass over the samples.
func (f *Fit) sumSquares(t, y []float64) {
	c, inv := f.Coefficients, 1/f.Scale
	y = y[:len(t)]
	ss := 0.0
	for i, ti := range t {
		x := (ti - f.Centre) * inv
		x2 := x * x
		e := y[i] - (c[0] + x*c[1] + x2*(c[2]+x*c[3]+x2*c[4]))
		ss += e * e
	}
	f.ResidualSS = ss
}

// At returns the derivative of the given order (0: the value) of the fitted
// polynomial at time t, in the unit of y per s^order.
func (f *Fit) At(order int, t float64) float64 {
	g := f.gradient(order, t)
	sum := 0.0
	for k := range f.Degree + 1 {
		sum += g[k] * f.Coefficients[k]
	}
	return sum
}

// UnitVariance returns the variance of At(order, t) when the samples carry
// independent errors of variance 1.
func (f *Fit) UnitVariance(order int, t float64) float64 {
	g := f.gradient(order, t)
	sum := 0.0
	for i := range f.Degree + 1 {
		for j := range f.Degree + 1 {
			sum += g[i] * f.inverse[i][j] * g[j]
		}
	}
	return sum
}

// Weights fills w with the weight that each sample of times had in At(order, t):
// At equals Σ w[i]·y[i]. times are the moments that the fit was made over and w
// is as long.
func (f *Fit) Weights(order int, t float64, times, w []float64) {
	g := f.gradient(order, t)
	var p [MaxDegree + 1]float64
	for i := range f.Degree + 1 {
		for j := range f.Degree + 1 {
			p[i] += f.inverse[i][j] * g[j]
		}
	}
	for i, ti := range times {
		x := (ti - f.Centre) / f.Scale
		w[i] = p[0] + x*(p[1]+x*(p[2]+x*(p[3]+x*p[4])))
	}
}

// Values writes the fitted polynomial at the given moments to out.
func (f *Fit) Values(t, out []float64) {
	c, inv := &f.Coefficients, 1/f.Scale
	for i, ti := range t {
		x := (ti - f.Centre) * inv
		out[i] = c[0] + x*(c[1]+x*(c[2]+x*(c[3]+x*c[4])))
	}
}

// Residuals writes y minus the fitted polynomial to out, which may be y itself.
func (f *Fit) Residuals(t, y, out []float64) {
	c, inv := f.Coefficients, 1/f.Scale
	y, out = y[:len(t)], out[:len(t)]
	for i, ti := range t {
		x := (ti - f.Centre) * inv
		out[i] = y[i] - (c[0] + x*(c[1]+x*(c[2]+x*(c[3]+x*c[4]))))
	}
}

// Freedom returns the residual degrees of freedom.
func (f *Fit) Freedom() int { return f.Count - f.Degree - 1 }

// gradient returns the derivative of the given order of each power of x with
// respect to t, at time t.
func (f *Fit) gradient(order int, t float64) (g [MaxDegree + 1]float64) {
	x := (t - f.Centre) / f.Scale
	power := 1.0
	for range order {
		power /= f.Scale
	}
	for k := order; k <= f.Degree; k++ {
		factor := power
		for j := range order {
			factor *= float64(k - j)
		}
		g[k] = factor
		power *= x
	}
	return g
}

// Resolution returns the effective resolution of a local fit as a part of the
// half-width of its window: the full width at half height of the response to a
// brief burst of acceleration, for a window that is evenly filled.
//
// The slope of a cubic through speed answers with (15/32)(1−x²)(3−7x²), the
// second derivative of a quartic through angle with (105/64)(1−x²)²(1−3x²), x
// being the distance from the centre over the half-width: both follow from the
// Legendre expansion of the fit. The widths are the roots at half height.
func Resolution(degree int) float64 {
	if degree == 4 {
		return 0.6891499
	}
	return 2 * math.Sqrt((10-math.Sqrt(58))/14)
}
