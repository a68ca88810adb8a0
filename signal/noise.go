package signal

import "math"

// maxLag bounds the lags of an estimated autocorrelation, in samples.
const maxLag = 60

// harmonics is how many harmonics of the rounding error are followed; the rest,
// 2.5 % of its variance, is taken as independent from sample to sample.
const harmonics = 24

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
	if other < 0.1*q*q/12 {
		other = 0 // the estimate's own error, not other noise
	}
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

// Noise returns what the residuals show of a channel recorded in steps of quantum
// (0: fine). Where rounding to the steps rules, what hangs together follows from
// the course of the signal, not from the lag, and no correlation is given.
func (c *Correlogram) Noise(quantum float64) Noise {
	n := Noise{Quantum: quantum}
	if quantum > 0 {
		if products, pairs := c.lags(); pairs[0] > 0 && n.coarse(products[0]/pairs[0]) {
			return n
		}
	}
	n.Correlation = c.Correlation()
	return n
}

// order is that of the autoregression that carries an estimated correlation on.
const order = 3

// Correlation returns the autocorrelation at lags 1, 2, … down to 1 %, or nil
// where neither of the first two lags differs from 0 by more than 4.5 standard
// errors (1/√n each).
//
// An autoregression of order 3 is fitted to the first lags (Yule–Walker equations,
// Durbin's recursion) and carried on; single distant lags would be lost in their
// own uncertainty. A fit of p parameters takes p times the long-run variance out
// of the sum of products at every lag; it is put back, to consistency, up to three
// tenths of the sum: more could not be told from the course of the signal.
func (c *Correlogram) Correlation() []float64 {
	if c.count < 60 || c.parameters*5 > c.count {
		return nil
	}
	products, pairs := c.lags()
	var gamma [order + 1]float64
	if !(products[0] > 0) {
		return nil
	}
	restore := func(longRun float64) {
		for k := range gamma {
			gamma[k] = (products[k] + float64(c.parameters)*longRun) / pairs[k]
		}
	}
	longRun := products[0] / float64(c.count-c.parameters)
	restore(longRun)
	threshold := 4.5 / math.Sqrt(float64(c.count)) * gamma[0]
	if math.Abs(gamma[1]) < threshold && math.Abs(gamma[2]) < threshold {
		return nil
	}
	most := 0.3 * products[0] / float64(c.parameters)
	var coefficient [order]float64
	for range 20 {
		var innovation float64
		coefficient, innovation = durbin(&gamma)
		gain := 1.0
		for _, a := range coefficient {
			gain -= a
		}
		longRun = math.Min(innovation/(gain*gain), most)
		restore(longRun)
	}
	rho := make([]float64, 0, maxLag)
	for k := 1; k <= maxLag; k++ {
		next := 0.0
		if k <= order {
			next = gamma[k] / gamma[0]
		} else {
			for j, a := range coefficient {
				next += a * rho[k-2-j]
			}
		}
		if k > order && math.Abs(next) < 0.01 && math.Abs(rho[k-2]) < 0.01 {
			break
		}
		rho = append(rho, next)
	}
	return rho
}

// durbin returns the coefficients of the autoregression that has the first
// autocovariances gamma, and the variance of its innovations.
func durbin(gamma *[order + 1]float64) (a [order]float64, innovation float64) {
	innovation = gamma[0]
	for k := range order {
		r := gamma[k+1]
		for j := range k {
			r -= a[j] * gamma[k-j]
		}
		r /= innovation
		r = math.Max(-0.98, math.Min(0.98, r)) // a stationary series
		previous := a
		a[k] = r
		for j := range k {
			a[j] = previous[j] - r*previous[k-1-j]
		}
		innovation *= 1 - r*r
	}
	return a, innovation
}

// lags returns the sums of products of residuals 0 to order samples apart, and the
// numbers of products.
func (c *Correlogram) lags() (products, pairs [order + 1]float64) {
	for _, r := range c.stretches {
		for k := range min(len(r), order+1) {
			pairs[k] += float64(len(r) - k)
		}
		var s0, s1, s2, s3, before1, before2, before3 float64
		for _, v := range r {
			s0 += v * v
			s1 += v * before1
			s2 += v * before2
			s3 += v * before3
			before1, before2, before3 = v, before1, before2
		}
		products[0] += s0
		products[1] += s1
		products[2] += s2
		products[3] += s3
	}
	return products, pairs
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
		for { // Euclid's algorithm, with 2 % of a step as zero
			if !(step > 1e-7*largest) || math.IsInf(largest, 0) {
				return 0
			}
			rest := math.Abs(d - math.Round(d/step)*step)
			if rest <= 0.02*step {
				break
			}
			step, d = rest, step
		}
	}
	return step
}
