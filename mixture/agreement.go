package mixture

import "math"

// Agreement returns sensor minus gas over the visits that have both, as a node without an
// engine speed; ok is false with fewer than two. The common part is that of both readings
// together, and the slope that of the sensor.
func Agreement(visits []Visit, c Common, confidence float64) (n Node, ok bool) {
	if checkConfidence(confidence) != nil {
		return n, false
	}
	var apart, seconds, slope []float64
	for _, v := range visits {
		if d := v.Lambda - v.Gas; !math.IsNaN(d) {
			apart, seconds, slope = append(apart, d), append(seconds, v.Seconds), append(slope, v.Slope)
		}
	}
	if len(apart) < 2 {
		return n, false
	}
	m := meanOf(apart, seconds, slope)
	n = Node{Visits: m.n, Seconds: m.seconds, Lambda: m.value, SD: m.sd, Slope: m.slope}
	n.Lo, n.Hi = m.interval(c, confidence)
	n.AllLo, n.AllHi = n.Lo, n.Hi
	return n, true
}
