package compare

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrNoInterval says that a campaign has no repeated pulls and no history of them, so
// that its gain has no interval.
var ErrNoInterval = errors.New("the gain has no interval: no pull was repeated, and no earlier scatter is known")

// maxCourses bounds how many courses are drawn at once.
const maxCourses = 100_000

// Courses returns possible courses of a candidate's gain over engine speed: each is
// ln(candidate/baseline) at every node of in.SpeedRPM, for what is to be computed from
// the whole curve by simulation [JCGM-101].
//
// At a node they scatter about the estimate as Student's t does with its standard error
// and degrees of freedom. From node to node they are correlated as the whole-band
// limits have it: the campaign's own structure of setups, change-overs and pulls, drawn
// towards a common part and one that fades with distance (docs/method.md, section 4).
// The same input gives the same courses on any number of cores.
//
// Draws is from 100 to 100,000. A gain without an interval is [ErrNoInterval]; what
// [Compare] refuses is refused.
func Courses(in Input, candidate string, draws int) ([][]float64, error) {
	if err := in.validate(); err != nil {
		return nil, err
	}
	at := slices.Index(in.Candidates, candidate) + 1
	if at == 0 {
		return nil, fmt.Errorf("there is no candidate %q", candidate)
	}
	if draws < minDraws || draws > maxCourses {
		return nil, fmt.Errorf("%d courses: from %d to %d can be drawn", draws, minDraws, maxCourses)
	}
	a, err := analyse(&in, settings{averaging: variancesHalf, peakDraws: peakDraws})
	if err != nil {
		return nil, err
	}
	e := a.estimate(at)
	if !e.intervals {
		return nil, ErrNoInterval
	}
	return a.courses(e, candidate, draws), nil
}

// courses draws from the gain of an estimate.
func (a *analysis) courses(e *estimate, candidate string, draws int) [][]float64 {
	nodes := len(a.grid.rpm)
	df := median(e.df[:nodes])
	// The deviates have the median degrees of freedom; a node with fewer or more has
	// them stretched as its own t stretches, as in the whole-band limits.
	unit := make([]float64, nodes)
	for i := range unit {
		unit[i] = a.limits.twoSided(e.df[i]) / a.limits.twoSided(df) * math.Sqrt(e.v[i])
	}
	s := a.noise.curve(e.w, a.grid).shrunk(df, a.grid.scale).sampler()
	digest := sha256.Sum256(append(a.digest[:], candidate...))
	out, values := make([][]float64, draws), make([]float64, draws*nodes)
	spread(func(stream int) {
		from := newSource(digest, purposeCourse, stream)
		normals := make([]float64, s.room())
		for i := stream * draws / streams; i < (stream+1)*draws/streams; i++ {
			course := values[i*nodes : (i+1)*nodes : (i+1)*nodes]
			s.draw(from, normals, course)
			root := math.Sqrt(from.chiSquare(df) / df)
			for k := range course {
				course[k] = e.gain[k] + unit[k]*course[k]/root
			}
			out[i] = course
		}
	})
	return out
}
