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

// straighten returns the drum angle where the encoder shows the given one: shown
// is θ + Cosine·sin θ − Sine·cos θ, the integral of the error, up to a constant.
func (e TurnError) straighten(shown float64) float64 {
	if e.Cosine == 0 && e.Sine == 0 {
		return shown
	}
	angle := shown
	for range 3 {
		s, c := math.Sincos(angle)
		angle = shown - e.Cosine*s + e.Sine*c
	}
	return angle
}

// TurnScratch holds the working memory of OncePerTurn, to be used again. The zero
// value is ready.
type TurnScratch struct {
	angle, cosine, sine         []float64 // of the drum
	value, withCosine, withSine []float64 // speed and speed times the terms, less their cubics
	Residuals                   []float64 // of the speed, error taken off, as long as the samples used
}

// OncePerTurn estimates the once-per-turn error of a drum speed in rad/s, sampled
// at the increasing moments t in s. Block is the length of time, in s, over which
// the speed itself is free to follow any cubic: only what no cubic can follow is
// laid to the encoder, so the pull itself is not touched. Blocks with fewer than
// 12 samples or less than a turn are merged with the next.
//
// The angle is the integral of the speed shown, which the error itself bends by
// as much as its amplitude, in rad. Where that matters, known is what was found
// before, and the angle is straightened by it; else the zero TurnError.
//
// Least squares with the cubics eliminated block by block. Fewer than 40 samples
// or less than four turns give the zero TurnError. scratch.Residuals is filled
// with what cubics and turn error leave, and bounds with the blocks' ends.
func OncePerTurn(t, speed []float64, known TurnError, block float64, scratch *TurnScratch) (e TurnError, bounds []int) {
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
	for i, shown := range angle {
		s, c := math.Sincos(known.straighten(shown))
		scratch.sine[i], scratch.cosine[i] = s, c
	}
	bounds = blocks(t, angle, block)
	var g turnProducts
	first := 0
	for _, end := range bounds {
		if !g.add(t, speed, first, end, scratch) {
			return TurnError{}, nil
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

// turnProducts are sums of products of residual cosine, sine and value (rows) with
// residual cosine and sine.
type turnProducts [3][2]float64

// add takes in the block from sample first to end: cubics are taken off its speed
// and off the speed times both terms, and products of what remains are summed.
func (g *turnProducts) add(t, speed []float64, first, end int, scratch *TurnScratch) bool {
	t, speed = t[first:end], speed[first:end]
	cosine, sine := scratch.cosine[first:end], scratch.sine[first:end]
	value, withCosine, withSine := scratch.value[first:end], scratch.withCosine[first:end], scratch.withSine[first:end]
	last := len(t) - 1
	half := (t[last] - t[0]) / 2
	var f Fit
	if f.over(t, speed, t[0]+half, half, 3) != nil {
		return false
	}
	var rc, rs [4]float64
	inv := 1 / f.Scale
	for i, ti := range t {
		x := (ti - f.Centre) * inv
		c, s := speed[i]*cosine[i], speed[i]*sine[i]
		x2 := x * x
		x3 := x2 * x
		rc[0] += c
		rc[1] += c * x
		rc[2] += c * x2
		rc[3] += c * x3
		rs[0] += s
		rs[1] += s * x
		rs[2] += s * x2
		rs[3] += s * x3
	}
	var a, b [4]float64
	for i := range 4 {
		for j := range 4 {
			a[i] += f.inverse[i][j] * rc[j]
			b[i] += f.inverse[i][j] * rs[j]
		}
	}
	y := f.Coefficients
	for i, ti := range t {
		x := (ti - f.Centre) * inv
		v := speed[i] - (y[0] + x*(y[1]+x*(y[2]+x*y[3])))
		c := speed[i]*cosine[i] - (a[0] + x*(a[1]+x*(a[2]+x*a[3])))
		s := speed[i]*sine[i] - (b[0] + x*(b[1]+x*(b[2]+x*b[3])))
		value[i], withCosine[i], withSine[i] = v, c, s
		g[0][0] += c * c
		g[0][1] += c * s
		g[1][1] += s * s
		g[2][0] += v * c
		g[2][1] += v * s
	}
	return true
}

// solve finds the two terms from the products g and leaves the residuals.
func (e *TurnError) solve(g *turnProducts, scratch *TurnScratch, freedom int) {
	det := g[0][0]*g[1][1] - g[0][1]*g[0][1]
	if det > 1e-9*g[0][0]*g[1][1] && freedom > 0 {
		e.Cosine = (g[2][0]*g[1][1] - g[2][1]*g[0][1]) / det
		e.Sine = (g[2][1]*g[0][0] - g[2][0]*g[0][1]) / det
	}
	ss := 0.0
	r := scratch.Residuals
	for i, v := range scratch.value {
		r[i] = v - e.Cosine*scratch.withCosine[i] - e.Sine*scratch.withSine[i]
		ss += r[i] * r[i]
	}
	if explained := e.Cosine*g[2][0] + e.Sine*g[2][1]; explained > 0 {
		e.F = explained / 2 / (ss / float64(freedom))
	}
	if !e.Found() {
		copy(r, scratch.value)
	}
}

// Correct divides the error out of the speed that it was found in and writes the
// result to out, as long. scratch is as OncePerTurn left it.
func (e TurnError) Correct(speed, out []float64, scratch *TurnScratch) {
	for i, v := range speed {
		out[i] = v / (1 + e.Cosine*scratch.cosine[i] + e.Sine*scratch.sine[i])
	}
}

// blocks returns the ends of consecutive blocks of about the given length in s that
// share the time evenly; one that holds fewer than 12 samples or less than a turn
// goes on into the next.
func blocks(t, angle []float64, length float64) []int {
	var ends []int
	first, n := 0, len(t)
	count := math.Max(1, math.Floor((t[n-1]-t[0])/length))
	length = (t[n-1] - t[0]) / count
	next := t[0] + length
	for i := range t {
		if t[i] < next {
			continue
		}
		next = t[0] + length*(math.Floor((t[i]-t[0])/length)+1)
		if i-first >= 12 && angle[i]-angle[first] >= 2*math.Pi && n-i >= 12 {
			ends = append(ends, i)
			first = i
		}
	}
	return append(ends, n)
}

// resize makes room for n samples.
func (s *TurnScratch) resize(n int) {
	parts := []*[]float64{&s.angle, &s.cosine, &s.sine, &s.value, &s.withCosine, &s.withSine, &s.Residuals}
	if cap(s.angle) < n {
		all := make([]float64, len(parts)*n)
		for k, p := range parts {
			*p = all[k*n : (k+1)*n : (k+1)*n]
		}
	}
	for _, p := range parts {
		*p = (*p)[:n]
	}
}
