package reduce

import (
	"math"
	"slices"

	"fairpull/signal"
)

// bestStretch returns the first and last grid point of the stretch in which
// inside holds, dips of up to dipTime or a line's width bridged, that gains most:
// the sum of the squared slope is largest, so a long gentle roll does not win
// over a pull. It returns -1, -1 where inside never holds.
func (f *finder) bestStretch(inside func(int) bool) (first, last int) {
	bridge := int(math.Max(dipTime, 2*f.lines.HalfWidth) / f.lines.Spacing)
	first, last = -1, -1
	best, sum := 0.0, 0.0
	from, to := -1, -1
	for k, slope := range f.lines.Slope {
		if !inside(k) {
			continue
		}
		if from < 0 || k-to > bridge {
			from, sum = k, 0
		}
		to = k
		if slope > 0 {
			sum += slope * slope
		}
		if sum > best {
			best, first, last = sum, from, to
		}
	}
	return first, last
}

// upEdge returns when the acceleration that is sustained from grid point first on
// set in: the bend of the two straight lines that fit the speeds around best. The
// lines' grid points the way: where the slope first reaches half of its median over
// the half second after. Wide lines, of a sparse log, blur that by their width; the
// bend does not.
func (f *finder) upEdge(first int) float64 {
	ahead := int(settleTime/f.lines.Spacing) + 1
	level := f.medianSlope(first, first+ahead)
	k := first
	for k < len(f.lines.Slope)-1 && f.lines.Slope[k] < level/2 {
		k++
	}
	d := &f.r.drum
	guess := f.lines.Time[k]
	reach := math.Max(2*f.lines.HalfWidth, 5*d.intervalAt(guess))
	lo, hi := within(d.speedTime, guess-1.5*reach, guess+math.Max(1.5*reach, settleTime))
	t, v := d.speedTime[lo:hi], d.speed[lo:hi]
	best, least := guess, math.Inf(1)
	for step := -40; step <= 40; step++ {
		at := guess + reach*float64(step)/40
		if ss, ok := bendSquares(t, v, at); ok && ss < least {
			best, least = at, ss
		}
	}
	return best
}

// bendSquares returns the residual sum of squares of two straight lines that meet
// at the moment at. It reports false with fewer than three samples on either side.
func bendSquares(t, v []float64, at float64) (float64, bool) {
	side := searchFrom(t, at)
	if side < 3 || len(t)-side < 3 {
		return 0, false
	}
	// Regressors 1, x before, x after; the last two never overlap.
	var n, sx, sz, sxx, szz, sv, sxv, szv, svv float64
	for i, ti := range t {
		x, y := ti-at, v[i]-v[0]
		n++
		sv += y
		svv += y * y
		if i < side {
			sx += x
			sxx += x * x
			sxv += x * y
		} else {
			sz += x
			szz += x * x
			szv += x * y
		}
	}
	centre := n - sx*sx/sxx - sz*sz/szz
	if !(centre > 1e-9*n) {
		return 0, false
	}
	a := (sv - sx*sxv/sxx - sz*szv/szz) / centre
	b, c := (sxv-a*sx)/sxx, (szv-a*sz)/szz
	return svv - a*sv - b*sxv - c*szv, true
}

// downEdge returns the last moment before the acceleration that ends near grid
// point last begins to fall: where the slope still stands within 15 % of the fall
// from its level before to the lowest after, less 0.6 of the half-width of the
// lines, which feel the fall that much ahead.
func (f *finder) downEdge(last int) float64 {
	n := len(f.lines.Slope)
	if last+2 >= n {
		return f.r.drum.speedTime[len(f.r.drum.speedTime)-1]
	}
	low := f.lines.Slope[last]
	for k := last; k < min(n, last+24); k++ {
		low = math.Min(low, f.lines.Slope[k])
	}
	high := f.medianSlope(last-28, last-16)
	k := last
	for k > 0 && f.lines.Slope[k] < high-0.15*(high-low) && k > last-28 {
		k--
	}
	return f.lines.Time[k] - 0.6*f.lines.HalfWidth
}

// medianSlope returns the median slope over grid points from first up to last, cut
// to the grid; 0 where nothing is left.
func (f *finder) medianSlope(first, last int) float64 {
	first, last = max(0, first), min(len(f.lines.Slope), last)
	if first >= last {
		return 0
	}
	return signal.Quantile(slices.Clone(f.lines.Slope[first:last]), 0.5)
}

// ratio returns the median of engine over drum speed between two moments, NaN
// with fewer than four engine speeds there.
func (f *finder) ratio(from, to float64) float64 {
	e := &f.r.engine
	lo, hi := within(e.speedTime, from, to)
	if hi-lo < 4 {
		return math.NaN()
	}
	stride := max(1, (hi-lo)/400)
	ratios := make([]float64, 0, 800)
	for i := lo; i < hi; i += stride {
		if v := f.speedAt(e.speedTime[i]); v > 0 {
			ratios = append(ratios, e.speed[i]/v)
		}
	}
	return signal.Quantile(ratios, 0.5)
}

// speedAt returns the drum speed of the grid at time t, by linear interpolation.
func (f *finder) speedAt(t float64) float64 {
	x := (t - f.lines.Time[0]) / f.lines.Spacing
	k := max(0, min(int(x), len(f.lines.Value)-2))
	return f.lines.Value[k] + (f.lines.Value[k+1]-f.lines.Value[k])*(x-float64(k))
}

// engineSpeed returns the engine speed at time t in rad/s from the samples on one
// side of it only (side 1: after, -1: before), or ratio times drum speed where
// there are too few.
func (f *finder) engineSpeed(t, side, ratio float64) float64 {
	e := &f.r.engine
	reach := math.Max(0.3, 8*e.interval)
	lo, hi := within(e.speedTime, math.Min(t, t+side*reach), math.Max(t, t+side*reach))
	if hi-lo >= 5 {
		var fit signal.Fit
		if fit.Over(e.speedTime[lo:hi], e.speed[lo:hi], t, reach, 1) == nil {
			return fit.At(0, t)
		}
	}
	return ratio * f.speedAt(t)
}

// line returns the line of the file that holds the row at time t; 0 for pulses.
func (f *finder) line(t float64) int {
	if f.r.log.Kind != signal.Sampled {
		return 0
	}
	i := min(searchFrom(f.r.drum.time, t), len(f.r.drum.time)-1)
	return lineOf(f.r.log, f.r.drum.row(i))
}
