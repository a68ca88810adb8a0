package signal

import "math"

// Lines is a channel's value and slope on an even grid of time, from a straight
// line fitted within HalfWidth of each point.
type Lines struct {
	Time, Value, Slope []float64
	Spacing, HalfWidth float64 // s
}

// maxLines bounds the points of a grid.
const maxLines = 20000

// LinesOf fits straight lines to the samples (t, y), t increasing, at points
// spacing apart from the first sample to the last. Where fewer than four samples
// lie within halfWidth, the four nearest around are used. Fewer than four
// samples in all give an empty result; a log so long that more than 20,000
// points were needed gets a wider spacing.
func LinesOf(t, y []float64, spacing, halfWidth float64) Lines {
	if len(t) < 4 || !(spacing > 0) {
		return Lines{}
	}
	first, last := t[0], t[len(t)-1]
	spacing = math.Max(spacing, (last-first)/maxLines)
	n := int((last-first)/spacing) + 1
	all := make([]float64, 3*n)
	l := Lines{Time: all[:n:n], Value: all[n : 2*n : 2*n], Slope: all[2*n:], Spacing: spacing, HalfWidth: halfWidth}
	lo, hi := 0, 0
	for k := range n {
		centre := first + float64(k)*spacing
		for lo < len(t) && t[lo] < centre-halfWidth {
			lo++
		}
		for hi < len(t) && t[hi] <= centre+halfWidth {
			hi++
		}
		from, to := lo, hi
		for to-from < 4 {
			if from > 0 && (to == len(t) || centre-t[from-1] < t[to]-centre) {
				from--
			} else {
				to++
			}
		}
		l.Time[k] = centre
		l.Value[k], l.Slope[k] = line(t[from:to], y[from:to], centre)
	}
	return l
}

// line returns the value at centre and the slope of the straight line through
// the samples.
func line(t, y []float64, centre float64) (value, slope float64) {
	base := y[0]
	var s1, s2, r0, r1 float64
	for i, ti := range t {
		x := ti - centre
		v := y[i] - base
		s1 += x
		s2 += x * x
		r0 += v
		r1 += x * v
	}
	n := float64(len(t))
	slope = (n*r1 - s1*r0) / (n*s2 - s1*s1)
	return base + (r0-slope*s1)/n, slope
}

// Index returns the grid point nearest to time t.
func (l *Lines) Index(t float64) int {
	if len(l.Time) == 0 {
		return 0
	}
	k := math.Round((t - l.Time[0]) / l.Spacing)
	return int(math.Max(0, math.Min(k, float64(len(l.Time)-1))))
}
