package mixture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// LeastVisits is how many visits a cell needs before anything is said of it.
const LeastVisits = 3

// Grid is the mixture by engine speed and load.
type Grid struct {
	SpeedStep, LoadStep float64
	Cells               []Cell // by load, then by engine speed; only cells with a visit
	PooledSD            float64
	PooledFreedom       int
	Smoothing           Smoothing
	Confidence          float64
}

// Cell is one cell with what is known of it. Figures are NaN where Visits is below
// [LeastVisits]: the cell is blank, and nothing is put into it from its neighbours.
type Cell struct {
	SpeedRPM, Load float64 // middle of the cell
	Visits         int
	Seconds        float64

	Lambda, SD float64 // mean of the visits and their scatter
	Lo, Hi     float64 // interval from the cell's own visits alone
	Slope      float64 // mean change of lambda, 1/s

	Smooth             float64 // smoothed over neighbouring cells as far as the data carry it
	SmoothLo, SmoothHi float64

	Target   Target
	Targeted bool
	Error    float64 // Smooth over target minus one: positive is lean; NaN without a target
	ErrorLo  float64
	ErrorHi  float64
	Change   float64 // of fuel, a fraction; NaN where none is given
	Why      Reason

	speed, load int
}

// Blank says that too little is known of the cell.
func (c *Cell) Blank() bool { return c.Visits < LeastVisits }

// maxSmoothed bounds the cells that are smoothed together.
const maxSmoothed = 500

// NewGrid gathers visits into cells, smooths over the cells that have [LeastVisits] or
// more, and says what change of fuel would bring each to its target.
//
// A cell's own interval is Student's over its visits. That of its smoothed value takes
// the scatter from visit to visit pooled over all cells; both add what all visits have in
// common. A change of fuel rests on the smoothed value; its upper end is never taken
// lower than the cell's own mean.
func NewGrid(visits []Visit, r Rule, targets Targets, c Common, confidence float64) (*Grid, error) {
	if err := checkConfidence(confidence); err != nil {
		return nil, err
	}
	for _, t := range targets {
		if err := t.Validate(); err != nil {
			return nil, err
		}
	}
	g := &Grid{SpeedStep: r.SpeedStep, LoadStep: r.LoadStep, Confidence: confidence}
	g.gather(visits, c)
	if err := g.smooth(c); err != nil {
		return nil, err
	}
	for i := range g.Cells {
		g.Cells[i].aim(targets)
	}
	return g, nil
}

func (g *Grid) gather(visits []Visit, c Common) {
	type list struct{ lambda, seconds, slope []float64 }
	by := map[[2]int]*list{}
	for _, v := range visits {
		if math.IsNaN(v.Lambda) {
			continue
		}
		key := [2]int{v.Speed, v.Load}
		l := by[key]
		if l == nil {
			l = &list{}
			by[key] = l
		}
		l.lambda, l.seconds, l.slope = append(l.lambda, v.Lambda), append(l.seconds, v.Seconds), append(l.slope, v.Slope)
	}
	nan := math.NaN()
	for key, l := range by {
		m := meanOf(l.lambda, l.seconds, l.slope)
		cell := Cell{
			SpeedRPM: float64(key[0]) * g.SpeedStep, Load: float64(key[1]) * g.LoadStep, speed: key[0], load: key[1],
			Visits: m.n, Seconds: m.seconds, Lambda: nan, SD: nan, Lo: nan, Hi: nan, Slope: nan,
			Smooth: nan, SmoothLo: nan, SmoothHi: nan, Error: nan, ErrorLo: nan, ErrorHi: nan, Change: nan, Why: FewVisits,
		}
		if !cell.Blank() {
			cell.Lambda, cell.SD, cell.Slope = m.value, m.sd, m.slope
			cell.Lo, cell.Hi = m.interval(c, g.Confidence)
			g.PooledFreedom += m.n - 1
		}
		g.Cells = append(g.Cells, cell)
	}
	slices.SortFunc(g.Cells, func(a, b Cell) int {
		return cmp.Or(cmp.Compare(a.load, b.load), cmp.Compare(a.speed, b.speed))
	})
	g.PooledSD = math.NaN()
	if g.PooledFreedom > 0 {
		ss := 0.0 // in the order of the cells, so that the last digit does not depend on a map
		for i := range g.Cells {
			if cell := &g.Cells[i]; !cell.Blank() {
				ss += cell.SD * cell.SD * float64(cell.Visits-1)
			}
		}
		g.PooledSD = math.Sqrt(ss / float64(g.PooledFreedom))
	}
}

