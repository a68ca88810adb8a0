package compare

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"slices"
)

// RigSide is the campaign of one rig, and the configuration whose level there is held
// against that on another rig.
type RigSide struct {
	Input         Input // as Compare takes it
	Configuration string
	// Placement is what the correction would add were it applied to wheel plus loss
	// instead of the wheel alone, a fraction of the level; 0: not known.
	Placement float64
}

// RigLevel is the level of one configuration on one rig with all that one more
// strapping-down would change of it.
type RigLevel struct {
	Band     float64      // N·m, mean over the riding band; NaN without one
	BandHalf float64      // half of its interval by the scatter, as a share: the mean over the band's nodes; NaN where it is not known
	LnFactor float64      // ln of the correction factor, as the level weighs its blocks
	Blocks   int          // of the configuration
	Pulls    int          // of the configuration
	Setups   int          // of the configuration
	Scatter  LevelScatter // of the band; zero where it is not known
	Known    bool         // setup scatter and pull scatter are known
	Reason   Reason       // why not

	// Values are the means of the configuration's setups, ln: over the band and at
	// each node of the grid. They are what a study of three rigs or more rests on.
	Values     []float64
	NodeValues [][]float64 // setup, node

	in       *Input
	a        *analysis
	w        []float64
	level    []float64 // ln, by column
	variance []variance
	place    float64
}

// RigNode is the bias at one engine speed: ln of the level on the second rig over that
// on the first. BandLo and BandHi hold for the whole riding band at once; NaN outside.
type RigNode struct {
	RPM            float64
	First, Second  float64 // N·m
	Bias, SE, DF   float64
	Lo, Hi         float64
	BandLo, BandHi float64
}

// RigBias is what one rig reads of a vehicle against another. Without Interval its
// limits, errors and degrees of freedom are NaN.
type RigBias struct {
	Confidence float64
	Interval   bool
	HasBand    bool
	BandRPM    [2]float64

	Bias, SE, DF, Lo, Hi float64 // over the riding band, ln; NaN without HasBand
	Weather, Placement   float64 // variances within SE², ln²

	Curve                        []RigNode
	WholeBandFactor, WholeBandDF float64
}

// ReadRig reads the level of a configuration on its rig, at the mean time of the
// campaign. Errors are those of Compare, and a configuration without pulls.
//
// The scatter is that of the whole campaign, pooled with its history as Compare pools
// it. The scatter of setups is always in it, also where the campaign has one setup
// only: between rigs it does not drop out.
func ReadRig(s RigSide) (*RigLevel, error) {
	in := s.Input
	if err := in.validate(); err != nil {
		return nil, err
	}
	if err := finite("what the place of the correction changes", s.Placement); err != nil {
		return nil, err
	}
	at := slices.Index(append([]string{in.Baseline}, in.Candidates...), s.Configuration)
	if at < 0 {
		return nil, fmt.Errorf("there is no configuration %q", s.Configuration)
	}
	a, err := read(&in, variancesHalf)
	if err != nil {
		return nil, err
	}
	a.digest = digestOf(&in, a.blocks)
	a.noise = newNoise(a.grid, a.design, a.means, a.contrasts(), in.History, a.referenceColumn())
	if n := a.noise; n.layout == oneSetup {
		n.layout, n.setup = mixed, a.grid.setupHistory(in.History, nil)
		n.setupKnown = n.setup.known()
	}
	r := &RigLevel{Band: math.NaN(), BandHalf: math.NaN(), in: &in, a: a, place: s.Placement, w: a.design.level(at)}
	r.level = weighted(r.w, a.means)
	for b, w := range r.w {
		r.LnFactor += w * a.blocks[b].lnFactor
	}
	if a.grid.hasBand {
		r.Band = math.Exp(r.level[a.column(Band)])
	}
	r.setups(at)
	r.scatter()
	return r, nil
}

// At is the level at node k of the grid, N·m.
func (r *RigLevel) At(k int) float64 { return math.Exp(r.level[k]) }

// setups gathers the means of the setups of a configuration.
func (r *RigLevel) setups(configuration int) {
	a := r.a
	of := map[int][][]float64{}
	for b := range a.blocks {
		if a.blocks[b].configuration != configuration {
			continue
		}
		r.Blocks++
		r.Pulls += len(a.blocks[b].pulls)
		of[a.blocks[b].setup] = append(of[a.blocks[b].setup], a.means[b])
	}
	r.Setups = len(of)
	for setup := range a.design.setups {
		if len(of[setup]) == 0 {
			continue
		}
		mean := columnMeans(of[setup])
		r.NodeValues = append(r.NodeValues, mean[:len(a.grid.rpm)])
		if a.grid.hasBand {
			r.Values = append(r.Values, mean[a.column(Band)])
		}
	}
}

// scatter works out what is known of the level's variance.
func (r *RigLevel) scatter() {
	n := r.a.noise
	switch {
	case !n.intervals():
		r.Reason = PullScatterUnknown
		return
	case !n.setupKnown:
		r.Reason = SetupScatterUnknown
		return
	}
	r.Known = true
	r.variance = n.variances(r.w)
	if r.a.grid.hasBand {
		limits, sum := newQuantiles(r.in.Confidence), 0.0
		g := r.a.grid
		for _, v := range r.variance[g.lo:g.hi] {
			sum += limits.twoSided(v.df) * math.Sqrt(v.v)
		}
		r.BandHalf = sum / float64(g.hi-g.lo)
		v := r.variance[r.a.column(Band)]
		r.Scatter = LevelScatter{Setup: v.setup, Block: v.block, Pull: v.pull, DF: v.df}
	}
}

