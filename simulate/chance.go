package simulate

import (
	"math"
	"math/rand/v2"
)

// stream names an independent source of chance, so that no draw depends on the
// order in which pulls happen to be simulated.
type stream uint64

const (
	weatherStream stream = iota + 1
	setupStream
	blockStream
	pullStream
	toothStream
	readingStream
	logStream
	flutterStream
)

// chance returns the generator of one stream and index of a scenario's seed.
func chance(seed uint64, s stream, index int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, uint64(s)<<32|uint64(uint32(index))))
}

// The lengths of random courses, in half waves over the speed range of a pull:
// a setup bends the whole curve, a pull has finer waves as well.
const (
	setupWaves = 3
	pullWaves  = 12
)

// departure is one random departure of wheel torque over engine speed, on the
// log scale.
type departure struct {
	low, high float64 // speed range, 1/min
	common    float64
	tilt      float64
	waves     [pullWaves][2]float64 // cosine and sine of each half wave
}

// depart draws a departure with the standard deviations of s over [low, high].
// Each wave carries an equal part of the course's variance, so that the SD is
// s.Course at every speed. It always takes the same number of draws.
func depart(r *rand.Rand, s Spread, low, high float64, first, last int) departure {
	d := departure{low: low, high: high, common: s.Common * r.NormFloat64(), tilt: s.Tilt * r.NormFloat64()}
	size := s.Course / math.Sqrt(float64(last-first+1))
	for k := first; k <= last; k++ {
		d.waves[k-1] = [2]float64{size * r.NormFloat64(), size * r.NormFloat64()}
	}
	return d
}

// at returns the departure at engine speed rpm.
func (d *departure) at(rpm float64) float64 {
	x := (rpm - d.low) / (d.high - d.low)
	value := d.common + d.tilt*(2*x-1)
	for k, wave := range d.waves {
		if wave == [2]float64{} {
			continue
		}
		sin, cos := math.Sincos(math.Pi * float64(k+1) * x)
		value += wave[0]*cos + wave[1]*sin
	}
	return value
}

// walk returns a random walk over the given times in hours, starting at 0, with
// standard deviation sd after an hour.
func walk(r *rand.Rand, sd float64, hours []float64) []float64 {
	path := make([]float64, len(hours))
	for i := 1; i < len(hours); i++ {
		path[i] = path[i-1] + sd*math.Sqrt(hours[i]-hours[i-1])*r.NormFloat64()
	}
	return path
}
