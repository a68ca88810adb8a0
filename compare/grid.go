package compare

import (
	"fmt"
	"math"

	"fairpull/scatter"
)

// scalars is the number of scalar columns that follow the nodes, in the order of
// the Metric constants.
const scalars = scatter.Scalars

// Lengths over engine speed in 1/min, for a shared range of 4,500 1/min; they
// scale with the range that the pulls share (docs/method.md).
const (
	referenceRange = 4500.0
	variancesHalf  = 300.0 // half-width of the moving average of variances
	peakHalf       = 300.0 // half-width of the local quadratic that peaks are read on
)

// peakNodes is the least number of nodes under a local quadratic.
const peakNodes = 5

// edgeNodes is how many nodes at either end of the grid cannot hold a peak.
const edgeNodes = 2

// window is a weighted sum over neighbouring nodes, starting at node from.
type window struct {
	from    int
	weights []float64
}

// at returns the weighted sum of y.
func (w window) at(y []float64) float64 {
	var sum float64
	for i, v := range w.weights {
		sum += v * y[w.from+i]
	}
	return sum
}

// grid is the engine speeds of a comparison with what is read off them.
type grid struct {
	rpm     []float64
	lnRPM   []float64
	scale   float64 // shared range over referenceRange
	lo, hi  int     // nodes of the riding band: lo ≤ i < hi
	hasBand bool
	bandRPM [2]float64

	average   []window // moving average of variances; nil: none
	quadratic []window // local quadratic, value at the node
}

// newGrid returns the grid of a question; averaging is the half-width of the
// moving average of variances in 1/min for the reference range, 0 for none.
func newGrid(in *Input, averaging float64) (*grid, error) {
	g := &grid{rpm: in.SpeedRPM, hasBand: in.BandCovered, bandRPM: in.BandRPM}
	k := len(g.rpm)
	g.scale = (g.rpm[k-1] - g.rpm[0]) / referenceRange
	for _, r := range g.rpm {
		g.lnRPM = append(g.lnRPM, math.Log(r))
	}
	if in.BandRPM == [2]float64{} {
		g.bandRPM = [2]float64{g.rpm[0], g.rpm[k-1]}
		g.hasBand = true
	}
	if g.hasBand {
		if err := g.findBand(); err != nil {
			return nil, err
		}
	}
	if averaging > 0 {
		g.average = movingAverage(g.rpm, averaging*g.scale)
	}
	g.quadratic = localQuadratic(g.rpm, peakHalf*g.scale)
	return g, nil
}

// rounding is how near, in 1/min, two engine speeds are taken for the same.
const rounding = 1e-6

// findBand sets the nodes of the riding band. The grid must reach both ends.
func (g *grid) findBand() error {
	k := len(g.rpm)
	if g.bandRPM[0] < g.rpm[0]-rounding || g.bandRPM[1] > g.rpm[k-1]+rounding {
		return fmt.Errorf("the riding band %v to %v 1/min is said to be covered, and the grid runs from %v to %v",
			g.bandRPM[0], g.bandRPM[1], g.rpm[0], g.rpm[k-1])
	}
	for g.rpm[g.lo] < g.bandRPM[0]-rounding {
		g.lo++
	}
	for g.hi = g.lo; g.hi < k && g.rpm[g.hi] <= g.bandRPM[1]+rounding; {
		g.hi++
	}
	if g.hi-g.lo < 2 {
		return fmt.Errorf("the riding band %v to %v 1/min holds %d nodes of the grid", g.bandRPM[0], g.bandRPM[1], g.hi-g.lo)
	}
	return nil
}

// reach returns the nodes within half of node i: from ≤ j < to.
func reach(rpm []float64, i int, half float64) (from, to int) {
	from, to = i, i+1
	for from > 0 && rpm[i]-rpm[from-1] <= half+rounding {
		from--
	}
	for to < len(rpm) && rpm[to]-rpm[i] <= half+rounding {
		to++
	}
	return from, to
}

// movingAverage returns the plain mean over the nodes within half of each node.
func movingAverage(rpm []float64, half float64) []window {
	out := make([]window, len(rpm))
	for i := range rpm {
		from, to := reach(rpm, i, half)
		w := make([]float64, to-from)
		for j := range w {
			w[j] = 1 / float64(len(w))
		}
		out[i] = window{from, w}
	}
	return out
}

