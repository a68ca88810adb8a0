package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
)

// Sampling says how distributions are drawn.
type Sampling struct {
	Confidence float64 // of the intervals, above 0 and at most MostConfidence
	Seed       uint64
	// Draws is how many; 0: as many as it takes until the figure, its uncertainty
	// and both ends of the interval hold to Tolerance, at most MostDraws. It is
	// rounded up to whole batches of ten thousand.
	Draws int
	// Tolerance is, for Draws of 0, how far off they may be, in the figure's unit;
	// 0: half a unit of the second digit of the uncertainty.
	Tolerance float64
}

// Bounds of the number of draws. A batch is ten thousand, as [JCGM-101], 7.9.4,
// has it at a confidence of 0.95.
const (
	batch     = 10_000
	round     = 10 // batches between two looks at whether it holds
	MostDraws = 10_000_000
)

// MostConfidence is the largest confidence of a drawn interval: a batch must reach
// beyond its ends.
const MostConfidence = 0.999

// Interval is a coverage interval.
type Interval struct{ Lo, Hi float64 }

// Drawn is a budget by drawing distributions.
type Drawn struct {
	Value float64 // mean of the draws
	U     float64 // their standard deviation
	Draws int
	// Symmetric leaves equal chances outside on both sides; Shortest is the
	// shortest that covers as much.
	Symmetric, Shortest Interval
	// Error is how well the draws fix Value, U and the ends of Symmetric: the
	// largest of twice their standard errors, in the figure's unit.
	Error float64
	// Settled is true where Error is below the tolerance that was asked for, or
	// the number of draws was given.
	Settled bool
}

// Draw draws the inputs from their distributions and returns what the figure
// then is. The same model, seed and number of draws give the same bits on any
// number of cores: batch b is drawn from PCG seeded with (seed, b).
//
// Drawing ends, where no number is given, once twice the standard errors of
// value, uncertainty and interval ends over the batches are below the tolerance:
// the adaptive procedure of [JCGM-101], 7.9.4, looked at every ten batches. A
// figure that is not a finite number in any draw is an error.
func (m *Model) Draw(how Sampling) (*Drawn, error) {
	if !(how.Confidence > 0 && how.Confidence <= MostConfidence) || how.Draws < 0 || how.Draws > MostDraws || !(how.Tolerance >= 0) {
		return nil, fmt.Errorf("%w: confidence %g, %d draws, tolerance %g", ErrInput, how.Confidence, how.Draws, how.Tolerance)
	}
	s, err := newSampler(m)
	if err != nil {
		return nil, err
	}
	out := &Drawn{}
	batches := (how.Draws + batch - 1) / batch
	if how.Draws == 0 {
		batches = round
	}
	var y []float64
	var marks []mark
	for {
		from := len(marks)
		y = append(y, make([]float64, batches*batch)...)
		marks = append(marks, make([]mark, batches)...)
		if err := s.batches(y[from*batch:], marks[from:], from, how); err != nil {
			return nil, err
		}
		out.Error = 2 * standardError(marks)
		tolerance := how.Tolerance
		if tolerance == 0 {
			tolerance = Tolerance(meanU(marks), 2)
		}
		out.Settled = how.Draws > 0 || out.Error <= tolerance
		if out.Settled || len(y) >= MostDraws {
			break
		}
	}
	out.Draws = len(y)
	mean, ss := moments(y)
	out.Value, out.U = mean, math.Sqrt(ss/float64(len(y)-1))
	slices.Sort(y)
	out.Symmetric, out.Shortest = symmetric(y, how.Confidence), shortest(y, how.Confidence)
	return out, nil
}

// mark is what one batch says: figure, uncertainty, ends of the interval.
type mark [4]float64

// batches draws whole batches into y, each of them in order of size; the first
// has the number from.
func (s *sampler) batches(y []float64, marks []mark, from int, how Sampling) error {
	var group sync.WaitGroup
	workers := min(runtime.GOMAXPROCS(0), len(marks))
	bad := make([]error, workers)
	for k := range workers {
		group.Go(func() {
			for b := k; b < len(marks) && bad[k] == nil; b += workers {
				own := y[b*batch : (b+1)*batch]
				s.fill(own, rand.New(rand.NewPCG(how.Seed, uint64(from+b))))
				for _, v := range own {
					if !finite(v) {
						bad[k] = fmt.Errorf("%w: the figure is %g for values that its inputs may have", ErrInput, v)
					}
				}
				slices.Sort(own)
				mean, ss := moments(own)
				ends := symmetric(own, how.Confidence)
				marks[b] = mark{mean, math.Sqrt(ss / (batch - 1)), ends.Lo, ends.Hi}
			}
		})
	}
	group.Wait()
	for _, err := range bad {
		if err != nil {
			return err
		}
	}
	return nil
}

// standardError returns the largest standard error of the means of the marks
// over batches; +Inf for a single batch.
func standardError(marks []mark) float64 {
	n := float64(len(marks))
	if n < 2 {
		return math.Inf(1)
	}
	most := 0.0
	column := make([]float64, len(marks))
	for k := range marks[0] {
		for b := range marks {
			column[b] = marks[b][k]
		}
		_, ss := moments(column)
		most = max(most, ss/(n*(n-1)))
	}
	return math.Sqrt(most)
}

func meanU(marks []mark) float64 {
	sum := 0.0
	for _, m := range marks {
		sum += m[1]
	}
	return sum / float64(len(marks))
}

// span returns over how many places of n sorted draws an interval of confidence p
// reaches.
func span(n int, p float64) int { return min(n-1, max(1, int(math.Round(p*float64(n))))) }

// symmetric returns the interval of sorted draws that leaves as much on either
// side. Source: [JCGM-101], 7.7.2.
func symmetric(y []float64, p float64) Interval {
	q := span(len(y), p)
	r := max(0, (len(y)-q)/2-1)
	return Interval{y[r], y[r+q]}
}

// shortest returns the shortest interval of sorted draws. Source: [JCGM-101],
// 7.7.4.
func shortest(y []float64, p float64) Interval {
	q := span(len(y), p)
	best := 0
	for r := range len(y) - q {
		if y[r+q]-y[r] < y[best+q]-y[best] {
			best = r
		}
	}
	return Interval{y[best], y[best+q]}
}
