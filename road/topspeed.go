package road

import (
	"math"

	"fairpull/curve"
)

// Bound says what ends a top speed.
type Bound string

// The bounds.
const (
	ByResistance  Bound = "resistance"       // no force is left
	ByEngineSpeed Bound = "engine speed"     // the limiter holds
	ByCurve       Bound = "end of the curve" // nothing was measured beyond: at least this fast
)

// Top is a top speed.
type Top struct {
	Speed float64 // m/s
	Gear  int     // from 1
	Bound Bound
}

// TopSpeed returns the highest speed at which the drive force holds the resistance on
// a level road, over all gears. Grip limits it like any other force. A vehicle that no
// gear can hold at any measured engine speed is a *[NotReachedError].
func TopSpeed(v Vehicle, c curve.Curve) (Top, error) {
	d, err := ready(v, c, Question{Kind: Highest})
	if err != nil {
		return Top{}, err
	}
	return d.top()
}

// top returns the top speed.
func (d *drive) top() (Top, error) {
	var best Top
	for gear, k := range d.perMetre {
		pieces := d.fill(gear, d.omega[0]/k, d.limit/k)
		for i := len(pieces) - 1; i >= 0; i-- {
			v, held := pieces[i].highest()
			if !held {
				continue
			}
			if v > best.Speed {
				best = Top{Speed: v, Gear: gear + 1, Bound: ByResistance}
				if i == len(pieces)-1 && v == pieces[i].to {
					best.Bound = ByCurve
					if d.limiter {
						best.Bound = ByEngineSpeed
					}
				}
			}
			break
		}
	}
	if best.Gear == 0 {
		return Top{}, &NotReachedError{Speed: d.omega[0] / d.perMetre[len(d.perMetre)-1], Gear: len(d.perMetre)}
	}
	return best, nil
}

// highest returns the highest speed of the piece at which the force is not negative.
func (c piece) highest() (float64, bool) {
	if c.net(c.to) >= 0 {
		return c.to, true
	}
	// The force is negative at the end: the last root before it is where it became so.
	last, found := 0.0, false
	rest := c
	for {
		v, there := rest.root()
		if !there || v >= c.to {
			break
		}
		last, found = v, true
		rest.from = math.Nextafter(v, math.Inf(1))
	}
	if !found && c.net(c.from) >= 0 {
		return c.from, true
	}
	return last, found
}
