package signal

import "math"

// TurnError is an encoder error that comes back once per turn of the drum, such
// as an encoder that sits off centre makes: the encoder shows
//
//	ω·(1 + Cosine·cos θ + Sine·sin θ)
//
// where θ is the drum angle from the first sample that was looked at.
type TurnError struct {
	Cosine, Sine float64 // relative
	F            float64 // variance ratio of the two terms against the rest
	Count        int     // samples
}

// Amplitude returns the relative amplitude of the error.
func (e TurnError) Amplitude() float64 { return math.Hypot(e.Cosine, e.Sine) }

// Found reports whether the error stands out of the noise: a variance ratio of
// 15 on 2 and many degrees of freedom has a chance of 3e-7 where there is none.
func (e TurnError) Found() bool { return e.F > 15 }

// TurnScratch holds the working memory of OncePerTurn, to be used again.
type TurnScratch struct {
	angle, value, cosine, sine []float64
	Residuals                  []float64 // of the speed, error taken off, as long as the samples used
}

// OncePerTurn estimates the once-per-turn error of a drum speed in rad/s, sampled
// at the increasing moments t in s. Block is the length of time, in s, over which
// the speed itself is free to follow any cubic: only what no cubic can follow is
// laid to the encoder, so the pull itself is not touched. Blocks with fewer than
// 12 samples or less than a turn are merged with the next.
//
// Least squares with the cubics eliminated block by block. Fewer than 40 samples
// or less than four turns give the zero TurnError. scratch.Residuals is filled
// with what cubics and turn error leave, and bounds with the blocks' ends.
func OncePerTurn(t, speed []float64, block float64, scratch *TurnScratch) (e TurnError, bounds []int) {
	n := len(t)
	scratch.resize(n)
	if n < 40 {
		return TurnError{}, nil
	}
	angle := scratch.angle
	angle[0] = 0
	for i := 1; i < n; i++ {
		angle[i] = angle[i-1] + (t[i]-t[i-1])*(speed[i]+speed[i-1])/2
	}
	for i, a := range angle {
		s, c := math.Sincos(a)
		scratch.cosine[i], scratch.sine[i] = speed[i]*c, speed[i]*s
	}
	bounds = blocks(t, angle, block)
	var g [3][2]float64 // products of residual cosine, sine, value with cosine, sine
	var f, again Fit
	first := 0
	for _, end := range bounds {
		ts := t[first:end]
		mid, half := (ts[0]+ts[len(ts)-1])/2, (ts[len(ts)-1]-ts[0])/2
		value, cosine, sine := scratch.value[first:end], scratch.cosine[first:end], scratch.sine[first:end]
		if f.Over(ts, speed[first:end], mid, half, 3) != nil {
			return TurnError{}, nil
		}
		f.Residuals(ts, speed[first:end], value)
		for _, regressor := range [2][]float64{cosine, sine} {
			if again.Again(&f, ts, regressor) != nil {
				return TurnError{}, nil
			}
			again.Residuals(ts, regressor, regressor)
		}
		for i, c := range cosine {
			s, v := sine[i], value[i]
			g[0][0] += c * c
			g[0][1] += c * s
			g[1][1] += s * s
			g[2][0] += v * c
			g[2][1] += v * s
		}
		first = end
	}
	e.Count = n
	e.solve(&g, scratch, n-4*len(bounds)-2)
	if angle[n-1] < 8*math.Pi {
		e = TurnError{}
	}
	return e, bounds
}

// solve finds the two terms from the products g and leaves the residuals.
func (e *TurnError) solve(g *[3][2]float64, scratch *TurnScratch, freedom int) {
	det := g[0][0]*g[1][1] - g[0][1]*g[0][1]
	if det > 1e-9*g[0][0]*g[1][1] && freedom > 0 {
		e.Cosine = (g[2][0]*g[1][1] - g[2][1]*g[0][1]) / det
		e.Sine = (g[2][1]*g[0][0] - g[2][0]*g[0][1]) / det
	}
	ss := 0.0
	r := scratch.Residuals
	for i, v := range scratch.value {
		r[i] = v - e.Cosine*scratch.cosine[i] - e.Sine*scratch.sine[i]
		ss += r[i] * r[i]
	}
	if explained := e.Cosine*g[2][0] + e.Sine*g[2][1]; explained > 0 {
		e.F = explained / 2 / (ss / float64(freedom))
	}
	if !e.Found() {
		copy(r, scratch.value)
	}
}

// Correct divides the error out of a speed. t and speed are those that the error
// was estimated from; the result goes to out, which may be speed itself.
func (e TurnError) Correct(t, speed, out []float64) {
	angle, previous := 0.0, speed[0]
	for i, v := range speed {
		if i > 0 {
			angle += (t[i] - t[i-1]) * (v + previous) / 2
		}
		previous = v
		s, c := math.Sincos(angle)
		out[i] = v / (1 + e.Cosine*c + e.Sine*s)
	}
}

// blocks returns the ends of consecutive blocks of at least the given length in
// s, 12 samples and one turn; the length is stretched so that whole blocks fill
// the time, and what is left over joins the last.
func blocks(t, angle []float64, length float64) []int {
	var ends []int
	first := 0
	all := t[len(t)-1] - t[0]
	length = all / math.Max(1, math.Floor(all/length))
	for i := range t {
		if t[i]-t[first] >= length && i-first >= 12 && angle[i]-angle[first] >= 2*math.Pi {
			ends = append(ends, i)
			first = i
		}
	}
	if len(ends) == 0 {
		return []int{len(t)}
	}
	ends[len(ends)-1] = len(t)
	return ends
}

// resize makes room for n samples.
func (s *TurnScratch) resize(n int) {
	if cap(s.angle) < n {
		all := make([]float64, 5*n)
		s.angle, s.value, s.cosine, s.sine, s.Residuals = all[:n:n], all[n:2*n:2*n], all[2*n:3*n:3*n], all[3*n:4*n:4*n], all[4*n:]
	}
	s.angle, s.value, s.cosine, s.sine, s.Residuals = s.angle[:n], s.value[:n], s.cosine[:n], s.sine[:n], s.Residuals[:n]
}
