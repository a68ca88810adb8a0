package mixture

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"fairpull/signal"
)

// Delay is how late a reading is: the gas travels for Dead seconds before anything is
// seen, and what is then seen follows with a first-order lag of time constant Lag.
//
// On a slow change the reading is Dead + Lag late. That sum, Total, is known better
// than either part: where the one is taken too long the other comes out too short.
type Delay struct {
	Dead, Lag     float64 // s
	Total, UTotal float64 // s, and its standard uncertainty
	Explained     float64 // share of the reading's variance that the delayed input explains, 0 to 1
	Steps         int     // changes that it was found from; 0: it was stated
}

// ErrNoResponse says that a reading does not follow its input.
var ErrNoResponse = errors.New("the reading does not follow its input closely enough for a delay to be found")

// DelayBounds bound the search. Both are > 0, in s.
type DelayBounds struct{ Dead, Lag float64 }

// leastExplained is the share of variance that must be explained: below it, noise or
// something other than the input moves the reading.
const leastExplained = 0.6

// mostPoints bounds the moments at which input and reading are held against each other.
const mostPoints = 2000

// FindDelay returns how late the reading y follows the input u, both at the increasing
// times t in s. The input is what causes the change (a throttle that opens, a change of
// fuel that was asked for) or another, quicker reading of the same thing. Its unit does
// not matter, nor does the level or the size of the reading.
//
// It is the normalised cross-correlation of y with u, u delayed and passed through a
// first-order lag, at its greatest: which is the least-squares fit of
//
//	y(t) = y0 + k·(h ∗ u)(t − Dead),  h first order with time constant Lag.
//
// The standard uncertainty is that of the fit, widened for the correlation of
// neighbouring residuals r by √((1+r)/(1−r)) ([Bartlett1946], from memory), and of the
// moment of a row, which is known to within its interval. Rows with NaN are left out and
// bridged. It returns ErrNoResponse where less than 60 % of the
// variance is explained or where the delay lies at the end of the search.
func FindDelay(t, u, y []float64, b DelayBounds) (Delay, error) {
	if len(t) != len(u) || len(t) != len(y) || !(b.Dead > 0) || !(b.Lag > 0) {
		return Delay{}, fmt.Errorf("a delay is found from %d times, %d inputs and %d readings within bounds above zero", len(t), len(u), len(y))
	}
	m, err := newResponse(t, u, y, b)
	if err != nil {
		return Delay{}, err
	}
	dead, lag := m.coarse(b)
	dead, lag = m.refine(dead, lag, b)
	d := Delay{Dead: dead, Lag: lag, Total: dead + lag, Explained: m.explained(dead, lag), Steps: 1}
	if d.Explained < leastExplained || dead > 0.98*b.Dead || lag > 0.98*b.Lag {
		return Delay{}, fmt.Errorf("%w: %.0f %% of its variance is explained, %.2f s late", ErrNoResponse, 100*d.Explained, d.Total)
	}
	d.UTotal = math.Hypot(m.uncertainty(dead, lag), m.step/math.Sqrt(12))
	return d, nil
}

// response is input and reading on even moments.
type response struct {
	step  float64
	u, y  []float64
	first int       // readings from here on are explained: before, the input that caused them is not known
	z     []float64 // the input behind its lag
	x     []float64 // and delayed, from first on
}

func newResponse(t, u, y []float64, b DelayBounds) (*response, error) {
	var ts, us, ys []float64
	for i := range t {
		if v := t[i] + u[i] + y[i]; v-v == 0 {
			if n := len(ts); n > 0 && t[i] <= ts[n-1] {
				continue
			}
			ts, us, ys = append(ts, t[i]), append(us, u[i]), append(ys, y[i])
		}
	}
	if len(ts) < 20 {
		return nil, fmt.Errorf("%w: %d moments", ErrNoResponse, len(ts))
	}
	span := ts[len(ts)-1] - ts[0]
	step := math.Max(signal.MedianInterval(ts), span/mostPoints)
	n := int(span/step) + 1
	m := &response{step: step, u: evenly(ts, us, step, n), y: evenly(ts, ys, step, n), z: make([]float64, n), x: make([]float64, n)}
	// The readings of the first moments were caused by an input before the record. Where
	// the input is at rest at its beginning it was so before; else they are left out, up to
	// a third of the span.
	if !atRest(m.u) {
		m.first = min(int(b.Dead/step), n/3)
	}
	return m, nil
}

