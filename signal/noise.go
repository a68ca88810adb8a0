package signal

import "math"

// maxLag bounds the lags of an estimated autocorrelation, in samples.
const maxLag = 40

// harmonics is how many harmonics of the rounding error are followed; the rest,
// 7 % of its variance, is taken as independent from sample to sample.
const harmonics = 8

// Noise describes the errors of a channel beyond their size: how they hang
// together from one sample to the next. The zero value is white noise.
type Noise struct {
	// Quantum is the step in which the channel was recorded; 0: none was seen.
	Quantum float64
	// Correlation holds the autocorrelation at lags 1, 2, … of the samples;
	// empty: the errors of neighbouring samples are independent.
	Correlation []float64
}

// White reports whether errors of variance s2 may be taken as independent.
func (n Noise) White(s2 float64) bool {
	return len(n.Correlation) == 0 && !n.coarse(s2)
}

// coarse reports whether rounding to the quantum makes up so much of the
// variance that the errors follow the course of the signal. With other noise of
// more than 0.3 quantum, the first harmonic of the rounding error is damped to
// under 3 % and the sum is white (dither).
func (n Noise) coarse(s2 float64) bool {
	return s2 < (0.09+1.0/12)*n.Quantum*n.Quantum
}

// Inflation returns the factor by which correlation raises the variance of a
// mean over many samples: 1 for white noise.
func (n Noise) Inflation() float64 {
	sum := 1.0
	for _, r := range n.Correlation {
		sum += 2 * r
	}
	return math.Max(sum, 0.05)
}

// Variance returns the variance of Σ w[i]·y[i], where the errors of y have
// variance s2 each and hang together as n says. fitted is the course that y
// follows, as long as w; it matters only for a coarsely rounded channel.
//
// A rounded channel makes an error that is a sawtooth of the fitted course. The
// phase of that sawtooth is taken as uniform, which is what it is over repeated
// pulls; its k-th harmonic then has variance q²/(2π²k²), and other noise of
// standard deviation σ damps that by exp(−4π²k²σ²/q²). (Fourier series of the
// rounding error of a dithered quantiser; both are closed forms.)
func (n Noise) Variance(w, fitted []float64, s2 float64) float64 {
	if n.coarse(s2) {
		return n.roundedVariance(w, fitted, s2)
	}
	plain := 0.0
	for _, wi := range w {
		plain += wi * wi
	}
	sum := plain
	for k, r := range n.Correlation {
		if k+1 >= len(w) {
			break
		}
		lagged := 0.0
		for i, wi := range w[k+1:] {
			lagged += wi * w[i]
		}
		sum += 2 * r * lagged
	}
	return s2 * math.Max(sum, 0.05*plain)
}

// roundedVariance is Variance for a coarsely rounded channel.
func (n Noise) roundedVariance(w, fitted []float64, s2 float64) float64 {
	q := n.Quantum
	s2 = math.Max(s2, q*q/12)
	other := s2 - q*q/12
	var re, im [harmonics]float64
	plain := 0.0
	for i, wi := range w {
		plain += wi * wi
		turns := fitted[i] / q
		s, c := math.Sincos(2 * math.Pi * (turns - math.Floor(turns)))
		a, b := wi*c, wi*s
		for k := range harmonics {
			re[k] += a
			im[k] += b
			a, b = a*c-b*s, a*s+b*c
		}
	}
	sum, followed := 0.0, 0.0
	for k := range harmonics {
		order := float64(k + 1)
		damping := math.Exp(-4 * math.Pi * math.Pi * order * order * other / (q * q))
		part := q * q * damping / (2 * math.Pi * math.Pi * order * order)
		followed += part
		sum += part * (re[k]*re[k] + im[k]*im[k])
	}
	return sum + math.Max(s2-followed, 0)*plain
}

// Correlogram gathers residuals of fits over separate stretches of one channel
// and estimates how they hang together.
type Correlogram struct {
	stretches  [][]float64
	count      int
	parameters int
}

// Add takes the residuals of one stretch, in order of time, and the number of
// parameters that were fitted to it. It keeps the slice.
func (c *Correlogram) Add(residuals []float64, parameters int) {
	c.stretches = append(c.stretches, residuals)
	c.count += len(residuals)
	c.parameters += parameters
}

// Correlation returns the autocorrelation at lags 1, 2, … up to the first that
// is lost in its own uncertainty, or nil where neither of the first two lags
// differs from 0 by more than 3.5 standard errors (1/√n each).
//
// A fit takes its parameters' share out of the residuals, which pulls every lag
// towards minus that share; it is put back before the lags are judged.
func (c *Correlogram) Correlation() []float64 {
	if c.count < 60 || c.parameters*5 > c.count {
		return nil
	}
	var products, pairs [maxLag + 1]float64
	for k := range 3 {
		products[k], pairs[k] = c.lag(k)
	}
	if !(products[0] > 0) {
		return nil
	}
	threshold := 1 / math.Sqrt(float64(c.count))
	restored := func(k int, longRun float64) float64 {
		return (products[k] + float64(c.parameters)*longRun) / pairs[k]
	}
	variance := products[0] / float64(c.count-c.parameters)
	if math.Abs(restored(1, variance)) < 3.5*threshold*variance && math.Abs(restored(2, variance)) < 3.5*threshold*variance {
		return nil
	}
	last := maxLag
	for k := 3; k <= maxLag; k++ {
		products[k], pairs[k] = c.lag(k)
		if pairs[k] < float64(c.count)/2 {
			last = k - 1
			break
		}
	}
	rho := make([]float64, 0, last)
	longRun := variance
	for range 4 {
		rho = rho[:0]
		variance = restored(0, longRun)
		sum := variance
		for k := 1; k <= last; k++ {
			gamma := restored(k, longRun)
			if k > 2 && math.Abs(gamma) < 2*threshold*variance {
				break
			}
			rho = append(rho, gamma/variance)
			sum += 2 * gamma
		}
		longRun = math.Max(sum, 0)
	}
	return rho
}

// lag returns the sum of products of residuals k samples apart, and their number.
func (c *Correlogram) lag(k int) (sum, pairs float64) {
	for _, r := range c.stretches {
		if k >= len(r) {
			continue
		}
		ahead := r[k:]
		for i, v := range ahead {
			sum += v * r[i]
		}
		pairs += float64(len(ahead))
	}
	return sum, pairs
}

// Quantum returns the step in which the values y were recorded: the largest
// number of which all differences between neighbours are whole multiples, to
// 2 %. It looks at 400 pairs spread over y and returns 0 where there is no such
// step above 1e-7 of the largest value. NaN values are passed over.
func Quantum(y []float64) float64 {
	stride := max(1, len(y)/400)
	step, largest := 0.0, 0.0
	for i := 1; i < len(y); i += stride {
		d := math.Abs(y[i] - y[i-1])
		largest = math.Max(largest, math.Abs(y[i]))
		if !(d > 1e-7*largest) {
			continue
		}
		if step == 0 {
			step = d
		}
		for rest := math.Abs(d - math.Round(d/step)*step); rest > 0.02*step; rest = math.Abs(d - math.Round(d/step)*step) {
			step, d = rest, step
			if step < 1e-7*largest {
				return 0
			}
		}
	}
	return step
}