// BiasBetween returns the bias of the second rig against the first: what it reads more
// of the same vehicle, as a difference of ln(torque).
//
// The rigs are taken as independent; the degrees of freedom of the difference are those
// of Welch and Satterthwaite. The doubt of the correction's exponent enters by the
// difference of the correction factors, and the doubt of where the correction applies.
// What the vehicle itself changed between the campaigns is in the bias and in no
// interval. Levels on different grids or of different confidence are an error.
func BiasBetween(first, second *RigLevel) (*RigBias, error) {
	a, b := first.a, second.a
	switch {
	case !slices.Equal(a.grid.rpm, b.grid.rpm) || a.grid.lo != b.grid.lo || a.grid.hi != b.grid.hi || a.grid.hasBand != b.grid.hasBand:
		return nil, errors.New("the levels of two rigs must stand on one grid with one riding band")
	case first.in.Confidence != second.in.Confidence:
		return nil, fmt.Errorf("one rig asks for a confidence of %g, the other for %g", first.in.Confidence, second.in.Confidence)
	}
	nan := math.NaN()
	out := &RigBias{
		Confidence: first.in.Confidence, Interval: first.Known && second.Known, HasBand: a.grid.hasBand, BandRPM: a.grid.bandRPM,
		Bias: nan, SE: nan, DF: nan, Lo: nan, Hi: nan, Weather: nan, Placement: nan, WholeBandFactor: nan, WholeBandDF: nan,
	}
	for k, rpm := range a.grid.rpm {
		out.Curve = append(out.Curve, RigNode{
			RPM: rpm, First: math.Exp(first.level[k]), Second: math.Exp(second.level[k]), Bias: second.level[k] - first.level[k],
			SE: nan, DF: nan, Lo: nan, Hi: nan, BandLo: nan, BandHi: nan,
		})
	}
	if out.HasBand {
		k := a.column(Band)
		out.Bias = second.level[k] - first.level[k]
	}
	if out.Interval {
		out.limits(first, second)
	}
	return out, nil
}

// limits fills in the intervals.
func (o *RigBias) limits(first, second *RigLevel) {
	limits := newQuantiles(o.Confidence)
	u := first.in.ExponentU
	if u.DF == 0 {
		u = Spread{SD: defaultExponentU, DF: judgedDF}
	}
	weather := term{PartWeather, square((second.LnFactor - first.LnFactor) * u.SD), u.DF}
	placement := placementTerm(second.place - first.place)
	o.Weather, o.Placement = weather.square, placement.square
	at := func(k int) (v, df float64, b bounds) {
		x, y := first.variance[k], second.variance[k]
		sum := variance{v: x.v + y.v}
		sum.df = sum.v * sum.v / (x.v*x.v/x.df + y.v*y.v/y.df)
		if sum.v == 0 {
			sum.df = min(x.df, y.df)
		}
		v, df = sum.with([]term{weather, placement}, limits)
		return v, df, limits.bounds(second.level[k]-first.level[k], v, df)
	}
	df := make([]float64, len(o.Curve))
	for k := range o.Curve {
		n := &o.Curve[k]
		v, d, b := at(k)
		n.SE, n.DF, n.Lo, n.Hi, df[k] = math.Sqrt(v), d, b.lo, b.hi, d
	}
	if !o.HasBand {
		return
	}
	v, d, b := at(first.a.column(Band))
	o.SE, o.DF, o.Lo, o.Hi = math.Sqrt(v), d, b.lo, b.hi
	o.wholeBand(first, second, df, limits)
}

// With returns the interval of the bias over the riding band, and that at each node,
// with a further standard uncertainty on the log scale: over the band, and by node. It
// is that of a bias that the calibrations' own doubt may have made. NaN without an
// interval.
func (o *RigBias) With(band float64, nodes []float64) (overBand [2]float64, byNode [][2]float64) {
	limits := newQuantiles(o.Confidence)
	of := func(bias, se, df, u float64) [2]float64 {
		if !o.Interval || math.IsNaN(se) {
			return [2]float64{math.NaN(), math.NaN()}
		}
		v, d := variance{v: se * se, df: df}.with([]term{{square: u * u, df: math.Inf(1)}}, limits)
		b := limits.bounds(bias, v, d)
		return [2]float64{b.lo, b.hi}
	}
	for k := range o.Curve {
		n := &o.Curve[k]
		byNode = append(byNode, of(n.Bias, n.SE, n.DF, nodes[k]))
	}
	return of(o.Bias, o.SE, o.DF, band), byNode
}

// wholeBand fills in the limits that hold for the whole riding band at once.
func (o *RigBias) wholeBand(first, second *RigLevel, df []float64, limits *quantiles) {
	a, b := first.a, second.a
	g := a.grid
	f, other := a.noise.curve(first.w, g), b.noise.curve(second.w, g)
	f.rows, f.paths = append(f.rows, other.rows...), append(f.paths, other.paths...)
	draws := first.in.Draws
	if draws == 0 {
		draws = defaultDraws
	}
	// One digest whichever rig comes first.
	parts := [][]byte{a.digest[:], b.digest[:]}
	slices.SortFunc(parts, bytes.Compare)
	digest := sha256.Sum256(bytes.Join(parts, nil))
	o.WholeBandDF = median(df[g.lo:g.hi])
	o.WholeBandFactor, _ = f.restricted(g.lo, g.hi).wholeBand(digest, o.WholeBandDF, g.scale, o.Confidence, draws)
	for i := g.lo; i < g.hi; i++ {
		n := &o.Curve[i]
		unit := limits.twoSided(n.DF) / limits.twoSided(o.WholeBandDF) * n.SE
		n.BandLo, n.BandHi = n.Bias-o.WholeBandFactor*unit, n.Bias+o.WholeBandFactor*unit
	}
}
