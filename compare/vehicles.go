package compare

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/scatter"
)

// VehicleGain is the gain of one part on one vehicle, ln, with its standard error.
type VehicleGain struct{ Gain, SE float64 }

// AcrossVehicles is what one part does on several vehicles. Gains are ln. With one
// vehicle there is a mean and nothing else; NaN stands for what cannot be had.
type AcrossVehicles struct {
	Vehicles   int
	Confidence float64

	// Mean is that of the vehicles' true gains, each vehicle weighted by what is known
	// of it. Its interval is Student's t on DF degrees of freedom, one less than there
	// are vehicles.
	Mean, SE, DF float64
	Lo, Hi       float64
	AtLeast      float64 // one-sided lower bound
	// NarrowSE is the standard error without the rule that it be no smaller than the
	// vehicles' own errors make it.
	NarrowSE float64

	// Tau is the SD of the true gains from vehicle to vehicle, ln; 0 where the gains
	// differ no more than their own errors would have them.
	Tau float64
	// Q is Cochran's statistic of heterogeneity, P its p value, and I2 the share of the
	// scatter of gains that is the vehicles' and not their errors'.
	Q, P, I2 float64

	// Predicted says that there is an interval for the gain of the next vehicle; it
	// takes three.
	Predicted                  bool
	PredictionLo, PredictionHi float64
}

// The bounds of vehicles, and of the draws behind a prediction interval.
const (
	maxVehicles          = 1000
	predictionDraws      = 10_000
	leastForTheNext      = 3
	purposeNext     byte = 'v'
)

// Across puts the gains of one part on several vehicles together.
//
// The gains are taken for a random sample of those of all vehicles that the part is
// for: the SD between vehicles by restricted maximum likelihood, the mean with the
// standard error of Hartung and Knapp, no smaller than the errors of the gains make
// it: without that rule a few gains that happen to agree would give an interval of
// almost nothing.
//
// The prediction interval says where the gain of one more vehicle is to be expected.
// It counts how little few vehicles say of their scatter: it is drawn over the
// confidence distribution of the SD between vehicles, the draws seeded from the gains.
// Its measured coverage stands in docs/method.md, section 11.
//
// Two vehicles have a mean with one degree of freedom and no prediction, one vehicle
// has neither: that is not an error.
//
// Sources: [Viechtbauer2005] for the likelihood; [HartungKnapp2001], [KnappHartung2003]
// for the standard error; [Nagashima2019] for the prediction interval; from memory,
// held against R's package metafor.
func Across(gains []VehicleGain, confidence float64) (AcrossVehicles, error) {
	if err := checkVehicles(gains, confidence); err != nil {
		return AcrossVehicles{}, err
	}
	nan := math.NaN()
	k := len(gains)
	gains = inOrderOfSize(gains)
	a := AcrossVehicles{
		Vehicles: k, Confidence: confidence, Mean: gains[0].Gain, DF: float64(k - 1),
		SE: nan, NarrowSE: nan, Lo: nan, Hi: nan, AtLeast: nan, Tau: nan, Q: nan, P: nan, I2: nan,
		PredictionLo: nan, PredictionHi: nan,
	}
	if k == 1 {
		return a, nil
	}
	tau2 := betweenVehicles(gains)
	pooled := pool(gains, tau2)
	a.Tau, a.Mean = math.Sqrt(tau2), pooled.mean
	a.NarrowSE = pooled.se * math.Sqrt(pooled.q/a.DF)
	a.SE = pooled.se * math.Sqrt(max(1, pooled.q/a.DF))
	b := newQuantiles(confidence).bounds(a.Mean, a.SE*a.SE, a.DF)
	a.Lo, a.Hi, a.AtLeast = b.lo, b.hi, b.atLeast
	a.Q = pool(gains, 0).q
	a.P = distuv.ChiSquared{K: a.DF}.Survival(a.Q)
	if tau2 > 0 {
		a.I2 = tau2 / (tau2 + typicalVariance(gains))
	} else {
		a.I2 = 0
	}
	if k >= leastForTheNext {
		a.Predicted = true
		a.PredictionLo, a.PredictionHi = prediction(gains, confidence)
	}
	return a, nil
}

func checkVehicles(gains []VehicleGain, confidence float64) error {
	switch {
	case !(confidence > 0 && confidence < 1):
		return fmt.Errorf("confidence is %v, it must lie between 0 and 1", confidence)
	case len(gains) == 0:
		return errors.New("no vehicle")
	case len(gains) > maxVehicles:
		return fmt.Errorf("%d vehicles, at most %d", len(gains), maxVehicles)
	}
	for i, g := range gains {
		if err := finite(fmt.Sprintf("the gain of vehicle %d", i+1), g.Gain); err != nil {
			return err
		}
		if !(g.SE > 0) || math.IsInf(g.SE, 0) || !(math.Abs(g.Gain) < 10 && g.SE > 1e-9 && g.SE < 10) {
			return fmt.Errorf("vehicle %d has a gain of %v with a standard error of %v", i+1, g.Gain, g.SE)
		}
	}
	return nil
}

// pooled is a weighted mean at one variance between vehicles: weights 1/(V + τ²), the
// standard error that they would give if τ² were known, and the weighted squares.
type pooled struct{ mean, se, q float64 }

func pool(gains []VehicleGain, tau2 float64) pooled {
	var sum, mean, q float64
	for _, g := range gains {
		w := 1 / (g.SE*g.SE + tau2)
		sum += w
		mean += w * g.Gain
	}
	mean /= sum
	for _, g := range gains {
		q += square(g.Gain-mean) / (g.SE*g.SE + tau2)
	}
	return pooled{mean, 1 / math.Sqrt(sum), q}
}