// localQuadratic returns, for each node, the weights of the value there of the
// parabola through the nodes within half of it by least squares; where fewer
// than peakNodes lie so near, the nearest that many are taken.
func localQuadratic(rpm []float64, half float64) []window {
	out := make([]window, len(rpm))
	for i := range rpm {
		from, to := reach(rpm, i, half)
		for to-from < peakNodes {
			if to == len(rpm) || from > 0 && rpm[i]-rpm[from-1] <= rpm[to]-rpm[i] {
				from--
			} else {
				to++
			}
		}
		out[i] = window{from, parabolaAt(rpm[from:to], rpm[i])}
	}
	return out
}

// parabolaAt returns the weights that give the value at x0 of the least-squares
// parabola through points at x, in orthogonal polynomials of the points.
func parabolaAt(x []float64, x0 float64) []float64 {
	n := float64(len(x))
	var mean float64
	for _, v := range x {
		mean += v / n
	}
	width := x[len(x)-1] - x[0]
	u := func(v float64) float64 { return (v - mean) / width }
	var s2, s3 float64
	for _, v := range x {
		s2 += square(u(v))
		s3 += square(u(v)) * u(v)
	}
	p2 := func(v float64) float64 { return square(u(v)) - s3/s2*u(v) - s2/n }
	var q2 float64
	for _, v := range x {
		q2 += square(p2(v))
	}
	w := make([]float64, len(x))
	for i, v := range x {
		w[i] = 1/n + u(v)*u(x0)/s2 + p2(v)*p2(x0)/q2
	}
	return w
}

// smoothed returns y on the local parabolas, node by node.
func (g *grid) smoothed(y []float64) []float64 {
	out := make([]float64, len(y))
	for i, w := range g.quadratic {
		out[i] = w.at(y)
	}
	return out
}

// peak is where a configuration's smoothed curve is highest.
type peak struct {
	node int
	edge bool // the highest point lies in the last two nodes of an end
}

// highest returns the peak of a smoothed curve.
func highest(curve []float64) peak {
	top, inner := 0, edgeNodes
	for i, v := range curve {
		if v > curve[top] {
			top = i
		}
		if i >= edgeNodes && i < len(curve)-edgeNodes && v > curve[inner] {
			inner = i
		}
	}
	if curve[top] > curve[inner] {
		return peak{top, true}
	}
	return peak{inner, false}
}

// peaks returns where torque and power of a configuration's mean ln(torque) curve
// peak.
func (g *grid) peaks(mean []float64) (torque, power peak) {
	raised := make([]float64, len(mean))
	for i, v := range mean {
		raised[i] = v + g.lnRPM[i]
	}
	return highest(g.smoothed(mean)), highest(g.smoothed(raised))
}

// columns returns one pull's row: ln(torque) at the nodes, then the ln of its band
// mean (0 without a band), of its smoothed torque at the torque peak, and of its
// smoothed torque times engine speed in 1/min at the power peak. The peaks are
// those of its configuration, not its own, so that no pull picks its own noise.
func (g *grid) columns(logTorque []float64, torque, power peak) []float64 {
	row := make([]float64, len(logTorque)+scalars)
	copy(row, logTorque)
	at := row[len(logTorque):]
	if g.hasBand {
		at[Band] = g.logBandMean(logTorque)
	}
	at[PeakTorque] = g.quadratic[torque.node].at(logTorque)
	w := g.quadratic[power.node]
	for i, v := range w.weights {
		at[PeakPower] += v * (logTorque[w.from+i] + g.lnRPM[w.from+i])
	}
	return row
}

// logBandMean returns ln of the mean torque over the nodes of the band.
func (g *grid) logBandMean(logTorque []float64) float64 {
	top := math.Inf(-1)
	for _, v := range logTorque[g.lo:g.hi] {
		top = max(top, v)
	}
	var sum float64
	for _, v := range logTorque[g.lo:g.hi] {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum/float64(g.hi-g.lo))
}

// averaged replaces the variances at the nodes by their moving average; the
// scalars that follow them stay.
func (g *grid) averaged(variances []float64) []float64 {
	if g.average == nil {
		return variances
	}
	out := make([]float64, len(variances))
	copy(out, variances)
	for i, w := range g.average {
		out[i] = w.at(variances)
	}
	return out
}
