package compare

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// layout is how blocks lie in setups; it decides which scatter a contrast meets.
type layout int

const (
	separate layout = iota // every block in its own setup: setup scatter, the block part in it
	oneSetup               // all blocks in one setup: block scatter, the setup's offset drops out
	mixed                  // both
)

// noise is all that is known of the scatter of block means.
type noise struct {
	design *design
	layout layout
	pull   meanSquare

	setup, block level
	// own is the same two levels from the campaign only, where it was found to
	// scatter more than history and is too poor to stand by itself: per column the
	// larger of the two variances counts. Unknown where there was no such finding.
	ownSetup, ownBlock level
	historyP           float64 // NaN where campaign and history could not be compared
	standing           bool    // the campaign stands alone

	setupKnown, blockKnown bool // well enough for a verdict
	source                 Source
	residuals              [][]float64 // of the block means, about the design
}

// The rules of pooling (docs/method.md): below this p value campaign and history
// are not one scatter; from these degrees of freedom on the campaign may replace
// history, or carry a verdict without any.
const (
	poolingP     = 0.05
	replacingDF  = 3.0
	sufficientDF = 2.0
)

// newNoise works out the mean squares of a campaign. means are its block means
// and within the orthonormal contrasts of the pulls of each block; column is the
// scalar on which campaign and history are held against each other.
func newNoise(g *grid, d *design, means, within [][]float64, h History, column int) *noise {
	n := &noise{design: d, historyP: math.NaN(), residuals: d.residuals(means), layout: d.layout()}
	n.pull = g.pullSquare(within, h)
	switch n.layout {
	case separate:
		own := g.ownLevel(n.residuals, d.df, d.meanInvPulls())
		history := g.setupHistory(h, own.rows())
		n.setup, n.ownSetup = n.pooled(history, own, column, 1)
		n.setupKnown = n.setup.known() && (history.known() || n.setup.df() >= sufficientDF)
		n.blockKnown = true
		n.source = sourceOf(n.setup, history, own, n.standing)
	case oneSetup:
		own := g.ownLevel(n.residuals, d.df, d.meanInvPulls())
		n.block, n.ownBlock = n.pooled(g.blockHistory(h, own.rows()), own, column, sufficientDF)
		n.setupKnown, n.blockKnown = true, n.block.known()
		n.source = Cancelled
	case mixed:
		rows, df := d.withinSetups(means)
		own := g.ownLevel(rows, df, d.meanInvPulls())
		n.block, n.ownBlock = n.pooled(g.blockHistory(h, own.rows()), own, column, sufficientDF)
		n.setup = g.setupHistory(h, nil)
		n.setupKnown, n.blockKnown = n.setup.known(), n.block.known()
		n.source = sourceOf(n.setup, n.setup, level{}, false)
	}
	return n
}

// layout tells how the blocks of the design lie in setups.
func (d *design) layout() layout {
	switch d.setups {
	case len(d.setup):
		return separate
	case 1:
		return oneSetup
	}
	return mixed
}

// ownLevel is the campaign's own mean square of residuals, unknown without
// degrees of freedom.
func (g *grid) ownLevel(residuals [][]float64, df int, pullShare float64) level {
	if df <= 0 {
		return level{}
	}
	return level{[]meanSquare{g.levelled(residuals, float64(df), pullShare)}}
}

// rows returns the residuals behind a level that rests on rows.
func (l level) rows() [][]float64 {
	if !l.known() {
		return nil
	}
	return l.parts[0].shape.rows
}

// pooled joins history and campaign, after asking whether they can be one scatter:
// F = Q2/(s² of history + Q3·mean 1/n). History may make a campaign's figure
// steadier, never overrule a bad day. Alone, the campaign needs at least
// aloneDF degrees of freedom. larger is the campaign's own part where it was found
// to scatter more and is too poor to replace history.
func (n *noise) pooled(history, own level, column int, aloneDF float64) (pool, larger level) {
	switch {
	case !own.known():
		return history, level{}
	case !history.known():
		if own.df() < aloneDF {
			return level{}, level{}
		}
		return own, level{}
	}
	pull := n.pull.q[column]
	expected := max(0, history.at(column)-history.pullShare()*pull) + own.pullShare()*pull
	n.historyP = upperF(own.at(column), expected, own.df(), history.df())
	pool = level{append(append([]meanSquare{}, history.parts...), own.parts...)}
	switch {
	case n.historyP >= poolingP:
		return pool, level{}
	case own.df() >= replacingDF:
		n.standing = true
		return own, level{}
	}
	return pool, own
}

// upperF returns the chance of a variance ratio of at least found over expected.
func upperF(found, expected, df1, df2 float64) float64 {
	if expected == 0 {
		if found == 0 {
			return 1
		}
		return 0
	}
	return distuv.F{D1: df1, D2: df2}.Survival(found / expected)
}

// sourceOf names where the setup scatter in use came from.
func sourceOf(used, history, own level, standing bool) Source {
	switch {
	case !used.known():
		return FromNone
	case standing || !history.known():
		return FromCampaign
	case own.known():
		return FromBoth
	}
	return FromHistory
}

