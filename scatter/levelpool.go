package scatter

import "math"

// source is a study with its places on the grid; on is nil where it does not cover
// the grid.
type source struct {
	study *Study
	on    []place
}

// share is what one study gives to a level.
type share struct {
	df, pulls float64
	ss        []float64 // by column; NaN: the study does not have it
	rows      [][]float64
	logBias   float64 // what is added to ln of a mean square, without bias
}

// levelPool is one level of many studies.
type levelPool struct {
	nodes  int
	shares []share
	prior  VariancePrior // of the reference scalar; NaN below priorCampaigns
	column int           // the reference scalar: the first that most studies have
}

func newLevelPool(sources []source, of func(*Study) *Level, nodes int) *levelPool {
	p := &levelPool{nodes: nodes, column: nodes}
	for _, src := range sources {
		if l := of(src.study); l.DF > 0 {
			p.shares = append(p.shares, newShare(l, src.on, nodes))
		}
	}
	most := 0
	for k := nodes; k < nodes+Scalars; k++ {
		n := 0
		p.each(k, func(*share) { n++ })
		if n > most {
			most, p.column = n, k
		}
	}
	p.fitPrior()
	return p
}

// newShare brings the rows of a level to the grid.
func newShare(l *Level, on []place, nodes int) share {
	s := share{df: l.DF, pulls: l.Pulls, ss: make([]float64, nodes+Scalars), logBias: logVariance(1, l.DF)}
	from := len(l.Residuals[0]) - Scalars
	for k := range nodes {
		if on == nil {
			s.ss[k] = math.NaN()
		}
	}
	columns := nodes + Scalars
	all := make([]float64, len(l.Residuals)*columns)
	for i, row := range l.Residuals {
		r := all[i*columns : (i+1)*columns]
		onto(r, row, on)
		copy(r[nodes:], row[from:])
		for k, v := range r {
			s.ss[k] += v * v
		}
		if on != nil {
			s.rows = append(s.rows, r)
		}
	}
	return s
}

// each calls f for the studies that have a column.
func (p *levelPool) each(column int, f func(*share)) {
	for i := range p.shares {
		if s := &p.shares[i]; !math.IsNaN(s.ss[column]) {
			f(s)
		}
	}
}

// of returns the mean squares of a column with their degrees of freedom.
func (p *levelPool) of(column int) (variances, df []float64) {
	p.each(column, func(s *share) {
		variances = append(variances, s.ss[column]/s.df)
		df = append(df, s.df)
	})
	return variances, df
}

// fitPrior fits the prior of the reference scalar where there are campaigns enough.
func (p *levelPool) fitPrior() {
	p.prior = VariancePrior{math.NaN(), math.NaN()}
	variances, df := p.of(p.column)
	if len(variances) < priorCampaigns {
		return
	}
	if prior, err := FitPrior(variances, df); err == nil {
		p.prior = prior
		p.prior.DF = max(prior.DF, leastPriorDF)
	}
}

// leastPriorDF is the least that campaigns are taken to have in common: with less
// than one degree of freedom a history would say nothing, and the few campaigns that
// such a prior rests on cannot show that.
const leastPriorDF = 1

// pooled returns the sum of squares of a column over its degrees of freedom; NaN
// where no study has it.
func (p *levelPool) pooled(column int) float64 {
	var m MeanSquare
	p.each(column, func(s *share) {
		m.SS += s.ss[column]
		m.DF += s.df
	})
	return m.Value()
}

// variance returns the mean square of a column to judge with: the pool, or the
// variance of the prior where campaigns differ. All columns share the degrees of
// freedom of one prior, and each has a variance of its own.
func (p *levelPool) variance(column int) float64 {
	if math.IsNaN(p.prior.DF) || math.IsInf(p.prior.DF, 1) {
		return p.pooled(column)
	}
	variances, _ := p.of(column)
	raised, ok := floored(variances)
	if !ok {
		return p.pooled(column)
	}
	var level float64
	i := 0
	p.each(column, func(s *share) {
		level += (math.Log(raised[i]) + s.logBias) / float64(len(raised))
		i++
	})
	return priorVariance(level, p.prior.DF)
}

