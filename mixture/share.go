package mixture

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Range bounds the answer of torque to the mixture where no mixture loop was run.
type Range struct {
	Best      [2]float64 // lambda of greatest torque
	Curvature [2]float64 // c in torque = greatest·(1 − c·(λ − best)²)
	Source    string
}

// Published is what textbooks show for spark-ignition engines on petrol at full
// throttle: greatest torque between lambda 0.83 and 0.92, and 2 to 5 % less at lambda
// 1.0. The curvature follows from these for a best point in the middle. From memory.
var Published = Range{
	Best: [2]float64{0.83, 0.92}, Curvature: [2]float64{1.3, 3.2},
	Source: "Heywood, Internal Combustion Engine Fundamentals (1988), chapter 15, and Stone, Introduction to Internal Combustion Engines, chapter 4; from memory",
}

// ShareInput is what a share of the gain is found from, node by node.
type ShareInput struct {
	Sides  *Sides
	Weight []float64 // of each node of Sides, > 0: the baseline's torque there
	Sensor float64   // standard uncertainty of lambda that both sides share
}

// Share is how much of a gain of torque could come from the mixture: candidate over
// baseline minus one, as a fraction, if nothing but lambda differed.
type Share struct {
	Value  float64 // NaN for bounds, which have no middle
	Lo, Hi float64 // interval, or bounds
	Bounds bool    // from a published range: bounds, which no confidence belongs to
}

// ErrNoShare says that no share can be told.
var ErrNoShare = errors.New("the share of the mixture cannot be told")

const shareDraws = 10_000

// Share returns the share by the engine's own mixture loop, with its interval at the
// confidence of draws ([JCGM101]) of the parabola's coefficients, of the difference
// between the sides, with the degrees of freedom of each (Student's t), and of what the
// sensor reads wrongly on both. The draws start from a fixed seed.
func (s *Sensitivity) Share(in ShareInput, confidence float64) (Share, error) {
	if err := in.check(confidence); err != nil {
		return Share{}, err
	}
	root, ok := choleskyOf(s.covariance)
	if !ok {
		return Share{}, fmt.Errorf("%w: the loop's scatter is not known", ErrNoShare)
	}
	own := *s
	out := Share{Value: in.share(own.Relative, 0, 0)}
	rng := rand.New(rand.NewPCG(1, 2))
	draws := make([]float64, 0, shareDraws)
	for range shareDraws {
		scale := student(rng, s.freedom)
		var z [3]float64
		for j := range z {
			z[j] = rng.NormFloat64()
		}
		for j := range 3 {
			own.coefficients[j] = s.coefficients[j]
			for k := range j + 1 {
				own.coefficients[j] += scale * root[j][k] * z[k]
			}
		}
		apart := rng.NormFloat64() * student(rng, in.Sides.Mean.Freedom)
		if v := in.share(own.Relative, apart, in.Sensor*rng.NormFloat64()); !math.IsNaN(v) {
			draws = append(draws, v)
		}
	}
	if len(draws) < shareDraws*9/10 {
		return Share{}, fmt.Errorf("%w: the sides lie far outside the mixtures of the loop (%.3f to %.3f)", ErrNoShare, s.From, s.To)
	}
	slices.Sort(draws)
	tail := (1 - confidence) / 2 * float64(len(draws)-1)
	out.Lo, out.Hi = draws[int(tail)], draws[len(draws)-1-int(tail)]
	return out, nil
}

// Share returns the bounds of the share that the range allows: the least and the
// greatest over the range and over the interval of the difference between the sides.
func (r Range) Share(in ShareInput, confidence float64) (Share, error) {
	if err := in.check(confidence); err != nil {
		return Share{}, err
	}
	const steps = 18
	reach, sensor := quantile(in.Sides.Mean.Freedom, confidence), quantile(math.Inf(1), confidence)*in.Sensor
	out := Share{Value: math.NaN(), Lo: math.Inf(1), Hi: math.Inf(-1), Bounds: true}
	for i := range steps + 1 {
		best := r.Best[0] + float64(i)/steps*(r.Best[1]-r.Best[0])
		for _, c := range r.Curvature {
			relative := func(lambda float64) float64 { return 1 - c*(lambda-best)*(lambda-best) }
			for _, apart := range [3]float64{-reach, 0, reach} {
				for _, shift := range [3]float64{-sensor, 0, sensor} {
					v := in.share(relative, apart, shift)
					if math.IsNaN(v) {
						return Share{}, fmt.Errorf("%w: the sides lie far from any mixture for torque", ErrNoShare)
					}
					out.Lo, out.Hi = math.Min(out.Lo, v), math.Max(out.Hi, v)
				}
			}
		}
	}
	return out, nil
}

func (in ShareInput) check(confidence float64) error {
	if err := checkConfidence(confidence); err != nil {
		return err
	}
	if in.Sides == nil || len(in.Sides.Nodes) == 0 || len(in.Weight) != len(in.Sides.Nodes) {
		return fmt.Errorf("%w: no engine speeds", ErrNoShare)
	}
	if math.IsNaN(in.Sides.Mean.U) {
		return fmt.Errorf("%w: no block repeats a pull, so the difference of lambda has no interval", ErrNoShare)
	}
	for _, w := range in.Weight {
		if !(w >= 0) || math.IsInf(w, 0) {
			return fmt.Errorf("%w: a weight of %g", ErrNoShare, w)
		}
	}
	if !(in.Sensor >= 0 && in.Sensor < 1) {
		return fmt.Errorf("%w: a sensor's uncertainty of %g", ErrNoShare, in.Sensor)
	}
	return nil
}

// share is the weighted ratio of torque between the sides minus one, the difference of
// each node moved by apart standard uncertainties of the mean difference, half on
// either side, and both sides by shift. NaN where the answer gives no torque.
func (in ShareInput) share(relative func(float64) float64, apart, shift float64) float64 {
	var a, b float64
	half := apart * in.Sides.Mean.U / 2
	for i, n := range in.Sides.Nodes {
		ra, rb := relative(n.Baseline+shift-half), relative(n.Candidate+shift+half)
		if !(ra > 0.2) || !(rb > 0.2) {
			return math.NaN()
		}
		a += in.Weight[i]
		b += in.Weight[i] * rb / ra
	}
	return b/a - 1
}

// student returns a factor that makes a normal deviate one of Student's t.
func student(rng *rand.Rand, freedom float64) float64 {
	if math.IsInf(freedom, 1) || freedom > 1e4 {
		return 1
	}
	return math.Sqrt(freedom / distuv.ChiSquared{K: freedom, Src: rng}.Rand())
}

// choleskyOf returns the lower root of a covariance.
func choleskyOf(m [3][3]float64) (l [3][3]float64, ok bool) {
	for j := range 3 {
		for k := range j + 1 {
			sum := m[j][k]
			for i := range k {
				sum -= l[j][i] * l[k][i]
			}
			if j != k {
				if l[k][k] > 0 {
					l[j][k] = sum / l[k][k]
				}
				continue
			}
			if sum < -1e-12*m[j][j] || math.IsNaN(sum) {
				return l, false
			}
			l[j][j] = math.Sqrt(math.Max(sum, 0))
		}
	}
	return l, true
}