// intervals reports whether pull scatter is known; without it no figure has an
// interval.
func (n *noise) intervals() bool { return n.pull.df > 0 }

// variance is that of a weighted sum of block means, with its origins.
type variance struct {
	v, df              float64
	setup, block, pull float64
}

// setupNeeded reports whether setup scatter bears on the contrast w: not where the
// offsets of the setups drop out of it, or nearly.
func (n *noise) setupNeeded(w []float64) bool {
	a := n.design.multipliers(w)
	return n.layout != oneSetup && a.setup > negligible*a.block
}

// negligible is the share of the block multiplier below which a setup multiplier
// counts as none. A setup scatter ten times the block scatter would then add
// less than a twentieth to the standard error.
const negligible = 1e-3

// multipliers are how the variance of a weighted sum of block means takes up the
// pull, block and setup variances.
type multipliers struct{ pull, block, setup float64 }

// met returns the multipliers of the weights w, zero for a level that is not known.
func (n *noise) met(w []float64, setup, block level) multipliers {
	a := n.design.multipliers(w)
	if !setup.known() || a.setup < 1e-12*a.block {
		a.setup = 0
	}
	if !block.known() {
		a.block = 0
	}
	return a
}

// variances returns the variance of the sum of block means with weights w, column
// by column. Pull scatter must be known.
func (n *noise) variances(w []float64) []variance {
	out := make([]variance, len(n.pull.q))
	a := n.met(w, n.setup, n.block)
	for k := range out {
		out[k] = n.varianceAt(k, a, n.setup, n.block)
	}
	setup, block := n.setup, n.block
	switch {
	case n.ownSetup.known():
		setup = n.ownSetup
	case n.ownBlock.known():
		block = n.ownBlock
	default:
		return out
	}
	for k := range out {
		if v := n.varianceAt(k, a, setup, block); v.v > out[k].v {
			out[k] = v
		}
	}
	return out
}

// varianceAt is the sum of the multipliers times the variances of the levels,
// written in mean squares, with the degrees of freedom of Satterthwaite. A level
// whose variance comes out negative counts as none and leaves its own, few,
// degrees of freedom.
func (n *noise) varianceAt(column int, a multipliers, setup, block level) variance {
	q := n.pull.q[column]
	var blockVariance, setupVariance float64
	var c multipliers // of the mean squares
	c.pull = a.pull
	few := math.Inf(1)
	if block.known() {
		if v := block.at(column) - block.pullShare()*q; v >= 0 {
			blockVariance, c.block = v, a.block
		} else if a.block > 0 {
			few = block.df()
		}
	}
	if a.setup > 0 {
		if v := setup.at(column) - setup.pullShare()*q - blockVariance; v >= 0 {
			setupVariance, c.setup = v, a.setup
			if blockVariance > 0 {
				c.block -= a.setup
			}
			c.pull -= c.setup * setup.pullShare()
		} else {
			few = min(few, setup.df())
		}
	}
	if c.block != 0 {
		c.pull -= c.block * block.pullShare()
	}
	out := variance{pull: a.pull * q, block: a.block * blockVariance, setup: a.setup * setupVariance}
	out.v = out.pull + out.block + out.setup
	out.df = n.satterthwaite(column, out.v, c, setup, block)
	if !math.IsInf(few, 1) {
		if n.layout == mixed {
			few = min(few, out.df)
		}
		out.df = few
	}
	out.df = min(out.df, n.mostDF(a, setup, block))
	return out
}

// mostDF returns all the degrees of freedom there are behind a variance.
func (n *noise) mostDF(a multipliers, setup, block level) float64 {
	most := n.pull.df
	if a.setup > 0 {
		most += setup.df()
	}
	if a.block > 0 {
		most += block.df()
	}
	return most
}

// satterthwaite returns the degrees of freedom of v, a combination of the mean
// squares with the given coefficients.
func (n *noise) satterthwaite(column int, v float64, c multipliers, setup, block level) float64 {
	if v == 0 {
		return math.Inf(1) // no scatter was seen at all; the cap of the caller stands
	}
	sum := square(c.pull*n.pull.q[column]) / n.pull.df
	for _, l := range []struct {
		level
		c float64
	}{{setup, c.setup}, {block, c.block}} {
		if l.c == 0 {
			continue
		}
		total := l.df()
		for _, p := range l.parts {
			sum += square(l.c*p.df/total*p.q[column]) / p.df
		}
	}
	return v * v / sum
}

// curve returns the covariance over the nodes of the sum of block means with
// weights w, negative shares counting as none.
func (n *noise) curve(w []float64, g *grid) *field {
	c := n.met(w, n.setup, n.block)
	f := newField(g.rpm)
	if c.setup > 0 {
		n.setup.add(f, c.setup)
		c.pull -= c.setup * n.setup.pullShare()
		if n.block.known() {
			c.block -= c.setup // the setup mean square holds the block part already
		}
	}
	if c.block > 0 {
		n.block.add(f, c.block)
		c.pull -= c.block * n.block.pullShare()
	}
	if c.pull > 0 {
		f.add(n.pull.shape, c.pull)
	}
	return f
}
