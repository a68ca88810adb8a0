package compare

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A pull or block is flagged when its p value times the number that were looked
// at is below flagP. It stays in: only a person can give a cause.
const flagP = 0.01

// plainDeviation is the size of a deviation (ln) below which nothing is unusual:
// no drum tells a millionth of a torque, but arithmetic on equal numbers does.
const plainDeviation = 1e-6

// shapeDraws is the number of curves behind the p value of a pull's shape. The
// chance of the divisor is integrated, so p values far below one in shapeDraws
// are still meaningful.
const shapeDraws = 2000

// stray is a pull or a block that stands out.
type stray struct {
	block     int
	pull      *Pull // nil: the block
	level     bool
	deviation float64
	rpm       float64
	p         float64
}

// findStrays holds every pull against the others of its block, on a scatter that
// its own block has no part in, and every block against the model.
func (a *analysis) findStrays() []stray {
	test := strayTest{analysis: a}
	for _, rows := range a.rows {
		test.pulls += float64(len(rows))
	}
	var found []stray
	for b := range a.rows {
		found = append(found, test.block(b)...)
	}
	return append(found, a.strayBlocks()...)
}

// strayTest looks at pulls one block after another.
type strayTest struct {
	*analysis
	pulls float64
	sizes []float64 // largest |t| of Gaussian curves; drawn when first wanted
}

// block returns the pulls of one block that stand out, the furthest first. A pull
// that stands out would make its neighbours look odd, so it is left out before
// they are looked at again; of two pulls neither can be told from the other, and
// both are returned.
func (s *strayTest) block(b int) []stray {
	scale := s.pullSquareWithout(b)
	if scale.df == 0 {
		return nil
	}
	var found []stray
	left := make([]int, len(s.rows[b]))
	for p := range left {
		left[p] = p
	}
	for len(left) >= 2 {
		rows := make([][]float64, len(left))
		for i, p := range left {
			rows[i] = s.rows[b][p]
		}
		furthest, at := stray{p: 1}, -1
		for i, p := range left {
			t := s.pull(studentisedPull(rows, i, scale.q), scale.df)
			t.block, t.pull = b, s.blocks[b].pulls[p]
			if t.p*s.pulls >= flagP {
				continue
			}
			if len(left) == 2 {
				found = append(found, t)
			} else if at < 0 || t.p < furthest.p {
				furthest, at = t, i
			}
		}
		if at < 0 {
			break
		}
		found = append(found, furthest)
		left = slices.Delete(left, at, at+1)
	}
	return found
}

// pull asks of one pull's deviations first whether the level stands out, then
// whether the shape does. The p value is 1 where it plainly does not.
func (s *strayTest) pull(t []deviate, df float64) stray {
	k := s.referenceColumn()
	if p := tTail(t[k].t, df); p*s.pulls < flagP {
		return stray{level: true, deviation: t[k].deviation, p: p}
	}
	top := 0
	for i := range s.grid.rpm {
		if math.Abs(t[i].t) > math.Abs(t[top].t) {
			top = i
		}
	}
	// The chance that one node goes so far bounds that of any node from below.
	if tTail(t[top].t, df)*s.pulls >= flagP {
		return stray{p: 1}
	}
	if s.sizes == nil {
		f := newField(s.grid.rpm)
		f.add(s.noise.pull.shape, 1)
		_, s.sizes = f.shrunk(s.noise.pull.df, s.grid.scale).sampler().extremes(s.digest, purposeShape, shapeDraws)
	}
	return stray{deviation: t[top].deviation, rpm: s.grid.rpm[top], p: maximumP(math.Abs(t[top].t), df, s.sizes)}
}

// pullSquareWithout returns the pull mean square of all blocks but one, with
// history.
func (a *analysis) pullSquareWithout(block int) meanSquare {
	var within [][]float64
	for b, rows := range a.rows {
		if b != block {
			within = append(within, contrastsWithin(rows)...)
		}
	}
	return a.grid.pullSquare(within, a.in.History)
}

// deviate is a deviation and its ratio to its standard error.
type deviate struct{ deviation, t float64 }

// studentisedPull returns, column by column, pull p less the mean of the others of
// its block.
func studentisedPull(rows [][]float64, p int, squares []float64) []deviate {
	others := slices.Delete(slices.Clone(rows), p, p+1)
	mean := columnMeans(others)
	factor := 1 + 1/float64(len(others))
	out := make([]deviate, len(mean))
	for k := range out {
		d := rows[p][k] - mean[k]
		out[k].deviation = d
		if math.Abs(d) > plainDeviation {
			out[k].t = d / math.Sqrt(squares[k]*factor)
		}
	}
	return out
}

// maximumP returns the chance that the largest |t| over the nodes is at least t,
// from the largest |values| of Gaussian curves and the chi-square distribution of
// the divisor.
func maximumP(t, df float64, sizes []float64) float64 {
	chi := distuv.ChiSquared{K: df}
	var sum float64
	for _, m := range sizes {
		sum += chi.CDF(df * square(m/t))
	}
	return sum / float64(len(sizes))
}

// strayBlocks holds every block mean against the model fitted without it.
func (a *analysis) strayBlocks() []stray {
	df := float64(a.design.df)
	if df < sufficientDF {
		return nil
	}
	k := a.referenceColumn()
	var whole float64
	for _, row := range a.noise.residuals {
		whole += square(row[k])
	}
	var found []stray
	for b, row := range a.noise.residuals {
		free := 1 - a.design.leverage(b)
		if free < timeFloor || math.Abs(row[k]) < plainDeviation {
			continue // the model follows this block wherever it goes, or it does not deviate
		}
		left := max(0, whole-square(row[k])/free) / (df - 1)
		s := stray{block: b, level: true, deviation: row[k] / free}
		if s.p = twoSidedP(row[k], left*free, df-1); s.p*float64(len(a.blocks)) < flagP {
			found = append(found, s)
		}
	}
	return found
}

// unusual lists what stands out among the pulls and blocks of the two sides.
func (a *analysis) unusual(candidate int) []Unusual {
	var out []Unusual
	for _, s := range a.strays {
		if c := a.blocks[s.block].configuration; c != 0 && c != candidate {
			continue
		}
		u := Unusual{Block: s.block, Level: s.level, Deviation: s.deviation, AtRPM: s.rpm, P: s.p}
		if s.pull != nil {
			u.Pull = s.pull.Name
		}
		out = append(out, u)
	}
	return out
}
