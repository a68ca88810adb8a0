package report

import "math"

// scale is an axis with round ticks.
type scale struct {
	Lo, Hi float64
	Step   float64
	Places int // decimal places of the tick labels
}

// newScale covers lo to hi with about the wanted number of steps of 1, 2 or 5
// times a power of ten. The ends are those given, not the nearest ticks.
func newScale(lo, hi float64, wanted int) scale {
	if !(hi > lo) {
		lo, hi = lo-1, hi+1
	}
	raw := (hi - lo) / float64(wanted)
	decade := math.Pow(10, math.Floor(math.Log10(raw)))
	step := decade
	for _, m := range []float64{2, 5, 10} { // the nearest by ratio
		if m*decade*step <= raw*raw*1.001 {
			step = m * decade
		}
	}
	return scale{Lo: lo, Hi: hi, Step: step, Places: max(0, int(-math.Floor(math.Log10(step)+1e-9)))}
}

// Ticks returns the multiples of Step within the scale.
func (s scale) Ticks() []float64 {
	var ticks []float64
	for i := math.Ceil(s.Lo/s.Step - 1e-9); i*s.Step <= s.Hi+1e-9*s.Step; i++ {
		ticks = append(ticks, i*s.Step+0) // not −0, which the ceiling of a little less than 0 is
	}
	return ticks
}

// padded widens lo to hi by the given share on either side.
func padded(lo, hi, share float64) (float64, float64) {
	d := (hi - lo) * share
	return lo - d, hi + d
}

// extent gathers the least and the greatest of finite numbers.
type extent struct{ lo, hi float64 }

func newExtent() extent { return extent{math.Inf(1), math.Inf(-1)} }

func (e *extent) add(values ...float64) {
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			e.lo, e.hi = math.Min(e.lo, v), math.Max(e.hi, v)
		}
	}
}

func (e *extent) empty() bool { return e.hi < e.lo }
