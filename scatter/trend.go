package scatter

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Found is the mean square of one level that one campaign found, with its time in any
// unit since any fixed moment.
type Found struct {
	Time float64
	MeanSquare
}

// Limits is an SD with its confidence limits.
type Limits struct{ SD, Lo, Hi float64 }

// Course is the scatter of one level over time.
type Course struct {
	Points []Limits // of each campaign, in the order given

	// Known is true from three campaigns at two or more times on; else the other
	// figures are NaN.
	Known bool
	// PerTime is the change of ln(SD) in a unit of time, with its standard error,
	// limits and p value against no change, on DF degrees of freedom.
	PerTime, SE, DF float64
	Lo, Hi, P       float64
}

// Trend returns the SDs of campaigns with their confidence limits, by the
// distribution of chi-square, and the trend of the logarithm of the SD over time.
//
// The trend is that of variances that follow chi-square distributions about a mean
// whose logarithm is a straight line in time: a generalised linear model with gamma
// distribution and logarithmic link, each variance weighing by its degrees of
// freedom. Where campaigns spread more about the line than chance makes them, the
// standard error grows with that spread; it never shrinks. The p value is that of
// Student's t on campaigns less two.
//
// A confidence outside (0, 1), a variance that is not finite, below zero or without
// degrees of freedom is an error.
func Trend(found []Found, confidence float64) (Course, error) {
	nan := math.NaN()
	c := Course{PerTime: nan, SE: nan, DF: nan, Lo: nan, Hi: nan, P: nan}
	if !(confidence > 0 && confidence < 1) {
		return c, fmt.Errorf("confidence %v is not between 0 and 1", confidence)
	}
	variances := make([]float64, len(found))
	for i, f := range found {
		variances[i] = f.Value()
		if !(f.DF > 0) || !(f.SS >= 0) || math.IsInf(variances[i], 0) || math.IsNaN(f.Time) || math.IsInf(f.Time, 0) {
			return c, fmt.Errorf("campaign %d: sum of squares %v on %v degrees of freedom at %v", i+1, f.SS, f.DF, f.Time)
		}
		chi := distuv.ChiSquared{K: f.DF}
		c.Points = append(c.Points, Limits{
			SD: math.Sqrt(variances[i]),
			Lo: math.Sqrt(f.SS / chi.Quantile((1+confidence)/2)),
			Hi: math.Sqrt(f.SS / chi.Quantile((1-confidence)/2)),
		})
	}
	raised, ok := floored(variances)
	if !ok || len(found) < 3 {
		return c, nil
	}
	l := newLogLine(found, raised)
	if l.spread == 0 {
		return c, nil
	}
	l.fit()
	c.Known = true
	c.DF = float64(len(found) - 2)
	c.PerTime = l.slope / 2 // of ln SD, half that of ln variance
	c.SE = math.Sqrt(max(1, l.pearson()/c.DF)/l.spread) / 2
	t := distuv.StudentsT{Sigma: 1, Nu: c.DF}
	half := t.Quantile((1+confidence)/2) * c.SE
	c.Lo, c.Hi = c.PerTime-half, c.PerTime+half
	c.P = 2 * t.CDF(-math.Abs(c.PerTime)/c.SE)
	return c, nil
}

// logLine is a straight line for the logarithm of variances.
type logLine struct {
	x, y, w      []float64 // time from its weighted mean, variance, half the degrees of freedom
	weight       float64   // sum of w
	spread       float64   // sum of w·x²
	level, slope float64
}

func newLogLine(found []Found, variances []float64) *logLine {
	l := &logLine{y: variances}
	var mean, pooled float64
	for i, f := range found {
		l.w = append(l.w, f.DF/2)
		l.weight += l.w[i]
		mean += l.w[i] * f.Time
		pooled += l.w[i] * variances[i]
	}
	mean /= l.weight
	l.level = math.Log(pooled / l.weight)
	for i, f := range found {
		l.x = append(l.x, f.Time-mean)
		l.spread += l.w[i] * l.x[i] * l.x[i]
	}
	return l
}

// fit finds the line of greatest likelihood by Fisher's scoring. The likelihood has
// one top and scoring steps lead up to it, so that a step which goes too far needs
// only be halved.
func (l *logLine) fit() {
	loss := l.loss(l.level, l.slope)
	for range 200 {
		var up, tilt float64
		for i, y := range l.y {
			r := l.w[i] * (y*math.Exp(-l.level-l.slope*l.x[i]) - 1)
			up += r / l.weight
			tilt += r * l.x[i] / l.spread
		}
		step := 1.0
		next := l.loss(l.level+up, l.slope+tilt)
		for !(next <= loss) && step > 1e-12 {
			step /= 2
			next = l.loss(l.level+step*up, l.slope+step*tilt)
		}
		if !(next <= loss) {
			return // no step leads further: rounding is all that is left
		}
		l.level, l.slope = l.level+step*up, l.slope+step*tilt
		small := up*up*l.weight+tilt*tilt*l.spread < 1e-24*l.weight
		loss = next
		if small {
			return
		}
	}
}

// loss is the negative log likelihood, but for what the line does not change.
func (l *logLine) loss(level, slope float64) float64 {
	var sum float64
	for i, y := range l.y {
		eta := level + slope*l.x[i]
		sum += l.w[i] * (eta + y*math.Exp(-eta))
	}
	return sum
}

// pearson returns the sum of squares of the variances about the line in units of
// their own chance scatter: about one a campaign where there is only chance.
func (l *logLine) pearson() float64 {
	var sum float64
	for i, y := range l.y {
		r := y*math.Exp(-l.level-l.slope*l.x[i]) - 1
		sum += l.w[i] * r * r
	}
	return sum
}
