package signal

import "math"

// Rules of the mean of values that hang together.
const (
	MinimumForMean = 12 // values: two in each batch
	meanBatches    = 6
	meanOrder      = 8 // highest order of the autoregression
	meanPerOrder   = 8 // values for each coefficient, at least
)

// Mean is the mean of a series of evenly spaced values with a standard error that
// knows that neighbours hang together.
type Mean struct {
	Value         float64
	StandardError float64 // NaN with fewer than MinimumForMean values
	DF            float64 // degrees of freedom of StandardError, 1 or more
	Effective     float64 // how many independent values would say as much
	Order         int     // of the autoregression; meaningless with Batches
	Batches       bool    // the batch means gave the wider limits, and count
}

// MeanOf returns the mean of x, evenly spaced in time, with its standard error.
//
// An autoregression is fitted by Burg's recursion, its order (0 to 8) chosen by the
// corrected criterion of Akaike; the long-run variance is that of its innovations
// over the square of one minus the sum of its coefficients. Taking off the mean of
// the same values makes that sum too small by about (1 + 3·sum)/n, which is put
// back. The number of independent values that say as much, less one, is the
// degrees of freedom. A series that no short autoregression describes is caught by
// the means of six batches: of both, the one with the wider limits counts.
//
// Sources: Burg's recursion and the corrected criterion as in Percival and Walden
// (1993), sections 9.5 and 9.9; the bias of a first-order coefficient, Marriott and
// Pope (1954); the effective number of values, Bayley and Hammersley (1946); batch
// means, Conway (1963). All from memory. Measured coverage stands in docs/steady.md.
func MeanOf(x []float64) Mean {
	n := len(x)
	m := Mean{Value: meanOfAll(x), StandardError: math.NaN(), DF: math.NaN(), Effective: math.NaN()}
	if n < MinimumForMean {
		return m
	}
	order, sum, innovation, variance := autoregression(x, m.Value)
	count := float64(n)
	if order > 0 {
		sum = math.Min(sum+(1+3*sum)/count, 1-2/count)
	}
	longRun := innovation / ((1 - sum) * (1 - sum))
	m.Order, m.StandardError, m.Effective = order, math.Sqrt(longRun/count), count
	if longRun > 0 {
		m.Effective = math.Min(count*(variance+longRun/count)/longRun, count)
	}
	m.DF = math.Max(m.Effective-1, 1)
	if se, df := batchError(x, meanBatches); se*studentFactor(df) > m.StandardError*studentFactor(m.DF) {
		m.StandardError, m.DF, m.Batches = se, df, true
		m.Effective = math.Min(m.Effective, count*variance/(se*se*count))
	}
	return m
}

func meanOfAll(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// autoregression fits the series about its mean and returns the order chosen, the
// sum of the coefficients, the variance of the innovations, free of what the fit
// took, and that of the values.
func autoregression(x []float64, mean float64) (order int, sum, innovation, variance float64) {
	n := len(x)
	count := float64(n)
	forward, backward := make([]float64, n), make([]float64, n)
	for i, v := range x {
		d := v - mean
		forward[i], backward[i] = d, d
		variance += d * d / count
	}
	var a, next [meanOrder]float64
	left := variance
	innovation = variance * count / (count - 1)
	if !(variance > 0) {
		return 0, 0, 0, variance
	}
	best := math.Log(left) + 2/(count-2)
	for p := 1; p <= min(meanOrder, n/meanPerOrder); p++ {
		var top, bottom float64
		for i := p; i < n; i++ {
			top += forward[i] * backward[i-1]
			bottom += forward[i]*forward[i] + backward[i-1]*backward[i-1]
		}
		if !(bottom > 0) {
			break
		}
		k := 2 * top / bottom
		for j := range p - 1 {
			next[j] = a[j] - k*a[p-2-j]
		}
		next[p-1] = k
		a = next
		for i := n - 1; i >= p; i-- {
			f, b := forward[i], backward[i-1]
			forward[i], backward[i] = f-k*b, b-k*f
		}
		left *= 1 - k*k
		if !(left > 0) {
			break
		}
		parameters := float64(p + 1)
		if score := math.Log(left) + 2*parameters/(count-parameters-1); score < best {
			best, order, innovation = score, p, left*count/(count-parameters)
			sum = 0
			for _, c := range a[:p] {
				sum += c
			}
		}
	}
	return order, sum, innovation, variance
}

// batchError returns the standard error of the mean from the means of batches of
// equal length, and its degrees of freedom. The first few values are left out where
// they do not fill the batches.
func batchError(x []float64, batches int) (se, df float64) {
	length := len(x) / batches
	x = x[len(x)-length*batches:]
	mean := meanOfAll(x)
	for b := range batches {
		d := meanOfAll(x[b*length:(b+1)*length]) - mean
		se += d * d
	}
	df = float64(batches - 1)
	return math.Sqrt(se / df / float64(batches)), df
}

// studentFactor is the 97.5 % quantile of Student's t to 4 %, for telling wider
// limits from narrower ones: the expansion of Abramowitz and Stegun, 26.7.5, which
// is that near from 5 degrees of freedom on; below, the exact values
// are joined by straight lines of its logarithm over 1/df.
func studentFactor(df float64) float64 {
	if df < 5 {
		exact := [...]float64{12.706, 4.303, 3.182, 2.776, 2.571}
		i := int(math.Min(math.Max(df, 1), 4.999)) - 1
		low, high := float64(i+1), float64(i+2)
		part := (1/low - 1/math.Max(df, 1)) / (1/low - 1/high)
		return math.Exp(math.Log(exact[i]) + part*math.Log(exact[i+1]/exact[i]))
	}
	const z = 1.959964
	return z + (z*z*z+z)/(4*df) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*df*df)
}
