package reduce

import (
	"math"
	"slices"

	"fairpull/curve"
)

// HeldNodes returns the engine speeds, in 1/min, at which the steady points of
// several logs are compared: points whose speeds lie within the rule's tolerance of
// their neighbours belong together, and stand at the node of grid nearest to their
// middle. Only points at full throttle count. grid increases.
func HeldNodes(logs []*Steady, grid []float64, rule SteadyRule) []float64 {
	var nodes []float64
	for _, g := range heldGroups(logs, grid, rule) {
		if len(nodes) == 0 || g.node > nodes[len(nodes)-1] {
			nodes = append(nodes, g.node)
		}
	}
	return nodes
}

// heldGroup is a range of held speeds that are one.
type heldGroup struct {
	low, high, node float64
}

func heldGroups(logs []*Steady, grid []float64, rule SteadyRule) []heldGroup {
	var speeds []float64
	for _, s := range logs {
		for i := range s.Points {
			if p := &s.Points[i]; p.FullThrottle {
				speeds = append(speeds, p.EngineRPM)
			}
		}
	}
	slices.Sort(speeds)
	var groups []heldGroup
	for from := 0; from < len(speeds) && len(grid) > 0; {
		to := from + 1
		for to < len(speeds) && speeds[to]-speeds[to-1] <= math.Max(rule.Tolerance*speeds[to-1], rule.ToleranceRPM) {
			to++
		}
		middle := speeds[(from+to)/2]
		groups = append(groups, heldGroup{speeds[from], speeds[to-1], nearest(grid, middle)})
		from = to
	}
	return groups
}

// nearest returns the value of the increasing grid that is nearest to x.
func nearest(grid []float64, x float64) float64 {
	at := min(searchFrom(grid, x), len(grid)-1)
	if at > 0 && x-grid[at-1] < grid[at]-x {
		at--
	}
	return grid[at]
}

// HeldResults returns what each steady log says at the nodes of HeldNodes, in the
// form of a reduced pull: at each node that the log holds at full throttle, the mean
// of its points, brought from the speed that was held to the node's along the log's
// own course from speed to speed. A result has no phases, no slip within a pull and
// no coast-down; its curve is empty where the log holds none of the nodes.
func HeldResults(logs []*Steady, grid []float64, rule SteadyRule) []*Result {
	groups := heldGroups(logs, grid, rule)
	out := make([]*Result, len(logs))
	for i, s := range logs {
		out[i] = s.result(groups)
	}
	return out
}

func (s *Steady) result(groups []heldGroup) *Result {
	nan := math.NaN()
	out := &Result{
		Phases: Phases{FullThrottle: nan, Start: nan, End: nan, LowRPM: nan, HighRPM: nan, Rule: s.Rule},
		Ratio:  s.Ratio, SlipMax: nan, SlipAt: nan, RatioRise: nan, MaxSurfaceSpeed: s.MaxSurfaceSpeed,
		Lambda: nan, Means: s.means(), Findings: s.Findings,
	}
	if lambda, known := out.Means["lambda"]; known {
		out.Lambda = lambda
	}
	for _, g := range groups {
		s.addNode(out, g)
	}
	if s.RatioMeasured {
		out.SlipMax, out.SlipAt = s.slip()
	}
	if n := out.Curve.Len(); n > 0 {
		out.Phases.LowRPM, out.Phases.HighRPM = out.Curve.SpeedRPM[0], out.Curve.SpeedRPM[n-1]
	}
	return out
}

