package compare

import (
	"math"

	"fairpull/scatter"
)

// meanSquare is a mean square at every column with its degrees of freedom. Its
// expectation is the variance of the level that it belongs to plus pullShare
// times the pull variance.
type meanSquare struct {
	q         []float64 // nodes (averaged over engine speed), then scalars
	df        float64
	pullShare float64
	shape     covariance // over the nodes, not averaged
}

// level is the mean squares that tell of one level of scatter, pooled.
type level struct{ parts []meanSquare }

func (l level) known() bool { return len(l.parts) > 0 }

// df returns the pooled degrees of freedom.
func (l level) df() float64 {
	var sum float64
	for _, p := range l.parts {
		sum += p.df
	}
	return sum
}

// at returns the pooled mean square of a column.
func (l level) at(column int) float64 {
	var sum float64
	for _, p := range l.parts {
		sum += p.df * p.q[column]
	}
	return sum / l.df()
}

// pullShare returns the pooled share of the pull variance in the expectation.
func (l level) pullShare() float64 {
	var sum float64
	for _, p := range l.parts {
		sum += p.df * p.pullShare
	}
	return sum / l.df()
}

// add puts c times the pooled covariance into f.
func (l level) add(f *field, c float64) {
	total := l.df()
	for _, p := range l.parts {
		f.add(p.shape, c*p.df/total)
	}
}

// meanSquares returns the column sums of squares of rows over df.
func meanSquares(rows [][]float64, df float64, columns int) []float64 {
	out := make([]float64, columns)
	for _, row := range rows {
		for k, v := range row {
			out[k] += v * v
		}
	}
	for k := range out {
		out[k] /= df
	}
	return out
}

// columnMeans returns the means of rows, column by column, corrected once for the
// rounding of the first sum.
func columnMeans(rows [][]float64) []float64 {
	n := float64(len(rows))
	mean := make([]float64, len(rows[0]))
	for range 2 {
		rest := make([]float64, len(mean))
		for _, row := range rows {
			for k, v := range row {
				rest[k] += v - mean[k]
			}
		}
		for k := range mean {
			mean[k] += rest[k] / n
		}
	}
	return mean
}

// contrastsWithin returns n−1 rows that are orthonormal contrasts of the n rows of
// a block (Helmert's): their squares and products sum to those of the rows about
// their mean.
func contrastsWithin(rows [][]float64) [][]float64 {
	out := make([][]float64, 0, len(rows)-1)
	sum := make([]float64, len(rows[0]))
	// Sums are taken from the first row, so that a large common level costs no digits.
	for i, row := range rows {
		if i > 0 {
			n := float64(i)
			c := make([]float64, len(row))
			norm := math.Sqrt(n / (n + 1))
			for k, v := range row {
				c[k] = ((v - rows[0][k]) - sum[k]/n) * norm
			}
			out = append(out, c)
		}
		for k, v := range row {
			sum[k] += v - rows[0][k]
		}
	}
	return out
}

// levelled returns the mean square of rows of residuals from the archive or the
// campaign: q averaged over engine speed, shape over the nodes.
func (g *grid) levelled(rows [][]float64, df, pullShare float64) meanSquare {
	columns := len(g.rpm) + scalars
	return meanSquare{
		q: g.averaged(meanSquares(rows, df, columns)), df: df, pullShare: pullShare,
		shape: covariance{rows: scaledRows(rows, 1/math.Sqrt(df), len(g.rpm))},
	}
}

// stated returns the mean square of a standard deviation given as a number: the
// same at every column and free of pull scatter. Over engine speed it takes the
// shape of the residuals where there are any, else a shape mostly common to all
// speeds (docs/method.md).
func (g *grid) stated(s Spread, residuals [][]float64) meanSquare {
	columns := len(g.rpm) + scalars
	ms := meanSquare{q: make([]float64, columns), df: s.DF}
	for k := range ms.q {
		ms.q[k] = s.SD * s.SD
	}
	ms.shape = g.shapeOf(ms.q, residuals)
	return ms
}

