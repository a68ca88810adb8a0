package mixture

import (
	"errors"
	"fmt"
	"math"
)

// LoopPoint is mean torque at one mixture while the engine holds its speed and load.
type LoopPoint struct {
	Start          float64 // s
	SpeedRPM, Load float64
	Lambda, Torque float64 // torque in any unit: only its ratio matters
}

// Sensitivity is how torque answers to the mixture at one engine speed and load: a
// parabola through a mixture loop.
type Sensitivity struct {
	SpeedRPM, Load float64
	Points         int
	From, To       float64 // lambda that the loop ran through
	// Best is lambda of greatest torque, with its interval.
	Best, BestLo, BestHi float64
	Within               bool // Best lies among the mixtures that were run
	// Curvature is c in torque = greatest·(1 − c·(λ − Best)²), with its interval.
	Curvature, CurvatureLo, CurvatureHi float64
	Confidence                          float64

	centre       float64
	coefficients [3]float64    // torque over (λ − centre), in units of the greatest torque
	covariance   [3][3]float64 // of them
	freedom      float64
}

// Errors of a mixture loop.
var (
	ErrShortLoop = errors.New("the mixture loop is too short")
	ErrNoPeak    = errors.New("the mixture loop shows no greatest torque")
)

// LeastLoop is the width in lambda and the number of points that a loop needs.
const (
	LeastLoopWidth  = 0.06
	LeastLoopPoints = 6
)

// FitLoop returns the sensitivity that a mixture loop shows: a least-squares parabola of
// torque over lambda. Points are in the order of time; where neighbouring residuals go
// together, by r, variances are widened by (1+r)/(1−r) and the degrees of freedom
// lessened alike ([Bartlett1946], from memory).
//
// The interval of the best-torque point is Fieller's, since it is a ratio of two
// coefficients; where the curvature is not told from zero it has no end, and the error
// is ErrNoPeak. That of the curvature is by the delta method: the greatest torque in its
// denominator is known far better than the curvature. Lambda is taken as known; what a
// sensor reads wrongly throughout moves Best by as much.
//
// Source: [Fieller1954].
func FitLoop(points []LoopPoint, confidence float64) (*Sensitivity, error) {
	if err := checkConfidence(confidence); err != nil {
		return nil, err
	}
	s := &Sensitivity{Points: len(points), From: math.Inf(1), To: math.Inf(-1), Confidence: confidence}
	for _, p := range points {
		if v := p.Lambda + p.Torque + p.SpeedRPM + p.Load; v-v != 0 || !(p.Torque > 0) {
			return nil, fmt.Errorf("%w: a point with lambda %g and torque %g", ErrShortLoop, p.Lambda, p.Torque)
		}
		s.From, s.To = math.Min(s.From, p.Lambda), math.Max(s.To, p.Lambda)
		s.centre += p.Lambda / float64(len(points))
		s.SpeedRPM += p.SpeedRPM / float64(len(points))
		s.Load += p.Load / float64(len(points))
	}
	if len(points) < LeastLoopPoints || s.To-s.From < LeastLoopWidth {
		return nil, fmt.Errorf("%w: %d points over %.3f of lambda; it needs %d over %.2f", ErrShortLoop, len(points), math.Max(0, s.To-s.From), LeastLoopPoints, LeastLoopWidth)
	}
	x, xx, y := make([]float64, len(points)), make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		x[i] = p.Lambda - s.centre
		xx[i], y[i] = x[i]*x[i], p.Torque
	}
	fit := regress([][]float64{x, xx}, y)
	if fit.inverse == nil {
		return nil, fmt.Errorf("%w: its mixtures do not determine a parabola", ErrShortLoop)
	}
	r := math.Min(math.Max(lagOne(fit.residuals), 0), 0.95)
	widen := (1 + r) / (1 - r)
	s.freedom = math.Max(1, float64(len(points))/widen-3)
	for j := range 3 {
		s.coefficients[j] = fit.coefficients[j]
		for k := range 3 {
			s.covariance[j][k] = fit.inverse[j][k] * fit.variance * widen
		}
	}
	return s, s.peak(confidence)
}

// peak finds the best-torque point and the curvature, and brings the parabola to units
// of the greatest torque.
func (s *Sensitivity) peak(confidence float64) error {
	q := quantile(s.freedom, confidence)
	b, v := s.coefficients, s.covariance
	// Fieller: all ρ with (b1 + 2ρ·b2)² ≤ q²·var(b1 + 2ρ·b2).
	a2 := 4 * (b[2]*b[2] - q*q*v[2][2])
	a1 := 4 * (b[1]*b[2] - q*q*v[1][2])
	a0 := b[1]*b[1] - q*q*v[1][1]
	root := a1*a1 - 4*a2*a0
	if !(b[2] < 0) || !(a2 > 0) || !(root >= 0) {
		return fmt.Errorf("%w: torque does not fall to both sides by more than it scatters; run a wider loop (%.3f to %.3f here)", ErrNoPeak, s.From, s.To)
	}
	root = math.Sqrt(root)
	s.Best = s.centre - b[1]/(2*b[2])
	s.BestLo, s.BestHi = s.centre+(-a1-root)/(2*a2), s.centre+(-a1+root)/(2*a2)
	s.Within = s.Best >= s.From && s.Best <= s.To
	greatest := b[0] - b[1]*b[1]/(4*b[2])
	if !(greatest > 0) {
		return ErrNoPeak
	}
	for j := range 3 {
		s.coefficients[j] /= greatest
		for k := range 3 {
			s.covariance[j][k] /= greatest * greatest
		}
	}
	s.Curvature = -s.coefficients[2]
	half := q * math.Sqrt(s.covariance[2][2])
	s.CurvatureLo, s.CurvatureHi = s.Curvature-half, s.Curvature+half
	return nil
}

// Relative returns torque at a mixture over the greatest torque, by the parabola.
func (s *Sensitivity) Relative(lambda float64) float64 {
	x := lambda - s.centre
	return s.coefficients[0] + x*(s.coefficients[1]+x*s.coefficients[2])
}