// smooth fills the smoothed values of the cells that are not blank.
func (g *Grid) smooth(c Common) error {
	var places [][2]int
	var values, weights []float64
	var cells []*Cell
	for i := range g.Cells {
		if cell := &g.Cells[i]; !cell.Blank() {
			places = append(places, [2]int{cell.speed, cell.load})
			values, weights = append(values, cell.Lambda), append(weights, float64(cell.Visits))
			cells = append(cells, cell)
		}
	}
	if len(cells) > maxSmoothed {
		return fmt.Errorf("%w: %d cells have three visits or more, and %d are the most; take wider steps", ErrCells, len(cells), maxSmoothed)
	}
	if len(cells) == 0 {
		return nil
	}
	s, err := Smooth(places, values, weights)
	if err != nil {
		return err
	}
	g.Smoothing = s
	for i, cell := range cells {
		own := g.PooledSD * g.PooledSD * s.Variance[i]
		total := own + c.variance(cell.Slope)
		half := quantile(satterthwaite(total, own, float64(g.PooledFreedom)), g.Confidence) * math.Sqrt(total)
		cell.Smooth, cell.SmoothLo, cell.SmoothHi = s.Values[i], s.Values[i]-half, s.Values[i]+half
	}
	return nil
}

// aim holds a cell against its target.
func (c *Cell) aim(targets Targets) {
	if c.Blank() {
		return
	}
	c.Target, c.Targeted = targets.At(c.SpeedRPM, c.Load)
	if !c.Targeted {
		c.Why = NoTarget
		return
	}
	c.Error, c.ErrorLo, c.ErrorHi = c.Smooth/c.Target.Lambda-1, c.SmoothLo/c.Target.Lambda-1, c.SmoothHi/c.Target.Lambda-1
	c.Change, c.Why = c.Target.Change(c.Smooth, c.SmoothLo, math.Max(c.SmoothHi, c.Lambda))
}

// CellChange is one cell before and after a change.
type CellChange struct {
	Before, After *Cell
	// Moved is lambda after over lambda before, minus one, with its interval: from the
	// cells' own means and visits (Welch). What all visits have in common drops out
	// where the same sensor was read.
	Moved, Lo, Hi float64
}

// CompareGrids pairs the cells of two grids with the same steps that neither leaves
// blank.
func CompareGrids(before, after *Grid, confidence float64) ([]CellChange, error) {
	if err := checkConfidence(confidence); err != nil {
		return nil, err
	}
	if before.SpeedStep != after.SpeedStep || before.LoadStep != after.LoadStep {
		return nil, fmt.Errorf("%w: the steps of the two grids differ", ErrCells)
	}
	at := map[[2]int]*Cell{}
	for i := range before.Cells {
		at[[2]int{before.Cells[i].speed, before.Cells[i].load}] = &before.Cells[i]
	}
	var out []CellChange
	for i := range after.Cells {
		b := &after.Cells[i]
		a := at[[2]int{b.speed, b.load}]
		if a == nil || a.Blank() || b.Blank() {
			continue
		}
		va, vb := a.SD*a.SD/float64(a.Visits)/(a.Lambda*a.Lambda), b.SD*b.SD/float64(b.Visits)/(b.Lambda*b.Lambda)
		d := math.Log(b.Lambda / a.Lambda)
		half := 0.0
		if v := va + vb; v > 0 {
			freedom := v * v / (va*va/float64(a.Visits-1) + vb*vb/float64(b.Visits-1))
			half = quantile(freedom, confidence) * math.Sqrt(v)
		}
		out = append(out, CellChange{a, b, math.Expm1(d), math.Expm1(d - half), math.Expm1(d + half)})
	}
	return out, nil
}
