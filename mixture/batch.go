package mixture

import (
	"fmt"
	"math"
)

// BatchRule says which stretches of a log are one point of a mixture loop. All fields
// must be above zero.
type BatchRule struct {
	Seconds float64 // length of a stretch
	Speed   float64 // engine speed stays within this fraction of where it began
	Load    float64 // load stays within this, in its own unit; not looked at without a load
	Apart   float64 // s: a longer pause between rows ends a stretch
	Low     float64 // bounds of lambda, as in [Rule]
	High    float64
}

// DefaultBatches returns stretches of two seconds within 1 % of engine speed and a
// fiftieth of the load's range. The figures are common practice.
func DefaultBatches(loadRange float64) BatchRule {
	return BatchRule{Seconds: 2, Speed: 0.01, Load: loadRange / 50, Apart: 0.5, Low: 0.65, High: 1.35}
}

// Batches cuts a log into stretches in which the engine held its speed and load, with
// mean lambda (its lag taken out as in [Visits]) and mean torque of each. torque is as
// long as the series, in any unit; NaN: not known.
func Batches(s Series, torque []float64, r BatchRule) ([]LoopPoint, error) {
	for _, v := range []float64{r.Seconds, r.Speed, r.Apart, r.Low} {
		if !(v > 0) {
			return nil, fmt.Errorf("a rule of batches needs figures above zero: %+v", r)
		}
	}
	n := len(s.Time)
	if len(torque) != n || len(s.Speed) != n || len(s.Lambda.Values) != n || s.Load != nil && len(s.Load) != n {
		return nil, fmt.Errorf("a series of %d moments with %d torques", n, len(torque))
	}
	var out []LoopPoint
	var area, speed, load, power float64
	first := -1
	for i := range n {
		if first >= 0 && (s.Time[i]-s.Time[i-1] > r.Apart || !s.holds(first, i, torque, r)) {
			first = -1
		}
		if first < 0 {
			if s.holds(i, i, torque, r) {
				first, area, speed, load, power = i, 0, 0, 0, 0
			}
			continue
		}
		dt := s.Time[i] - s.Time[i-1]
		between := func(v []float64) float64 { return (v[i] + v[i-1]) / 2 * dt }
		area, speed, power = area+between(s.Lambda.Values), speed+between(s.Speed), power+between(torque)
		if s.Load != nil {
			load += between(s.Load)
		}
		if span := s.Time[i] - s.Time[first]; span >= r.Seconds {
			lambda := (area + s.Lambda.Lag*(s.Lambda.Values[i]-s.Lambda.Values[first])) / span
			out = append(out, LoopPoint{Start: s.Time[first], SpeedRPM: speed / span, Load: load / span, Lambda: lambda, Torque: power / span})
			first = -1
			if s.holds(i, i, torque, r) {
				first, area, speed, load, power = i, 0, 0, 0, 0
			}
		}
	}
	return out, nil
}

// holds says whether row i belongs to the stretch that began at row first.
func (s *Series) holds(first, i int, torque []float64, r BatchRule) bool {
	lambda := s.Lambda.Values[i]
	if !(lambda >= r.Low && lambda <= r.High) || torque[i]-torque[i] != 0 || !(s.Speed[i] > 0) {
		return false
	}
	if s.Load != nil && !(math.Abs(s.Load[i]-s.Load[first]) <= r.Load) {
		return false
	}
	return math.Abs(s.Speed[i]/s.Speed[first]-1) <= r.Speed
}

// Loops gathers points by the cell of engine speed and load in which they lie and fits a
// sensitivity to each cell that holds a loop. Cells without one are passed over: most of
// a log is no loop. The steps are those of [Rule].
func Loops(points []LoopPoint, speedStep, loadStep, confidence float64) ([]*Sensitivity, []LoopPoint, error) {
	if err := checkConfidence(confidence); err != nil {
		return nil, nil, err
	}
	var order [][2]int
	by := map[[2]int][]LoopPoint{}
	for _, p := range points {
		cell := [2]int{int(math.Round(p.SpeedRPM / speedStep)), 0}
		if loadStep > 0 {
			cell[1] = int(math.Round(p.Load / loadStep))
		}
		if by[cell] == nil {
			order = append(order, cell)
		}
		by[cell] = append(by[cell], p)
	}
	var found []*Sensitivity
	var used []LoopPoint
	for _, cell := range order {
		if s, err := FitLoop(by[cell], confidence); err == nil {
			found = append(found, s)
			used = append(used, by[cell]...)
		}
	}
	return found, used, nil
}
