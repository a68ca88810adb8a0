package signal

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// turnsAround is how many turns, the tooth's own in the middle, carry the course
// that a tooth is held against.
const turnsAround = 5

// Teeth is the angle error of every tooth of an encoder: a pulse of tooth j
// comes when the drum stands at 2π·j/PerTurn + Error[j]. The errors sum to 0.
type Teeth struct {
	Error []float64 // rad; tooth 0 is that of the first pulse
	Turns int       // turns that it was found from
	F     float64   // variance ratio between the teeth against within them
}

// Found reports whether the teeth differ beyond the noise: a variance ratio
// above 3 is as good as impossible by chance for more than ten teeth, and rare
// for few; a table that is removed without need does no harm.
func (e *Teeth) Found() bool { return e.F > 3 && e.Turns >= 8 }

// Amplitude returns the relative amplitude of the once-per-turn part of the
// error as it shows in speed.
func (e *Teeth) Amplitude() float64 {
	re, im := 0.0, 0.0
	for j, v := range e.Error {
		s, c := math.Sincos(2 * math.Pi * float64(j) / float64(len(e.Error)))
		re += v * c
		im += v * s
	}
	return 2 * math.Hypot(re, im) / math.Max(1, float64(len(e.Error)))
}

// MeasureTeeth finds the error of every tooth from the train, perTurn teeth a
// turn. With fewer than two teeth there is nothing to find.
//
// The mean moment of all pulses of a turn is the same whatever the teeth are, as
// long as their errors sum to 0. So the quartic in angle that has the mean
// moments of five turns in a row is free of tooth error; a tooth of the middle
// turn is as far off as its pulse comes from it. Only turns without a missing
// pulse around, and in which the drum speed changes by less than 5 % a turn, are
// used: there the quartic is good to 1e-6 rad.
func MeasureTeeth(tr *Train, perTurn int) Teeth {
	if perTurn < 2 || len(tr.Time) < turnsAround*perTurn {
		return Teeth{}
	}
	weights := turnWeights(perTurn)
	sum := make([]float64, perTurn)
	squares := make([]float64, perTurn)
	turns := 0
	var means [turnsAround]float64
	have := 0 // turns in a row whose means are known
	for pos := 0; pos+perTurn <= len(tr.Time); {
		if tr.Count[pos]%perTurn != 0 || tr.Count[pos+perTurn-1]-tr.Count[pos] != perTurn-1 {
			have = 0
			pos++
			continue
		}
		copy(means[:], means[1:])
		means[turnsAround-1] = mean(tr.Time[pos : pos+perTurn])
		have++
		pos += perTurn
		if have < turnsAround || !steady(&means) {
			continue
		}
		middle := tr.Time[pos-3*perTurn : pos-2*perTurn]
		omega := 4 * math.Pi / (means[3] - means[1])
		for j, t := range middle {
			w := &weights[j]
			e := omega * (t - means[2] - w[0]*(means[0]-means[2]) - w[1]*(means[1]-means[2]) -
				w[3]*(means[3]-means[2]) - w[4]*(means[4]-means[2]))
			sum[j] += e
			squares[j] += e * e
		}
		turns++
	}
	return teethFromSums(sum, squares, turns)
}

// steady reports whether the drum speed changes by less than 5 % a turn.
func steady(means *[turnsAround]float64) bool {
	for k := 2; k < turnsAround; k++ {
		if math.Abs((means[k]-means[k-1])/(means[k-1]-means[k-2])-1) > 0.05 {
			return false
		}
	}
	return true
}

// teethFromSums turns the sums of each tooth's errors into the table.
func teethFromSums(sum, squares []float64, turns int) Teeth {
	e := Teeth{Error: sum, Turns: turns}
	if turns < 2 {
		return e
	}
	n := float64(turns)
	within, between := 0.0, 0.0
	for j, s := range sum {
		m := s / n
		within += squares[j] - n*m*m
		sum[j] = m
	}
	centre := mean(sum)
	for j := range sum {
		sum[j] -= centre
		between += n * sum[j] * sum[j]
	}
	teeth := float64(len(sum))
	e.F = between / (teeth - 1) / (math.Max(within, 1e-300) / (teeth * (n - 1)))
	return e
}

// turnWeights returns, for every tooth, the weights of the mean moments of five
// turns in the value, at that tooth of the middle turn, of the quartic in angle
// that has those means.
func turnWeights(perTurn int) [][turnsAround]float64 {
	averages := mat.NewDense(turnsAround, turnsAround, nil) // power × turn
	values := mat.NewDense(turnsAround, perTurn, nil)       // power × tooth
	for power := range turnsAround {
		for j := range perTurn {
			u := (float64(j)+0.5)/float64(perTurn) - 0.5
			values.Set(power, j, math.Pow(u, float64(power)))
			for turn := range turnsAround {
				v := math.Pow(u+float64(turn-turnsAround/2), float64(power))
				averages.Set(power, turn, averages.At(power, turn)+v/float64(perTurn))
			}
		}
	}
	var solution mat.Dense
	if err := solution.Solve(averages, values); err != nil {
		panic("signal: the averages of powers over turns are always independent: " + err.Error())
	}
	weights := make([][turnsAround]float64, perTurn)
	for j := range weights {
		for turn := range turnsAround {
			weights[j][turn] = solution.At(turn, j)
		}
	}
	return weights
}

// mean returns the arithmetic mean, shifted by the first value first so that
// late moments of a long log lose no digits.
func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x - v[0]
	}
	return v[0] + sum/float64(len(v))
}
