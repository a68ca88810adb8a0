package lab

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/compare"
)

// share is the part of a wheel gain that the coast-downs say is the rig's: less
// loss in tyre and driveline on the candidate's side, as a fraction of wheel
// torque. It is positive where the candidate gained from it.
type share struct {
	Value, Lo, Hi float64
	WithoutWheel  bool // the wheel's inertia is not known; the drum's alone was used
}

// flagged says whether the share is real and large enough to matter.
func (s share) flagged(l Limits) bool {
	return (s.Lo > 0 || s.Hi < 0) && math.Abs(s.Value) > l.CoastShare
}

// Doubt of a setup's own loss that the drum sees beside pull scatter: 2 % of
// the loss, on 8 degrees of freedom (docs/formats.md, coast-down-agreement).
const (
	lossSetupDoubt   = 0.02
	lossSetupDoubtDF = 8
)

// coastShare compares the coast-downs of the sides of c with the weights of its
// gain; where a block has no coast-down, the blocks that have one count alike on
// either side. It is false where a side has none at all.
//
// The loss difference, at the mean speed of all coast-downs, is taken as a
// constant torque over the baseline's drum torque at each node, as a mean over
// the riding band. Its variance is a_e·Q3 + a_u·(0.02·loss)², with Q3 the pooled
// variance of the losses within blocks; without repeated pulls the scatter of
// the blocks about their side takes its place. See docs/method.md.
func (a *Analysis) coastShare(c *compare.Comparison) (share, bool) {
	var s share
	losses := a.lossesAtCommonSpeed(c, &s)
	perTorque := a.meanInverseDrumTorque(c)
	weights, ok := coastWeights(c, losses)
	if !ok || !(perTorque > 0) {
		return s, false
	}
	var difference, mean, blocks, au float64
	bySetup := map[string]float64{}
	for i := range c.Blocks {
		if weights[i] == 0 {
			continue
		}
		m := meanOf(losses[i])
		difference += weights[i] * m
		mean += m
		blocks++
		bySetup[c.Blocks[i].Setup] += weights[i]
	}
	mean /= blocks
	for _, w := range bySetup {
		au += w * w
	}
	pull, dfPull := a.lossVariance(c, losses, weights)
	setup := au * lossSetupDoubt * mean * lossSetupDoubt * mean
	variance := pull + setup
	half := 0.0
	if variance > 0 {
		df := variance * variance / (pull*pull/dfPull + setup*setup/lossSetupDoubtDF)
		half = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.5+c.Confidence/2) * math.Sqrt(variance)
	}
	s.Value = -difference * perTorque
	s.Lo, s.Hi = s.Value-half*perTorque, s.Value+half*perTorque
	return s, true
}

// coastWeights returns the weight of each block's losses.
func coastWeights(c *compare.Comparison, losses [][]float64) ([]float64, bool) {
	weights := make([]float64, len(c.Blocks))
	whole, sideA, sideB := true, 0.0, 0.0
	for i := range c.Blocks {
		b := &c.Blocks[i]
		weights[i] = b.Weight
		switch {
		case losses == nil || len(losses[i]) == 0:
			whole = whole && b.Weight == 0
		case b.Configuration == c.Baseline:
			sideA++
		case b.Configuration == c.Candidate:
			sideB++
		}
	}
	if sideA == 0 || sideB == 0 || losses == nil {
		return nil, false
	}
	if whole {
		return weights, true
	}
	for i := range c.Blocks {
		weights[i] = 0
		switch {
		case len(losses[i]) == 0:
		case c.Blocks[i].Configuration == c.Baseline:
			weights[i] = -1 / sideA
		case c.Blocks[i].Configuration == c.Candidate:
			weights[i] = 1 / sideB
		}
	}
	return weights, true
}

// lossVariance returns the variance of the weighted loss difference that comes
// from pull to pull, (N·m)², and its degrees of freedom.
func (a *Analysis) lossVariance(c *compare.Comparison, losses [][]float64, weights []float64) (variance, df float64) {
	var within, ae, aw float64
	side := map[string][]float64{} // block means
	for i := range c.Blocks {
		if weights[i] == 0 {
			continue
		}
		m := meanOf(losses[i])
		for _, v := range losses[i] {
			within += (v - m) * (v - m)
		}
		df += float64(len(losses[i]) - 1)
		ae += weights[i] * weights[i] / float64(len(losses[i]))
		aw += weights[i] * weights[i]
		side[c.Blocks[i].Configuration] = append(side[c.Blocks[i].Configuration], m)
	}
	if df > 0 {
		return ae * within / df, df
	}
	between := 0.0
	for _, means := range side {
		m := meanOf(means)
		for _, v := range means {
			between += (v - m) * (v - m)
		}
		df += float64(len(means) - 1)
	}
	if df > 0 {
		return aw * between / df, df
	}
	// One coast-down a side: what its own fit doubts is all there is.
	for _, b := range c.Blocks {
		for _, name := range b.Pulls {
			if coast := a.pull(name).Result.Coast; coast != nil {
				variance += coast.MeanStandardError * coast.MeanStandardError
			}
		}
	}
	return variance, lossSetupDoubtDF
}

// lossesAtCommonSpeed returns, for each block of c, the losses of its pulls in
// N·m at the mean speed of all of them.
func (a *Analysis) lossesAtCommonSpeed(c *compare.Comparison, s *share) [][]float64 {
	var omega float64
	n := 0
	for _, b := range c.Blocks {
		for _, name := range b.Pulls {
			if coast := a.pull(name).Result.Coast; coast != nil {
				omega += coast.MeanOmega
				n++
				s.WithoutWheel = s.WithoutWheel || coast.WheelInertia == 0
			}
		}
	}
	if n == 0 {
		return nil
	}
	omega /= float64(n)
	losses := make([][]float64, len(c.Blocks))
	for i, b := range c.Blocks {
		for _, name := range b.Pulls {
			if coast := a.pull(name).Result.Coast; coast != nil {
				k := coast.Coefficients
				losses[i] = append(losses[i], k[0]+omega*(k[1]+omega*k[2]))
			}
		}
	}
	return losses
}

// meanInverseDrumTorque returns the mean over the riding band of one over the
// baseline's drum torque, 1/(N·m).
func (a *Analysis) meanInverseDrumTorque(c *compare.Comparison) float64 {
	var sum float64
	n := 0
	for _, p := range usedPulls(a.Pulls) {
		if p.Configuration != c.Baseline {
			continue
		}
		for i, rpm := range p.Result.Curve.SpeedRPM {
			if i < len(p.Result.DrumTorque) && inBand(rpm, c.BandRPM) && p.Result.DrumTorque[i] > 0 {
				sum += 1 / p.Result.DrumTorque[i]
				n++
			}
		}
	}
	return sum / float64(max(n, 1))
}

func meanOf(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}
