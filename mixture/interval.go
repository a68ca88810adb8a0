package mixture

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ErrConfidence says that a confidence is none.
var ErrConfidence = errors.New("a confidence lies between 0.5 and 1, ends left out")

func checkConfidence(c float64) error {
	if !(c > 0.5 && c < 1) {
		return fmt.Errorf("%w: %g", ErrConfidence, c)
	}
	return nil
}

// Common is what all readings of a sensor share, so that no number of visits averages it
// away. Both are standard uncertainties and may be 0 where nothing is stated.
type Common struct {
	Sensor float64 // of lambda itself: the sensor's calibration
	Delay  float64 // s, of the delay that was taken out
}

// variance is what it adds to a mean with a mean change of lambda, 1/s.
func (c Common) variance(slope float64) float64 {
	return c.Sensor*c.Sensor + slope*slope*c.Delay*c.Delay
}

// mean is a mean of visits with its scatter.
type mean struct {
	n              int
	value, sd      float64 // sd is NaN with fewer than two
	seconds, slope float64
}

func meanOf(values, seconds, slopes []float64) mean {
	m := mean{n: len(values), sd: math.NaN()}
	for i, v := range values {
		m.value += v / float64(m.n)
		m.slope += slopes[i] / float64(m.n)
		m.seconds += seconds[i]
	}
	if m.n > 1 {
		ss := 0.0
		for _, v := range values {
			ss += (v - m.value) * (v - m.value)
		}
		m.sd = math.Sqrt(ss / float64(m.n-1))
	}
	return m
}

// interval returns the ends of the interval about the mean: Student's t on the scatter
// of visits with their degrees of freedom, the common part added as a variance of
// infinitely many (Welch–Satterthwaite, [GUM] G.4). The quantile is that of a two-sided
// interval at the confidence. NaN without scatter.
func (m mean) interval(c Common, confidence float64) (lo, hi float64) {
	if m.n < 2 {
		return math.NaN(), math.NaN()
	}
	own := m.sd * m.sd / float64(m.n)
	total := own + c.variance(m.slope)
	half := quantile(satterthwaite(total, own, float64(m.n-1)), confidence) * math.Sqrt(total)
	return m.value - half, m.value + half
}

// satterthwaite returns the degrees of freedom of a total variance of which own has
// that many and the rest infinitely many.
func satterthwaite(total, own, freedom float64) float64 {
	if !(own > 0) {
		return math.Inf(1)
	}
	return freedom * (total / own) * (total / own)
}

// quantile is what a two-sided interval at the confidence reaches to in standard errors.
func quantile(freedom, confidence float64) float64 {
	p := (1 + confidence) / 2
	if freedom > 1e6 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(p)
}
