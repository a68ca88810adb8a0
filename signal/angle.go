package signal

import "math"

// Angle is a shaft's angle over time.
type Angle struct {
	Time  []float64 // s, increasing
	Value []float64 // rad
	// Pulses is how many pulses were averaged for one value.
	Pulses int
}

// AngleOf returns the shaft angle at the pulses of the train, per pulses a turn,
// tooth errors taken off where teeth is not nil. group ≥ 1 pulses in a row are
// averaged to one value.
//
// A group's mean angle belongs to its mean moment but for α/2 times the variance
// of the moments in the group, which is taken off with the α of the groups
// around; so grouping moves nothing but the noise.
func AngleOf(tr *Train, per float64, teeth *Teeth, group int) Angle {
	n := len(tr.Time) / group
	a := Angle{Time: make([]float64, n), Value: make([]float64, n), Pulses: group}
	step := 2 * math.Pi / per
	for k := range n {
		times, counts := tr.Time[k*group:(k+1)*group], tr.Count[k*group:(k+1)*group]
		t0, c0 := times[0], counts[0]
		dt, angle := 0.0, 0.0
		for i, t := range times {
			dt += t - t0
			angle += float64(counts[i]-c0) * step
			if teeth != nil {
				angle += teeth.Error[counts[i]%len(teeth.Error)]
			}
		}
		a.Time[k] = t0 + dt/float64(group)
		a.Value[k] = float64(c0)*step + angle/float64(group)
	}
	if group == 1 {
		return a
	}
	a.levelGroups()
	return a
}

// levelReach is over how many groups to each side the acceleration is taken that
// levels a group: enough to leave its noise out, few enough to follow a pull.
const levelReach = 4

// levelGroups takes α/2 times the variance of the moments in a group off each
// value. The values are read before any is changed.
func (a *Angle) levelGroups() {
	n := len(a.Time)
	if n < 2*levelReach+1 {
		return
	}
	even := 1 - 1/float64(a.Pulses*a.Pulses)
	shift := make([]float64, n)
	for k := levelReach; k+levelReach < n; k++ {
		p, q := k-levelReach, k+levelReach
		dt1, dt2 := a.Time[k]-a.Time[p], a.Time[q]-a.Time[k]
		alpha := 2 * ((a.Value[q]-a.Value[k])/dt2 - (a.Value[k]-a.Value[p])/dt1) / (dt1 + dt2)
		group := (dt1 + dt2) / (2 * levelReach) // its duration
		shift[k] = alpha / 2 * group * group / 12 * even
	}
	for k := range a.Value {
		a.Value[k] -= shift[min(max(k, levelReach), n-1-levelReach)]
	}
}

// Speeds returns the mean speeds between neighbouring values, in rad/s, and the
// moments in the middle between them.
func (a *Angle) Speeds() (t, omega []float64) {
	n := max(0, len(a.Time)-1)
	t, omega = make([]float64, n), make([]float64, n)
	for i := range n {
		dt := a.Time[i+1] - a.Time[i]
		t[i] = a.Time[i] + dt/2
		omega[i] = (a.Value[i+1] - a.Value[i]) / dt
	}
	return t, omega
}
