package mixture

import (
	"errors"
	"fmt"
	"math"
)

// Gas is what an analyser reads of the exhaust gas: mole fractions, 0 to 1. HC counts
// molecules of the kind that the analyser is set to.
type Gas struct {
	CO, CO2, HC, O2, NO float64
}

// Basis says whether the water of combustion was in the gas when it was read.
type Basis int

// The two bases. The zero value is neither and is refused.
const (
	Dry Basis = iota + 1 // behind a cooler: the water has condensed
	Wet                  // hot, with its water
)

// Analyser says how to read a gas analyser's figures.
type Analyser struct {
	Gases     Basis   // of CO, CO2 and O2
	HCBasis   Basis   // of HC; zero: as the others
	NOBasis   Basis   // of NO; zero: as the others
	HCCarbons float64 // atoms of carbon counted for one molecule of HC: hexane 6, propane 3, methane 1
}

// Errors of an analysis of exhaust gas.
var (
	ErrAnalyser = errors.New("the analyser's settings do not say how to read it")
	ErrNoGas    = errors.New("this is not the exhaust gas of a running engine")
)

// Validate refuses settings with which figures would be guessed at.
func (a Analyser) Validate() error {
	if a.Gases != Dry && a.Gases != Wet || !known(a.HCBasis) || !known(a.NOBasis) {
		return fmt.Errorf("%w: every basis is dry or wet", ErrAnalyser)
	}
	if !(a.HCCarbons >= 1 && a.HCCarbons <= 20) {
		return fmt.Errorf("%w: HC is counted with %g atoms of carbon a molecule; they lie within 1 to 20 (hexane 6, propane 3)", ErrAnalyser, a.HCCarbons)
	}
	return nil
}

func known(b Basis) bool { return b == 0 || b == Dry || b == Wet }

// waterGas is the constant of the water-gas reaction as Brettschneider took it.
const waterGas = 3.5

// Bounds of a gas that a lambda is found from. Below leastCarbon the probe reads
// air, or a fuel cut; readings a little below zero are an analyser's noise.
const (
	leastCarbon = 0.02
	belowZero   = -0.005
)

// Lambda returns the excess-air ratio that the exhaust gas of the fuel shows:
//
//	     CO2 + CO/2 + O2 + NO/2 + (y/4 · 3.5/(3.5 + CO/CO2) − z/2)·(CO2 + CO)
//	λ = ───────────────────────────────────────────────────────────────────────
//	              (1 + y/4 − z/2)·(CO2 + CO + n·HC)
//
// with the fuel CHyOz and n the atoms of carbon that the analyser counts for one
// molecule of HC. The formula holds for any state of combustion, before a catalyst or
// behind it, as long as no air leaks in; it is a ratio, so it is the same for gases
// that were all read dry and all read wet. Where HC or NO were read on another basis
// than the rest they are brought to that of the rest first, with the water that the
// formula itself takes the gas to hold; humidity of the intake air is left out there,
// which moves lambda by less than 1e-4.
//
// Source: [Brettschneider1979].
func Lambda(f Fuel, a Analyser, g Gas) (float64, error) {
	if err := errors.Join(f.Validate(), a.Validate()); err != nil {
		return 0, err
	}
	lambda := lambdaOf(f, a, g)
	if math.IsNaN(lambda) {
		return 0, fmt.Errorf("%w: CO %.3g, CO2 %.3g, HC %.3g, O2 %.3g, NO %.3g (fractions)", ErrNoGas, g.CO, g.CO2, g.HC, g.O2, g.NO)
	}
	return lambda, nil
}

// lambdaOf is Lambda without its checks of fuel and analyser; NaN where the gas is
// none of an engine.
func lambdaOf(f Fuel, a Analyser, g Gas) float64 {
	carbon := g.CO + g.CO2
	sum := carbon + g.HC + g.O2 + g.NO
	if !(carbon >= leastCarbon && g.CO2 > 0 && sum < 1) || math.Min(math.Min(g.CO, g.HC), math.Min(g.O2, g.NO)) < belowZero {
		return math.NaN()
	}
	water := f.HydrogenCarbon / 2 * carbon * waterGas / (waterGas + g.CO/g.CO2)
	hc, no := g.HC*toBasis(a.HCBasis, a.Gases, water), g.NO*toBasis(a.NOBasis, a.Gases, water)
	oxygen := g.CO2 + g.CO/2 + g.O2 + no/2 + water/2 - f.OxygenCarbon/2*carbon
	return oxygen / (f.demand() * (carbon + a.HCCarbons*hc))
}

// toBasis returns what a figure read on basis from is multiplied by to stand on basis
// to, on which the gas holds that much water.
func toBasis(from, to Basis, water float64) float64 {
	switch {
	case from == 0 || from == to:
		return 1
	case to == Dry: // water is for one mole of dry gas
		return 1 + water
	}
	return 1 - water // water is for one mole of wet gas
}

// WetFromDry returns what a fraction of the dry gas is multiplied by for its fraction
// of the wet gas, the humidity of the intake air left out.
func WetFromDry(f Fuel, dry Gas) float64 {
	carbon := dry.CO + dry.CO2
	return 1 / (1 + f.HydrogenCarbon/2*carbon*waterGas/(waterGas+dry.CO/dry.CO2))
}

// GasSeries returns lambda over time from the channels of an analyser, all of one
// length; hc and no may be nil. It is NaN where a channel is, and where the gas is none
// of a running engine.
func GasSeries(f Fuel, a Analyser, co, co2, hc, o2, no []float64) ([]float64, error) {
	if err := errors.Join(f.Validate(), a.Validate()); err != nil {
		return nil, err
	}
	for _, c := range [][]float64{co, co2, o2, hc, no} {
		if len(c) != len(co2) && c != nil || co == nil || co2 == nil || o2 == nil {
			return nil, fmt.Errorf("%w: CO, CO2 and O2 are needed at the same moments", ErrAnalyser)
		}
	}
	out := make([]float64, len(co2))
	g := Gas{}
	for i := range out {
		g.CO, g.CO2, g.O2 = co[i], co2[i], o2[i]
		if hc != nil {
			g.HC = hc[i]
		}
		if no != nil {
			g.NO = no[i]
		}
		out[i] = lambdaOf(f, a, g)
	}
	return out, nil
}