// atRest says that an input hardly moves in the first tenth of its record.
func atRest(u []float64) bool {
	lo, hi := slices.Min(u), slices.Max(u)
	for _, v := range u[:len(u)/10] {
		if math.Abs(v-u[0]) > 0.02*(hi-lo) {
			return false
		}
	}
	return true
}

// evenly reads the line through (t, v) at n moments a step apart.
func evenly(t, v []float64, step float64, n int) []float64 {
	out := make([]float64, n)
	k := 0
	for i := range out {
		at := t[0] + float64(i)*step
		for k+2 < len(t) && t[k+1] < at {
			k++
		}
		part := (at - t[k]) / (t[k+1] - t[k])
		out[i] = v[k] + math.Min(math.Max(part, 0), 1)*(v[k+1]-v[k])
	}
	return out
}

// follow passes the input through a first-order lag; between its moments the input
// runs straight, for which the step is exact.
func (m *response) follow(lag float64) {
	if lag < 1e-3*m.step {
		copy(m.z, m.u)
		return
	}
	keep := math.Exp(-m.step / lag)
	ramp := 1 - (1-keep)*lag/m.step
	z := m.u[0]
	for i, u := range m.u {
		if i > 0 {
			last := m.u[i-1]
			z = keep*z + (1-keep)*last + ramp*(u-last)
		}
		m.z[i] = z
	}
}

// late reads z dead seconds late, from m.first on, into m.x.
func (m *response) late(dead float64) []float64 {
	whole := int(dead / m.step)
	part := dead/m.step - float64(whole)
	x := m.x[:len(m.y)-m.first]
	for i := range x {
		k := i + m.first - whole
		a, b := m.z[max(k, 0)], m.z[max(k-1, 0)]
		x[i] = a + part*(b-a)
	}
	return x
}

// explained is the squared correlation of the reading with the delayed input.
func (m *response) explained(dead, lag float64) float64 {
	m.follow(lag)
	return m.correlation(dead)
}

func (m *response) correlation(dead float64) float64 {
	x, y := m.late(dead), m.y[m.first:]
	var sx, sy float64
	for i := range x {
		sx, sy = sx+x[i], sy+y[i]
	}
	n := float64(len(x))
	sx, sy = sx/n, sy/n
	var xx, xy, yy float64
	for i := range x {
		a, b := x[i]-sx, y[i]-sy
		xx, xy, yy = xx+a*a, xy+a*b, yy+b*b
	}
	if !(xx*yy > 0) {
		return 0
	}
	return xy * xy / (xx * yy)
}

// coarse tries lags in ratios of 1.6 and delays a few steps apart.
func (m *response) coarse(b DelayBounds) (dead, lag float64) {
	best := -1.0
	stride := math.Max(m.step, b.Dead/80)
	for l := 0.0; l <= b.Lag; l = math.Max(1.6*l, m.step) {
		m.follow(l)
		for d := 0.0; d <= b.Dead; d += stride {
			if r := m.correlation(d); r > best {
				best, dead, lag = r, d, l
			}
		}
	}
	return dead, lag
}

// refine walks from the coarse answer in ever smaller steps, along the two and along
// their sum and difference, for the valley runs along the difference.
func (m *response) refine(dead, lag float64, b DelayBounds) (float64, float64) {
	best := m.explained(dead, lag)
	size := math.Max(m.step, math.Max(b.Dead/80, lag/3))
	for size > 1e-3*m.step {
		moved := false
		for _, way := range [8][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, -1}, {-1, 1}, {1, 1}, {-1, -1}} {
			d, l := dead+way[0]*size, lag+way[1]*size
			if d < 0 || l < 0 || d > b.Dead || l > b.Lag {
				continue
			}
			if r := m.explained(d, l); r > best {
				best, dead, lag, moved = r, d, l, true
			}
		}
		if !moved {
			size /= 2
		}
	}
	return dead, lag
}

