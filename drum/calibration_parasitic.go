package drum

import (
	"fmt"
	"math"
)

// Parasitic is what the bare drum loses, from coast-downs with nothing on it.
type Parasitic struct {
	Coefficients [3]float64 // c0 + c1·ω + c2·ω², N·m over rad/s
	// Covariance of the coefficients, the inertia's part included.
	Covariance [3][3]float64
	// DF is the degrees of freedom of the scatter from one coast-down to the next;
	// +Inf where there was one alone and only its own noise is known.
	DF           float64
	LowestOmega  float64 // rad/s, between which the torque was measured
	HighestOmega float64
	Coasts       int
	Replicated   bool // more than one: the scatter is known

	inertiaU float64 // relative
	scatter  [3][3]float64
}

// BareDrum finds the bare drum's torque over drum speed from coast-downs with
// nothing on it, of a drum whose inertia in kg·m² is known: the mean of the courses
// of all, fitted by [Coast.Losses]. The uncertainty has two parts: the scatter of
// the courses (of one coast-down alone its own noise), and the inertia, to which the
// torque is proportional.
//
// Each coast-down must fall by an eighth of its speed at least, or its course is no
// curve.
func BareDrum(coasts []Coast, inertia Calibrated) (*Parasitic, error) {
	if len(coasts) == 0 || !(inertia.Value > 0) || !(inertia.U >= 0) {
		return nil, fmt.Errorf("%w: %d coast-downs of a drum of %g kg·m²", ErrCalibration, len(coasts), inertia.Value)
	}
	p := &Parasitic{Coasts: len(coasts), Replicated: len(coasts) > 1, DF: math.Inf(1), HighestOmega: math.Inf(1), inertiaU: inertia.U / inertia.Value}
	var courses [][3]float64
	for k, c := range coasts {
		l, err := c.Losses(Rig{Inertia: inertia.Value})
		if err != nil {
			return nil, fmt.Errorf("coast-down %d: %w", k+1, err)
		}
		first, last := l.Omega[0], l.Omega[len(l.Omega)-1]
		if last-first < 0.125*(last+first)/2 {
			return nil, fmt.Errorf("%w: coast-down %d goes from %.4g to %.4g rad/s only", ErrCalibration, k+1, last, first)
		}
		p.LowestOmega, p.HighestOmega = max(p.LowestOmega, first), min(p.HighestOmega, last)
		courses = append(courses, l.Coefficients)
		if !p.Replicated {
			p.scatter = l.inOmega()
		}
		for i, v := range l.Coefficients {
			p.Coefficients[i] += v / float64(len(coasts))
		}
	}
	if !(p.LowestOmega < p.HighestOmega) {
		return nil, fmt.Errorf("%w: the coast-downs share no speeds", ErrCalibration)
	}
	if p.Replicated {
		p.DF = float64(len(coasts) - 1)
		p.scatter = scatterOf(courses, p.Coefficients)
	}
	for i, a := range p.Coefficients {
		for j, b := range p.Coefficients {
			p.Covariance[i][j] = p.scatter[i][j] + p.inertiaU*p.inertiaU*a*b
		}
	}
	return p, nil
}

// inOmega returns the covariance of the coefficients over ω itself.
func (l *Losses) inOmega() [3][3]float64 {
	u, s := l.centre, l.scale
	turn := [3][3]float64{{1, -u / s, u * u / (s * s)}, {0, 1 / s, -2 * u / (s * s)}, {0, 0, 1 / (s * s)}}
	var out [3][3]float64
	for i := range turn {
		for j := range turn {
			for a := range turn {
				for b := range turn {
					out[i][j] += turn[i][a] * l.covariance[a][b] * turn[j][b]
				}
			}
		}
	}
	return out
}

// scatterOf returns the covariance of the mean of courses.
func scatterOf(courses [][3]float64, mean [3]float64) [3][3]float64 {
	var out [3][3]float64
	n := float64(len(courses))
	for _, c := range courses {
		for i := range c {
			for j := range c {
				out[i][j] += (c[i] - mean[i]) * (c[j] - mean[j]) / (n * (n - 1))
			}
		}
	}
	return out
}

// At returns the bare drum's torque in N·m at drum speed omega in rad/s.
func (p *Parasitic) At(omega float64) Calibrated {
	g := [3]float64{1, omega, omega * omega}
	v := 0.0
	for i := range g {
		for j := range g {
			v += g[i] * p.scatter[i][j] * g[j]
		}
	}
	torque := Polynomial(p.Coefficients, omega)
	name := fmt.Sprintf("scatter of %d coast-downs", p.Coasts)
	if !p.Replicated {
		name = "noise of the record"
	}
	return combined(torque, Part{Name: name, U: math.Sqrt(max(0, v)), DF: p.DF, Scatter: true}, Part{Name: "drum inertia", U: p.inertiaU * math.Abs(torque), DF: math.Inf(1)})
}

// AcceptParasitic holds the course against an earlier one, as force at the surface
// of a drum of the given radius in m: 40 CFR 1066.255(c), (d).
func (p *Parasitic) AcceptParasitic(before [3]float64, radius float64) []Acceptance {
	least, worst := math.Inf(1), 0.0
	for k := range points {
		omega := p.LowestOmega + (p.HighestOmega-p.LowestOmega)*float64(k)/(points-1)
		force := Polynomial(p.Coefficients, omega) / radius
		least = min(least, force)
		if d := force - Polynomial(before, omega)/radius; math.Abs(d) > math.Abs(worst) {
			worst = d
		}
	}
	return []Acceptance{
		{Rule: "40 CFR 1066.255(c)", What: "least parasitic force", Measured: least, Low: 0, High: math.Inf(1), Unit: "N"},
		atMost("40 CFR 1066.255(d)", "largest departure from the curve in use", worst, 9.0, "N"),
	}
}

// AcceptCoastForce holds the mean force of a coast-down over each stretch between
// speeds, given in m/s and falling, against the force that the rig's own inertia
// and course say: 40 CFR 1066.270(d)(1), 9.8 N (2.2 lbf) whatever the force. times
// are in s, one a stretch.
func AcceptCoastForce(speeds, times []float64, inertia, radius float64, parasitic [3]float64) ([]Acceptance, error) {
	if len(speeds) != len(times)+1 || len(times) == 0 || !(radius > 0) || !(inertia > 0) {
		return nil, fmt.Errorf("%w: %d speeds and %d times", ErrCalibration, len(speeds), len(times))
	}
	mass := EquivalentMass(inertia, radius)
	var out []Acceptance
	for i, t := range times {
		from, to := speeds[i], speeds[i+1]
		if !(t > 0) || !(from > to) || !(to > 0) {
			return nil, fmt.Errorf("%w: from %g to %g m/s in %g s", ErrCalibration, from, to, t)
		}
		course := Losses{Coefficients: parasitic}
		want, err := course.Time(inertia, [3]float64{}, from/radius, to/radius)
		if err != nil {
			return nil, err
		}
		force, target := -MeanForce(mass, from, to, t), -MeanForce(mass, from, to, want)
		out = append(out, atMost("40 CFR 1066.270(d)(1)", fmt.Sprintf("coast-down force from %.0f to %.0f km/h", 3.6*from, 3.6*to), 100*(force/target-1), 100*coastForceLimit/target, "%"))
	}
	return out, nil
}

// coastForceLimit is 2.2 lbf in N.
const coastForceLimit = 2.2 * 4.4482216152605
