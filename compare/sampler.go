package compare

import (
	"crypto/sha256"
	"math"
	"runtime"
	"sync"
)

// streams is the number of independent streams of chance that draws are spread
// over. It is fixed, so that a result does not depend on the number of cores.
const streams = 16

// sampler draws from a field.
type sampler struct {
	nodes int
	rows  [][]float64
	paths []path
}

// path is one Ornstein–Uhlenbeck path with its common part, ready to draw: at each
// node the path decays and takes a step, and common and own are what the shared
// value and the path contribute.
type path struct{ decay, step, common, own []float64 }

func (f *field) sampler() *sampler {
	s := &sampler{nodes: len(f.rpm), rows: f.rows}
	for _, v := range f.paths {
		p := path{make([]float64, s.nodes), make([]float64, s.nodes), make([]float64, s.nodes), make([]float64, s.nodes)}
		for i := range s.nodes {
			p.step[i] = 1
			if i > 0 {
				p.decay[i] = math.Exp(-(f.rpm[i] - f.rpm[i-1]) / v.length)
				p.step[i] = math.Sqrt(1 - square(p.decay[i]))
			}
			p.common[i] = v.sd[i] * math.Sqrt(v.common)
			p.own[i] = v.sd[i] * math.Sqrt(1-v.common)
		}
		s.paths = append(s.paths, p)
	}
	return s
}

// room returns the number of normal deviates behind one draw.
func (s *sampler) room() int { return len(s.rows) + len(s.paths)*(s.nodes+1) }

// draw puts one curve into z, of length nodes; normals is scratch of length room.
func (s *sampler) draw(from *source, normals, z []float64) {
	from.fill(normals)
	clear(z)
	r := 0
	for ; r+4 <= len(s.rows); r += 4 {
		addFour(z, s.rows[r:r+4], normals[r:r+4])
	}
	for ; r < len(s.rows); r++ {
		n := normals[r]
		for i, v := range s.rows[r][:len(z)] {
			z[i] += n * v
		}
	}
	rest := normals[len(s.rows):]
	for i := range s.paths {
		s.paths[i].add(z, rest[:len(z)+1])
		rest = rest[len(z)+1:]
	}
}

// addFour adds four rows times their deviates to z in one pass.
func addFour(z []float64, rows [][]float64, normals []float64) {
	a, b, c, d := rows[0][:len(z)], rows[1][:len(z)], rows[2][:len(z)], rows[3][:len(z)]
	na, nb, nc, nd := normals[0], normals[1], normals[2], normals[3]
	for i := range z {
		z[i] += na*a[i] + nb*b[i] + (nc*c[i] + nd*d[i])
	}
}

// add puts one path into z; normals has one deviate more than z has nodes.
func (p *path) add(z, normals []float64) {
	decay, step, common, own := p.decay[:len(z)], p.step[:len(z)], p.common[:len(z)], p.own[:len(z)]
	shared, steps := normals[0], normals[1:1+len(z)]
	var y float64
	for i := range z {
		y = decay[i]*y + step[i]*steps[i]
		z[i] += shared*common[i] + own[i]*y
	}
}

// extremes draws curves and returns, for each, the largest value and the largest
// absolute value.
//
// Curves come in pairs x + p and x − p, p being the last path and x all the rest:
// both have the distribution of the field, since p and −p are alike and x knows
// nothing of either, and a pair costs little more than one curve.
func (s *sampler) extremes(digest [sha256.Size]byte, purpose byte, draws int) (largest, size []float64) {
	largest, size = make([]float64, draws), make([]float64, draws)
	rest, last := *s, sampler{nodes: s.nodes}
	if n := len(s.paths); n > 0 {
		rest.paths, last.paths = s.paths[:n-1], s.paths[n-1:]
	}
	spread(func(stream int) {
		from := newSource(digest, purpose, stream)
		normals := make([]float64, max(rest.room(), last.room()))
		x, p := make([]float64, s.nodes), make([]float64, s.nodes)
		end := (stream + 1) * draws / streams
		for i := stream * draws / streams; i < end; i += 2 {
			rest.draw(from, normals[:rest.room()], x)
			last.draw(from, normals[:last.room()], p)
			a, b := pairExtremes(x, p)
			largest[i], size[i] = a.largest()
			if i+1 < end {
				largest[i+1], size[i+1] = b.largest()
			}
		}
	})
	return largest, size
}

// span is the least and the largest value of a curve.
type span struct{ low, high float64 }

func (s span) largest() (value, size float64) { return s.high, max(s.high, -s.low) }

// pairExtremes returns the spans of x + p and x − p.
func pairExtremes(x, p []float64) (plus, minus span) {
	plus, minus = span{math.Inf(1), math.Inf(-1)}, span{math.Inf(1), math.Inf(-1)}
	p = p[:len(x)]
	for i, v := range x {
		a, b := v+p[i], v-p[i]
		if a < plus.low {
			plus.low = a
		}
		if a > plus.high {
			plus.high = a
		}
		if b < minus.low {
			minus.low = b
		}
		if b > minus.high {
			minus.high = b
		}
	}
	return plus, minus
}

// studentised divides extremes by √(χ²(df)/df), one deviate a draw.
func studentised(digest [sha256.Size]byte, purpose byte, df float64, largest, size []float64) {
	draws := len(size)
	spread(func(stream int) {
		from := newSource(digest, purpose, stream)
		for i := stream * draws / streams; i < (stream+1)*draws/streams; i++ {
			root := math.Sqrt(from.chiSquare(df) / df)
			largest[i] /= root
			size[i] /= root
		}
	})
}

// spread runs one piece of work for each stream on the cores there are.
func spread(work func(stream int)) {
	var wait sync.WaitGroup
	next := make(chan int, streams)
	for s := range streams {
		next <- s
	}
	close(next)
	for range min(streams, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for s := range next {
				work(s)
			}
		})
	}
	wait.Wait()
}

// The purposes that streams of chance serve.
const (
	purposeBand byte = iota + 1
	purposeBandChi
	purposeShape
	purposePeak
	purposeCourse
)

// wholeBand returns the factors in place of Student's t that hold for all nodes of
// the field at once: two-sided, and one-sided for a lower bound.
func (f *field) wholeBand(digest [sha256.Size]byte, df, scale, confidence float64, draws int) (both, lower float64) {
	largest, size := f.shrunk(df, scale).sampler().extremes(digest, purposeBand, draws)
	studentised(digest, purposeBandChi, df, largest, size)
	return quantileOf(size, confidence), quantileOf(largest, confidence)
}