// typicalVariance is the variance of a gain's own error that stands for all of them in
// the share I².
func typicalVariance(gains []VehicleGain) float64 {
	var s1, s2 float64
	for _, g := range gains {
		w := 1 / (g.SE * g.SE)
		s1, s2 = s1+w, s2+w*w
	}
	return float64(len(gains)-1) * s1 / (s1*s1 - s2)
}

// The search for the variance between vehicles: places tried from this share of the
// gains' own variance up to this multiple of all their scatter, and the end of it.
const (
	searchPlaces    = 80
	searchFrom      = 1e-4
	searchTo        = 100.0
	searchSteps     = 200
	searchTolerance = 1e-10
)

// betweenVehicles returns the variance between vehicles at which the restricted
// likelihood is highest. It can have more than one top, so the range is looked through
// first; the place is then found where the score changes its sign.
func betweenVehicles(gains []VehicleGain) float64 {
	own := math.Inf(1)
	values := make([]float64, len(gains))
	for i, g := range gains {
		values[i] = g.Gain
		own = min(own, g.SE*g.SE)
	}
	_, found := scatter.MeanVariance(values)
	places := make([]float64, searchPlaces)
	ratio := math.Log(searchTo * (own + found) / (searchFrom * own))
	for i := range places[1:] {
		places[i+1] = searchFrom * own * math.Exp(ratio*float64(i)/(searchPlaces-2))
	}
	best, top := 0, math.Inf(-1)
	for i, tau2 := range places {
		if v := restrictedLikelihood(gains, tau2); v > top {
			best, top = i, v
		}
	}
	low, high := places[max(0, best-1)], places[min(best+1, searchPlaces-1)]
	if best == 0 && !(score(gains, 0) > 0) {
		return 0
	}
	for range searchSteps {
		middle := (low + high) / 2
		if score(gains, middle) > 0 {
			low = middle
		} else {
			high = middle
		}
		if high-low <= searchTolerance*high {
			break
		}
	}
	return (low + high) / 2
}

// restrictedLikelihood is the logarithm of the restricted likelihood, up to a constant.
func restrictedLikelihood(gains []VehicleGain, tau2 float64) float64 {
	p := pool(gains, tau2)
	sum := -p.q/2 + math.Log(p.se)
	for _, g := range gains {
		sum -= math.Log(g.SE*g.SE+tau2) / 2
	}
	return sum
}

// score is the slope of the restricted likelihood.
func score(gains []VehicleGain, tau2 float64) float64 {
	mu := pool(gains, tau2).mean
	var s1, s2, squares float64
	for _, g := range gains {
		w := 1 / (g.SE*g.SE + tau2)
		s1, s2 = s1+w, s2+w*w
		squares += w * w * square(g.Gain-mu)
	}
	return (squares - s1 + s2/s1) / 2
}

// prediction returns the interval for the true gain of one more vehicle: quantiles of
// mean + z·τ − t·se, where τ² is drawn from its confidence distribution, the one that
// gives Q(τ²) the distribution of χ²(k − 1), and mean and se follow from it.
func prediction(gains []VehicleGain, confidence float64) (lo, hi float64) {
	df := float64(len(gains) - 1)
	chance := newSource(digestOfGains(gains, confidence), purposeNext, 0)
	draws := make([]float64, predictionDraws)
	for i := range draws {
		tau2 := tauOfQ(gains, chance.chiSquare(df))
		p := pool(gains, tau2)
		t := chance.normal() / math.Sqrt(chance.chiSquare(df)/df)
		draws[i] = p.mean + chance.normal()*math.Sqrt(tau2) - t*p.se*math.Sqrt(p.q/df)
	}
	lo = quantileOf(draws, (1-confidence)/2)
	return lo, quantileOf(draws, (1+confidence)/2)
}

// tauOfQ returns the variance between vehicles at which the heterogeneity is q; 0 where
// it is smaller without any. The heterogeneity Q falls as the variance grows, and 1/Q is
// nearly straight: Newton's steps on it, kept between what is known to be too small and
// too large.
func tauOfQ(gains []VehicleGain, q float64) float64 {
	low, high, tau2 := 0.0, math.Inf(1), 0.0
	for range searchSteps {
		at := pool(gains, tau2)
		if tau2 == 0 && at.q <= q {
			return 0
		}
		if at.q > q {
			low = tau2
		} else {
			high = tau2
		}
		var falls float64
		for _, g := range gains {
			falls += square((g.Gain - at.mean) / (g.SE*g.SE + tau2))
		}
		next := tau2 + at.q/falls*(at.q/q-1)
		if !(next > low && next < high) {
			next = (low + min(high, 4*low+square(gains[0].SE))) / 2
		}
		if math.Abs(next-tau2) <= searchTolerance*next {
			return next
		}
		tau2 = next
	}
	return tau2
}

// inOrderOfSize sorts the gains, so that the order of the vehicles makes no difference,
// not even in the last bit.
func inOrderOfSize(gains []VehicleGain) []VehicleGain {
	sorted := slices.Clone(gains)
	slices.SortFunc(sorted, func(a, b VehicleGain) int {
		return cmp.Or(cmp.Compare(a.Gain, b.Gain), cmp.Compare(a.SE, b.SE))
	})
	return sorted
}

// digestOfGains is the seed of the draws.
func digestOfGains(gains []VehicleGain, confidence float64) [sha256.Size]byte {
	b := binary.BigEndian.AppendUint64(nil, math.Float64bits(confidence))
	for _, g := range gains {
		b = binary.BigEndian.AppendUint64(b, math.Float64bits(g.Gain))
		b = binary.BigEndian.AppendUint64(b, math.Float64bits(g.SE))
	}
	return sha256.Sum256(b)
}
