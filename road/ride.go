package road

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Ride says where a rider spends time: seconds, or any other weight, by engine speed.
// Bin i lies between EdgesRPM[i] and EdgesRPM[i+1], in 1/min; within it the time is
// taken as spread evenly.
type Ride struct {
	EdgesRPM []float64
	Weight   []float64 // one less than edges
}

// mostBins bounds a histogram.
const mostBins = 2000

// Validate refuses a histogram that is none.
func (r Ride) Validate() error {
	if len(r.EdgesRPM) != len(r.Weight)+1 || len(r.Weight) == 0 || len(r.Weight) > mostBins {
		return fmt.Errorf("the histogram has %d edges and %d weights: one edge more than weights, at most %d", len(r.EdgesRPM), len(r.Weight), mostBins)
	}
	total := 0.0
	for i, w := range r.Weight {
		if !(r.EdgesRPM[i] >= 0 && r.EdgesRPM[i] < r.EdgesRPM[i+1] && r.EdgesRPM[i+1] <= 30_000) {
			return fmt.Errorf("the histogram's edges must increase: %g is followed by %g", r.EdgesRPM[i], r.EdgesRPM[i+1])
		}
		if !(w >= 0 && w <= 1e12) {
			return fmt.Errorf("the histogram's weight from %g 1/min on is %g: none is negative", r.EdgesRPM[i], w)
		}
		total += w
	}
	if total == 0 {
		return errors.New("the histogram is empty: no time is spent anywhere")
	}
	return nil
}

// longestGap is how many times longer than usual a step of a log may be before it is
// taken for a pause.
const longestGap = 10

// FromSeries returns the histogram of a log of engine speed: time in s, increasing,
// and engine speed in 1/min, of one length n ≥ 2, in bins of the given width. Between
// two samples the speed is their mean. Steps more than ten times as long as the median
// one are pauses: they are left out, and their seconds are returned.
func FromSeries(time, speedRPM []float64, width float64) (Ride, float64, error) {
	n := len(time)
	if n < 2 || len(speedRPM) != n {
		return Ride{}, 0, fmt.Errorf("%d times and %d engine speeds: two or more of each are needed", n, len(speedRPM))
	}
	if !(width >= 10 && width <= 5000) {
		return Ride{}, 0, fmt.Errorf("bins of %g 1/min: give 10 to 5000", width)
	}
	steps := make([]float64, n-1)
	for i := range steps {
		steps[i] = time[i+1] - time[i]
		if !(steps[i] > 0) || math.IsInf(steps[i], 0) {
			return Ride{}, 0, fmt.Errorf("time does not increase at sample %d", i+2)
		}
	}
	for i, s := range speedRPM {
		if !(s >= 0 && s <= 30_000) {
			return Ride{}, 0, fmt.Errorf("engine speed at sample %d is %g 1/min", i+1, s)
		}
	}
	sorted := slices.Clone(steps)
	slices.Sort(sorted)
	pause := longestGap * sorted[len(sorted)/2]
	bins := int(slices.Max(speedRPM)/width) + 1
	if bins > mostBins {
		return Ride{}, 0, fmt.Errorf("bins of %g 1/min are too narrow", width)
	}
	r := Ride{EdgesRPM: make([]float64, bins+1), Weight: make([]float64, bins)}
	for i := range r.EdgesRPM {
		r.EdgesRPM[i] = float64(i) * width
	}
	left := 0.0
	for i, dt := range steps {
		if dt > pause {
			left += dt
			continue
		}
		mean := (speedRPM[i] + speedRPM[i+1]) / 2
		r.Weight[min(int(mean/width), bins-1)] += dt
	}
	return r, left, r.Validate()
}

// Weighted is a gain weighted by where a rider spends time.
type Weighted struct {
	Gain Estimate // a fraction: candidate over baseline minus one
	// Covered is the share of the time, in [0, 1], at engine speeds that were measured;
	// the rest does not count.
	Covered float64
	Draws   int
}

// WeightedGain returns the mean gain of wheel torque at full throttle over the time
// that a rider spends at each engine speed. It says nothing about part throttle. The
// draws are those that [Compare] takes of the same gain. SpeedRPM are the gain's
// speeds in 1/min, increasing; between them the gain is straight. Draws: 0 is 4000.
func WeightedGain(speedRPM []float64, gain Gain, ride Ride, confidence float64, draws int) (Weighted, error) {
	if draws == 0 {
		draws = defaultDraws
	}
	if !(confidence > 0 && confidence < 1) {
		return Weighted{}, fmt.Errorf("the confidence is %g: it must lie between 0 and 1, as 0.95", confidence)
	}
	if draws < 100 || draws > maxDraws {
		return Weighted{}, fmt.Errorf("%d draws: give 100 to %d", draws, maxDraws)
	}
	if err := checkSpeeds(speedRPM); err != nil {
		return Weighted{}, err
	}
	if err := errors.Join(gain.validate(speedRPM), ride.Validate()); err != nil {
		return Weighted{}, err
	}
	weights, covered := nodeWeights(speedRPM, ride)
	if covered == 0 {
		return Weighted{}, errors.New("the rider spends no time at the engine speeds that were measured")
	}
	mean := func(ln []float64) float64 {
		sum := 0.0
		for i, w := range weights {
			sum += w * math.Expm1(ln[i])
		}
		return sum
	}
	w := Weighted{Covered: covered, Draws: draws}
	w.Gain.Value = mean(gain.Ln)
	source := newGainDraws(gain, speedRPM)
	ln, values := make([]float64, len(speedRPM)), make([]float64, draws)
	for i := range values {
		source.draw(ln)
		values[i] = mean(ln)
	}
	w.Gain.spread(values, confidence)
	return w, nil
}

// checkSpeeds refuses speeds that do not increase.
func checkSpeeds(speedRPM []float64) error {
	if len(speedRPM) < 2 || len(speedRPM) > 10_000 {
		return fmt.Errorf("%d engine speeds: give 2 to 10000", len(speedRPM))
	}
	for i, n := range speedRPM {
		if !(n > 0 && n <= 30_000) || i > 0 && n <= speedRPM[i-1] {
			return fmt.Errorf("the engine speeds must increase and be positive: number %d is %g 1/min", i+1, n)
		}
	}
	return nil
}

// nodeWeights returns the weight of each node, summing to 1, such that the sum over
// the nodes is the mean of a course that is straight between them; and the share of
// the histogram that the nodes cover.
func nodeWeights(speedRPM []float64, r Ride) (weights []float64, covered float64) {
	weights = make([]float64, len(speedRPM))
	total, inside := 0.0, 0.0
	for b, w := range r.Weight {
		total += w
		from, to := r.EdgesRPM[b], r.EdgesRPM[b+1]
		density := w / (to - from)
		for i := range len(speedRPM) - 1 {
			lo, hi := max(from, speedRPM[i]), min(to, speedRPM[i+1])
			if hi <= lo {
				continue
			}
			width := speedRPM[i+1] - speedRPM[i]
			// The mean of the straight course over [lo, hi] is its value in the middle.
			x := ((lo+hi)/2 - speedRPM[i]) / width
			part := density * (hi - lo)
			weights[i] += part * (1 - x)
			weights[i+1] += part * x
			inside += part
		}
	}
	if inside == 0 {
		return weights, 0
	}
	for i := range weights {
		weights[i] /= inside
	}
	return weights, min(1, inside/total)
}
