package drum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Ways is what several ways of finding one value say together.
type Ways struct {
	Mean Calibrated // weighted by 1/u²
	// Chi2 is Σ (value − mean)²/u², DF its degrees of freedom, P the chance of as
	// large a one where the ways agree within their uncertainties.
	Chi2, DF, P float64
	// Agree is P ≥ 0.05. Where the ways do not agree something in one of them is
	// wrong or was left out, and their mean is no value to rely on.
	Agree bool
	// Off is how far each way is from the mean of the others, in standard
	// uncertainties of that difference.
	Off []float64
}

// CompareWays weighs two or more values of one thing, found independently. What
// they share, such as the mass of one set of weights, is not looked at: the mean is
// then less certain than it says.
//
// Source: weighted mean and χ² of the observed against the stated spread, as in
// textbooks of data analysis; [GUM] has no procedure of its own.
func CompareWays(ways []Calibrated) (Ways, error) {
	if len(ways) < 2 {
		return Ways{}, fmt.Errorf("%w: %d way, and a comparison takes two", ErrCalibration, len(ways))
	}
	for _, w := range ways {
		if !(w.U > 0) || w.check("a way") != nil {
			return Ways{}, fmt.Errorf("%w: %g ± %g cannot be weighed", ErrCalibration, w.Value, w.U)
		}
	}
	out := Ways{DF: float64(len(ways) - 1)}
	mean, u := weighted(ways, -1)
	spread := 0.0
	for i, w := range ways {
		share := u * u / (w.U * w.U)
		spread += share * share / w.DF
		out.Chi2 += (w.Value - mean) * (w.Value - mean) / (w.U * w.U)
		others, otherU := weighted(ways, i)
		out.Off = append(out.Off, (w.Value-others)/math.Hypot(w.U, otherU))
	}
	out.Mean = Calibrated{Value: mean, U: u, DF: math.Inf(1)}
	if spread > 0 {
		out.Mean.DF = 1 / spread
	}
	for i, w := range ways {
		out.Mean.Parts = append(out.Mean.Parts, Part{Name: fmt.Sprintf("way %d", i+1), U: u * u / w.U, DF: w.DF})
	}
	out.P = distuv.ChiSquared{K: out.DF}.Survival(out.Chi2)
	out.Agree = out.P >= 0.05
	return out, nil
}

// weighted returns the weighted mean of all ways but the one at skip, and its
// standard uncertainty.
func weighted(ways []Calibrated, skip int) (mean, u float64) {
	var sum, weights float64
	for i, w := range ways {
		if i != skip {
			sum += w.Value / (w.U * w.U)
			weights += 1 / (w.U * w.U)
		}
	}
	return sum / weights, 1 / math.Sqrt(weights)
}
