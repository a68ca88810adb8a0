package road

import "math"

// piece is a stretch of speeds on which the force that is left to accelerate is
// p + q·v + r·v², in newtons, v in m/s from from to to.
type piece struct{ from, to, p, q, r float64 }

// net returns the force at a speed of the piece.
func (c piece) net(v float64) float64 { return c.p + (c.q+c.r*v)*v }

// stalls returns the first speed of the piece at which no force is left, and whether
// there is one.
func (c piece) stalls() (float64, bool) {
	if c.net(c.from) <= 0 {
		return c.from, true
	}
	v, found := c.root()
	return v, found
}

// root returns the smallest speed in (from, to] at which the force is zero.
func (c piece) root() (float64, bool) {
	best, found := c.to, false
	take := func(v float64) {
		if v > c.from && v <= best {
			best, found = v, true
		}
	}
	if c.r == 0 {
		if c.q != 0 {
			take(-c.p / c.q)
		}
		return best, found
	}
	under := c.q*c.q - 4*c.p*c.r
	if under < 0 {
		return best, false
	}
	// Both roots without cancellation.
	h := -(c.q + math.Copysign(math.Sqrt(under), c.q)) / 2
	take(h / c.r)
	if h != 0 {
		take(c.p / h)
	}
	return best, found
}

// span is a stretch of time in s and way in m, here for a mass of one kilogram.
type span struct{ time, way float64 }

func (s span) plus(o span) span { return span{s.time + o.time, s.way + o.way} }

// The abscissae and weights of the 15-point Kronrod rule and of the 7-point Gauss
// rule within it, on (−1, 1), the positive half. Source: QUADPACK, routine QK15
// [Piessens1983].
var (
	kronrodAt = [8]float64{
		0.991455371120812639206854697526329, 0.949107912342758524526189684047851,
		0.864864423359769072789712788640926, 0.741531185599394439863864773280788,
		0.586087235467691130294144691693313, 0.405845151377397166906606412076961,
		0.207784955007898467600689403773245, 0,
	}
	kronrodWeight = [8]float64{
		0.022935322010529224963732008058970, 0.063092092629978553290700663189204,
		0.104790010322250183839876322541518, 0.140653259715525918745189590510238,
		0.169004726639267902826583426598550, 0.190350578064785409913256402421014,
		0.204432940075298892414161999234649, 0.209482141084727828012999174891714,
	}
	gaussWeight = [4]float64{
		0.129484966168869693270611432679082, 0.279705391489276667901467771423780,
		0.381830050505118944950369775488975, 0.417959183673469387755102040816327,
	}
)

// tolerance is the relative error that each piece is integrated to.
const tolerance = 1e-10

// integrate returns ∫ dv/F and ∫ v·dv/F over a piece on which the force F is
// positive: time and way of one kilogram. It halves a stretch until Kronrod and Gauss
// agree on it.
func integrate(c piece) span { return c.halved(40) }

func (c piece) halved(depth int) span {
	middle, half := (c.from+c.to)/2, (c.to-c.from)/2
	centre := 1 / c.net(middle)
	kronrod := span{kronrodWeight[7] * centre, kronrodWeight[7] * centre * middle}
	gauss := gaussWeight[3] * centre
	for i := range 7 {
		x := half * kronrodAt[i]
		low, high := 1/c.net(middle-x), 1/c.net(middle+x)
		kronrod.time += kronrodWeight[i] * (low + high)
		kronrod.way += kronrodWeight[i] * (low*(middle-x) + high*(middle+x))
		if i%2 == 1 {
			gauss += gaussWeight[i/2] * (low + high)
		}
	}
	// Turned round, so that a result that is no number ends it too.
	if depth == 0 || !(math.Abs(kronrod.time-gauss) > tolerance*math.Abs(kronrod.time)) {
		return span{kronrod.time * half, kronrod.way * half}
	}
	left, right := c, c
	left.to, right.from = middle, middle
	return left.halved(depth - 1).plus(right.halved(depth - 1))
}
