package scatter

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// Laboratories is the analysis of ISO 5725-2: repeated values of one thing by several
// laboratories. Setups, days or dynos stand for the laboratories here, pulls for the
// values. It flags and never drops: what is flagged stays in every figure.
type Laboratories struct {
	Count, Values int
	Mean          float64 // of the means of the laboratories

	Repeatability   float64 // s_r: SD within a laboratory
	RepeatabilityDF float64
	Between         float64 // s_L: SD between laboratories, free of s_r; 0 where cut
	Reproducibility float64 // s_R: SD of one value in another laboratory
	// RepeatabilityLimit and ReproducibilityLimit are 2.8 times the SDs: two values
	// differ by more than that one time in twenty (ISO 5725-6, 4.1).
	RepeatabilityLimit, ReproducibilityLimit float64

	// H and K are Mandel's consistency statistics of each laboratory: how far its mean
	// is from the others' in SDs of the means, and its SD over s_r. K is NaN for a
	// laboratory with one value.
	H, K []float64

	// Flags are the tests that found a straggler (5 %) or an outlier (1 %).
	Flags []Flag
}

// Test names what found a flag.
type Test string

// The tests of ISO 5725-2.
const (
	CochranTest      Test = "Cochran"        // the largest spread within
	GrubbsTest       Test = "Grubbs"         // the highest or the lowest mean
	GrubbsDoubleTest Test = "Grubbs, double" // the two highest or the two lowest means
	MandelH          Test = "Mandel h"
	MandelK          Test = "Mandel k"
)

// Flag is one laboratory, or two, that stand out.
type Flag struct {
	Test         Test
	Laboratories []int // by their place in the input
	Statistic    float64
	Limit5       float64 // at 5 %
	Limit1       float64 // at 1 %
	Outlier      bool    // beyond the 1 % limit; else a straggler, beyond the 5 % limit
}

// The bounds of a study.
const (
	minLaboratories = 3
	maxLaboratories = 1000
)

// limitFactor is 1.96·√2 as ISO 5725-6 rounds it.
const limitFactor = 2.8

// CompareLaboratories compares them by ISO 5725-2: values[i] are those of laboratory i, in one unit.
//
// It takes at least three laboratories, and two values in at least one of them;
// Cochran's test and Mandel's k, which are for equal numbers, use the number of values
// that most laboratories have. s_R follows 7.4 of the standard for unequal numbers.
// The two-laboratory Grubbs test is asked only where the single one found nothing, as
// 7.3.4 of the standard has it.
func CompareLaboratories(values [][]float64) (*Laboratories, error) {
	if len(values) < minLaboratories || len(values) > maxLaboratories {
		return nil, fmt.Errorf("%d laboratories: the comparison takes from %d to %d", len(values), minLaboratories, maxLaboratories)
	}
	between, within, err := OneWay(values)
	if err != nil {
		return nil, err
	}
	if within.SS == 0 {
		return nil, errors.New("no value differs from another of its laboratory: there is no repeatability to compare with")
	}
	l := &Laboratories{Count: len(values), RepeatabilityDF: within.DF}
	var means, squares float64
	cells := make([]float64, len(values))
	for i, v := range values {
		cells[i] = Mean(v)
		l.Values += len(v)
		squares += float64(len(v) * len(v))
	}
	n := float64(l.Values)
	size := (n - squares/n) / between.DF
	component := max(0, (between.Value()-within.Value())/size)
	l.Repeatability, l.Between = math.Sqrt(within.Value()), math.Sqrt(component)
	l.Reproducibility = math.Sqrt(within.Value() + component)
	l.RepeatabilityLimit, l.ReproducibilityLimit = limitFactor*l.Repeatability, limitFactor*l.Reproducibility
	l.Mean, means = MeanVariance(cells)
	spread := math.Sqrt(means)
	for i, v := range values {
		_, variance := MeanVariance(v)
		l.K = append(l.K, math.Sqrt(variance)/l.Repeatability)
		l.H = append(l.H, (cells[i]-l.Mean)/spread)
	}
	if spread == 0 {
		clear(l.H)
	}
	return l, l.flag(values, cells)
}

// flag asks the tests.
func (l *Laboratories) flag(values [][]float64, cells []float64) error {
	usual := usualNumber(values)
	if usual > 1 {
		var variances []float64
		var at []int
		for i, v := range values {
			if _, variance := MeanVariance(v); len(v) > 1 {
				variances, at = append(variances, variance), append(at, i)
			}
		}
		p := len(variances)
		if c, worst := largestShare(variances); p > 1 {
			l.add(CochranTest, []int{at[worst]}, c, func(level float64) float64 { return CochranLimit(p, usual, level) })
		}
		for i, k := range l.K {
			if !math.IsNaN(k) && p > 1 {
				l.add(MandelK, []int{i}, k, func(level float64) float64 { return MandelKLimit(p, usual, level) })
			}
		}
	}
	for i, h := range l.H {
		l.add(MandelH, []int{i}, math.Abs(h), func(level float64) float64 { return MandelHLimit(l.Count, level) })
	}
	order := make([]int, len(cells))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmpFloat(cells[a], cells[b]) })
	low, high := order[0], order[len(order)-1]
	found := false
	for _, i := range []int{low, high} {
		found = l.add(GrubbsTest, []int{i}, math.Abs(l.H[i]), func(level float64) float64 { return GrubbsLimit(l.Count, level) }) || found
	}
	if found || l.Count < minGrubbsDouble || l.Count > maxGrubbsDouble {
		return nil
	}
	for _, pair := range [][]int{order[:2], order[len(order)-2:]} {
		l.addBelow(GrubbsDoubleTest, pair, withoutPair(cells, pair), func(level float64) float64 { return GrubbsDoubleLimit(l.Count, level) })
	}
	return nil
}

func cmpFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// add keeps a flag where the statistic exceeds its 5 % limit.
func (l *Laboratories) add(test Test, at []int, statistic float64, limit func(level float64) float64) bool {
	f := Flag{Test: test, Laboratories: at, Statistic: statistic, Limit5: limit(0.05), Limit1: limit(0.01)}
	f.Outlier = statistic > f.Limit1
	if statistic > f.Limit5 {
		l.Flags = append(l.Flags, f)
		return true
	}
	return false
}

// addBelow keeps a flag where the statistic is below its 5 % limit.
func (l *Laboratories) addBelow(test Test, at []int, statistic float64, limit func(level float64) float64) {
	f := Flag{Test: test, Laboratories: slices.Clone(at), Statistic: statistic, Limit5: limit(0.05), Limit1: limit(0.01)}
	f.Outlier = statistic < f.Limit1
	if statistic < f.Limit5 {
		l.Flags = append(l.Flags, f)
	}
}

// usualNumber is the number of values that most laboratories have, the larger of two.
func usualNumber(values [][]float64) int {
	count := map[int]int{}
	usual := 0
	for _, v := range values {
		n := len(v)
		count[n]++
		if count[n] > count[usual] || count[n] == count[usual] && n > usual {
			usual = n
		}
	}
	return usual
}

// largestShare returns the largest of the values over their sum, and where it is.
func largestShare(values []float64) (share float64, at int) {
	var sum float64
	for i, v := range values {
		sum += v
		if v > values[at] {
			at = i
		}
	}
	return values[at] / sum, at
}

// withoutPair returns the squares about the mean of all values but two over those of
// all.
func withoutPair(values []float64, pair []int) float64 {
	var rest []float64
	for i, v := range values {
		if !slices.Contains(pair, i) {
			rest = append(rest, v)
		}
	}
	all := SquaresAbout(values, Mean(values))
	if all == 0 {
		return 1
	}
	return SquaresAbout(rest, Mean(rest)) / all
}

// CochranLimit returns what Cochran's statistic, the largest of p variances of n values
// over their sum, exceeds with the chance level while all are alike: the closed form
// from the F distribution, within 0.001 of the table of ISO 5725-2.
func CochranLimit(p, n int, level float64) float64 {
	f := distuv.F{D1: float64(n - 1), D2: float64((p - 1) * (n - 1))}.Quantile(1 - level/float64(p))
	return 1 / (1 + float64(p-1)/f)
}

// GrubbsLimit returns what the largest distance of one of p means from their mean, in
// their SDs, exceeds with the chance level, two-sided ([Grubbs1969]).
func GrubbsLimit(p int, level float64) float64 {
	return distance(p, level/float64(2*p))
}

// MandelHLimit returns what the distance of a given one of p means from their mean, in
// their SDs, exceeds with the chance level, two-sided.
func MandelHLimit(p int, level float64) float64 { return distance(p, level/2) }

// distance is the upper limit at a one-sided chance of a mean's distance in SDs, by the
// t distribution of the mean taken out.
func distance(p int, chance float64) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(p - 2)}.Quantile(1 - chance)
	n := float64(p)
	return (n - 1) * t / math.Sqrt(n*(t*t+n-2))
}

// MandelKLimit returns what the SD of a given one of p laboratories with n values, over
// the SD of all, exceeds with the chance level.
func MandelKLimit(p, n int, level float64) float64 {
	f := distuv.F{D1: float64(n - 1), D2: float64((p - 1) * (n - 1))}.Quantile(1 - level)
	return math.Sqrt(float64(p) / (1 + float64(p-1)/f))
}

// The numbers of laboratories that the double test is asked for.
const (
	minGrubbsDouble = 4
	maxGrubbsDouble = 100
)

// doubleDraws is how many studies the limits of the double test rest on.
const doubleDraws = 200_000

var doubles struct {
	sync.Mutex
	sorted map[int][]float64
}

// GrubbsDoubleLimit returns what the share of the squares about the mean that is left
// without the two highest of p means (or without the two lowest) falls below with the
// chance level/2 on either side: so the standard's table is. There is no closed form:
// it is the quantile of 200,000 drawn studies, always the same ones, within a few
// per cent of the tables of [GrubbsBeck1972].
// It holds for 4 ≤ p ≤ 100; elsewhere it is 0, which nothing falls below.
func GrubbsDoubleLimit(p int, level float64) float64 {
	if p < minGrubbsDouble || p > maxGrubbsDouble {
		return 0
	}
	doubles.Lock()
	defer doubles.Unlock()
	if doubles.sorted == nil {
		doubles.sorted = map[int][]float64{}
	}
	if doubles.sorted[p] == nil {
		rng := rand.New(rand.NewPCG(5725, uint64(p)))
		draws, values := make([]float64, doubleDraws), make([]float64, p)
		pair := []int{p - 2, p - 1}
		for i := range draws {
			for k := range values {
				values[k] = rng.NormFloat64()
			}
			slices.Sort(values)
			draws[i] = withoutPair(values, pair)
		}
		slices.Sort(draws)
		doubles.sorted[p] = draws
	}
	return doubles.sorted[p][int(level/2*doubleDraws)]
}