// df returns the degrees of freedom of the studies, of those on the grid only where
// curve is set, and the harmonic mean of the pulls behind their rows.
func (p *levelPool) df(curve bool) (df, pulls float64) {
	var inverse float64
	for _, s := range p.shares {
		if !curve || s.rows != nil {
			df += s.df
			inverse += s.df / s.pulls
		}
	}
	return df, df / inverse
}

// quoted returns the degrees of freedom that may be stated. A variance that is known
// on df degrees of freedom stands for that of a new campaign, which differs from it by
// the spread of campaigns: the relative variances of both, 2/df and 2/limit, add.
func (p *levelPool) quoted(curve bool) float64 {
	df, _ := p.df(curve)
	limit := p.prior.DF
	if math.IsNaN(limit) {
		limit = cautiousDF
	}
	if df == 0 {
		return 0
	}
	return 1 / (1/df + 1/limit)
}

// summary returns the level in figures. pull is the level of pulls, whose share is
// taken off; nil for that level itself.
func (p *levelPool) summary(pull *levelPool) PooledLevel {
	nan := math.NaN()
	out := PooledLevel{
		PriorDF: p.prior.DF, HomogeneityP: nan, Pulls: nan,
		RowSD: [Scalars]float64{nan, nan, nan}, SD: [Scalars]float64{nan, nan, nan}, PriorSD: [Scalars]float64{nan, nan, nan},
	}
	if len(p.shares) == 0 {
		return out
	}
	out.Campaigns = len(p.shares)
	out.DF, out.Pulls = p.df(false)
	out.QuotedDF = p.quoted(p.nodes > 0)
	out.HomogeneityP = Homogeneity(p.of(p.column))
	for m := range Scalars {
		k := p.nodes + m
		v := p.variance(k)
		out.RowSD[m] = math.Sqrt(p.pooled(k))
		if !math.IsNaN(p.prior.DF) {
			out.PriorSD[m] = math.Sqrt(v)
		}
		if pull != nil {
			v = max(0, v-pull.variance(k)/out.Pulls)
		}
		out.SD[m] = math.Sqrt(v)
	}
	return out
}

// archiveOf returns the levels as an archive; nil where none has rows on the grid.
func archiveOf(setup, block, pull *levelPool) *Archive {
	a := &Archive{}
	a.SetupResiduals, a.SetupDF, a.PullsPerSetup = setup.rows()
	a.BlockResiduals, a.BlockDF, a.PullsPerBlock = block.rows()
	a.PullResiduals, a.PullDF, _ = pull.rows()
	if a.SetupDF+a.BlockDF+a.PullDF == 0 {
		return nil
	}
	return a
}

// rows returns the rows of the studies on the grid, each column scaled so that its
// sum of squares over the quoted degrees of freedom is the variance to judge with.
// The shares lose their rows to it.
//
// A scalar that no study has takes the mean of the variances over the grid: a mean
// over engine speed scatters no more than its parts do on average.
func (p *levelPool) rows() (rows [][]float64, df, pulls float64) {
	found := make([]float64, p.nodes+Scalars)
	for _, s := range p.shares {
		if s.rows == nil {
			continue
		}
		rows = append(rows, s.rows...)
		for k, ss := range s.ss {
			found[k] += known(ss)
		}
	}
	if len(rows) == 0 {
		return nil, 0, 0
	}
	_, pulls = p.df(true)
	df = p.quoted(true)
	wanted := make([]float64, len(found))
	var overGrid float64
	for k := range wanted {
		v := p.variance(k)
		switch {
		case k < p.nodes:
			overGrid += v / float64(p.nodes)
		case math.IsNaN(v):
			v = overGrid
		}
		wanted[k] = v * df
	}
	rescale(rows, found, wanted)
	return rows, df, pulls
}

// rescale multiplies each column so that its squares, which sum to found, sum to
// wanted. NaN counts as nothing; where nothing was found, wanted is spread evenly.
func rescale(rows [][]float64, found, wanted []float64) {
	factor := make([]float64, len(found))
	even := make([]float64, len(found))
	for k, ss := range found {
		if ss > 0 {
			factor[k] = math.Sqrt(wanted[k] / ss)
		} else {
			even[k] = math.Sqrt(wanted[k] / float64(len(rows)))
		}
	}
	for _, row := range rows {
		for k, v := range row {
			row[k] = factor[k]*known(v) + even[k]
		}
	}
}
