package compare

import (
	"crypto/sha256"
	"math"
)

// defaultDraws is the number of Gaussian draws behind whole-band limits.
const defaultDraws = 20000

// settings are what a test may switch off to meet a bare estimator.
type settings struct {
	averaging float64 // half-width of the moving average of variances, 1/min for the reference range
	peakDraws int     // 0: no peak-bias removal
}

// Compare returns, for each candidate in the order of in.Candidates, its gain over
// the baseline with intervals, the scatter they rest on and a verdict without
// outside doubts (see Comparison.Judge).
//
// Gains are ln(candidate/baseline), so torque and power gain by the same number.
// Pulls are cut into blocks by time; every block counts the same. Where each
// candidate's intervals come from, and where they hold, stands in docs/method.md.
// The result does not depend on the order of in.Pulls nor on the number of cores,
// and in is not modified.
//
// An error names what is wrong with the input: a number that is not finite, a pull
// of another grid, a side without a pull, a setup that comes back after another, a
// confidence outside (0, 1). Too little evidence is not an error but a verdict.
func Compare(in Input) ([]Comparison, error) {
	return compareWith(in, settings{averaging: variancesHalf, peakDraws: peakDraws})
}

func compareWith(in Input, set settings) ([]Comparison, error) {
	if err := in.validate(); err != nil {
		return nil, err
	}
	a, err := analyse(&in, set)
	if err != nil {
		return nil, err
	}
	out := make([]Comparison, len(in.Candidates))
	for i := range out {
		out[i] = a.compare(i + 1)
		out[i].Judge(Doubts{})
	}
	return out, nil
}

// analysis is what all comparisons of a campaign share.
type analysis struct {
	in     *Input
	grid   *grid
	blocks []block
	design *design
	digest [sha256.Size]byte
	limits *quantiles

	peaks  [][2]peak     // of each configuration: torque, power
	rows   [][][]float64 // block, pull, column
	means  [][]float64   // block, column
	noise  *noise
	bias   [][2]float64 // of each configuration's peaks
	drawn  int          // Gaussian draws for whole-band limits
	strays []stray      // pulls and blocks that stand out
}

// analyse works out all that does not depend on the candidate.
func analyse(in *Input, set settings) (*analysis, error) {
	a, err := read(in, set.averaging)
	if err != nil {
		return nil, err
	}
	a.limits, a.drawn = newQuantiles(in.Confidence), in.Draws
	if a.drawn == 0 {
		a.drawn = defaultDraws
	}
	a.digest = digestOf(in, a.blocks)
	a.noise = newNoise(a.grid, a.design, a.means, a.contrasts(), in.History, a.referenceColumn())
	a.bias = make([][2]float64, len(in.Candidates)+1)
	for c := range a.bias {
		a.bias[c][0], a.bias[c][1] = a.peakBias(c, set.peakDraws)
	}
	a.strays = a.findStrays()
	return a, nil
}

// read cuts the pulls into blocks, finds their model and reads every column.
func read(in *Input, averaging float64) (*analysis, error) {
	a := &analysis{in: in}
	var err error
	if a.grid, err = newGrid(in, averaging); err != nil {
		return nil, err
	}
	sorted, err := inOrder(in.Pulls)
	if err != nil {
		return nil, err
	}
	if a.blocks, err = makeBlocks(sorted, in); err != nil {
		return nil, err
	}
	configurations := len(in.Candidates) + 1
	a.design = newDesign(a.blocks, configurations)
	a.readColumns(configurations)
	return a, nil
}

// contrasts returns the orthonormal contrasts of the pulls of all blocks.
func (a *analysis) contrasts() [][]float64 {
	var within [][]float64
	for _, rows := range a.rows {
		within = append(within, contrastsWithin(rows)...)
	}
	return within
}

// readColumns finds the peaks of each configuration and reads every pull's row.
func (a *analysis) readColumns(configurations int) {
	nodeMeans := make([][]float64, len(a.blocks))
	for b := range a.blocks {
		var rows [][]float64
		for _, p := range a.blocks[b].pulls {
			rows = append(rows, p.LogTorque)
		}
		nodeMeans[b] = columnMeans(rows)
	}
	a.peaks = make([][2]peak, configurations)
	for c := range a.peaks {
		a.peaks[c][0], a.peaks[c][1] = a.grid.peaks(weighted(a.design.plain(c), nodeMeans))
	}
	a.rows = make([][][]float64, len(a.blocks))
	a.means = make([][]float64, len(a.blocks))
	for b := range a.blocks {
		at := a.peaks[a.blocks[b].configuration]
		for _, p := range a.blocks[b].pulls {
			a.rows[b] = append(a.rows[b], a.grid.columns(p.LogTorque, at[0], at[1]))
		}
		a.means[b] = columnMeans(a.rows[b])
	}
}

// configurationMean returns the plain mean of a configuration's blocks at the
// nodes.
func (a *analysis) configurationMean(configuration int) []float64 {
	return weighted(a.design.plain(configuration), a.means)[:len(a.grid.rpm)]
}

// column returns the column of a scalar figure.
func (a *analysis) column(m Metric) int { return len(a.grid.rpm) + int(m) }

// referenceColumn is that of the band mean; without one that of the primary peak.
func (a *analysis) referenceColumn() int {
	switch {
	case a.grid.hasBand:
		return a.column(Band)
	case a.in.Primary == PeakPower:
		return a.column(PeakPower)
	}
	return a.column(PeakTorque)
}

// primaryColumn is that of the primary figure, or what stands in for it.
func (a *analysis) primaryColumn() int {
	if a.in.Primary == Band {
		return a.referenceColumn()
	}
	return a.column(a.in.Primary)
}

// compare returns the comparison of one candidate, not judged yet.
func (a *analysis) compare(candidate int) Comparison {
	e := a.estimate(candidate)
	in := a.in
	c := Comparison{
		Baseline: in.Baseline, Candidate: in.Candidates[candidate-1],
		BandRPM: a.grid.bandRPM, Confidence: in.Confidence, SmallestGain: in.SmallestGain, Primary: in.Primary,
		Bracketed: a.design.bracketed(candidate),
		TippingSD: math.NaN(), AtLeastEverywhere: math.NaN(),
	}
	c.DriftBounded = c.Bracketed || in.History.DriftRate.DF > 0 || in.DriftLinear && a.design.timed
	c.Band, c.PeakTorque, c.PeakPower = a.figure(e, Band), a.figure(e, PeakTorque), a.figure(e, PeakPower)
	c.Curve = a.nodes(e)
	a.wholeBand(e, &c)
	c.Scatter = a.scatterOf(e)
	c.Drift = a.drift(e)
	c.Blocks = a.blocksOf(e)
	c.Unusual = a.unusual(candidate)
	c.Parts = e.parts(a.primaryColumn())
	c.TippingSD = a.tipping(e, &c)
	c.SetupsToSettle = a.setupsToSettle(e, &c)
	c.prospect = a.prospect(e)
	return c
}
