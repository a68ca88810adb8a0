package compare

import (
	"errors"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// quantilesAt returns quantiles of the courses at a node.
func quantilesAt(courses [][]float64, node int, p ...float64) []float64 {
	values := make([]float64, len(courses))
	for i, c := range courses {
		values[i] = c[node]
	}
	out := make([]float64, len(p))
	for i := range p {
		out[i] = quantileOf(values, p[i])
	}
	return out
}

// Courses of the ladder of testdata/steps.json: at every engine speed their quantiles
// are the limits that R's lm and vcov give for the gain (testdata/steps.R). The error
// of a quantile of N draws is √(p(1−p)/N)/f, f the density there: for Student's t it
// follows in closed form, and five of it are allowed.
func TestCoursesScatterAsRHasIt(t *testing.T) {
	const draws = 20_000
	seen := 0
	for name, l := range readLaddered(t) {
		in := l.input()
		for _, c := range l.Contrasts {
			if c.Weights["A"] != -1 || c.Weights["B"] != 1 {
				continue
			}
			seen++
			courses, err := Courses(in, "B", draws)
			if err != nil {
				t.Fatal(name, err)
			}
			law := distuv.StudentsT{Sigma: 1, Nu: l.DF}
			allowed := func(p float64) float64 {
				return 5 * math.Sqrt(p*(1-p)/draws) / law.Prob(law.Quantile(p)) * c.SE
			}
			for node := range in.SpeedRPM {
				q := quantilesAt(courses, node, 0.025, 0.5, 0.975)
				within(t, name+", low", q[0], c.Lo, allowed(0.025))
				within(t, name+", middle", q[1], c.Estimate, allowed(0.5))
				within(t, name+", high", q[2], c.Hi, allowed(0.975))
			}
			// All pulls moved alike at all engine speeds, so a course is nearly straight: the
			// correlation of its ends is that of the target's common part at least.
			ends := [2][]float64{}
			for _, c := range courses {
				ends[0], ends[1] = append(ends[0], c[0]), append(ends[1], c[len(c)-1])
			}
			if r := correlationOf(ends[0], ends[1]); r < mostCommon {
				t.Errorf("%s: the ends of the courses correlate by %.3f, and the pulls moved as one", name, r)
			}
		}
	}
	if seen == 0 {
		t.Error("no contrast of B against A was looked at")
	}
}

// correlationOf is the correlation coefficient of two series.
func correlationOf(x, y []float64) float64 {
	mx, my := 0.0, 0.0
	for i := range x {
		mx += x[i] / float64(len(x))
		my += y[i] / float64(len(y))
	}
	var xx, yy, xy float64
	for i := range x {
		xx += square(x[i] - mx)
		yy += square(y[i] - my)
		xy += (x[i] - mx) * (y[i] - my)
	}
	return xy / math.Sqrt(xx*yy)
}

// What holds for the whole band at once must hold of the courses: of all courses the
// share that the confidence says stays within the whole-band limits.
func TestCoursesStayWithinTheWholeBand(t *testing.T) {
	const draws = 20_000
	in := noisyInput()
	all, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	courses, err := Courses(in, "B", draws)
	if err != nil {
		t.Fatal(err)
	}
	stays := 0
	for _, c := range courses {
		out := slices.ContainsFunc(all[0].Curve, func(n Node) bool {
			g := c[slices.Index(in.SpeedRPM, n.RPM)]
			return !math.IsNaN(n.BandLo) && (g < n.BandLo || g > n.BandHi)
		})
		if !out {
			stays++
		}
	}
	// Both are simulated: the factor's error is 0.031 at five degrees of freedom
	// (docs/method.md, section 18), which moves the share by some 0.6 %.
	if share := float64(stays) / draws; math.Abs(share-in.Confidence) > 0.012 {
		t.Errorf("%.3f of the courses stay within the limits for the whole band, which hold with %.2f", share, in.Confidence)
	}
}

// noisyInput is an invented campaign A-B-A-B in four setups whose scatter is partly
// common to all engine speeds and partly not.
func noisyInput() Input {
	from := newSource([32]byte{7}, 1, 0)
	in := Input{Baseline: "A", Candidates: []string{"B"}, BandCovered: true, Confidence: 0.95, History: History{Setup: Spread{0.007, 12}, Pull: Spread{0.004, 40}}}
	for i := range 41 {
		in.SpeedRPM = append(in.SpeedRPM, 3000+100*float64(i))
	}
	n := make([]float64, 4*3*(len(in.SpeedRPM)+1)+4)
	from.fill(n)
	next := func() float64 { v := n[0]; n = n[1:]; return v }
	for b, side := range []string{"A", "B", "A", "B"} {
		setup := 0.007 * next()
		for k := range 3 {
			p := Pull{Name: string(rune('a'+b)) + string(rune('0'+k)), Configuration: side, Setup: string(rune('s' + b)), Hours: float64(b) + float64(k)/10}
			pull := 0.003 * next()
			for _, r := range in.SpeedRPM {
				y := 4 - square((r-5000)/4000) + setup + pull + 0.002*next()
				if side == "B" {
					y += 0.04
				}
				p.LogTorque = append(p.LogTorque, y)
			}
			in.Pulls = append(in.Pulls, p)
		}
	}
	return in
}

func TestCoursesRefuse(t *testing.T) {
	in := noisyInput()
	if _, err := Courses(in, "Z", 1000); err == nil {
		t.Error("courses of a candidate that there is none of")
	}
	for _, draws := range []int{-1, 0, 99, maxCourses + 1} {
		if _, err := Courses(in, "B", draws); err == nil {
			t.Errorf("%d courses were drawn", draws)
		}
	}
	one := in
	one.History = History{}
	one.Pulls = []Pull{in.Pulls[0], in.Pulls[3]}
	if _, err := Courses(one, "B", 1000); !errors.Is(err, ErrNoInterval) {
		t.Errorf("one pull on each side: %v, and not %v", err, ErrNoInterval)
	}
}

func BenchmarkCourses(b *testing.B) {
	in := noisyInput()
	for b.Loop() {
		if _, err := Courses(in, "B", 4000); err != nil {
			b.Fatal(err)
		}
	}
}
