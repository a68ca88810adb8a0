package signal

import "math"

// Quantile returns the order statistic of rank round(p·(n−1)) of v, 0 ≤ p ≤ 1,
// without sorting: expected time is linear. It reorders v. NaN for an empty v;
// v must hold no NaN.
func Quantile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	k := int(math.Round(p * float64(len(v)-1)))
	lo, hi := 0, len(v)-1
	for lo < hi {
		pivot := middle(v[lo], v[(lo+hi)/2], v[hi])
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		if k <= j {
			hi = j
		} else if k >= i {
			lo = i
		} else {
			return v[k]
		}
	}
	return v[k]
}

// middle returns the median of three.
func middle(a, b, c float64) float64 {
	return math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
}