// The shape over engine speed of a scatter of which only the size is known: this
// share common to all speeds, the rest fading over this length (1/min for the
// reference range).
const (
	statedCommon = 0.9
	statedLength = 800.0
)

// shapeOf returns a covariance with the given variances on its diagonal and the
// correlation of the residuals, or the stated shape without any.
func (g *grid) shapeOf(variances []float64, residuals [][]float64) covariance {
	nodes := len(g.rpm)
	sd := make([]float64, nodes)
	for i := range sd {
		sd[i] = math.Sqrt(variances[i])
	}
	if len(residuals) == 0 {
		return covariance{sd: sd, common: statedCommon, length: statedLength * g.scale}
	}
	size := meanSquares(residuals, 1, len(residuals[0]))
	rows := make([][]float64, len(residuals))
	for r, row := range residuals {
		rows[r] = make([]float64, nodes)
		for i := range sd {
			if size[i] > 0 {
				rows[r][i] = row[i] * sd[i] / math.Sqrt(size[i])
			}
		}
	}
	return covariance{rows: rows}
}

// scaledRows returns the first nodes columns of rows times c.
func scaledRows(rows [][]float64, c float64, nodes int) [][]float64 {
	out := make([][]float64, len(rows))
	for r, row := range rows {
		out[r] = make([]float64, nodes)
		for i := range out[r] {
			out[r][i] = c * row[i]
		}
	}
	return out
}

// pullSquare pools the scatter within blocks of this campaign (rows: orthonormal
// contrasts) with what is known from before; its df is 0 when there is neither.
func (g *grid) pullSquare(rows [][]float64, h History) meanSquare {
	if a := h.Archive; a != nil {
		if a.PullDF == 0 {
			return g.ownPulls(rows)
		}
		all := append(append([][]float64{}, rows...), a.PullResiduals...)
		return g.levelled(all, float64(len(rows))+a.PullDF, 1)
	}
	if h.Pull.DF == 0 {
		return g.ownPulls(rows)
	}
	columns := len(g.rpm) + scalars
	own := float64(len(rows))
	ms := meanSquare{df: own + h.Pull.DF, pullShare: 1}
	q := meanSquares(rows, ms.df, columns)
	for k := range q {
		q[k] += square(h.Pull.SD) * h.Pull.DF / ms.df
	}
	ms.shape = g.shapeOf(q, rows)
	ms.q = g.averaged(q)
	return ms
}

func (g *grid) ownPulls(rows [][]float64) meanSquare {
	if len(rows) == 0 {
		return meanSquare{q: make([]float64, len(g.rpm)+scalars)}
	}
	return g.levelled(rows, float64(len(rows)), 1)
}

// setupHistory returns what is known of setup scatter from before this campaign.
func (g *grid) setupHistory(h History, residuals [][]float64) level {
	if a := h.Archive; a != nil {
		return g.archived(a.SetupResiduals, a.SetupDF, a.PullsPerSetup)
	}
	return g.statedLevel(h.Setup, residuals)
}

// blockHistory returns what is known of block scatter within one setup.
func (g *grid) blockHistory(h History, residuals [][]float64) level {
	if a := h.Archive; a != nil && a.BlockDF > 0 {
		return g.archived(a.BlockResiduals, a.BlockDF, a.PullsPerBlock)
	}
	return g.statedLevel(h.Block, residuals)
}

func (g *grid) archived(rows [][]float64, df, pulls float64) level {
	if df == 0 {
		return level{}
	}
	return level{[]meanSquare{g.levelled(rows, df, 1/pulls)}}
}

func (g *grid) statedLevel(s Spread, residuals [][]float64) level {
	if s.DF == 0 {
		return level{}
	}
	return level{[]meanSquare{g.stated(s, residuals)}}
}

// blockSpread returns the SD of one column within a block; NaN below two pulls.
func blockSpread(rows [][]float64, column int) float64 {
	values := make([]float64, len(rows))
	for i, row := range rows {
		values[i] = row[column]
	}
	_, variance := scatter.MeanVariance(values)
	return math.Sqrt(variance)
}
