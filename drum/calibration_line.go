package drum

import (
	"fmt"
	"math"
)

// Line is a straight line y = Intercept + Slope·x through points by least squares.
type Line struct {
	Intercept, Slope   float64
	InterceptU, SlopeU float64 // standard errors
	Residual           float64 // standard error of estimate: standard deviation of a point about the line
	R2                 float64 // coefficient of determination
	DF                 float64 // points less two
	MeanX              float64

	ssX float64 // sum of squares of x about its mean
	n   float64
}

// FitLine fits a line to three points or more at two different x at least. It
// returns ErrCalibration, wrapped with the reason, where that cannot be.
//
// Source: 40 CFR 1065.602(h) to (k): slope, intercept, standard estimate of error
// and coefficient of determination.
func FitLine(x, y []float64) (Line, error) {
	n := len(x)
	if n < 3 || len(y) != n {
		return Line{}, fmt.Errorf("%w: %d points, and a line takes three", ErrCalibration, n)
	}
	l := Line{n: float64(n), DF: float64(n - 2), MeanX: meanOf(x)}
	meanY := meanOf(y)
	var sxy, ssY float64
	for i := range x {
		dx, dy := x[i]-l.MeanX, y[i]-meanY
		l.ssX += dx * dx
		sxy += dx * dy
		ssY += dy * dy
	}
	if !(l.ssX > 0) || !finite(l.ssX) || !finite(ssY) {
		return Line{}, fmt.Errorf("%w: all points are at one value, or not numbers", ErrCalibration)
	}
	l.Slope = sxy / l.ssX
	l.Intercept = meanY - l.Slope*l.MeanX
	ss := 0.0
	for i := range x {
		r := y[i] - meanY - l.Slope*(x[i]-l.MeanX)
		ss += r * r
	}
	l.Residual = math.Sqrt(ss / l.DF)
	l.R2 = 1
	if ssY > 0 {
		l.R2 = 1 - ss/ssY
	}
	l.SlopeU = l.Residual / math.Sqrt(l.ssX)
	l.InterceptU = l.Residual * math.Sqrt(1/l.n+l.MeanX*l.MeanX/l.ssX)
	return l, nil
}

// At returns the line at x and its standard error.
func (l *Line) At(x float64) (y, u float64) {
	d := x - l.MeanX
	return l.Intercept + l.Slope*x, l.Residual * math.Sqrt(1/l.n+d*d/l.ssX)
}

// linearity are the four criteria of 40 CFR 1065.307, table 1, for readings over
// reference values, both in one unit.
type linearity struct {
	what   string
	offset float64 // of the largest reference
	slope  float64 // departure from 1
	see    float64 // of the largest reference
	r2     float64
}

// Criteria of 40 CFR 1065.307, table 1. Temperatures are in kelvin there.
var (
	linearSpeed       = linearity{what: "speed", offset: 0.0005, slope: 0.02, see: 0.02, r2: 0.990}
	linearTorque      = linearity{what: "torque", offset: 0.01, slope: 0.02, see: 0.02, r2: 0.990}
	linearPressure    = linearity{what: "pressure", offset: 0.01, slope: 0.01, see: 0.01, r2: 0.998}
	linearTemperature = linearity{what: "temperature", offset: 0.01, slope: 0.01, see: 0.01, r2: 0.998}
)

// check returns the four criteria for readings y over reference values x.
func (k linearity) check(x []float64, l Line) []Acceptance {
	nearest, most := math.Inf(1), 0.0
	for _, v := range x {
		if math.Abs(v) < math.Abs(nearest) {
			nearest = v
		}
		most = max(most, math.Abs(v))
	}
	const rule = "40 CFR 1065.307, table 1"
	percent := func(v float64) float64 { return 100 * v / most }
	return []Acceptance{
		atMost(rule, k.what+": offset at the smallest reference, of the largest", percent(nearest*(l.Slope-1)+l.Intercept), 100*k.offset, "%"),
		{Rule: rule, What: k.what + ": slope", Measured: l.Slope, Low: 1 - k.slope, High: 1 + k.slope},
		{Rule: rule, What: k.what + ": standard error of estimate, of the largest reference", Measured: percent(l.Residual), Low: 0, High: 100 * k.see, Unit: "%"},
		{Rule: rule, What: k.what + ": coefficient of determination", Measured: l.R2, Low: k.r2, High: math.Inf(1)},
	}
}