// addNode adds the mean of the points of a group to a result. Two groups that stand
// at one node are one.
func (s *Steady) addNode(out *Result, g heldGroup) {
	var n, torque, variance, time, omega, drumTorque, alpha float64
	for i := range s.Points {
		p := &s.Points[i]
		if !p.FullThrottle || p.EngineRPM < g.low || p.EngineRPM > g.high {
			continue
		}
		shift := s.slopeAt(p) * (g.node - p.EngineRPM)
		n, torque, variance = n+1, torque+p.Torque+shift, variance+p.StandardError*p.StandardError
		time, omega = time+(p.Start+p.End)/2, omega+p.DrumSpeed*g.node/p.EngineRPM
		drumTorque += p.DrumTorque * (p.Torque + shift) / p.Torque
		alpha += p.SpeedDrift * p.DrumSpeed / p.EngineRPM
	}
	if n == 0 {
		return
	}
	if last := out.Curve.Len() - 1; last >= 0 && out.Curve.SpeedRPM[last] == g.node {
		return
	}
	out.Curve = curve.Curve{
		SpeedRPM:      append(out.Curve.SpeedRPM, g.node),
		Torque:        append(out.Curve.Torque, torque/n),
		StandardError: append(out.Curve.StandardError, math.Sqrt(variance)/n),
	}
	out.Time, out.DrumSpeed, out.DrumTorque = append(out.Time, time/n), append(out.DrumSpeed, omega/n), append(out.DrumTorque, drumTorque/n)
	out.Acceleration, out.Resolution = append(out.Acceleration, alpha/n), append(out.Resolution, math.NaN())
	out.SlopeError, out.SpeedError = append(out.SlopeError, math.Sqrt(variance)/n), append(out.SpeedError, 0)
}

// slopeAt returns the slope of the log's torque over engine speed about a point, N·m
// a 1/min: through the nearest points at full throttle below and above, or the one
// that there is. A log that holds one speed has no slope, and 0 is returned.
func (s *Steady) slopeAt(p *SteadyPoint) float64 {
	below, above := p, p
	apart := func(q *SteadyPoint) bool { return math.Abs(q.EngineRPM-p.EngineRPM) > 0.02*p.EngineRPM }
	for i := range s.Points {
		q := &s.Points[i]
		switch {
		case !q.FullThrottle || !apart(q):
		case q.EngineRPM < p.EngineRPM && (below == p || q.EngineRPM > below.EngineRPM):
			below = q
		case q.EngineRPM > p.EngineRPM && (above == p || q.EngineRPM < above.EngineRPM):
			above = q
		}
	}
	if below == above {
		return 0
	}
	return (above.Torque - below.Torque) / (above.EngineRPM - below.EngineRPM)
}

// slip returns the largest departure of a point's engine turns a drum turn from
// where tyre creep puts it, a fraction, and when: creep grows with the torque, so
// that course is the straight line through all points, or their mean where fewer
// than five leave nothing to depart.
func (s *Steady) slip() (most, at float64) {
	var n, sx, sy, sxx, sxy float64
	each := func(do func(p *SteadyPoint, torque, ratio float64)) {
		for i := range s.Points {
			p := &s.Points[i]
			do(p, p.DrumTorque, p.EngineRPM*math.Pi/30/p.DrumSpeed)
		}
	}
	each(func(_ *SteadyPoint, x, y float64) { n, sx, sy = n+1, sx+x, sy+y })
	each(func(_ *SteadyPoint, x, y float64) {
		sxx += (x - sx/n) * (x - sx/n)
		sxy += (x - sx/n) * (y - sy/n)
	})
	slope := 0.0
	if n >= 5 && sxx > 0 {
		slope = sxy / sxx
	}
	each(func(p *SteadyPoint, x, y float64) {
		if off := math.Abs(y/(sy/n+slope*(x-sx/n)) - 1); off > most {
			most, at = off, p.Start
		}
	})
	return most, at
}

// means returns the mean of every channel over the points, each as long as it was.
func (s *Steady) means() map[string]float64 {
	sum, rows := map[string]float64{}, map[string]float64{}
	for i := range s.Points {
		for name, v := range s.Points[i].Means {
			sum[name] += v * float64(s.Points[i].Rows)
			rows[name] += float64(s.Points[i].Rows)
		}
	}
	for name := range sum {
		sum[name] /= rows[name]
	}
	return sum
}
