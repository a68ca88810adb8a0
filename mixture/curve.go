package mixture

import (
	"maps"
	"math"
	"slices"
)

// Node is the mean mixture at one engine speed at a given load.
type Node struct {
	SpeedRPM float64
	Visits   int
	Seconds  float64
	Lambda   float64 // mean of the visits
	SD       float64 // from visit to visit; NaN with one
	Slope    float64 // mean change of lambda, 1/s
	// Lo and Hi are the interval at this speed alone, NaN with a single visit; AllLo and
	// AllHi hold at once for all engine speeds with [LeastVisits] or more, NaN at others.
	Lo, Hi, AllLo, AllHi float64
}

// Curve returns lambda over engine speed from visits whose cells are stepRPM wide: the
// mean of the visits, each counting alike, with Student's interval over visits. The
// limits for all speeds at once divide what is left of the confidence by the number of
// speeds that have limits (Bonferroni), which holds whatever ties the speeds together.
//
// Visits without a lambda of their own are left out.
func Curve(visits []Visit, stepRPM float64, c Common, confidence float64) ([]Node, error) {
	if err := checkConfidence(confidence); err != nil {
		return nil, err
	}
	type list struct{ lambda, seconds, slope []float64 }
	by := map[int]*list{}
	for _, v := range visits {
		if math.IsNaN(v.Lambda) {
			continue
		}
		l := by[v.Speed]
		if l == nil {
			l = &list{}
			by[v.Speed] = l
		}
		l.lambda, l.seconds, l.slope = append(l.lambda, v.Lambda), append(l.seconds, v.Seconds), append(l.slope, v.Slope)
	}
	limited := 0
	for _, l := range by {
		if len(l.lambda) >= LeastVisits {
			limited++
		}
	}
	all := 1 - (1-confidence)/math.Max(1, float64(limited))
	var out []Node
	for _, speed := range slices.Sorted(maps.Keys(by)) {
		l := by[speed]
		m := meanOf(l.lambda, l.seconds, l.slope)
		n := Node{SpeedRPM: float64(speed) * stepRPM, Visits: m.n, Seconds: m.seconds, Lambda: m.value, SD: m.sd, Slope: m.slope}
		n.Lo, n.Hi = m.interval(c, confidence)
		n.AllLo, n.AllHi = math.NaN(), math.NaN()
		if m.n >= LeastVisits {
			n.AllLo, n.AllHi = m.interval(c, all)
		}
		out = append(out, n)
	}
	return out, nil
}