// uncertainty returns the standard uncertainty of dead + lag from the curvature of the
// fit: the normal matrix of y0, k, dead and lag.
func (m *response) uncertainty(dead, lag float64) float64 {
	n := len(m.y) - m.first
	column := func(d, l float64) []float64 { m.follow(l); return slices.Clone(m.late(d)) }
	z := column(dead, lag)
	h := m.step / 4
	da, db := column(dead+h, lag), column(math.Max(dead-h, 0), lag)
	la, lb := column(dead, lag+h), column(dead, math.Max(lag-h, 0))
	fit := regress([][]float64{z}, m.y[m.first:])
	byDead, byLag := make([]float64, n), make([]float64, n)
	for i := range z {
		byDead[i] = fit.coefficients[1] * (da[i] - db[i]) / (h + math.Min(h, dead))
		byLag[i] = fit.coefficients[1] * (la[i] - lb[i]) / (h + math.Min(h, lag))
	}
	full := regress([][]float64{z, byDead, byLag}, fit.residuals)
	if full.inverse == nil {
		return math.Inf(1)
	}
	inv := full.inverse
	variance := inv[2][2] + inv[3][3] + 2*inv[2][3]
	r := math.Min(math.Max(lagOne(full.residuals), 0), 0.99)
	return math.Sqrt(math.Max(variance, 0) * full.variance * (1 + r) / (1 - r))
}

// CombineDelays returns the delay that several found on the same rig have in common:
// the mean of dead time, lag and total. Its uncertainty is the scatter of the totals
// where there are three or more, and never less than the fits' own.
func CombineDelays(found []Delay) (Delay, error) {
	if len(found) == 0 {
		return Delay{}, ErrNoResponse
	}
	var out Delay
	own := 0.0
	for _, d := range found {
		out.Dead, out.Lag, out.Total, out.Explained = out.Dead+d.Dead, out.Lag+d.Lag, out.Total+d.Total, out.Explained+d.Explained
		out.Steps += d.Steps
		own += d.UTotal * d.UTotal
	}
	n := float64(len(found))
	out.Dead, out.Lag, out.Total, out.Explained = out.Dead/n, out.Lag/n, out.Total/n, out.Explained/n
	out.UTotal = math.Sqrt(own) / n
	if len(found) >= 3 {
		ss := 0.0
		for _, d := range found {
			ss += (d.Total - out.Total) * (d.Total - out.Total)
		}
		out.UTotal = math.Max(out.UTotal, math.Sqrt(ss/(n-1)/n))
	}
	return out, nil
}

// Stated returns a delay that was not measured here, with the standard uncertainty of
// its total, all in s.
func Stated(dead, lag, u float64) (Delay, error) {
	for _, v := range []float64{dead, lag, u} {
		if !(v >= 0 && v <= 60) {
			return Delay{}, fmt.Errorf("a delay of %g s: it lies within 0 to 60", v)
		}
	}
	return Delay{Dead: dead, Lag: lag, Total: dead + lag, UTotal: u, Explained: math.NaN()}, nil
}

// Sooner returns the reading y, at the increasing times t, dead seconds sooner: out[i]
// is what was read at t[i] + dead. It is NaN beyond the end, where y is NaN to either
// side, and across a pause longer than gap.
func Sooner(t, y []float64, dead, gap float64) []float64 {
	out := make([]float64, len(t))
	k := 0
	for i := range out {
		at := t[i] + dead
		for k+1 < len(t) && t[k+1] <= at {
			k++
		}
		switch {
		case t[k] == at || dead == 0:
			out[i] = y[k]
		case k+1 == len(t) || t[k+1]-t[k] > gap:
			out[i] = math.NaN()
		default:
			out[i] = y[k] + (at-t[k])/(t[k+1]-t[k])*(y[k+1]-y[k])
		}
	}
	return out
}
